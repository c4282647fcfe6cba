"""Our own words as pages show them; templates translate them."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

from beltside.web.texts import text_

STAGE_WORDS: Final[Mapping[str, str]] = {
    "complaint": text_("Complaint"),
    "listen": text_("Listen"),
    "find": text_("Find"),
    "measure": text_("Measure"),
    "agree": text_("Agree"),
    "work": text_("Work"),
    "prove": text_("Prove"),
    "record": text_("Record"),
    "closed": text_("Closed"),
}
"""The stages of a job."""
