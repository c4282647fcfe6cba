"""The JSON Schemas in the docs: up to date, and of one mind with the reader.

`jsonschema` is the second opinion.
"""

import json
import re
import tomllib
from pathlib import Path

import jsonschema
import pytest

from beltside.base.errors import InputError
from beltside.casework.formats.case import load_case
from beltside.casework.formats.drive_sheet import load_drive_sheet
from beltside.casework.formats.schemas import schema_texts

DOCS = Path(__file__).resolve().parents[2] / "docs"
DRIVE, CASE = re.findall(r"```toml\n(.*?)```", (DOCS / "formats.md").read_text("utf-8"), re.S)


def schema(name):
    return json.loads((DOCS / "schema" / f"{name}.schema.json").read_text(encoding="utf-8"))


def test_the_schemas_in_the_docs_are_up_to_date():
    written = {path.name: path.read_text(encoding="utf-8") for path in (DOCS / "schema").iterdir()}
    assert written == schema_texts(), "run scripts/write_schemas.py"


@pytest.mark.parametrize("name", ["drive-sheet", "case"])
def test_they_are_json_schema(name):
    jsonschema.Draft202012Validator.check_schema(schema(name))


def test_the_examples_of_the_docs_are_read_and_fit_the_schema(tmp_path):
    (tmp_path / "drive.toml").write_text(DRIVE, encoding="utf-8")
    (tmp_path / "case.toml").write_text(CASE, encoding="utf-8")
    (tmp_path / "belt-on.m4a").write_bytes(b"sound")
    case = load_case(tmp_path)
    assert [pulley.part for pulley in case.sheet.pulleys] == ["crank", "alternator", "idler"]
    jsonschema.validate(tomllib.loads(DRIVE), schema("drive-sheet"))
    jsonschema.validate(tomllib.loads(CASE), schema("case"))


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ("cylinders = 4", "cylinders = 7"),
        ("cylinders = 4", "cylinder = 4"),
        ("idle_rpm = 760", "idle_rpm = 76"),
        ("strokes = 4", "strokes = 3"),
        ("ribs = 6", "ribs = 6.5"),
        ('part = "alternator"', 'part = "alternater"'),
        ('part = "alternator"', 'part = "alternator-10"'),
        ('face = "back"', 'face = "flat"'),
        ("diameter_mm = 138.0", "diameter_mm = 1380"),
        ("balls = 8", "balls = 2"),
        ("pitch_mm = 28.5", "pitch = 28.5"),
        ("poles = 12", "poles = 0"),
    ],
)
def test_reader_and_schema_refuse_the_same(tmp_path, old, new):
    assert DRIVE.count(old) >= 1
    text = DRIVE.replace(old, new, 1)
    path = tmp_path / "drive.toml"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(InputError):
        load_drive_sheet(path)
    with pytest.raises(jsonschema.ValidationError):
        jsonschema.validate(tomllib.loads(text), schema("drive-sheet"))
