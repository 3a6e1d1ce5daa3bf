"""Bytes, time and files: serial link, recordings, plain logs. Knows no geometry."""

from logger.recording.capture import Capture, CaptureSettings
from logger.recording.clock import Clock, SystemClock
from logger.recording.decode import StreamBuilder
from logger.recording.link import Link, open_link
from logger.recording.nmea_log import read_plain_log
from logger.recording.port import load_stream
from logger.recording.port_diagnosis import Heard, heard
from logger.recording.reader import Recording, read_recording
from logger.recording.resume import continued, was_cut_short
from logger.recording.writer import RecordingWriter

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
