"""The table of costs: what is wrong is named, and each suspect has one repair."""

import copy

import boards
import pytest

from beltside.base.errors import InputError
from beltside.casework.shipped import catalogue, costs, costs_table
from beltside.suspects.catalogue import all_suspects_for
from beltside.suspects.costs import HAND_OVER, RELEASE, parse_costs, repairs_for


def changed(*path, to=None, drop=False):
    table = copy.deepcopy(costs_table())
    holder = table
    for step in path[:-1]:
        holder = holder[step]
    if drop:
        del holder[path[-1]]
    else:
        holder[path[-1]] = to
    return table


@pytest.mark.parametrize(
    ("table", "says"),
    [
        (changed("labour_per_hour", to=-1), "labour_per_hour is -1"),
        (changed("labour_per_hour", to=0), "more than 0"),
        (changed("labor_per_hour", to=1), 'nearest "labour_per_hour"'),
        (changed("hand_over", drop=True), "hand_over is missing"),
        (changed("currency", to=3), "currency must be text"),
        (changed("repair", "idler", drop=True), "no repair cures idler.bearing"),
        (changed("repair", "idler", "cures", to=["idler.baering"]), 'nearest "idler.bearing"'),
        (changed("repair", "idler", "cures", to=["fan.bearing"]), "is not on the idler"),
        (
            changed("repair", "belt", "cures", to=["belt.slip", "belt.damage", "idler.bearing"]),
            "more than one repair cures idler.bearing",
        ),
        (changed("repair", "idler", "access", to=["belt-of"]), 'nearest "belt-off"'),
        (changed("repair", "idler", "money", to="30"), "money must be a number"),
    ],
)  # fmt: skip
def test_what_is_wrong_is_named(table, says):
    with pytest.raises(InputError) as caught:
        parse_costs(table, catalogue())
    assert says in str(caught.value)
    assert "table of costs" in str(caught.value)


def test_each_numbered_part_has_its_own_repair():
    suspects = all_suspects_for(catalogue(), ["crank", "idler", "idler-2"])
    repairs = {repair.id: repair for repair in repairs_for(costs(), suspects)}
    assert repairs["idler"].cures == ("idler.bearing",)
    assert repairs["idler-2"].cures == ("idler-2.bearing",)
    assert repairs["idler-2"].name.endswith("no. 2")
    assert "coolant-pump" not in repairs
    assert list(repairs)[-2:] == [RELEASE, HAND_OVER]


def test_a_minute_costs_its_share_of_an_hour():
    made, _ = boards.small_board([1.0], {"look": [[0.5, 0.5]] * 3})
    assert boards.small_costs(made, [10.0], labour_per_hour=90.0).per_minute == 1.5
