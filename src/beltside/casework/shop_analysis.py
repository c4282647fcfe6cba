"""Work that takes seconds, done once and kept: in the background by workers, or at once.

A method is a function of the shop and plain settings that gives plain values. Its result is kept
under method, version, subject and settings; a new version of a method works it out anew, the old
result stays.
"""

from __future__ import annotations

import os
import secrets
import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import partial
from importlib import import_module
from pathlib import Path
from typing import Any, Final

from beltside.base.errors import BeltsideError, InputError, RecordingError
from beltside.casework.results import Progress
from beltside.casework.shop import Shop, shop_at
from beltside.jobs.asked import address, call_off_others, claim_this, look_up
from beltside.jobs.queue import DEAD_AFTER_S, Analysis, Queue
from beltside.jobs.workers import CalledOffError, Report, Workers

Work = Callable[[Shop, Mapping[str, Any], Progress], dict[str, Any]]

METHODS: Final = {
    "listen": ("beltside.casework.shop_listen", "listen_to_one"),
    "case-sound": ("beltside.casework.shop_find", "listen_together"),
    "compare": ("beltside.casework.shop_measure", "compare_two"),
    "proof-sound": ("beltside.casework.proof_clips", "work_out_sound"),
}
"""Where each method's function is; imported when there is work."""

_LOOK_S: Final = 0.1
_SHOPS: Final[dict[tuple[Path, str], Shop]] = {}
"""The shops that this worker process has open."""


@dataclass(frozen=True)
class WorkState:
    """How a piece of work stands.

    Attributes
    ----------
    state
        "not asked", "waiting", "working", "done", "failed" or "cancelled".
    share, doing
        The share done, 0 to 1, and what is being done.
    problem
        Why it failed.
    result
        Plain values once done.
    id
        Its name on the workers' list.
    """

    state: str
    share: float = 0.0
    doing: str = ""
    problem: str = ""
    result: dict[str, Any] | None = None
    id: str = ""


def state_of(
    shop: Shop, name: str, version: int, subject: str, settings: Mapping[str, Any]
) -> WorkState:
    """How a piece of work stands."""
    found = look_up(shop.record.database, name, version, subject, settings)
    return WorkState("not asked") if found is None else _state(found)


def kept_result(
    shop: Shop, name: str, version: int, subject: str, settings: Mapping[str, Any]
) -> dict[str, Any] | None:
    """The kept result of a piece of work; None while it is not done."""
    return state_of(shop, name, version, subject, settings).result


def _state(found: Analysis) -> WorkState:
    return WorkState(
        {"running": "working"}.get(found.state, found.state),
        found.percent / 100.0,
        found.doing,
        found.problem or "",
        found.result if found.state == "done" else None,
        found.id,
    )


def ask(
    shop: Shop,
    name: str,
    version: int,
    subject: str,
    settings: Mapping[str, Any],
    job_id: str | None,
) -> WorkState:
    """Put a piece of work on the workers' list, unless it is there or done.

    What still waits for the same subject with other settings is called off. One that failed is
    begun anew.
    """
    database = shop.record.database
    found = look_up(database, name, version, subject, settings)
    if found is None or found.state in ("failed", "cancelled"):
        piece = Queue(database).ask(name, version, subject, settings, job_id)
        call_off_others(database, piece)
        found = Queue(database).get(piece)
    return _state(found)


def call_off(shop: Shop, work_id: str) -> bool:
    """Call a piece of work off; whether it was still open."""
    return Queue(shop.record.database).cancel(work_id)


def analyse_now(
    shop: Shop,
    name: str,
    version: int,
    subject: str,
    settings: Mapping[str, Any],
    job_id: str | None,
    progress: Progress | None = None,
) -> dict[str, Any]:
    """The result of a piece of work: kept, or worked out now; waits where a worker is at it.

    Raises
    ------
    BeltsideError
        What the work raises.
    """
    database = shop.record.database
    queue = Queue(database)
    piece = queue.get(ask(shop, name, version, subject, settings, job_id).id)
    say = progress or (lambda _what, _share: None)
    while piece.state in ("waiting", "running"):
        mine = claim_this(database, piece.id, f"{os.getpid()}-{secrets.token_hex(4)}")
        if mine is not None:
            return _do_here(shop, queue, mine, say)
        queue.release(silent_s=DEAD_AFTER_S)
        say(piece.doing, piece.percent / 100.0)
        time.sleep(_LOOK_S)
        piece = queue.get(piece.id)
    if piece.state == "done":
        result: dict[str, Any] = piece.result
        return result
    if piece.state == "cancelled":
        raise BeltsideError("The work was called off", instead="asking for it again")
    raise RecordingError(piece.problem or "The work failed, and nobody said why")


def _do_here(shop: Shop, queue: Queue, piece: Analysis, say: Progress) -> dict[str, Any]:
    report = Report(queue, piece)

    def both(what: str, share: float) -> None:
        say(what, share)
        report.progress(100.0 * min(max(share, 0.0), 1.0), what)

    try:
        result = _work(piece.method)(shop, piece.settings, both)
    except CalledOffError:
        raise
    except BeltsideError as error:
        queue.fail(piece, str(error))
        raise
    except BaseException:
        # Stopped by the person, or a fault: another may do it.
        queue.give_back(piece)
        raise
    queue.finish(piece, result)
    return result


def _work(name: str) -> Work:
    if name not in METHODS:
        raise InputError(f"no way is known to do {name!r}", allowed=", ".join(METHODS))
    module, function = METHODS[name]
    work: Work = getattr(import_module(module), function)
    return work


# Workers -----------------------------------------------------------------------------------------


def workers(shop: Shop, count: int = 1) -> Workers:
    """Worker processes for this shop; a context, or `start()` and `stop()`.

    Parameters
    ----------
    count
        How many, 1 to 64.
    """
    # Read when numpy is first imported, so before the processes begin: workers share the machine's
    # cores between them, and threads on top wait for each other and burn what they wait for.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    where = address(shop.record.database)
    return Workers(where, partial(do_piece, shop.folder, where), count, ready=load_methods)


def load_methods() -> None:
    """Load what the methods need, so that the first take is not kept waiting for it."""
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    for module, _ in METHODS.values():
        import_module(module)


def do_piece(folder: Path, database: str, piece: Analysis, report: Report) -> dict[str, Any]:
    """Do one piece of work in a worker process.

    Raises
    ------
    CalledOffError
        When it is not wanted any more.
    BeltsideError
        When it can't be done.
    """
    shop = _SHOPS.get((folder, database))
    if shop is None:
        shop = _SHOPS[folder, database] = shop_at(folder, database=database, by="worker")

    def told(what: str, share: float) -> None:
        report.progress(100.0 * min(max(share, 0.0), 1.0), what)

    return _work(piece.method)(shop, piece.settings, told)


def open_work(shop: Shop) -> int:
    """How many pieces of work wait or are being done."""
    return Queue(shop.record.database).open_count()
