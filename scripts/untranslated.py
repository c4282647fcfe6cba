"""What still reads English on the pages of the demo shop in another language, page by page.

Every page that links lead to is asked for in that language, in memory, and its visible words are
looked at: text, and what a screen reader says in place of a picture or a field. A piece of text is
shown when it holds a word that the English texts know and the other language's texts do not. What
a person typed (names, cars, his own words) stays as he typed it and does not count.

usage: untranslated.py [--language de] [--shop DIR] [--heard] [--only WORD] [--few COUNT]

With --heard the takes are listened to first, as workers would: pages then hold what was heard.
--shop keeps the demo shop in a folder, made there when it is empty, so that the next run is quick.
"""

from __future__ import annotations

import argparse
import ast
import base64
import re
import sys
import tempfile
import tomllib
from collections.abc import Container, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from html.parser import HTMLParser
from pathlib import Path
from typing import Any, Final
from urllib.parse import urlsplit

from fastapi.testclient import TestClient

import beltside
from beltside.base.errors import BeltsideError
from beltside.casework import demo_shop, demo_shop_jobs
from beltside.casework.settings import save_settings
from beltside.casework.shop import Shop, open_shop
from beltside.casework.shop_analysis import do_piece
from beltside.jobs.asked import address
from beltside.jobs.queue import Queue
from beltside.jobs.workers import Report
from beltside.web.app import create_app
from beltside.web.settings import WebSettings
from beltside.web.texts import LANGUAGES, groups, said_groups
from served import FEW, pages_of

FOLDER: Final = Path(beltside.__file__).parent
TEXTS: Final = FOLDER / "web" / "texts"
INVENTED: Final = (FOLDER / "rig", FOLDER / "casework" / "demo")
"""Rooms and modules whose texts are names of invented cars and people."""
SVG_ADDRESS: Final = "data:image/svg+xml;base64,"
PICTURE: Final = re.compile(r'<img[^>]*\bsrc="([^"]+)"')
HERE: Final = "http://testserver"
SPOKEN: Final = ("alt", "aria-label", "placeholder", "title")
"""Attributes that are read out or shown."""
UNSEEN: Final = frozenset({"script", "style", "code", "pre", "kbd", "textarea"})
"""What holds no words for a reader, commands, and what he typed himself."""
EMPTY: Final = frozenset({"br", "hr", "img", "input", "link", "meta", "source", "wbr"})
WORD: Final = re.compile(r"[^\W\d_]{2,}")
GAP: Final = re.compile(r"\{\w*\}")
NAMES: Final = frozenset({"utc", "eur", "english", "toml", "lbf", "ft", "m³", "iat", "oat", "hoat"})
"""Abbreviations, units and names that are the same in every language."""
FILE_NAME: Final = re.compile(r"\S+\.(?:m4a|wav|jpg|png|toml)\b")
STAYS_ENGLISH: Final = {
    "/api": "what an operation does is described in English, and the page says so",
}
"""Routes whose pages are not looked at, and why."""


# What a person typed ------------------------------------------------------------------------------


@cache
def typed() -> Sequence[str]:
    """What was typed into the demo shop by hand, the longest first."""
    said = {
        getattr(job, name)
        for job in demo_shop_jobs.DEMO_JOBS
        for name in ("owner", "phone", "car", "plate", "words", "since")
    }
    tree = ast.parse(Path(demo_shop.__file__).read_text(encoding="utf-8"))
    for call in (node for node in ast.walk(tree) if isinstance(node, ast.Call)):
        # Notes, reminders, comebacks, captions: sentences of the person in the demo shop's hand.
        said |= {
            one.value
            for one in call.args
            if isinstance(one, ast.Constant)
            and isinstance(one.value, str)
            and one.value[0:1].isupper()
        }
    said |= {demo_shop_jobs.TECHNICIAN, demo_shop_jobs.FLANGE_SOURCE, "price list of the demo"}
    said |= {
        "The old pump",
        "The new pump",
        "A job of the demo shop; everything on it is invented.",
    }
    return sorted((one for one in said if one.strip()), key=len, reverse=True)


# Words of the languages ---------------------------------------------------------------------------


def words(text: str) -> set[str]:
    """Its words, small letters, without gaps."""
    return {word.lower() for word in WORD.findall(GAP.sub(" ", text))}


@cache
def english_words() -> frozenset[str]:
    """Every word of a text in the code, its data, its templates and the tables."""
    found: set[str] = set()
    for path in FOLDER.rglob("*"):
        if TEXTS in path.parents or any(str(path).startswith(str(one)) for one in INVENTED):
            continue
        if path.suffix == ".py":
            tree = ast.parse(path.read_text(encoding="utf-8"))
            for node in ast.walk(tree):
                if isinstance(node, ast.Constant) and isinstance(node.value, str):
                    found |= words(node.value)
        elif path.suffix == ".toml":
            found |= _words_in(tomllib.loads(path.read_text(encoding="utf-8")))
    for texts in _tables("de"):
        found |= {word for text in texts for word in words(text)}
    return frozenset(found)


def _words_in(value: Any) -> set[str]:
    if isinstance(value, str):
        return words(value)
    if isinstance(value, Mapping):
        return {word for one in (*value, *value.values()) for word in _words_in(one)}
    if isinstance(value, list):
        return {word for one in value for word in _words_in(one)}
    return set()


@cache
def other_words(language: str) -> frozenset[str]:
    """Every word of the other language's texts."""
    return frozenset(
        word for texts in _tables(language) for other in texts.values() for word in words(other)
    )


def _tables(language: str) -> Iterator[Mapping[str, str]]:
    yield from groups(language).values()
    yield from said_groups(language).values()


def english_in(text: str, language: str) -> str:
    """The words of a text that only English knows, spaced; "" where there are none.

    >>> english_in("Die Nabe is pressed on", "de") != ""
    True
    """
    text = FILE_NAME.sub(" ", text)
    for one in typed():
        text = text.replace(one, " ")
    only = english_words() - other_words(language) - NAMES
    return " ".join(word for word in WORD.findall(text) if word.lower() in only)


# Pages --------------------------------------------------------------------------------------------


class _Seen(HTMLParser):
    """The texts of a page as they are seen or read out, one for each tag they stand between."""

    def __init__(self, unseen: Container[str], *, values: bool) -> None:
        super().__init__()
        self._unseen = unseen
        self._values = values
        self.texts: list[str] = []
        self._open: list[tuple[str, bool]] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        if tag not in EMPTY:
            # HTML's own word for what stays as it is, such as the values of the record.
            value = dict(attrs).get("translate") == "no" and not self._values
            stays = tag in self._unseen or value
            self._open.append((tag, stays))
        self.texts.extend(value for name, value in attrs if name in SPOKEN and value)

    def handle_endtag(self, tag: str) -> None:
        while self._open and self._open.pop()[0] != tag:
            pass

    def handle_data(self, data: str) -> None:
        if data.strip() and not any(stays for _, stays in self._open):
            self.texts.append(" ".join(data.split()))


def seen_on(html: str, *, values: bool = False, unseen: Container[str] = UNSEEN) -> list[str]:
    """The visible texts of a page; with `values` those of the record that stay as they are too.

    >>> seen_on('<p>One <b>two</b></p><img alt="three"><script>four</script>')
    ['One', 'two', 'three']
    """
    seen = _Seen(unseen, values=values)
    seen.feed(html)
    seen.close()
    return seen.texts


@dataclass(frozen=True)
class Left:
    """A text that still reads English: where it was first seen, and the words that tell."""

    route: str
    place: str
    text: str
    because: str


@dataclass(frozen=True)
class Shown:
    """A page as it came: its route, its address, its text, and its drawings as SVG."""

    route: str
    place: str
    html: str
    drawings: Sequence[str]


def shown_in(shop: Shop, language: str, *, few: int = FEW) -> list[Shown]:
    """The pages of a demo shop in a language, up to `few` of each route."""
    save_settings(shop, {"language": language})
    app = create_app(WebSettings(hosts=("testserver",), workers=0), shop=shop)
    kept: dict[str, str | None] = {}
    with TestClient(app, base_url=HERE) as client:

        def read(place: str) -> str | None:
            if place not in kept:
                answer = client.get(place)
                html = answer.headers.get("content-type", "").startswith("text/html")
                kept[place] = answer.text if html and answer.status_code == 200 else None
            return kept[place]

        def drawing(address: str) -> str:
            if address.startswith(SVG_ADDRESS):
                return base64.b64decode(address.removeprefix(SVG_ADDRESS)).decode()
            if not urlsplit(address).path.endswith(".svg") or address.startswith("/static/"):
                return ""
            answer = client.get(address)
            return answer.text if answer.status_code == 200 else ""

        found = []
        for route, places in pages_of(HERE, few=few, read=read).items():
            for place in places if route not in STAYS_ENGLISH else ():
                html = read(HERE + place) or ""
                drawings = map(drawing, PICTURE.findall(html))
                found.append(Shown(route, place, html, [one for one in drawings if one]))
        return found


def untranslated(
    shop: Shop, language: str, *, few: int = FEW, pages: Iterable[Shown] | None = None
) -> Iterator[Left]:
    """Every text that still reads English on the pages of a demo shop, each once for a route.

    Parameters
    ----------
    pages
        The pages to look at, where they are there already.
    """
    told: set[tuple[str, str]] = set()
    for page in shown_in(shop, language, few=few) if pages is None else pages:
        for text in seen_on(page.html):
            because = english_in(text, language)
            if because and (page.route, text) not in told:
                told.add((page.route, text))
                yield Left(page.route, page.place, text, because)


def listen(shop: Shop) -> None:
    """Do all work that pages asked for, and what follows from it, in this process."""
    queue, where = Queue(shop.record.database), address(shop.record.database)
    while (piece := queue.claim("untranslated")) is not None:
        try:
            queue.finish(piece, do_piece(shop.folder, where, piece, Report(queue, piece)))
        except BeltsideError as error:
            queue.fail(piece, str(error))


def main(arguments: Sequence[str] | None = None) -> int:
    """Print them by page; the exit code is 1 when there are any."""
    asked = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    asked.add_argument(
        "--language", default="de", choices=[one for one in LANGUAGES if one != "en"]
    )
    asked.add_argument("--shop", type=Path, help="a demo shop's folder; made when it is empty")
    asked.add_argument("--heard", action="store_true", help="listen to the takes first")
    asked.add_argument("--only", default="", help="only routes whose path holds this word")
    asked.add_argument("--few", type=int, default=FEW, help="pages looked at of one route")
    given = asked.parse_args(arguments)
    count = 0
    with (
        tempfile.TemporaryDirectory(prefix="beltside-") as temporary,
        open_shop(given.shop or Path(temporary) / "shop") as shop,
    ):
        demo_shop.make_demo_shop(shop)
        if given.heard:
            for _ in untranslated(shop, given.language, few=given.few):
                pass
            listen(shop)
        route = ""
        for one in untranslated(shop, given.language, few=given.few):
            if given.only not in one.route:
                continue
            if one.route != route:
                route = one.route
                print(f"\n{route}  (first on {one.place})")
            print(f"  {one.text}\n      [{one.because}]")
            count += 1
    print(f"\n{count} texts still read English.")
    return int(count > 0)


if __name__ == "__main__":
    sys.exit(main())
