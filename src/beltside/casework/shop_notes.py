"""Photos, notes and what was seen when looking a car over."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any, Final

from beltside.base.errors import BeltsideError
from beltside.casework.shop import Shop, checked, keep, sheet_of, write
from beltside.jobs.entries import Entry
from beltside.media.picture import MOST_BYTES as MOST_BYTES
from beltside.media.picture import PictureError as PictureError
from beltside.media.picture import read_picture

NO_FILE: Final = "0" * 64
"""Stands for a file that is not stored yet, while the other fields are looked at."""


def add_photo(
    shop: Shop,
    job_id: str,
    pieces: Iterable[bytes],
    typed: Mapping[str, Any] | None = None,
    *,
    media_type: str = "image/jpeg",
    entry_id: str | None = None,
) -> Entry:
    """Keep a picture on a job.

    Parameters
    ----------
    typed
        `name`, `caption`, `part`, `step`, `marks`.

    Raises
    ------
    FieldProblemsError
        With what is wrong beside each field; the picture is not kept then.
    PictureError, LimitError
        When it is no picture that is read here; it is not kept then.
    """
    job = sheet_of(shop, job_id)
    checked("photo", {**(typed or {}), "file": NO_FILE})
    stored = shop.files.put(pieces, most_bytes=MOST_BYTES)
    try:
        read_picture(shop.files.path(stored.sha256))
    except BeltsideError as error:
        if not stored.was_there:
            shop.files.remove(stored.sha256)
        # Stored files go by their hash, which tells a person nothing.
        name = str((typed or {}).get("name") or "") or "This file"
        error.args = (str(error).replace(stored.sha256, name),)
        error.given = error.given.replace(stored.sha256, name)
        raise
    shop.record.keep_file(stored, media_type)
    body = {**(typed or {}), "file": stored.sha256}
    return write(shop, job.job.id, "photo", body, entry_id=entry_id, files=[stored.sha256])


def add_note(shop: Shop, job_id: str, words: str, *, entry_id: str | None = None) -> Entry:
    """Write a note on a job."""
    job = sheet_of(shop, job_id)
    return write(shop, job.job.id, "note", {"words": words}, entry_id=entry_id)


def add_observation(
    shop: Shop,
    job_id: str,
    words: str,
    *,
    part: str = "",
    watch: bool = False,
    photos: Iterable[Iterable[bytes]] = (),
    entry_id: str | None = None,
) -> Entry:
    """Write down what was seen; with `watch` it stands on the proof sheet as to be watched."""
    job = sheet_of(shop, job_id)
    files = [keep(shop, one, media_type="image/jpeg", most_bytes=MOST_BYTES) for one in photos]
    names = [one.sha256 for one in files]
    body = {"words": words, "part": part, "watch": watch, "files": names}
    return write(shop, job.job.id, "observation", body, entry_id=entry_id, files=names)
