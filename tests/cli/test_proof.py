"""The commands proof, export, import and jobs-csv, as they are called."""

from __future__ import annotations

import csv
import io
import json
import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parents[1] / "casework"))

from proof_jobs import full_job

from beltside.casework.shop import open_shop, write
from beltside.cli.main import main


def run(*words: str) -> int:
    with pytest.raises(SystemExit) as ended:
        main(words)
    return int(str(ended.value.code or 0))


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> str:
    monkeypatch.chdir(tmp_path)
    with open_shop(tmp_path / "shop") as shop:
        full_job(shop)
    return str(tmp_path / "shop")


def test_a_sheet_is_written_and_holds(folder: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert run("proof", "1", "--folder", folder) == 0
    assert Path("proof-1.pdf").read_bytes().startswith(b"%PDF-")
    assert "Not tested" in capsys.readouterr().out
    assert run("proof", "--verify", "proof-1.pdf", "--folder", folder) == 0
    assert capsys.readouterr().out.startswith("Genuine: job 1")
    assert run("proof", "1", "--folder", folder) == 2
    assert "there already" in capsys.readouterr().err


def test_an_altered_page_is_named_and_gives_1(
    folder: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run("proof", "1", "--html", "--out", "s.html", "--folder", folder, "--json") == 0
    told = json.loads(capsys.readouterr().out)
    assert told["sheet"]["digest"]
    page = Path("s.html")
    page.write_text(page.read_text("utf-8").replace("448.10", "148.10"), encoding="utf-8")
    assert run("proof", "--verify", "s.html", "--folder", folder) == 1
    out = capsys.readouterr().out
    assert out.startswith("NOT what the record says")
    assert "148.10" in out
    assert "448.10" in out


def test_the_code_alone(folder: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert run("proof", "1", "--folder", folder, "--json") == 0
    sheet = json.loads(capsys.readouterr().out)["sheet"]
    moment = sheet["made_at"].replace("+00:00", "Z")
    code = f"BELTSIDE PROOF 1 JOB 1 AT {moment} SHA-256 {sheet['digest'].upper()}"
    assert run("proof", "--verify", code, "--folder", folder, "--json") == 0
    assert json.loads(capsys.readouterr().out)["genuine"] is True
    assert run("proof", "--verify", code[:-1] + "g", "--folder", folder) == 2


def test_how_it_was_done_names_no_owner(folder: str) -> None:
    assert run("proof", "1", "--how", "--html", "--folder", folder) == 0
    text = Path("how-1.html").read_text("utf-8")
    assert "Drain the coolant" in text
    assert "Vos" not in text


@pytest.mark.parametrize(
    "words",
    [
        ["proof"],
        ["proof", "99"],
        ["proof", "1", "--verify", "x"],
        ["proof", "--verify", "no-such-file.pdf"],
        ["export", "x.zip", "99"],
        ["import", "no-such.zip"],
        ["jobs-csv", "--since", "2026-02-01", "--until", "2026-01-01"],
        ["jobs-csv", "--since", "yesterday"],
    ],
)
def test_bad_calls_give_2(
    folder: str, words: list[str], capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(*words, "--folder", folder) == 2
    assert "Traceback" not in capsys.readouterr().err


def test_out_and_in_again(folder: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert run("export", "all.zip", "--folder", folder) == 0
    assert run("import", "all.zip", "--folder", "second") == 0
    assert "Job 1 is here now as job 1." in capsys.readouterr().out
    assert run("import", "all.zip", "--folder", "second", "--json") == 0
    assert json.loads(capsys.readouterr().out)["jobs"][0]["how"] == "was there"
    assert run("export", "all.zip", "--folder", folder) == 2


def test_the_table(folder: str, capsys: pytest.CaptureFixture[str]) -> None:
    with open_shop(Path(folder)) as shop:
        write(shop, shop.record.job(1).id, "owner", {"name": "Żółć, A."})
    assert run("jobs-csv", "--folder", folder) == 0
    (row,) = csv.DictReader(io.StringIO(capsys.readouterr().out))
    assert row["owner"] == "Żółć, A."
    assert run("jobs-csv", "--out", "jobs.csv", "--folder", folder) == 0
    data = Path("jobs.csv").read_bytes()
    assert data.startswith(b"\xef\xbb\xbfjob,")
    assert data.endswith(b"\r\n")
    assert run("jobs-csv", "--out", "jobs.csv", "--folder", folder) == 2
