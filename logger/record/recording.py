"""The recording format: one session as it was sensed, as a folder or a zip of it."""

from __future__ import annotations

from logger.record.errors import RecordingError
from logger.record.recorded import Recording
from logger.record.recording_read import read_recording
from logger.record.recording_write import write_recording

__all__ = ["Recording", "RecordingError", "read_recording", "write_recording"]
