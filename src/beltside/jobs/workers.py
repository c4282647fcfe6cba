"""Processes that do what the queue holds: started, watched, begun anew when one dies, stopped."""

from __future__ import annotations

import contextlib
import logging
import math
import multiprocessing
import os
import secrets
import signal
import threading
import time
from collections.abc import Callable
from multiprocessing.connection import Connection
from multiprocessing.process import BaseProcess
from pathlib import Path
from types import TracebackType
from typing import Any, Final

from beltside.base.errors import BeltsideError, InputError
from beltside.jobs.database import RecordError, connect
from beltside.jobs.queue import Analysis, Queue

BEAT_S: Final = 5.0
"""How often a worker gives a sign of life."""

LOOK_S: Final = 0.5
"""How often an idle worker looks for work, and its keeper for dead workers."""

PATIENCE_S: Final = 20.0
"""How long called-off work may go on before its worker is ended, and begun anew."""

LOG: Final = logging.getLogger(__name__)


class CalledOffError(BeltsideError):
    """The work was cancelled, or given to another: whoever does it should let go at once."""


class Report:
    """What the one who works can say and ask meanwhile."""

    def __init__(self, queue: Queue, work: Analysis) -> None:
        self._queue: Final = queue
        self._work: Final = work
        self._told_at = -math.inf
        self.called_off = False

    def progress(self, percent: float, doing: str = "") -> None:
        """Say how far it is, as often as you like: it is written down twice a second at most.

        Raises
        ------
        CalledOffError
            When the work is not wanted any more.
        """
        now = time.monotonic()
        if not self.called_off and now - self._told_at >= LOOK_S:
            self._told_at = now
            self.called_off = not self._queue.progress(self._work, percent, doing)
        if self.called_off:
            raise CalledOffError("The work was called off")


Do = Callable[[Analysis, Report], Any]
"""Does one piece of work and gives back its result, plain values."""


class Workers:
    """Worker processes of this program. Use as a context, or `start()` and `stop()`.

    Parameters
    ----------
    where
        The database: a file or a URL.
    do
        What does the work: a function of a module, since it is sent to other processes.
    count
        How many processes, 1 to 64.
    ready
        Called once in each process before it looks for work, so that the first piece does not
        wait for imports.
    """

    def __init__(
        self, where: Path | str, do: Do, count: int, *, ready: Callable[[], None] | None = None
    ) -> None:
        if not 1 <= count <= 64:
            raise InputError(f"{count} workers", allowed="1 to 64")
        self._where: Final = where
        self._do: Final = do
        self._ready: Final = ready
        self._count: Final = count
        self._context: Final = multiprocessing.get_context("spawn")
        self._stop: Final = threading.Event()
        self._running: Final[dict[str, tuple[BaseProcess, Connection]]] = {}
        self._keeper: threading.Thread | None = None
        self._queue: Queue | None = None

    def start(self) -> None:
        """Start the processes; what dead workers of earlier programs left is given back."""
        if self._keeper is not None:
            return
        self._queue = Queue(connect(self._where))
        self._queue.release()
        for _ in range(self._count):
            self._start_one()
        self._keeper = threading.Thread(target=self._keep, name="beltside workers", daemon=True)
        self._keeper.start()

    def stop(self, patience_s: float = 10.0) -> None:
        """Let each worker end; what it was at is given back to the queue. May be called twice."""
        if self._keeper is None or self._queue is None:
            return
        self._stop.set()
        self._keeper.join()
        self._keeper = None
        for _, line in self._running.values():
            line.close()
        ends = time.monotonic() + patience_s
        for name, (process, _) in list(self._running.items()):
            process.join(max(ends - time.monotonic(), 0.1))
            if process.is_alive():
                process.kill()
                process.join()
            self._bury(name)
        self._queue.database.close()

    def pids(self) -> list[int]:
        """The processes that run now."""
        return [
            process.pid
            for process, _ in list(self._running.values())
            if process.pid is not None and process.is_alive()
        ]

    def __enter__(self) -> Workers:
        self.start()
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.stop()

    def _start_one(self) -> None:
        name = f"{os.getpid()}-{secrets.token_hex(8)}"
        # Nothing is ever sent: the line breaks when this program ends it, or ends itself.
        ears, line = self._context.Pipe(duplex=False)
        process = self._context.Process(
            target=work,
            args=(self._where, self._do, name, ears, self._ready),
            name=f"beltside worker {name}",
            daemon=True,
        )
        process.start()
        ears.close()
        self._running[name] = (process, line)

    def _bury(self, name: str) -> None:
        process, line = self._running.pop(name)
        process.close()
        line.close()
        assert self._queue is not None
        with contextlib.suppress(RecordError):
            self._queue.release(worker=name)

    def _keep(self) -> None:
        """Begin anew what dies, but not faster than once in `LOOK_S`; look after other programs'
        dead now and then."""
        assert self._queue is not None
        looks = 0
        while not self._stop.wait(LOOK_S):
            looks += 1
            for name, (process, _) in list(self._running.items()):
                if not process.is_alive():
                    LOG.warning("a worker ended with code %s; another is started", process.exitcode)
                    self._bury(name)
                    self._start_one()
            if looks % 20 == 0:
                with contextlib.suppress(RecordError):
                    self._queue.release()


def work(
    where: Path | str,
    do: Do,
    name: str,
    ears: Connection,
    ready: Callable[[], None] | None = None,
) -> None:
    """What one worker process does until the line to its parent breaks."""
    # Ctrl-C in a terminal reaches all its processes: the parent tells the workers when to end.
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    if ready is not None:
        ready()
    with connect(where) as database:
        queue = Queue(database)
        while not ears.poll(0):
            piece = None
            try:
                piece = queue.claim(name)
                if piece is not None:
                    _do_one(queue, do, piece, ears)
            except RecordError as error:
                # What is begun and not ended is given back by the keeper, or by the next program.
                LOG.warning("the record cannot be used: %s", error)
                piece = None
            if piece is None:
                ears.poll(LOOK_S)


def _do_one(queue: Queue, do: Do, piece: Analysis, ears: Connection) -> None:
    report = Report(queue, piece)
    done = threading.Event()
    pulse = threading.Thread(target=_beat, args=(queue, piece, report, done, ears), daemon=True)
    pulse.start()
    try:
        queue.finish(piece, do(piece, report))
    except CalledOffError:
        # Nobody's any more when it was cancelled: then this does nothing.
        queue.give_back(piece)
    except RecordError:
        raise
    except BeltsideError as error:
        queue.fail(piece, str(error))
    except Exception as error:
        LOG.exception("analysis %s failed", piece.id)
        queue.fail(piece, f"Something unforeseen went wrong: {type(error).__name__}: {error}")
    finally:
        done.set()
        pulse.join()


def _beat(
    queue: Queue, piece: Analysis, report: Report, done: threading.Event, ears: Connection
) -> None:
    """Signs of life while the work goes on. Work that is not wanted any more and does not let go
    by itself is ended with its process: nothing else stops a computation."""
    called_off_at: float | None = None
    last = time.monotonic()
    while not done.wait(LOOK_S):
        now = time.monotonic()
        if now - last >= BEAT_S and not report.called_off:
            last = now
            with contextlib.suppress(RecordError):
                report.called_off = not queue.beat(piece)
        if ears.poll(0):
            report.called_off = True
        if report.called_off:
            called_off_at = called_off_at or now
            if now - called_off_at > PATIENCE_S:
                os._exit(1)
