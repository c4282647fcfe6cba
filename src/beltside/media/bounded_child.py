"""The program that looks at one untrusted file for its parent, in a process of its own.

It is started by `bounded.py` with one argument, JSON: `path` to import from, `call` (module:name),
`memory`, `cpu` and `output` limits, `arguments`. The file is its standard input, the answer goes to
its standard output: one line of JSON, then bytes. Before the first byte of the file is looked at it
gives up memory, time, files to write, new processes and the network.
"""

from __future__ import annotations

import contextlib
import importlib
import json
import os
import sys
from typing import Any, Final

_OPEN_FILES: Final = 32
_REFUSED: Final = (
    *("socket.", "subprocess.", "os.exec", "os.fork", "os.posix_spawn", "os.spawn", "os.system"),
    *("os.remove", "os.rename", "os.rmdir", "os.mkdir", "os.chmod", "os.chown", "os.link"),
    *("os.symlink", "os.truncate", "ctypes.dlopen", "shutil.", "ftplib.", "urllib.", "pty."),
)
_NEW_NETWORK: Final = 0x40000000
_NEW_USER: Final = 0x10000000
"""CLONE_NEWNET and CLONE_NEWUSER of Linux's sched.h."""


def give_up(memory_bytes: int, cpu_s: int, output_bytes: int) -> None:
    """Limits of the system: they hold for native code too."""
    try:
        import resource
    except ImportError:  # Windows: the parent's own limits still hold
        return
    for which, most in (
        (resource.RLIMIT_AS, memory_bytes),
        (resource.RLIMIT_CPU, cpu_s),
        (resource.RLIMIT_CORE, 0),
        (resource.RLIMIT_FSIZE, output_bytes),
        (resource.RLIMIT_NOFILE, _OPEN_FILES),
        (resource.RLIMIT_NPROC, 0),
    ):
        _, hard = resource.getrlimit(which)
        most = most if hard == resource.RLIM_INFINITY else min(most, hard)
        with contextlib.suppress(ValueError, OSError):
            resource.setrlimit(which, (most, most))


def leave_the_network() -> bool:
    """On Linux, where the kernel lets it: a network of its own with nothing in it."""
    try:
        import ctypes

        return int(ctypes.CDLL(None).unshare(_NEW_USER | _NEW_NETWORK)) == 0
    except (ImportError, OSError, AttributeError):
        return False


def refuse_the_rest(folders: list[str]) -> None:
    """Of Python code: no sockets, no programs, nothing written, nothing read but modules."""
    inside = tuple(os.path.realpath(one) + os.sep for one in folders)

    def hook(event: str, arguments: tuple[Any, ...]) -> None:
        if event.startswith(_REFUSED):
            raise PermissionError(f"a file that is looked at may not do this: {event}")
        if event == "open":
            path, mode, flags = arguments
            writes = isinstance(flags, int) and flags & (os.O_WRONLY | os.O_RDWR | os.O_CREAT)
            if writes or (isinstance(mode, str) and set(mode) & set("wax+")):
                raise PermissionError("a file that is looked at may write nothing")
            if isinstance(path, str | bytes) and not os.path.realpath(os.fsdecode(path)).startswith(
                inside
            ):
                raise PermissionError("a file that is looked at may open no other")

    sys.addaudithook(hook)


def main() -> None:
    """Do what the argument says."""
    asked = json.loads(sys.argv[1])
    sys.dont_write_bytecode = True
    sys.path[:] = asked["path"]
    give_up(asked["memory"], asked["cpu"], asked["output"])
    module, _, name = asked["call"].partition(":")
    call = getattr(importlib.import_module(module), name)
    leave_the_network()
    refuse_the_rest([*asked["path"], sys.prefix, sys.base_prefix])
    out = sys.stdout.buffer
    try:
        head, body = call(sys.stdin.buffer, **asked["arguments"])
        said = {"answer": head}
    except MemoryError:
        said, body = {"limit": "memory"}, b""
    except Exception as error:  # noqa: BLE001 - whatever a damaged file makes a decoder raise
        said, body = {"error": type(error).__name__, **_words(error)}, b""
    out.write(json.dumps(said).encode("ascii") + b"\n")
    out.write(body)
    out.flush()
    # Nothing is tidied up: a decoder left in the middle may hang there.
    os._exit(0)


def _words(error: Exception) -> dict[str, str]:
    return {
        name: str(getattr(error, name, "") or "")[:2000] for name in ("given", "allowed", "instead")
    }


if __name__ == "__main__":
    main()
