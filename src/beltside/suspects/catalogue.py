"""The suspects and the checks that tell them apart.

The figures stand in catalogue.toml and checks.toml, which say what each key means;
`suspects.catalogue_table` reads them.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from itertools import product
from typing import Final

from beltside.base.errors import InputError, nearest
from beltside.base.words import part_kind

HEALTHY: Final = "none"
OTHER: Final = "other"
"""The two suspects that are no part.fault: nothing wrong, and something not listed."""

OTHERWISE: Final = "otherwise"
BELT_DRIVEN: Final = "belt-driven"
ANY: Final = "any."
BELT_OFF: Final = "belt-off"
"""The access that a check with `belt = "off"` needs and one with `belt = "on"` forbids."""


@dataclass(frozen=True)
class Suspect:
    """A part with a fault, or two of them at once.

    Attributes
    ----------
    id
        "part.fault", numbered as the part is ("idler-2.bearing"); "none" or "other"; for two at
        once "part.fault+part.fault".
    part, fault
        The two halves; for "none" and "other" the part is the id and the fault is empty. Two at
        once have the part of the first, and both faults.
    name
        In plain words.
    needs
        What the car must have: a kind of pulley, "belt" or "engine".
    weight
        How often next to the others, per such part, before anything is known.
    belt_driven
        Whether the noise stops with the belt off.
    sounds, replace
        What it sounds like, and what is replaced.
    members
        The two suspects of a pair; empty for a single one.
    """

    id: str
    part: str
    fault: str
    name: str
    needs: str
    weight: float
    belt_driven: bool
    sounds: str
    replace: str
    members: tuple[Suspect, ...] = ()

    @property
    def kind(self) -> str:
        """The id without numbers: "idler.bearing" for "idler-2.bearing"."""
        if self.members:
            return "+".join(member.kind for member in self.members)
        return f"{part_kind(self.part)}.{self.fault}" if self.fault else self.id


@dataclass(frozen=True)
class Outcome:
    """What a check can show: its word, what it says, and other words for it."""

    word: str
    says: str
    also: tuple[str, ...] = ()


NOT_SURE: Final = Outcome("not-sure", "done, but could not tell", ("unsure", "unclear", "maybe"))
NOT_DONE: Final = Outcome("not-done", "was not done", ("skipped", "skip", "left-out"))
"""Two outcomes every check has. Neither moves the odds; the check is not proposed again."""

_SILENT: Final = frozenset((NOT_SURE.word, NOT_DONE.word))


@dataclass(frozen=True)
class Mishap:
    """What a check costs if it goes wrong: how often it does (0 to 1), the money, and what."""

    chance: float
    money: float
    what: str


@dataclass(frozen=True)
class Check:
    """Something to do that tells suspects apart.

    Attributes
    ----------
    id
        Its word, "spin-by-hand".
    name, how
        Title, and what to do.
    parts
        Kinds of pulley it is done on, one at a time; empty when done once for the whole engine.
    minutes
        Time it takes [min], without opening and closing an access.
    engine
        "off" or "running".
    belt
        "on", "off" or "either": how the belt must be.
    access
        Accesses that must be open besides, "underside".
    needs
        Conditions that must hold first, "engine-cold".
    outcomes
        What it can show, from the least to the most telling.
    likely
        Row of outcome probabilities by "part.fault", "any.fault", "belt-driven" or "otherwise".
    hazard, cautions
        The main risk, and further ones, each a sentence.
    mishap
        What it costs if it goes wrong.
    """

    id: str
    name: str
    how: str
    parts: tuple[str, ...]
    minutes: float
    engine: str
    belt: str
    outcomes: tuple[Outcome, ...]
    likely: Mapping[str, Mapping[str, float]] = field(hash=False)
    hazard: str
    cautions: tuple[str, ...]
    access: tuple[str, ...] = ()
    needs: tuple[str, ...] = ()
    mishap: Mishap | None = None

    @property
    def opens(self) -> tuple[str, ...]:
        """Every access that must be open."""
        return (*((BELT_OFF,) if self.belt == "off" else ()), *self.access)

    @property
    def closes(self) -> tuple[str, ...]:
        """Every access that must not be open."""
        return (BELT_OFF,) if self.belt == "on" else ()

    def row_key(self, suspect: Suspect, part: str | None = None) -> str | None:
        """Which row of `likely` speaks for a suspect; None for a pair without a row of its own.

        Raises
        ------
        InputError
            As `likelihoods`.
        """
        self.require_part(part)
        if suspect.members:
            shown_here = part is None or any(member.part == part for member in suspect.members)
            return suspect.kind if shown_here and suspect.kind in self.likely else None
        kind = part_kind(suspect.part)
        own = part is None or suspect.part == part
        # A row for a part that is checked one at a time speaks of the one under the hand.
        if suspect.kind in self.likely and (own or kind not in self.parts):
            return suspect.kind
        if own and f"{ANY}{suspect.fault}" in self.likely:
            return f"{ANY}{suspect.fault}"
        if suspect.belt_driven and BELT_DRIVEN in self.likely:
            return BELT_DRIVEN
        return OTHERWISE

    def likelihoods(self, suspect: Suspect, part: str | None = None) -> Mapping[str, float]:
        """Probability of each outcome when `suspect` is the culprit.

        A pair without a row of its own shows the more telling of what its members would show
        (noisy max: Henrion 1989; Diez 1993).

        Parameters
        ----------
        suspect
            One of `suspects_for` or `all_suspects_for`.
        part
            The pulley the check is done on; None for a check of the whole engine.

        Raises
        ------
        InputError
            When the check is done on a pulley and `part` is not one of its kinds, or when it is
            done on the whole engine and a part is given.
        """
        key = self.row_key(suspect, part)
        if key is not None:
            return self.likely[key]
        rows = [self.likelihoods(member, part) for member in suspect.members]
        shown: dict[str, float] = {}
        below, at_most = 0.0, [0.0] * len(rows)
        for outcome in self.outcomes:
            at_most = [c + row[outcome.word] for c, row in zip(at_most, rows, strict=True)]
            both = min(at_most[0] * at_most[1], 1.0)
            shown[outcome.word] = both - below
            below = both
        shown[self.outcomes[-1].word] += 1.0 - below
        return shown

    def outcome(self, word: str) -> Outcome:
        """The outcome of that word, also by one of its other words.

        Raises
        ------
        InputError
            When it is none of them; names the nearest.
        """
        for outcome in (*self.outcomes, NOT_SURE, NOT_DONE):
            if word == outcome.word or word in outcome.also:
                return outcome
        words = [outcome.word for outcome in (*self.outcomes, NOT_SURE, NOT_DONE)]
        close = nearest(word, words)
        raise InputError(
            f'"{word}" is no outcome of {self.id}',
            allowed=", ".join(words),
            instead=f'"{close}"' if close else "",
        )

    def require_part(self, part: str | None) -> None:
        """Refuse a part this check is not done on; InputError says which are allowed."""
        if not self.parts and part is not None:
            raise InputError(
                f"{self.id} is done on the whole engine, not on {part}",
                instead="leaving the part out",
            )
        if self.parts and (part is None or part_kind(part) not in self.parts):
            raise InputError(
                f"{self.id} on {part}" if part else f"{self.id} without a part",
                allowed="on " + ", ".join(self.parts),
            )


@dataclass(frozen=True)
class Access:
    """Something taken off or set up once for several checks: minutes to open and to close it."""

    id: str
    says: str
    open_minutes: float
    close_minutes: float


@dataclass(frozen=True)
class Condition:
    """Something that must hold for some checks.

    Attributes
    ----------
    id, says
        Its word, and a sentence.
    assumed
        Whether it is taken to hold while nobody has said.
    ends_with_running
        Whether a check with the engine running ends it, as it does a cold engine.
    """

    id: str
    says: str
    assumed: bool
    ends_with_running: bool


@dataclass(frozen=True)
class Alike:
    """Checks on one part that lean on the same sign, so that two of them are not two witnesses.

    `share` (0 to 1) is how often they see one and the same thing; 0 is independent.
    """

    id: str
    checks: tuple[str, ...]
    share: float


@dataclass(frozen=True)
class Catalogue:
    """All suspects and checks.

    `suspects` are single faults, `pairs` two at once. `repeat_share` is how often the same check
    done again on the same part only repeats what the first one saw (0 to 1).
    """

    version: int
    suspects: tuple[Suspect, ...]
    checks: tuple[Check, ...]
    pairs: tuple[Suspect, ...] = ()
    accesses: tuple[Access, ...] = ()
    conditions: tuple[Condition, ...] = ()
    alike: tuple[Alike, ...] = ()
    repeat_share: float = 0.0

    def check(self, word: str) -> Check:
        """The check of that word; InputError names the nearest when there is none."""
        for check in self.checks:
            if check.id == word:
                return check
        words = [check.id for check in self.checks]
        close = nearest(word, words)
        raise InputError(
            f'"{word}" is not a check',
            allowed=", ".join(words),
            instead=f'"{close}"' if close else "",
        )


def suspects_for(catalogue: Catalogue, parts_on_drive: Sequence[str]) -> tuple[Suspect, ...]:
    """The single suspects of one car, a numbered part with its own suspects.

    Parameters
    ----------
    catalogue
        All suspects.
    parts_on_drive
        Pulleys of the drive sheet in its order ("idler", "idler-2"). With none, only what any
        engine has is left; with any, the belt is there too.

    Examples
    --------
    The ids of a drive with two idlers hold "idler.bearing" and "idler-2.bearing".
    """
    chosen: list[Suspect] = []
    for suspect in catalogue.suspects:
        if suspect.needs == "engine" or (suspect.needs == "belt" and parts_on_drive):
            chosen.append(suspect)
            continue
        for part in parts_on_drive:
            if part_kind(part) == suspect.needs:
                number = part.removeprefix(suspect.needs).lstrip("-")
                chosen.append(
                    replace(
                        suspect,
                        id=f"{part}.{suspect.fault}",
                        part=part,
                        name=f"{suspect.name} (no. {number})" if number else suspect.name,
                    )
                )
    return tuple(chosen)


def all_suspects_for(catalogue: Catalogue, parts_on_drive: Sequence[str]) -> tuple[Suspect, ...]:
    """`suspects_for`, then the pairs whose two members this car can have.

    Two faults of one part are on the same one: "idler-2" is not paired with "idler".
    """
    single = suspects_for(catalogue, parts_on_drive)
    by_kind: dict[str, list[Suspect]] = {}
    for suspect in single:
        by_kind.setdefault(suspect.kind, []).append(suspect)
    pairs = []
    for pair in catalogue.pairs:
        for first, second in product(*(by_kind.get(one.kind, []) for one in pair.members)):
            if part_kind(first.part) == part_kind(second.part) and first.part != second.part:
                continue
            numbers = [m.name.partition(" (")[2] for m in (first, second) if " (" in m.name]
            pairs.append(
                replace(
                    pair,
                    id=f"{first.id}+{second.id}",
                    part=first.part,
                    members=(first, second),
                    name=pair.name + (f" ({numbers[0]}" if numbers else ""),
                )
            )
    return (*single, *pairs)


def checks_for(
    catalogue: Catalogue, parts_on_drive: Sequence[str]
) -> tuple[tuple[Check, str | None], ...]:
    """Every check this car allows, with the pulley it is done on (None: the whole engine)."""
    return tuple(
        (check, part)
        for check in catalogue.checks
        for part in (
            [part for part in parts_on_drive if part_kind(part) in check.parts]
            if check.parts
            else [None]
        )
    )


@dataclass(frozen=True)
class CheckDone:
    """A check that was done: on which pulley (None: the whole engine), with which outcome."""

    check: Check
    part: str | None
    outcome: Outcome

    @property
    def tells(self) -> bool:
        """Whether it moves the odds: not when it was not done, or nobody could tell."""
        return self.outcome.word not in _SILENT


def check_done(
    catalogue: Catalogue,
    parts_on_drive: Sequence[str],
    check: str,
    part: str | None,
    outcome: str,
) -> CheckDone:
    """What somebody wrote down of a check, in the catalogue's words.

    A check of the whole engine takes no notice of a part. A check of one pulley at a time finds
    the part by itself when the drive has only one it can be done on.

    Raises
    ------
    InputError
        When the check, the outcome or the part is not known here; says what would be.
    """
    found = catalogue.check(check)
    shown = found.outcome(outcome)
    if not found.parts:
        return CheckDone(found, None, shown)
    able = [each for each in parts_on_drive if part_kind(each) in found.parts]
    if part is None and len(able) == 1:
        part = able[0]
    if part not in able:
        raise InputError(
            f"{check} on {part}" if part else f"{check} without a part",
            allowed=("on " + ", ".join(able)) if able else "on no pulley of this drive",
            instead="adding the pulley to the drive sheet" if part and not able else "",
        )
    return CheckDone(found, part, shown)
