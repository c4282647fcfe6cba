"""Jobs made by hand are in `jobs.py`, random ones in bench/random_jobs.py."""

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))
sys.path.insert(0, str(Path(__file__).parents[2] / "bench"))
