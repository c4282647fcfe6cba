"""Plans, lists and estimates as text for a person."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from rich.table import Table

from beltside.cli.screen import page
from beltside.cli.text import add_row, bullets, columns, heading, picture_names, say
from beltside.proof.wording import full_stop, printable

if TYPE_CHECKING:
    from rich.console import Console

    from beltside.casework.teardown_estimate import (
        Agreement,
        EstimateResult,
        OptionEstimate,
        ToBuy,
    )
    from beltside.casework.teardown_results import StepView, TeardownResult

_AIMS = {
    "expected": "least expected minutes",
    "sure": "least minutes that hold in 80 % of cases",
    "tools": "fewest tools",
}


def hours_words(minutes: float) -> str:
    """Minutes as hours and minutes.

    >>> hours_words(159.8), hours_words(42.2)
    ('2 h 40 min', '42 min')
    """
    whole = round(minutes)
    return f"{whole // 60} h {whole % 60:02d} min" if whole >= 60 else f"{whole} min"


def show_plan(result: TeardownResult, pictures: Sequence[Path]) -> None:
    """Print a plan: the time first, then the steps with their reasons."""
    at = result.times.quantiles
    with page() as out:
        say(out, result.title, style="bold")
        say(
            out,
            f"{hours_words(at[0.5])} likely, {hours_words(at[0.1])} to {hours_words(at[0.9])}; "
            f"done within {hours_words(at[0.8])} in 8 of 10 cases.",
            style="bold",
        )
        say(
            out,
            f"Repairs: {', '.join(result.repairs)}. Chosen for {_AIMS[result.aim]}"
            + (", proved to be the least." if result.proved else "; not proved to be the least."),
        )
        say(
            out,
            f"Expected {hours_words(result.way.expected_min)}, hands-on and waiting. "
            f"The longest chain of steps that wait for each other takes "
            f"{hours_words(result.chain_min)}; its steps are marked *.",
        )
        bullets(out, "Caution", [*result.cautions, *_hazards(result.steps)])
        for phase, words in (("apart", "Taking apart"), ("refit", "Refitting")):
            _steps(out, words, [step for step in result.steps if step.phase == phase])
        heading(out, "Another way")
        say(out, result.second_says)
        if result.shared:
            heading(out, "While you're in there")
            for name, minutes in result.shared.items():
                say(out, f"{name}: +{round(minutes)} min")
        _buy(out, result.to_buy)
        bullets(out, "Warnings", result.warnings)
        picture_names(out, pictures)


def show_lists(result: TeardownResult, sheet: Path | None) -> None:
    """Print tools, what to buy and the step sheet."""
    with page() as out:
        say(out, result.title, style="bold")
        heading(out, "Tools, in the order needed")
        for tool in result.tools:
            say(out, tool.name + (f" (only if {tool.only_if})" if tool.only_if else ""))
        _buy(out, result.to_buy)
        if sheet is not None:
            say(out, f"Step sheet: {sheet}")
        else:
            out.print()
            for row in sheet_text(result).splitlines():
                say(out, row)
        bullets(out, "Warnings", result.warnings)


def sheet_text(result: TeardownResult) -> str:
    """The step sheet as plain text: a box to tick for each step."""
    rows = [result.title, "", *[f"! {caution}" for caution in result.cautions]]
    for phase, words in (("apart", "TAKING APART"), ("refit", "REFITTING")):
        rows += ["", words]
        for step in result.steps:
            if step.phase != phase:
                continue
            rows.append(f"[ ] {step.number}. {step.title} ({_minutes(step)})")
            details = [
                f"waits for {', '.join(_numbers(result, step.waits_for))}"
                if step.waits_for
                else "",
                f"with {', '.join(step.tools)}" if step.tools else "",
                step.fastener,
                step.torque,
                f"new: {', '.join(step.new_parts)}" if step.new_parts else "",
            ]
            rows += [f"      {one}" for one in details if one]
            rows += [f"      ! {one}" for one in (*step.hazards, *step.cautions)]
    return "\n".join(printable(row) for row in rows) + "\n"


def show_estimate(result: EstimateResult, saved: Path | None) -> None:
    """Print the options side by side and what could change them."""
    currency = result.prices.currency
    with page() as out:
        say(out, f"Estimate: {result.title}", style="bold")
        say(
            out,
            f"Made on {result.made_on.isoformat()}, holds until {result.valid_until.isoformat()}. "
            f"Amounts in {currency}, "
            + (
                f"with {result.prices.tax_percent} % tax."
                if result.prices.tax_set
                else "no tax set."
            ),
        )
        table = _table(["", *[f"{n}. {one.option.name}" for n, one in _numbered(result)]])
        for label, attribute in (
            ("low (1 in 10 below)", "low"),
            ("likely", "likely"),
            ("holds in 8 of 10", "sure"),
            ("high (1 in 10 above)", "high"),
        ):
            cells = [
                f"{getattr(one.total, attribute)}  {hours_words(getattr(one.minutes, attribute))}"
                for one in result.options
            ]
            add_row(table, label, *cells)
        add_row(table, "deposit", *[str(one.sum.deposit) for one in result.options])
        heading(out, "Options")
        out.print(table)
        for number, one in _numbered(result):
            heading(out, f"{number}. {one.option.name}", "at the likely time")
            if one.unpriced:
                say(out, f"Not in this price: {', '.join(dict.fromkeys(one.unpriced))}.")
            rows = _table(["", "quantity", "each", "amount"])
            for line in one.lines:
                hours = line.group == "labour"
                quantity = f"{line.quantity:.2f}" if hours else f"{line.quantity.normalize():f}"
                add_row(
                    rows,
                    line.text,
                    f"{quantity} {line.unit}".strip(),
                    str(line.each),
                    str(line.amount),
                )
            add_row(rows, "tax", "", "", str(one.sum.tax))
            add_row(rows, "total", "", "", str(one.sum.total))
            out.print(rows)
            for trouble in one.troubles:
                least, most = trouble.extra_minutes.low, trouble.extra_minutes.high
                say(
                    out,
                    f"If {trouble.what} (about {trouble.chance * 100:.0f} in 100): "
                    f"{trouble.extra_low} to {trouble.extra_high} {currency} and "
                    f"{least:g} to {most:g} min more, most likely {trouble.extra_likely}"
                    + (
                        f"; without the price of {', '.join(trouble.unpriced)}"
                        if trouble.unpriced
                        else ""
                    )
                    + (f"; {trouble.then}" if trouble.then else "")
                    + ".",
                )
        bullets(out, "Warnings", result.warnings)
        if saved is not None:
            say(out, f"Offer saved: {saved}")


def show_agreement(agreement: Agreement, path: Path) -> None:
    """Print what was agreed."""
    told = agreement.to_json()
    option = told["option"]
    with page() as out:
        say(
            out,
            f'{told["agreed_by"]} agreed on {told["agreed_at"]} to "{option["name"]}": '
            f"{option['total']} {told['currency']} likely, {option['totals']['sure']} "
            "in 8 of 10 cases.",
            style="bold",
        )
        if option.get("without_price"):
            say(out, f"Not in this price: {', '.join(dict.fromkeys(option['without_price']))}.")
        say(out, f"Written: {path}")


def _numbered(result: EstimateResult) -> list[tuple[int, OptionEstimate]]:
    return list(enumerate(result.options, start=1))


def _steps(out: Console, phase: str, steps: Sequence[StepView]) -> None:
    if not steps:
        return
    heading(out, phase)
    table = columns("right", "wrap")
    for step in steps:
        mark = "*" if step.critical else " "
        add_row(table, f"{step.number}{mark}", f"{step.title}: {_minutes(step)}")
        details = [
            full_stop(step.why) if step.phase == "apart" or step.number == 1 else "",
            ", ".join(filter(None, (step.fastener, step.torque))),
            f"Tools: {', '.join(step.tools)}" if step.tools else "",
            f"New: {', '.join(step.new_parts)}" if step.new_parts else "",
            *step.cautions,
            *[f"May happen: {one}" for one in step.troubles],
        ]
        for one in details:
            if one:
                add_row(table, "", one, style="dim")
    out.print(table)


def _minutes(step: StepView) -> str:
    low, likely, high = step.minutes
    wait = f", then wait about {step.wait_min:.0f} min" if step.wait_min > 0.0 else ""
    return f"{likely:.3g} min ({low:.3g} to {high:.3g}){wait}"


def _numbers(result: TeardownResult, ids: Iterable[str]) -> list[str]:
    number = {step.id: str(step.number) for step in result.steps}
    return [number[one] for one in ids if one in number]


def _hazards(steps: Sequence[StepView]) -> list[str]:
    return list(dict.fromkeys(one for step in steps for one in step.hazards))


def _buy(out: Console, to_buy: Sequence[ToBuy]) -> None:
    if not to_buy:
        return
    heading(out, "To buy or have")
    for one in to_buy:
        amount = "quantity open" if one.quantity is None else f"{one.quantity:g} {one.unit}".strip()
        about = f" ({one.source})" if one.sort == "fluid" else ""
        say(out, f"{one.name}: {amount}{about}")


def _table(columns: Sequence[str]) -> Table:
    table = Table(box=None, padding=(0, 2, 0, 0), header_style="bold")
    for place, column in enumerate(columns):
        table.add_column(
            printable(column), justify="left" if place == 0 else "right", overflow="fold"
        )
    return table
