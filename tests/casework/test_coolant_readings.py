"""Hold readings from files and typed."""

from __future__ import annotations

from pathlib import Path

import pytest

from beltside.base.errors import InputError, LimitError
from beltside.casework.coolant_readings import load_hold_readings, read_typed


def written(folder: Path, text: str, encoding: str = "utf-8") -> Path:
    path = folder / "readings.csv"
    path.write_bytes(text.encode(encoding))
    return path


def test_a_plain_file(tmp_path: Path) -> None:
    path = written(
        tmp_path, "time,pressure_kpa,engine_c,air_c\n# cold\n0:00,108,24,20\n\n0:30,107,,\n"
    )
    first, second = load_hold_readings(path)
    assert (first.minutes, first.gauge_kpa, first.engine_c, first.air_c) == (0.0, 108.0, 24.0, 20.0)
    assert (second.minutes, second.gauge_kpa, second.engine_c) == (0.5, 107.0, None)


@pytest.mark.parametrize(
    ("text", "kpa"),
    [
        ("time_s;pressure_bar\n60;1,08\n", 108.0),
        ("seconds\tpsi\n60\t16\n", 110.32),
        ("time_min,pressure\n1,1.08 bar\n", 108.0),
        ("Time_min, kPa\n1, 108\n", 108.0),
    ],
)
def test_units_separators_and_decimal_commas(tmp_path: Path, text: str, kpa: float) -> None:
    (one,) = load_hold_readings(written(tmp_path, text))
    assert one.minutes == pytest.approx(1.0)
    assert one.gauge_kpa == pytest.approx(kpa, abs=0.01)


@pytest.mark.parametrize("encoding", ["utf-8-sig", "utf-16"])
def test_as_other_programs_save_it(tmp_path: Path, encoding: str) -> None:
    (one,) = load_hold_readings(written(tmp_path, "time,kpa\n1,108\n", encoding))
    assert one.gauge_kpa == 108.0


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "empty"),
        ("time,presure\n0,1\n", "pressure"),
        ("time\n0\n", "columns of pressure"),
        ("time,kpa,psi\n0,1,2\n", "2 columns of pressure"),
        ("time,kpa\n0,1,2\n", "line 2: 3 cells"),
        ("time,kpa\n0,much\n", "line 2"),
        ("time,kpa\nnoon,100\n", "line 2"),
        ("time,kpa,engine_c\n0,100,hot\n", "line 2"),
    ],
)
def test_what_is_off_is_named_by_its_line(tmp_path: Path, text: str, words: str) -> None:
    with pytest.raises(InputError, match=words):
        load_hold_readings(written(tmp_path, text))


def test_files_that_are_none(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="not there"):
        load_hold_readings(tmp_path / "none.csv")
    with pytest.raises(InputError, match="folder"):
        load_hold_readings(tmp_path)
    binary = tmp_path / "b.csv"
    binary.write_bytes(b"\xff\xfa\x00\x80")
    with pytest.raises(InputError, match="UTF-8"):
        load_hold_readings(binary)
    large = tmp_path / "l.csv"
    large.write_bytes(b"a" * 1_000_001)
    with pytest.raises(LimitError):
        load_hold_readings(large)


def test_typed() -> None:
    assert read_typed("1:30=107").minutes == 1.5
    assert read_typed("90s 1.07 bar").gauge_kpa == pytest.approx(107.0)
    full = read_typed("2=105/25C/68F")
    assert full.engine_c == 25.0
    assert full.air_c == pytest.approx(20.0)
    assert read_typed("2=15", us=True).gauge_kpa == pytest.approx(103.4, abs=0.1)


@pytest.mark.parametrize("text", ["", "107", "a=b", "1=", "1=100/2/3/4"])
def test_typed_nonsense_is_refused(text: str) -> None:
    with pytest.raises(InputError):
        read_typed(text)
