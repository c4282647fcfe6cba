"""Where a technician's or a shop's own files are; by itself, so that to know it loads nothing."""

from __future__ import annotations

import os
from pathlib import Path
from typing import Final

FOLDER_VARIABLE: Final = "BELTSIDE_FOLDER"


def own_folder() -> Path:
    """The folder of own files; it need not exist."""
    named = os.environ.get(FOLDER_VARIABLE, "")
    return Path(named) if named else Path.home() / ".beltside"
