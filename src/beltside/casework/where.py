"""The housing map: probe takes of one case, compared in the suspect's own sound."""

from __future__ import annotations

import contextlib
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
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
from beltside.drive.expected import firing_order
from beltside.drive.path import belt_path
from beltside.drive.sheet import DriveSheet
from beltside.media import open_recording
from beltside.sound.housing import (
    OwnSound,
    gains,
    own_level,
    rank_places,
    references,
    require_two_places,
)

METHOD: Final = "beltside.where"
VERSION: Final = 1


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
    probes = [take for take in heard if take.conditions.part is not None]
    names = [str(take.conditions.part) for take in probes]
    require_two_places(names)
    probed = set(names)
    warnings = list(notes)
    known = recognise(heard, sheet, part) if band_hz is None else None
    if known is not None:
        probes = _with_speed(probes, warnings)
        names = [str(take.conditions.part) for take in probes]
    own, by = _what_to_compare(known, probes, band_hz, part, warnings)
    levels = [own_level(take.hearing, own, by=by) for take in probes]
    read = [
        references(
            take.hearing,
            own,
            cycle_order=0.5 if sheet.engine.strokes == 4 else 1.0,
            firing_order=firing_order(sheet),
        )
        for take in probes
    ]
    gain, error = gains(read, by)
    places = rank_places(names, levels, gain, error)
    warnings += _warnings(heard, probes, [place.part for place in places], part or _part(known))
    if not any(place.heard for place in places):
        warnings.append(
            "The suspect's own sound does not stand above noise in any probe take: the order of "
            "the places means little. Record 15 s at each."
        )
    return WhereResult(
        part=part or _part(known),
        source=known.source if known else "",
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
                place.loudest,
                tuple(
                    take.conditions.name for take in probes if take.conditions.part == place.part
                ),
            )
            for place in places
        ),
        gains=tuple(
            TakeGain(take.conditions.name, name, float(g), float(e), one)
            for take, name, g, e, one in zip(probes, names, gain, error, read, strict=True)
        ),
        outline=outline(sheet),
        unread=tuple(sorted(probed - {place.part for place in places})),
        warnings=tuple(warnings),
        provenance=Provenance(
            method=METHOD,
            version=VERSION,
            inputs={"probe_takes": len(probes), "part": part, "by": by},
            valid_range="probe takes made alike: one phone, one speed, 5 s and more each",
            source="own method, docs/methods/housing-map.md",
        ),
    )


def _part(known: Recognised | None) -> str:
    return known.part if known else ""


def _with_speed(probes: Sequence[HeardTake], warnings: list[str]) -> list[HeardTake]:
    """The probe takes whose lines can be read, when they still show two places; else all."""
    able = [take for take in probes if take.hearing.orders is not None]
    if len(able) == len(probes) or len({take.conditions.part for take in able}) < 2:
        return list(probes)
    deaf = [take.conditions.name for take in probes if take.hearing.orders is None]
    warnings.append(
        f"The crank speed can't be told in {', '.join(deaf)}, so it is left out of the map. Read "
        "the speed off the dash and add it to the take."
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
    places: Sequence[str],
    part: str,
) -> list[str]:
    said = [f"{one.conditions.name}: {text}" for one in heard for text in one.crank.warnings]
    if part and part not in places:
        said.append(
            f"The probe was not held on the {part} itself: the map says only which of the other "
            "places is nearest to it."
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
