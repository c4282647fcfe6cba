"""Learning on technicians whose true factors are known."""

import math

import numpy as np
import pytest

from beltside.base.errors import InputError
from beltside.teardown.learning import Logged, learn

STEPS = [(f"thing-{n}", phase) for n in range(8) for phase in ("apart", "refit")]


def technician(seed, jobs, general=0.2, of_step=0.2, odd=None):
    """Logs of one technician, and his true factors."""
    rng = np.random.default_rng(seed)
    own = rng.normal(0.0, general)
    true = {step: math.exp(own + rng.normal(0.0, of_step)) for step in STEPS}
    logs = []
    for number in range(jobs):
        day = math.log(3.0) if number == odd else rng.normal(0.0, 0.1)
        for thing, phase in STEPS:
            minutes = 10.0 * true[thing, phase] * math.exp(day + rng.normal(0.0, 0.15))
            logs.append(Logged("a", f"job-{number}", thing, phase, 10.0, minutes))
    return logs, true


def error(learned, true):
    return np.mean([
        abs(math.log(learned.factor("a", *step) / factor)) for step, factor in true.items()
    ])  # fmt: skip


def test_without_logs_the_plan_stands():
    assert learn([]).factor("a", "belt", "apart") == 1.0


def test_five_jobs_make_the_forecast_better_and_three_already_help():
    before, three, five = [], [], []
    for seed in range(12):
        logs, true = technician(seed, 5)
        before.append(error(learn([]), true))
        three.append(error(learn(logs[: 3 * len(STEPS)]), true))
        five.append(error(learn(logs), true))
    assert np.mean(three) < 0.7 * np.mean(before)
    assert np.mean(five) < np.mean(three)


def test_one_odd_day_ruins_nothing():
    clean, odd = [], []
    for seed in range(8):
        logs, true = technician(seed, 5)
        clean.append(error(learn(logs), true))
        logs, true = technician(seed, 5, odd=2)
        odd.append(error(learn(logs), true))
    assert np.mean(odd) < np.mean(clean) + 0.06


def test_a_step_logged_once_is_pulled_only_part_of_the_way():
    logs = [Logged("a", "one", "belt", "apart", 10.0, 20.0)]
    assert 1.05 < learn(logs).factor("a", "belt", "apart") < 1.8


def test_a_step_never_logged_takes_the_technicians_own_pace():
    logs, _ = technician(3, 5, general=0.0, of_step=0.0)
    slow = [Logged("a", o.job, o.thing, o.phase, 10.0, o.minutes * 1.5) for o in logs]
    assert learn(slow).factor("a", "elsewhere", "apart") == pytest.approx(1.5, rel=0.15)


def test_another_technician_is_not_taken_for_the_first():
    logs, _ = technician(3, 5, general=0.0, of_step=0.0)
    slow = [Logged("b", o.job, o.thing, o.phase, 10.0, o.minutes * 2.0) for o in logs]
    learned = learn([*logs, *slow])
    assert learned.factor("b", "thing-1", "apart") > 1.5 * learned.factor("a", "thing-1", "apart")


@pytest.mark.parametrize("minutes", [0.0, -3.0, 900.0, 0.1])
def test_slips_of_the_pen_are_refused(minutes):
    with pytest.raises(InputError, match="belt"):
        learn([Logged("a", "one", "belt", "apart", 10.0, minutes)])
