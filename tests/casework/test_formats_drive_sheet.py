"""Drive sheet files as strangers write them."""

from pathlib import Path
from unittest.mock import patch

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from beltside.base.errors import InputError, LimitError
from beltside.casework.formats.drive_sheet import load_drive_sheet, read_drive_sheet
from beltside.casework.formats.problems import FileProblemsError
from beltside.drive.check import sheet_problems
from beltside.drive.sheet import Bearing, Belt, DriveSheet, Engine, Pulley

TARN = """
name = "Tarn 1.4 front drive"
[engine]
cylinders = 4
strokes = 4
idle_rpm = 760
crank_sprocket_teeth = 20
[belt]
profile = "PK"
ribs = 6
length_mm = 1230
[[pulley]]
part = "crank"
x_mm = 0
y_mm = 0
diameter_mm = 138.0
face = "ribbed"
[[pulley]]
part = "alternator"
x_mm = 175
y_mm = 205
diameter_mm = 55.0
face = "ribbed"
poles = 12
bearing = { balls = 8, ball_mm = 6.75, pitch_mm = 28.5 }
"""
CRANK = '[engine]\ncylinders = 4\n[[pulley]]\npart = "crank"\ndiameter_mm = 138\n'


@pytest.fixture
def write(tmp_path):
    def write(text, name="drive.toml"):
        path = tmp_path / name
        path.write_bytes(text if isinstance(text, bytes) else text.encode())
        return path

    return write


def said(call, path):
    with pytest.raises(InputError) as caught:
        call(path)
    return str(caught.value)


def test_every_key_arrives(write):
    assert load_drive_sheet(write(TARN)) == DriveSheet(
        engine=Engine(cylinders=4, strokes=4, idle_rpm=760.0, crank_sprocket_teeth=20),
        belt=Belt(profile="PK", ribs=6, length_mm=1230.0),
        pulleys=(
            Pulley("crank", 138.0, "ribbed", 0.0, 0.0),
            Pulley(
                "alternator", 55.0, "ribbed", 175.0, 205.0, 12, None, None, Bearing(8, 6.75, 28.5)
            ),
        ),
        name="Tarn 1.4 front drive",
    )


def test_an_engine_alone_is_enough(write):
    assert load_drive_sheet(write("[engine]\ncylinders = 3\n")) == DriveSheet(Engine(3), Belt(), ())


@pytest.mark.parametrize(
    "spelling",
    [
        "diameter_mm = 138",
        "diameter_mm = 138.0",
        'diameter_mm = "138"',
        'diameter_mm = " 138,0 "',
        'diameter_mm = "138 mm"',
        'diameter_mm = "138.00mm"',
    ],
)
def test_a_number_may_be_spelt_as_people_do(write, spelling):
    sheet = load_drive_sheet(write(CRANK.replace("diameter_mm = 138", spelling)))
    assert sheet.pulley("crank").diameter_mm == 138.0


@pytest.mark.parametrize(
    ("spelling", "reason"),
    [
        ('diameter_mm = "1,138"', "thousands"),
        ('diameter_mm = "5.4 in"', "not the unit"),
        ('diameter_mm = "about 138"', "no number"),
        ("diameter_mm = true", "no numbers"),
        ("diameter_mm = nan", "nan"),
        ("diameter_mm = 1" + "0" * 400, "too large"),
        ("diameter_mm = '1" + "0" * 400 + "'", "too large"),
        ("diameter_mm = 1e400", "20 to 400"),
        ("diameter_mm = inf", "20 to 400"),
        ("diameter_mm = [138]", "a list of 1"),
        ("diameter_mm = 2024-01-01", "2024"),
    ],
)
def test_a_number_that_may_mean_two_things_is_refused(write, spelling, reason):
    message = said(load_drive_sheet, write(CRANK.replace("diameter_mm = 138", spelling)))
    assert reason in message
    assert "pulley 1 (crank), diameter_mm" in message


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ('part = "alternator"', 'part = "Alternator"'),
        ('face = "ribbed"', 'face = "Ribbed"'),
        ('profile = "PK"', 'profile = "6PK"'),
        ('profile = "PK"\nribs = 6', 'profile = "6pk"'),
        ("cylinders = 4", "cylinders = 4.0"),
        ("poles = 12", 'poles = "12"'),
        ('face = "ribbed"\npoles', "poles"),
        ("strokes = 4\n", ""),
    ],
)
def test_the_same_sheet_in_other_words(write, old, new):
    assert load_drive_sheet(write(TARN.replace(old, new))) == load_drive_sheet(
        write(TARN, "other.toml")
    )


def test_further_parts_of_a_kind_are_numbered_with_a_note(write):
    idler = '[[pulley]]\npart = "{}"\ndiameter_mm = 70\nface = "back"\n'
    read = read_drive_sheet(
        write(CRANK + "".join(idler.format(p) for p in ("idler", "idler-2", "idler", "Idler 4")))
    )
    assert [p.part for p in read.sheet.pulleys] == [
        "crank",
        "idler",
        "idler-2",
        "idler-3",
        "idler-4",
    ]
    (note,) = read.notes
    assert '"idler-3"' in note
    assert "drive.toml" in note
    first = read_drive_sheet(write(CRANK + idler.format("idler-1")))
    assert (first.sheet.pulleys[1].part, first.notes) == ("idler", ())


@pytest.mark.parametrize("number", ['"6203"', "6203", '"6203-2RS"'])
def test_a_bearing_by_number(write, number):
    sheet = load_drive_sheet(write(CRANK + f"bearing = {number}\n"))
    assert sheet.pulley("crank").bearing == Bearing(8, 6.746, 28.5, 0.0, "6203")


def test_an_unknown_bearing_number_names_the_nearest(write):
    message = said(load_drive_sheet, write(CRANK + 'bearing = "16203"\n'))
    assert "16203" in message
    assert '"6203"' in message
    assert "pulley 1 (crank), bearing" in message


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("[engine]\ncylinder = 4\n", ["engine.cylinder", "`cylinders`"]),
        ("[motor]\ncylinders = 4\n", ["motor: this key", "engine: this key is missing"]),
        (CRANK.replace("diameter_mm", "diameter"), ["`diameter_mm`"]),
        (CRANK.replace("crank", "water pump"), ['"coolant-pump"', "no pulley is the crank"]),
        (CRANK + "x_mm = 3\n", ["pulley 1 (crank), y_mm", "both"]),
        (
            CRANK + "bearing = { bals = 8, ball_mm = 6, pitch_mm = 28 }\n",
            ["bearing.bals", "`balls`"],
        ),
        (CRANK + "bearing = { balls = 15, ball_mm = 8, pitch_mm = 28 }\n", ["do not fit"]),
        ('pulley = ["crank"]\n[engine]\ncylinders = 4\n', ["pulley 1", "a group of keys"]),
        ("pulley = 3\n[engine]\ncylinders = 4\n", ["pulley: 3"]),
        ("engine = 4\n", ["engine: 4"]),
        ("", ["engine: this key is missing"]),
        (CRANK.replace("[[pulley]]", '[belt]\nprofile = "V"\n[[pulley]]'), ["belt.profile", "PK"]),
    ],
)
def test_each_problem_names_the_key_and_a_way_out(write, text, words):
    message = said(load_drive_sheet, write(text))
    assert message.startswith("drive.toml")
    for word in words:
        assert word in message


def test_all_problems_come_at_once_of_whatever_kind(write):
    text = (
        '[engine]\ncylinders = 7\nidle_rpm = "slow"\nturbo = true\n'
        '[[pulley]]\npart = "crank"\ndiameter_mm = 4000\n'
        '[[pulley]]\npart = "alternater"\ndiameter = 55\nbearing = "9999"\n'
        '[[pulley]]\npart = "idler"\ndiameter_mm = 70\nface = "bakc"\ny_mm = 3\npoles = 7\n'
    )
    with pytest.raises(FileProblemsError) as caught:
        load_drive_sheet(write(text))
    found = {problem.where for problem in caught.value.problems}
    assert found == {
        ("engine", "cylinders"),
        ("engine", "idle_rpm"),
        ("engine", "turbo"),
        ("pulley", 1, "diameter_mm"),
        ("pulley", 2, "part"),
        ("pulley", 2, "diameter_mm"),
        ("pulley", 2, "diameter"),
        ("pulley", 2, "bearing"),
        ("pulley", 3, "face"),
        ("pulley", 3, "x_mm"),
        ("pulley", 3, "poles"),
    }
    assert "drive.toml: 11 problems" in str(caught.value)


def test_a_part_whose_name_is_broken_does_not_make_the_crank_missing(write):
    text = CRANK.replace('part = "crank"', "part = []")
    message = said(load_drive_sheet, write(text))
    assert "no pulley is the crank" not in message
    assert "a list" in message


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("[engine]\ncylinders = four\n", ["line 2", "`cylinders = four`", "double quotes"]),
        ("[engine]\ncylinders: 4\n", ["line 2", "= instead of :"]),
        ("[engine]\nidle_rpm = 760,5\n", ["line 2", "decimal point"]),
        ('[engine]\nname = "C:\\Users"\n', ["line 2", "single quotes"]),
        ("[engine]\ncylinders = 4\ncylinders = 6\n", ["line", "overwrite"]),
        ("a = " + "[" * 5000, ["too deep"]),
        ("[engine", ["TOML"]),
    ],
)
def test_a_syntax_error_names_its_line(write, text, words):
    message = said(load_drive_sheet, write(text))
    for word in words:
        assert word in message


@pytest.mark.parametrize(
    "encoded",
    [
        TARN.encode("utf-8-sig"),
        TARN.encode("utf-16"),
        TARN.replace("\n", "\r\n").encode(),
    ],
    ids=["UTF-8 with mark", "UTF-16", "Windows line ends"],
)
def test_how_editors_save_it(write, encoded):
    assert load_drive_sheet(write(encoded)).engine.cylinders == 4


def test_what_is_no_text_is_refused(write, tmp_path):
    message = said(load_drive_sheet, write('a = 1\nname = "Caf\u00e9"'.encode("latin-1")))
    assert "line 2" in message
    assert "UTF-8" in message
    with pytest.raises(LimitError, match="1 MB"):
        load_drive_sheet(write(b"#" * 1_000_001))
    assert load_drive_sheet(write(CRANK.encode() + b"#" * 900_000)).engine.cylinders == 4
    assert "folder" in said(load_drive_sheet, tmp_path)


def test_a_missing_file_names_the_nearest(write, tmp_path):
    write(CRANK)
    assert "drive.toml" in said(load_drive_sheet, tmp_path / "drve.toml")
    assert "not there" in said(load_drive_sheet, tmp_path / "nowhere" / "drive.toml")


def test_a_flood_of_problems_is_cut_short(write):
    flood = "".join(f"key{n} = 1\n" for n in range(30_000))
    message = said(load_drive_sheet, write(flood + CRANK))
    assert "and 29900 more" in message
    assert len(message) < 20_000
    pulleys = '[[pulley]]\npart = "idler"\ndiameter_mm = 70\n' * 10_000
    assert "at most 40" in said(load_drive_sheet, write(CRANK + pulleys))


toml_values = st.recursive(
    st.booleans() | st.integers() | st.floats() | st.text(max_size=8) | st.dates(),
    lambda inner: (
        st.lists(inner, max_size=3)
        | st.dictionaries(st.sampled_from(("part", "balls", "diameter_mm", "x")), inner, max_size=3)
    ),
    max_leaves=6,
)


@settings(max_examples=150, deadline=None)
@given(
    st.dictionaries(
        st.sampled_from(("name", "engine", "belt", "pulley", "cylinders", "face", "oops")),
        toml_values
        | st.dictionaries(st.sampled_from(("cylinders", "ribs", "profile", "y")), toml_values)
        | st.lists(
            st.dictionaries(
                st.sampled_from(("part", "diameter_mm", "face", "bearing", "poles", "oops")),
                toml_values,
            ),
            max_size=3,
        ),
        max_size=4,
    )
)
def test_whatever_the_values_the_answer_is_a_sheet_or_the_problems(data):
    with patch("beltside.casework.formats.drive_sheet.read_toml", return_value=data):
        try:
            sheet = load_drive_sheet(Path("drive.toml"))
        except FileProblemsError as error:
            said, sheet = str(error), None
    if sheet is None:
        assert said.startswith("drive.toml")
    else:
        assert sheet_problems(sheet) == ()


@pytest.mark.parametrize("cylinders", ['"four"', "4.5", "7"])
def test_a_wrong_number_of_cylinders_is_told_which_there_are(tmp_path, cylinders):
    path = tmp_path / "drive.toml"
    path.write_text(f"[engine]\ncylinders = {cylinders}\n")
    assert "1, 2, 3, 4, 5, 6, 8, 10, 12, 16" in said(load_drive_sheet, path)
