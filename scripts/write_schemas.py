"""Writes the JSON Schemas of drive sheets and cases into docs/schema.

usage: python scripts/write_schemas.py
"""

from pathlib import Path

from beltside.casework.formats.schemas import schema_texts

FOLDER = Path(__file__).resolve().parent.parent / "docs" / "schema"


def main() -> None:
    FOLDER.mkdir(parents=True, exist_ok=True)
    for name, text in schema_texts().items():
        (FOLDER / name).write_text(text, encoding="utf-8")
        print(f"wrote docs/schema/{name}")


if __name__ == "__main__":
    main()
