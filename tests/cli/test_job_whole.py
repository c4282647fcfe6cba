"""A whole job from the terminal, from the first words to the closed record, by commands alone; its
record in a file and once more on a PostgreSQL server.

The car is drawn by the rig with a known fault, its recordings are phone files; after the repair it
is the same car without the fault.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from beltside.cli.main import main
from beltside.media import write_recording
from beltside.rig import TakePlan, draw_case
from beltside.rig.writing import drive_toml

TRUTH = "coolant-pump.bearing"
SEED = 1
FLANGE = """name = "coolant pump"
[flange]
cover = "aluminium"
gasket = "paper"
[bolts]
thread = "M6"
[[hole]]
x_mm = 40
y_mm = 0
[[hole]]
x_mm = -20
y_mm = 35
[[hole]]
x_mm = -20
y_mm = -35
"""


@pytest.fixture(scope="module")
def car(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Drive sheet, flange and recordings before and after in one folder."""
    folder = tmp_path_factory.mktemp("car")
    plans = (TakePlan("belt-on", duration_s=8.0), TakePlan("belt-off", belt="off", duration_s=6.0))
    sick = draw_case(np.random.default_rng(SEED), truth=TRUTH, takes=plans, severity_db=12.0)
    after = (TakePlan("after", duration_s=8.0),)
    well = draw_case(np.random.default_rng(SEED), truth=TRUTH, takes=after, severity_db=-60.0)
    for take in (*sick.takes, *well.takes):
        write_recording(folder / f"{take.name}.m4a", take.samples, take.sample_rate_hz)
    (folder / "drive.toml").write_text(drive_toml(sick.sheet))
    (folder / "flange.toml").write_text(FLANGE)
    return folder


class Terminal:
    """Gives commands, and takes their JSON."""

    def __init__(self, capsys: pytest.CaptureFixture[str]) -> None:
        self._capsys = capsys

    def __call__(self, *words: str | Path, code: int = 0) -> dict[str, Any]:
        with pytest.raises(SystemExit) as ended:
            main([*map(str, words), "--json"])
        said = self._capsys.readouterr()
        assert int(str(ended.value.code or 0)) == code, said.err + said.out
        found: dict[str, Any] = json.loads(said.out)
        return found

    def job(self, command: str, *words: str | Path, code: int = 0) -> dict[str, Any]:
        return self("job", command, "1", *words, code=code)


def test_from_the_first_words_to_the_closed_record(
    address: Path | str,
    car: Path,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("BELTSIDE_FOLDER", str(tmp_path))
    if isinstance(address, str):
        monkeypatch.setenv("BELTSIDE_DATABASE", address)
    do = Terminal(capsys)

    # Complaint
    do("job", "settings", "technician=Ida", "labour_per_hour=72", "tax_percent=19",
       "parts_margin_percent=12")  # fmt: skip
    new = do("job", "new", "It grinds at idle", "--car", "Tarn 1.4", "--plate", "HL 862",
             "--owner", "Lena Aust", "--engine", "hot")  # fmt: skip
    assert (new["number"], new["stage"]) == (1, "complaint")
    # Listen
    assert do.job("sheet", car / "drive.toml")["version"] == 1
    do.job("take", car / "belt-on.m4a", "--belt", "on")
    do.job("take", car / "belt-off.m4a", "--belt", "off")
    same = do.job("take", car / "belt-on.m4a", "--belt", "on")
    assert same["same_as"] == "belt-on.m4a"
    do.job("remove", same["entry"])
    heard = do.job("listen", "belt-on.m4a")
    assert heard["listen"]["crank"]["confidence"] > 0.5
    # Find
    found = do.job("find")
    assert sum(one["probability"] for one in found["suspects"]) == pytest.approx(1.0, abs=0.01)
    card = do.job("check")
    assert card["minutes"] > 0
    for check, outcome in (("spin-by-hand", "rough"), ("wiggle", "loose")):
        finding = do.job("finding", check, outcome, "coolant-pump", "--minutes", "2")
    wrong = do.job("finding", "spin-by-hand", "rough", "idler")
    assert do.job("undo")["entry"] == wrong["entry"]
    do.job("condition", "engine-cold", "--does-not-hold")
    found = do.job("find")
    assert found["suspects"][0]["id"].startswith("coolant-pump")
    assert finding["answer"]
    # Measure, agree
    assert do.job("sheet")["pulleys"]
    do.job("plan", "coolant-pump")
    price = do.job("estimate", "--price", "coolant pump=89.50", "--price", "pump gasket=6.20",
                   "--price", "coolant=7.90")  # fmt: skip
    assert price["options"]
    assert do.job("agree", "1", "--name", "Lena Aust")["name"] == "Lena Aust"
    # Work
    do.job("coolant", "mix", "freezing_c=-34", "capacity_l=6.2")
    left = do.job("plan")["steps"]
    for _ in left:
        ticked = do.job("tick", "--minutes", "5")
    assert ticked["next"] is None
    do.job("bolts", "coolant pump", car / "flange.toml", "--torque", "10 N m",
           "--torque-source", "service sheet, page 12")  # fmt: skip
    bolts = do.job("torque")
    assert bolts["torque_nm"] <= 10.0
    do.job("part", "coolant pump", "--price", "89.50")
    # Prove
    do.job("hold", "--begin", "--given", "cap=108 kPa", "--given", "gauge_step_kpa=1",
           "--given", "strokes=9", "--given", "stroke_ml=60")  # fmt: skip
    held = do.job("hold", "0=108", "2=107", "6=107", "--end")
    assert held["verdict"]
    do.job("take", car / "after.m4a", "--belt", "on", "--after", "--hand-over")
    compared = do.job("compare")
    assert compared["says"]
    # Record
    closed = do.job(
        "close", "--cause", TRUTH, "--replaced", TRUTH, "--cured", "--charged", "312.40"
    )
    assert closed["not_learned"] == ""
    assert closed["sounds_kept"] == 1, "of belt-on; belt-off and after hold no noise"
    do.job("remind", "Look at the level again", "--due", "2027-03-31")
    assert len(do("job", "reminders")["reminders"]) == 1
    assert do("proof", "1", "--out", "proof.pdf")["sheet"]["digest"]
    assert Path("proof.pdf").read_bytes().startswith(b"%PDF-")
    shown = do.job("show")
    assert "open" not in {one["state"] for one in shown["stages"]}
    assert do("job", "list", "--which", "closed")["jobs"][0]["cause"] == TRUTH
    assert [one["number"] for one in do("job", "search", "HL862", "pump")["jobs"]] == [1]

    # A value brought back, and the whole record by its checksums.
    changes = do.job("history")["changes"]
    assert {one["by"] for one in changes} == {"Ida"}
    do.job("restore-version", same["entry"])
    assert do("check")["whole"] is True

    # The same car again: it sounds like itself.
    do("job", "reopen", "1", "--comeback", "It grinds again.")
    do("job", "take", "2", car / "belt-on.m4a", "--belt", "on")
    alike = do("job", "similar", "2")
    assert alike["why_not"] == "No closed job has a take with a known cause yet", "it came back"
