"""What every use case of bolting hands back: the answer first, then what it rests on."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from beltside.base.errors import InputError
from beltside.base.provenance import Provenance
from beltside.bolting.counter_hold import Hold
from beltside.bolting.flange import Flange
from beltside.bolting.torque_units import in_unit, parse_torque_nm, torque_words

MAKER_STANDS_ABOVE = "The vehicle maker's service data stands above anything worked out here."


@dataclass(frozen=True)
class Group:
    """Rows under one heading: name and text, or text alone with an empty name."""

    heading: str
    rows: tuple[tuple[str, str], ...]


@dataclass(frozen=True)
class OrderPicture:
    """A flange with its bolts numbered in the order to tighten them."""

    title: str
    flange: Flange
    gasket_mm: tuple[tuple[float, float], ...]
    order: tuple[int, ...]
    stages: tuple[str, ...]


@dataclass(frozen=True)
class HoldPicture:
    """A pulley with wrench and bar."""

    title: str
    hold: Hold


Picture = OrderPicture | HoldPicture


@dataclass(frozen=True)
class BoltsAnswer:
    """One answer.

    Attributes
    ----------
    answer
        The first sentence.
    groups
        What it rests on.
    warnings
        What may be wrong with what was entered.
    cautions
        What can hurt or break something.
    data
        The figures as plain values, units in their names.
    provenance
        How they were made.
    pictures
        File stem to picture.
    """

    answer: str
    groups: tuple[Group, ...]
    data: Mapping[str, Any]
    provenance: Provenance
    warnings: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()
    pictures: Mapping[str, Picture] = field(default_factory=dict)

    def to_json(self) -> dict[str, Any]:
        """Plain dict: the data, the answer in words, warnings, cautions, provenance."""
        return {
            **self.data,
            "answer": self.answer,
            "warnings": list(self.warnings),
            "cautions": list(self.cautions),
            "provenance": {
                "method": self.provenance.method,
                "version": self.provenance.version,
                "inputs": dict(self.provenance.inputs),
                "valid_range": self.provenance.valid_range,
                "source": self.provenance.source,
            },
        }


@dataclass(frozen=True)
class MakerTorque:
    """A torque out of the maker's service data, and where it stands there."""

    torque_nm: float
    written: str
    unit: str
    source: str

    def to_json(self) -> dict[str, Any]:
        """Plain dict."""
        return {
            "torque_nm": round(self.torque_nm, 3),
            "written": self.written,
            "from": self.source,
        }


def maker_torque(written: str | None, source: str | None) -> MakerTorque | None:
    """The maker's torque with its source; None when neither was given.

    Raises
    ------
    InputError
        When one of the two is missing, or the torque can't be read.
    """
    if written is None:
        if source is not None:
            raise InputError(
                f'a source was given ("{source}") and no torque',
                allowed="both or neither",
            )
        return None
    torque_nm, unit = parse_torque_nm(written)
    if source is None or not source.strip():
        raise InputError(
            f"the maker's torque ({written}) was given without where it stands",
            allowed="a torque from the service data together with its source",
            instead='giving its source too, such as "service manual, page 12"',
        )
    return MakerTorque(torque_nm, written.strip(), unit, source.strip())


def both_units(torque_nm: float, unit: str = "N m") -> str:
    """A torque in the unit asked for, with its usual other one behind it.

    >>> both_units(24.0), both_units(24.0, "lbf ft")
    ('24 N m (18 lbf ft)', '18 lbf ft (24 N m)')
    """
    if unit == "N m":
        other = "lbf ft" if in_unit(torque_nm, "lbf ft") >= 5.0 else "lbf in"
    else:
        other = "N m"
    return f"{torque_words(torque_nm, unit)} ({torque_words(torque_nm, other)})"
