"""Sounds of known answer are those of the sound room's tests, `tests/sound/engines.py`; drives
that go with them are in `drives.py`."""

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))
sys.path.insert(0, str(Path(__file__).parents[1] / "sound"))
