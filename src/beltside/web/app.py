"""Makes the application out of its settings: record, doorkeeper, pages, files of ours."""

from __future__ import annotations

from collections.abc import AsyncIterator, Mapping
from contextlib import ExitStack, asynccontextmanager, suppress
from importlib.resources import files
from typing import TYPE_CHECKING, Final

from fastapi import FastAPI, Request
from fastapi.exceptions import RequestValidationError
from fastapi.responses import HTMLResponse, JSONResponse, Response
from starlette.exceptions import HTTPException
from starlette.middleware.gzip import GZipMiddleware
from starlette.staticfiles import StaticFiles
from starlette.types import Scope

from beltside import __version__
from beltside.base.errors import BeltsideError
from beltside.casework.backup_run import BackupRun
from beltside.casework.shop import Shop, shop_at
from beltside.web.api import api_routers
from beltside.web.doorkeeper import Doorkeeper
from beltside.web.forms import typed_before
from beltside.web.kept_secret import form_secret
from beltside.web.later import Later, LaterPages, warm
from beltside.web.limits import PhoneLimits
from beltside.web.pages import ProblemPage, problem_page, show
from beltside.web.problems import Problem, problem_of, problem_of_request, status_of
from beltside.web.routes import NAMES, router_of
from beltside.web.settings import WebSettings
from beltside.web.texts import text_

if TYPE_CHECKING:
    from beltside.web.phones_door import PhonesDoor

A_YEAR_S: Final = 31_536_000
_NO_PAGE: Final = "No page has this address"


class KeptFiles(StaticFiles):
    """Files of ours; where the address changes with their bytes, a browser may keep them.

    A module imported by another one has a plain address: the browser asks whether it is the same.
    """

    async def get_response(self, path: str, scope: Scope) -> Response:
        response = await super().get_response(path, scope)
        kept = f"public, max-age={A_YEAR_S}, immutable"
        response.headers["Cache-Control"] = kept if scope["query_string"] else "no-cache"
        return response


def create_app(
    settings: WebSettings | None = None,
    *,
    shop: Shop | None = None,
    phones: PhonesDoor | None = None,
    first_page_soon: bool = False,
) -> FastAPI:
    """The application.

    Parameters
    ----------
    shop
        A record that is open already; it is then not closed with the server.
    phones
        The door for phones, where there is one; without it no request over HTTPS is answered.
    first_page_soon
        Open with the list of jobs, and load everything else after it.
    """
    settings = settings or WebSettings()
    opened = shop or shop_at(settings.folder, database=settings.database)
    ends = ExitStack()
    if shop is None:
        ends.callback(opened.close)

    def load() -> None:
        for name in NAMES[1:]:
            app.include_router(router_of(name), include_in_schema=False)
        for router in api_routers():
            app.include_router(router)

    def work() -> None:
        if settings.workers:
            from beltside.casework.shop_analysis import workers

            busy = workers(opened, settings.workers)
            busy.start()
            ends.callback(busy.stop)

    def tables() -> None:
        # Suspects and checks of this shop: every page of a job needs them.
        from beltside.casework.shop_case import shop_tables

        # What is wrong with the record is told by the first page that needs it.
        with suppress(BeltsideError):
            shop_tables(opened)

    later = Later(load, work, *((tables, warm) if first_page_soon else ()))

    @asynccontextmanager
    async def life(app: FastAPI) -> AsyncIterator[None]:
        with ends:
            later.start()
            ends.callback(later.stop)
            yield

    app = FastAPI(
        title="Beltside",
        version=__version__,
        docs_url=None,
        redoc_url=None,
        openapi_url="/api/openapi.json",
        lifespan=life,
    )
    app.state.settings = settings
    app.state.shop = opened
    app.state.secret = form_secret(opened.folder)
    app.state.phones = phones
    app.state.limits = PhoneLimits()
    app.state.backup = BackupRun()
    ends.callback(app.state.backup.stop)
    app.add_middleware(LaterPages, later=later)
    app.add_middleware(GZipMiddleware, minimum_size=1000)
    app.add_middleware(Doorkeeper, settings=settings)
    static = files("beltside.web").joinpath("static")
    app.mount("/static", KeptFiles(directory=str(static)), name="static")
    app.include_router(router_of(NAMES[0]), include_in_schema=False)
    if not first_page_soon:
        later.load()
    app.add_exception_handler(BeltsideError, _tell)
    app.add_exception_handler(HTTPException, _tell_plain)
    app.add_exception_handler(RequestValidationError, _tell_request)
    return app


async def _tell(request: Request, error: Exception) -> Response:
    """An error raised on purpose, in its own words: as a page, or as JSON for a program."""
    assert isinstance(error, BeltsideError)
    status = status_of(error)
    if _for_program(request):
        return _as_json(problem_of(error), status)
    back = request.headers.get("referer", "/")
    if not back.startswith(str(request.base_url)):
        back = "/"
    page = problem_page(text_("That did not work"), error, back, typed_before(request))
    response: HTMLResponse = show(request, page, status=status)
    return response


async def _tell_plain(request: Request, error: Exception) -> Response:
    assert isinstance(error, HTTPException)
    if _for_program(request):
        said = Problem(
            problem=str(error.detail),
            allowed="",
            instead="what /api/openapi.json lists",
            fields={},
        )
        return _as_json(said, error.status_code, error.headers)
    given = _NO_PAGE if error.detail == "Not Found" else str(error.detail)
    page = ProblemPage(text_("There is nothing here"), given, "", "the list of jobs", "/")
    response: HTMLResponse = show(request, page, status=error.status_code)
    return response


async def _tell_request(request: Request, error: Exception) -> Response:
    """A request that is not of the documented form."""
    assert isinstance(error, RequestValidationError)
    said = problem_of_request(error)
    if _for_program(request):
        return _as_json(said, 422)
    # Pages read their forms themselves: what is off here is the address.
    page = ProblemPage(text_("There is nothing here"), _NO_PAGE, "", "the list of jobs", "/")
    response: HTMLResponse = show(request, page, status=404)
    return response


def _for_program(request: Request) -> bool:
    return request.url.path.startswith("/api/")


def _as_json(said: Problem, status: int, headers: Mapping[str, str] | None = None) -> JSONResponse:
    return JSONResponse(said.model_dump(), status_code=status, headers=headers)
