"""What time, parts and mistakes cost, and which repair ends which suspect."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from beltside.base.words import PULLEY_PARTS, part_kind
from beltside.suspects.catalogue import HEALTHY, OTHER, Catalogue, Suspect
from beltside.suspects.complaints import Complaints

RELEASE: Final = "release"
HAND_OVER: Final = "hand-over"
"""Two ways to end a job besides the repairs: nothing is wrong, and somebody else looks further."""

_FIGURES: Final = (
    "labour_per_hour",
    "waiting_per_hour",
    "wrong_part",
    "comeback",
    "hand_over",
    "listen_again_minutes",
)


@dataclass(frozen=True)
class Repair:
    """What ends some suspects.

    Attributes
    ----------
    id
        Its word, numbered as its part is ("idler-2").
    name
        What to do, in words.
    part
        The pulley it is done on; "" for none.
    cures
        Suspects it ends, by id once laid on a car, by kind in the table.
    money
        Parts and material.
    minutes
        Work, without opening and closing its accesses [min].
    access
        What is opened and closed for it.
    """

    id: str
    name: str
    part: str
    cures: tuple[str, ...]
    money: float
    minutes: float
    access: tuple[str, ...]


@dataclass(frozen=True)
class Costs:
    """Money for time, parts and mistakes, as costs.toml says what each means."""

    currency: str
    labour_per_hour: float
    waiting_per_hour: float
    wrong_part: float
    comeback: float
    hand_over: float
    listen_again_minutes: float
    repairs: tuple[Repair, ...]

    @property
    def per_minute(self) -> float:
        """Money for a minute of work on the car."""
        return (self.labour_per_hour + self.waiting_per_hour) / 60.0


def parse_costs(table: Mapping[str, object], catalogue: Catalogue) -> Costs:
    """Check the table of costs as read from TOML and make it.

    Raises
    ------
    InputError
        Naming everything that is wrong: unknown or missing keys, negative figures, a suspect that
        no repair cures or two do.
    """
    said = Complaints("the table of costs")
    top = said.group(table, "costs", ("version", "currency", *_FIGURES, "repair"))
    said.number(top, "costs", "version", least=1)
    kinds = [suspect.id for suspect in catalogue.suspects if suspect.fault]
    opened = [access.id for access in catalogue.accesses]
    repairs = tuple(
        _repair(key, value, kinds, opened, said)
        for key, value in said.groups(top, "repair").items()
    )
    cured = [kind for repair in repairs for kind in repair.cures]
    for kind in kinds:
        if cured.count(kind) != 1:
            times = "no repair" if kind not in cured else "more than one repair"
            said.add(f"repair: {times} cures {kind}, and one must")
    figures = {name: said.number(top, "costs", name, least=0.0) for name in _FIGURES}
    if "labour_per_hour" in top and not figures["labour_per_hour"] > 0.0:
        said.add("costs.labour_per_hour must be more than 0")
    currency = said.text(top, "costs", "currency")
    said.raise_if_any()
    return Costs(currency=currency, repairs=repairs, **figures)


def _repair(
    key: str, value: object, kinds: Sequence[str], opened: Sequence[str], said: Complaints
) -> Repair:
    where = f"repair.{key}"
    group = said.group(value, where, ("name", "cures", "money", "minutes", "access"), ("part",))
    part = said.text(group, where, "part")
    if part:
        said.word(part, f"{where}.part", PULLEY_PARTS)
    cures = said.texts(group, where, "cures")
    for kind in cures:
        said.word(kind, f"{where}.cures", kinds)
        if part and part_kind(kind.partition(".")[0]) != part:
            said.add(f'{where}.cures: "{kind}" is not on the {part}')
    access = said.texts(group, where, "access")
    for word in access:
        said.word(word, f"{where}.access", opened)
    return Repair(
        key,
        said.text(group, where, "name"),
        part,
        cures,
        said.number(group, where, "money", least=0.0),
        said.number(group, where, "minutes", least=0.0),
        access,
    )


def repairs_for(costs: Costs, suspects: Sequence[Suspect]) -> tuple[Repair, ...]:
    """The repairs of one car by suspect ids; then releasing it, then handing it over.

    `suspects` are those of the car, as `all_suspects_for` gives them. Two faults at once stand in
    no repair: they are ended when the repairs of both members are done.
    """
    single = [suspect for suspect in suspects if suspect.fault and not suspect.members]
    found: list[Repair] = []
    for repair in costs.repairs:
        mine = [suspect for suspect in single if suspect.kind in repair.cures]
        for part in dict.fromkeys(suspect.part for suspect in mine if repair.part):
            number = part.removeprefix(repair.part)
            found.append(
                Repair(
                    repair.id + number,
                    f"{repair.name} no. {number[1:]}" if number else repair.name,
                    part,
                    tuple(suspect.id for suspect in mine if suspect.part == part),
                    repair.money,
                    repair.minutes,
                    repair.access,
                )
            )
        if mine and not repair.part:
            found.append(
                Repair(
                    repair.id,
                    repair.name,
                    "",
                    tuple(suspect.id for suspect in mine),
                    repair.money,
                    repair.minutes,
                    repair.access,
                )
            )
    release = Repair(RELEASE, "give the car back: nothing is wrong", "", (HEALTHY,), 0.0, 0.0, ())
    hand_over = Repair(
        HAND_OVER, "have it looked into further", "", (OTHER,), costs.hand_over, 0.0, ()
    )
    return (*found, release, hand_over)
