"""Findings put into and taken out of a case file: nothing else in it moves."""

import os
import tomllib

import pytest

from beltside.base.errors import BeltsideError, InputError
from beltside.casework.formats.case_edit import add_finding, take_back_finding

CASE = """# The Tarn, noise since Monday
drive = "drive.toml"   # measured

[[finding]]
# with the lamp
check = "belt-look"
outcome = "fine"

[[take]]
file = "belt-on.m4a"
"""


@pytest.fixture
def case(tmp_path):
    path = tmp_path / "case.toml"
    path.write_text(CASE)
    return path


def test_an_answer_goes_to_the_end_and_the_rest_stays(case):
    add_finding(case, "spin-by-hand", "idler-2", "rough")
    text = case.read_text()
    assert text.startswith(CASE)
    data = tomllib.loads(text)
    assert data["finding"][-1] == {"check": "spin-by-hand", "part": "idler-2", "outcome": "rough"}
    add_finding(case, "belt-off-run", None, "noise-gone")
    assert tomllib.loads(case.read_text())["finding"][-1] == {
        "check": "belt-off-run",
        "outcome": "noise-gone",
    }


def test_taking_back_leaves_a_comment(case):
    add_finding(case, "spin-by-hand", "idler", "rough")
    take_back_finding(case, 1)
    text = case.read_text()
    assert [one["check"] for one in tomllib.loads(text)["finding"]] == ["spin-by-hand"]
    assert '# taken back: check = "belt-look"' in text
    assert "# with the lamp" in text
    take_back_finding(case, 1)
    assert "finding" not in tomllib.loads(case.read_text())
    assert tomllib.loads(case.read_text())["take"] == tomllib.loads(CASE)["take"]


@pytest.mark.parametrize(
    "text",
    [
        'drive = "d.toml"',
        'drive = "d.toml"\n[finding]\ncheck = "belt-look"\noutcome = "fine"\n',
        'drive = "d.toml"\r\n[[take]]\r\nfile = "a.m4a"\r\n',
        "",
    ],
)
def test_files_as_people_write_them(tmp_path, text):
    path = tmp_path / "case.toml"
    path.write_bytes(text.encode())
    before = tomllib.loads(text.replace("\r\n", "\n"))
    add_finding(path, "belt-back", None, "polished")
    raw = path.read_bytes().decode()
    assert "\n" not in raw.replace("\r\n", "") or "\r\n" not in text
    after = tomllib.loads(raw.replace("\r\n", "\n"))
    found = after.pop("finding")
    assert found[-1] == {"check": "belt-back", "outcome": "polished"}
    had = before.pop("finding", None)
    assert after == before
    assert found[:-1] == ([had] if had else [])
    take_back_finding(path, len(found))


@pytest.mark.parametrize("encoding", ["utf-8-sig", "utf-16"])
def test_encoding_and_rights_are_kept(tmp_path, encoding):
    path = tmp_path / "case.toml"
    path.write_bytes('drive = "Öl.toml"\n'.encode(encoding))
    path.chmod(0o640)
    add_finding(path, "belt-back", None, "polished")
    assert path.read_bytes().decode(encoding).startswith('drive = "Öl.toml"\n')
    assert path.stat().st_mode & 0o777 == 0o640
    assert os.listdir(tmp_path) == ["case.toml"]


@pytest.mark.parametrize(
    "text",
    [
        'drive = "d"\nfinding = [{ check = "belt-look", outcome = "fine" }]\n',
        'drive = "d"\nfinding = { check = "belt-look", outcome = "fine" }\n',
    ],
)
def test_what_cannot_be_changed_safely_is_left_as_it_is(tmp_path, text):
    path = tmp_path / "case.toml"
    path.write_text(text)
    for change in (
        lambda: add_finding(path, "belt-back", None, "polished"),
        lambda: take_back_finding(path, 1),
    ):
        with pytest.raises(InputError, match="by hand"):
            change()
        assert path.read_text() == text


@pytest.mark.parametrize("number", [0, 2, -1])
def test_a_finding_that_is_not_there(case, number):
    with pytest.raises(InputError, match="1 to 1"):
        take_back_finding(case, number)
    assert case.read_text() == CASE


def test_a_full_disk_leaves_the_old_file(case, monkeypatch):
    def full(handle):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(BeltsideError, match="as it was"):
        add_finding(case, "belt-back", None, "polished")
    assert case.read_text() == CASE
    assert os.listdir(case.parent) == ["case.toml"]
