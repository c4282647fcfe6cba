"""A sheet that was altered is found out, and the figure named; one that was not passes."""

from __future__ import annotations

import base64
import io
import json
import sys
import zlib
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pikepdf
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

sys.path.insert(0, str(Path(__file__).parent))

from sheets import full_job

from beltside.base.errors import InputError
from beltside.casework.canonical_json import digest_of
from beltside.casework.proof_clips import Clips
from beltside.casework.proof_sheet import ProofSheet, code_of
from beltside.casework.shop import MissingError, Shop, open_shop, write
from beltside.casework.shop_proof import hand_out, proof_of
from beltside.casework.shop_proof_check import check_code, check_sheet
from beltside.proof.sheet_check import check_file, read_sheet_file
from beltside.proof.sheet_html import proof_html
from beltside.proof.sheet_pdf import KEEP_HEAD, proof_pdf


@pytest.fixture(scope="module")
def shop(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Shop]:
    with open_shop(tmp_path_factory.mktemp("proof") / "shop") as shop:
        yield shop


@pytest.fixture(scope="module")
def sheet(shop: Shop) -> ProofSheet:
    return hand_out(shop, full_job(shop))


def plain_of(sheet: ProofSheet) -> dict[str, Any]:
    plain: dict[str, Any] = json.loads(json.dumps(sheet.to_json()))
    return plain


def resealed(plain: dict[str, Any]) -> dict[str, Any]:
    """With the digest made anew, as a careful forger would."""
    content = {name: one for name, one in plain.items() if name != "digest"}
    return {**content, "digest": digest_of(content)}


@pytest.mark.parametrize("us", [False, True])
def test_an_untouched_sheet_is_genuine(shop: Shop, sheet: ProofSheet, us: bool) -> None:
    for data in (
        proof_pdf(sheet, us=us),
        proof_html(sheet, us=us).encode(),
        proof_html(sheet, Clips(b"a" * 50, b"b" * 50), us=us).encode(),
    ):
        found = check_file(shop, data)
        assert found.genuine, found
        assert not found.to_json()["altered"]
        assert "handed out" in found.says[0]
    assert check_code(shop, code_of(sheet)).genuine


def leaves(value: Any, path: tuple[Any, ...] = ()) -> Iterator[tuple[Any, ...]]:
    if isinstance(value, dict):
        for name, one in value.items():
            yield from leaves(one, (*path, name))
    elif isinstance(value, list):
        for number, one in enumerate(value):
            yield from leaves(one, (*path, number))
    else:
        yield path


@settings(
    max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(st.data(), st.booleans())
def test_any_altered_figure_or_word_is_found_and_named(
    shop: Shop, sheet: ProofSheet, data: st.DataObject, reseal: bool
) -> None:
    plain = plain_of(sheet)
    everything = [
        path
        for path in leaves(plain)
        if path[0] not in ("digest", "format")
        and path[-1] not in ("id", "number", "unit", "digits")
        and path != ("made_at",)
    ]
    path = data.draw(st.sampled_from(everything))
    inside = plain
    for step in path[:-1]:
        inside = inside[step]
    was = inside[path[-1]]
    if isinstance(was, str):
        inside[path[-1]] = data.draw(st.text(max_size=12).filter(lambda one: one != was))
    else:
        inside[path[-1]] = data.draw(
            st.floats(-1e6, 1e6).filter(lambda one: was is None or one != was)
        )
    try:
        found = check_sheet(shop, resealed(plain) if reseal else plain)
    except (InputError, ValueError):
        return
    assert not found.genuine
    assert found.altered
    assert any(one.where for one in found.altered)


def test_the_altered_figure_is_named_with_both_values(shop: Shop, sheet: ProofSheet) -> None:
    plain = plain_of(sheet)
    sound = next(one for one in plain["sections"] if one["key"] == "sound")
    quieter = next(one for one in sound["lines"] if one.get("figure") == "Quieter by")
    quieter["value"] = 19.4
    found = check_sheet(shop, resealed(plain))
    (altered,) = found.altered
    assert "Quieter by" in altered.where
    assert (altered.there, altered.should_be) == ("19.4", "9.4")


def test_words_painted_over_in_a_pdf_are_named(shop: Shop, sheet: ProofSheet) -> None:
    """The page is changed and its data are left alone: by another program, as one would."""
    with pikepdf.open(io.BytesIO(proof_pdf(sheet))) as opened:
        page = opened.pages[0]
        # One of the texts shown is left out.
        operators = list(pikepdf.parse_content_stream(page))
        shown = [n for n, one in enumerate(operators) if str(one.operator) in ("Tj", "TJ")]
        del operators[shown[3]]
        page.Contents = opened.make_stream(pikepdf.unparse_content_stream(operators))
        out = io.BytesIO()
        opened.save(out)
    found = check_file(shop, out.getvalue())
    assert not found.genuine
    assert found.page
    assert "changed by hand" in " ".join(found.says)


def test_a_pdf_saved_again_unchanged_is_told_apart(shop: Shop, sheet: ProofSheet) -> None:
    with pikepdf.open(io.BytesIO(proof_pdf(sheet))) as opened:
        out = io.BytesIO()
        opened.save(out)
    found = check_file(shop, out.getvalue())
    assert found.genuine
    assert "not byte for byte" in " ".join(found.says)


def test_an_altered_page_of_html_is_named(shop: Shop, sheet: ProofSheet) -> None:
    text = proof_html(sheet).replace("448.10", "348.10")
    found = check_file(shop, text.encode())
    assert not found.genuine
    assert any("348.10" in one.there and "448.10" in one.should_be for one in found.page)


def test_altered_data_in_the_file_are_named(shop: Shop, sheet: ProofSheet) -> None:
    text = proof_html(sheet)
    keep = text.partition('id="sheet">"')[2].partition('"')[0]
    inside = json.loads(zlib.decompress(base64.b64decode(keep.removeprefix(KEEP_HEAD))))
    money = next(one for one in inside["sheet"]["sections"] if one["key"] == "money")
    charged = next(one for one in money["lines"] if one.get("money") == "Price charged")
    charged["amount"] = "48.10"
    inside["sheet"] = resealed(inside["sheet"])
    again = KEEP_HEAD + base64.b64encode(zlib.compress(json.dumps(inside).encode())).decode()
    found = check_file(shop, text.replace(keep, again).encode())
    assert not found.genuine
    named = [one for one in found.record.altered if "Price charged" in one.where]
    assert (named[0].there, named[0].should_be) == ("48.10", "448.10")


def test_a_code_with_another_digit_is_not_genuine(shop: Shop, sheet: ProofSheet) -> None:
    code = code_of(sheet)
    last = "0" if code[-1] != "0" else "1"
    found = check_code(shop, code[:-1] + last)
    assert not found.genuine
    assert "figures were others" in found.says[0]
    assert check_code(shop, f"  {code.lower()} \n").genuine


def test_a_sheet_never_handed_out_is_held_against_the_record_of_its_time(shop: Shop) -> None:
    job = full_job(shop)
    sheet = proof_of(shop, job)
    write(shop, job, "part-used", {"name": "Clamp"})
    found = check_sheet(shop, sheet.to_json())
    assert found.genuine
    assert "not kept as handed out" in found.says[0]
    plain = plain_of(sheet)
    plain["headline"] = "All is well."
    assert not check_sheet(shop, resealed(plain)).genuine


def test_a_record_changed_behind_its_back_is_told(shop: Shop) -> None:
    """What no page or command does: a value changed in the database itself."""
    job = full_job(shop)
    sheet = hand_out(shop, job)
    with shop.record.database.writing() as connection:
        for table in ("entry", "entry_version"):
            connection.exec_driver_sql(
                f"UPDATE {table} SET body = replace(body, '448.10', '648.10')"
                " WHERE body LIKE '%448.10%' AND body NOT LIKE '%sections%'"
            )
    found = check_code(shop, code_of(sheet))
    assert not found.genuine
    assert any("448.10" in said and "648.10" in said for said in found.says)


def test_another_shops_record_says_that_it_has_no_such_job(
    sheet: ProofSheet, tmp_path: Path
) -> None:
    with open_shop(tmp_path / "other") as other, pytest.raises(MissingError, match="no job"):
        check_sheet(other, sheet.to_json())


@pytest.mark.parametrize(
    "data",
    [
        b"",
        b"%PDF-1.7\nnot one",
        b"<html><body>hello</body></html>",
        b"\xff\xfe\x00\x01",
        b'<script type="application/json" id="sheet">"beltside-sheet-1:AAAA"</script>',
        b'<script type="application/json" id="sheet">"beltside-sheet-1:'
        + base64.b64encode(zlib.compress(b"[" * 100_000))
        + b'"</script>',
        b'<script type="application/json" id="sheet">"beltside-sheet-1:'
        + base64.b64encode(zlib.compress(b"0" * 30_000_000))
        + b'"</script>',
        b"%PDF-1.7" + b"0" * 20_000_001,
    ],
    ids=lambda data: str(len(data)),
)
def test_what_is_no_sheet_is_refused(data: bytes) -> None:
    with pytest.raises(InputError):
        read_sheet_file(data)


@pytest.mark.parametrize("code", ["", "BELTSIDE PROOF 1 JOB 1", "x" * 5000, "BELTSIDE PROOF 2"])
def test_what_is_no_code_is_refused(shop: Shop, code: str) -> None:
    with pytest.raises(InputError, match="no code"):
        check_code(shop, code)
