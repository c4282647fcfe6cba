"""What the first page does not need is loaded after it: numerics, charts, most pages, workers.

Importing all of it takes some seconds on a small machine. The list of jobs needs little of it: the
server opens with that, and loads the rest in the background once the first page is out. Whoever
asks for another page earlier waits for it.
"""

from __future__ import annotations

import threading
from collections.abc import Callable
from importlib import import_module
from typing import Final

from starlette.concurrency import run_in_threadpool
from starlette.types import ASGIApp, Receive, Scope, Send

from beltside.web.pages import templates
from beltside.web.texts import LANGUAGES, said

FIRST_PATHS: Final = frozenset({"/", "/jobs"})
KEPT_PATHS: Final = "/static/"
SHOWN_LATER: Final = (
    "beltside.proof.drive_picture",
    "beltside.proof.coolant_pictures",
    "beltside.proof.plan_picture",
    "beltside.proof.order_picture",
    "beltside.proof.spectrogram_picture",
    "beltside.proof.sheet_pdf",
    "beltside.proof.sheet_html",
    "beltside.proof.how_sheet",
)
"""What routes import inside their functions."""
PATIENCE_S: Final = 2.0
"""When nobody asks for a page, the rest is loaded after so long."""


class Later:
    """Loads the rest, once.

    Parameters
    ----------
    load
        Enters the rest into the application.
    then
        What begins when that is done: the workers, then what pages need when first shown.
    """

    def __init__(self, load: Callable[[], None], *then: Callable[[], None]) -> None:
        self._load: Final = load
        self._then: Final = then
        self._lock: Final = threading.Lock()
        self._first: Final = threading.Event()
        self._ended = False
        self._thread: threading.Thread | None = None
        self.loaded = False

    def load(self) -> None:
        """Load the rest; returns when it is there."""
        with self._lock:
            if not self.loaded:
                self._load()
                self.loaded = True

    def start(self) -> None:
        """Wait for the first answer in a thread, then load."""
        self._thread = threading.Thread(target=self._run, name="beltside later", daemon=True)
        self._thread.start()

    def answered(self) -> None:
        """The first page is out."""
        self._first.set()

    def stop(self) -> None:
        """Begin nothing any more, and wait for what is under way."""
        self._ended = True
        self._first.set()
        if self._thread is not None:
            self._thread.join()

    def _run(self) -> None:
        if not self.loaded:
            self._first.wait(PATIENCE_S)
        if not self._ended:
            self.load()
        for begin in self._then:
            if not self._ended:
                begin()


def warm() -> None:
    """Load what pages would load when they are first shown: charts, paper, templates, languages."""
    for name in SHOWN_LATER:
        import_module(name)
    environment = templates()
    for name in environment.list_templates():
        environment.get_template(name)
    for language in LANGUAGES:
        said("", language)


class LaterPages:
    """ASGI middleware: pages that are not loaded yet are loaded when they are asked for."""

    def __init__(self, app: ASGIApp, later: Later) -> None:
        self.app = app
        self.later = later

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http" or self.later.loaded:
            await self.app(scope, receive, send)
            return
        path = str(scope["path"])
        if path not in FIRST_PATHS and not path.startswith(KEPT_PATHS):
            await run_in_threadpool(self.later.load)
        await self.app(scope, receive, send)
        if path in FIRST_PATHS:
            self.later.answered()
