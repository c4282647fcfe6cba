"""Runs `beltside serve` as its own process, and finds every page it has: for screenshots and tests.

Pages are found as a visitor finds them, by following links from the list of jobs, and each is laid
to the route of the application that answers it.
"""

from __future__ import annotations

import os
import re
import signal
import socket
import subprocess
import sys
import threading
import urllib.error
import urllib.request
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from html.parser import HTMLParser
from pathlib import Path
from typing import Final, get_type_hints
from urllib.parse import urldefrag, urljoin, urlsplit

from fastapi.responses import HTMLResponse
from fastapi.routing import APIRoute

from beltside.web.routes import routers

PATIENCE_S: Final = 60.0
FEW: Final = 4
"""Pages of one route that are opened to choose from: more show nothing new."""


def free_port() -> int:
    """A port nobody listens on now."""
    with socket.socket() as door:
        door.bind(("127.0.0.1", 0))
        return int(door.getsockname()[1])


@contextmanager
def served(folder: Path, *options: str, port: int = 0) -> Iterator[str]:
    """A server of a shop's folder in a process of its own; gives its address, without a slash.

    Raises
    ------
    RuntimeError
        When it ends, or says nothing within a minute, before its door is open.
    """
    port = port or free_port()
    command = [sys.executable, "-m", "beltside", "serve", "--folder", str(folder)]
    process = subprocess.Popen(
        [*command, "--port", str(port), *options],
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
        env={**os.environ, "PYTHONUNBUFFERED": "1"},
    )
    assert process.stdout is not None
    said: list[str] = []
    opened = threading.Event()

    def read() -> None:
        assert process.stdout is not None
        for line in process.stdout:
            said.append(line)
            if " is open at " in line:
                opened.set()
        opened.set()

    threading.Thread(target=read, daemon=True).start()
    try:
        if not opened.wait(PATIENCE_S) or process.poll() is not None:
            raise RuntimeError("The server did not open: " + "".join(said))
        yield f"http://localhost:{port}"
    finally:
        process.send_signal(signal.SIGINT)
        try:
            process.wait(20)
        except subprocess.TimeoutExpired:
            process.kill()
            process.wait()
        process.stdout.close()


class _Links(HTMLParser):
    """Where a page's links lead."""

    def __init__(self) -> None:
        super().__init__()
        self.found: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        named = dict(attrs)
        if tag == "a" and "download" not in named:
            self.found.append(named.get("href") or "")


def page_routes() -> dict[str, APIRoute]:
    """Every route that gives a page, by its path with its gaps."""
    return {
        route.path: route
        for router in routers()
        for route in router.routes
        if isinstance(route, APIRoute)
        and "GET" in (route.methods or ())
        and get_type_hints(route.endpoint).get("return") is HTMLResponse
    }


def pages_of(
    address: str, *, few: int = FEW, read: Callable[[str], str | None] | None = None
) -> dict[str, list[str]]:
    """Every page that links lead to, from the list of jobs on, by the path of its route.

    Up to `few` pages of each route, the fullest first; all sheets of jobs. A page of a job that no
    link leads to is tried with the job's number alone. `read` gives the text of a page's whole
    address, None for what is no page; left out, a server is asked for it.
    """
    read = read or _html
    routes = page_routes()
    found: dict[str, list[tuple[int, str]]] = {path: [] for path in routes}
    ahead = ["/", "/?which=all"]
    seen = set(ahead)
    while ahead:
        place = ahead.pop(0)
        path = urlsplit(place).path
        which = next((name for name, one in routes.items() if one.path_regex.match(path)), None)
        if which is None:
            continue
        if len(found[which]) >= few and path != "/" and not _is_sheet(which):
            continue
        html = read(address + place)
        if html is None:
            continue
        if len(found[which]) < few or _is_sheet(which):
            found[which].append((len(html), place))
        links = _Links()
        links.feed(html)
        for link in links.found:
            onward = urldefrag(urljoin(address + place, link)).url
            if onward.startswith(address + "/") and (there := onward[len(address) :]) not in seen:
                seen.add(there)
                ahead.append(there)
    sheets = [place for _, place in sorted(found["/job/{number}"], reverse=True)]
    for name in (name for name, some in found.items() if not some):
        tries = {0: [name], 1: [name.replace("{number}", one.rpartition("/")[2]) for one in sheets]}
        for place in tries.get(name.count("{"), []):
            if html := read(address + place):
                found[name].append((len(html), place))
                break
    return {name: [place for _, place in sorted(some)[::-1]] for name, some in found.items()}


def _is_sheet(route: str) -> bool:
    """Whether it is a job's own sheet: all of them are looked at, each stands elsewhere."""
    return route == "/job/{number}"


def _html(address: str) -> str | None:
    """A page's text; None for what is no page."""
    try:
        with urllib.request.urlopen(address, timeout=60) as answer:
            if not answer.headers["Content-Type"].startswith("text/html"):
                return None
            return str(answer.read().decode())
    except urllib.error.HTTPError:
        return None


def file_name(route: str) -> str:
    """The path of a page's route as the name of a file."""
    words = route.replace("{number}", "").replace("_id}", "}")
    return re.sub(r"[^a-z0-9]+", "-", words.lower()).strip("-") or "jobs"
