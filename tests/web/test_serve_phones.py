"""The real server over real HTTPS: trust, pairing, renewal, a stranger; only on the loopback."""

from __future__ import annotations

import contextlib
import os
import re
import signal
import socket
import ssl
import subprocess
import sys
import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import httpx
import pytest

SOURCE = Path(__file__).parents[2] / "src"


def free_port() -> int:
    with socket.socket() as one:
        one.bind(("127.0.0.1", 0))
        return int(one.getsockname()[1])


@dataclass
class Server:
    """A running `beltside serve --phones`."""

    folder: Path
    here: str
    there: str
    process: subprocess.Popen[str]
    said: str

    def trusting(self) -> ssl.SSLContext:
        """What a phone has that took the authority in."""
        return ssl.create_default_context(cafile=str(self.folder / "trust" / "authority.pem"))

    def computer(self) -> httpx.Client:
        return httpx.Client(base_url=self.here, trust_env=False, timeout=60)

    def phone(self) -> httpx.Client:
        return httpx.Client(
            base_url=self.there, verify=self.trusting(), trust_env=False, timeout=60
        )


def send(client: httpx.Client, page: str, action: str, fields: dict[str, Any]) -> httpx.Response:
    found = re.search(r'name="_token" value="([^"]+)"', client.get(page).text)
    assert found is not None
    return client.post(action, data={"_token": found[1], **fields})


@contextlib.contextmanager
def serving(folder: Path, *more: str) -> Iterator[Server]:
    """Start it, wait until both doors answer, and end it as Ctrl+C does."""
    ports = free_port(), free_port()
    process = subprocess.Popen(
        [
            *(sys.executable, "-m", "beltside", "serve", "--folder", str(folder), "--workers", "0"),
            *("--port", str(ports[0]), "--phones", "--phones-port", str(ports[1]), *more),
        ],
        env={**os.environ, "PYTHONPATH": str(SOURCE), "PYTHONUNBUFFERED": "1"},
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
    )
    assert process.stdout is not None
    lines = []
    for line in process.stdout:
        lines.append(line)
        if line.startswith("End it"):
            break
    server = Server(
        folder,
        f"http://localhost:{ports[0]}",
        f"https://127.0.0.1:{ports[1]}",
        process,
        "".join(lines),
    )
    try:
        for port in ports:
            deadline = time.monotonic() + 30
            while True:
                with contextlib.suppress(OSError):
                    socket.create_connection(("127.0.0.1", port), timeout=1).close()
                    break
                assert time.monotonic() < deadline, server.said
                time.sleep(0.05)
        yield server
    finally:
        process.send_signal(signal.SIGINT)
        rest, _ = process.communicate(timeout=30)
        server.said += rest


@pytest.fixture(scope="module")
def server(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Server]:
    with serving(tmp_path_factory.mktemp("phones") / "shop") as server:
        yield server
    assert "Traceback" not in server.said


@contextlib.contextmanager
def paired(server: Server, role: str = "technician") -> Iterator[httpx.Client]:
    with server.computer() as here:
        sent = send(here, "/phones", "/phones/code", {"name": "Ida", "role": role})
    found = re.search(r'class="code">([^<]+)<', sent.text)
    assert found is not None, sent.text
    with server.phone() as phone:
        assert send(phone, "/pair", "/pair", {"code": found[1]}).status_code == 303
        yield phone


def test_it_says_where_and_shows_the_fingerprint(server: Server) -> None:
    assert server.here in server.said
    assert "For phones on the same network: https://" in server.said
    with server.phone() as phone:
        shown = re.search(r'class="fingerprint">([^<]+)<', phone.get("/trust").text)
    assert shown is not None
    printed = re.findall(r"^  ((?:[0-9A-F]{2} ){7}[0-9A-F]{2})$", server.said, re.MULTILINE)
    assert " ".join(printed) == shown[1]
    assert len(shown[1].split()) == 32


def test_a_phone_pairs_and_works_over_https(server: Server) -> None:
    with paired(server) as phone:
        sent = send(phone, "/", "/jobs", {"words": "hums", "owner": "Berg"})
        assert sent.status_code == 303
        page = phone.get(sent.headers["location"])
        assert page.status_code == 200
        assert "hums" in page.text


def test_a_phone_that_does_not_trust_it_connects_with_a_warning_only(server: Server) -> None:
    with (
        httpx.Client(base_url=server.there, trust_env=False, timeout=60) as stranger,
        pytest.raises(httpx.ConnectError, match="CERTIFICATE_VERIFY_FAILED"),
    ):
        stranger.get("/pair")


def test_plain_http_at_the_phones_door_gets_nothing(server: Server) -> None:
    with (
        httpx.Client(trust_env=False, timeout=60) as client,
        pytest.raises(httpx.HTTPError),
    ):
        client.get(server.there.replace("https", "http") + "/pair")


def test_old_tls_is_refused_on_the_wire(server: Server) -> None:
    """RFC 8996: TLS 1.1 is not to be used."""
    context = server.trusting()
    context.set_ciphers("ALL:@SECLEVEL=0")
    with pytest.warns(DeprecationWarning, match="deprecated"):
        context.minimum_version = ssl.TLSVersion.TLSv1
    with pytest.warns(DeprecationWarning, match="deprecated"):
        context.maximum_version = ssl.TLSVersion.TLSv1_1
    port = int(server.there.rpartition(":")[2])
    with (
        socket.create_connection(("127.0.0.1", port)) as raw,
        pytest.raises(ssl.SSLError),
    ):
        context.wrap_socket(raw, server_hostname="127.0.0.1")


def test_the_forwarded_headers_open_no_door(server: Server) -> None:
    with server.phone() as phone:
        for value in ("http", "https"):
            headers = {"x-forwarded-proto": value, "x-forwarded-for": "127.0.0.1"}
            assert phone.get("/", headers=headers).status_code == 401


def test_the_door_of_this_computer_listens_on_the_loopback_only(server: Server) -> None:
    """The kernel's own list of listening sockets (proc_net(5))."""
    port = int(server.here.rpartition(":")[2])
    lines = Path("/proc/net/tcp").read_text(encoding="ascii").splitlines()[1:]
    listening = [line.split()[1] for line in lines if line.split()[3] == "0A"]
    assert [one for one in listening if one.endswith(f":{port:04X}")] == [f"0100007F:{port:04X}"]


def test_locked_out_means_out(server: Server) -> None:
    with paired(server, "helper") as phone, server.computer() as here:
        assert phone.get("/").status_code == 200
        page = here.get("/phones").text
        first = re.search(r'action="(/phones/[0-9a-f]+/end)"', page)
        assert first is not None
        send(here, "/phones", first[1], {})
        assert phone.get("/").status_code == 401


def test_sessions_and_authority_outlive_a_restart(tmp_path: Path) -> None:
    with serving(tmp_path / "shop") as first, paired(first) as phone:
        token = phone.cookies["__Host-beltside"]
        authority = (tmp_path / "shop" / "trust" / "authority.pem").read_bytes()
    with serving(tmp_path / "shop") as again, again.phone() as client:
        client.cookies.set("__Host-beltside", token)
        assert client.get("/").status_code == 200
    assert (tmp_path / "shop" / "trust" / "authority.pem").read_bytes() == authority
    assert first.process.returncode == again.process.returncode
    assert "Traceback" not in first.said + again.said


def test_a_port_that_is_taken_is_said(tmp_path: Path) -> None:
    with socket.socket() as taken:
        taken.bind(("0.0.0.0", 0))
        taken.listen()
        port = str(taken.getsockname()[1])
        done = subprocess.run(
            [
                *(sys.executable, "-m", "beltside", "serve", "--folder", str(tmp_path / "shop")),
                *("--port", str(free_port()), "--phones", "--phones-port", port),
            ],
            env={**os.environ, "PYTHONPATH": str(SOURCE)},
            capture_output=True,
            text=True,
            check=False,
        )
    assert done.returncode == 1
    assert f"Port {port} cannot be opened" in done.stderr
    assert "--phones-port" in done.stderr
