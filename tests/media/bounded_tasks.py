"""What a hostile file may make a reader do; each runs in the process that is bounded."""

from __future__ import annotations

import os
import signal
import socket
import subprocess
import time
from pathlib import Path
from typing import IO, Any


def do(file: IO[bytes], *, task: str) -> tuple[Any, bytes]:
    """One thing that may not be, or a plain answer."""
    data = file.read(100)
    if task == "answer":
        return {"length": len(data), "folder": os.listdir(), "cwd": os.getcwd()}, data
    if task == "connect":
        socket.create_connection(("127.0.0.1", 9))
    elif task == "program":
        subprocess.run(["true"], check=True)
    elif task == "system":
        os.system("true")
    elif task == "write":
        Path("left").write_text("behind")
    elif task == "read":
        return Path("/etc/passwd").read_text()[:1], b""
    elif task == "memory":
        return len(bytearray(4 << 30)), b""
    elif task == "time":
        while True:
            time.monotonic()
    elif task == "sleep":
        time.sleep(60)
    elif task == "output":
        return None, bytes(20_000_000)
    elif task == "crash":
        os.kill(os.getpid(), signal.SIGSEGV)
    elif task == "nonsense":
        os.write(1, b"\xff" * 1000)
        os._exit(0)
    elif task == "deep":
        os.write(1, b"[" * 100_000 + b"\n")
        os._exit(0)
    elif task == "network":
        return os.readlink("/proc/self/ns/net"), b""
    raise ValueError(task)
