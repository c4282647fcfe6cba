"""The owner's proof sheet as one HTML file: all of it inside, to send as a message."""

from __future__ import annotations

import base64
import io
from functools import cache
from typing import TYPE_CHECKING

import segno
from jinja2 import Environment, PackageLoader, StrictUndefined, select_autoescape

from beltside.proof.sheet_pdf import head, packed
from beltside.proof.sheet_picture import level_picture, order_picture
from beltside.proof.sheet_words import code_of

if TYPE_CHECKING:
    from beltside.casework.proof_clips import Clips
    from beltside.casework.proof_sheet import ProofSheet


def proof_html(sheet: ProofSheet, clips: Clips | None = None, *, us: bool = False) -> str:
    """The sheet as one self-contained HTML file; it names no outside address.

    Parameters
    ----------
    clips
        Two short clips before and after, to switch between while they play.
    us
        US units.
    """
    pictures = filter(None, (level_picture(sheet), order_picture(sheet)))
    return (
        templates()
        .get_template("sheet.html")
        .render(
            d=head(sheet, us=us),
            charts=[picture.svg() for picture in pictures],
            clips=None
            if clips is None
            else {
                "before": _data(clips.before, clips.media_type),
                "after": _data(clips.after, clips.media_type),
            },
            code=_code(sheet),
            keep=f'"{packed(sheet, us=us)}"',
        )
    )


@cache
def templates() -> Environment:
    """Templates of this package; what is not given is an error."""
    return Environment(
        loader=PackageLoader("beltside.proof", ""),
        autoescape=select_autoescape(default=True),
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )


def _data(data: bytes, media_type: str) -> str:
    return f"data:{media_type};base64,{base64.b64encode(data).decode('ascii')}"


def _code(sheet: ProofSheet) -> str:
    out = io.BytesIO()
    segno.make(code_of(sheet), error="m", micro=False, boost_error=False).save(
        out, kind="svg", border=4, dark="#1c1b19", light="#ffffff", xmldecl=False, svgns=False,
        omitsize=True, title="QR code of this sheet",
    )  # fmt: skip
    return out.getvalue().decode("utf-8")
