"""Sections of the proof sheet that come straight from what was written on the job."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from decimal import Decimal, InvalidOperation
from typing import Any, Final

from beltside.casework.proof_sheet import Figure, Line, Money, Said, Section
from beltside.jobs.entries import JobSheet

RECHECK_LEVEL: Final = (
    "Check the coolant level once the engine has been hot and is cold again, before the first "
    "long drive; then once a week for a month. Top up with the same mixture."
)
NEVER_HOT: Final = "Never open the coolant cap while the engine is hot: steam and hot coolant."
WATCH_GAUGE: Final = (
    "If the temperature rises above its usual mark, or coolant drips, stop and switch the engine "
    "off."
)
POISON: Final = "Coolant is poisonous to people and animals: wipe up drops, keep it shut away."
LISTEN_AGAIN: Final = (
    "If a noise comes back, come back too: the recordings of today are kept to compare with."
)


def complaint_section(job: JobSheet) -> Section:
    """What the owner said."""
    body = _body(job, "complaint")
    lines: list[Line] = []
    if body.get("words"):
        lines.append(Said("Owner's words", str(body["words"])))
    heard = ", ".join(
        filter(
            None,
            [
                *(str(one) for one in body.get("when") or ()),
                {"cold": "engine cold", "hot": "engine hot", "both": "cold and hot"}.get(
                    str(body.get("engine") or ""), ""
                ),
            ],
        )
    )
    if heard:
        lines.append(Said("Heard", heard))
    if body.get("where"):
        lines.append(Said("Seems to come from", str(body["where"])))
    if body.get("since"):
        lines.append(Said("Since", str(body["since"])))
    distance = _body(job, "car").get("distance_km")
    if distance is not None:
        lines.append(Figure("Odometer", float(distance), "km", source="as read"))
    missing = "" if lines else "Nobody wrote down what the owner said."
    return Section("complaint", "Complaint", tuple(lines), missing)


def correction_section(job: JobSheet) -> tuple[Section, list[str]]:
    """What was replaced and tightened, and what is not written down of it."""
    lines: list[Line] = []
    gaps = []
    for entry in job.of_kind("part-used"):
        body = entry.body
        number = f" (no. {body['number']})" if body.get("number") else ""
        quantity = float(body.get("quantity") or 1)
        unit = str(body.get("unit") or "")
        count = "" if quantity == 1 and unit in ("", "piece") else f"{quantity:g} {unit} ".lstrip()
        lines.append(Said("Fitted", f"{count}{body['name']}{number}"))
    fitted = {str(entry.body["name"]).casefold() for entry in job.of_kind("part-used")}
    for repair in _body(job, "outcome").get("replaced") or ():
        words = _plain(str(repair))
        if words.casefold() not in fitted:
            lines.append(Said("Done", words))
    for entry in job.of_kind("part-match"):
        said = str(entry.body.get("says") or "")
        if said:
            lines.append(Said("Old part against new", said))
    tightened, unknown = torqued(job)
    lines += tightened
    done = [one for one in job.of_kind("step-tick") if one.body.get("state") == "done"]
    minutes = [one.body["minutes"] for one in done if one.body.get("minutes") is not None]
    if minutes:
        lines.append(
            Figure(
                "Time on the work", float(sum(minutes)), "min",
                source=f"{len(minutes)} of {len(done)} steps timed",
            )
        )  # fmt: skip
    if lines and not tightened:
        gaps.append("No tightening torque was written down.")
    if unknown:
        gaps.append(
            f"Where the tightening torque comes from was not written down for {', '.join(unknown)}."
        )
    if not lines:
        return Section("correction", "Correction", (), "No work was written down."), gaps
    return Section("correction", "Correction", tuple(lines)), gaps


def torqued(job: JobSheet) -> tuple[list[Line], list[str]]:
    """Fasteners with their last torque, those of one name and torque together."""
    last: dict[tuple[str, int | None], Mapping[str, Any]] = {}
    for entry in job.of_kind("torque-tick"):
        body = entry.body
        key = (str(body["fastener"]), body.get("number"))
        kept = last.get(key)
        if kept is None or int(body["pass_number"]) >= int(kept["pass_number"]):
            last[key] = body
    groups: dict[tuple[Any, ...], int] = {}
    for (name, _), body in last.items():
        group = (name, body.get("torque_nm"), body.get("angle_deg"), str(body.get("source") or ""))
        groups[group] = groups.get(group, 0) + 1
    lines: list[Line] = []
    unknown = []
    for (name, torque, angle, source), count in groups.items():
        label = f"{name}, {count} of them" if count > 1 else name
        if torque is not None:
            lines.append(
                Figure(label, float(torque), "N m", source=source or "source not written down")
            )
        if angle:
            lines.append(Figure(f"{label}: then turned by", float(angle), "deg", source=source))
        if torque is None and not angle:
            lines.append(Said(label, "tightened, torque not written down"))
        if torque is not None and not source:
            unknown.append(name)
    return lines, list(dict.fromkeys(unknown))


def watch_section(job: JobSheet) -> Section:
    """What was seen: to be watched first, then the rest."""
    lines: list[Line] = []
    for watched in (True, False):
        for entry in job.of_kind("observation"):
            body = entry.body
            if bool(body.get("watch")) is watched:
                part = str(body.get("part") or "").replace("-", " ")
                title = "Watch" if watched else "Seen"
                lines.append(Said(f"{title}: {part}" if part else title, str(body["words"])))
    for entry in job.of_kind("reminder"):
        body = entry.body
        if body.get("done"):
            continue
        lines.append(Said(f"By {body['due']}" if body.get("due") else "Later", str(body["words"])))
        if body.get("due_km") is not None:
            lines.append(
                Figure("at the latest at", float(body["due_km"]), "km", source="on the odometer")
            )
    missing = "" if lines else "Nothing was written down that should be watched."
    return Section("watch", "Seen, and to be watched", tuple(lines), missing)


def agreed_section(job: JobSheet) -> tuple[Section, list[str]]:
    """The price agreed and the price charged."""
    lines: list[Line] = []
    gaps: list[str] = []
    approval = job.newest("approval")
    outcome = _body(job, "outcome")
    agreed: Decimal | None = None
    currency = str(outcome.get("currency") or "")
    if approval is not None:
        body = approval.body
        agreement = body.get("agreement") or {}
        option = agreement.get("option")
        option = option if isinstance(option, Mapping) else {}
        currency = currency or str(agreement.get("currency") or "")
        when = str(body["agreed_at"])[:16].replace("T", " ")
        lines.append(Said("Agreed", f"{body['option']}, by {body['name']}, {when}"))
        agreed = _amount(option.get("total"))
        if agreed is not None:
            lines.append(
                Money("Price agreed", str(agreed), str(agreement.get("currency") or currency),
                      "with tax" if agreement.get("tax_set", True) else "no tax set")
            )  # fmt: skip
            totals = option.get("totals")
            totals = totals if isinstance(totals, Mapping) else {}
            low, high = (_amount(totals.get(name)) for name in ("low", "high"))
            if low is not None and high is not None and low != high:
                lines.append(Said("Could come to", f"{low} to {high} {currency}".strip()))
    charged = _amount(outcome.get("charged"))
    if charged is not None:
        lines.append(Money("Price charged", str(charged), currency))
    if agreed is not None and charged is not None:
        more = charged - agreed
        words = "as agreed" if more == 0 else ("more" if more > 0 else "less") + " than agreed"
        lines.append(Money(f"Difference: {words}", str(abs(more)), currency))
    if approval is None and (charged is not None or job.of_kind("part-used")):
        gaps.append("No agreement on the price was written down.")
    if approval is not None and charged is None:
        gaps.append("The price charged was not written down.")
    missing = "" if lines else "No price was written down."
    return Section("money", "Agreed and charged", tuple(lines), missing), gaps


def owner_cautions(job: JobSheet) -> list[str]:
    """What the owner should do and know."""
    wet = bool(job.of_kind("coolant") or job.of_kind("hold-test")) or any(
        "coolant" in text for text in _touched(job)
    )
    return [*([RECHECK_LEVEL, NEVER_HOT, WATCH_GAUGE, POISON] if wet else []), LISTEN_AGAIN]


def _touched(job: JobSheet) -> Iterator[str]:
    outcome = _body(job, "outcome")
    yield from (str(one).casefold() for one in outcome.get("replaced") or ())
    yield str(outcome.get("cause") or "").casefold()
    yield from (str(one.body["name"]).casefold() for one in job.of_kind("part-used"))
    yield from (str(one.body["step"]).casefold() for one in job.of_kind("step-tick"))


def car_words(body: Mapping[str, Any]) -> str:
    """The car in a line."""
    said = [str(body.get(name) or "") for name in ("name", "model_year", "plate", "vin")]
    if body.get("displacement_l"):
        said.insert(2, f"{float(body['displacement_l']):g} L")
    return ", ".join(filter(None, said))


def _amount(value: Any) -> Decimal | None:
    if not isinstance(value, str):
        return None
    try:
        amount = Decimal(value)
    except InvalidOperation:
        return None
    return amount if amount.is_finite() else None


def _plain(suspect: str) -> str:
    return suspect.replace(".", " ").replace("-", " ")


def _body(job: JobSheet, kind: str) -> Mapping[str, Any]:
    entry = job.newest(kind)
    return {} if entry is None else entry.body
