"""What to try, in which order, on a fastener that is seized, rounded or snapped.

Mild first, what destroys last. Steps, minutes and cautions are common practice, no source; they
defer to the maker's service data. docs/methods/bolt-stuck.md.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final

from beltside.base.errors import InputError, nearest

STATES: Final = ("seized", "rounded", "snapped")
NEAR: Final = ("coolant", "seal", "plastic", "fuel", "refrigerant", "airbag")
SOURCE: Final = "common practice, no source"

EYES: Final = "Eye protection: penetrant, rust and steel splinters fly."
HOT_COOLANT: Final = "Coolant: engine cold and drained first; never open or heat it hot."
HEAT_SEALS: Final = (
    "Heat ruins rubber seals, bearings' grease and plastic: shield them, stay short."
)
FUMES: Final = "Hot penetrant and threadlock smoke: wipe them off, air, no flame near them."
WELD: Final = "Welding: battery earth off, control units apart, extinguisher at hand."
NO_FLAME: Final = "Fuel or refrigerant near by: no flame, no sparks, no heat gun."
EXTRACTOR: Final = "A broken extractor is harder than any drill: stop when it starts to twist."


@dataclass(frozen=True)
class Minutes:
    """Low, likely and high [min]."""

    low: float
    likely: float
    high: float

    @property
    def expected(self) -> float:
        """(low + 4 likely + high) / 6 (PERT: Malcolm et al., Operations Research 7, 1959)."""
        return (self.low + 4.0 * self.likely + self.high) / 6.0


@dataclass(frozen=True)
class StuckStep:
    """One thing to try.

    Attributes
    ----------
    name
        Short name.
    do
        What to do.
    stop_when
        When to leave it and go on to the next.
    minutes
        How long it takes.
    cautions
        What can go wrong.
    heat, sparks
        Whether it heats the part, or throws sparks.
    """

    name: str
    do: str
    stop_when: str
    minutes: Minutes
    cautions: tuple[str, ...] = ()
    heat: bool = False
    sparks: bool = False


@dataclass(frozen=True)
class StuckPlan:
    """The list for one fastener.

    Attributes
    ----------
    state
        "seized", "rounded" or "snapped".
    steps
        In the order to try them.
    left_out
        Names of steps that must not be done here, and why.
    cautions
        What holds for all of them.
    minutes
        Low: the first step that can free it does. High: all of them are needed. Likely: half way
        through the list.
    afterwards
        What to do once it is out.
    """

    state: str
    steps: tuple[StuckStep, ...]
    left_out: tuple[tuple[str, str], ...]
    cautions: tuple[str, ...]
    minutes: Minutes
    afterwards: tuple[str, ...]


_TAP_HEAD = "tap the head lightly, "
_TAP_STUB = "tap the stub lightly, "


def _penetrant(tap: str) -> StuckStep:
    return StuckStep(
        "penetrant",
        f"Wire-brush what shows of the thread, penetrant on both ends, {tap}wait 15 minutes; "
        "again, and overnight when the job allows it.",
        "nothing has crept in after two goes",
        Minutes(10, 20, 40),
        (EYES,),
    )


_HEAT = StuckStep(
    "heat the part",
    "Heat the part round the bolt, not the bolt, with a heat gun or induction coil, until a drop "
    "of water hisses; try at once, and again while it cools.",
    "three rounds changed nothing",
    Minutes(5, 12, 25),
    (FUMES,),
    heat=True,
)
_WELD_NUT = StuckStep(
    "weld a nut on",
    "Weld a nut onto the stub or head from its inside; let the red go, then turn gently to and "
    "fro while it is warm.",
    "two welded nuts have broken off",
    Minutes(10, 20, 40),
    (WELD, EYES),
    heat=True,
    sparks=True,
)
_INSERT = StuckStep(
    "drill out and fit a thread insert",
    "Drill square and centred to the insert's size, tap, fit the insert. Catch every chip.",
    "the wall is too thin for the insert's tap drill: the part goes to a machine shop",
    Minutes(30, 60, 120),
    (EYES,),
)

_STEPS: Final = {
    "seized": (
        StuckStep(
            "is it the right way",
            "Look for a left-hand thread, a locking tab, a staked nut or a pulley that turns with "
            "it; hold the pulley.",
            "it is the right way and nothing else holds it",
            Minutes(2, 3, 5),
        ),
        _penetrant(_TAP_HEAD),
        StuckStep(
            "shock",
            "A punch square on the head and a few firm blows with a hammer.",
            "the head starts to spread",
            Minutes(2, 5, 10),
            (EYES,),
        ),
        StuckStep(
            "to and fro",
            "Six-point socket, long bar. A little tighter first, then loosen; a quarter turn out, "
            "an eighth back, oil.",
            "it turns springily without giving way: it is about to snap",
            Minutes(5, 10, 20),
            ("Pull, don't push: a bar that slips breaks knuckles.",),
        ),
        _HEAT,
        StuckStep(
            "impact driver, short bursts",
            "Impact socket, lowest setting, one second at a time, both ways.",
            "the corners start to go",
            Minutes(2, 4, 8),
            (EYES,),
        ),
        StuckStep(
            "take the head or nut off",
            "Split the nut, or drill the head off; with the part away the rest stands out and "
            "turns more easily.",
            "",
            Minutes(10, 25, 50),
            (EYES,),
            sparks=True,
        ),
    ),
    "rounded": (
        StuckStep(
            "six-point socket, cleaned",
            "Clean the head, drive on a six-point socket of the right size, press hard in line, "
            "turn slowly.",
            "it slips once",
            Minutes(2, 4, 8),
        ),
        StuckStep(
            "next size down, driven on",
            "A six-point socket of the next smaller size, metric or inch, hammered on.",
            "it cannot be driven on, or slips",
            Minutes(3, 7, 15),
            (EYES,),
        ),
        StuckStep(
            "extractor socket",
            "A socket with inner spirals, hammered on, turned by hand.",
            "it has cut the head round",
            Minutes(4, 8, 15),
            (EYES,),
        ),
        _penetrant(_TAP_HEAD),
        _HEAT,
        StuckStep(
            "locking pliers or chisel",
            "Locking pliers across a head that stands free, or a sharp chisel at its edge, driven "
            "the way it loosens.",
            "the head is gone",
            Minutes(5, 10, 20),
            (EYES,),
        ),
        _WELD_NUT,
        StuckStep(
            "drill the head off",
            "Drill down the middle with the diameter of the shank until the head comes away, lift "
            "the part off, turn the stub out.",
            "",
            Minutes(10, 20, 45),
            (EYES,),
            sparks=True,
        ),
    ),
    "snapped": (
        StuckStep(
            "take the part off",
            "Loosen the other bolts and lift the part away: without clamp the stub often turns by "
            "hand.",
            "the part is off and the stub sits tight",
            Minutes(5, 10, 20),
        ),
        _penetrant(_TAP_STUB),
        StuckStep(
            "grip the stub",
            "Locking pliers or two nuts locked on what stands out, to and fro.",
            "it slips or bends",
            Minutes(4, 8, 15),
            (EYES,),
        ),
        _HEAT,
        _WELD_NUT,
        StuckStep(
            "left-hand drill",
            "Centre-punch exactly, drill small, then a left-hand drill: it often winds the stub "
            "out.",
            "the drill leaves the middle",
            Minutes(10, 25, 45),
            (EYES,),
        ),
        StuckStep(
            "extractor",
            "Square or spiral extractor of the largest size that fits, by hand, with penetrant.",
            "it starts to twist",
            Minutes(5, 12, 25),
            (EXTRACTOR, EYES),
        ),
        _INSERT,
    ),
}

_BY_STATE: Final = {
    "seized": "Stop before it snaps: a seized bolt costs minutes, a snapped one an hour.",
    "rounded": "Each try takes some of the head away: the best fit first.",
    "snapped": "Drill square and in the middle: an off-centre hole ruins the part's thread.",
}


def stuck_plan(state: str, near: Iterable[str] = (), *, aluminium: bool = False) -> StuckPlan:
    """What to try on a stuck fastener.

    Parameters
    ----------
    state
        "seized", "rounded" or "snapped".
    near
        What is close by, words of `NEAR`.
    aluminium
        Whether it sits in aluminium.

    Raises
    ------
    InputError
        For an unknown state or neighbour.

    >>> [step.name for step in stuck_plan("snapped", ["fuel"]).steps][3]
    'left-hand drill'
    """
    if state not in STATES:
        raise InputError(
            f'the fastener is "{state}"',
            allowed=", ".join(STATES),
            instead=nearest(state, STATES) or "",
        )
    close = list(dict.fromkeys(near))
    for word in close:
        if word not in NEAR:
            raise InputError(
                f'near is "{word}"', allowed=", ".join(NEAR), instead=nearest(word, NEAR) or ""
            )
    steps, left_out = [], []
    for step in _STEPS[state]:
        reason = _why_not(step, close)
        if reason:
            left_out.append((step.name, reason))
        else:
            steps.append(_with_cautions(step, close, aluminium))
    return StuckPlan(
        state=state,
        steps=tuple(steps),
        left_out=tuple(left_out),
        cautions=_cautions(state, close),
        minutes=_minutes(steps),
        afterwards=_afterwards(close, aluminium),
    )


# Steps that hammer on the fastener; the airbag caution forbids them beside it.
_BLOWS: Final = (
    "shock",
    "impact driver, short bursts",
    "next size down, driven on",
    "extractor socket",
)


def _why_not(step: StuckStep, near: list[str]) -> str:
    if (step.heat or step.sparks) and "fuel" in near:
        return "fuel near by: no heat, no sparks"
    if step.heat and "refrigerant" in near:
        return "heated refrigerant turns poisonous and bursts its line"
    if step.name in _BLOWS and "airbag" in near:
        return "blows near an airbag or its sensor can set it off"
    if step is _WELD_NUT and "airbag" in near:
        return "welding near an airbag can set it off"
    if step is _WELD_NUT and ("seal" in near or "plastic" in near):
        return "welding burns the seal or plastic beside it"
    return ""


def _with_cautions(step: StuckStep, near: list[str], aluminium: bool) -> StuckStep:
    more = []
    if step.heat and "coolant" in near:
        more.append(HOT_COOLANT)
    if step.heat and ("seal" in near or "plastic" in near):
        more.append(HEAT_SEALS)
    if step.heat and aluminium:
        more.append(
            "Aluminium gives no glow before it melts and softens from about 200 degrees Celsius: "
            "heat gun, no flame."
        )
    if step is _INSERT and "coolant" in near:
        more.append("If the hole reaches coolant, seal the new thread and look for drips.")
    do = step.do
    if "airbag" in near:
        # Taps are blows too.
        do = do.replace(_TAP_HEAD, "").replace(_TAP_STUB, "")
    return StuckStep(
        step.name,
        do,
        step.stop_when,
        step.minutes,
        (*step.cautions, *more),
        step.heat,
        step.sparks,
    )


def _cautions(state: str, near: list[str]) -> tuple[str, ...]:
    said = [_BY_STATE[state], EYES]
    if "coolant" in near:
        said.append(HOT_COOLANT)
    if "fuel" in near or "refrigerant" in near:
        said.append(NO_FLAME)
    if "refrigerant" in near:
        said.append("Refrigerant lines are opened by a licensed technician only.")
    if "airbag" in near:
        said.append("No blows near an airbag or its sensor; airbag work needs a licence.")
    return tuple(said)


def _minutes(steps: list[StuckStep]) -> Minutes:
    half = steps[: (len(steps) + 1) // 2]
    # The first step only looks or clears the way; the second is the first that can free it.
    return Minutes(
        low=sum(step.minutes.low for step in steps[:2]),
        likely=sum(step.minutes.likely for step in half),
        high=sum(step.minutes.high for step in steps),
    )


def _afterwards(near: list[str], aluminium: bool) -> tuple[str, ...]:
    said = [
        "Chase the thread with a thread chaser and blow it out; a new bolt of the same thread, "
        "class and length.",
        "Turn the new bolt in by fingers, at least three turns, before any tool.",
    ]
    if aluminium:
        said.append(
            "Steel in aluminium corrodes tight: what goes on the thread is the maker's say."
        )
    if "coolant" in near:
        said.append("A bolt that reaches into coolant gets thread sealant where the maker says so.")
    return tuple(said)
