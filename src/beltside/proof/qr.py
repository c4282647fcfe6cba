"""QR codes (ISO/IEC 18004) of addresses: as a picture for a page, as text for a terminal."""

from __future__ import annotations

import io

import segno


def qr_address(text: str) -> str:
    """A QR code as a data address for an `img`: black on white with its quiet zone of 4 modules."""
    return segno.make(text, error="m", micro=False).svg_data_uri(
        scale=8, border=4, dark="#000", light="#fff"
    )


def qr_text(text: str) -> str:
    """A QR code in half-block letters for a terminal of either ground."""
    out = io.StringIO()
    segno.make(text, error="m", micro=False).terminal(out, compact=True, border=2)
    return out.getvalue()
