"""Proof sheets of invented jobs, for the tests of paper and page."""

from __future__ import annotations

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1] / "casework"))

from proof_jobs import full_job as full_job
from proof_jobs import shop_settings as shop_settings

MARKUP = (
    "#let x = 5; $y^2$ *bold* _it_ \"quotes\" 'single' <b>html</b> & \\n @ref <lab> "
    "// comment /* c */ `raw` [a](b) = Head ~ -- --- ... {{ t }} {% if %}"
)
MANY_SCRIPTS = "Anneke Żółć Ωμέγα Юрий Ærø İstanbul Nguyễn"
RIGHT_TO_LEFT = "مريم الخطيب שרה כהן"
EMOJI = "Ada 🚗🔧👩‍🔧"
