"""What every use case of the coolant hands back: text to read, plain data, and what to draw.

Numbers inside are SI; text is metric or US, as asked. The JSON keeps its units in its names.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any, Literal

from beltside.base.provenance import Provenance
from beltside.coolant.pressure import KPA_PER


@dataclass(frozen=True)
class Row:
    """One figure: its name, its text with unit and range, and where it comes from."""

    name: str
    value: str
    note: str = ""


Shade = Literal["ink", "soft", "accent"]
Say = Callable[[str], str]
"""From a text of a picture to what stands in it, such as its translation."""


@dataclass(frozen=True)
class Curve:
    """A line over time; `dash` for what is reckoned and not read."""

    name: str
    points: tuple[tuple[float, float], ...]
    shade: Shade = "ink"
    dashed: bool = False


@dataclass(frozen=True)
class CoursePicture:
    """Something over time: curves, points read, a band, and levels not to pass."""

    title: str
    note: str
    x_name: str
    y_name: str
    curves: tuple[Curve, ...] = ()
    read: tuple[tuple[float, float], ...] = ()
    band: tuple[tuple[float, float, float], ...] = ()
    levels: tuple[tuple[float, str], ...] = ()
    moments: tuple[tuple[float, str], ...] = ()
    read_name: str = "as read"

    def worded(self, say: Say) -> CoursePicture:
        """The picture with each of its texts as `say` gives it."""
        return replace(
            self,
            title=say(self.title),
            note=say(self.note),
            x_name=say(self.x_name),
            y_name=say(self.y_name),
            curves=tuple(replace(one, name=say(one.name)) for one in self.curves),
            levels=tuple((level, say(words)) for level, words in self.levels),
            moments=tuple((moment, say(words)) for moment, words in self.moments),
            read_name=say(self.read_name),
        )


@dataclass(frozen=True)
class ScalePicture:
    """Values on one straight scale, each with its words; spans are shaded from one to another."""

    title: str
    note: str
    unit: str
    low: float
    high: float
    marks: tuple[tuple[float, str], ...]
    spans: tuple[tuple[float, float, str], ...] = ()

    def worded(self, say: Say) -> ScalePicture:
        """The picture with each of its texts as `say` gives it."""
        return replace(
            self,
            title=say(self.title),
            note=say(self.note),
            marks=tuple((value, say(words)) for value, words in self.marks),
            spans=tuple((low, high, say(words)) for low, high, words in self.spans),
        )


@dataclass(frozen=True)
class StackPicture:
    """Amounts beside each other as stacked columns: (column, ((words, amount, shade), ...))."""

    title: str
    note: str
    unit: str
    columns: tuple[tuple[str, tuple[tuple[str, float, Shade], ...]], ...]

    def worded(self, say: Say) -> StackPicture:
        """The picture with each of its texts as `say` gives it."""
        return replace(
            self,
            title=say(self.title),
            note=say(self.note),
            columns=tuple(
                (say(name), tuple((say(words), amount, shade) for words, amount, shade in parts))
                for name, parts in self.columns
            ),
        )


Picture = CoursePicture | ScalePicture | StackPicture


@dataclass(frozen=True)
class CoolantAnswer:
    """An answer about the coolant.

    Attributes
    ----------
    topic
        "mix", "adjust", "reuse", "cap", "hold", "fill", "clock" or "drain".
    headline
        The answer in one sentence.
    rows
        The figures behind it.
    steps
        What to do, in order.
    because
        Reasons.
    warnings, cautions
        What to know before trusting it, and before doing it.
    data
        Plain values with the unit in the name, SI.
    provenance
        Method, version, inputs, range, source.
    picture
        What to draw, or None.
    """

    topic: str
    headline: str
    rows: tuple[Row, ...]
    data: Mapping[str, Any]
    provenance: Provenance
    steps: tuple[str, ...] = ()
    because: tuple[str, ...] = ()
    warnings: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()
    picture: Picture | None = field(default=None, repr=False)

    def to_json(self) -> dict[str, Any]:
        """Plain dict: `topic`, `headline`, all of `data`, the texts and the provenance."""
        return {
            "topic": self.topic,
            "headline": self.headline,
            **{name: _plain(value) for name, value in self.data.items()},
            "steps": list(self.steps),
            "because": list(self.because),
            "warnings": list(self.warnings),
            "cautions": list(self.cautions),
            "provenance": {
                "method": self.provenance.method,
                "version": self.provenance.version,
                "inputs": {name: _plain(v) for name, v in self.provenance.inputs.items()},
                "valid_range": self.provenance.valid_range,
                "source": self.provenance.source,
            },
        }


def _plain(value: Any) -> Any:
    """The value as JSON takes it: numbers finite and to five digits, tuples as lists."""
    if isinstance(value, float):
        return float(f"{value:.5g}") if math.isfinite(value) else None
    if isinstance(value, Mapping):
        return {name: _plain(inner) for name, inner in value.items()}
    if isinstance(value, Sequence) and not isinstance(value, str):
        return [_plain(inner) for inner in value]
    return value


class Words:
    """Figures as text, metric or US."""

    def __init__(self, us: bool = False) -> None:
        self.us = us

    def temperature(self, celsius: float, digits: int = 0) -> str:
        """ "-36 °C" or "-33 °F"."""
        value = 1.8 * celsius + 32.0 if self.us else celsius
        return f"{_tidy(value, digits)} {self.degree}"

    @property
    def degree(self) -> str:
        """The sign of a degree."""
        return "°F" if self.us else "°C"

    def degrees(self, celsius: float) -> float:
        """The figure alone, for a picture."""
        return 1.8 * celsius + 32.0 if self.us else celsius

    def kelvins(self, kelvins: float, digits: int = 0) -> str:
        """A difference of temperatures: "24 K" or "43 °F"."""
        return f"{_tidy(1.8 * kelvins, digits)} °F" if self.us else f"{_tidy(kelvins, digits)} K"

    def temperatures(self, low_c: float, high_c: float, digits: int = 0) -> str:
        """ "-38 to -34 °C"."""
        low, high = self.degrees(low_c), self.degrees(high_c)
        return f"{_tidy(low, digits)} to {_tidy(high, digits)} {self.degree}"

    def pressure(self, kpa: float, digits: int = 0) -> str:
        """ "108 kPa" or "15.7 psi"."""
        if self.us:
            return f"{_tidy(kpa / KPA_PER['psi'], digits + 1)} psi"
        return f"{_tidy(kpa, digits)} kPa"

    def litres(self, litres: float, digits: int = 2) -> str:
        """ "3.50 L" or "3.70 qt"."""
        if self.us:
            return f"{_tidy(litres / 0.946352946, digits)} qt"
        return f"{_tidy(litres, digits)} L"

    def flow(self, ml_min: float) -> str:
        """ "6 mL/min", with ounces beside it in US."""
        text = f"{_two(ml_min)} mL/min"
        return f"{text} ({_two(ml_min / 29.5735295625)} fl oz/min)" if self.us else text

    def flows(self, low: float, high: float) -> str:
        """ "2 to 16 mL/min"."""
        return f"{_two(low)} to {_two(high)} mL/min"

    def density(self, kg_m3: float) -> str:
        """ "1,065 kg/m³"."""
        text = f"{kg_m3:,.0f} kg/m³"
        return f"{text} ({kg_m3 / 16.018463:.2f} lb/ft³)" if self.us else text


def _tidy(value: float, digits: int) -> str:
    text = f"{value:.{digits}f}"
    return text[1:] if text.startswith("-") and float(text) == 0.0 else text


def _two(value: float) -> str:
    """Two digits that count.

    >>> _two(5.63), _two(13.2), _two(0.42), _two(134.0)
    ('5.6', '13', '0.42', '130')
    """
    if value <= 0.0:
        return "0"
    digits = 1 - math.floor(math.log10(value))
    rounded = round(value, digits)
    return f"{rounded:.{max(digits, 0)}f}"


def minutes_text(seconds: float) -> str:
    """A duration.

    >>> minutes_text(285.0), minutes_text(42.0), minutes_text(60.0)
    ('4 min 45 s', '42 s', '1 min')
    """
    whole = round(seconds)
    minutes, rest = divmod(whole, 60)
    if not minutes:
        return f"{rest} s"
    return f"{minutes} min {rest} s" if rest else f"{minutes} min"
