"""Belt drives and strums as text for a person: the answer first, then what it rests on."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Final

from beltside.cli.screen import page
from beltside.cli.text import add_row, bullets, columns, heading, picture_names, say
from beltside.proof.wording import full_stop, part_words

if TYPE_CHECKING:
    from rich.console import Console
    from rich.table import Table

    from beltside.casework.drive_results import BeltFit, DriveResult, TensionerReport
    from beltside.casework.strum import StrumResult

STANDING: Final = (
    "Engine off and key out before hands go near the belt. The vehicle maker's belt, routing and "
    "tension stand above anything printed here."
)
_MM_PER_INCH: Final = 25.4
_N_PER_LBF: Final = 4.4482216
_NM_PER_LBFT: Final = 1.3558179
_MOST_FITS: Final = 8


def show_drive(result: DriveResult, pictures: Sequence[Path], *, us: bool = False) -> None:
    """Print a belt drive."""
    units = _Units(us)
    with page() as out:
        say(out, _drive_answer(result, units), style="bold")
        heading(out, "Pulleys")
        out.print(_pulleys(result, units))
        if result.spans:
            heading(out, "Spans", "along the belt's travel")
            out.print(_spans(result, units))
            _slip(out, result, units)
        if result.tensioner is not None:
            _tensioner(out, result.tensioner, units)
        if result.alignment:
            _alignment(out, result, units)
        bullets(out, "Warnings", result.warnings)
        picture_names(out, pictures)
        bullets(out, "Caution", [STANDING])


def show_strum(result: StrumResult, *, us: bool = False) -> None:
    """Print what a pluck says."""
    units = _Units(us)
    with page() as out:
        say(out, _strum_answer(result, units), style="bold")
        if result.strum.plucks:
            heading(out, "Plucks")
            table = columns("right", "right", "right")
            for one in result.strum.plucks:
                add_row(
                    table,
                    f"{one.start_s:.1f} s",
                    f"{one.frequency_hz:.1f} Hz",
                    f"({one.low_hz:.1f} to {one.high_hz:.1f})",
                )
            out.print(table)
        if result.spans:
            heading(out, "Tension", "by span")
            table = columns("wrap", "right", "right", "right", "wrap")
            for span in result.spans:
                name = f"{part_words(span.from_part)} to {part_words(span.to_part)}"
                tension = span.tension
                add_row(
                    table,
                    name if span.from_part else "the span",
                    units.length(span.length_mm),
                    units.force(tension.value_n),
                    f"({units.force(tension.low_n)} to {units.force(tension.high_n)})",
                    span.verdict or "" if span.possible else "not this one",
                )
            out.print(table)
            stiff = max((one.tension.stiffness_n for one in result.spans), default=0.0)
            say(
                out,
                f"Up to {units.force(stiff)} taken off for the belt's own stiffness.",
                style="dim",
            )
        bullets(out, "Warnings", result.warnings)
        bullets(out, "Caution", [STANDING])


class _Units:
    """Metric, or US units when asked for."""

    def __init__(self, us: bool) -> None:
        self._us = us

    def length(self, mm: float, digits: int = 0) -> str:
        """A length in words."""
        if self._us:
            return f"{mm / _MM_PER_INCH:.{digits + 2}f} in"
        return f"{mm:.{digits}f} mm"

    def force(self, newton: float) -> str:
        """A force in words."""
        return f"{newton / _N_PER_LBF:.0f} lbf" if self._us else f"{newton:.0f} N"

    def torque(self, newton_metre: float) -> str:
        """A torque in words."""
        if self._us:
            return f"{newton_metre / _NM_PER_LBFT:.1f} lbf ft"
        return f"{newton_metre:.1f} N m"

    def way(self, amount: float, unit: str) -> str:
        """Degrees as they are, mm as a length."""
        return f"{amount:.1f} degrees" if unit == "degrees" else self.length(amount, 1)


def _drive_answer(result: DriveResult, units: _Units) -> str:
    if result.belt_length_mm is None:
        return "Ratios only: the sheet does not give every position."
    error = result.belt_length_error_mm or 0.0
    said = (
        f"Effective belt length {units.length(result.belt_length_mm)} "
        f"(± {units.length(error)} by careful measuring)"
    )
    if result.changed and result.original_length_mm is not None:
        less = result.belt_length_mm - result.original_length_mm
        word = "longer" if less > 0 else "shorter"
        said = (
            f"{', '.join(result.changed)}: {units.length(result.belt_length_mm, 1)}, "
            f"{units.length(abs(less), 1)} {word} than as it was, the tensioner where it stands"
        )
    if result.slip:
        first = result.slip[0]
        margin = first.margins.get(first.first)
        said += f". First to slip: {part_words(first.first)}"
        if margin is None:
            said += f", below {units.force(first.slips_below_n)} of standing tension"
        elif margin < 1.0:
            said += f", and it slips now (margin {margin:.2f})"
        else:
            said += f", at {margin:.1f} times its present pull"
    return full_stop(said)


def _pulleys(result: DriveResult, units: _Units) -> Table:
    table = columns("wrap", "right", "right", "right", "wrap", "right", "right", "right")
    add_row(
        table,
        "",
        "diameter",
        "ratio",
        f"at {result.crank_rpm:.0f} rpm",
        "turns",
        "wrap",
        "torque",
        "margin",
        style="dim",
    )
    for one in result.pulleys:
        add_row(
            table,
            part_words(one.part),
            units.length(one.diameter_mm, 1),
            f"{one.ratio:.3f}",
            f"{one.rpm:.0f} rpm",
            _turning(one.turns, result.pulleys[0].turns),
            "" if one.wrap_deg is None else f"{one.wrap_deg:.0f}°",
            "" if one.torque_nm is None else units.torque(one.torque_nm),
            "" if one.slip_margin is None else _margin(one.slip_margin),
        )
    return table


def _turning(turns: str | None, crank: str | None) -> str:
    if turns is None:
        return ""
    return "with crank" if turns == crank else "against"


def _margin(margin: float) -> str:
    return f"{margin:.2f}" if margin < 10.0 else "over 99" if margin > 99.0 else f"{margin:.0f}"


def _spans(result: DriveResult, units: _Units) -> Table:
    table = columns("wrap", "right", "right", "right")
    known = result.tension_n is not None
    add_row(
        table,
        "",
        "free length",
        "note, standing" if known else "",
        "running" if known else "",
        style="dim",
    )
    for one in result.spans:
        add_row(
            table,
            f"{part_words(one.from_part)} to {part_words(one.to_part)}",
            units.length(one.length_mm),
            "" if one.strum_hz is None else f"{one.strum_hz:.0f} Hz",
            "" if one.tension_n is None else units.force(one.tension_n),
        )
    return table


def _slip(out: Console, result: DriveResult, units: _Units) -> None:
    about = f"{result.crank_rpm:.0f} rpm, {result.load} load"
    if result.tension_n is not None:
        about += f", standing tension {units.force(result.tension_n)} ({result.tension_from})"
    heading(out, "Slip", about)
    table = columns("wrap", "wrap", "right", "right")
    add_row(table, "", "first to let go", "margin", "holds from", style="dim")
    for case in result.slip:
        margin = case.margins.get(case.first)
        add_row(
            table,
            case.name,
            part_words(case.first),
            "" if margin is None else _margin(margin),
            units.force(case.slips_below_n),
        )
    out.print(table)
    say(
        out,
        'A margin of 2 means it could take twice its pull; under 1 it slips. "Holds from" is the '
        "least standing tension. Torques that the sheet does not give and all friction: common "
        "practice, no source.",
        style="dim",
    )


def _tensioner(out: Console, report: TensionerReport, units: _Units) -> None:
    heading(out, "Tensioner", part_words(report.part))
    stops = "to its stops" if report.stops_known else "as far as the geometry goes: stops not given"
    say(
        out,
        f"Takes up {units.way(report.takes_up, report.unit)}, lets out "
        f"{units.way(report.lets_out, report.unit)} ({stops}): belts of "
        f"{units.length(report.shortest_mm, 1)} to {units.length(report.longest_mm, 1)}. "
        f"The belt may grow {units.length(report.reserve_mm, 1)} before it runs out.",
    )
    if report.gained_mm is not None:
        say(out, f"The belt has gained {units.length(report.gained_mm, 1)} since it was new.")
    fits = list(report.fits)
    if report.asked is not None:
        say(out, "The belt asked for: " + _fit_words(report.asked, report.unit, units))
    if fits:
        # Around where the tensioner stands now, which is where it should end up.
        fits.sort(key=lambda fit: abs(fit.way))
        shown = sorted(fits[:_MOST_FITS], key=lambda fit: fit.length_mm)
        say(out, f"Belts that fit ({report.fits_from}):")
        table = columns("right", "wrap")
        for fit in shown:
            add_row(table, "", _fit_words(fit, report.unit, units))
        out.print(table)
        if len(fits) > len(shown):
            say(out, f"and {len(fits) - len(shown)} further off; --json gives them all.")


def _fit_words(fit: BeltFit, unit: str, units: _Units) -> str:
    side = "tighter" if fit.way > 0.0 else "looser"
    return (
        f"{units.length(fit.length_mm, 1)}: tensioner {units.way(abs(fit.way), unit)} {side} than "
        f"now, {units.way(fit.left, unit)} left, room for {units.length(fit.reserve_mm, 1)} more"
    )


def _alignment(out: Console, result: DriveResult, units: _Units) -> None:
    heading(out, "Alignment", "angle at which the belt enters")
    table = columns("wrap", "right", "right", "wrap")
    for one in result.alignment:
        past = f" (past {', '.join(part_words(part) for part in one.past)})" if one.past else ""
        add_row(
            table,
            f"{part_words(one.from_part)} to {part_words(one.to_part)}{past}",
            units.length(one.offset_mm, 1),
            f"{one.angle_deg:.2f} ± {one.error_deg:.2f}°",
            one.verdict + ("" if one.sure else ", within reading error"),
        )
    out.print(table)
    say(
        out,
        "In line up to 0.3°, chirp likely from 1.0° (common practice, no source).",
        style="dim",
    )


def _strum_answer(result: StrumResult, units: _Units) -> str:
    strum = result.strum
    if strum.frequency_hz is None:
        return f"No note: {full_stop(strum.reason or 'none found')}"
    said = f"{strum.frequency_hz:.1f} Hz ({strum.low_hz:.1f} to {strum.high_hz:.1f})"
    count = len(strum.plucks)
    said += f" from {count} {'pluck' if count == 1 else 'plucks'}"
    if result.tension is not None:
        tension = result.tension
        said += (
            f". Tension {units.force(tension.value_n)} "
            f"({units.force(tension.low_n)} to {units.force(tension.high_n)})"
        )
    if result.verdict is not None and result.target_n is not None:
        low, high = result.target_n
        said += f": {result.verdict}, wanted {units.force(low)} to {units.force(high)}"
    return full_stop(said)
