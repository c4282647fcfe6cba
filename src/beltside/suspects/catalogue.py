"""The suspects and the checks that tell them apart, read from plain values.

The figures stand in catalogue.toml, which says what each key means.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Final

from beltside.base.errors import InputError, nearest
from beltside.base.words import FAULTS, PARTS, PULLEY_PARTS, part_kind
from beltside.suspects.complaints import Complaints

HEALTHY: Final = "none"
OTHER: Final = "other"
"""The two suspects that are no part.fault: nothing wrong, and something not listed."""

OTHERWISE: Final = "otherwise"
BELT_DRIVEN: Final = "belt-driven"
ANY: Final = "any."

_LEAST_LIKELY: Final = 0.005
_SUM_TOLERANCE: Final = 1e-6


@dataclass(frozen=True)
class Suspect:
    """A part with a fault.

    Attributes
    ----------
    id
        "part.fault", numbered as the part is ("idler-2.bearing"); "none" or "other".
    part, fault
        The two halves; for "none" and "other" the part is the id and the fault is empty.
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


@dataclass(frozen=True)
class Outcome:
    """What a check can show: its word, what it says, and other words for it."""

    word: str
    says: str
    also: tuple[str, ...] = ()


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
        Time it takes [min], without taking the belt off.
    engine
        "off" or "running".
    belt
        "on", "off" or "either": how the belt must be.
    outcomes
        What it can show.
    likely
        Row of outcome probabilities by "part.fault", "any.fault", "belt-driven" or "otherwise".
    hazard, cautions
        The main risk, and further ones, each a sentence.
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

    def likelihoods(self, suspect: Suspect, part: str | None = None) -> Mapping[str, float]:
        """Probability of each outcome when `suspect` is the culprit.

        Parameters
        ----------
        suspect
            One of `suspects_for`.
        part
            The pulley the check is done on; None for a check of the whole engine.

        Raises
        ------
        InputError
            When the check is done on a pulley and `part` is not one of its kinds, or when it is
            done on the whole engine and a part is given.
        """
        self.require_part(part)
        kind = part_kind(suspect.part)
        own = part is None or suspect.part == part
        # A row for a part that is checked one at a time speaks of the one under the hand.
        exact = f"{kind}.{suspect.fault}" if suspect.fault else suspect.id
        if exact in self.likely and (own or kind not in self.parts):
            return self.likely[exact]
        if own and f"{ANY}{suspect.fault}" in self.likely:
            return self.likely[f"{ANY}{suspect.fault}"]
        if suspect.belt_driven and BELT_DRIVEN in self.likely:
            return self.likely[BELT_DRIVEN]
        return self.likely[OTHERWISE]

    def outcome(self, word: str) -> Outcome:
        """The outcome of that word, also by one of its other words.

        Raises
        ------
        InputError
            When it is none of them; names the nearest.
        """
        for outcome in self.outcomes:
            if word == outcome.word or word in outcome.also:
                return outcome
        words = [outcome.word for outcome in self.outcomes]
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
class Catalogue:
    """All suspects and checks; `belt_off_minutes` is spent once to take the belt off and on."""

    version: int
    belt_off_minutes: float
    suspects: tuple[Suspect, ...]
    checks: tuple[Check, ...]

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
    """The suspects of one car, a numbered part with its own suspects.

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
                        name=suspect.name + (f" (no. {number})" if number else ""),
                    )
                )
    return tuple(chosen)


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


def parse_catalogue(table: Mapping[str, object]) -> Catalogue:
    """Check a catalogue as read from TOML and make it.

    Raises
    ------
    InputError
        Naming everything that is wrong: unknown or missing keys and words with the nearest, rows
        that do not name every outcome, probabilities under 0.005 or not adding to 1.
    """
    said = Complaints()
    top = said.group(table, "catalogue", ("version", "belt_off_minutes", "suspect", "check"))
    suspects = tuple(
        _suspect(key, value, said) for key, value in said.groups(top, "suspect").items()
    )
    for word in (HEALTHY, OTHER):
        if word not in {suspect.id for suspect in suspects}:
            said.add(f"suspect.{word} is missing")
    checks = tuple(
        _check(key, value, suspects, said) for key, value in said.groups(top, "check").items()
    )
    version = int(said.number(top, "catalogue", "version", least=1))
    belt_off_minutes = said.number(top, "catalogue", "belt_off_minutes")
    said.raise_if_any()
    return Catalogue(version, belt_off_minutes, suspects, checks)


def _suspect(key: str, value: object, said: Complaints) -> Suspect:
    where = f"suspect.{key}"
    keys = ("name", "needs", "weight", "belt_driven", "sounds", "replace")
    group = said.group(value, where, keys)
    part, _, fault = key.partition(".")
    if key not in (HEALTHY, OTHER):
        said.word(part, f"{where}: the part", [word for word in PARTS if word != HEALTHY])
        said.word(fault, f"{where}: the fault", FAULTS)
    needs = said.text(group, where, "needs")
    said.word(needs, f"{where}.needs", (*PULLEY_PARTS, "belt", "engine"))
    if part in PULLEY_PARTS and needs != part:
        said.add(f'{where}.needs is "{needs}" and must be "{part}"')
    if not isinstance(group.get("belt_driven"), bool):
        said.add(f"{where}.belt_driven must be true or false")
    return Suspect(
        id=key,
        part=part,
        fault=fault,
        name=said.text(group, where, "name"),
        needs=needs,
        weight=said.number(group, where, "weight"),
        belt_driven=group.get("belt_driven") is True,
        sounds=said.text(group, where, "sounds"),
        replace=said.text(group, where, "replace"),
    )


def _check(key: str, value: object, suspects: Sequence[Suspect], said: Complaints) -> Check:
    where = f"check.{key}"
    required = ("name", "how", "minutes", "engine", "belt", "hazard", "outcomes", "likely")
    group = said.group(value, where, required, ("parts", "cautions"))
    parts = said.texts(group, where, "parts")
    for part in parts:
        said.word(part, f"{where}.parts", PULLEY_PARTS)
    engine, belt = said.text(group, where, "engine"), said.text(group, where, "belt")
    said.word(engine, f"{where}.engine", ("off", "running"))
    said.word(belt, f"{where}.belt", ("on", "off", "either"))
    outcomes = []
    for word, value in said.groups(group, "outcomes", where).items():
        own = said.group(value, f"{where}.outcomes.{word}", ("says",), ("also",))
        place = f"{where}.outcomes.{word}"
        outcomes.append(
            Outcome(word, said.text(own, place, "says"), said.texts(own, place, "also"))
        )
    spoken = [word for outcome in outcomes for word in (outcome.word, *outcome.also)]
    for word in sorted({word for word in spoken if spoken.count(word) > 1}):
        said.add(f'{where}.outcomes: "{word}" stands for two outcomes')
    if len(outcomes) < 2:
        said.add(f"{where}.outcomes must be two or more: one outcome tells nothing")
    return Check(
        id=key,
        name=said.text(group, where, "name"),
        how=said.text(group, where, "how"),
        parts=parts,
        minutes=said.number(group, where, "minutes"),
        engine=engine,
        belt=belt,
        outcomes=tuple(outcomes),
        likely=_likely(group, where, [outcome.word for outcome in outcomes], suspects, said),
        hazard=said.text(group, where, "hazard"),
        cautions=said.texts(group, where, "cautions"),
    )


def _likely(
    group: Mapping[str, object],
    where: str,
    outcomes: Sequence[str],
    suspects: Sequence[Suspect],
    said: Complaints,
) -> Mapping[str, Mapping[str, float]]:
    rows: dict[str, Mapping[str, float]] = {}
    named = [suspect.id for suspect in suspects]
    allowed = (
        *named,
        *(f"{ANY}{suspect.fault}" for suspect in suspects if suspect.fault),
        *(() if group.get("parts") else (BELT_DRIVEN,)),
        OTHERWISE,
    )
    for key, value in said.groups(group, "likely", where).items():
        place = f"{where}.likely.{key}"
        said.word(key, place, allowed)
        row = said.group(value, place, outcomes)
        rows[key] = {word: said.number(row, place, word, least=_LEAST_LIKELY) for word in outcomes}
        total = sum(rows[key].values())
        if set(row) == set(outcomes) and abs(total - 1.0) > _SUM_TOLERANCE:
            said.add(f"{place} adds up to {total:g} and must add up to 1")
    if OTHERWISE not in rows:
        said.add(f"{where}.likely.{OTHERWISE} is missing")
    return rows
