"""The parent's side of decoding: starts the child, reads its messages, always ends it.

What the child runs is in `decoding_child.py`; why it is a process of its own is in
docs/decisions/0002-decoding-in-a-child-process.md.
"""

from __future__ import annotations

import contextlib
import importlib.util
import json
import os
import signal
import struct
import subprocess
import sys
import threading
import time
from collections import deque
from pathlib import Path
from typing import Any, Final

from beltside.base.errors import BeltsideError, LimitError
from beltside.media.limits import Limits

_HEAD: Final = struct.Struct("<cI")
_MAX_JSON_BYTES: Final = 1 << 16
_MAX_SAMPLES_BYTES: Final = 1 << 25
# How far the child may decode ahead of the reader.
_READ_AHEAD_BYTES: Final = 1 << 24
_PIPE_BYTES: Final = 1 << 20
# Needed by some Python builds to find their own libraries; nothing else is passed on.
_ENVIRONMENT: Final = ("LD_LIBRARY_PATH", "DYLD_LIBRARY_PATH", "SYSTEMROOT")

Message = tuple[bytes, bytearray]


class ChildBrokenError(Exception):
    """The child ended, or wrote nonsense, before its last message."""


def _folder_of_av() -> str:
    # The child runs without site-packages, so it is told where PyAV is.
    found = importlib.util.find_spec("av")
    if found is None or found.origin is None:
        raise BeltsideError(
            "the package `av`, which decodes recordings, is not installed",
            instead="install Beltside with its requirements",
        )
    return str(Path(found.origin).resolve().parent.parent)


class DecodingChild:
    """One decoding process on one open file.

    Parameters
    ----------
    descriptor
        Open for reading, at the start of the file; the caller closes it.
    readable_bytes
        How much of the file is to be read; the processor time allowed follows from it.
    limits
        Bounds on the process and on waiting for it.
    """

    def __init__(self, descriptor: int, readable_bytes: int, limits: Limits) -> None:
        self._limits = limits
        self._waited_s = 0.0
        self._process = subprocess.Popen(
            [
                sys.executable,
                "-I",
                "-S",
                str(Path(__file__).with_name("decoding_child.py")),
                str(limits.max_memory_bytes),
                str(int(limits.cpu_s(readable_bytes)) + 1),
                _folder_of_av(),
                str(readable_bytes),
            ],
            stdin=descriptor,
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
            bufsize=0,
            env={name: os.environ[name] for name in _ENVIRONMENT if name in os.environ},
            start_new_session=True,
        )
        self._queue: deque[Message | None] = deque()
        self._queued_bytes = 0
        self._changed = threading.Condition()
        self._closed = False
        self._widen_pipe()
        self._reader = threading.Thread(target=self._read, name="recording", daemon=True)
        self._reader.start()

    @property
    def process_id(self) -> int:
        """Process id of the child."""
        return self._process.pid

    def _widen_pipe(self) -> None:
        # Fewer, larger reads; only Linux knows how, and it may say no.
        with contextlib.suppress(ImportError, AttributeError, OSError):
            import fcntl

            assert self._process.stdout is not None
            fcntl.fcntl(self._process.stdout.fileno(), fcntl.F_SETPIPE_SZ, _PIPE_BYTES)

    # -- the reading thread --------------------------------------------------------------------

    def _read(self) -> None:
        try:
            while True:
                message = self._read_message()
                with self._changed:
                    while self._queued_bytes > _READ_AHEAD_BYTES and not self._closed:
                        self._changed.wait()
                    if self._closed:
                        return
                    self._queue.append(message)
                    if message is not None:
                        self._queued_bytes += len(message[1])
                    self._changed.notify_all()
                if message is None or message[0] == b"E":
                    return
        finally:
            with self._changed:
                self._queue.append(None)
                self._changed.notify_all()

    def _read_message(self) -> Message | None:
        head = self._read_exactly(_HEAD.size)
        if head is None:
            return None
        kind, length = _HEAD.unpack(head)
        allowed = {b"H": _MAX_JSON_BYTES, b"E": _MAX_JSON_BYTES, b"S": _MAX_SAMPLES_BYTES}
        if length > allowed.get(kind, -1):
            return None
        payload = self._read_exactly(length)
        return None if payload is None else (kind, payload)

    def _read_exactly(self, length: int) -> bytearray | None:
        assert self._process.stdout is not None
        data = bytearray(length)
        view = memoryview(data)
        done = 0
        while done < length:
            try:
                # Unbuffered: `readinto` is there, though the type says IO[bytes].
                got = self._process.stdout.readinto(view[done:])  # type: ignore[attr-defined]
            except (OSError, ValueError):
                return None
            if not got:
                return None
            done += got
        return data

    # -- the consumer --------------------------------------------------------------------------

    def next_message(self) -> Message:
        """Wait for the next message.

        Raises
        ------
        LimitError
            When the child took too long or was stopped by one of its limits.
        ChildBrokenError
            When the child ended otherwise without a last message.
        """
        allowed_s = min(self._limits.max_stall_s, self._limits.max_wall_s - self._waited_s)
        start_s = time.monotonic()
        with self._changed:
            came = self._changed.wait_for(lambda: bool(self._queue), timeout=max(0.0, allowed_s))
            message = self._queue.popleft() if came else None
            if message is not None:
                self._queued_bytes -= len(message[1])
            self._changed.notify_all()
        self._waited_s += time.monotonic() - start_s
        if message is not None:
            return message
        if not came:
            self.close()
            raise LimitError(
                "decoding this recording took too long and was stopped",
                allowed=f"{self._limits.max_stall_s:g} s for a step, "
                f"{self._limits.max_wall_s:g} s for the whole",
                instead="a shorter recording, or the original file from the phone",
            )
        raise self._why_it_ended()

    def _why_it_ended(self) -> Exception:
        with contextlib.suppress(subprocess.TimeoutExpired):
            self._process.wait(timeout=1.0)
        code = self._process.poll()
        self.close()
        out_of_time = [-int(getattr(signal, name, 0)) for name in ("SIGXCPU", "SIGKILL")]
        if code is not None and code < 0 and code in out_of_time:
            return LimitError(
                "decoding this recording took more processor time or memory than a recording may",
                allowed=f"{self._limits.max_cpu_s:g} s of processor time, less for small files, "
                f"and {self._limits.max_memory_bytes >> 20} MiB",
                instead="a shorter recording, or the original file from the phone",
            )
        return ChildBrokenError(f"exit code {code}")

    def close(self) -> None:
        """End the child if it still runs, and wait for it; safe to call again."""
        with self._changed:
            self._closed = True
            self._queue.clear()
            self._queued_bytes = 0
            self._changed.notify_all()
        if self._process.poll() is None:
            self._process.kill()
        self._process.wait()
        if threading.current_thread() is not self._reader:
            self._reader.join()
        if self._process.stdout is not None:
            self._process.stdout.close()


def parse_json(payload: bytes | bytearray) -> dict[str, Any]:
    """JSON from the child, which is not to be trusted.

    Raises
    ------
    ChildBrokenError
        When it is no JSON object.
    """
    try:
        content = json.loads(payload)
    except (ValueError, RecursionError) as error:
        raise ChildBrokenError("a message that is no JSON") from error
    if not isinstance(content, dict):
        raise ChildBrokenError("a message that is no JSON object")
    return content


def whole_number(content: dict[str, Any], key: str, high: int) -> int:
    """`content[key]` as an int of 0 to `high`; 0 when it is anything else."""
    value = content.get(key)
    return value if isinstance(value, int) and 0 <= value <= high else 0


def number(content: dict[str, Any], key: str) -> float | None:
    """`content[key]` as a finite float, or None when it is anything else."""
    value = content.get(key)
    if isinstance(value, bool) or not isinstance(value, int | float):
        return None
    return float(value) if abs(value) < 1e15 else None


def word(content: dict[str, Any], key: str) -> str:
    """`content[key]` as a short printable text; empty when it is anything else."""
    value = content.get(key)
    if not isinstance(value, str):
        return ""
    return "".join(letter for letter in value[:64] if letter.isprintable())
