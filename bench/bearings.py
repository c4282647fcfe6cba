"""Real bearing recordings, by hand: are the lines of the damaged race found as such?

Reads files of the Case Western Reserve University bearing data (drive end, its bearing number
6205: 9 balls of 0.3126 in on a pitch circle of 1.537 in, inner ring turning; its data centre's
bearing page gives 5.4152 for the inner and 3.5848 for the outer race per shaft turn). They are
not in the repository. The bearing is looked for with the product's own envelope and families code
at the speed in the file, in two ways: on the crank itself, whose speed is exact; and on a pulley
of the crank's size, with the play a belt and a caliper leave and a belt that is searched too.

usage: python bench/bearings.py FILE_OR_FOLDER [...]     (.mat files; "12k" or "48k" in the name)
"""

from __future__ import annotations

import argparse
import re
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt
import scipy.io

from beltside.casework.explain import FALSE_ALARM_RATE, deep_enough
from beltside.casework.families import BEARING_SOURCES, Found, search, surprises
from beltside.casework.takes import ArraySource, hear
from beltside.drive.sheet import Bearing, Belt, DriveSheet, Engine, Pulley
from beltside.sound.hearing import Hearing
from beltside.sound.track import CrankTrack

MM_PER_INCH = 25.4
DRIVE_END = Bearing(9, 0.3126 * MM_PER_INCH, 1.537 * MM_PER_INCH)
CRANK = Pulley("crank", 100.0, bearing=DRIVE_END)
DRIVEN = Pulley("alternator", 100.0, bearing=DRIVE_END)  # its inner ring turns
SHEETS = {
    "on the shaft": DriveSheet(Engine(cylinders=4), Belt(), (CRANK,)),
    "behind a belt": DriveSheet(Engine(cylinders=4), Belt(), (Pulley("crank", 100.0), DRIVEN)),
}


@dataclass(frozen=True)
class Recorded:
    """One file: drive-end acceleration, shape (n,), its rate [Hz] and the shaft's speed [1/min]."""

    name: str
    samples: npt.NDArray[np.float32]
    rate_hz: int
    rpm: float


def rate_in_name(name: str) -> int:
    """Sampling rate that a file's name tells, as the files do not.

    >>> rate_in_name("bearing-inner-12k.mat")
    12000
    """
    found = re.search(r"(\d+)k", name)
    if found is None:
        raise ValueError(f"{name} does not tell its rate; rename it with 12k or 48k in it")
    return 1000 * int(found[1])


def from_mat(values: dict[str, Any], name: str) -> Recorded:
    """The drive-end channel and the speed of one file."""
    signal = next(value for key, value in values.items() if key.endswith("DE_time"))
    rpm = next((value for key, value in values.items() if key.endswith("RPM")), None)
    if rpm is None:
        raise ValueError(f"{name} holds no speed")
    samples = np.ravel(signal).astype(np.float32)
    return Recorded(name, samples, rate_in_name(name), float(np.ravel(rpm)[0]))


def hear_shaft(recorded: Recorded) -> Hearing:
    """The whole file, at its constant shaft speed."""
    scaled = recorded.samples / np.abs(recorded.samples).max()
    return hear(ArraySource(scaled[None, :], recorded.rate_hz), CrankTrack.constant(recorded.rpm))


def races_found(hearing: Hearing, sheet: DriveSheet) -> tuple[list[Found], str]:
    """The bearing's families in the envelopes, clearest first, and the verdict.

    The verdict is the clearest one, when noise would show one as clear in `FALSE_ALARM_RATE` of
    takes at most, as for the lines the product names; else "quiet".
    """
    heard = surprises(hearing, sheet)
    if heard is None:
        raise ValueError("too short to have an order spectrum")
    found = search(heard, sheet)
    races = [one for one in found if one.source in BEARING_SOURCES and one.spectrum == "envelope"]
    # `search` gives the families that claimed their lines first, the weightiest before others.
    wanted = -np.log10(FALSE_ALARM_RATE / max(len(found), 1))
    races = [one for one in races if one.family.significance >= 2.0]
    clear = bool(races) and races[0].family.significance >= wanted and deep_enough(races[0])
    return races, races[0].source if clear else "quiet"


def described(race: Found, hearing: Hearing) -> str:
    """One family in a line."""
    members = ", ".join(
        f"{member.order:.2f} ({member.excess_db:+.0f} dB)" for member in race.family.members
    )
    row = race.family.row
    band = (
        f"at {hearing.bands[row].centre_hz:.0f} Hz"
        if row < len(hearing.bands)
        else "in all bands together"
    )
    return (
        f"    {race.source:10s}  order {race.family.fundamental:.3f}  "
        f"10^-{race.family.significance:.1f} by chance  "
        f"depth {100.0 * np.sqrt(2.0 * race.family.power):.0f} %  "
        f"{band}: {members}"
    )


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("paths", type=Path, nargs="+")
    files: list[Path] = []
    for path in parser.parse_args().paths:
        files += sorted(path.glob("*.mat")) if path.is_dir() else [path]
    for path in files:
        recorded = from_mat(scipy.io.loadmat(path), path.name)
        hearing = hear_shaft(recorded)
        print(f"{path.name}: {recorded.rpm:.0f} rpm, {recorded.rate_hz} Hz")
        for name, sheet in SHEETS.items():
            races, verdict = races_found(hearing, sheet)
            print(f"  {name}: {verdict}")
            for race in races:
                print(described(race, hearing))


if __name__ == "__main__":
    main()
