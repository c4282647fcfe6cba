"""Slow and many connections: one that says nothing does not keep the others out."""

from __future__ import annotations

import asyncio
import contextlib
from collections.abc import AsyncIterator, Awaitable, Callable
from concurrent.futures import ThreadPoolExecutor
from typing import Any

import pytest
import uvicorn

from beltside.web import watched
from beltside.web.watched import WatchedProtocol

GET = b"GET / HTTP/1.1\r\nHost: a\r\n\r\n"


@pytest.fixture(autouse=True)
def soon(monkeypatch: pytest.MonkeyPatch) -> None:
    """The same in shorter time."""
    for name, seconds in (("HEAD_S", 0.6), ("BODY_S", 0.6), ("LOOK_S", 0.1)):
        monkeypatch.setattr(watched, name, seconds)
    monkeypatch.setattr(watched, "MOST_FROM_ONE", 5)


async def app(scope: Any, receive: Any, send: Any) -> None:
    """Takes the whole body, then answers."""
    while (await receive()).get("more_body"):
        pass
    await send({"type": "http.response.start", "status": 200, "headers": []})
    length = 30_000_000 if scope["path"] == "/long" else 4
    await send({"type": "http.response.body", "body": b"here"[:length].ljust(length)})


@contextlib.asynccontextmanager
async def server() -> AsyncIterator[int]:
    config = uvicorn.Config(
        app, port=0, http=WatchedProtocol, lifespan="off", ws="none", log_level="error"
    )
    running = uvicorn.Server(config)
    serving = asyncio.create_task(running.serve())
    while not running.started:
        await asyncio.sleep(0.01)
    try:
        yield running.servers[0].sockets[0].getsockname()[1]
    finally:
        running.should_exit = True
        await serving


@contextlib.asynccontextmanager
async def opened(port: int) -> AsyncIterator[tuple[asyncio.StreamReader, asyncio.StreamWriter]]:
    reader, writer = await asyncio.open_connection("127.0.0.1", port)
    try:
        yield reader, writer
    finally:
        writer.close()
        with contextlib.suppress(ConnectionError):
            await writer.wait_closed()


async def answered(port: int) -> bool:
    async with opened(port) as (reader, writer):
        try:
            writer.write(GET)
            return (await asyncio.wait_for(reader.read(100), 5)).startswith(b"HTTP/1.1 200")
        except ConnectionError:
            return False


async def ended(reader: asyncio.StreamReader, within_s: float = 5.0) -> bool:
    try:
        return await asyncio.wait_for(reader.read(100), within_s) == b""
    except ConnectionError:
        return True
    except TimeoutError:
        return False


def run(do: Callable[[int], Awaitable[None]]) -> None:
    async def whole() -> None:
        async with server() as port:
            await do(port)

    # In a thread of its own: a browser of other tests may keep a loop running in this one.
    with ThreadPoolExecutor(1) as thread:
        thread.submit(asyncio.run, whole()).result()


@pytest.mark.parametrize("said", [b"", b"GET / HTTP/1.1\r\nHost: a\r\n"])
def test_one_that_says_nothing_or_half_a_head_is_closed(said: bytes) -> None:
    async def do(port: int) -> None:
        async with opened(port) as (reader, writer):
            writer.write(said)
            assert await ended(reader)

    run(do)


def test_a_head_letter_by_letter_is_closed_too() -> None:
    """Slowloris: each letter resets no clock."""

    async def do(port: int) -> None:
        async with opened(port) as (reader, writer):

            async def drip() -> None:
                writer.write(GET[:-2])
                with contextlib.suppress(ConnectionError):
                    for _ in range(100):
                        writer.write(b"x")
                        await asyncio.sleep(0.1)

            dripping = asyncio.create_task(drip())
            assert await ended(reader)
            dripping.cancel()

    run(do)


def test_an_upload_that_stands_still_is_closed_a_slow_one_is_not() -> None:
    async def do(port: int) -> None:
        head = b"POST / HTTP/1.1\r\nHost: a\r\nContent-Length: 20\r\n\r\n"
        async with opened(port) as (still_reader, still), opened(port) as (reader, writer):
            still.write(head + b"x")
            writer.write(head)
            for _ in range(20):
                writer.write(b"x")
                await asyncio.sleep(0.1)
            assert (await asyncio.wait_for(reader.read(100), 5)).startswith(b"HTTP/1.1 200")
            assert await ended(still_reader)

    run(do)


def test_an_answer_that_nobody_takes_is_given_up() -> None:
    async def do(port: int) -> None:
        async with opened(port) as (_, writer):
            writer.write(GET.replace(b"/ ", b"/long "))
            for _ in range(60):
                await asyncio.sleep(0.1)
                if not watched._OPEN:
                    break
            assert not watched._OPEN

    run(do)


def test_many_of_one_address_are_turned_away_and_forgotten() -> None:
    async def do(port: int) -> None:
        async with contextlib.AsyncExitStack() as held:
            for _ in range(12):
                await held.enter_async_context(opened(port))
            await asyncio.sleep(0.1)
            assert not await answered(port)
        await asyncio.sleep(0.3)
        assert await answered(port)

    run(do)
    assert not watched._OPEN


def test_a_head_too_long_is_refused() -> None:
    """h11 takes 64 kB of a head, our answer is an error and the end of the connection."""

    async def do(port: int) -> None:
        async with opened(port) as (reader, writer):
            writer.write(GET[:-2] + b"X: " + b"a" * 200_000 + b"\r\n\r\n")
            with contextlib.suppress(ConnectionError):
                assert (await asyncio.wait_for(reader.read(100), 5))[9:12] in (b"400", b"431", b"")
        assert await answered(port)

    run(do)


def test_the_figures_are_those_of_the_page() -> None:
    from pathlib import Path

    page = (Path(__file__).parents[2] / "docs" / "trust.md").read_text("utf-8")
    assert "| connections of one address at the same time | 40 |" in page
    assert "| a head of a request to arrive | 15 s |" in page
    assert "| an upload that stands still | 60 s |" in page
