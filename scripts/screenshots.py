"""Pictures of every page of the demo shop at phone and desktop width, light and dark, for the eye.

usage: screenshots.py [--folder DIR] [--shop DIR] [--only WORD] [--readme]
"""

from __future__ import annotations

import argparse
import io
import shutil
import sys
import tempfile
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any, Final

from PIL import Image
from playwright.sync_api import Browser, sync_playwright

from beltside.casework.demo_shop import make_demo_shop
from beltside.casework.shop import open_shop
from served import file_name, pages_of, served

ROOT: Final = Path(__file__).parents[1]
SIZES: Final = ((390, 844), (1280, 900))
SCHEMES: Final = ("light", "dark")
TALLEST_PX: Final = 12_000
"""Longer pages are cut here."""
# What the README shows: file, page, width, height, scheme.
README: Final = (
    ("page-job.png", "/job/9", 390, 844, "light"),
    ("page-find.png", "/job/3/find", 390, 844, "light"),
    ("page-drive.png", "/job/3/drive", 1280, 900, "light"),
    ("page-proof.png", "/job/10/proof", 390, 844, "dark"),
)
README_COLORS: Final = 64
WAIT_MS: Final = 400
LISTENING_MS: Final = 600_000


def main(arguments: Sequence[str] | None = None) -> int:
    """Make them; says where each is, and which page is wider than its screen."""
    asked = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    asked.add_argument("--folder", type=Path, default=ROOT / "screenshots", help="where they go")
    asked.add_argument("--shop", type=Path, help="a shop's folder instead of a fresh demo shop")
    asked.add_argument("--only", default="", help="only pages whose name holds this word")
    asked.add_argument("--readme", action="store_true", help="the README's own into docs/pictures")
    given = asked.parse_args(arguments)
    with tempfile.TemporaryDirectory(prefix="beltside-") as temporary:
        folder: Path = given.shop or Path(temporary) / "shop"
        if given.shop is None:
            with open_shop(folder) as shop:
                make_demo_shop(shop)
        with served(folder) as address, sync_playwright() as playwright:
            browser = playwright.chromium.launch(
                executable_path=shutil.which("chromium"), args=["--no-sandbox"]
            )
            if given.readme:
                for_readme(browser, address)
            else:
                wide = list(every_page(browser, address, given.folder, given.only))
                for one in wide:
                    sys.stderr.write(f"wider than its screen: {one}\n")
                return int(bool(wide))
            browser.close()
    return 0


def every_page(browser: Browser, address: str, folder: Path, only: str) -> Iterator[str]:
    """A picture of each page in each size and scheme; gives the pages that scroll sideways."""
    folder.mkdir(parents=True, exist_ok=True)
    found = pages_of(address)
    places = {file_name(name): some[0] for name, some in found.items() if some}
    places["problem"] = "/no-such-page"
    for width, height in SIZES:
        for scheme in SCHEMES:
            page = screen(browser, width, height, scheme)
            for name, place in places.items():
                if only not in name:
                    continue
                page.goto(address + place)
                tall = page.evaluate("document.documentElement.scrollHeight")
                # The whole page on one screen: what sticks to an edge is then at its edge.
                page.set_viewport_size(
                    {"width": width, "height": max(height, min(tall, TALLEST_PX))}
                )
                # Pictures of the page are fetched when they come into view.
                page.wait_for_load_state("networkidle")
                page.wait_for_timeout(WAIT_MS)
                path = folder / f"{name}-{width}-{scheme}.png"
                page.screenshot(path=path)
                if page.evaluate("document.documentElement.scrollWidth") > width:
                    yield f"{place} at {width} px"
                page.set_viewport_size({"width": width, "height": height})
                sys.stdout.write(f"{path}\n")
            page.context.close()


def for_readme(browser: Browser, address: str) -> None:
    """The README's own pictures, in few colours to be small."""
    for name, place, width, height, scheme in README:
        page = screen(browser, width, height, scheme)
        page.goto(address + place)
        # Once the takes are listened to the page shows itself anew.
        page.locator("[data-progress]").wait_for(state="detached", timeout=LISTENING_MS)
        page.wait_for_load_state("networkidle")
        page.wait_for_timeout(WAIT_MS)
        picture = Image.open(io.BytesIO(page.screenshot()))
        path = ROOT / "docs" / "pictures" / name
        picture.convert("RGB").quantize(README_COLORS, dither=Image.Dither.NONE).save(
            path, optimize=True
        )
        sys.stdout.write(f"{path} {path.stat().st_size // 1000} kB\n")
        page.context.close()


def screen(browser: Browser, width: int, height: int, scheme: Any) -> Any:
    """An empty page of a screen's size."""
    return browser.new_context(
        viewport={"width": width, "height": height}, color_scheme=scheme, reduced_motion="reduce"
    ).new_page()


if __name__ == "__main__":
    sys.exit(main())
