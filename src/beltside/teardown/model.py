"""A job as the technician sees it: things on the car, what is in the way, what each step takes."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import Final

from beltside.teardown.times import NONE, Minutes, Piece

KINDS: Final = ("part", "fastener", "fluid", "connection", "state", "way", "work", "finish")
"""`state`: something that must be so (engine cold); `way`: working round a thing instead of taking
it off; `work`: done once at the bottom (clean the faces); `finish`: done once after refitting."""


@dataclass(frozen=True)
class Fastener:
    """Bolts, nuts or clamps; the torque is the maker's, with its source, or None."""

    thread: str = ""
    head_mm: float | None = None
    count: int = 1
    torque_nm: float | None = None
    torque_source: str = ""


@dataclass(frozen=True)
class Fluid:
    """What runs out; litres are the technician's figure with its source, or None."""

    name: str
    litres: float | None = None
    litres_source: str = ""
    reusable: bool = False


@dataclass(frozen=True)
class Supply:
    """Something to have at hand or to buy."""

    name: str
    quantity: float = 1.0
    unit: str = ""


@dataclass(frozen=True)
class Trouble:
    """What often goes wrong with a step.

    Attributes
    ----------
    what
        In words: "a bolt snaps".
    chance
        0 to 1, for the step as a whole.
    minutes
        Extra minutes when it happens.
    then
        What it then takes, in words.
    tools, parts
        What it then needs.
    """

    what: str
    chance: float
    minutes: Minutes
    then: str = ""
    tools: tuple[str, ...] = ()
    parts: tuple[Supply, ...] = ()


@dataclass(frozen=True)
class Thing:
    """One thing on the car and the step of taking it off, draining, undoing or doing it.

    Attributes
    ----------
    name
        As used in the other lines: "pump-pulley-bolts".
    title, refit_title
        What is done, in words; and what is done on refitting.
    kind
        One of `KINDS`.
    off, refit
        Minutes of the step apart and of its refit; a refit of no minutes does not appear.
    wait, refit_wait
        Minutes of waiting after each (draining, curing).
    reach
        Clauses: every one must be met; a clause is met when all things of one of its rows are off.
    after
        Things that come off before this one, if they come off at all, and go on after it.
    while_on
        Things that must still be on when this step is done.
    refit_after
        Things that go on before this one, if they were off.
    refit_last
        Goes on after everything else but steps of the kind "finish".
    when
        For a step of the kind "finish": it is done when one of these things was off.
    stays
        Can't come off on this car.
    """

    name: str
    title: str = ""
    refit_title: str = ""
    kind: str = "part"
    off: Minutes = NONE
    refit: Minutes = NONE
    wait: Minutes = NONE
    refit_wait: Minutes = NONE
    reach: tuple[tuple[tuple[str, ...], ...], ...] = ()
    after: tuple[str, ...] = ()
    while_on: tuple[str, ...] = ()
    refit_after: tuple[str, ...] = ()
    refit_last: bool = False
    when: tuple[str, ...] = ()
    stays: bool = False
    tools: tuple[str, ...] = ()
    refit_tools: tuple[str, ...] = ()
    fastener: Fastener | None = None
    fluid: Fluid | None = None
    consumables: tuple[Supply, ...] = ()
    renew: tuple[Supply, ...] = ()
    hazards: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()
    troubles: tuple[Trouble, ...] = ()
    note: str = ""

    @property
    def has_refit(self) -> bool:
        """Whether putting back is a step of its own."""
        return self.refit.high > 0.0 or self.refit_wait.high > 0.0

    def pieces(self, *, apart: bool = True, back: bool = True) -> list[Piece]:
        """The independent pieces of this step's time, troubles counted with taking apart."""
        found = []
        if apart:
            found += [Piece(self.off), Piece(self.wait)]
            found += [Piece(trouble.minutes, trouble.chance) for trouble in self.troubles]
        if back:
            found += [Piece(self.refit), Piece(self.refit_wait)]
        return [piece for piece in found if piece.minutes.high > 0.0]

    def expected_min(self) -> float:
        """Expected minutes of the step and its refit, what may go wrong included."""
        return sum(piece.mean for piece in self.pieces())

    def all_tools(self) -> tuple[str, ...]:
        """Tools of the step and its refit, each once."""
        return tuple(dict.fromkeys((*self.tools, *self.refit_tools)))


@dataclass(frozen=True)
class Repair:
    """Something wanted: which things have to be reached, and the parts it takes."""

    name: str
    title: str
    targets: tuple[str, ...]
    parts: tuple[Supply, ...] = ()


@dataclass(frozen=True)
class Job:
    """A whole job: its things by their names, what is repaired by default, cautions for all."""

    title: str
    things: tuple[Thing, ...]
    repairs: tuple[Repair, ...]
    wanted: tuple[str, ...]
    about: str = ""
    cautions: tuple[str, ...] = ()
    names: dict[str, int] = field(default_factory=dict, compare=False)

    def __post_init__(self) -> None:
        self.names.update({thing.name: place for place, thing in enumerate(self.things)})

    def thing(self, name: str) -> Thing:
        """The thing called `name`."""
        return self.things[self.names[name]]

    def repair(self, name: str) -> Repair:
        """The repair called `name`."""
        return next(repair for repair in self.repairs if repair.name == name)

    def with_things(self, things: tuple[Thing, ...]) -> Job:
        """The same job with other things of the same names."""
        return replace(self, things=things, names={})
