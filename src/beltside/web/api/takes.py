"""Takes, photos and files: sent as the whole body, streamed, kept once."""

from __future__ import annotations

from typing import Annotated, Any, Final, Literal

from fastapi import APIRouter, Path, Query, Request
from fastapi.responses import FileResponse, Response
from starlette.concurrency import run_in_threadpool

from beltside.casework.shop import keep, sheet_of
from beltside.casework.shop_analysis import call_off
from beltside.casework.shop_entries import change_entry
from beltside.casework.shop_listen import TakeHeard, ask_to_listen, take_heard, take_of
from beltside.casework.shop_notes import MOST_BYTES, PictureError, add_photo
from beltside.casework.shop_takes import (
    MOST_TAKE_BYTES,
    NoRecordingError,
    add_take,
    conditions_in_words,
    recording_pieces,
)
from beltside.web.api.answers import (
    CalledOffSaid,
    ChangeSaid,
    EntrySaid,
    StoredSaid,
    TakeAddedSaid,
    TakeSaid,
    TakesSaid,
    change_said,
    entry_said,
)
from beltside.web.api.frame import (
    PROBLEMS,
    ApiRoute,
    BasedOn,
    JobName,
    OwnName,
    ReadShop,
    RefuseClash,
    WriteShop,
    binary_body,
    file_answer,
    media_type_of,
    upload,
    wrong_kind,
)

router = APIRouter(
    prefix="/api", tags=["takes and photos"], route_class=ApiRoute, responses=PROBLEMS
)

TakeName = Annotated[
    str,
    Path(description="the take's entry, its number on the sheet, or its name", max_length=310),
]
FileName = Annotated[str, Path(description="SHA-256 of the file's bytes", max_length=64)]
Text = Annotated[str, Query(max_length=300)]
AUDIO: Final = ("audio/mp4", "audio/webm", "audio/wav")


@router.get("/jobs/{job}/takes", response_model=TakesSaid)
def takes(shop: ReadShop, job: JobName) -> dict[str, Any]:
    """The takes of a job; those not listened to yet are left to the workers."""
    sheet = sheet_of(shop, job)
    heard = [take_heard(shop, sheet.job.id, one.id) for one in sheet.of_kind("take")]
    return {"takes": [{**_said(one), "listen": None} for one in heard]}


def _said(heard: TakeHeard) -> dict[str, Any]:
    entry = heard.entry
    return {
        **heard.to_json(),
        "conditions": conditions_in_words(entry.body),
        "body": dict(entry.body),
        "version": entry.version,
    }


@router.post(
    "/jobs/{job}/takes",
    response_model=TakeAddedSaid,
    status_code=201,
    openapi_extra=binary_body(*AUDIO),
)
async def keep_take(
    request: Request,
    shop: WriteShop,
    job: JobName,
    name: Annotated[str, Query(max_length=300, description="the file's own name")] = "",
    belt: Annotated[str, Query(description="on, off or unknown")] = "unknown",
    place: Annotated[
        str, Query(description="where the phone was, or the part the probe was on")
    ] = "front of engine",
    load: Annotated[list[str] | None, Query(description="what was switched on")] = None,
    raised: Annotated[bool, Query(description="engine speed raised")] = False,
    crank_rpm: Annotated[
        str, Query(description="crank speed read off a dash or scan tool, turns per minute")
    ] = "",
    stage: Annotated[str, Query(description="before or after the repair")] = "before",
    hand_over: Annotated[bool, Query(description="the take the owner is handed over with")] = False,
    recorded_at: Annotated[str, Query(description="when it was recorded, ISO 8601")] = "",
    own_name: OwnName = None,
) -> dict[str, Any]:
    """Keep a recording with its conditions; it is listened to in the background.

    A condition that is off is left out and told in `problems`: the recording is kept.
    """
    typed = {
        "name": name,
        "belt": belt,
        "place": place,
        "load": load or [],
        "raised": raised,
        "crank_rpm": crank_rpm or None,
        "stage": stage,
        "hand_over": hand_over,
        "recorded_at": recorded_at,
    }
    most = min(MOST_TAKE_BYTES, request.app.state.settings.most_upload_bytes)

    def kept() -> dict[str, Any]:
        try:
            return add_take(
                shop,
                job,
                upload(request, most),
                typed,
                media_type=media_type_of(request),
                entry_id=own_name,
                most_bytes=most,
            ).to_json()
        except NoRecordingError as error:
            raise wrong_kind(error) from error

    return await run_in_threadpool(kept)


@router.get("/jobs/{job}/takes/{take}", response_model=TakeSaid)
def one_take(shop: ReadShop, job: JobName, take: TakeName) -> dict[str, Any]:
    """A take: how far listening is, and what was heard once it is done."""
    return _said(take_heard(shop, job, take))


@router.patch("/jobs/{job}/takes/{take}", response_model=ChangeSaid)
def change_conditions(
    shop: WriteShop,
    job: JobName,
    take: TakeName,
    body: dict[str, Any],
    based_on: BasedOn = None,
    refuse_clash: RefuseClash = False,
) -> dict[str, Any]:
    """Change the conditions of a take; it is listened to again where that matters."""
    entry = take_of(sheet_of(shop, job), take)
    return change_said(
        change_entry(shop, job, entry.id, body, based_on=based_on, refuse_clash=refuse_clash)
    )


@router.post("/jobs/{job}/takes/{take}/analysis", response_model=TakeSaid, status_code=202)
def listen(shop: WriteShop, job: JobName, take: TakeName) -> dict[str, Any]:
    """Have a take listened to, also again after it failed or was called off."""
    sheet = sheet_of(shop, job)
    ask_to_listen(shop, sheet, take_of(sheet, take))
    return _said(take_heard(shop, job, take))


@router.delete("/jobs/{job}/takes/{take}/analysis", response_model=CalledOffSaid)
def stop_listening(shop: WriteShop, job: JobName, take: TakeName) -> dict[str, Any]:
    """Call off listening to a take."""
    work = take_heard(shop, job, take).work
    return {"called_off": bool(work.id) and call_off(shop, work.id)}


@router.get(
    "/jobs/{job}/takes/{take}/pictures/{picture}",
    response_class=Response,
    responses=file_answer("image/svg+xml", what="the picture"),
)
def picture(
    shop: ReadShop,
    job: JobName,
    take: TakeName,
    picture: Literal["spectrogram", "orders", "envelope"],
) -> Response:
    """A picture of what was heard."""
    from beltside.web.routes.listen import drawn

    return Response(drawn(take_heard(shop, job, take), picture, "en"), media_type="image/svg+xml")


@router.post(
    "/jobs/{job}/photos",
    response_model=EntrySaid,
    status_code=201,
    openapi_extra=binary_body("image/jpeg", "image/png"),
)
async def keep_photo(
    request: Request,
    shop: WriteShop,
    job: JobName,
    name: Text = "",
    caption: Annotated[str, Query(max_length=2000, description="what it shows")] = "",
    part: Text = "",
    step: Annotated[str, Query(max_length=300, description="step of the plan")] = "",
    own_name: OwnName = None,
) -> dict[str, Any]:
    """Keep a photo; the answer's `body.file` is the name other operations know it by."""
    typed = {"name": name, "caption": caption, "part": part, "step": step}

    def kept() -> dict[str, Any]:
        try:
            return entry_said(
                add_photo(
                    shop,
                    job,
                    upload(request, MOST_BYTES),
                    typed,
                    media_type=media_type_of(request),
                    entry_id=own_name,
                )
            )
        except PictureError as error:
            raise wrong_kind(error) from error

    return await run_in_threadpool(kept)


@router.post(
    "/recordings",
    response_model=StoredSaid,
    status_code=201,
    openapi_extra=binary_body(*AUDIO),
)
async def keep_recording(request: Request, shop: WriteShop) -> dict[str, Any]:
    """Store a recording that is no take: a plucked span, for a strum."""
    most = min(MOST_TAKE_BYTES, request.app.state.settings.most_upload_bytes)

    def kept() -> dict[str, Any]:
        try:
            stored = keep(
                shop,
                recording_pieces(upload(request, most)),
                media_type=media_type_of(request),
                most_bytes=most,
            )
        except NoRecordingError as error:
            raise wrong_kind(error) from error
        return {
            "file": stored.sha256,
            "bytes": stored.size_bytes,
            "was_there": stored.was_there,
        }

    return await run_in_threadpool(kept)


@router.get(
    "/files/{file}",
    response_class=FileResponse,
    responses=file_answer("*/*", what="the file's bytes, of the kind they were sent as"),
)
def stored_file(shop: ReadShop, file: FileName) -> FileResponse:
    """A stored recording or photo, or a part of it."""
    kind = shop.record.file_kind(file)
    return FileResponse(shop.files.path(file), media_type=kind, filename=file[:12])
