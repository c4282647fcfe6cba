"""A photo by itself: sent before the form it belongs to, so that a lost link loses neither."""

from __future__ import annotations

from fastapi import APIRouter, Request
from fastapi.responses import JSONResponse, Response
from starlette.datastructures import UploadFile

from beltside.base.errors import BeltsideError
from beltside.casework.shop import JobSheet, Shop
from beltside.casework.shop_notes import add_photo
from beltside.web.forms import CheckedForm, pieces, text, uploads
from beltside.web.job_frame import open_job
from beltside.web.pages import shop_of

router = APIRouter()


@router.post("/job/{number}/photo")
def keep_photo(request: Request, number: int, form: CheckedForm) -> Response:
    """Keep a photo on the job; says which file it is, and back what it is for.

    `for` is the field of a form that the photo waits for. A photo that is sent twice under one
    `entry_id` is kept once.
    """
    sheet, _ = open_job(request, number)
    files = uploads(form, "file")
    if not files:
        return JSONResponse({"problem": "No photo came with it. Choose one."}, status_code=422)
    try:
        file = photo_kept(
            shop_of(request),
            sheet,
            files[0],
            text(form, "caption"),
            entry_id=text(form, "entry_id") or None,
        )
    except BeltsideError as error:
        return JSONResponse({"problem": str(error)}, status_code=422)
    return JSONResponse({"file": file, "for": text(form, "for")})


def photo_kept(
    shop: Shop,
    sheet: JobSheet,
    upload: UploadFile,
    caption: str,
    *,
    entry_id: str | None = None,
) -> str:
    """Keep an uploaded photo on a job; gives its file.

    Raises
    ------
    BeltsideError
        When it is no picture that is read here.
    """
    entry = add_photo(
        shop,
        sheet.job.id,
        pieces(upload),
        {"name": (upload.filename or "")[:300], "caption": caption},
        media_type=upload.content_type or "image/jpeg",
        entry_id=entry_id,
    )
    return str(entry.body["file"])


def photos_of(sheet: JobSheet) -> frozenset[str]:
    """The files of a job's photos."""
    return frozenset(str(one.body["file"]) for one in sheet.of_kind("photo"))
