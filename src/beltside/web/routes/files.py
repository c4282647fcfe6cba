"""Stored files, as they came: recordings to play, photos to see."""

from __future__ import annotations

from typing import Final

from fastapi import APIRouter, Request
from fastapi.responses import FileResponse

from beltside.web.pages import shop_of

router = APIRouter()

SHOWN: Final = frozenset(
    {
        "image/jpeg",
        "image/png",
        "image/webp",
        "audio/mp4",
        "audio/mpeg",
        "audio/ogg",
        "audio/wav",
        "audio/webm",
        "audio/flac",
        "video/mp4",
        "video/webm",
        "video/quicktime",
    }
)
"""Kinds a browser may show by itself; anything else is only handed out to be saved."""


@router.get("/file/{sha256}")
def stored_file(request: Request, sha256: str) -> FileResponse:
    """A stored file. Its bytes never change, so a browser may keep them."""
    shop = shop_of(request)
    kind = shop.record.file_kind(sha256)
    shown = kind in SHOWN
    return FileResponse(
        shop.files.path(sha256),
        media_type=kind if shown else "application/octet-stream",
        filename=None if shown else sha256[:12],
        headers={"Cache-Control": "private, max-age=31536000, immutable"},
    )
