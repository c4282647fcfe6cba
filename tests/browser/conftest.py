"""A server in a process of its own, and Debian's Chromium with a recording as its microphone."""

from __future__ import annotations

import re
import shutil
import subprocess
import sys
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Browser, Page, expect, sync_playwright

sys.path.insert(0, str(Path(__file__).parents[2] / "scripts"))

from beltside.media import write_recording
from beltside.rig import TakePlan, demo_case
from served import served

PHONE = {"width": 390, "height": 844}
PATIENCE_MS = 60_000
expect.set_options(timeout=PATIENCE_MS / 4)


@pytest.fixture(scope="session")
def demo_folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The folder of a demo shop."""
    folder = tmp_path_factory.mktemp("demo") / "shop"
    command = [sys.executable, "-m", "beltside", "demo-shop", "--folder", str(folder)]
    subprocess.run(command, check=True, capture_output=True)
    return folder


@pytest.fixture(scope="session")
def demo_address(demo_folder: Path) -> Iterator[str]:
    """A server of the demo shop, for pages that are only looked at."""
    with served(demo_folder, "--workers", "0") as address:
        yield address


@pytest.fixture(scope="session")
def quiet_address(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """A server of a shop that several tests share, each with a job of its own; nothing listens."""
    with served(tmp_path_factory.mktemp("quiet") / "shop", "--workers", "0") as address:
        yield address


@pytest.fixture
def shop_address(tmp_path: Path) -> Iterator[str]:
    """A server of an empty shop."""
    with served(tmp_path / "shop") as address:
        yield address


@dataclass(frozen=True)
class EngineRunning:
    """The rig's demo car: its takes as files, and its drive sheet."""

    folder: Path
    drive_toml: str

    def take(self, name: str) -> Path:
        """A take as a WAV file, which Chromium plays into its microphone."""
        return self.folder / f"{name}.wav"


@pytest.fixture(scope="session")
def engine(tmp_path_factory: pytest.TempPathFactory) -> EngineRunning:
    """The Tarn 1.4 of the rig, its coolant pump's bearing run dry."""
    from beltside.rig.writing import drive_toml

    folder = tmp_path_factory.mktemp("engine")
    plans = (
        TakePlan("belt-on", duration_s=8.0),
        TakePlan("belt-off", belt="off", duration_s=6.0),
        TakePlan("probe-coolant-pump", place="coolant-pump", duration_s=6.0),
    )
    case = demo_case(plans=plans)
    for take in case.takes:
        write_recording(folder / f"{take.name}.wav", take.samples, take.sample_rate_hz)
    return EngineRunning(folder, drive_toml(case.sheet))


Chromium = Callable[..., Browser]


@pytest.fixture(scope="session")
def chromium() -> Iterator[Chromium]:
    """Gives Debian's Chromium; what its microphone hears is a file.

    One for each microphone, running for the whole session: tests open contexts of their own in it.
    """
    running: dict[Path | None, Browser] = {}
    with sync_playwright() as playwright, ExitStack() as ends:

        def launched(microphone: Path | None = None) -> Browser:
            if microphone not in running:
                arguments = ["--no-sandbox"]
                if microphone is not None:
                    arguments += [
                        "--use-fake-ui-for-media-stream",
                        "--use-fake-device-for-media-stream",
                        f"--use-file-for-fake-audio-capture={microphone}",
                    ]
                browser = playwright.chromium.launch(
                    executable_path=shutil.which("chromium"), args=arguments
                )
                ends.callback(browser.close)
                running[microphone] = browser
            return running[microphone]

        yield launched


@dataclass
class Told:
    """What a browser complained of: errors of scripts, refused by policy, files not there."""

    lines: list[str] = field(default_factory=list)


Opens = Callable[..., Page]


@contextmanager
def opener(browser: Browser, address: str, told: Told) -> Iterator[Opens]:
    """Opens pages of a server as a phone does; what the browser complains of goes to `told`."""
    contexts = []

    def opens(path: str = "/", **options: Any) -> Page:
        context = browser.new_context(
            **{"viewport": PHONE, "base_url": address, "accept_downloads": True, **options}
        )
        contexts.append(context)
        context.set_default_timeout(PATIENCE_MS)
        page = context.new_page()
        page.on("pageerror", lambda error: told.lines.append(str(error)))
        page.on(
            "console",
            lambda said: said.type in ("error", "warning") and told.lines.append(said.text),
        )
        page.goto(path)
        return page

    try:
        yield opens
    finally:
        for context in contexts:
            context.close()


@pytest.fixture
def told() -> Iterator[Told]:
    """Collects what browsers complain of; a test fails when anything is left in it."""
    all_told = Told()
    yield all_told
    assert all_told.lines == []


@pytest.fixture
def phone(
    shop_address: str, engine: EngineRunning, chromium: Chromium, told: Told
) -> Iterator[Opens]:
    """Opens a page of the empty shop on a phone whose microphone hears the engine."""
    with opener(chromium(engine.take("belt-on")), shop_address, told) as opens:
        yield opens


@pytest.fixture
def hand(quiet_address: str, chromium: Chromium, told: Told) -> Iterator[Opens]:
    """Opens a page of the shop that several tests share, on a phone without a microphone."""
    with opener(chromium(), quiet_address, told) as opens:
        yield opens


def new_job(page: Page, *, car: str = "", owner: str = "") -> str:
    """Open a job from the list of jobs; gives its address on the server."""
    page.get_by_label("What the owner says").fill("It howls at the front.")
    page.get_by_label("Car", exact=True).fill(car)
    page.get_by_label("Owner", exact=True).fill(owner)
    page.get_by_role("button", name="Open the job").click()
    page.wait_for_url(re.compile(r"/job/\d+$"))
    return "/job/" + page.url.rpartition("/")[2]
