"""The owner's proof sheet as plain data: words and numbers, each with unit, range and source."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Final

from beltside.base.errors import InputError
from beltside.casework.canonical_json import digest_of

FORMAT: Final = "beltside proof sheet 1"
UNITS: Final = ("dB", "1", "kPa", "degC", "L", "N m", "deg", "min", "km", "rpm", "in 100")
"""Units a figure may have: SI and what is kept beside it; "1" is a ratio."""


@dataclass(frozen=True)
class Figure:
    """A number of the sheet.

    Attributes
    ----------
    name
        What it is, in words.
    value, low, high
        The number and its 90 % range, None where there is none or an end is open.
    unit
        One of `UNITS`.
    source
        Where it comes from.
    digits
        Digits after the point when written.
    """

    name: str
    value: float
    unit: str
    low: float | None = None
    high: float | None = None
    source: str = ""
    digits: int = 0

    def __post_init__(self) -> None:
        if self.unit not in UNITS:
            raise ValueError(f"{self.unit} is no unit of the sheet")

    def to_json(self) -> dict[str, Any]:
        """Plain dict."""
        return {
            "figure": self.name,
            "value": self.value,
            "unit": self.unit,
            "low": self.low,
            "high": self.high,
            "source": self.source,
            "digits": self.digits,
        }


@dataclass(frozen=True)
class Said:
    """A line of words: what it is about, the words, where they come from."""

    name: str
    words: str
    source: str = ""

    def to_json(self) -> dict[str, Any]:
        """Plain dict."""
        return {"said": self.name, "words": self.words, "source": self.source}


@dataclass(frozen=True)
class Money:
    """An amount, as text so that no digit is lost."""

    name: str
    amount: str
    currency: str
    source: str = ""

    def to_json(self) -> dict[str, Any]:
        """Plain dict."""
        return {
            "money": self.name,
            "amount": self.amount,
            "currency": self.currency,
            "source": self.source,
        }


Line = Figure | Said | Money


@dataclass(frozen=True)
class Section:
    """A part of the sheet.

    `missing` says that nothing was written for it; then there are no lines.
    """

    key: str
    title: str
    lines: tuple[Line, ...] = ()
    missing: str = ""

    def figure(self, name: str) -> Figure | None:
        """A figure by its name."""
        return next(
            (one for one in self.lines if isinstance(one, Figure) and one.name == name), None
        )

    def to_json(self) -> dict[str, Any]:
        """Plain dict."""
        return {
            "key": self.key,
            "title": self.title,
            "lines": [line.to_json() for line in self.lines],
            "missing": self.missing,
        }


@dataclass(frozen=True)
class Charts:
    """What the pictures before and after are drawn from, both at the first take's gain.

    Attributes
    ----------
    bands
        Third-octave bands: nominal frequency [Hz], before [dB], after [dB].
    orders
        Order spectra thinned for print: order, before [dB], after [dB].
    marks
        Lines that changed most: part and source in words, order, quieter by [dB].
    """

    bands: tuple[tuple[float, float, float], ...] = ()
    orders: tuple[tuple[float, float, float], ...] = ()
    marks: tuple[tuple[str, float, float], ...] = ()

    def to_json(self) -> dict[str, Any]:
        """Plain dict."""
        return {
            "bands": [list(one) for one in self.bands],
            "orders": [list(one) for one in self.orders],
            "marks": [list(one) for one in self.marks],
        }


@dataclass(frozen=True)
class ProofSheet:
    """Everything on the owner's sheet.

    Attributes
    ----------
    job_id, job_number
        The job.
    made_at
        The moment it speaks of, ISO 8601 with microseconds, UTC.
    shop, shop_address, technician
        Whose work it is.
    owner, car
        As typed.
    headline
        The outcome in one sentence.
    sections
        In the order of the page.
    not_tested
        What was not tested, a sentence each.
    cautions
        What the owner should know and do.
    charts
        For the pictures.
    takes
        SHA-256 of the recordings compared: before, after; "" when there is none.
    """

    job_id: str
    job_number: int
    made_at: str
    shop: str
    shop_address: str
    technician: str
    owner: str
    car: str
    headline: str
    sections: tuple[Section, ...]
    not_tested: tuple[str, ...]
    cautions: tuple[str, ...]
    charts: Charts = Charts()
    takes: tuple[str, str] = ("", "")

    @property
    def time(self) -> datetime:
        """The moment it speaks of."""
        return datetime.fromisoformat(self.made_at)

    def section(self, key: str) -> Section:
        """A section by its key."""
        return next(one for one in self.sections if one.key == key)

    def content(self) -> dict[str, Any]:
        """All that stands on it, plain: what the digest is made of."""
        return {
            "format": FORMAT,
            "job": {"id": self.job_id, "number": self.job_number},
            "made_at": self.made_at,
            "shop": self.shop,
            "shop_address": self.shop_address,
            "technician": self.technician,
            "owner": self.owner,
            "car": self.car,
            "headline": self.headline,
            "sections": [one.to_json() for one in self.sections],
            "not_tested": list(self.not_tested),
            "cautions": list(self.cautions),
            "charts": self.charts.to_json(),
            "takes": {"before": self.takes[0], "after": self.takes[1]},
        }

    @property
    def digest(self) -> str:
        """SHA-256 over the RFC 8785 form of everything on it."""
        return digest_of(self.content())

    def to_json(self) -> dict[str, Any]:
        """Plain dict: the content with its digest."""
        return {**self.content(), "digest": self.digest}


def sheet_from_json(plain: Mapping[str, Any]) -> ProofSheet:
    """The sheet that `to_json` wrote; its digest is left for the caller to compare.

    Raises
    ------
    InputError
        When it is no proof sheet of this format.
    """
    try:
        if plain["format"] != FORMAT:
            raise ValueError(f"format {plain['format']!r}")
        charts = plain["charts"]
        return ProofSheet(
            job_id=str(plain["job"]["id"]),
            job_number=int(plain["job"]["number"]),
            made_at=datetime.fromisoformat(plain["made_at"]).isoformat(timespec="microseconds"),
            shop=str(plain["shop"]),
            shop_address=str(plain["shop_address"]),
            technician=str(plain["technician"]),
            owner=str(plain["owner"]),
            car=str(plain["car"]),
            headline=str(plain["headline"]),
            sections=tuple(_section(one) for one in plain["sections"]),
            not_tested=tuple(str(one) for one in plain["not_tested"]),
            cautions=tuple(str(one) for one in plain["cautions"]),
            charts=Charts(
                tuple(_three(one) for one in charts["bands"]),
                tuple(_three(one) for one in charts["orders"]),
                tuple((str(a), float(b), float(c)) for a, b, c in charts["marks"]),
            ),
            takes=(str(plain["takes"]["before"]), str(plain["takes"]["after"])),
        )
    except (KeyError, TypeError, ValueError, AttributeError) as error:
        raise InputError(
            f"This holds no proof sheet of ours ({error})",
            allowed=f"a sheet of the format {FORMAT!r}",
        ) from error


def _section(plain: Mapping[str, Any]) -> Section:
    return Section(
        str(plain["key"]),
        str(plain["title"]),
        tuple(_line(one) for one in plain["lines"]),
        str(plain["missing"]),
    )


def _line(plain: Mapping[str, Any]) -> Line:
    if "figure" in plain:
        return Figure(
            str(plain["figure"]),
            _number(plain["value"]),
            str(plain["unit"]),
            None if plain["low"] is None else _number(plain["low"]),
            None if plain["high"] is None else _number(plain["high"]),
            str(plain["source"]),
            min(max(int(plain["digits"]), 0), 6),
        )
    if "money" in plain:
        return Money(*(str(plain[name]) for name in ("money", "amount", "currency", "source")))
    return Said(*(str(plain[name]) for name in ("said", "words", "source")))


def _number(value: Any) -> float:
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise ValueError(f"{value!r} is no number")
    return float(value)


def _three(plain: Any) -> tuple[float, float, float]:
    a, b, c = plain
    return _number(a), _number(b), _number(c)


CODE_HEAD: Final = "BELTSIDE PROOF 1"
_CODE: Final = re.compile(
    CODE_HEAD + r" JOB (\d{1,9}) AT (\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d\.\d{6})Z SHA-256 ([0-9A-F]{64})"
)


@dataclass(frozen=True)
class Code:
    """What the QR code of a sheet says."""

    job_number: int
    made_at: str
    digest: str


def code_of(sheet: ProofSheet) -> str:
    """What the QR code says: job, time, digest; letters that a code of the alphanumeric mode has.

    (ISO/IEC 18004:2015, table 5)
    """
    moment = sheet.time.strftime("%Y-%m-%dT%H:%M:%S.%fZ")
    return f"{CODE_HEAD} JOB {sheet.job_number} AT {moment} SHA-256 {sheet.digest.upper()}"


def read_code(text: str) -> Code:
    """A code as a phone's camera gives it.

    Raises
    ------
    InputError
        When it is none of ours.
    """
    found = _CODE.fullmatch(" ".join(text.upper().split()))
    if found is None:
        raise InputError(
            f"{text[:80]!r} is no code of a proof sheet",
            allowed=f'"{CODE_HEAD} JOB ... AT ... SHA-256 ...", as the QR code says it',
            instead="reading the QR code again, or the file itself",
        )
    return Code(int(found[1]), f"{found[2]}+00:00", found[3].lower())


def differences(is_there: Any, should_be: Any, at: str = "") -> Iterator[tuple[str, Any, Any]]:
    """Every place where two plain values differ: its name in words, what is there, what should be.

    >>> list(differences({"a": [1, 2]}, {"a": [1, 3], "b": 4}))
    [('a 2', 2, 3), ('b', None, 4)]
    """
    if isinstance(is_there, Mapping) and isinstance(should_be, Mapping):
        label = _label(should_be) or _label(is_there)
        for name in sorted({*is_there, *should_be}):
            inside = " ".join(filter(None, [at, label, "" if name == "words" else str(name)]))
            yield from differences(is_there.get(name), should_be.get(name), inside.strip())
    elif _is_list(is_there) and _is_list(should_be):
        for number in range(max(len(is_there), len(should_be))):
            yield from differences(
                is_there[number] if number < len(is_there) else None,
                should_be[number] if number < len(should_be) else None,
                f"{at} {number + 1}".strip(),
            )
    elif type(is_there) is not type(should_be) or is_there != should_be:
        if (
            isinstance(is_there, int | float)
            and isinstance(should_be, int | float)
            and not isinstance(is_there, bool)
            and not isinstance(should_be, bool)
            and is_there == should_be
        ):
            return
        yield at, is_there, should_be


def _label(plain: Mapping[str, Any]) -> str:
    """The name a line or section goes by."""
    for name in ("figure", "said", "money"):
        if isinstance(plain.get(name), str):
            return f'"{plain[name]}"'
    return f'"{plain["title"]}"' if isinstance(plain.get("title"), str) else ""


def _is_list(value: Any) -> bool:
    return isinstance(value, list | tuple)
