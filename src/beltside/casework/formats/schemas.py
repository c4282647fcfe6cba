"""JSON Schemas of our files, as written into docs/schema."""

from __future__ import annotations

import json
from typing import Any

from beltside.casework.formats.case import CaseKeys
from beltside.casework.formats.drive_sheet import DriveSheetKeys


def schema_texts() -> dict[str, str]:
    """File name to JSON text of every schema (JSON Schema 2020-12)."""
    return {
        f"{name}.schema.json": json.dumps(_schema(name, model), indent=2, ensure_ascii=False) + "\n"
        for name, model in (("drive-sheet", DriveSheetKeys), ("case", CaseKeys))
    }


def _schema(name: str, model: type[DriveSheetKeys] | type[CaseKeys]) -> dict[str, Any]:
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        **model.model_json_schema(),
        "title": name.replace("-", " "),
    }
