"""The belt drive of a sheet: path, length, ratios, slip, tensioner, alignment."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Final

from beltside.base.errors import InputError, require_range
from beltside.base.provenance import Provenance
from beltside.casework.drive_results import (
    AlignedSpan,
    BeltFit,
    DrivePulley,
    DriveResult,
    DriveSpan,
    SlipCase,
    TensionerReport,
)
from beltside.casework.formats.drive_sheet import read_drive_sheet
from beltside.drive.alignment import entry_angles
from beltside.drive.loads import LOADS, Load, torques
from beltside.drive.path import (
    BeltPath,
    belt_path,
    has_positions,
    lines_mm,
    with_diameters,
    without_part,
)
from beltside.drive.path_error import length_error_mm
from beltside.drive.ratios import crank_pulley, running_diameter_mm, shaft_ratios
from beltside.drive.sheet import DriveSheet
from beltside.drive.slip import SURFACES, Grip, Slip, slip
from beltside.drive.tension import MASS_PER_RIB_KG_M, BeltBody, strum_hz
from beltside.drive.tensioner import (
    Position,
    gained_mm,
    position_for_length,
    tension_from_arm_n,
    that_fit,
    travel,
)

METHOD: Final = "beltside.drive"
VERSION: Final = 1

USUAL_IDLE_RPM: Final = 800.0
STOCK_STEP_MM: Final = 5.0
"""Steps in which belts are commonly sold (common practice, no source)."""

MOST_STOCK: Final = 40
NO_RIBS: Final = 6
"""Ribs taken for the belt's mass when the sheet gives neither ribs nor mass."""


def drive(
    sheet: Path,
    *,
    crank_rpm: float | None = None,
    load: str = "light",
    tension_n: float | None = None,
    friction: float | None = None,
    without: Sequence[str] = (),
    diameters_mm: Mapping[str, float] | None = None,
    length_mm: float | None = None,
    stock_mm: Sequence[float] = (),
    moved: float | None = None,
) -> DriveResult:
    """Work out the belt drive of a sheet.

    Parameters
    ----------
    sheet
        Drive sheet file.
    crank_rpm
        Crank speed for torques and slip, 300 to 8000 [1/min]; the sheet's idle when left out.
    load
        "light" or "heavy".
    tension_n
        Tension of the standing belt, 10 to 5000 [N]; else the sheet's, else from the tensioner
        arm's torque, else not known.
    friction
        Of rubber on the pulleys, 0.01 to 2; a dry default when left out.
    without
        Parts bypassed.
    diameters_mm
        Other pulleys in the places of some parts [mm].
    length_mm
        Effective length of a belt to try [mm].
    stock_mm
        Lengths the technician can get [mm]; 5 mm steps when left out.
    moved
        How far the tensioner has moved on since the belt was new [degrees or mm].

    Raises
    ------
    InputError
        For a sheet or figure that can't be used; a drive a belt can't run round is refused
        naming the pulleys.
    """
    read = read_drive_sheet(sheet)
    return drive_of_sheet(
        read.sheet,
        notes=read.notes,
        crank_rpm=crank_rpm,
        load=load,
        tension_n=tension_n,
        friction=friction,
        without=without,
        diameters_mm=diameters_mm,
        length_mm=length_mm,
        stock_mm=stock_mm,
        moved=moved,
    )


def drive_of_sheet(
    sheet: DriveSheet,
    *,
    notes: Sequence[str] = (),
    crank_rpm: float | None = None,
    load: str = "light",
    tension_n: float | None = None,
    friction: float | None = None,
    without: Sequence[str] = (),
    diameters_mm: Mapping[str, float] | None = None,
    length_mm: float | None = None,
    stock_mm: Sequence[float] = (),
    moved: float | None = None,
) -> DriveResult:
    """`drive` for a sheet already read."""
    if len(sheet.pulleys) < 2:
        raise InputError(
            f"a drive sheet with {len(sheet.pulleys)} pulleys",
            allowed="two pulleys or more for a belt",
            instead="adding [[pulley]] for each pulley the belt runs on",
        )
    if load not in LOADS:
        raise InputError(f'load "{load}"', allowed=", ".join(LOADS))
    load_word: Load = "heavy" if load == "heavy" else "light"
    warnings = list(notes)
    rpm = crank_rpm if crank_rpm is not None else sheet.engine.idle_rpm or USUAL_IDLE_RPM
    require_range("crank speed", rpm, 300.0, 8000.0, "rpm")
    changed = _changed(sheet, without, diameters_mm or {})
    if not has_positions(changed):
        missing = ", ".join(p.part for p in changed.pulleys if p.x_mm is None)
        if length_mm is not None or moved is not None or stock_mm or without:
            raise InputError(
                f"no position for {missing}",
                allowed="x_mm and y_mm for every pulley",
                instead="measuring from the centre of the crank: right and up positive",
            )
        return _ratios_only(
            changed, rpm, load, [*warnings, f"No position for {missing}: {_RATIOS}"]
        )
    path = belt_path(changed)
    original = None if changed is sheet else belt_path(sheet).effective_length_mm
    error = length_error_mm(changed)
    marked = sheet.belt.length_mm
    if changed is sheet and marked is not None:
        warnings += _against_mark(path.effective_length_mm, error, marked)
    if not path.listed_clockwise:
        warnings.append(
            "The pulleys are listed anticlockwise. The belt is taken to run in that order, so the "
            'crank turns anticlockwise; add crank_turns = "clockwise" under [engine] if it does '
            "not."
            if sheet.engine.crank_turns is None
            else "The pulleys are listed anticlockwise."
        )
    warnings += _thin_wraps(path)
    tension, tension_from = _tension(changed, tension_n, warnings)
    body, slips, mass_note = _slips(changed, path, rpm, load_word, tension, friction)
    warnings += mass_note
    now = slips[0][1]
    torque = {one.part: one for one in torques(changed, path, rpm, load_word)}
    grip_of = {one.part: one for one in now.pulleys}
    tensions = now.span_tensions_n
    return DriveResult(
        name=sheet.name,
        changed=_changes(without, diameters_mm or {}),
        belt_length_mm=path.effective_length_mm,
        belt_length_error_mm=error,
        pitch_length_mm=path.pitch_length_mm,
        original_length_mm=original,
        marked_length_mm=marked,
        pitch_line_mm=path.pitch_line_mm,
        back_line_mm=path.back_line_mm,
        ribs=sheet.belt.ribs,
        crank_rpm=rpm,
        load=load,
        tension_n=tension,
        tension_from=tension_from,
        pulleys=tuple(
            DrivePulley(
                part=one.part,
                face=one.face,
                x_mm=one.x_mm,
                y_mm=one.y_mm,
                diameter_mm=one.diameter_mm,
                running_diameter_mm=one.running_diameter_mm,
                ratio=one.ratio,
                rpm=rpm * one.ratio,
                turns=one.turns,
                wrap_deg=one.wrap_deg,
                arrives=one.arrives,
                leaves=one.leaves,
                torque_nm=grip_of[one.part].torque_nm,
                torque_from=torque[one.part].source
                if one.part in torque
                else "what the others take together",
                slip_margin=grip_of[one.part].margin if grip_of[one.part].pull_n > 0 else None,
                tension_ratio=grip_of[one.part].tension_ratio,
                tension_ratio_limit=grip_of[one.part].most_ratio,
                slips_below_n=grip_of[one.part].slips_below_n,
            )
            for one in path.pulleys
        ),
        spans=tuple(
            DriveSpan(
                one.from_part,
                one.to_part,
                one.length_mm,
                one.start,
                one.end,
                None if tension is None or body is None else strum_hz(tension, one.length_mm, body),
                None if tensions is None else tensions[place],
            )
            for place, one in enumerate(path.spans)
        ),
        belt_speed_m_s=now.belt_speed_m_s,
        centrifugal_n=now.centrifugal_n,
        slip=tuple(
            SlipCase(
                name,
                found.first,
                found.slips_below_n,
                {one.part: one.margin for one in found.pulleys if one.pull_n > 0.0},
            )
            for name, found in slips
        ),
        tensioner=_tensioner(changed, length_mm, stock_mm, moved),
        alignment=_alignment(sheet, path),
        warnings=tuple(warnings),
        provenance=Provenance(
            method=METHOD,
            version=VERSION,
            inputs={
                "pulleys": len(changed.pulleys),
                "crank_rpm": rpm,
                "pitch_line_mm": path.pitch_line_mm,
                "back_line_mm": path.back_line_mm,
            },
            valid_range="one belt in one plane, ribs inside the loop, no pulley sheared by another",
            source="ISO 9981:2020 for the pitch line; own geometry, docs/methods/belt-path.md",
        ),
    )


_RATIOS: Final = (
    "only ratios can be given. With the position of every pulley (x and y) there are belt length, "
    "wraps, spans and slip."
)


def _changed(
    sheet: DriveSheet, without: Sequence[str], diameters_mm: Mapping[str, float]
) -> DriveSheet:
    changed = with_diameters(sheet, diameters_mm) if diameters_mm else sheet
    for part in without:
        changed = without_part(changed, part)
    return changed


def _changes(without: Sequence[str], diameters_mm: Mapping[str, float]) -> tuple[str, ...]:
    return (
        *(f"without {part}" for part in without),
        *(f"{part} {diameter:g} mm" for part, diameter in diameters_mm.items()),
    )


def _ratios_only(sheet: DriveSheet, rpm: float, load: str, warnings: list[str]) -> DriveResult:
    pitch_mm, back_mm = lines_mm(sheet)
    if crank_pulley(sheet) is None:
        raise InputError("no pulley is the crank", allowed='one pulley with part = "crank"')
    ratios = shaft_ratios(sheet, pitch_mm, back_mm)
    return DriveResult(
        name=sheet.name,
        changed=(),
        belt_length_mm=None,
        belt_length_error_mm=None,
        pitch_length_mm=None,
        original_length_mm=None,
        marked_length_mm=sheet.belt.length_mm,
        pitch_line_mm=pitch_mm,
        back_line_mm=back_mm,
        ribs=sheet.belt.ribs,
        crank_rpm=rpm,
        load=load,
        tension_n=None,
        tension_from="",
        pulleys=tuple(
            DrivePulley(
                one.part,
                one.face,
                None,
                None,
                one.diameter_mm,
                running_diameter_mm(one, pitch_mm, back_mm),
                ratios[one.part],
                rpm * ratios[one.part],
            )
            for one in sheet.pulleys
        ),
        warnings=tuple(warnings),
    )


def _against_mark(length_mm: float, error_mm: float, marked_mm: float) -> list[str]:
    apart = abs(length_mm - marked_mm)
    if apart <= math.hypot(error_mm, 0.003 * marked_mm):
        return []
    return [
        f"The positions make a path of {length_mm:.0f} mm, the belt is given as {marked_mm:.0f} "
        f"mm: {apart:.0f} mm apart, more than the {error_mm:.0f} mm that careful measuring "
        "leaves. Check the positions, the diameters and the belt's marking."
    ]


def _thin_wraps(path: BeltPath) -> list[str]:
    return [
        f"The belt bends only {one.wrap_deg:.0f} degrees round the {one.part}: a few mm of error "
        "in its position decide whether it touches at all."
        for one in path.pulleys
        if one.wrap_deg < 10.0
    ]


def _tension(
    sheet: DriveSheet, given_n: float | None, warnings: list[str]
) -> tuple[float | None, str]:
    if given_n is not None:
        require_range("belt tension", given_n, 10.0, 5000.0, "N")
        return given_n, "as given"
    if sheet.belt.tension_n is not None:
        return sheet.belt.tension_n, "drive sheet"
    arm = tension_from_arm_n(sheet)
    if arm is not None:
        return require_range("tension from the arm's torque", arm, 10.0, 5000.0, "N"), (
            "the tensioner arm's torque"
        )
    warnings.append(
        "The belt's tension is not known: no slip margins and no notes of the spans. Strum a "
        "span (beltside strum), then write its tension into the drive sheet; each pulley's "
        "least tension is listed."
    )
    return None, ""


def _slips(
    sheet: DriveSheet,
    path: BeltPath,
    rpm: float,
    load: Load,
    tension: float | None,
    friction: float | None,
) -> tuple[BeltBody | None, list[tuple[str, Slip]], list[str]]:
    belt = sheet.belt
    weighed = None if belt.mass_g_per_m is None else belt.mass_g_per_m / 1000.0
    note = []
    body = None
    if belt.ribs is not None or weighed is not None:
        body = BeltBody.of_ribs(belt.ribs or NO_RIBS, weighed)
    else:
        note.append(
            f"Neither ribs nor mass_g_per_m is given: the belt's mass is taken as that of "
            f"{NO_RIBS} ribs, and no notes of the spans are given."
        )
    mass = body.mass_kg_m if body is not None else NO_RIBS * MASS_PER_RIB_KG_M
    spring_at = None
    if sheet.tensioner is not None:
        if sheet.tensioner.spring and any(p.part == sheet.tensioner.part for p in sheet.pulleys):
            spring_at = sheet.tensioner.part
    elif any(p.part == "tensioner" for p in sheet.pulleys):
        spring_at = "tensioner"
    grip = Grip() if friction is None else Grip(friction, friction)

    def at(surface: str, loaded: Load) -> Slip:
        taken = {one.part: one.value_nm for one in torques(sheet, path, rpm, loaded)}
        return slip(
            path,
            taken,
            crank_rpm=rpm,
            mass_kg_m=mass,
            tension_n=tension,
            spring_at=spring_at,
            grip=grip.times(SURFACES[surface]),
        )

    cases = [
        ("as it is", at("dry", load)),
        ("misted", at("misted", load)),
        ("glazed", at("glazed", load)),
    ]
    if load == "light":
        cases.append(("everything on", at("dry", "heavy")))
        cases.append(("everything on, misted", at("misted", "heavy")))
    return body, cases, note


def _tensioner(
    sheet: DriveSheet, length_mm: float | None, stock_mm: Sequence[float], moved: float | None
) -> TensionerReport | None:
    asked = length_mm is not None or moved is not None or bool(stock_mm)
    moves = sheet.tensioner is not None and (
        sheet.tensioner.pivot_x_mm is not None or sheet.tensioner.slide_deg is not None
    )
    there = sheet.tensioner is not None and any(
        p.part == sheet.tensioner.part for p in sheet.pulleys
    )
    if not (moves and there):
        if asked:
            raise InputError(
                "the sheet does not say how the tensioner moves"
                if not moves
                else "the tensioner is bypassed",
                allowed="[tensioner] with pivot_x_mm and pivot_y_mm of its arm's bolt, or "
                "slide_deg of its slot, and its pulley on the belt",
                instead="measuring the arm's pivot from the centre of the crank",
            )
        return None
    ends = travel(sheet)
    stock = list(stock_mm)
    source = "lengths given"
    if not stock:
        source = f"{STOCK_STEP_MM:g} mm steps, {'common practice, no source'}"
        first = math.ceil(ends.shortest_mm / STOCK_STEP_MM)
        last = math.floor(ends.longest_mm / STOCK_STEP_MM)
        stock = [STOCK_STEP_MM * step for step in range(first, last + 1)]
        middle = len(stock) // 2
        stock = stock[max(middle - MOST_STOCK // 2, 0) : middle + MOST_STOCK // 2 + 1]
    for length in stock:
        require_range("belt length", length, 300.0, 4000.0, "mm")
    return TensionerReport(
        part=ends.part,
        unit=ends.unit,
        takes_up=ends.takes_up,
        lets_out=ends.lets_out,
        stops_known=ends.stops_known,
        shortest_mm=ends.shortest_mm,
        longest_mm=ends.longest_mm,
        reserve_mm=ends.reserve_mm,
        per_step_mm=ends.per_step_mm,
        gained_mm=None if moved is None else gained_mm(sheet, moved),
        fits=tuple(_fit(one) for one in that_fit(sheet, stock)),
        fits_from=source,
        asked=None if length_mm is None else _fit(position_for_length(sheet, length_mm)),
    )


def _fit(position: Position) -> BeltFit:
    return BeltFit(
        position.length_mm,
        position.way,
        position.left,
        position.reserve_mm,
        position.x_mm,
        position.y_mm,
    )


def _alignment(sheet: DriveSheet, path: BeltPath) -> tuple[AlignedSpan, ...]:
    there = {pulley.part for pulley in path.pulleys}
    offsets = {
        pulley.part: pulley.offset_mm
        for pulley in sheet.pulleys
        if pulley.offset_mm is not None and pulley.part in there
    }
    return tuple(
        AlignedSpan(
            one.from_part,
            one.to_part,
            one.past,
            one.run_mm,
            one.offset_mm,
            one.angle_deg,
            one.error_deg,
            one.verdict,
            one.sure,
        )
        for one in entry_angles(path, offsets)
    )
