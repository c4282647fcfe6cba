"""The use cases of the coolant as a technician meets them: answers, warnings, refusals, JSON."""

from __future__ import annotations

import json
from collections.abc import Callable

import pytest

from beltside.base.errors import InputError
from beltside.casework.coolant_answer import CoolantAnswer
from beltside.casework.coolant_cap import cap_answer
from beltside.casework.coolant_change import adjust_answer, reuse_answer
from beltside.casework.coolant_hold import LiveHold, begun_at, hold_answer, hold_setup
from beltside.casework.coolant_mix import MixReading, mix_answer
from beltside.casework.coolant_work import clock_answer, drain_answer, fill_answer
from beltside.coolant.hold_readings import Reading

LEAKING = [Reading(0.5 * i, 107.0 - 3.0 * i) for i in range(11)]
TIGHT = [Reading(0.5 * i, 107.0 if i == 0 else 106.0) for i in range(21)]


def all_answers(us: bool = False) -> list[CoolantAnswer]:
    return [
        mix_answer(
            "ethylene",
            MixReading(freezing_c=-34.0),
            cap="1.1",
            altitude_m=500.0,
            thermostat_c=88.0,
            capacity_l=8.0,
            us=us,
        ),
        adjust_answer(
            "ethylene",
            capacity_l=8.0,
            stays_l=3.0,
            now_percent=35.0,
            target_percent=50.0,
            shelf=[(5.0, 24.5), (1.0, 7.0)],
            us=us,
        ),
        reuse_answer(family="OAT", age_years=2.0, ph=8.2),
        cap_answer("16", us=us),
        hold_answer(LEAKING, hold_setup(cap="1.1", gauge_step_kpa=1.0), us=us),
        fill_answer(drained_l=[5.5], poured_l=[5.0], us=us),
        clock_answer(1.6, coolant_l=6.0, start_c=20.0, us=us),
        drain_answer(5.0, 0.4, 8.0, us=us),
    ]


@pytest.mark.parametrize("us", [False, True])
def test_every_answer_is_whole(us: bool) -> None:
    for answer in all_answers(us):
        plain = answer.to_json()
        assert json.loads(json.dumps(plain, allow_nan=False)) == plain
        assert answer.headline.endswith(".")
        assert answer.cautions
        assert any("service data" in caution for caution in answer.cautions)
        assert plain["provenance"]["source"]
        text = answer.headline + "".join(row.value for row in answer.rows)
        if us and answer.topic not in ("reuse", "cap"):
            assert "°C" not in text


def test_the_same_figures_in_both_systems() -> None:
    for metric, us in zip(all_answers(), all_answers(us=True), strict=True):
        drop = {"headline", "warnings", "steps", "provenance"}
        assert {k: v for k, v in metric.to_json().items() if k not in drop} == {
            k: v for k, v in us.to_json().items() if k not in drop
        }


def test_mix_shows_both_readings_of_the_wrong_scale() -> None:
    unsure = mix_answer("ethylene", MixReading(freezing_c=-30.0))
    assert "propylene" in unsure.warnings[-1]
    wrong = mix_answer("propylene", MixReading(freezing_c=-30.0, scale="ethylene"))
    freezing = wrong.to_json()["freezing_c"]
    assert freezing["low"] <= freezing["value"] <= freezing["high"]
    assert freezing["value"] > -25.0
    assert "-30 °C" in wrong.warnings[0]


def test_mix_margin_over_the_thermostat() -> None:
    """Half and half by mass under 108 kPa boils at 129.65 °C (a maker's data sheet, 2008)."""
    answer = mix_answer("ethylene", MixReading(mass_percent=50.0), cap="108 kPa", thermostat_c=88.0)
    assert answer.to_json()["margin_k"] == pytest.approx(129.65 - 88.0, abs=0.1)
    thin = mix_answer("ethylene", MixReading(mass_percent=20.0), thermostat_c=95.0)
    assert any("thermostat" in warning for warning in thin.warnings)


@pytest.mark.parametrize(
    "reading",
    [
        MixReading(),
        MixReading(freezing_c=-30.0, volume_percent=50.0),
        MixReading(specific_gravity=1.07),
        MixReading(concentrate_l=3.0),
        MixReading(water_l=3.0),
        MixReading(freezing_c=-60.0),
    ],
)
def test_mix_refuses_none_several_and_half_a_reading(reading: MixReading) -> None:
    with pytest.raises(InputError):
        mix_answer("ethylene", reading)


def test_over_rich_says_thin_it() -> None:
    answer = mix_answer("ethylene", MixReading(volume_percent=95.0))
    assert "Thin it" in answer.headline
    assert answer.to_json()["freezing_c"]["value"] is None
    assert answer.picture is None


def test_cap_refuses_a_pressure_above_its_mark() -> None:
    with pytest.raises(InputError, match="above the cap's mark"):
        cap_answer("1.1", pressure_kpa=120.0)
    assert "never above" in cap_answer("1.1", pressure_kpa=107.0).headline


def test_adjust_says_what_the_owner_pays() -> None:
    answer = all_answers()[1]
    plan = answer.to_json()["plans"][0]
    assert plan["cost"] == pytest.approx(14.0)
    assert 0.0 < plan["cost_used"] <= plan["cost"]
    nothing = adjust_answer(
        "ethylene", capacity_l=8.0, stays_l=3.0, now_percent=50.0, target_percent=50.0
    )
    assert "nothing to do" in nothing.headline


def test_hold_verdicts() -> None:
    leaking = hold_answer(LEAKING, hold_setup(cap="1.1", gauge_step_kpa=1.0), seen=["drip"])
    plain = leaking.to_json()
    assert plain["verdict"] == "leaking"
    assert plain["probability_leaking"] > 0.95
    assert plain["leak_free_air_ml_min"] > plain["leak_ml_min"]["value"]
    assert "external" in leaking.because[0]
    setup = hold_setup(cap="1.1", gauge_step_kpa=1.0, strokes=9.0, stroke_ml=60.0)
    tight = hold_answer(TIGHT, setup).to_json()
    assert tight["verdict"] == "tight"
    assert tight["smallest_leak_ml_min"] < 5.0


def test_hold_tells_inside_from_outside_by_what_was_seen_only() -> None:
    setup = hold_setup(gauge_step_kpa=1.0)
    assert hold_answer(LEAKING, setup).because == ()
    assert "internal" in hold_answer(LEAKING, setup, seen=["milky-oil"]).because[0]
    assert "open" in hold_answer(LEAKING, setup, seen=["nothing"]).because[0]
    with pytest.raises(InputError, match="weep-hole"):
        hold_answer(LEAKING, setup, seen=["weephole"])


@pytest.mark.parametrize(
    ("make", "words"),
    [
        (
            lambda: hold_answer([Reading(i, 130.0 - i) for i in range(4)], hold_setup(cap="1.1")),
            "above the cap",
        ),
        (
            lambda: hold_answer([Reading(i, 50.0) for i in range(4)], hold_setup(cap="1.1")),
            "stays hidden",
        ),
        (
            lambda: hold_answer([Reading(i, (107, 104, 102, 107, 105)[i]) for i in range(5)]),
            "pumped again",
        ),
        (
            lambda: hold_answer(
                [Reading(0.5 * i, 108.3) for i in range(11)], hold_setup(gauge_step_kpa=0.1)
            ),
            "tap the gauge",
        ),
        (
            lambda: hold_answer(LEAKING, hold_setup(gauge_step_kpa=1.0, tester_kpa_min=5.0)),
            "mend the tester",
        ),
        (lambda: hold_answer(LEAKING), "the tester was not tried"),
        (lambda: hold_answer(begun_at(LEAKING, 80.0, 20.0)), "test cold"),
        (lambda: hold_answer(LEAKING), "no temperatures"),
        (lambda: hold_answer([Reading(0.0, 5.0), Reading(1.0, 5.0)]), "hardly any pressure"),
    ],
)
def test_hold_warns(make: Callable[[], CoolantAnswer], words: str) -> None:
    assert words in " ".join(make().warnings)


def test_a_hissing_adaptor_does_not_convict_the_car() -> None:
    setup = hold_setup(cap="1.1", gauge_step_kpa=1.0)
    answer = hold_answer(LEAKING, setup, seen=["adaptor-hiss"])
    assert answer.to_json()["verdict"] == "not yet known"
    assert "Mend that" in answer.headline


def test_one_reading_is_no_answer() -> None:
    answer = hold_answer([Reading(0.0, 108.0)])
    assert "one reading" in answer.headline
    assert answer.picture is None


def test_live_is_the_same_as_all_at_once_and_keeps_nothing_refused() -> None:
    setup = hold_setup(cap="1.1", gauge_step_kpa=1.0)
    live = LiveHold(setup)
    for one in LEAKING:
        last = live.add(one)
    assert last.to_json() == hold_answer(LEAKING, setup).to_json()
    with pytest.raises(InputError):
        live.add(Reading(0.1, 100.0))
    assert len(live.readings) == len(LEAKING)


def test_clock_says_that_the_short_end_counts() -> None:
    answer = clock_answer(1.6, coolant_l=6.0, start_c=20.0)
    plain = answer.to_json()
    assert 180.0 <= plain["limit_s"] <= 480.0
    assert plain["likely_s"] >= plain["limit_s"]
    assert any("short end" in row.note for row in answer.rows)
    assert "Stop now" in clock_answer(1.6, coolant_l=6.0, start_c=96.0).headline


def test_fill_says_what_is_missing() -> None:
    assert "still missing" in fill_answer(drained_l=[5.5], poured_l=[4.5]).headline
    assert "As much" in fill_answer(drained_l=[5.5], poured_l=[5.5]).headline
    assert "more went in" in fill_answer(drained_l=[3.0], poured_l=[5.5]).headline


def test_drain_with_the_cap_on_stops() -> None:
    plain = drain_answer(5.0, 0.4, 8.0).to_json()
    assert plain["cap_on_stops"]
    assert plain["cap_on_s"] is None
    assert plain["cap_off_nine_tenths_s"] < plain["cap_off_s"]


def test_reuse_gives_reasons_and_a_filter() -> None:
    plain = reuse_answer(looks=["oil-film"]).to_json()
    assert plain["advice"] == "renew"
    assert "oil" in plain["because"][0]
    assert plain["filter_mesh"] == [200, 100]


def test_a_hold_test_above_the_cap_says_so_first():
    pumped_high = [Reading(0.0, 107.0), Reading(1.0, 250.0)]
    answer = hold_answer(pumped_high, hold_setup(cap="1.1", gauge_step_kpa=1.0))
    assert answer.headline.startswith("Let pressure off at once")
