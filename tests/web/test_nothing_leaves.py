"""No request leaves the machine: every page and a job, with every connection watched."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).parents[2]
# Python tells an audit hook of every connection, name looked up and datagram (sys.addaudithook,
# table of audit events in Python's own documentation). Put into every process by its start file,
# those that decode and analyse too.
WATCH = """
import ipaddress, os, sys

def watch(event, arguments):
    if event in ("socket.connect", "socket.sendto", "socket.sendmsg"):
        address = arguments[1]
        if not isinstance(address, tuple):
            return
        host = str(address[0])
    elif event in ("socket.getaddrinfo", "socket.gethostbyname"):
        host = arguments[0]
        host = host.decode() if isinstance(host, bytes) else host
    else:
        return
    if host in (None, "", "localhost"):
        return
    try:
        inside = ipaddress.ip_address(host).is_loopback
    except ValueError:
        inside = False
    if not inside:
        with open(os.environ["BELTSIDE_WATCHED"], "a", encoding="utf-8") as log:
            log.write(f"{event} {host}\\n")
        raise ConnectionError(f"{event} {host} is not this machine")

sys.addaudithook(watch)
"""
WALK = """
import sys
from pathlib import Path

folder, root = Path(sys.argv[1]), Path(sys.argv[2])
sys.path[:0] = [str(root / "tests" / "casework"), str(root / "src"), str(root)]
from fastapi.testclient import TestClient
from proof_jobs import full_job
from tests.web.conftest import Machine, routes_of
from tests.web.test_who_may import addresses
from beltside.casework.shop import open_shop
from beltside.web.app import create_app
from beltside.web.settings import WebSettings

with open_shop(folder) as shop:
    job = full_job(shop)
    app = create_app(WebSettings(workers=1), shop=shop, phones=Machine(folder).door)
    with TestClient(app, base_url="http://localhost:8460", raise_server_exceptions=False) as here:
        looked = 0
        for address in [*addresses(app, shop, job), "/phones", "/trust"]:
            looked += here.get(address).status_code == 200
    print(looked)
"""


def run(tmp_path: Path, code: str, *arguments: str) -> tuple[subprocess.CompletedProcess[str], str]:
    """Run code in a watched process; gives it back with what it tried to reach."""
    (tmp_path / "watch").mkdir(exist_ok=True)
    (tmp_path / "watch" / "sitecustomize.py").write_text(WATCH, encoding="utf-8")
    log = tmp_path / "watched"
    log.write_text("", encoding="utf-8")
    done = subprocess.run(
        [sys.executable, "-c", code, *arguments],
        env={
            **os.environ,
            "PYTHONPATH": f"{tmp_path / 'watch'}:{ROOT / 'src'}",
            "BELTSIDE_WATCHED": str(log),
        },
        capture_output=True,
        text=True,
        check=False,
    )
    return done, log.read_text(encoding="utf-8")


def test_the_watch_sees_what_would_leave(tmp_path: Path) -> None:
    """192.0.2.1 stands for somewhere else (RFC 5737); it is stopped before anything is sent."""
    code = (
        "import socket, subprocess, sys\n"
        "inner = 'import socket; socket.create_connection((\"192.0.2.1\", 9), 1)'\n"
        "subprocess.run([sys.executable, '-c', inner])\n"
        "socket.socket(socket.AF_INET, socket.SOCK_DGRAM).connect(('192.0.2.1', 9))\n"
    )
    done, watched = run(tmp_path, code)
    assert done.returncode != 0
    assert "socket.connect 192.0.2.1" in watched
    assert len(watched.splitlines()) >= 2


def test_every_page_and_a_job_stay_on_this_machine(tmp_path: Path) -> None:
    done, watched = run(tmp_path, WALK, str(tmp_path / "shop"), str(ROOT))
    assert done.returncode == 0, done.stderr[-2000:]
    assert watched == ""
    assert int(done.stdout.split()[-1]) > 40
