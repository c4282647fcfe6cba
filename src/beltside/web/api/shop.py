"""The shop as a whole: settings, export and import, the table of jobs, a car's number."""

from __future__ import annotations

import tempfile
from collections.abc import Iterator
from datetime import UTC, date, datetime
from pathlib import Path as FilePath
from typing import Annotated, Any, Final

from fastapi import APIRouter, Path, Query, Request
from fastapi.responses import Response, StreamingResponse
from pydantic import BaseModel, ConfigDict, Field, JsonValue
from starlette.concurrency import run_in_threadpool

from beltside.base.errors import BeltsideError
from beltside.casework.jobs_csv import jobs_csv
from beltside.casework.settings import save_settings, setting_history, settings
from beltside.casework.shop_analysis import open_work
from beltside.casework.shop_transfer import export_jobs, import_jobs
from beltside.casework.vehicle import vehicle
from beltside.web.api.answers import EntriesSaid, entry_said
from beltside.web.api.answers_work import ImportedSaid, SettingsSaid, VehicleSaid, WorkSaid
from beltside.web.api.frame import (
    PROBLEMS,
    ApiRoute,
    ReadShop,
    WriteShop,
    binary_body,
    file_answer,
    upload,
)

router = APIRouter(prefix="/api", tags=["the shop"], route_class=ApiRoute, responses=PROBLEMS)

ZIP: Final = "application/zip"
PIECE_BYTES: Final = 1 << 20


class Settings(BaseModel):
    """Settings to keep, by their names; those left out stay."""

    model_config = ConfigDict(extra="forbid")

    settings: Annotated[
        dict[str, JsonValue], Field(examples=[{"labour_per_hour": "72.50"}], max_length=100)
    ]


@router.get("/settings", response_model=SettingsSaid)
def all_settings(shop: ReadShop) -> dict[str, Any]:
    """Settings of the shop."""
    return {"settings": [one.to_json() for one in settings(shop).values()]}


@router.patch("/settings", response_model=SettingsSaid)
def change_settings(shop: WriteShop, body: Settings) -> dict[str, Any]:
    """Keep settings; when one is off it is told, and the others are kept."""
    return {"settings": [one.to_json() for one in save_settings(shop, body.settings).values()]}


@router.get("/settings/{name}/history", response_model=EntriesSaid)
def history(shop: ReadShop, name: Annotated[str, Path(max_length=100)]) -> dict[str, Any]:
    """Every value a setting had, oldest first."""
    return {"entries": [entry_said(one) for one in setting_history(shop, name)]}


@router.get("/work", response_model=WorkSaid)
def work(shop: ReadShop) -> dict[str, Any]:
    """How many pieces of work wait or are being done in the background."""
    return {"open": open_work(shop)}


@router.get(
    "/export.zip",
    response_class=StreamingResponse,
    responses=file_answer(ZIP, what="jobs with all history, recordings and photos"),
)
def export(
    shop: ReadShop,
    job: Annotated[list[str] | None, Query(description="numbers; all without")] = None,
) -> StreamingResponse:
    """Jobs with all their history and files, as one zip."""
    folder = tempfile.TemporaryDirectory(prefix="beltside-")
    path = FilePath(folder.name) / "jobs.zip"
    try:
        export_jobs(shop, path, job or ())
    except BaseException:
        folder.cleanup()
        raise

    def pieces() -> Iterator[bytes]:
        with folder, path.open("rb") as file:
            while piece := file.read(PIECE_BYTES):
                yield piece

    return StreamingResponse(
        pieces(),
        media_type=ZIP,
        headers={
            "Content-Disposition": 'attachment; filename="jobs.zip"',
            "Content-Length": str(path.stat().st_size),
        },
    )


@router.post(
    "/import", response_model=ImportedSaid, status_code=201, openapi_extra=binary_body(ZIP)
)
async def import_zip(request: Request, shop: WriteShop) -> dict[str, Any]:
    """Put the jobs of such a zip into the record; nothing that is there is written over."""
    most = request.app.state.settings.most_upload_bytes

    def put_in() -> dict[str, Any]:
        with tempfile.TemporaryDirectory(prefix="beltside-") as folder:
            path = FilePath(folder) / "jobs.zip"
            try:
                with path.open("wb") as file:
                    for piece in upload(request, most):
                        file.write(piece)
            except OSError as error:
                raise BeltsideError(
                    f"The zip cannot be kept meanwhile: {error.strerror}",
                    instead="room on the disk",
                ) from error
            return {"jobs": [one.to_json() for one in import_jobs(shop, path)]}

    return await run_in_threadpool(put_in)


@router.get(
    "/jobs.csv",
    response_class=Response,
    responses=file_answer("text/csv", what="a line for each job, for the bookkeeper"),
)
def table(
    shop: ReadShop, since: date | None = None, until: date | None = None, closed: bool = False
) -> Response:
    """The jobs as a table."""
    text = jobs_csv(shop, since=since, until=until, closed_only=closed)
    # With the mark at its start a spreadsheet reads it as UTF-8.
    data = b"\xef\xbb\xbf" + text.encode("utf-8", "replace")
    return Response(data, media_type="text/csv; charset=utf-8")


@router.get("/vehicle", response_model=VehicleSaid)
def car_number(
    shop: ReadShop,
    number: Annotated[
        str, Query(description="vehicle identification number or engine family", max_length=100)
    ],
    other: Annotated[str | None, Query(description="the other of the two", max_length=100)] = None,
) -> dict[str, Any]:
    """What a car's number and its emissions label say: year, displacement, likely typos."""
    del shop
    return vehicle(number, other, today_year=datetime.now(UTC).year).to_json()
