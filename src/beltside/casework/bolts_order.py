"""`bolts order` and `bolts sealant`: a flange's bolts in order, and its bead."""

from __future__ import annotations

import re
from collections.abc import Sequence
from pathlib import Path
from typing import Any, Final

import numpy as np

from beltside.base.errors import InputError, OutOfRangeError
from beltside.base.provenance import Provenance
from beltside.bolting.evenness import elastic_joint
from beltside.bolting.flange import Flange, gasket_line, line_length_mm
from beltside.bolting.order import (
    HAND_TIGHT,
    STAGES,
    Evenness,
    TighteningOrder,
    tightening_order,
)
from beltside.bolting.sealant import bead_of, cure_clock, time_of_day
from beltside.bolting.threads import parse_thread
from beltside.bolting.tightening import ENOUGH, Pass, bolt_spring_n_mm, tighten, unevenness
from beltside.bolting.torque_units import unit_of
from beltside.casework.bolts_answer import (
    MAKER_STANDS_ABOVE,
    BoltsAnswer,
    Group,
    MakerTorque,
    OrderPicture,
    both_units,
    maker_torque,
)
from beltside.casework.formats.hole_pattern import HolePattern, load_hole_pattern

_HOW: Final = {
    "exact": "no order is better by this measure (every one was weighed)",
    "beam": "the best found; so many bolts have too many orders to weigh each",
    "star": "the star rule, as no other order is notably better on an even circle",
    "given": "as the file gives it",
}


def order(
    path: Path,
    *,
    torque: str | None = None,
    torque_source: str | None = None,
    stages: Sequence[float] = STAGES,
    unit: str = "N m",
) -> BoltsAnswer:
    """Order and stages for a hole pattern file.

    Parameters
    ----------
    path
        The hole pattern (TOML).
    torque, torque_source
        The maker's torque and where it stands; they win over those in the file.
    stages
        Rising shares of the final torque, the last one 1.
    unit
        Unit to answer in.

    Raises
    ------
    InputError, OutOfRangeError
        For a file, torque or stages that can't be used.
    """
    unit = unit_of(unit)
    pattern = load_hole_pattern(path)
    if torque is None and torque_source is None:
        torque, torque_source = pattern.torque, pattern.torque_source
    from_maker = maker_torque(torque, torque_source)
    flange = pattern.flange
    found = tightening_order(flange, stages)
    names = [hole.name for hole in flange.bolts]
    thread = pattern.thread or parse_thread("M6")
    spring = np.full(len(names), bolt_spring_n_mm(thread.stress_area_mm2, pattern.stretch_mm))
    passes = tighten(
        elastic_joint(flange), found.order, found.around, found.stages, HAND_TIGHT, spring
    )
    rounds = len(passes) - len(found.stages)
    in_order = " ".join(names[bolt] for bolt in found.order)
    title = pattern.name or path.stem
    stage_words = [
        _stage_words(number, share, from_maker, unit)
        for number, share in enumerate(found.stages, start=1)
    ]
    groups = (
        _work(found, names, stage_words, rounds, flange),
        Group(
            "Evenness",
            (
                ("peak to mean", f"{_even(found.evenness)} over all steps; {_HOW[found.how]}"),
                ("star rule", f"{_even(found.star_evenness)}, from the first hole"),
                ("its best start", _even(found.best_star_evenness)),
                ("bolts spread", _spread_words(passes)),
            ),
        ),
        Group("Taken as", tuple(_assumed(pattern))),
    )
    return BoltsAnswer(
        answer=f"Tighten in this order: {in_order}.",
        groups=groups,
        data=_order_json(found, flange, names, passes, from_maker),
        provenance=Provenance(
            method="bolt-order",
            version=1,
            inputs={
                "file": path.name,
                "bolts": len(names),
                "cover": flange.cover,
                "cover_thickness_mm": flange.cover_thickness_mm,
                "gasket": flange.gasket,
            },
            valid_range="2 to 32 bolts of one size, one gasket line, flat faces",
            source="own method, docs/methods/bolt-order.md; star rule and stages: ASME PCC-1-2019",
        ),
        warnings=_order_warnings(found, flange),
        cautions=(
            MAKER_STANDS_ABOVE
            + " Where it shows an order, that order is the one to use (`turn` in the file).",
            "Engine cold. The last pass is by torque wrench, never by impact driver.",
        ),
        pictures={
            "bolt-order": OrderPicture(
                title=title,
                flange=flange,
                gasket_mm=tuple((float(x), float(y)) for x, y in gasket_line(flange)),
                order=found.order,
                stages=tuple(stage_words),
            )
        },
    )


def _stage_words(number: int, share: float, maker: MakerTorque | None, unit: str) -> str:
    of = f"{100 * share:g} %"
    if maker is None:
        return f"stage {number}: {of} of the torque in the service data"
    return f"stage {number}: {both_units(share * maker.torque_nm, unit)}, {of}"


def _work(
    found: TighteningOrder,
    names: Sequence[str],
    stage_words: Sequence[str],
    rounds: int,
    flange: Flange,
) -> Group:
    in_order = " ".join(names[bolt] for bolt in found.order)
    rows = []
    if flange.dowels:
        dowels = " ".join(hole.name for hole in flange.dowels)
        rows.append(("first", f"seat the part on its dowels by hand ({dowels}); no bolt pulls it"))
    rows.append(("start", "all bolts by fingers, then hand-tight until the faces touch all round"))
    rows += [("", f"{words}: {in_order}") for words in stage_words]
    around = " ".join(names[bolt] for bolt in found.around)
    rows += [
        (
            "then",
            f"round the flange at 100 % until no bolt turns, about {rounds} "
            f"{'time' if rounds == 1 else 'times'}: {around}",
        ),
        (
            "to loosen",
            "the other way round, a quarter turn each first: "
            + " ".join(names[bolt] for bolt in found.loosening),
        ),
    ]
    return Group("Order", tuple(rows))


def _even(one: Evenness) -> str:
    return f"{one.worst:.2f} at worst, {one.average:.2f} on average"


def _spread_words(passes: Sequence[Pass]) -> str:
    ends = [[one for one in passes if one.name.startswith("stage")][-1], passes[-1]]
    stages, rounds = (
        f"after {one.name} {100 * min(one.held):.0f} to {100 * max(one.held):.0f} % of full clamp"
        for one in ends
    )
    return f"{stages}, {rounds} (estimate; friction adds its own, aim {100 * ENOUGH:.0f} %)"


def _assumed(pattern: HolePattern) -> list[tuple[str, str]]:
    flange = pattern.flange
    return [
        (
            "gasket line",
            "as the file gives it" if flange.outline_mm else "through the bolts; none in the file",
        ),
        (
            "stiffness",
            f"{flange.cover} cover {flange.cover_thickness_mm:g} mm, {flange.gasket} gasket "
            "(orders of magnitude)",
        ),
        (
            "bolts",
            f"{pattern.thread.name if pattern.thread else 'M6, none in the file'}, "
            f"{pattern.stretch_mm:g} mm stretching",
        ),
    ]


def _order_warnings(found: TighteningOrder, flange: Flange) -> tuple[str, ...]:
    said = []
    fixed = [hole.name for hole in flange.bolts if hole.turn is not None]
    behind = (
        found.evenness.worst > found.star_evenness.worst * 1.005
        or found.evenness.average > found.star_evenness.average * 1.005
    )
    if fixed and behind:
        said.append(
            f"With the places given for {', '.join(fixed)} it is less even than the star rule; "
            "when they come from the maker, keep them."
        )
    if found.evenness.least < 0.0:
        said.append(
            "On the way the gasket lifts somewhere between the bolts: the cover is soft for so few "
            "of them. The figures are rough there; bring all bolts hand-tight with care first."
        )
    return tuple(said)


def _order_json(
    found: TighteningOrder,
    flange: Flange,
    names: Sequence[str],
    passes: Sequence[Pass],
    maker: MakerTorque | None,
) -> dict[str, Any]:
    def named(order: Sequence[int]) -> list[str]:
        return [names[bolt] for bolt in order]

    return {
        "order": named(found.order),
        "loosening": named(found.loosening),
        "around": named(found.around),
        "dowels": [hole.name for hole in flange.dowels],
        "how": found.how,
        "stages": [
            {
                "share": share,
                "torque_nm": None if maker is None else round(share * maker.torque_nm, 2),
            }
            for share in found.stages
        ],
        "rounds": len(passes) - len(found.stages),
        "maker": None if maker is None else maker.to_json(),
        "evenness": _even_json(found.evenness),
        "star": {"order": named(found.star), **_even_json(found.star_evenness)},
        "best_star": {"order": named(found.best_star), **_even_json(found.best_star_evenness)},
        "passes": [
            {
                "name": one.name,
                "share": one.share,
                "held": {name: round(held, 4) for name, held in zip(names, one.held, strict=True)},
                "spread": round(unevenness(one.held), 4),
            }
            for one in passes
        ],
    }


def _even_json(one: Evenness) -> dict[str, Any]:
    return {
        "worst_peak_to_mean": round(one.worst, 5),
        "average_peak_to_mean": round(one.average, 5),
        "least_to_mean": round(one.least, 5),
        "steps": [[round(value, 5) for value in row] for row in one.steps],
    }


def sealant(
    path: Path,
    *,
    called_for: str | None = None,
    bead_mm: float | None = None,
    tube_ml: float | None = None,
    skin_min: float | None = None,
    cure_h: float | None = None,
    wait_min: float = 0.0,
    started: str | None = None,
) -> BoltsAnswer:
    """Bead, tubes and clock for a hole pattern; a dry gasket unless sealant is called for.

    Parameters
    ----------
    path
        The hole pattern (TOML).
    called_for
        Where the maker's data asks for sealant; None for the dry gasket.
    bead_mm, tube_ml
        Bead and tube off the label [mm], [ml].
    skin_min, cure_h, wait_min
        Skin-over [min], cure [h] and wait before the final torque [min] off the label.
    started
        When the bead is begun, "14:20".

    Raises
    ------
    InputError, OutOfRangeError
        For a file or figures that can't be used.
    """
    pattern = load_hole_pattern(path)
    flange = pattern.flange
    provenance = Provenance(
        method="bolt-sealant",
        version=1,
        inputs={"file": path.name, "bead_mm": bead_mm, "tube_ml": tube_ml},
        valid_range="one closed bead, round every bolt hole",
        source="geometry; the label's own figures; docs/methods/bolt-sealant.md",
    )
    if called_for is None or not called_for.strip():
        if any(value is not None for value in (bead_mm, tube_ml, skin_min, cure_h, started)):
            raise InputError(
                "sealant figures were given without saying who asks for sealant",
                allowed="sealant only where the maker's data calls for it",
                instead='--called-for "service manual, page 12"; else the gasket goes in dry',
            )
        return BoltsAnswer(
            answer="Fit the gasket dry: no sealant unless the maker's data calls for it.",
            groups=(
                Group(
                    "Dry gasket",
                    (
                        ("faces", "clean, dry, flat; no scraping aluminium with steel edges"),
                        ("why", "sealant squeezed inwards breaks off and blocks narrow passages"),
                    ),
                ),
            ),
            data={"dry": True, "called_for": None, "bead": None, "clock": None},
            provenance=provenance,
            cautions=(MAKER_STANDS_ABOVE,),
        )
    if bead_mm is None or tube_ml is None:
        raise InputError(
            "the size of the bead or of the tube was not given",
            allowed="both, off the maker's data and the label",
            instead="--bead-mm 2 --tube-ml 80",
        )
    unknown = [
        hole.name
        for hole, diameter in zip(flange.holes, pattern.diameters_mm, strict=True)
        if hole.kind != "dowel" and diameter is None
    ]
    if unknown:
        raise InputError(
            f"the diameter of hole {', '.join(unknown)} is not in the file",
            allowed="diameter_mm for each hole, or the thread in [bolts]",
        )
    bead = bead_of(
        line_length_mm(flange),
        [
            diameter
            for hole, diameter in zip(flange.holes, pattern.diameters_mm, strict=True)
            if hole.kind != "dowel" and diameter is not None
        ],
        bead_mm,
        tube_ml,
    )
    clock_rows, clock_json = _clock(skin_min, cure_h, wait_min, started)
    tubes = "1 tube" if bead.tubes == 1 else f"{bead.tubes} tubes"
    return BoltsAnswer(
        answer=f"{bead.length_mm:.0f} mm of {bead.bead_mm:g} mm bead, {bead.volume_ml:.1f} ml: "
        f"{tubes} of {bead.tube_ml:g} ml.",
        groups=(
            Group(
                "Bead",
                (
                    ("called for by", called_for.strip()),
                    ("along the flange", f"{bead.line_mm:.0f} mm"),
                    ("round the holes", f"{bead.holes_mm:.0f} mm"),
                    ("volume", f"{bead.volume_ml:.1f} ml, and 15 % lost in tube and nozzle"),
                ),
            ),
            Group("Clock", tuple(clock_rows)),
        ),
        data={
            "dry": False,
            "called_for": called_for.strip(),
            "bead": {
                "line_mm": round(bead.line_mm, 1),
                "holes_mm": round(bead.holes_mm, 1),
                "length_mm": round(bead.length_mm, 1),
                "bead_mm": bead.bead_mm,
                "volume_ml": round(bead.volume_ml, 2),
                "tubes": bead.tubes,
            },
            "clock": clock_json,
        },
        provenance=provenance,
        cautions=(
            MAKER_STANDS_ABOVE,
            "One unbroken bead, inside of each bolt hole as well; too much blocks passages.",
            "Cold or dry air makes it cure slower than the label says.",
            "Gloves and air: uncured sealant and its vapour irritate skin, eyes and lungs.",
        ),
    )


def _clock(
    skin_min: float | None, cure_h: float | None, wait_min: float, started: str | None
) -> tuple[list[tuple[str, str]], dict[str, Any] | None]:
    if skin_min is None and cure_h is None:
        if started is not None or wait_min > 0.0:
            raise InputError(
                "a start or a wait was given without the label's times",
                allowed="--skin-min and --cure-h off the label",
            )
        return [], None
    if skin_min is None or cure_h is None:
        raise InputError(
            "only one of skin-over and cure time was given",
            allowed="both, off the label: --skin-min 10 --cure-h 24",
        )
    clock = cure_clock(skin_min, cure_h, wait_min)
    start = None if started is None else _minute_of_day(started)
    moments = [("part on, hand-tight", "within", clock.joined_by_min)]
    if clock.full_torque_min > 0.0:
        moments.append(("final torque", "after", clock.full_torque_min))
    moments.append(("coolant and pressure", "after", clock.cured_min))
    rows = [
        (name, f"{word} {_span(minutes)}" + ("" if start is None else f", {_at(start, minutes)}"))
        for name, word, minutes in moments
    ]
    return rows, {
        "joined_by_min": clock.joined_by_min,
        "full_torque_min": clock.full_torque_min,
        "cured_min": clock.cured_min,
        "times": None if start is None else [_at(start, minutes) for _, _, minutes in moments],
    }


def _minute_of_day(text: str) -> float:
    match = re.fullmatch(r"\s*(\d{1,2})[:.](\d{2})\s*", text)
    if not match:
        raise InputError(f'"{text}" is no time of day', allowed='hours and minutes: "14:20"')
    hours, minutes = int(match[1]), int(match[2])
    if hours > 23 or minutes > 59:
        raise OutOfRangeError(f'"{text}" is no time of day', allowed="00:00 to 23:59")
    return hours * 60.0 + minutes


def _at(start_min: float, later_min: float) -> str:
    days, hours, minutes = time_of_day(start_min, later_min)
    day = "" if days == 0 else " the next day" if days == 1 else f" {days} days on"
    return f"{hours:02}:{minutes:02}{day}"


def _span(minutes: float) -> str:
    return f"{minutes:g} min" if minutes < 120.0 else f"{minutes / 60.0:g} h"
