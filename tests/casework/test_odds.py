"""Findings through the use cases: odds, next step, asking, learning, own files."""

import json

import pytest

from beltside.base.errors import InputError
from beltside.casework import learned
from beltside.casework.ask import Asking
from beltside.casework.find import find
from beltside.casework.own import tables

PULLEYS = ("crank", "coolant-pump", "alternator", "idler", "tensioner")


@pytest.fixture(autouse=True)
def folder(tmp_path, monkeypatch):
    """Own files of nobody but the test."""
    own = tmp_path / "own"
    monkeypatch.setenv("BELTSIDE_FOLDER", str(own))
    return own


@pytest.fixture
def case(tmp_path):
    (tmp_path / "drive.toml").write_text(
        "[engine]\ncylinders = 4\n"
        + "".join(f"[[pulley]]\npart = '{part}'\ndiameter_mm = 100\n" for part in PULLEYS)
    )
    path = tmp_path / "case.toml"
    path.write_text("drive = 'drive.toml'\n")
    return path


def write(case, *findings, top=""):
    text = f"drive = 'drive.toml'\n{top}\n"
    for check, part, outcome in findings:
        text += f"[[finding]]\ncheck = '{check}'\noutcome = '{outcome}'\n"
        text += f"part = '{part}'\n" if part else ""
    case.write_text(text)
    return case


SPIN = ("spin-by-hand", "coolant-pump", "rough")
WEEP = ("weep-hole", "coolant-pump", "marks")
OFF = ("belt-off-run", "", "noise-gone")


def test_a_finding_of_each_kind_and_three_next_checks(case):
    result = find(write(case, SPIN, WEEP, ("water-mist", "", "not-sure")))
    value = result.to_json()
    assert sum(one["probability"] for one in value["suspects"]) == pytest.approx(1.0)
    assert value["suspects"][0]["id"].startswith("coolant-pump.")
    ids = [one["id"] for one in value["suspects"]]
    assert "coolant-pump.seal+coolant-pump.bearing" in ids
    assert {"none", "other"} <= set(ids)
    assert [one["number"] for one in value["findings"]] == [1, 2, 3]
    assert value["findings"][2]["bits"] == 0.0
    assert len(value["next_checks"]) <= 3
    for check in value["next_checks"]:
        assert check["hazard"]
        assert check["cautions"]
        assert (check["check"], check["part"]) not in {(c, p) for c, p, _ in (SPIN, WEEP)}
        assert check["worth"] > 0.0


def test_no_finding_moves_the_odds_of_the_same_case_by_order(case):
    one = find(write(case, SPIN, WEEP, OFF)).to_json()["suspects"]
    other = find(write(case, OFF, SPIN, WEEP)).to_json()["suspects"]
    first = {each["id"]: each["probability"] for each in one}
    assert {each["id"]: each["probability"] for each in other} == pytest.approx(first, abs=1e-6)


def test_without_a_finding(case):
    write(case, SPIN, WEEP, OFF)
    whole, less = find(case), find(case, without=[2])
    assert [one.number for one in less.findings] == [1, 3]
    said = dict(whole.findings[1].without)
    odds = {one.id: one.probability for one in less.suspects}
    for suspect, share in said.items():
        assert odds[suspect] == pytest.approx(share)
    with pytest.raises(InputError, match="1 to 3"):
        find(case, without=[4])


def test_contradicting_findings_are_named(case):
    result = find(write(case, OFF, ("belt-off-run", "", "noise-stays")))
    (one,) = result.contradictions
    assert one.findings == (1, 2)
    assert "again" in one.says
    assert any("2 times" in warning for warning in result.warnings)
    assert find(write(case, SPIN, WEEP)).contradictions == ()


def test_sure_enough_it_says_stop(case):
    found = [SPIN, WEEP, ("coolant-level", "coolant-pump", "low"), OFF,
             ("wiggle", "coolant-pump", "play"), ("probe-housing", "coolant-pump", "loud"),
             ("ear-tube", "coolant-pump", "here")]  # fmt: skip
    result = find(write(case, *found))
    assert result.next_checks == ()
    assert (result.next_step.do, result.next_step.what) == ("replace", "coolant-pump")
    assert result.next_step.says.startswith("Stop checking: replace the coolant pump")


def test_a_repair_that_did_not_cure_is_out(case):
    result = find(write(case, SPIN, top='replaced = ["coolant-pump"]'))
    odds = {one.id: one.probability for one in result.suspects}
    assert odds["coolant-pump.bearing"] == 0.0
    assert odds["belt.slip+coolant-pump.seal"] > 0.0
    assert sum(odds.values()) == pytest.approx(1.0)
    json.dumps(result.to_json(), allow_nan=False)
    (one,) = result.findings
    assert "coolant-pump.bearing" not in dict(one.without)


def test_conditions_that_fail_are_heeded(case):
    top = "[conditions]\nengine-runs = false\nbelt-may-come-off = false\n"
    result = find(write(case, SPIN, top=top))
    for check in result.next_checks:
        assert "Engine running" not in check.hazard
        assert "With the belt off" not in check.how


@pytest.mark.parametrize(
    ("top", "says"),
    [
        ("[conditions]\nengine-clod = true", '"engine-cold"'),
        ("replaced = ['idlr']", '"idler"'),
        ("replaced = ['fan-clutch']", "is not a repair of this car"),
        ("[costs]\nlabor_per_hour = 3", '"labour_per_hour"'),
        ("[costs.repair.idler]\nmoney = -3", "money is -3"),
    ],
)
def test_words_that_are_off_are_named(case, top, says):
    with pytest.raises(InputError) as caught:
        find(write(case, SPIN, top=top + "\n"))
    assert says in str(caught.value)


@pytest.mark.parametrize(
    ("finding", "says"),
    [
        (("spin-by-hnad", "idler", "rough"), "finding 1"),
        (("spin-by-hand", "idler", "ruogh"), '"rough"'),
        (("spin-by-hand", "fan", "rough"), "coolant-pump, alternator, idler, tensioner"),
    ],
)
def test_findings_that_cannot_be_are_named(case, finding, says):
    with pytest.raises(InputError) as caught:
        find(write(case, finding))
    assert says in str(caught.value)


class TestAsking:
    def test_each_answer_is_in_the_file_at_once(self, case):
        session = Asking.open(case)
        step = session.result().next_step
        question = session.question(step.what, step.part)
        session.answer(question, question.outcomes[-1].word)
        assert f'check = "{step.what}"' in case.read_text()
        assert len(session.findings) == 1
        again = Asking.open(case)
        assert [one.outcome for one in again.findings] == [question.outcomes[-1]]
        assert session.result().to_json()["suspects"] == again.result().to_json()["suspects"]

    def test_what_was_asked_is_not_asked_again(self, case):
        session = Asking.open(case)
        asked = set()
        for _ in range(6):
            step = session.result().next_step
            if step.do != "check":
                break
            assert (step.what, step.part) not in asked
            asked.add((step.what, step.part))
            session.answer(session.question(step.what, step.part), "not-sure")
        assert len(asked) == 6

    def test_a_wrong_word_changes_nothing(self, case):
        session = Asking.open(case)
        before = case.read_text()
        with pytest.raises(InputError, match="rough"):
            session.answer(session.question("spin-by-hand", "idler"), "ruogh")
        with pytest.raises(InputError, match="idler"):
            session.question("spin-by-hand")
        assert case.read_text() == before

    def test_taking_back(self, case):
        session = Asking.open(write(case, SPIN))
        before = session.result().to_json()["suspects"]
        session.answer(session.question("weep-hole"), "marks")
        taken = session.take_back()
        assert taken.check.id == "weep-hole"
        assert session.result().to_json()["suspects"] == before
        with pytest.raises(InputError, match="1 to 1"):
            session.take_back(2)
        session.take_back(1)
        with pytest.raises(InputError, match="no finding"):
            session.take_back()


class TestLearned:
    def test_a_closed_job_moves_the_odds_and_is_told(self, case):
        write(case, SPIN, OFF)
        before = {one.id: one.probability for one in find(case).suspects}
        result = learned.add(case, "coolant-pump.bearing", True)
        assert (result.jobs, result.cured) == (1, 1)
        after = find(case)
        odds = {one.id: one.probability for one in after.suspects}
        assert odds["coolant-pump.bearing"] > before["coolant-pump.bearing"]
        assert any("learned from 1 closed job" in warning for warning in after.warnings)
        moved = {one.what: one for one in result.priors}
        assert moved["coolant-pump.bearing"].seen == 1.0

    def test_the_same_case_again_counts_once(self, case):
        write(case, SPIN)
        learned.add(case, "coolant-pump.bearing", False)
        result = learned.add(case, "coolant-pump.impeller", True)
        assert (result.jobs, result.cured) == (1, 1)
        assert "already" in result.notes[0]

    def test_export_merge_and_reset(self, case, tmp_path, folder, monkeypatch):
        write(case, SPIN)
        learned.add(case, "coolant-pump.bearing", True)
        target = tmp_path / "out.json"
        assert learned.export(target) == 1
        with pytest.raises(InputError, match="there already"):
            learned.export(target)
        monkeypatch.setenv("BELTSIDE_FOLDER", str(tmp_path / "other-shop"))
        assert learned.show().jobs == 0
        assert learned.merge(target).jobs == 1
        assert learned.merge(target).jobs == 1
        aside = learned.reset()
        assert aside is not None
        assert aside.is_file()
        assert learned.show().jobs == 0
        assert learned.reset() is None
        with pytest.raises(InputError, match="nothing has been learned"):
            learned.export(tmp_path / "none.json")

    def test_nothing_of_the_customer_is_kept(self, tmp_path, case, folder):
        named = case.with_name("Mrs-Hazel-Brook.toml")
        write(named, SPIN)
        learned.add(named, "coolant-pump.bearing", True)
        kept = (folder / "learned.json").read_text()
        assert "Hazel" not in kept
        assert str(tmp_path) not in kept
        (job,) = json.loads(kept)["jobs"]
        assert set(job) == {"id", "parts", "replaced", "cured", "findings"}

    @pytest.mark.parametrize(
        "text",
        ["", "{}", "[1]", '{"beltside_learned": 2, "shop": "0123456789abcdef", "jobs": []}',
         '{"beltside_learned": 1, "shop": "../x", "jobs": []}', "[" * 5000],
    )  # fmt: skip
    def test_a_spoilt_file_is_refused_and_nothing_changes(self, tmp_path, folder, case, text):
        write(case, SPIN)
        learned.add(case, "coolant-pump.bearing", True)
        before = (folder / "learned.json").read_bytes()
        spoilt = tmp_path / "spoilt.json"
        spoilt.write_text(text)
        with pytest.raises(InputError, match="no file of closed jobs"):
            learned.merge(spoilt)
        assert (folder / "learned.json").read_bytes() == before

    def test_a_suspect_this_car_lacks_is_refused(self, case, folder):
        write(case, SPIN)
        with pytest.raises(InputError, match=r"coolant-pump\.bearing"):
            learned.add(case, "coolant-pump.baering", True)
        assert not (folder / "learned.json").exists()


class TestOwnFiles:
    def test_a_check_and_costs_of_ones_own(self, folder, case):
        folder.mkdir()
        (folder / "catalogue.toml").write_text(
            "[check.cap-pressure]\nleave_out = true\n[check.spin-by-hand]\nminutes = 9\n"
        )
        (folder / "costs.toml").write_text("labour_per_hour = 120\n")
        own = tables()
        assert own.catalogue.check("spin-by-hand").minutes == 9
        assert all(check.id != "cap-pressure" for check in own.catalogue.checks)
        assert own.costs.per_minute == 2.0
        assert tables({"labour_per_hour": 60}).costs.per_minute == 1.0
        assert len([note for note in find(write(case, SPIN)).warnings if "your own" in note]) == 2

    def test_what_is_wrong_in_it_is_named_with_its_file(self, folder):
        folder.mkdir()
        (folder / "catalogue.toml").write_text("[check.spin-by-hand]\nminuets = 9\n")
        with pytest.raises(InputError, match=r"catalogue\.toml.*minutes"):
            tables()
        (folder / "catalogue.toml").unlink()
        (folder / "costs.toml").write_text("wages = 9\n")
        with pytest.raises(InputError, match=r"costs\.toml.*wages"):
            tables()
