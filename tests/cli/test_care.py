"""The command `beltside check`, as it is called: what it says and its exit status."""

from __future__ import annotations

import json
import re
import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parents[1] / "casework"))

from proof_jobs import full_job

from beltside.casework.shop import open_shop, sheet_of
from beltside.cli.main import main


def run(*words: str) -> int:
    with pytest.raises(SystemExit) as ended:
        main(words)
    return int(str(ended.value.code or 0))


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    with open_shop(tmp_path / "shop") as shop:
        full_job(shop)
    return tmp_path / "shop"


def hurt(folder: Path) -> str:
    with open_shop(folder) as shop:
        sha256 = str(sheet_of(shop, "1").of_kind("photo")[0].body["file"])
        shop.files.path(sha256).write_bytes(b"nothing")
    return sha256


def test_whole_gives_0(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run("check", "--folder", str(folder)) == 0
    assert "3 stored files read.\nThe record is whole." in capsys.readouterr().out


def test_damage_gives_1_and_names_it(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    sha256 = hurt(folder)
    assert run("check", "--folder", str(folder)) == 1
    out = capsys.readouterr().out
    assert f"The stored file {sha256[:12]} (image/png) is damaged." in out
    assert "It is the photo pump.png of job 1." in out
    assert "--rescue-into" in out
    assert run("check", "--folder", str(folder), "--json") == 1
    told = json.loads(capsys.readouterr().out)
    assert told["whole"] is False
    assert [one["name"] for one in told["problems"]] == [sha256]


def test_rescued(folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    hurt(folder)
    to = str(tmp_path / "new")
    assert run("check", "--folder", str(folder), "--rescue-into", to) == 0
    assert "1 job, " in capsys.readouterr().out
    assert run("check", "--folder", to) == 1, "the photo is still missing there"
    assert run("check", "--folder", str(folder), "--rescue-into", to) == 2


def test_a_damaged_database(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = folder / "shop.db"
    content = bytearray(path.read_bytes())
    content[8192:-4096] = b"\x5a" * (len(content) - 8192 - 4096)
    path.write_bytes(content)
    assert run("check", "--folder", str(folder)) == 1
    said = capsys.readouterr()
    assert "damaged" in said.out + said.err


def test_no_record(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run("check", "--folder", str(tmp_path)) == 2
    assert "There is no record in" in capsys.readouterr().err


def test_every_option_is_on_its_page(capsys: pytest.CaptureFixture[str]) -> None:
    page = (Path(__file__).parents[2] / "docs/usage/check.md").read_text("utf-8")
    assert run("check", "--help") == 0
    for option in set(re.findall(r"--[a-z][a-z-]+", capsys.readouterr().out)):
        assert option in page


# Search -------------------------------------------------------------------------------------------


def test_search_from_the_command_line(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Owner, plate without its spaces, and a slip of the finger; a word on no job."""
    for words in (["Anneke", "Vos"], ["TX41KL"], ["Annekke"], ["coolant-pump"]):
        assert run("job", "--folder", str(folder), "search", *words) == 0
        out = capsys.readouterr().out
        assert out.startswith("    1  closed"), words
    assert run("job", "--folder", str(folder), "search", "Anneke", "--json") == 0
    (job,) = json.loads(capsys.readouterr().out)["jobs"]
    assert job["where"][0]["kind"] == "owner"
    assert run("job", "--folder", str(folder), "search", "zzyzx") == 0
    assert "No job holds these words" in capsys.readouterr().out
    assert run("job", "--folder", str(folder), "search", " ") == 2
    assert "no word to search for" in capsys.readouterr().err
    assert run("job", "--folder", str(folder), "search", "x", "--limit", "900") == 2
    assert "1 to 200" in capsys.readouterr().err
