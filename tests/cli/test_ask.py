"""`beltside find --ask` and `beltside learned` as a person types them."""

from __future__ import annotations

import io
import json
import sys
import tomllib
from pathlib import Path

import pytest

from beltside.cli.main import main


@pytest.fixture(autouse=True)
def own_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("BELTSIDE_FOLDER", str(tmp_path / "own"))


@pytest.fixture
def case(tmp_path: Path) -> Path:
    (tmp_path / "drive.toml").write_text(
        "[engine]\ncylinders = 4\n[[pulley]]\npart = 'crank'\ndiameter_mm = 138\n"
        "[[pulley]]\npart = 'coolant-pump'\ndiameter_mm = 110\n"
        "[[pulley]]\npart = 'idler'\ndiameter_mm = 70\n"
    )
    path = tmp_path / "case.toml"
    path.write_text("drive = 'drive.toml'  # the Tarn\n")
    return path


def typed(monkeypatch: pytest.MonkeyPatch, *lines: str) -> None:
    monkeypatch.setattr(sys, "stdin", io.StringIO("".join(f"{line}\n" for line in lines)))


def run(*arguments: str) -> int:
    with pytest.raises(SystemExit) as ended:
        main(arguments)
    assert isinstance(ended.value.code, int)
    return ended.value.code


def findings(case: Path) -> list[dict[str, str]]:
    found: list[dict[str, str]] = tomllib.loads(case.read_text()).get("finding", [])
    return found


def test_answers_are_kept_as_they_are_typed(
    case: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    typed(monkeypatch, "c spin-by-hand coolant-pump", "rough", "1", "n", "s", "q")
    assert run("find", "--ask", str(case)) == 0
    out = capsys.readouterr().out
    kept = findings(case)
    assert kept[0] == {"check": "spin-by-hand", "part": "coolant-pump", "outcome": "rough"}
    assert [one["outcome"] for one in kept[2:]] == ["not-sure", "not-done"]
    assert len({(one["check"], one.get("part")) for one in kept}) == 4
    assert "Caution: " in out
    assert "Stopped: all answers so far are in case.toml." in out
    assert "# the Tarn" in case.read_text()


def test_taking_back_and_mistyping_lose_nothing(
    case: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    typed(
        monkeypatch,
        "b", "9", "ruogh", "b x", "c spinn", "h", "c weep-hole", "marks", "c", "b",
    )  # fmt: skip
    assert run("find", "--ask", str(case)) == 0
    written = capsys.readouterr()
    assert findings(case) == []
    assert 'taken back: check = "weep-hole"' in case.read_text()
    assert "there is no finding to take back" in written.err
    assert "Taken back: Weep hole on the coolant pump, marks." in written.out
    assert '"spin-by-hand"' in written.err or "spin-on" in written.err
    assert "spin-by-hand idler" in written.out


def test_asking_goes_with_no_other_option(case: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run("find", "--ask", "--json", str(case)) == 2
    assert "--ask alone" in capsys.readouterr().err


def test_a_finding_left_out_for_once(case: Path, capsys: pytest.CaptureFixture[str]) -> None:
    case.write_text(
        case.read_text() + "[[finding]]\ncheck = 'weep-hole'\noutcome = 'marks'\n"
        "[[finding]]\ncheck = 'belt-off-run'\noutcome = 'noise-gone'\n"
    )
    before = case.read_text()
    assert run("find", "--json", "--without", "1", str(case)) == 0
    value = json.loads(capsys.readouterr().out)
    assert [one["number"] for one in value["findings"]] == [2]
    assert run("find", "--without", "3", str(case)) == 2
    assert "1 to 2" in capsys.readouterr().err
    assert run("find", str(case)) == 0
    out = capsys.readouterr().out
    assert "FINDINGS" in out
    assert "without it: " in out
    assert "NEXT STEP" in out
    assert case.read_text() == before


def test_learned_from_closing_to_reset(
    case: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    case.write_text(case.read_text() + "[[finding]]\ncheck = 'weep-hole'\noutcome = 'marks'\n")
    close = ("learned", "add", str(case), "--replaced")
    assert run(*close, "coolant-pump.seal", "--cured", "yes") == 0
    out = capsys.readouterr().out
    assert "1 closed job, 1 of them cured" in out
    assert "coolant-pump.seal" in out
    target = tmp_path / "mine.json"
    assert run("learned", "export", str(target), "--json") == 0
    assert json.loads(capsys.readouterr().out)["jobs"] == 1
    assert run("learned", "merge", str(target)) == 0
    assert "0 jobs added, 1 was known already" in capsys.readouterr().out
    assert run("learned", "show", "--json") == 0
    assert json.loads(capsys.readouterr().out)["jobs"] == 1
    assert run("learned", "reset", "--yes") == 0
    assert run("learned", "reset") == 0
    assert "shipped values hold" in capsys.readouterr().out


@pytest.mark.parametrize(("said", "code", "left"), [("y\n", 0, 0), ("\n", 0, 1), ("", 2, 1)])
def test_what_was_learned_is_set_aside_only_when_asked_and_answered(
    case: Path,
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
    said: str,
    code: int,
    left: int,
) -> None:
    case.write_text(case.read_text() + "[[finding]]\ncheck = 'weep-hole'\noutcome = 'marks'\n")
    run("learned", "add", str(case), "--replaced", "coolant-pump.seal", "--cured", "yes")
    monkeypatch.setattr(sys, "stdin", io.StringIO(said))
    assert run("learned", "reset") == code
    assert run("learned", "reset", "--json") == (2 if left else 0)
    capsys.readouterr()
    run("learned", "show", "--json")
    assert json.loads(capsys.readouterr().out)["jobs"] == left


@pytest.mark.parametrize(
    ("replaced", "cured", "says"),
    [("coolant-pump.sael", "yes", "coolant-pump.seal"), ("none", "perhaps", "yes or no")],
)
def test_a_job_closed_with_a_wrong_word(
    case: Path, capsys: pytest.CaptureFixture[str], replaced: str, cured: str, says: str
) -> None:
    case.write_text(case.read_text() + "[[finding]]\ncheck = 'weep-hole'\noutcome = 'marks'\n")
    assert run("learned", "add", str(case), "--replaced", replaced, "--cured", cured) == 2
    assert says in capsys.readouterr().err
