"""A phone is paired with the computer's screen beside it: two browsers, real HTTPS, 390 px."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from playwright.sync_api import Browser, expect

from served import free_port, served

from .conftest import PHONE, Chromium


@pytest.fixture(scope="module")
def doors(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[str, str]]:
    """The computer's door and the phones' door of an empty shop."""
    port = str(free_port())
    folder = tmp_path_factory.mktemp("pairing") / "shop"
    with served(folder, "--workers", "0", "--phones", "--phones-port", port) as here:
        yield here, f"https://127.0.0.1:{port}"


@pytest.fixture(scope="module")
def browser(chromium: Chromium) -> Browser:
    return chromium()


@pytest.mark.parametrize("scripts", [True, False], ids=["scripts", "no-scripts"])
def test_paired_working_and_locked_out(
    browser: Browser, doors: tuple[str, str], scripts: bool
) -> None:
    computer = browser.new_context(base_url=doors[0]).new_page()
    # A phone that went on past the warning.
    phone = browser.new_context(
        base_url=doors[1], viewport=PHONE, ignore_https_errors=True, java_script_enabled=scripts
    ).new_page()
    phone.goto("/")
    expect(phone.get_by_role("heading", level=1)).to_have_text("This phone is not paired")

    computer.goto("/phones")
    computer.get_by_label("Whose phone is it").fill("Ida's phone")
    computer.get_by_label("Helper: no prices").check()
    computer.get_by_role("button", name="Make a code").click()
    code = computer.locator(".code").inner_text()

    # The same fingerprint on both screens.
    phone.goto("/trust")
    shown = phone.locator(".fingerprint").inner_text().split()
    beside = computer.context.new_page()
    beside.goto("/phones")
    assert beside.locator(".fingerprint").inner_text().split() == shown
    assert len(shown) == 32

    # As the QR code opens it: the code stands there already.
    phone.goto(f"/pair/{code.replace('-', '')}")
    wide = phone.evaluate("document.documentElement.scrollWidth") if scripts else PHONE["width"]
    assert wide <= PHONE["width"]
    phone.get_by_role("button", name="Pair this phone").click()
    expect(phone.get_by_role("heading", level=1)).to_have_text("Jobs")
    # The page of the code sees it without being asked.
    expect(computer).to_have_url(f"{doors[0]}/phones?saved=1")
    expect(computer.get_by_text("Ida's phone").first).to_be_visible()

    phone.get_by_label("What the owner says").fill("Howls when cold")
    phone.get_by_role("button", name="Open the job").click()
    expect(phone.get_by_text("Howls when cold").first).to_be_visible()

    computer.goto("/phones")
    computer.get_by_role("button", name="Lock it out now").first.click()
    phone.goto("/")
    expect(phone.get_by_role("heading", level=1)).to_have_text("This phone is not paired")
    computer.context.close()
    phone.context.close()


def test_a_page_on_the_phone_has_its_secure_context(
    browser: Browser, doors: tuple[str, str]
) -> None:
    """What gives a page the microphone (W3C Secure Contexts): HTTPS, unlike plain HTTP."""
    context = browser.new_context(base_url=doors[1], viewport=PHONE, ignore_https_errors=True)
    page = context.new_page()
    page.goto("/pair")
    assert page.evaluate("isSecureContext") is True
    assert page.evaluate("'mediaDevices' in navigator") is True
    # The session is out of reach for scripts.
    assert page.evaluate("document.cookie") == ""
    context.close()
