"""Has a file looked at by a process of its own that can do little else, and believes it little.

What the process gives up, and why these limits: docs/trust-files.md.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
import tempfile
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import IO, Any, Final

from beltside.base.errors import BeltsideError, InputError, LimitError
from beltside.media.limits import GIBIBYTE, MEBIBYTE

_LONGEST_HEAD: Final = 8 * MEBIBYTE
_ENVIRONMENT: Final = ("LD_LIBRARY_PATH", "DYLD_LIBRARY_PATH", "SYSTEMROOT", "LANG", "LC_ALL")


class BrokeDownError(Exception):
    """The process ended without an answer, or with nonsense: the file made it crash."""


@dataclass(frozen=True)
class Bounds:
    """What looking at a file may take: address space and output [bytes], processor and wall time
    [s]."""

    memory_bytes: int = 2 * GIBIBYTE
    cpu_s: int = 30
    wall_s: float = 60.0
    output_bytes: int = 512 * MEBIBYTE


def look_at(
    what: str,
    call: str,
    file: IO[bytes] | bytes,
    bounds: Bounds,
    errors: Mapping[str, type[BeltsideError]],
    **arguments: Any,
) -> tuple[Any, IO[bytes]]:
    """Call `call` ("module:name") on a file in a process of its own.

    Parameters
    ----------
    what
        What to call the file in messages.
    file
        An open file, at its start, or its bytes.
    errors
        Errors of ours that the function raises, by name: raised here with the same words.
    arguments
        Plain values handed on.

    Returns
    -------
    tuple
        The function's plain value, and a file with its bytes, which the caller closes.

    Raises
    ------
    LimitError
        When it needed more time, memory or room than it may.
    BrokeDownError
        When the process crashed.
    """
    asked = {
        "path": [one for one in sys.path if one],
        "call": call,
        "memory": bounds.memory_bytes,
        "cpu": bounds.cpu_s,
        "output": bounds.output_bytes,
        "arguments": arguments,
    }
    given: dict[str, Any] = {"input": file} if isinstance(file, bytes) else {"stdin": file}
    environment = {name: os.environ[name] for name in _ENVIRONMENT if name in os.environ}
    # Without names, in a folder of its own: gone when closed, or when the program dies.
    out = tempfile.TemporaryFile()  # noqa: SIM115 - the caller closes it
    try:
        with tempfile.TemporaryDirectory(prefix="beltside-look-") as folder:
            try:
                done = subprocess.run(
                    [
                        sys.executable,
                        "-I",
                        "-S",
                        str(Path(__file__).with_name("bounded_child.py")),
                        json.dumps(asked),
                    ],
                    stdout=out,
                    stderr=subprocess.DEVNULL,
                    cwd=folder,
                    env={**environment, "OPENBLAS_NUM_THREADS": "1", "TMPDIR": folder},
                    timeout=bounds.wall_s,
                    start_new_session=True,
                    check=False,
                    **given,
                )
            except subprocess.TimeoutExpired:
                raise _too_much(what, bounds) from None
        out.seek(0)
        return _answer(what, out, done.returncode, bounds, errors), out
    except BaseException:
        out.close()
        raise


def _answer(
    what: str,
    out: IO[bytes],
    code: int,
    bounds: Bounds,
    errors: Mapping[str, type[BeltsideError]],
) -> Any:
    line = out.readline(_LONGEST_HEAD)
    try:
        said = json.loads(line)
        if code or not isinstance(said, dict) or not line.endswith(b"\n"):
            raise ValueError("no answer")
    except (ValueError, RecursionError) as error:
        # Killed by the system for time, room or memory; else a crash.
        if code < 0 and -code in (9, 24, 25):
            raise _too_much(what, bounds) from error
        raise BrokeDownError(f"exit code {code}") from error
    if "limit" in said:
        raise _too_much(what, bounds)
    if "error" in said:
        known: dict[str, type[BeltsideError]] = {"InputError": InputError, "LimitError": LimitError}
        kind = {**known, **errors}.get(said["error"])
        if kind is None:
            raise BrokeDownError(str(said["error"])[:100])
        given, allowed, instead = (str(said.get(n, "")) for n in ("given", "allowed", "instead"))
        raise kind(given, allowed=allowed, instead=instead)
    return said.get("answer")


def _too_much(what: str, bounds: Bounds) -> LimitError:
    return LimitError(
        f"{what} took more time or memory than it may, and was put aside",
        allowed=f"{bounds.memory_bytes >> 20} MiB of memory, {bounds.wall_s:g} s",
    )
