"""Limits: the rate holds, waiting as long as it says helps, memory is bounded."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from beltside.web.limits import Limit, PhoneLimits, Rate


class Clock:
    def __init__(self) -> None:
        self.at = 0.0

    def __call__(self) -> float:
        return self.at


@given(st.lists(st.floats(0.0, 30.0), max_size=60))
def test_no_more_pass_than_the_rate_allows(pauses: list[float]) -> None:
    """A closed form: in t seconds at most the size of the bucket and t times its rate."""
    clock = Clock()
    limit = Limit(Rate(5, 30), now=clock)
    passed = 0
    for pause in pauses:
        clock.at += pause
        passed += limit.take("one") == 0
        assert passed <= 5 + clock.at * 30 / 60 + 1e-6


def test_waiting_as_long_as_it_says_helps() -> None:
    clock = Clock()
    limit = Limit(Rate(2, 7), now=clock)
    while not (wait_s := limit.take("one")):
        pass
    assert wait_s == 9
    clock.at += wait_s
    assert limit.take("one") == 0


def test_each_has_his_own() -> None:
    limit = Limit(Rate(1, 1), now=Clock())
    assert limit.take("one") == 0
    assert limit.take("one") > 0
    assert limit.take("other") == 0


def test_memory_is_bounded() -> None:
    limit = Limit(Rate(1, 1), now=Clock(), most_keys=100)
    for number in range(10_000):
        limit.take(str(number))
    assert len(limit) == 100
    assert limit.take("9999") > 0


def test_one_who_guesses_codes_does_not_shut_the_others_out() -> None:
    limits = PhoneLimits(now=Clock())
    guessed = [limits.wait("10.0.0.66", "", changing=True, pairing=True) for _ in range(40)]
    assert guessed.count(0) == 5
    assert limits.wait("10.0.0.7", "", changing=True, pairing=True) == 0


def test_many_who_guess_are_stopped_together() -> None:
    limits = PhoneLimits(now=Clock())
    passed = sum(
        limits.wait(f"10.0.{n // 200}.{n % 200}", "", changing=True, pairing=True) == 0
        for n in range(500)
    )
    assert passed == 20
