"""Case files as strangers write them."""

from pathlib import Path

import pytest

from beltside.base.errors import InputError
from beltside.casework.formats.case import Finding, Take, load_case
from beltside.casework.formats.problems import FileProblemsError

DRIVE = """
[engine]
cylinders = 4
[[pulley]]
part = "crank"
diameter_mm = 138
[[pulley]]
part = "coolant-pump"
diameter_mm = 110
[[pulley]]
part = "idler"
diameter_mm = 70
[[pulley]]
part = "idler"
diameter_mm = 70
"""
CASE = """
drive = "drive.toml"
[[take]]
file = "belt-on.m4a"
belt = "on"
place = "front of engine"
load = ["lights"]
crank_rpm = 760
[[finding]]
check = "spin-by-hand"
part = "coolant-pump"
outcome = "rough"
"""


@pytest.fixture
def folder(tmp_path):
    (tmp_path / "drive.toml").write_text(DRIVE)
    (tmp_path / "belt-on.m4a").write_bytes(b"sound")
    return tmp_path


def case_in(folder, text, name="case.toml"):
    path = folder / name
    path.write_text(text)
    return path


def said(path):
    with pytest.raises(InputError) as caught:
        load_case(path)
    return str(caught.value)


def test_every_key_arrives(folder):
    path = case_in(folder, CASE)
    case = load_case(path)
    assert case.takes == (
        Take(
            file=(folder / "belt-on.m4a").resolve(),
            belt="on",
            place="front of engine",
            place_part=None,
            load=("lights",),
            crank_rpm=760.0,
            name="belt-on.m4a",
        ),
    )
    assert case.findings == (Finding("spin-by-hand", "coolant-pump", "rough"),)
    assert case.sheet.pulley("idler-2").diameter_mm == 70
    assert case.sheet_path == (folder / "drive.toml").resolve()
    assert case.path == path
    (note,) = case.notes
    assert "idler-2" in note


def test_paths_count_from_the_case_file(folder, monkeypatch):
    inner = folder / "jobs"
    inner.mkdir()
    text = CASE.replace('"drive.toml"', '"../drive.toml"').replace(
        '"belt-on.m4a"', '"../belt-on.m4a"'
    )
    path = case_in(inner, text)
    monkeypatch.chdir("/")
    case = load_case(path)
    assert case.takes[0].file == (folder / "belt-on.m4a").resolve()
    assert case.takes[0].name == "../belt-on.m4a"


@pytest.mark.parametrize(
    ("line", "belt"),
    [
        ('belt = "on"', "on"),
        ('belt = "Off"', "off"),
        ("belt = true", "on"),
        ("belt = false", "off"),
        ('belt = "unknown"', None),
        ("", None),
    ],
)
def test_belt_on_off_or_not_said(folder, line, belt):
    case = load_case(case_in(folder, CASE.replace('belt = "on"', line)))
    assert case.takes[0].belt == belt


@pytest.mark.parametrize(
    ("place", "part", "noted"),
    [
        ("front of engine", None, None),
        ("Front of Engine", None, None),
        ("coolant-pump", "coolant-pump", None),
        ("Coolant Pump", "coolant-pump", None),
        ("the idler 2", "idler-2", None),
        ("idler-1", "idler", None),
        ("crank", "crank", None),
        ("valve-train", "valve-train", None),
        ("engine", "engine", None),
        ("under the car", None, None),
        ("coolant-pmup", None, '"coolant-pump"'),
        ("water pump", None, '"coolant-pump"'),
        ("steering-pump", None, "not on this drive"),
    ],
)
def test_places(folder, place, part, noted):
    case = load_case(case_in(folder, CASE.replace('"front of engine"', f'"{place}"')))
    assert (case.takes[0].place, case.takes[0].place_part) == (place, part)
    own = [note for note in case.notes if note.startswith("case.toml")]
    assert bool(own) == (noted is not None)
    if noted:
        assert noted in own[0]


def test_the_front_is_the_place_when_none_is_given(folder):
    case = load_case(case_in(folder, CASE.replace('place = "front of engine"\n', "")))
    assert (case.takes[0].place, case.takes[0].place_part) == ("front of engine", None)


def test_takes_alone_findings_alone_or_neither(folder):
    takes, findings = CASE.split("[[finding]]")
    assert load_case(case_in(folder, takes)).findings == ()
    only_findings = 'drive = "drive.toml"\n[[finding]]' + findings
    assert load_case(case_in(folder, only_findings)).takes == ()
    assert load_case(case_in(folder, only_findings.replace("[[finding]]", "[finding]"))).findings
    assert "no take and no finding" in said(case_in(folder, 'drive = "drive.toml"\n'))


def test_one_load_needs_no_list(folder):
    case = load_case(case_in(folder, CASE.replace('["lights"]', '"lights"')))
    assert case.takes[0].load == ("lights",)


@pytest.mark.parametrize(
    ("load", "words"),
    [
        # Trade words for the three loads, from memory.
        ("headlights", "lights"),
        ("Headlamps on", "lights"),
        ("lamps", "lights"),
        ("Rear_Window-Heater", "lights"),
        ("heated rear window", "lights"),
        ("the blower", "lights"),
        ("electrics", "lights"),
        ("A/C", "ac"),
        ("air con", "ac"),
        ("Air Conditioning", "ac"),
        ("aircon", "ac"),
        ("climate", "ac"),
        ("power steering", "steering"),
        ("steering at the stop", "steering"),
        ("Full Lock", "steering"),
        ("steering_lock", "steering"),
        ("lights, blower and a/c", "lights ac"),
        ("none", ""),
        ("", ""),
    ],
)
def test_loads_by_their_other_names(folder, load, words):
    case = load_case(case_in(folder, CASE.replace("lights", load)))
    assert case.takes[0].load == tuple(words.split())
    assert not [note for note in case.notes if "load" in note]


def test_a_load_of_no_meaning_here_stays_as_typed_and_is_told(folder):
    case = load_case(case_in(folder, CASE.replace('["lights"]', '["Radio", "blower", "Lamp"]')))
    assert case.takes[0].load == ("Radio", "lights")
    (note,) = (note for note in case.notes if "load" in note)
    assert 'take 1 (belt-on.m4a): load "Radio" counts for no part' in note
    assert "lights (also other electrics), ac, steering" in note


def test_missing_files_are_named_all_at_once_with_the_nearest(folder):
    text = CASE.replace("drive.toml", "drve.toml").replace("belt-on.m4a", "belt-on.M4A")
    text += '[[take]]\nfile = "probe.m4a"\n[[take]]\nfile = "."\n'
    with pytest.raises(FileProblemsError) as caught:
        load_case(case_in(folder, text))
    by_where = {problem.where: problem for problem in caught.value.problems}
    assert set(by_where) == {
        ("drive",),
        ("take", 1, "file"),
        ("take", 2, "file"),
        ("take", 3, "file"),
    }
    assert by_where["drive",].instead == '"drive.toml"'
    assert by_where["take", 1, "file"].instead == '"belt-on.m4a"'
    assert "folder" in by_where["take", 3, "file"].given


def test_one_missing_recording_of_two_is_left_out_with_a_note(folder):
    case = load_case(case_in(folder, CASE + '[[take]]\nfile = "belt-onn.m4a"\n'))
    assert [take.name for take in case.takes] == ["belt-on.m4a"]
    (note,) = (note for note in case.notes if "left out" in note)
    assert note.startswith("belt-onn.m4a is left out: case.toml: take 2:")
    assert note.endswith('is not there; try "belt-on.m4a"')


def test_beside_another_problem_a_missing_recording_is_told_with_it(folder):
    text = CASE.replace("760", "7") + '[[take]]\nfile = "none.m4a"\n'
    message = said(case_in(folder, text))
    assert "crank_rpm" in message
    assert '"none.m4a" is not there' in message


@pytest.mark.parametrize("name", ["a\\u0000b", "x" * 5000, "loop.m4a", "../" * 400 + "none"])
def test_a_name_no_file_can_have_is_not_there(folder, name):
    (folder / "loop.m4a").symlink_to(folder / "loop.m4a")
    text = CASE.replace("belt-on.m4a", name)
    message = said(case_in(folder, text))
    assert "take 1" in message
    assert len(message) < 1000
    message = said(case_in(folder, CASE.replace("drive.toml", name)))
    assert "case.toml: drive" in message


def test_a_flood_of_takes_is_refused(folder):
    assert "at most 200" in said(case_in(folder, CASE + '[[take]]\nfile = "x"\n' * 20_000))


def test_problems_of_the_case_and_its_drive_sheet_come_together(folder):
    (folder / "drive.toml").write_text(DRIVE.replace("138", "1").replace("cylinders", "cylinder"))
    text = CASE.replace('belt = "on"', 'belt = "of"').replace("crank_rpm = 760", "crank_rpm = 76")
    text = text.replace("outcome =", "outcom =").replace('part = "coolant-pump"', 'part = "pmup"')
    message = said(case_in(folder, text))
    for words in (
        "case.toml: 5 problems",
        'take 1 (belt-on.m4a), belt: "of"',
        '"off"',
        "300 to 8000",
        "`outcome`",
        '"pmup" is not a part',
        "drive.toml: 3 problems",
        "20 to 400",
        "`cylinders`",
    ):
        assert words in message, words


def test_a_drive_sheet_with_a_syntax_error_names_its_line(folder):
    (folder / "drive.toml").write_text("[engine]\ncylinders = four\n")
    assert "drive.toml, line 2" in said(case_in(folder, CASE))


def test_the_same_recording_twice_is_refused(folder):
    text = CASE + '[[take]]\nfile = "./belt-on.m4a"\nbelt = "off"\n'
    assert "second time" in said(case_in(folder, text))


def test_a_finding_on_a_part_this_drive_lacks_is_noted(folder):
    case = load_case(case_in(folder, CASE.replace('"coolant-pump"', '"fan"')))
    assert any("fan" in note for note in case.notes)
    assert "not a part" in said(case_in(folder, CASE.replace('"coolant-pump"', '"none"')))


class TestFolders:
    def test_case_toml(self, folder):
        case_in(folder, CASE)
        case_in(folder, CASE, "old.toml")
        assert load_case(folder).path == folder / "case.toml"

    def test_the_only_case_among_other_files(self, folder):
        case_in(folder, CASE, "noisy.toml")
        case_in(folder, "this is no TOML", "scribble.toml")
        assert load_case(folder).path == folder / "noisy.toml"

    def test_a_huge_file_beside_it(self, folder):
        case_in(folder, CASE, "noisy.toml")
        case_in(folder, "#" * 1_000_001, "huge.toml")
        assert load_case(folder).path == folder / "noisy.toml"

    def test_two_cases(self, folder):
        case_in(folder, CASE, "monday.toml")
        case_in(folder, CASE, "tuesday.toml")
        message = said(folder)
        assert "monday.toml" in message
        assert "calling it case.toml" in message

    def test_no_case(self, folder):
        assert "drive.toml" in said(folder)
        assert "none of them is a case" in said(folder)

    def test_an_empty_folder(self, tmp_path):
        assert "no TOML file" in said(tmp_path)

    def test_the_only_candidate_is_broken(self, folder):
        case_in(folder, "drive = drive.toml\n", "noisy.toml")
        assert "noisy.toml, line 1" in said(folder)


def test_no_such_case(folder):
    assert "not there" in said(folder / "nothing.toml")


PAN = """
[[take]]
file = "a.m4a"
mic_spacing_mm = 140
stand_off_mm = "400 mm"
phone_at = ["crank", 120]
"""


def test_a_stereo_take_says_how_the_phone_was_held(tmp_path: Path) -> None:
    take = load_case(stereo_case(tmp_path, PAN)).takes[0]
    assert take.setup is not None
    assert (take.setup.mic_spacing_mm, take.setup.stand_off_mm) == (140.0, 400.0)
    assert take.setup.at == ("crank:120",)
    assert take.setup.held == "across"


@pytest.mark.parametrize(
    ("wrong", "right", "what"),
    [
        ("mic_spacing_mm = 140\n", "", "a stereo take without mic_spacing_mm"),
        ("mic_spacing_mm = 140", "mic_spacing_mm = 2", "mic_spacing_mm is 2 mm"),
        ('"crank", 120', '"fan"', 'the phone at "fan"'),
    ],
)
def test_a_stereo_take_half_described_is_refused(
    tmp_path: Path, wrong: str, right: str, what: str
) -> None:
    with pytest.raises(FileProblemsError, match=what):
        load_case(stereo_case(tmp_path, PAN.replace(wrong, right)))


def stereo_case(folder: Path, take: str) -> Path:
    (folder / "a.m4a").write_bytes(b"x")
    sheet = "[engine]\ncylinders = 4\n" + "".join(
        f'[[pulley]]\npart = "{part}"\ndiameter_mm = {size}\nx_mm = {x}\ny_mm = {y}\n'
        for part, size, x, y in (("crank", 138, 0, 0), ("alternator", 55, 175, 205))
    )
    (folder / "drive.toml").write_text(sheet, encoding="utf-8")
    case = folder / "case.toml"
    case.write_text(f'drive = "drive.toml"\n{take}', encoding="utf-8")
    return case
