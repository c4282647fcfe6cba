"""One thread for linear algebra in a command: takes are worked on side by side already.

Counted by threadpoolctl, which asks the loaded libraries themselves.
"""

from __future__ import annotations

import os
import subprocess
import sys

COUNT = """
import numpy, scipy.linalg
from threadpoolctl import threadpool_info
print(max(one["num_threads"] for one in threadpool_info() if one["user_api"] == "blas"))
"""


def printed(code: str) -> int:
    """What a fresh Python prints whose environment says nothing of threads."""
    plain = {name: value for name, value in os.environ.items() if "NUM_THREADS" not in name}
    done = subprocess.run(
        [sys.executable, "-c", code], env=plain, capture_output=True, text=True, check=True
    )
    return int(done.stdout)


def test_a_command_keeps_to_one_thread() -> None:
    """Without the command there are as many as cores."""
    assert printed(COUNT) == min(os.cpu_count() or 1, len(os.sched_getaffinity(0)))
    assert printed("import beltside.cli.main\n" + COUNT) == 1
