"""The only reader and writer of recordings; untrusted files stop here."""

from beltside.media.limits import Limits
from beltside.media.recording import Recording, open_recording, read_recording
from beltside.media.report import ReadingReport
from beltside.media.writing import write_recording

__all__ = [
    "Limits",
    "ReadingReport",
    "Recording",
    "open_recording",
    "read_recording",
    "write_recording",
]
