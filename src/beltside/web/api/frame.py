"""What every operation of the API shares: who writes, what is refused, how uploads arrive.

A write says who writes in a header of its own. That is also its lock: a foreign page in the
technician's browser can't send such a header without asking this server first, and this server
answers no such question (Fetch standard, CORS-preflight, from memory). The doorkeeper's look at
host, origin and fetch metadata stands before it.
"""

from __future__ import annotations

from collections.abc import AsyncIterator, Callable, Coroutine, Iterator
from typing import Annotated, Any, Final
from urllib.parse import unquote_to_bytes

import anyio.from_thread
from fastapi import Depends, Header, Path, Query, Request
from fastapi.responses import Response
from fastapi.routing import APIRoute
from starlette.exceptions import HTTPException
from starlette.requests import ClientDisconnect
from starlette.types import Message

from beltside.base.errors import BeltsideError, InputError
from beltside.casework.shop import Shop
from beltside.web.pages import shop_of
from beltside.web.problems import Problem, TooMuchError, WrongKindError
from beltside.web.visitors import RefusedError, visitor_of

BY_HEADER: Final = "X-Beltside-By"
MOST_JSON_BYTES: Final = 2_000_000
BINARY: Final = "application/octet-stream"

PROBLEMS: Final[dict[int | str, dict[str, Any]]] = {
    403: {"model": Problem, "description": "Not for this visitor, or from another site's page."},
    404: {"model": Problem, "description": "There is no such job, entry, take or file."},
    409: {"model": Problem, "description": "Somebody else has written the same meanwhile."},
    413: {"model": Problem, "description": "Longer than is read here."},
    415: {"model": Problem, "description": "Of another kind than is read here."},
    422: {"model": Problem, "description": "A field or figure is off; what would work is said."},
    503: {"model": Problem, "description": "The record or the disk can't do it now."},
}


class ApiRoute(APIRoute):
    """An operation; refuses bodies that are too long, or no JSON where JSON is read."""

    def get_route_handler(self) -> Callable[[Request], Coroutine[Any, Any, Response]]:
        """The operation behind its guard."""
        handle = super().get_route_handler()
        reads_json = self.body_field is not None

        async def guarded(request: Request) -> Response:
            if reads_json:
                _require_json(request)
                request = Request(request.scope, _limited(request))
            try:
                return await handle(request)
            except HTTPException as error:
                if isinstance(error.__cause__, BeltsideError):
                    raise error.__cause__ from None
                if error.status_code != 400:
                    raise
                raise InputError("The body is no JSON", allowed="JSON in UTF-8") from error

        return guarded


def _require_json(request: Request) -> None:
    kind = request.headers.get("content-type", "").partition(";")[0].strip().lower()
    if kind != "application/json":
        raise WrongKindError(
            f"The body is called {kind[:100] or 'nothing'}",
            allowed="application/json",
            instead='the header "Content-Type: application/json"',
        )
    _require_length(request, MOST_JSON_BYTES)


def _require_length(request: Request, most: int) -> None:
    said = request.headers.get("content-length", "0")
    if said.isdecimal() and int(said) > most:
        raise TooMuchError(
            f"The body is {int(said) / 1e6:.1f} MB long", allowed=f"up to {most / 1e6:.0f} MB"
        )


def _limited(request: Request) -> Callable[[], Coroutine[Any, Any, Message]]:
    """The body as it arrives, refused once it is too long whatever was said of its length."""
    arrived = 0

    async def receive() -> Message:
        nonlocal arrived
        message = await request.receive()
        arrived += len(message.get("body", b""))
        if arrived > MOST_JSON_BYTES:
            raise TooMuchError(
                "The body is too long", allowed=f"up to {MOST_JSON_BYTES / 1e6:.0f} MB"
            )
        return message

    return receive


# Who asks ----------------------------------------------------------------------------------------


def _for_reading(request: Request) -> Shop:
    if visitor_of(request).role != "technician":
        raise RefusedError(
            "The API shows prices and everything written", allowed="the technician himself"
        )
    return shop_of(request)


ReadShop = Annotated[Shop, Depends(_for_reading)]
"""The record, to look at."""


def _for_writing(
    shop: ReadShop,
    by: Annotated[
        str,
        Header(
            alias=BY_HEADER,
            min_length=1,
            max_length=600,
            description="Who writes; it stands beside what is written. Letters outside ASCII as "
            "UTF-8, plain or percent-encoded.",
            examples=["workshop tablet"],
        ),
    ],
) -> Shop:
    try:
        name = unquote_to_bytes(by.encode("latin-1")).decode("utf-8").strip()
    except UnicodeError as error:
        raise InputError(f"The header {BY_HEADER} is no UTF-8", allowed="a name") from error
    if not name:
        raise InputError(f"The header {BY_HEADER} is empty", allowed="who writes: a name")
    return shop.as_writer(name)


WriteShop = Annotated[Shop, Depends(_for_writing)]
"""The record, in the hand of him whom the header names."""

JobName = Annotated[
    str, Path(description="the job's number or name", max_length=32, examples=["12"])
]
EntryName = Annotated[str, Path(description="an entry's name", max_length=64)]
OwnName = Annotated[
    str | None,
    Query(
        pattern="^[0-9A-Za-z_-]{1,64}$",
        description="A name of the sender's own: sent twice, after a lost link, it is kept once.",
    ),
]
BasedOn = Annotated[
    int | None,
    Query(
        ge=1,
        le=1_000_000,
        description="The version the writer had before him; the newest without. What others wrote "
        "since is joined with it field by field.",
    ),
]
RefuseClash = Annotated[
    bool,
    Query(
        description="Answer 409 and change nothing when both changed the same field; else the "
        "later value stands and the other one is told."
    ),
]


# Uploads -----------------------------------------------------------------------------------------


def binary_body(*kinds: str) -> dict[str, Any]:
    """How an operation that takes a file as its whole body is documented."""
    schema = {"type": "string", "format": "binary"}
    return {
        "requestBody": {
            "required": True,
            "description": "the file's bytes, nothing around them",
            "content": {kind: {"schema": schema} for kind in (*kinds, BINARY)},
        }
    }


def media_type_of(request: Request) -> str:
    """What the sender calls the file."""
    return request.headers.get("content-type", "").partition(";")[0].strip()[:100] or BINARY


def upload(request: Request, most_bytes: int) -> Iterator[bytes]:
    """The body piece by piece, for a function that runs in a thread; never whole in memory.

    Raises
    ------
    TooMuchError
        At once, when it is said to be too long.
    InputError
        When it breaks off.
    """
    _require_length(request, most_bytes)
    stream = request.stream()
    while True:
        try:
            piece = anyio.from_thread.run(_next, stream)
        except ClientDisconnect as error:
            raise InputError(
                "The file did not arrive whole; nothing was kept", instead="sending it again"
            ) from error
        if piece is None:
            return
        if piece:
            yield piece


async def _next(stream: AsyncIterator[bytes]) -> bytes | None:
    try:
        return await anext(stream)
    except StopAsyncIteration:
        return None


def wrong_kind(error: BeltsideError) -> WrongKindError:
    """The same error, told as: this is another kind of file."""
    return WrongKindError(error.given, allowed=error.allowed, instead=error.instead)


def download(data: bytes, media_type: str, name: str) -> Response:
    """A file to save."""
    return Response(
        data,
        media_type=media_type,
        headers={"Content-Disposition": f'attachment; filename="{name}"'},
    )


def file_answer(*kinds: str, what: str) -> dict[int | str, dict[str, Any]]:
    """How an operation that answers with a file is documented."""
    schema = {"type": "string", "format": "binary"}
    return {200: {"description": what, "content": {kind: {"schema": schema} for kind in kinds}}}
