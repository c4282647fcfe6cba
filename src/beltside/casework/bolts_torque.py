"""`bolts torque`: what to set the wrench to, and what the thread can take."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any, Final

from beltside.base.errors import InputError
from beltside.base.provenance import Provenance
from beltside.bolting.friction import Friction, friction
from beltside.bolting.heads import (
    HEAD_KINDS,
    ThreadOfHead,
    bearing_diameter_mm,
    threads_of_head,
)
from beltside.bolting.joint import bolt_spring_n_mm, parts_spring_n_mm
from beltside.bolting.stripping import ThreadHold, part_material, thread_hold
from beltside.bolting.threads import (
    CLASS_NAMES,
    PropertyClass,
    Thread,
    parse_thread,
    property_class,
)
from beltside.bolting.torque import (
    GivenTorque,
    ThreadTorque,
    clamp_vdi_n,
    given_torque,
    thread_torque,
)
from beltside.bolting.torque_units import in_unit, unit_of
from beltside.bolting.wrench import (
    IMPACT_MAY,
    IMPACT_MAY_NOT,
    Turn,
    turn_of_angle,
    wrench_setting,
)
from beltside.casework.bolts_answer import (
    MAKER_STANDS_ABOVE,
    BoltsAnswer,
    Group,
    MakerTorque,
    both_units,
    maker_torque,
)

_YOUNG_MPA: Final = {"cast-aluminium": 70_000.0, "cast-iron": 110_000.0, "steel": 205_000.0}
_SOURCE: Final = (
    "VDI 2230 (long form, 90 % of yield); Shigley, 9th ed., eq. 8-27 (T = K d F) and 8-31 (75 % "
    "of proof); ISO 898-1; docs/methods/bolt-torque.md"
)
_LOW_SHARE: Final = 0.15


def torque(
    thread: str | None,
    *,
    class_name: str | None = None,
    state: str = "unknown",
    into: str = "steel",
    engagement_mm: float | None = None,
    head: str | None = None,
    head_mm: float | None = None,
    maker: str | None = None,
    maker_source: str | None = None,
    arm_mm: float | None = None,
    adapter_mm: float | None = None,
    adapter_deg: float = 0.0,
    turn_deg: float | None = None,
    grip_mm: float | None = None,
    unit: str = "N m",
) -> BoltsAnswer:
    """Torque for one thread; without a thread, the threads a wrench size suggests.

    Parameters
    ----------
    thread
        "M8", "M10x1.25", "3/8-16", or None with `head_mm`.
    class_name
        Property class off the head; needed unless the maker's torque is given.
    state
        Friction: a word of `FRICTIONS` or a coefficient.
    into, engagement_mm
        What it screws into, and over what length [mm].
    head, head_mm
        Kind of head, and width across its flats [mm].
    maker, maker_source
        Torque of the maker's service data with its unit, and where it stands. It always wins.
    arm_mm, adapter_mm, adapter_deg
        Torque wrench and adapter.
    turn_deg, grip_mm
        Turn after the torque [degrees]; thickness clamped [mm].
    unit
        Unit to answer in.

    Raises
    ------
    InputError, OutOfRangeError
        For anything that can't be, with what would work.
    """
    unit = unit_of(unit)
    if thread is None:
        if head_mm is None:
            raise InputError(
                "neither a thread nor a wrench size was given",
                allowed='a thread such as "M8", or --head-mm 12',
            )
        return _heads(head_mm)
    one = parse_thread(thread)
    friction_state = friction(state)
    material = part_material(into)
    from_maker = maker_torque(maker, maker_source)
    warnings: list[str] = []
    kind = _head_kind(one, head, head_mm, warnings)
    strength = None
    if class_name is not None:
        strength = property_class(class_name, one)
    elif from_maker is None:
        raise InputError(
            "the property class was not given",
            allowed=", ".join(CLASS_NAMES) + "; it is marked on the head",
            instead="--class 8.8 when it says 8.8",
        )
    hold = thread_hold(one, strength, material, engagement_mm) if strength else None
    can_take = given = None
    if strength is not None:
        can_take = thread_torque(
            one, strength, friction_state, kind, hold.most_clamp_n if hold else None
        )
        if from_maker is not None:
            given = given_torque(from_maker.torque_nm, one, strength, friction_state, kind)
    used_nm = from_maker.torque_nm if from_maker else can_take.typical_nm if can_take else 0.0
    warnings += _doubts(from_maker, given, hold, one)
    setting_nm = _setting(used_nm, arm_mm, adapter_mm, adapter_deg)
    turn = _turn(one, strength, friction_state, kind, used_nm, turn_deg, grip_mm, into)
    data: dict[str, Any] = {
        "thread": {
            "name": one.name,
            "diameter_mm": one.diameter_mm,
            "pitch_mm": round(one.pitch_mm, 4),
            "stress_area_mm2": round(one.stress_area_mm2, 2),
        },
        "use": {
            "torque_nm": round(used_nm, 2),
            "value": round(in_unit(used_nm, unit), 2),
            "unit": unit,
            "from": from_maker.source if from_maker else "worked out: what this thread can take",
            "is_maker": from_maker is not None,
        },
        "maker": from_maker.to_json() if from_maker else None,
        "can_take": None if can_take is None else _rounded(asdict(can_take)),
        "under_maker_torque": None if given is None else _rounded(asdict(given)),
        "friction": _rounded(asdict(friction_state)),
        "thread_in_part": None if hold is None else _hold_json(hold),
        "wrench": None
        if setting_nm is None
        else {
            "set_to_nm": round(setting_nm, 2),
            "set_to": round(in_unit(setting_nm, unit), 2),
            "unit": unit,
        },
        "turn": None if turn is None else _rounded(asdict(turn)),
        "impact_driver": {"may": list(IMPACT_MAY), "may_not": list(IMPACT_MAY_NOT)},
    }
    groups = [
        _figures(from_maker, can_take, given, strength, friction_state, unit),
        _part_group(hold, one),
        _wrench_group(setting_nm, used_nm, turn, adapter_deg, unit),
        Group(
            "Impact driver",
            (("may", "; ".join(IMPACT_MAY)), ("may not", "; ".join(IMPACT_MAY_NOT))),
        ),
    ]
    return BoltsAnswer(
        answer=_answer(one, from_maker, given, can_take, unit),
        groups=tuple(group for group in groups if group.rows),
        data=data,
        provenance=Provenance(
            method="bolt-torque",
            version=1,
            inputs={
                "thread": one.name,
                "class": strength.name if strength else None,
                "friction": friction_state.name,
                "head": kind,
                "into": material.name,
                "engagement_mm": engagement_mm,
            },
            valid_range="steel bolts, M3 to M24 or 1/4 to 3/4 inch, thick bosses, no tightening "
            "past yield",
            source=_SOURCE,
        ),
        warnings=tuple(warnings),
        cautions=(
            MAKER_STANDS_ABOVE,
            "Bolts marked for angle tightening are replaced by new ones.",
        ),
    )


def _answer(
    thread: Thread,
    maker: MakerTorque | None,
    given: GivenTorque | None,
    can_take: ThreadTorque | None,
    unit: str,
) -> str:
    if maker is not None:
        if given is not None and given.proof_typical > 1.0:
            return (
                f"Don't tighten yet: {both_units(maker.torque_nm, unit)} ({maker.written}, "
                f"{maker.source}) is more than {thread.name} takes. Check thread, class and unit."
            )
        return (
            f"Tighten to {both_units(maker.torque_nm, unit)}: the maker's figure "
            f"({maker.written}, {maker.source})."
        )
    if can_take is None:
        return f"{thread.name}: not enough is known."
    return (
        f"{thread.name} can take about {both_units(can_take.typical_nm, unit)}. This is what the "
        "thread can take, no figure for a car: look the joint up."
    )


def _head_kind(thread: Thread, head: str | None, head_mm: float | None, warnings: list[str]) -> str:
    if head_mm is None:
        return head or "hex"
    suggested = threads_of_head(head_mm)
    fitting = [one.kind for one in suggested if one.diameter_mm == thread.diameter_mm]
    if head is not None:
        if head in HEAD_KINDS and head not in ("socket", *fitting):
            warnings.append(
                f"A {head_mm:g} mm {head} head is unusual on {thread.name}: measure the thread."
            )
        return head
    if fitting:
        return fitting[0]
    names = ", ".join(dict.fromkeys(one.name for one in suggested))
    warnings.append(
        f"A {head_mm:g} mm head usually sits on {names}, not on {thread.name}: measure the thread."
    )
    return "hex"


def _doubts(
    maker: MakerTorque | None, given: GivenTorque | None, hold: ThreadHold | None, thread: Thread
) -> list[str]:
    said = []
    if maker is not None and given is not None:
        if given.proof_typical > 1.0:
            said.append(
                f"The maker's torque would pull this bolt to {100 * given.proof_typical:.0f} % of "
                "its proof load: check thread, class and unit before believing either."
            )
        elif given.proof_high < _LOW_SHARE:
            said.append(
                f"The maker's torque leaves at most {100 * given.proof_high:.0f} % of the proof "
                "load: right for plastic or a drain plug, else check the unit."
            )
        strip_n = None if hold is None else hold.strip_low_n
        if strip_n is not None and given.typical_n > strip_n:
            said.append(
                "With this engagement the maker's torque can strip a weak alloy: measure how "
                "far the threads meet."
            )
    if hold is not None and hold.engagement_mm is None and hold.material.name != "steel":
        said.append(
            f"Engagement not given: the figure needs {hold.needed_high_mm:.0f} mm of good thread "
            f"in weak {hold.material.says}, {hold.needed_low_mm:.0f} mm in a usual one."
        )
    if hold is not None and hold.bolt_breaks_first == "no":
        said.append(
            f"Overtightened, the thread in the part strips before the bolt breaks: "
            f"{hold.needed_low_mm:.0f} to {hold.needed_high_mm:.0f} mm of engagement would hold "
            f"{thread.name}."
        )
    return said


def _setting(
    torque_nm: float, arm_mm: float | None, adapter_mm: float | None, adapter_deg: float
) -> float | None:
    if arm_mm is None and adapter_mm is None:
        return None
    if arm_mm is None or adapter_mm is None:
        raise InputError(
            "only one of wrench length and adapter length was given",
            allowed="both: --arm-mm (grip to square) and --adapter-mm (square to bolt)",
        )
    return wrench_setting(torque_nm, arm_mm, adapter_mm, adapter_deg)


def _turn(
    thread: Thread,
    strength: PropertyClass | None,
    state: Friction,
    head: str,
    torque_nm: float,
    turn_deg: float | None,
    grip_mm: float | None,
    into: str,
) -> Turn | None:
    if turn_deg is None:
        return None
    length_mm = grip_mm if grip_mm is not None else 3.0 * thread.diameter_mm
    young_mpa = _YOUNG_MPA[part_material(into).name]
    # The bolt also stretches over some 0.4 d at each end (VDI 2230).
    bolt = bolt_spring_n_mm(thread.stress_area_mm2, length_mm + 0.8 * thread.diameter_mm)
    parts = parts_spring_n_mm(thread.diameter_mm, length_mm, young_mpa)
    bearing_mm = bearing_diameter_mm(thread, head)
    before_n = clamp_vdi_n(torque_nm, thread, state.typical, state.typical, bearing_mm)
    yield_n = strength.yield_mpa * thread.stress_area_mm2 if strength is not None else float("inf")
    return turn_of_angle(turn_deg, thread.pitch_mm, bolt, parts, before_n, yield_n)


def _figures(
    maker: MakerTorque | None,
    can_take: ThreadTorque | None,
    given: GivenTorque | None,
    strength: PropertyClass | None,
    state: Friction,
    unit: str,
) -> Group:
    rows: list[tuple[str, str]] = []
    if maker is not None and given is not None:
        rows += [
            ("maker's torque", f"{both_units(maker.torque_nm, unit)}, from {maker.source}"),
            (
                "clamp under it",
                f"{given.low_n / 1000:.1f} to {given.high_n / 1000:.1f} kN, "
                f"{100 * given.proof_low:.0f} to {100 * given.proof_high:.0f} % of proof load",
            ),
        ]
    if can_take is not None and strength is not None:
        low, high = both_units(can_take.low_nm, unit), both_units(can_take.high_nm, unit)
        rows += [
            ("thread can take", f"{both_units(can_take.typical_nm, unit)} at typical friction"),
            ("by friction", f"{low} slippery, {high} at the roughest"),
            ("friction", f"{state.says}; {state.low:.2f} to {state.high:.2f} ({state.source})"),
            (
                "clamp",
                f"{can_take.clamp_n / 1000:.1f} kN, "
                f"{100 * can_take.clamp_n / can_take.proof_n:.0f} % of proof load, set by the "
                f"{can_take.limited_by}; torque alone leaves it at "
                f"{can_take.held_low_n / 1000:.1f} to {can_take.held_high_n / 1000:.1f} kN",
            ),
            ("proof load", f"{can_take.proof_n / 1000:.1f} kN, class {strength.name}"),
            (
                "limit",
                f"{both_units(can_take.limit_nm, unit)} at typical friction; without a figure of "
                "the maker's, never more",
            ),
        ]
        factor = f"K {can_take.effective_low:.2f} to {can_take.effective_high:.2f}"
        if can_take.short_nm is None:
            rows.append(("T = K d F", f"the range above is {factor}; none is published for it"))
        else:
            rows.append(
                (
                    "T = K d F",
                    f"{both_units(can_take.short_nm, unit)} with K {can_take.nut_factor:.2f} "
                    f"(Shigley); the range above is {factor}",
                )
            )
    return Group("Torque", tuple(rows))


def _part_group(hold: ThreadHold | None, thread: Thread) -> Group:
    if hold is None:
        return Group("Thread in the part", ())
    rows = [
        ("screws into", hold.material.says),
        (
            "bolt breaks first",
            f"from {hold.needed_low_mm:.0f} mm of engagement in a usual alloy, "
            f"{hold.needed_high_mm:.0f} mm in a weak one "
            f"({hold.needed_high_mm / thread.diameter_mm:.1f} diameters)",
        ),
    ]
    if hold.strip_low_n is not None and hold.strip_typical_n is not None:
        rows.append(
            (
                f"{hold.engagement_mm:g} mm strips at",
                f"{hold.strip_low_n / 1000:.1f} kN in a weak alloy, "
                f"{hold.strip_typical_n / 1000:.1f} kN in a usual one",
            )
        )
    return Group("Thread in the part", tuple(rows))


def _wrench_group(
    setting_nm: float | None, torque_nm: float, turn: Turn | None, angle_deg: float, unit: str
) -> Group:
    rows = []
    if setting_nm is not None:
        rows.append(
            (
                "set to",
                f"{both_units(setting_nm, unit)}, so that {both_units(torque_nm, unit)} reach the "
                f"bolt with the adapter at {angle_deg:g} degrees",
            )
        )
    if turn is not None:
        clamp = (
            "takes the bolt past yield: only for bolts made for it, new ones"
            if turn.past_yield
            else f"adds {turn.added_low_n / 1000:.0f} to {turn.added_n / 1000:.0f} kN (estimate)"
        )
        rows.append(
            (
                "then turn",
                f"{turn.angle_deg:g} degrees: {turn.flats:.2g} flats of the head, mark it with a "
                f"pen; {clamp}",
            )
        )
    return Group("Wrench", tuple(rows))


def _hold_json(hold: ThreadHold) -> dict[str, Any]:
    value = _rounded(asdict(hold))
    value["material"] = hold.material.name
    return value


def _rounded(value: dict[str, Any]) -> dict[str, Any]:
    return {
        key: _rounded(each)
        if isinstance(each, dict)
        else round(each, 4)
        if isinstance(each, float)
        else each
        for key, each in value.items()
    }


def _heads(head_mm: float) -> BoltsAnswer:
    found = threads_of_head(head_mm)
    names = ", ".join(dict.fromkeys(one.name for one in found))
    return BoltsAnswer(
        answer=f"A {head_mm:g} mm head suggests {names}. Measure the thread before relying on it.",
        groups=(Group("Heads", tuple((one.name, one.says) for one in found)),),
        data={
            "head_mm": head_mm,
            "threads": [_head_json(one) for one in found],
        },
        provenance=Provenance(
            method="bolt-heads",
            version=1,
            inputs={"head_mm": head_mm},
            valid_range="metric hexagon and flange heads, M3 to M24",
            source="ISO 4014, 4017, 4032; smaller and older heads from memory",
        ),
        cautions=(MAKER_STANDS_ABOVE,),
    )


def _head_json(one: ThreadOfHead) -> dict[str, Any]:
    return {
        "thread": one.name,
        "kind": one.kind,
        "says": one.says,
        "source": one.source,
    }
