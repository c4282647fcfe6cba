"""Peak memory of a process and its children, read from outside.

`ru_maxrss` keeps the size of the parent at the fork, so a child never seems smaller than who
started it; the kernel's own account of the running program (`VmHWM`, `VmRSS` in /proc) is read
instead, every 10 ms. Linux only: elsewhere `watch` gives nan.
"""

from __future__ import annotations

import subprocess
import threading
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

STEP_S = 0.01


@dataclass(frozen=True)
class Peak:
    """Largest sizes [MB]: the process, its largest child, and all of them at one moment."""

    own_mb: float
    child_mb: float
    together_mb: float


def status_mb(text: str, field: str) -> float:
    """A size out of the text of /proc/PID/status [MB of 10^6 bytes], 0 when it is not there.

    >>> status_mb("Name: python\\nVmHWM:\\t  250000 kB\\n", "VmHWM")
    256.0
    """
    for line in text.splitlines():
        if line.startswith(f"{field}:"):
            return int(line.split()[1]) * 1024 / 1e6
    return 0.0


def _status(pid: int) -> str:
    try:
        return Path(f"/proc/{pid}/status").read_text(encoding="utf-8")
    except OSError:  # it has ended
        return ""


def _command(pid: int) -> bytes:
    try:
        return Path(f"/proc/{pid}/cmdline").read_bytes()
    except OSError:
        return b""


def _children(pid: int) -> list[int]:
    """Running children, theirs too; not those just forked, which still are their parent's size."""
    try:
        text = "".join(
            path.read_text(encoding="utf-8")
            for path in Path(f"/proc/{pid}/task").glob("*/children")
        )
    except OSError:
        return []
    below = [child for child in map(int, text.split()) if _command(child) != _command(pid)]
    return below + [further for child in below for further in _children(child)]


def watch(command: Sequence[str], environment: dict[str, str]) -> tuple[str, Peak]:
    """Run a command; give what it printed and its peaks.

    Raises
    ------
    RuntimeError
        When the command fails.
    """
    own = child = together = 0.0
    running = subprocess.Popen(
        command, env=environment, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
    )
    out: list[str] = []
    reader = threading.Thread(target=lambda: out.extend(running.communicate()))
    reader.start()
    if not Path("/proc/self/status").exists():
        own = child = together = float("nan")
    while reader.is_alive():
        mine = _status(running.pid)
        others = [_status(pid) for pid in _children(running.pid)]
        own = max(own, status_mb(mine, "VmHWM"))
        child = max([child, *(status_mb(one, "VmHWM") for one in others)])
        together = max(together, sum(status_mb(one, "VmRSS") for one in [mine, *others]))
        reader.join(STEP_S)
    if running.returncode != 0:
        raise RuntimeError(f"{' '.join(command)} failed: {out[1]}")
    return out[0], Peak(own, child, together)
