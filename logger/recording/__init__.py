"""Bytes, time and files: serial link, recordings, plain logs. Knows no geometry."""

from logger.recording.capture import Capture, CaptureSettings
from logger.recording.clocks import SystemClock
from logger.recording.decode import StreamBuilder
from logger.recording.load import load_stream, recording_checks
from logger.recording.port import open_link
from logger.recording.port_diagnosis import Heard, heard
from logger.recording.reader import Recording, continued, only_begun, read_recording
from logger.recording.reader_thread import FloodError, Link, Taken
from logger.recording.writer import RecordingWriter, write_recording
