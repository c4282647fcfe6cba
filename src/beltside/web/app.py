"""Makes the application out of its settings: record, doorkeeper, pages, files of ours."""

from __future__ import annotations

import secrets
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from importlib.resources import files
from typing import Final

from fastapi import FastAPI, Request
from fastapi.responses import HTMLResponse, Response
from starlette.exceptions import HTTPException
from starlette.middleware.gzip import GZipMiddleware
from starlette.staticfiles import StaticFiles
from starlette.types import Scope

from beltside import __version__
from beltside.base.errors import BeltsideError, InputError
from beltside.casework.shop import MissingError, Shop, shop_at
from beltside.casework.shop_analysis import workers
from beltside.web.doorkeeper import Doorkeeper
from beltside.web.pages import ProblemPage, problem_page, show
from beltside.web.routes import ROUTERS
from beltside.web.settings import WebSettings
from beltside.web.texts import text_
from beltside.web.visitors import RefusedError

A_YEAR_S: Final = 31_536_000


class KeptFiles(StaticFiles):
    """Files of ours; where the address changes with their bytes, a browser may keep them.

    A module imported by another one has a plain address: the browser asks whether it is the same.
    """

    async def get_response(self, path: str, scope: Scope) -> Response:
        response = await super().get_response(path, scope)
        kept = f"public, max-age={A_YEAR_S}, immutable"
        response.headers["Cache-Control"] = kept if scope["query_string"] else "no-cache"
        return response


def create_app(settings: WebSettings | None = None, *, shop: Shop | None = None) -> FastAPI:
    """The application.

    Parameters
    ----------
    shop
        A record that is open already; it is then not closed with the server.
    """
    settings = settings or WebSettings()
    opened = shop or shop_at(settings.folder, database=settings.database)

    @asynccontextmanager
    async def life(app: FastAPI) -> AsyncIterator[None]:
        busy = workers(opened, settings.workers) if settings.workers else None
        if busy is not None:
            busy.start()
        try:
            yield
        finally:
            if busy is not None:
                busy.stop()
            if shop is None:
                opened.close()

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
    app.state.secret = secrets.token_bytes(32)
    app.add_middleware(GZipMiddleware, minimum_size=1000)
    app.add_middleware(Doorkeeper, settings=settings)
    static = files("beltside.web").joinpath("static")
    app.mount("/static", KeptFiles(directory=str(static)), name="static")
    for router in ROUTERS:
        app.include_router(router)
    app.add_exception_handler(BeltsideError, _tell)
    app.add_exception_handler(HTTPException, _tell_plain)
    return app


async def _tell(request: Request, error: Exception) -> Response:
    """An error raised on purpose, in its own words: as a page, or as JSON for a program."""
    assert isinstance(error, BeltsideError)
    if isinstance(error, MissingError):
        status = 404
    elif isinstance(error, RefusedError):
        status = 403
    else:
        status = 422 if isinstance(error, InputError) else 503
    back = request.headers.get("referer", "/")
    if not back.startswith(str(request.base_url)):
        back = "/"
    return _either(request, problem_page(text_("That did not work"), error, back), status)


async def _tell_plain(request: Request, error: Exception) -> Response:
    assert isinstance(error, HTTPException)
    page = ProblemPage(
        text_("There is nothing here"), str(error.detail), "", "the list of jobs", "/"
    )
    return _either(request, page, error.status_code)


def _either(request: Request, page: ProblemPage, status: int) -> Response:
    if request.url.path.startswith("/api/"):
        from fastapi.responses import JSONResponse

        return JSONResponse(
            {"problem": page.given, "allowed": page.allowed, "instead": page.instead},
            status_code=status,
        )
    response: HTMLResponse = show(request, page, status=status)
    return response
