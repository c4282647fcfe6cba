"""JSON Schemas of our files, as written into docs/schema."""

from __future__ import annotations

import json
from typing import Any

from pydantic import BaseModel

from beltside.casework.formats.case import CaseKeys
from beltside.casework.formats.drive_sheet import DriveSheetKeys
from beltside.casework.formats.export_file import ExportKeys, JobExportKeys
from beltside.casework.formats.hole_pattern import HolePatternKeys
from beltside.casework.formats.learned_file import LearnedKeys
from beltside.casework.formats.part_file import PartFileKeys
from beltside.casework.formats.rim_file import RimFileKeys
from beltside.casework.formats.teardown_job import JobKeys
from beltside.casework.formats.teardown_prices import PricesKeys


def schema_texts() -> dict[str, str]:
    """File name to JSON text of every schema (JSON Schema 2020-12)."""
    return {
        f"{name}.schema.json": json.dumps(_schema(name, model), indent=2, ensure_ascii=False) + "\n"
        for name, model in (
            ("drive-sheet", DriveSheetKeys),
            ("case", CaseKeys),
            ("export", ExportKeys),
            ("hole-pattern", HolePatternKeys),
            ("job-export", JobExportKeys),
            ("learned", LearnedKeys),
            ("part", PartFileKeys),
            ("rims", RimFileKeys),
            ("teardown-job", JobKeys),
            ("teardown-prices", PricesKeys),
        )
    }


def _schema(name: str, model: type[BaseModel]) -> dict[str, Any]:
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        **model.model_json_schema(),
        "title": name.replace("-", " "),
    }
