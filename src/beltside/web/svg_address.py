"""Drawings as a page takes them: an address that holds the picture itself."""

from __future__ import annotations

import base64

from beltside.base.errors import BeltsideError
from beltside.casework.coolant_answer import CoolantAnswer
from beltside.web.texts import said


def svg_address(svg: str) -> str:
    """A drawing as an address that holds it."""
    return "data:image/svg+xml;base64," + base64.b64encode(svg.encode()).decode()


def coolant_address(answer: CoolantAnswer | None, language: str) -> str:
    """The drawing of an answer about the coolant in a language; empty where there is none."""
    if answer is None or answer.picture is None:
        return ""
    from beltside.proof.coolant_pictures import coolant_svg

    try:
        return svg_address(coolant_svg(answer.picture, lambda text: said(text, language)))
    except BeltsideError:
        return ""
