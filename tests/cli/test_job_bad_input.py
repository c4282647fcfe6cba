"""Every `job` command with a wrong field: told in plain words which, what was given and what is
allowed; exit code 2; and nothing on the job is changed."""

from __future__ import annotations

import shlex
import sys
from pathlib import Path

import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).parents[1] / "casework"))

from proof_jobs import full_job

from beltside.casework.shop import open_shop
from beltside.casework.shop_case import case_of
from beltside.cli.main import main
from beltside.media import write_recording


def run(words: str, folder: Path) -> int:
    with pytest.raises(SystemExit) as ended:
        main(["job", "--folder", str(folder), *shlex.split(words)])
    return int(str(ended.value.code or 0))


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("shop")
    (folder / "bad.toml").write_text("[engine]\ncylinders = 40\n")
    (folder / "broken.toml").write_text("name = \n")
    (folder / "text.txt").write_text("no recording")
    with open_shop(folder) as shop:
        full_job(shop)
        shop.record.new_job([("complaint", {"words": "hums"})], by="Ida")
    return folder


WRONG = [
    # command; what must be said
    ("show 99", ["no job 99"]),
    ("show abc", ["no job abc"]),
    ("list --which some", ['"some"', "open, closed or all"]),
    ("list --stage party", ['"party" is not a stage', "complaint"]),
    ("list --limit 0", ["0 jobs", "1 to 1000"]),
    ("new", ["say what the owner says"]),
    ("search ' '", ["no word"]),
    ("similar 1 9", ['no take "9"', "1: before.m4a"]),
    ("similar 1 --most 0", ["0 nearest takes", "1 to 50"]),
    ("find 1 --without 7", ['no finding "7"', "1 to 1"]),
    ("take 1 nowhere.m4a", ["does not exist"]),
    ("take 1 {folder}", ["is a folder", "one file"]),
    ("listen 1 x", ['no take "x"', "before.m4a"]),
    ("finding 1 spinn-by-hand rough", ['"spinn-by-hand" is not a check', 'Try: "spin-by-hand"']),
    ("finding 1 spin-by-hand ruff coolant-pump", ['"ruff"', "smooth, rough"]),
    ("finding 1 spin-by-hand rough fan", ["spin-by-hand on fan", "alternator"]),
    (
        "finding 1 spin-by-hand rough coolant-pump --minutes -3",
        ["minutes: -3. Allowed: a number, 0 to 10000"],
    ),
    ("undo 1 7", ["no finding 7", "1 to 1"]),
    ("condition 1 engine-colt", ['"engine-colt"', "Try: engine-cold"]),
    ("check 1 spinn", ['"spinn" is not a check']),
    ("note 1 ' '", ["words: say what the note is"]),
    ("settings labour_per_hour=lots", ["labour_per_hour: is a number, such as 72.50"]),
    ("settings labour_per_hours=3", ["the nearest is labour_per_hour"]),
    ("settings labour", ["NAME=VALUE"]),
    ("sheet 1 {folder}/bad.toml", ["engine.cylinders: 40", "1, 2, 3, 4"]),
    ("sheet 1 {folder}/broken.toml", ["line 1", "not TOML"]),
    ("strum 1 {folder}/text.txt --between crank", ["1 pulley", "two pulleys"]),
    ("compare 1 x y", ['no take "x"']),
    ("coolant 1 foo", ['"foo"', "mix, adjust"]),
    ("coolant 1 mix freezin=3", ["freezin", "freezing_c"]),
    ("coolant 1 mix freezing_c=warm capacity_l=6", ['freezing_c: the temperature is "warm"']),
    ("hold 1 hello", ['"hello"', "TIME=PRESSURE"]),
    ("hold 2 --begin --given cap=hot", ['"hot"', "108 kPa"]),
    ("bolts 2", ["no hole pattern is on this job yet"]),
    ("bolts 1 pump {folder}/bad.toml", ["hole: this key is missing"]),
    ("torque 2", ["nothing says which fastener"]),
    ("torque 1 pump --number 900 --nm 10", ["number: 900", "a whole number, 1 to 200"]),
    ("torque 1 pump --number 1 --nm -10", ["torque_nm: -10", "a number above 0"]),
    ("plan 1 pump", ['no template called "pump"', "coolant-pump", "thermostat"]),
    ("plan 1 coolant-pump --least fast", ['"fast"', "expected, sure, tools"]),
    ("plan 1 coolant-pump --repair foo", ['no repair called "foo"', "coolant-pump"]),
    ("tick 2", ["no plan on this job"]),
    ("estimate 2", ["no plan on this job", "making the plan first"]),
    ("agree 2 1 --name Vos", ["no estimate"]),
    ("part 1 ' '", ["name: say what went in"]),
    ("part 1 belt --quantity -1", ["quantity: -1", "a number above 0, up to 1000000"]),
    ("part 1 belt --price ten", ['price: "ten"', "an amount such as 84.50"]),
    ("close 2 --cause pump", ['"pump" is not a suspect of this car', "coolant-pump.bearing"]),
    ("close 2 --cause coolant-pump.bearing --charged much", ['charged: "much"', "such as 84.50"]),
    ("reopen 2", ["job 2 is open"]),
    ("reopen 2 --comeback words", ["job 2 is still open"]),
    ("history 55", ["no job 55"]),
    ("restore-version 1 nothing", ["no entry nothing", "history"]),
    ("remove 1 nothing", ["no entry nothing"]),
    ("remind 1 look --due tomorrow", ["due: is a day, such as 2027-03-31"]),
    ("remind 1 look", ["a day or an odometer reading"]),
    ("remind 1 look --due-km -4", ["due_km: -4", "0 to 5000000"]),
    ("reminders --done nothing", ["no entry nothing"]),
]


@pytest.mark.parametrize(("words", "says"), WRONG, ids=[words[:40] for words, _ in WRONG])
def test_a_wrong_field_is_told_and_nothing_changed(
    words: str, says: list[str], folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    with open_shop(folder) as shop:
        before = [len(shop.record.changes(job.id)) for job in shop.record.jobs()]
    assert run(words.replace("{folder}", str(folder)), folder) == 2
    told = capsys.readouterr().err
    for piece in says:
        assert piece in told
    assert "Traceback" not in told
    assert "Input should" not in told
    with open_shop(folder) as shop:
        assert [len(shop.record.changes(job.id)) for job in shop.record.jobs()] == before


def test_wrong_kinds_of_file(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The work fails: exit code 1; the file's own name is said, and nothing is kept of it."""
    text = folder / "text.txt"
    with open_shop(folder) as shop:
        kept = set(shop.files.names())
    for words, says in (
        (f"take 1 {text}", "This is text, no recording"),
        (f"strum 1 {text}", "This is text, no recording"),
        (f"photo 1 {text}", "text.txt is no picture"),
        (f"match 1 {text} {text}", "text.txt is no picture"),
    ):
        assert run(words, folder) == 1, words
        assert says in capsys.readouterr().err
    with open_shop(folder) as shop:
        assert set(shop.files.names()) == kept


def test_one_wrong_field_of_a_new_job_and_of_a_take_and_the_rest_is_kept(
    folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run("new hums --engine lukewarm --car Tarn", tmp_path) == 2
    out = capsys.readouterr().out
    assert "Job 1 opened." in out
    assert 'Not kept, engine: "lukewarm". Allowed: "cold", "hot", "both", or nothing.' in out
    with open_shop(tmp_path) as shop:
        kept = {
            entry.kind: entry.body for entry in shop.record.sheet(shop.record.job(1).id).entries
        }
    assert kept["complaint"]["words"] == "hums"
    assert kept["car"]["name"] == "Tarn"


def test_a_take_with_a_wrong_condition_is_put_right_by_keeping_it_again(
    folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A slip of the finger must not cost the take with the belt off its say in the odds."""
    write_recording(tmp_path / "off.wav", np.zeros(48_000, dtype=np.float32), 16_000)
    assert run("new hums", tmp_path) == 0
    assert run(f"take 1 {tmp_path / 'off.wav'} --belt of", tmp_path) == 2
    out = capsys.readouterr().out
    assert "off.wav kept on job 1: belt not known, at the front of the engine." in out
    assert 'Not kept, belt: "of"' in out
    assert "by keeping the same recording again" in out
    assert run(f"take 1 {tmp_path / 'off.wav'} --belt off --place 'water pump'", tmp_path) == 0
    out = capsys.readouterr().out
    assert "the same recording as off.wav; it counts once, as said last" in out
    assert 'did you mean "coolant-pump"?' in out
    assert run(f"take 1 {tmp_path / 'off.wav'} --belt off --place 'coolant pump'", tmp_path) == 0
    assert "did you mean" not in capsys.readouterr().out
    with open_shop(tmp_path) as shop:
        job = shop.record.sheet(shop.record.job(1).id)
        (counts,) = case_of(shop, job).takes
        assert (counts.belt, counts.part) == ("off", "coolant-pump")
        assert "off.wav (2) is the same recording as off.wav (3), which counts" in "\n".join(
            case_of(shop, job).missing
        )
    assert run(f"take 1 {tmp_path / 'off.wav'} --after", tmp_path) == 0
    with open_shop(tmp_path) as shop:
        job = shop.record.sheet(shop.record.job(1).id)
        assert case_of(shop, job).takes == (), "after the repair it says nothing of the fault"


def test_an_option_behind_its_command_is_told_where_it_goes(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The parser's own guess for `--folder` would be `--owner`."""
    with pytest.raises(SystemExit) as ended:
        main(["job", "new", "--folder", str(folder), "hums"])
    assert ended.value.code == 2
    told = capsys.readouterr().err
    assert "--folder goes before the command: beltside job --folder ... new" in told
    assert "--owner" not in told


def test_help_has_no_programmers_words(capsys: pytest.CaptureFixture[str]) -> None:
    for words in ("new", "take", "settings"):
        with pytest.raises(SystemExit):
            main(["job", words, "--help"])
        told = capsys.readouterr().out
        assert "<str>" not in told
        assert "list[" not in told
