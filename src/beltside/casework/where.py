"""The housing map: probe takes of one case, compared in the suspect's own sound."""

from __future__ import annotations

import contextlib
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Final

from beltside.base.errors import BeltsideError, InputError
from beltside.base.provenance import Provenance
from beltside.base.words import suggest_part
from beltside.casework.formats.case import Case, load_case
from beltside.casework.listen import file_warnings
from beltside.casework.own_sound import WHOLE_BAND_HZ, Recognised, recognise
from beltside.casework.results import Progress
from beltside.casework.takes import WORKERS, Conditions, HeardTake, hear_all
from beltside.casework.where_results import (
    DrawnPulley,
    Outline,
    PlaceReading,
    TakeGain,
    WhereResult,
)
from beltside.casework.where_signs import engine_references, signs_of, went_with_the_belt
from beltside.drive.path import belt_path
from beltside.drive.sheet import DriveSheet
from beltside.media import open_recording
from beltside.sound.housing import (
    OwnLevel,
    OwnSound,
    Place,
    gains,
    own_level,
    rank_places,
    require_two_places,
)
from beltside.sound.housing_odds import Signs, chances

METHOD: Final = "beltside.where"
VERSION: Final = 2


def where(
    case: Path,
    *,
    part: str | None = None,
    band_hz: tuple[float, float] | None = None,
    progress: Progress | None = None,
) -> WhereResult:
    """Where on the engine a suspect's own sound is loudest, from the probe takes of a case.

    Parameters
    ----------
    case
        A case file or its folder; takes with `place` a part's name are the probe takes.
    part
        The suspect's part; by default the belt-driven part whose lines are clearest in any take.
    band_hz
        Compare this band (low, high) [Hz] and no lines.
    progress
        Told what is being done and the share done.

    Raises
    ------
    InputError
        With fewer than two places probed, or an unknown part.
    """
    read = load_case(case)
    wanted = known_part(part, read.sheet) if part else None
    _require_probes(read)
    with contextlib.ExitStack() as stack:
        with ThreadPoolExecutor(WORKERS) as pool:
            recordings = [
                stack.enter_context(one)
                for one in pool.map(open_recording, [take.file for take in read.takes])
            ]
        conditions = [
            Conditions(take.name, take.belt, take.place_part, take.load, take.crank_rpm)
            for take in read.takes
        ]
        heard = hear_all(recordings, conditions, read.sheet, progress)
        notes = [
            f"{take.name}: {text}"
            for take, recording in zip(read.takes, recordings, strict=True)
            for text in file_warnings(recording)
        ]
    return where_heard(heard, read.sheet, part=wanted, band_hz=band_hz, notes=(*read.notes, *notes))


def where_heard(
    heard: Sequence[HeardTake],
    sheet: DriveSheet,
    *,
    part: str | None = None,
    band_hz: tuple[float, float] | None = None,
    notes: Sequence[str] = (),
) -> WhereResult:
    """`where` for takes already heard; the probe takes are those whose conditions name a part.

    Raises
    ------
    InputError
        With fewer than two places probed, or a band outside the takes.
    """
    warnings = list(notes)
    probed = probe_takes(heard, sheet, part, band_hz, warnings)
    own, by = probed.own, probed.by
    gain, error = gains(probed.engine, by)
    here = probed.chances()
    places = sorted(
        rank_places(probed.parts, probed.levels, gain, error),
        key=lambda place: here[place.part],
        reverse=True,
    )
    warnings += _warnings(heard, probed.takes, places, probed.part)
    if not any(place.heard for place in places):
        warnings.append(
            "The suspect's own sound does not stand above noise in any probe take: the order of "
            "the places means little. Record 15 s at each."
        )
    return WhereResult(
        part=probed.part,
        source=probed.source,
        by=by,
        orders=own.rhythm_orders if by == "rhythm" else own.tone_orders if by == "tones" else (),
        band_hz=(own.low_hz, own.high_hz),
        places=tuple(
            PlaceReading(
                place.part,
                place.level_db,
                place.low_db,
                place.high_db,
                place.heard,
                here[place.part],
                tuple(
                    take.conditions.name
                    for take in probed.takes
                    if take.conditions.part == place.part
                ),
                place.loudest,
            )
            for place in places
        ),
        gains=tuple(
            TakeGain(take.conditions.name, name, float(g), float(e), one)
            for take, name, g, e, one in zip(
                probed.takes, probed.parts, gain, error, probed.engine, strict=True
            )
        ),
        outline=outline(sheet),
        unread={part: here[part] for part in sorted(set(probed.unread) - set(probed.parts))},
        warnings=tuple(warnings),
        provenance=Provenance(
            method=METHOD,
            version=VERSION,
            inputs={"probe_takes": len(probed.takes), "part": part, "by": by},
            valid_range="probe takes made alike: one phone, one speed, 5 s and more each",
            source="own method, docs/methods/housing-map.md",
        ),
    )


@dataclass(frozen=True)
class ProbeTakes:
    """The probe takes of a case that can be compared, and what was read in them.

    Attributes
    ----------
    part, source
        Whose sound is compared and what makes it, "" when not known.
    own, by
        What is compared, and by what: "rhythm", "tones" or "band".
    takes, parts
        The takes, and where the probe was held in each.
    levels, engine, signs
        What was read in each: its own level, the engine's references, and all signs of its place.
    unread, unread_signs
        Places of the takes whose lines can't be read, and what else is to be read in them.
    """

    part: str
    source: str
    own: OwnSound
    by: str
    takes: tuple[HeardTake, ...]
    parts: tuple[str, ...]
    levels: tuple[OwnLevel, ...]
    engine: tuple[dict[str, float], ...]
    signs: tuple[Signs, ...]
    unread: tuple[str, ...]
    unread_signs: tuple[Signs, ...]

    def chances(self) -> dict[str, float]:
        """Probability of each place probed to be where the noise sits, those of takes whose lines
        can't be read among them."""
        parts, signs = (*self.parts, *self.unread), (*self.signs, *self.unread_signs)
        return chances(parts, signs, self.by)


def probe_takes(
    heard: Sequence[HeardTake],
    sheet: DriveSheet,
    part: str | None,
    band_hz: tuple[float, float] | None,
    warnings: list[str],
) -> ProbeTakes:
    """What the probe takes of a case say, before they are compared.

    Parameters
    ----------
    heard, sheet, part, band_hz
        As in `where_heard`.
    warnings
        What is missing is added to these.

    Raises
    ------
    InputError
        With fewer than two places probed, or a band outside the takes.
    """
    probed = [take for take in heard if take.conditions.part is not None]
    require_two_places([_place(take) for take in probed])
    known = recognise(heard, sheet, part) if band_hz is None else None
    takes = probed if known is None else _with_speed(probed, warnings)
    unread = [take for take in probed if all(take is not one for one in takes)]
    own, by = _what_to_compare(known, takes, band_hz, part, warnings)
    levels = [own_level(take.hearing, own, by=by) for take in takes]
    engine = [engine_references(take.hearing, own, sheet) for take in takes]
    whose = part or (known.part if known else "")
    belt_bands = went_with_the_belt(heard, own, sheet) if band_hz is None else None
    signs = [
        signs_of(take, sheet, whose, own, level, belt_bands)
        for take, level in zip(takes, levels, strict=True)
    ]
    if band_hz is not None:
        # A band that was asked for stands in for the one that went with the belt.
        signs = [replace(one, belt_band_db=one.own_db) for one in signs]
    return ProbeTakes(
        whose,
        known.source if known else "",
        own,
        by,
        tuple(takes),
        tuple(_place(take) for take in takes),
        tuple(levels),
        tuple(engine),
        tuple(signs),
        tuple(_place(take) for take in unread),
        tuple(signs_of(take, sheet, whose, own, None, belt_bands) for take in unread),
    )


def _place(take: HeardTake) -> str:
    return str(take.conditions.part)


def _with_speed(probes: Sequence[HeardTake], warnings: list[str]) -> list[HeardTake]:
    """The probe takes whose lines can be read, when they still show two places; else all."""
    able = [take for take in probes if take.hearing.orders is not None]
    if len(able) == len(probes) or len({take.conditions.part for take in able}) < 2:
        return list(probes)
    deaf = [take.conditions.name for take in probes if take.hearing.orders is None]
    warnings.append(
        f"The crank speed can't be told in {', '.join(deaf)}, so the suspect's lines can't be "
        "read there. Read the speed off the dash and add it to the take."
    )
    return able


def _what_to_compare(
    known: Recognised | None,
    probes: Sequence[HeardTake],
    band_hz: tuple[float, float] | None,
    part: str | None,
    warnings: list[str],
) -> tuple[OwnSound, str]:
    """The suspect's lines, or its band when there are none; what was missing goes to warnings."""
    if band_hz is not None:
        return OwnSound((), (), *band_hz), "band"
    if known is None:
        whose = f"the {part}'s" if part else "any belt-driven part's"
        warnings.append(
            f"No line of {whose} own stands out in these takes, so the band from "
            f"{WHOLE_BAND_HZ[0]:.0f} to {WHOLE_BAND_HZ[1]:.0f} Hz was compared instead; other "
            "sounds share it."
        )
        return OwnSound((), (), *WHOLE_BAND_HZ), "band"
    if any(take.hearing.orders is None for take in probes):
        deaf = [take.conditions.name for take in probes if take.hearing.orders is None]
        warnings.append(
            f"The crank speed can't be told in {', '.join(deaf)}, so the band was compared and "
            "not the lines. Read the speed off the dash and add it to the take."
        )
        return OwnSound((), (), known.own.low_hz, known.own.high_hz), "band"
    return known.own, "rhythm" if known.own.rhythm_orders else "tones"


def _warnings(
    heard: Sequence[HeardTake],
    probes: Sequence[HeardTake],
    places: Sequence[Place],
    part: str,
) -> list[str]:
    said = [f"{one.conditions.name}: {text}" for one in heard for text in one.crank.warnings]
    if part and part not in {place.part for place in places}:
        said.append(
            f"The probe was not held on the {part} itself: the map says only which of the other "
            "places is nearest to it."
        )
    loudest = max(places, key=lambda place: place.level_db)
    if loudest is not places[0] and loudest.heard:
        said.append(
            f"Its own sound alone is loudest at the {loudest.part}; the other signs, the whole "
            f"sound over the engine's among them, speak for the {places[0].part}."
        )
    speeds = [take.crank.track.rpm_median for take in probes if take.crank.track is not None]
    if speeds and max(speeds) > 1.15 * min(speeds):
        said.append(
            f"The probe takes run from {min(speeds):.0f} to {max(speeds):.0f} rpm: a part is "
            "louder at speed. Record them all at one speed."
        )
    loads = {take.conditions.load for take in probes}
    if len(loads) > 1:
        said.append("Not the same things were switched on in all probe takes.")
    if len({take.conditions.belt for take in probes}) > 1:
        said.append("The belt was on in some probe takes and off in others.")
    return said


def _require_probes(case: Case) -> None:
    """Refuse a case without two places probed before anything is decoded."""
    probed = list(dict.fromkeys(take.place_part for take in case.takes if take.place_part))
    if len(probed) >= 2:
        return
    unread = [f'{take.name} (place = "{take.place}")' for take in case.takes if not take.place_part]
    given = f"only the {probed[0]} was probed" if probed else "no take names the part probed"
    raise InputError(
        f"{case.path.name}: {given}" + (f"; seen: {', '.join(unread)}" if unread else ""),
        allowed="takes with the probe on two parts or more, each with place = its part",
        instead=f'place = "{case.sheet.pulleys[-1].part if case.sheet.pulleys else "idler"}" '
        "under the [[take]] made there",
    )


def known_part(part: str, sheet: DriveSheet) -> str:
    """`part` (or the part of a suspect "part.fault") when the sheet has it.

    Raises
    ------
    InputError
        With the nearest part of the sheet when it has not.
    """
    name = part.strip().lower().replace(" ", "-").replace("_", "-").partition(".")[0]
    parts = [pulley.part for pulley in sheet.pulleys if pulley.part != "crank"]
    if name in parts:
        return name
    close = suggest_part(name, parts)
    raise InputError(
        f'"{part}" is no part of this drive sheet',
        allowed=", ".join(parts) or "a drive sheet with [[pulley]] groups",
        instead=close or "",
    )


def outline(sheet: DriveSheet) -> Outline:
    """The front of the engine to draw: pulleys where they are, or in a row when that is unknown."""
    if all(pulley.x_mm is not None and pulley.y_mm is not None for pulley in sheet.pulleys):
        pulleys = tuple(
            DrawnPulley(one.part, float(one.x_mm or 0.0), float(one.y_mm or 0.0), one.diameter_mm)
            for one in sheet.pulleys
        )
        try:
            spans = tuple((span.start, span.end) for span in belt_path(sheet).spans)
        except BeltsideError:
            # A belt that can't be laid is the business of `drive`; the map needs the places.
            spans = ()
        return Outline(pulleys, spans, True)
    at, row = 0.0, []
    for pulley in sheet.pulleys:
        at += 0.5 * pulley.diameter_mm
        row.append(DrawnPulley(pulley.part, at, 0.0, pulley.diameter_mm))
        at += 0.5 * pulley.diameter_mm + 40.0
    return Outline(tuple(row), (), False)
