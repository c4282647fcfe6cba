"""What the worker processes of the tests do; a module of its own, so that they can import it."""

from __future__ import annotations

import os
import time
from pathlib import Path
from typing import Any

from beltside.base.errors import RecordingError
from beltside.jobs.queue import Analysis
from beltside.jobs.workers import Report


def do(work: Analysis, report: Report) -> Any:
    """Notes in a folder that it was begun and ended, and does as its settings say."""
    folder = Path(work.settings["folder"])
    (folder / f"{work.subject} begun {work.attempt} {os.getpid()}").touch()
    how = work.settings.get("how", "")
    if how == "bad":
        raise RecordingError("There is no sound in it")
    if how == "bug":
        raise ZeroDivisionError("division by zero")
    if how == "deadly" or (how == "dies once" and work.attempt == 1):
        os.kill(os.getpid(), 9)
    for step in range(int(work.settings.get("steps", 1))):
        report.progress(step, "listening")
        time.sleep(0.05)
    (folder / f"{work.subject} ended {work.attempt} {os.getpid()}").touch()
    return {"subject": work.subject, "pid": os.getpid()}
