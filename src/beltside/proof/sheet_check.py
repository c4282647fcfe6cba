"""A proof sheet's file read back: the data it carries, and whether its page says the same."""

from __future__ import annotations

import base64
import binascii
import difflib
import io
import json
import logging
import re
import zlib
from dataclasses import dataclass
from html.parser import HTMLParser
from typing import Any, Final

import pypdf
from pypdf.errors import PyPdfError

from beltside.base.errors import InputError
from beltside.casework.proof_clips import Clips
from beltside.casework.proof_sheet import sheet_from_json
from beltside.casework.shop import Shop
from beltside.casework.shop_proof_check import Altered, ProofChecked, check_sheet
from beltside.proof.sheet_html import proof_html
from beltside.proof.sheet_pdf import KEEP_HEAD, proof_pdf

LARGEST_FILE_BYTES: Final = 20_000_000
MOST_DATA_BYTES: Final = 8_000_000
MOST_NAMED: Final = 100
_SCRIPT: Final = re.compile(r'<script type="application/json" id="sheet">"([^"<]*)"</script>')
_CLIP: Final = re.compile(r'id="(before|after)" src="data:audio/mp4;base64,([A-Za-z0-9+/=]*)"')


@dataclass(frozen=True)
class SheetFile:
    """A file of a proof sheet.

    Attributes
    ----------
    plain
        The data it carries.
    us
        Whether its page is in US units.
    page
        Where its page says other than its data.
    same_bytes
        Whether the file is byte for byte what its data give: then nothing on its page differs.
    """

    plain: dict[str, Any]
    us: bool
    page: tuple[Altered, ...]
    same_bytes: bool


@dataclass(frozen=True)
class FileChecked:
    """A file held against the record and against itself."""

    record: ProofChecked
    page: tuple[Altered, ...]
    says: tuple[str, ...]

    @property
    def genuine(self) -> bool:
        """Whether data and page are what the record says."""
        return self.record.genuine and not self.page

    def to_json(self) -> dict[str, Any]:
        """Plain dict."""
        return {
            **self.record.to_json(),
            "genuine": self.genuine,
            "says": list(self.says),
            "altered": [one.to_json() for one in (*self.record.altered, *self.page)],
        }


def check_file(shop: Shop, data: bytes) -> FileChecked:
    """Hold a PDF or HTML proof sheet against the record, and its page against its data.

    Raises
    ------
    InputError
        When it is no proof sheet, or the record has no such job.
    """
    file = read_sheet_file(data)
    record = check_sheet(shop, file.plain)
    says = list(record.says)
    if file.page:
        says.append("The page says other than the data in the file: it was changed by hand.")
    elif not file.same_bytes:
        says.append(
            "The words on the page are those of its data, but the file is not byte for byte as "
            "made: saved by another program, made by another version, or its drawings were "
            "changed. To be sure, print the sheet again and lay both side by side."
        )
    return FileChecked(record, file.page, tuple(says))


def read_sheet_file(data: bytes) -> SheetFile:
    """The data of a PDF or HTML proof sheet, and where its page differs from them.

    Raises
    ------
    InputError
        When it is too large, no such file, or carries no data.
    """
    if len(data) > LARGEST_FILE_BYTES:
        raise InputError(
            f"The file has {len(data) / 1e6:.0f} MB", allowed="a proof sheet, under 20 MB"
        )
    if data[:1024].lstrip().startswith(b"%PDF-"):
        return _read_pdf(data)
    return _read_html(data)


def _read_pdf(data: bytes) -> SheetFile:
    logging.getLogger("pypdf").setLevel(logging.CRITICAL)
    try:
        reader = pypdf.PdfReader(io.BytesIO(data))
        about = reader.metadata
        keywords = str(about.get("/Keywords") or "") if about is not None else ""
    except (PyPdfError, ValueError, KeyError, TypeError, RecursionError, OSError) as error:
        raise _no_sheet("The PDF can't be read") from error
    plain, us = unpacked(keywords)
    again = proof_pdf(sheet_from_json(plain), us=us)
    if again == data:
        return SheetFile(plain, us, (), True)
    return SheetFile(plain, us, _page_differs(pdf_lines(data), pdf_lines(again)), False)


def _read_html(data: bytes) -> SheetFile:
    try:
        text = data.decode("utf-8")
    except UnicodeDecodeError as error:
        raise _no_sheet("The file is no proof sheet") from error
    found = _SCRIPT.search(text)
    if found is None:
        raise _no_sheet("The file is no proof sheet")
    plain, us = unpacked(found[1])
    clips = {name: base64.b64decode(coded) for name, coded in _CLIP.findall(text)}
    pair = Clips(clips["before"], clips["after"]) if len(clips) == 2 else None
    again = proof_html(sheet_from_json(plain), pair, us=us)
    # Programs that send messages may change the ends of lines.
    if again == text.replace("\r\n", "\n"):
        return SheetFile(plain, us, (), True)
    return SheetFile(plain, us, _page_differs(html_lines(text), html_lines(again)), False)


def unpacked(keywords: str) -> tuple[dict[str, Any], bool]:
    """The data that `packed` put into the file.

    Raises
    ------
    InputError
        When there are none, or they are damaged.
    """
    if not keywords.startswith(KEEP_HEAD):
        raise _no_sheet("The file carries no data of a proof sheet")
    try:
        zipped = base64.b64decode(keywords[len(KEEP_HEAD) :], validate=True)
        inflate = zlib.decompressobj()
        text = inflate.decompress(zipped, MOST_DATA_BYTES)
        if not inflate.eof or inflate.unconsumed_tail:
            raise ValueError("cut short, or too long")
        plain = json.loads(text)
        return dict(plain["sheet"]), bool(plain["us"])
    except (ValueError, KeyError, TypeError, binascii.Error, zlib.error, RecursionError) as error:
        raise _no_sheet("The data in the file are damaged") from error


def pdf_lines(data: bytes) -> list[str]:
    """The text of a PDF, line by line."""
    try:
        pages = pypdf.PdfReader(io.BytesIO(data)).pages
        text = "\n".join(page.extract_text() for page in pages)
    except (PyPdfError, ValueError, KeyError, TypeError, RecursionError, OSError) as error:
        raise _no_sheet("The page of the PDF can't be read") from error
    return _tidy(text.splitlines())


class _Words(HTMLParser):
    """Text of a page; what it carries as data or draws is left out."""

    def __init__(self) -> None:
        super().__init__()
        self.lines: list[str] = [""]
        self._quiet = 0

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        del attrs
        self._quiet += tag in ("script", "style")
        if tag in ("p", "dt", "dd", "li", "h1", "h2", "text", "title", "desc", "section"):
            self.lines.append("")

    def handle_endtag(self, tag: str) -> None:
        self._quiet -= tag in ("script", "style")

    def handle_data(self, data: str) -> None:
        if not self._quiet:
            self.lines[-1] += data


def html_lines(text: str) -> list[str]:
    """The text of a page, line by line."""
    words = _Words()
    words.feed(text)
    return _tidy(words.lines)


def _tidy(lines: list[str]) -> list[str]:
    return [short for line in lines if (short := " ".join(line.split()))]


def _page_differs(there: list[str], should_be: list[str]) -> tuple[Altered, ...]:
    """Lines of the page that differ from what the data give."""
    found = []
    matcher = difflib.SequenceMatcher(None, there, should_be, autojunk=False)
    for kind, a, b, c, d in matcher.get_opcodes():
        if kind != "equal":
            found.append(
                Altered(
                    "on the page",
                    " / ".join(there[a:b])[:300] or "nothing",
                    " / ".join(should_be[c:d])[:300] or "nothing",
                )
            )
    return tuple(found[:MOST_NAMED])


def _no_sheet(said: str) -> InputError:
    return InputError(
        said,
        allowed="the PDF or HTML file that `beltside proof` wrote, unchanged",
        instead="what its QR code says",
    )
