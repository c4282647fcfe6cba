"""TOML from strangers: what keeps a parser busy or hides what it says is refused, the rest is read.

That one key of very many parts is slow was measured: docs/trust-files.md.
"""

from __future__ import annotations

import tomllib
from pathlib import Path

import pytest

from beltside.base.errors import InputError, LimitError
from beltside.casework.formats.toml_file import LARGEST_FILE_BYTES, parse_toml, read_toml
from beltside.casework.toml_form import MOST_LETTERS, parsed

PATH = Path("sheet.toml")


@pytest.mark.parametrize("key", ["a", '"a b"', "'a.b'"])
@pytest.mark.parametrize("between", [".", " . ", "\t."])
def test_a_key_of_very_many_parts(key: str, between: str) -> None:
    many = between.join([key] * 33) + " = 1"
    with pytest.raises(LimitError, match="very many parts"):
        parse_toml(many, PATH)
    few = between.join([key] * 30) + " = 1"
    assert parse_toml(few, PATH) == tomllib.loads(few)


def test_the_text_that_took_minutes_is_refused_at_once(tmp_path: Path) -> None:
    path = tmp_path / "deep.toml"
    path.write_text("a" + ".a" * 499_000 + "=1")
    with pytest.raises(LimitError, match="very many parts"):
        read_toml(path)


def test_texts_with_many_dots_are_read() -> None:
    text = 'note = "' + "so ... " * 200 + '"\nlist = [' + "1.5, " * 500 + "]\n"
    assert parse_toml(text, PATH) == tomllib.loads(text)


@pytest.mark.parametrize("letter", ["\u202a", "\u202e", "\u2066", "\u2069"])
def test_characters_that_turn_the_order_of_text(letter: str) -> None:
    """Unicode annex 9, explicit directional formatting characters."""
    with pytest.raises(InputError, match="line 2"):
        parse_toml(f'a = 1\nb = "x{letter}y"', PATH)
    # Letters of scripts that run from the right are fine.
    assert parse_toml('name = "\u05d0\u05d1"', PATH) == {"name": "\u05d0\u05d1"}


@pytest.mark.parametrize(
    "text",
    [
        "a = " + "[" * 50_000,
        "a = " + "{a=" * 5_000 + "1" + "}" * 5_000,
        "a = " + "9" * 100_000,
        'a = "\0"',
        "\0",
        "[a]\n[a]",
        "a = 1\na = 2",
    ],
)
def test_others_are_refused_in_words(text: str) -> None:
    with pytest.raises(InputError):
        parse_toml(text, PATH)


def test_how_long_a_text_may_be() -> None:
    assert parse_toml("#" * LARGEST_FILE_BYTES, PATH) == {}
    with pytest.raises(LimitError, match="longer than 1 million"):
        parse_toml("#" * (LARGEST_FILE_BYTES + 1), PATH)
    assert parsed("a = 1 # " + "x" * 1000, "drive sheet")["a"] == 1
    with pytest.raises(LimitError, match="longer than"):
        parsed("#" * (MOST_LETTERS + 1), "drive sheet")
    with pytest.raises((InputError, LimitError)):
        parsed("a = " + "[" * 20_000, "drive sheet")
