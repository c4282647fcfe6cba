"""Odds that learn: Dirichlet counts by hand, odd jobs, merging."""

import numpy as np
import pytest

from beltside.base.errors import InputError
from beltside.casework.shipped import catalogue
from beltside.suspects.board import board_for
from beltside.suspects.catalogue import check_done
from beltside.suspects.learning import (
    OTHERS_ROW_JOBS,
    PRIOR_JOBS,
    ROW_JOBS,
    ClosedJob,
    closed_job,
    counts,
    learned,
    merged_jobs,
    row_learned,
)
from beltside.suspects.posterior import posterior

PARTS = ("crank", "coolant-pump", "alternator", "idler", "idler-2")
ROUGH = (("spin-by-hand", "idler-2", "rough"),)


def job(number, replaced="idler-2.bearing", cured=True, shown=ROUGH, parts=PARTS):
    return ClosedJob(f"{number:08x}", parts, replaced, cured, shown)


def weight(made, word):
    return next(s.weight for s in (*made.suspects, *made.pairs) if s.id == word)


def test_nothing_learned_is_the_catalogue_itself():
    assert learned(catalogue(), []) is catalogue()


def test_the_shipped_catalogue_is_not_changed():
    before = weight(catalogue(), "idler.bearing")
    learned(catalogue(), [job(n) for n in range(10)])
    assert weight(catalogue(), "idler.bearing") == before


def test_a_row_is_the_mean_of_its_dirichlet_distribution():
    # Gelman et al., Bayesian Data Analysis (3rd ed. 2013), sec. 3.4: (a_i + n_i) / (A + n).
    taught = learned(catalogue(), [job(n) for n in range(10)])
    shipped = catalogue().check("spin-by-hand").likely["any.bearing"]
    now = taught.check("spin-by-hand").likely["any.bearing"]
    assert now["rough"] == pytest.approx((ROW_JOBS * shipped["rough"] + 10) / (ROW_JOBS + 10))
    assert now["smooth"] == pytest.approx(ROW_JOBS * shipped["smooth"] / (ROW_JOBS + 10))
    other = taught.check("spin-by-hand").likely["otherwise"]
    assert other == catalogue().check("spin-by-hand").likely["otherwise"]


def test_what_a_suspect_shows_on_its_own_part_is_its_own():
    # The catalogue has no row for an alternator's windings under the hand: it gets one.
    jobs = [
        job(n, "alternator.electrical", shown=(("spin-by-hand", "alternator", "rough"),))
        for n in range(20)
    ]
    likely = learned(catalogue(), jobs).check("spin-by-hand").likely
    shipped = catalogue().check("spin-by-hand").likely["otherwise"]
    assert likely["otherwise"] == shipped
    assert likely["alternator.electrical"]["rough"] == pytest.approx(
        (ROW_JOBS * shipped["rough"] + 20) / (ROW_JOBS + 20)
    )


def test_what_others_show_is_counted_against_many():
    jobs = [job(n, shown=(("spin-by-hand", "alternator", "rough"),)) for n in range(20)]
    likely = learned(catalogue(), jobs).check("spin-by-hand").likely
    shipped = catalogue().check("spin-by-hand").likely["otherwise"]
    assert likely["otherwise"]["rough"] == pytest.approx(
        (OTHERS_ROW_JOBS * shipped["rough"] + 20) / (OTHERS_ROW_JOBS + 20)
    )


def test_a_prior_is_the_dirichlet_mean_when_every_drive_has_every_part():
    parts = ("crank", "coolant-pump", "alternator", "idler", "tensioner", "ac-compressor",
             "steering-pump", "fan")  # fmt: skip
    jobs = [job(n, "fan.clutch", parts=parts, shown=()) for n in range(50)]
    taught = learned(catalogue(), jobs)
    everyone = (*catalogue().suspects, *catalogue().pairs)
    share = weight(catalogue(), "fan.clutch") / sum(s.weight for s in everyone)
    total = sum(s.weight for s in (*taught.suspects, *taught.pairs))
    expected = (PRIOR_JOBS * share + 50) / (PRIOR_JOBS + 50)
    assert weight(taught, "fan.clutch") / total == pytest.approx(expected)


def test_a_part_that_few_drives_have_is_judged_on_those():
    without_fan = [job(n, "belt.slip", parts=PARTS, shown=()) for n in range(100)]
    taught = learned(catalogue(), without_fan)
    assert weight(taught, "fan.clutch") == weight(catalogue(), "fan.clutch")
    assert weight(taught, "belt.slip") > weight(catalogue(), "belt.slip")


def test_a_job_not_cured_says_it_was_not_that():
    jobs = [job(n, cured=False) for n in range(20)]
    total = counts(catalogue(), jobs)
    assert (total.jobs, total.cured) == (20, 0)
    assert sum(total.seen.values()) == pytest.approx(20.0)
    assert total.rows == {}
    # The other idler is still in: its share goes up, not the one that was replaced.
    assert total.seen["coolant-pump.bearing"] > 0.0
    board = board_for(catalogue(), PARTS)
    found = [check_done(catalogue(), PARTS, *ROUGH[0])]
    odds = posterior(board, found)
    gone = [s.id for s in board.suspects].index("idler-2.bearing")
    kept = [s.id for s in board.suspects].index("idler.bearing")
    assert total.seen["idler.bearing"] == pytest.approx(20 * odds[kept] / (1 - odds[gone]))


def test_five_odd_jobs_do_not_throw_it_off():
    odd = [
        job(n, "alternator.electrical", shown=(("spin-by-hand", "alternator", "rough"),))
        for n in range(5)
    ]
    taught = learned(catalogue(), odd)
    found = [check_done(catalogue(), PARTS, "spin-by-hand", "coolant-pump", "rough")]
    before = posterior(board_for(catalogue(), PARTS), found)
    after = posterior(board_for(taught, PARTS), found)
    assert int(np.argmax(after)) == int(np.argmax(before))
    assert np.abs(after - before).max() < 0.05


def test_no_row_ever_says_never():
    row = row_learned({"smooth": 0.01, "rough": 0.99}, {"rough": 1e6})
    assert row["smooth"] >= 0.004
    assert sum(row.values()) == pytest.approx(1.0)


def test_merging_counts_each_job_once():
    mine, theirs = [job(1), job(2)], [job(2), job(3)]
    assert [one.id for one in merged_jobs(mine, theirs)] == ["00000001", "00000002", "00000003"]
    assert merged_jobs(merged_jobs(mine, theirs), theirs) == merged_jobs(mine, theirs)


def test_a_suspect_this_car_cannot_have_is_refused():
    with pytest.raises(InputError, match=r"idler\.bearing"):
        closed_job(catalogue(), "0" * 8, PARTS, "idler.baering", True, [])
    with pytest.raises(InputError, match="not a suspect of this car"):
        closed_job(catalogue(), "0" * 8, PARTS, "fan.clutch", True, [])


def test_only_what_told_something_is_kept():
    found = [
        check_done(catalogue(), PARTS, "spin-by-hand", "idler", "not-sure"),
        check_done(catalogue(), PARTS, "water-mist", None, "no-change"),
    ]
    kept = closed_job(catalogue(), "0" * 8, PARTS, "none", True, found)
    assert kept.shown == (("water-mist", "", "no-change"),)


def test_words_the_catalogue_no_longer_knows_are_left_out():
    jobs = [job(1, "idler-2.howl"), job(2, shown=(("sniff", "", "burnt"),))]
    total = counts(catalogue(), jobs)
    assert total.jobs == 1
    assert total.rows == {}
