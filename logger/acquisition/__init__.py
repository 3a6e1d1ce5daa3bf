"""Bytes, time and files: serial link, recordings, plain logs. Knows no geometry."""

from logger.acquisition.capture import Capture, CaptureSettings
from logger.acquisition.clock import Clock, SystemClock
from logger.acquisition.heard import Heard, heard
from logger.acquisition.link import Link, open_link
from logger.acquisition.plain_log import read_plain_log
from logger.acquisition.reader import Recording, read_recording
from logger.acquisition.resume import continued, was_cut_short
from logger.acquisition.source import load_stream
from logger.acquisition.stream import StreamBuilder
from logger.acquisition.writer import RecordingWriter

__all__ = [
    "Capture",
    "CaptureSettings",
    "Clock",
    "Heard",
    "Link",
    "Recording",
    "RecordingWriter",
    "StreamBuilder",
    "SystemClock",
    "continued",
    "heard",
    "load_stream",
    "open_link",
    "read_plain_log",
    "read_recording",
    "was_cut_short",
]
