"""Made-up drives with positions live in `belt_drives.py` beside these tests."""

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))
