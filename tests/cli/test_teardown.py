"""The commands under `beltside teardown`, as typed."""

import json

import pytest

from beltside.cli.main import main

PRICES = """
currency = "EUR"
labour_per_hour = "72.00"
tax_percent = "19"
"""


@pytest.fixture
def run(capsys, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "prices.toml").write_text(PRICES, encoding="utf-8")

    def call(*arguments):
        with pytest.raises(SystemExit) as ended:
            main(["teardown", *arguments])
        told = capsys.readouterr()
        return ended.value.code, told.out, told.err

    return call


def test_a_template_is_planned_without_naming_plan(run):
    code, out, _ = run("coolant-pump")
    assert code == 0
    assert "TAKING APART" in out
    assert "REFITTING" in out
    assert "done within" in out
    assert "Second-best way" in out


def test_plan_as_json_with_its_picture(run, tmp_path):
    code, out, _ = run("plan", "belt", "--json", "--pictures", "pictures")
    told = json.loads(out)
    assert code == 0
    assert told["steps"]
    assert (tmp_path / told["pictures"][0]).stat().st_size > 1000


def test_where_the_work_stands(run):
    code, out, _ = run("coolant-pump", "--done", "belt", "--blocked", "work-round-alternator")
    assert code == 0
    assert "earth lead off" in out


def test_lists_and_sheet(run, tmp_path):
    code, out, _ = run("lists", "coolant-pump", "--sheet", "sheet.txt")
    assert code == 0
    assert "10 mm socket" in out
    sheet = (tmp_path / "sheet.txt").read_text(encoding="utf-8")
    assert "[ ] 1." in sheet
    assert run("lists", "coolant-pump", "--sheet", "sheet.txt")[0] == 2


def test_from_estimate_to_agreement(run, tmp_path):
    code, out, _ = run("estimate", "coolant-pump", "--prices", "prices.toml", "--save", "o.json")
    assert code == 0
    assert "If a pump bolt snaps" in out
    code, out, _ = run("agree", "o.json", "--option", "1", "--name", "A. Owner", "--save", "a.json")
    assert code == 0
    assert "A. Owner agreed" in out
    assert json.loads((tmp_path / "a.json").read_text(encoding="utf-8"))["offer_sha256"]


def test_templates_are_listed_and_copied(run, tmp_path):
    code, out, _ = run("templates")
    assert code == 0
    assert "crank-damper" in out
    assert run("copy", "belt", "mine.toml")[0] == 0
    assert run("mine.toml", "--json")[0] == 0


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        (("coolant-pmp",), "coolant-pump"),
        (("missing.toml",), "not there"),
        (("coolant-pump", "--repair", "blet"), "belt"),
        (("coolant-pump", "--least", "effort"), "expected"),
        (("coolant-pump", "--blocked", "pump-pulley"), "conflict"),
        (("coolant-pump", "--coolant-litres", "6"), "source"),
        (("coolant-pump", "--coolant-litres", "600", "--coolant-source", "x"), "0.1 to 60"),
        (("estimate", "coolant-pump", "--prices", "none.toml"), "not there"),
        (("agree", "no.json", "--option", "1", "--name", "A", "--save", "b.json"), "not there"),
    ],
)
def test_a_call_that_is_off_says_what_would_work(run, arguments, told):
    code, _, err = run(*arguments)
    assert code == 2
    assert told in err
