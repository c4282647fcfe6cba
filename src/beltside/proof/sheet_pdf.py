"""The owner's proof sheet on paper: one to two pages, PDF/A-2b, tagged, its data inside."""

from __future__ import annotations

import base64
import io
import json
import zlib
from typing import TYPE_CHECKING, Any, Final

import segno

from beltside.proof.look import PAPER
from beltside.proof.sheet_fonts import UNKNOWN
from beltside.proof.sheet_picture import level_picture, level_words, order_picture, order_words
from beltside.proof.sheet_words import as_typed, big_figures, code_of, moment_words, rows
from beltside.proof.typeset import pdf_of, plain_printed

if TYPE_CHECKING:
    from beltside.casework.proof_sheet import ProofSheet
    from beltside.proof.drawing import Drawing

UNPRINTED: Final = "A character that has no picture in the sheet's fonts is printed as \ufffd."
KEEP_HEAD: Final = "beltside-sheet-1:"
"""In front of the sheet's data in the file's keywords."""
VERIFY: Final = (
    "Every figure above is in the digest below. The shop holds this code, or the file, against its "
    "record with: beltside proof --verify. A figure that was altered afterwards is named."
)


def proof_pdf(sheet: ProofSheet, *, us: bool = False) -> bytes:
    """The sheet as PDF; the same sheet gives the same bytes.

    Parameters
    ----------
    us
        US units and Letter paper; metric units and A4 otherwise.

    Raises
    ------
    BeltsideError
        When it can't be typeset.
    """
    return _typeset(sheet, us=us)


def proof_picture(sheet: ProofSheet, *, us: bool = False) -> bytes:
    """The first page as PNG, to show on a screen."""
    return _typeset(sheet, us=us, first_page=True)


def _typeset(sheet: ProofSheet, *, us: bool, first_page: bool = False) -> bytes:
    pictures = {
        name: (drawing, words)
        for name, drawing, words in (
            ("level.svg", level_picture(sheet), level_words(sheet.charts)),
            ("orders.svg", order_picture(sheet), order_words(sheet.charts)),
        )
        if drawing is not None
    }
    values = {
        **head(sheet, us=us),
        "keep": packed(sheet, us=us),
        "paper": "us-letter" if us else "a4",
        "charts": [{"file": name, "alt": words} for name, (_, words) in pictures.items()],
    }
    values["note"] = (
        UNPRINTED if UNKNOWN in json.dumps(plain_printed(values), ensure_ascii=False) else ""
    )
    beside = {name: for_print(drawing) for name, (drawing, _) in pictures.items()}
    beside["code.svg"] = code_svg(code_of(sheet))
    return pdf_of("sheet.typ", values, sheet.time, beside, first_page=first_page)


def head(sheet: ProofSheet, *, us: bool) -> dict[str, Any]:
    """Everything on the sheet as text, in the order of the page."""
    moment = sheet.time
    return {
        "title": f"Proof sheet, job {sheet.job_number}",
        "author": as_typed(sheet.shop) or "Beltside",
        "moment": {
            "year": moment.year,
            "month": moment.month,
            "day": moment.day,
            "hour": moment.hour,
            "minute": moment.minute,
            "second": moment.second,
        },
        "kind": f"Proof sheet · job {sheet.job_number}",
        "headline": as_typed(sheet.headline),
        "car": as_typed(sheet.car) or "Car without a name",
        "owner": as_typed(sheet.owner),
        "shop": as_typed(sheet.shop),
        "address": as_typed(sheet.shop_address),
        "technician": as_typed(sheet.technician),
        "when": moment_words(sheet),
        "footer": f"Job {sheet.job_number} · {moment_words(sheet)} · ranges hold in 9 of 10 cases",
        "big": [
            {"number": number, "unit": unit, "name": name, "range": extra}
            for number, unit, name, extra in big_figures(sheet, us=us)
        ],
        "sections": [
            {
                "key": section.key,
                "title": section.title,
                "missing": section.missing,
                "rows": [
                    {
                        "label": row.label,
                        "words": row.words,
                        "number": row.number,
                        "unit": row.unit,
                        "range": row.range,
                        "source": row.source,
                    }
                    for row in rows(section, us=us)
                ],
            }
            for section in sheet.sections
        ],
        "cautions": [as_typed(one) for one in sheet.cautions],
        "not_tested": [as_typed(one) for one in sheet.not_tested],
        "verify": VERIFY,
        "code_alt": f"QR code: {code_of(sheet)}",
        "digest": f"SHA-256 {sheet.digest}",
    }


def packed(sheet: ProofSheet, *, us: bool) -> str:
    """The sheet's data as text for the file's keywords."""
    plain = json.dumps(
        {"sheet": sheet.to_json(), "us": us},
        sort_keys=True,
        separators=(",", ":"),
        allow_nan=False,
    )
    return KEEP_HEAD + base64.b64encode(zlib.compress(plain.encode(), 9)).decode("ascii")


def for_print(drawing: Drawing) -> bytes:
    """A drawing on white, in the sheet's own font."""
    text = drawing.svg().replace(f'fill="{PAPER}"', 'fill="#ffffff"', 1)
    return text.replace('font-family="sans-serif"', 'font-family="Noto Sans"').encode()


def code_svg(text: str) -> bytes:
    """A QR code (ISO/IEC 18004) with error correction M, as SVG."""
    out = io.BytesIO()
    segno.make(text, error="m", micro=False, boost_error=False).save(
        out, kind="svg", border=2, dark="#1c1b19", light="#ffffff", xmldecl=False, svgns=True
    )
    return out.getvalue()
