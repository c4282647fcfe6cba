"""Backups in the browser: when the last one was made and where, making one, calling it off."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, JSONResponse, Response

from beltside.base.errors import BeltsideError
from beltside.casework.backup_run import BackupRun, BackupState
from beltside.casework.shop_backup import LastBackup, last_backup
from beltside.web.forms import CheckedForm, text
from beltside.web.pages import Page, go_to, shop_of, show
from beltside.web.problems import status_of
from beltside.web.texts import text_, translator
from beltside.web.visitors import visitor_of

router = APIRouter()

DOING: Final[Mapping[str, str]] = {
    "reading the record": text_("Reading the record"),
    "writing the catalogue": text_("Reading back what was written"),
}
_COPYING: Final = text_("Copying recordings and photos")


@dataclass(frozen=True)
class BackupPage(Page):
    """The last backup, the one being made, and the form for a new one.

    `folder` is as typed last; `problem` is what was wrong with it, None when nothing was.
    """

    template = "backup.html"
    last: LastBackup | None
    run: BackupState
    doing: str
    folder: str
    problem: BeltsideError | None


@router.get("/backup")
def backup_page(request: Request) -> HTMLResponse:
    """How it stands."""
    return show(request, _page(request))


@router.post("/backup")
def begin(request: Request, form: CheckedForm) -> Response:
    """Begin a backup; the passphrase is kept nowhere and never shown again."""
    folder = text(form, "folder")
    words = [str(form.get(name) or "") for name in ("passphrase", "again")]
    try:
        _run(request).begin(shop_of(request), folder, *words)
    except BeltsideError as error:
        page = _page(request, folder, error)
        return show(request, page, status=status_of(error))
    return go_to("/backup")


@router.get("/backup/progress")
def progress(request: Request) -> JSONResponse:
    """How far it is; the page asks."""
    now = _run(request).now
    t = translator(visitor_of(request).language)
    return JSONResponse(
        {"done": now.state != "running", "percent": now.percent, "doing": t(_doing(now))}
    )


@router.post("/backup/call-off")
def call_off(request: Request, form: CheckedForm) -> Response:
    """Break it off; backups that are there stay."""
    del form
    _run(request).call_off()
    return go_to("/backup")


def _run(request: Request) -> BackupRun:
    run: BackupRun = request.app.state.backup
    return run


def _doing(now: BackupState) -> str:
    return DOING.get(now.doing, _COPYING if now.doing.startswith("copying") else "") or text_(
        "Beginning"
    )


def _page(
    request: Request, folder: str | None = None, problem: BeltsideError | None = None
) -> BackupPage:
    shop, run = shop_of(request), _run(request).now
    last = last_backup(shop.folder)
    if folder is None:
        folder = run.folder or (str(last.folder) if last else "")
    return BackupPage(last, run, _doing(run), folder, problem)
