"""The server killed while a recording is on its way: nothing is half there, nothing is lost."""

from __future__ import annotations

import hashlib
import http.client
import json
import os
import re
import signal
import subprocess
import sys
import time
import urllib.request
from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import expect

from beltside.casework.shop import JobSheet, open_shop
from beltside.media import read_recording
from served import free_port

from .conftest import Chromium, EngineRunning, Told, opener

PIECE = 64_000


class Server:
    """`beltside serve` on one port, killed and started again."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.port = free_port()
        self.address = f"http://127.0.0.1:{self.port}"
        self._process: subprocess.Popen[bytes] | None = None

    def start(self) -> None:
        command = [sys.executable, "-m", "beltside", "serve", "--folder", str(self.folder)]
        self._process = subprocess.Popen(
            [*command, "--port", str(self.port)], stdout=subprocess.DEVNULL
        )
        ends = time.monotonic() + 60
        while time.monotonic() < ends:
            try:
                urllib.request.urlopen(f"{self.address}/", timeout=30).close()
                return
            except OSError:
                time.sleep(0.05)
        raise RuntimeError("the server did not open")

    def kill(self) -> None:
        """As when the power goes: no chance to tidy up."""
        if self._process is not None:
            os.kill(self._process.pid, signal.SIGKILL)
            self._process.wait()
            self._process = None

    def sheet(self) -> JobSheet:
        with open_shop(self.folder) as shop:
            return shop.record.sheet(shop.record.job(1).id)

    def stored(self) -> list[str]:
        with open_shop(self.folder) as shop:
            return list(shop.files.names())


@pytest.fixture
def server(tmp_path: Path) -> Iterator[Server]:
    server = Server(tmp_path / "shop")
    with open_shop(server.folder) as shop:
        shop.record.new_job([("complaint", {"words": "howls"})], by="Ida")
    server.start()
    try:
        yield server
    finally:
        server.kill()


def test_an_upload_in_pieces_that_was_cut_off_leaves_nothing_half(
    server: Server, engine: EngineRunning
) -> None:
    data = engine.take("belt-on").read_bytes()
    path = "/api/jobs/1/takes?belt=on&own_name=memo-1"
    link = http.client.HTTPConnection("127.0.0.1", server.port, timeout=30)
    link.putrequest("POST", path)
    link.putheader("X-Beltside-By", "tablet")
    link.putheader("Content-Type", "audio/wav")
    link.putheader("Transfer-Encoding", "chunked")
    link.endheaders()
    for at in range(0, len(data) // 2, PIECE):
        piece = data[at : at + PIECE]
        link.send(f"{len(piece):x}\r\n".encode() + piece + b"\r\n")
    arriving = server.folder / "files" / "arriving"
    ends = time.monotonic() + 30
    while not any(one.stat().st_size for one in arriving.glob("*")) and time.monotonic() < ends:
        time.sleep(0.02)
    assert any(arriving.glob("*")), "nothing was on its way when the server was killed"
    server.kill()
    link.close()

    server.start()
    assert server.sheet().of_kind("take") == ()
    assert server.stored() == []

    again = urllib.request.Request(
        f"{server.address}{path}",
        data=data,
        headers={"X-Beltside-By": "tablet", "Content-Type": "audio/wav"},
    )
    with urllib.request.urlopen(again, timeout=60) as answer:
        assert json.load(answer)["entry"] == "memo-1"
    (take,) = server.sheet().of_kind("take")
    assert take.body["file"] == hashlib.sha256(data).hexdigest()
    assert server.stored() == [take.body["file"]]


def test_what_the_browser_kept_is_sent_when_the_server_is_back(
    server: Server, engine: EngineRunning, chromium: Chromium, told: Told
) -> None:
    with opener(chromium(engine.take("belt-on")), server.address, told) as opens:
        page = opens("/job/1/take")
        page.get_by_role("button", name="Record now").click()
        page.get_by_role("button", name="Stop and keep").wait_for()
        expect(page.locator(".clock")).to_have_text("0:04")
        # Slow enough that the upload is under way when the server is killed.
        network = page.context.new_cdp_session(page)
        slow = {"offline": False, "latency": 0, "downloadThroughput": -1}
        network.send("Network.enable")
        network.send("Network.emulateNetworkConditions", {**slow, "uploadThroughput": 8_000})
        page.get_by_role("button", name="Stop and keep").click()
        expect(page.locator("#waiting li")).to_have_text(re.compile(r" [1-9]\d? %"))
        server.kill()
        expect(page.get_by_role("button", name="Send again")).to_be_visible()
        assert server.sheet().of_kind("take") == ()
        assert server.stored() == []

        server.start()
        network.send("Network.emulateNetworkConditions", {**slow, "uploadThroughput": -1})
        page.get_by_role("button", name="Send again").click()
        page.wait_for_url(re.compile(r"/job/1/take/\w+$"))
        (take,) = server.sheet().of_kind("take")
        assert (take.body["belt"], server.stored()) == ("on", [take.body["file"]])
        # Sent whole: it opens, and is as long as was recorded.
        with open_shop(server.folder) as shop:
            samples, rate_hz, _ = read_recording(shop.files.path(take.body["file"]))
        assert 3.0 < samples.shape[1] / rate_hz < 15.0
        page.goto("/job/1/take")
        expect(page.locator("#waiting li")).to_have_count(0)
    # The browser says of the lost link, and of the first try with the old token, what it should.
    told.lines[:] = [
        line for line in told.lines if "net::ERR" not in line and "status of 403" not in line
    ]
