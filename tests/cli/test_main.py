"""The commands: what they print, where, with which exit code, and that they start at once."""

from __future__ import annotations

import io
import json
import os
import re
import subprocess
import sys
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest

from beltside import __version__
from beltside.base.errors import InputError, RecordingError
from beltside.casework.results import DemoResult, FindResult, ListenPictures, ListenResult
from beltside.cli.main import app, lean, main

HEAVY = ("numpy", "scipy", "av", "altair", "vl_convert", "PIL", "soxr", "rich")
USAGE = Path(__file__).parents[2] / "docs" / "usage.md"
COMMANDS = ("listen", "find", "demo")


class Casework:
    """Stands in for the work itself: records how it was called, answers with hand-made results."""

    def __init__(self, made: ModuleType) -> None:
        self.calls: list[tuple[str, dict[str, Any]]] = []
        self.listen_result: ListenResult = made.listen_result()
        self.find_result: FindResult = without_pictures(made.find_result())
        self.raises: BaseException | None = None

    def _answer(self, name: str, progress: Callable[[str, float], None], **given: Any) -> None:
        self.calls.append((name, given))
        progress("reading", 0.0)
        if self.raises is not None:
            raise self.raises
        progress("done", 1.0)

    def listen(
        self,
        take: Path,
        *,
        drive: Path | None,
        crank_rpm: float | None = None,
        progress: Any = None,
    ) -> ListenResult:
        self._answer("listen", progress, take=take, drive=drive, crank_rpm=crank_rpm)
        return self.listen_result

    def find(self, case: Path, *, progress: Any = None) -> FindResult:
        self._answer("find", progress, case=case)
        return self.find_result

    def demo(self, folder: Path, *, progress: Any = None) -> DemoResult:
        self._answer("demo", progress, folder=folder)
        file = folder / "belt-on.m4a"
        return DemoResult(self.find_result, folder, (file,), "coolant-pump.bearing")


@pytest.fixture
def casework(made: ModuleType, monkeypatch: pytest.MonkeyPatch) -> Casework:
    stand_in = Casework(made)
    for name in COMMANDS:
        module = ModuleType(f"beltside.casework.{name}")
        setattr(module, name, getattr(stand_in, name))
        monkeypatch.setitem(sys.modules, module.__name__, module)
    return stand_in


@pytest.fixture
def take(tmp_path: Path) -> str:
    path = tmp_path / "belt-on.m4a"
    path.write_bytes(b"sound")
    return str(path)


def run(*arguments: str) -> int:
    with pytest.raises(SystemExit) as ended:
        main(arguments)
    assert isinstance(ended.value.code, int)
    return ended.value.code


def without_pictures(found: FindResult) -> FindResult:
    """The same case with nothing to draw but words, which is quicker."""
    bare = {
        name: replace(listen, pictures=ListenPictures()) for name, listen in found.listens.items()
    }
    return replace(found, listens=bare)


def command(*arguments: str, **environment: str) -> subprocess.CompletedProcess[str]:
    """The real command in a fresh process."""
    return subprocess.run(
        [sys.executable, "-m", "beltside", *arguments],
        capture_output=True,
        text=True,
        env={**os.environ, "PYTHONPATH": "src", **environment},
        cwd=USAGE.parents[1],
        check=False,
        timeout=60,
    )


# Starting and help


@pytest.mark.parametrize("arguments", [["--help"], ["listen", "--help"], ["--version"], []])
def test_help_does_not_wait_for_heavy_imports(arguments: list[str]) -> None:
    script = (
        "import sys\n"
        "from beltside.cli.main import main\n"
        "try:\n"
        f"    main({arguments!r})\n"
        "except SystemExit as ended:\n"
        f"    heavy = [name for name in {HEAVY!r} if name in sys.modules]\n"
        "    print('CODE', ended.code, 'HEAVY', heavy)\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", script],
        capture_output=True,
        text=True,
        env={**os.environ, "PYTHONPATH": "src"},
        cwd=USAGE.parents[1],
        check=True,
        timeout=60,
    )
    assert done.stdout.splitlines()[-1] == "CODE 0 HEAVY []"


def test_only_the_command_that_is_called_is_built() -> None:
    """Each command costs some milliseconds to build; a wrong one still gets the nearest of all."""
    (group,) = lean(["coolant", "cap", "16"]).registered_groups
    assert group.typer_instance is not None
    assert [one.callback.__name__ for one in group.typer_instance.registered_commands] == ["cap"]  # type: ignore[union-attr]
    (whole,) = lean(["coolant", "kap", "16"]).registered_groups
    assert whole.typer_instance is not None
    assert len(whole.typer_instance.registered_commands) == 8


def test_version(capsys: pytest.CaptureFixture[str]) -> None:
    assert run("--version") == 0
    assert capsys.readouterr().out == f"beltside {__version__}\n"


def test_without_a_command_the_help_is_shown() -> None:
    done = command()
    assert done.returncode == 0
    assert "Usage: beltside" in done.stdout
    assert all(name in done.stdout for name in COMMANDS)


def _options(help_text: str) -> set[str]:
    return set(re.findall(r"(?<![\w-])(-[a-z]|--[a-z][a-z-]+)", help_text))


@pytest.mark.parametrize("name", COMMANDS)
def test_every_option_is_documented(name: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(name, "--help") == 0
    options = _options(capsys.readouterr().out)
    assert "--json" in options
    section = USAGE.read_text(encoding="utf-8").split(f"\n## `beltside {name}")[1].split("\n## ")[0]
    assert options == _options(" ".join(re.findall(r"`([^`\n]+)`", section)))


def test_general_options_and_all_commands_are_documented(
    capsys: pytest.CaptureFixture[str],
) -> None:
    assert run("--help") == 0
    page = USAGE.read_text(encoding="utf-8")
    assert all(option in page for option in _options(capsys.readouterr().out))
    registered = {entry.name or entry.callback.__name__ for entry in app.registered_commands}
    assert registered >= set(COMMANDS)
    pages = [page, *(path.read_text(encoding="utf-8") for path in USAGE.parent.glob("usage/*.md"))]
    for name in registered:
        assert any(f"beltside {name}" in text for text in pages), name


def test_documented_json_keys_are_those_printed(made: ModuleType) -> None:
    page = USAGE.read_text(encoding="utf-8")
    documented = set(re.findall(r"[a-z_]+", " ".join(re.findall(r"`([^`\n]+)`", page))))
    value = made.find_result().to_json()
    listen = made.listen_result().to_json()
    for printed in (
        value,
        value["suspects"][0],
        value["suspects"][0]["because"][0],
        value["next_checks"][0],
        listen,
        listen["crank"],
        listen["lines"][0],
    ):
        assert set(printed) <= documented


# What people read


def test_listen_says_the_speed_first(
    casework: Casework, take: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run("listen", take, "--crank-rpm", "760") == 0
    written = capsys.readouterr()
    assert written.err == ""
    assert written.out.startswith("Crank speed: 763 rpm (756 to 770), sure, 97 %.")
    assert re.search(r"crank +firing +orders 2, 4, 6 +31\.0 dB up +sound", written.out)
    assert "away from belt and fan" in written.out
    assert casework.calls == [("listen", {"take": Path(take), "drive": None, "crank_rpm": 760.0})]


def test_listen_says_why_there_is_no_speed(
    casework: Casework, made: ModuleType, take: str, capsys: pytest.CaptureFixture[str]
) -> None:
    casework.listen_result = made.deaf_result()
    assert run("listen", take) == 0
    assert capsys.readouterr().out.startswith("Crank speed: can't tell. No firing beat")


def test_find_answers_in_its_first_sentence(
    casework: Casework, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run("find", str(tmp_path)) == 0
    out = capsys.readouterr().out
    assert out.splitlines()[0] == "Most likely: coolant pump bearing, 8 in 10 (78 %)."
    assert re.search(r"8 in 10 +78 % +\S+ +coolant pump bearing", out)
    assert "+2.2 bits  the line is gone with the belt off (belt-off.m4a)" in out
    assert "1.  spin by hand, idler: 4 minutes" in out
    assert "wind.webm    can't tell: no firing beat" in out
    assert "minutes, not more" in out


def test_demo_says_whether_the_truth_was_found(
    casework: Casework, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    folder = tmp_path / "demo"
    assert run("demo", "--folder", str(folder)) == 0
    out = " ".join(capsys.readouterr().out.split())
    assert "made with this fault: coolant pump bearing; that is what was found" in out
    assert (folder / "pictures" / "odds.png").is_file()
    assert "odds.png" in out


def test_demo_admits_a_wrong_finding(
    casework: Casework, made: ModuleType, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    first, second, *rest = made.SUSPECTS
    swapped = (
        replace(first, probability=second.probability),
        replace(second, probability=first.probability),
        *rest,
    )
    casework.find_result = replace(made.find_result(swapped), listens={})
    assert run("demo", "--folder", str(tmp_path)) == 0
    assert "it was NOT found first" in " ".join(capsys.readouterr().out.split())


@pytest.mark.parametrize("columns", [30, 40, 59, 60, 80, 120])
def test_text_keeps_to_the_width(
    casework: Casework,
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
    columns: int,
) -> None:
    monkeypatch.setenv("COLUMNS", str(columns))
    assert run("find", str(tmp_path)) == 0
    out = capsys.readouterr().out
    assert max(len(line) for line in out.splitlines()) <= columns
    assert "\x1b" not in out
    for word in ("coolant pump", "idler bearing", "alternator", "bits", "minutes"):
        assert word in out


@pytest.mark.parametrize("encoding", ["ascii", "latin-1", "cp437"])
def test_text_fits_terminals_without_unicode(
    casework: Casework,
    made: ModuleType,
    take: str,
    monkeypatch: pytest.MonkeyPatch,
    encoding: str,
) -> None:
    casework.listen_result = made.listen_result("Öl ölig \ud800 日.m4a")
    casework.find_result = replace(made.find_result(), warnings=("日本 ✓ 3",))
    raw = io.BytesIO()
    monkeypatch.setattr(sys, "stdout", io.TextIOWrapper(raw, encoding=encoding))
    assert run("find", take) == 0
    text = raw.getvalue().decode(encoding)
    assert "78 %  ################....  coolant pump bearing" in text
    assert "?? ? 3" in text


def test_file_names_cannot_move_the_cursor(
    casework: Casework, made: ModuleType, take: str, capsys: pytest.CaptureFixture[str]
) -> None:
    hostile = made.listen_result("\x1b[2J\x07[bold]belt\r.m4a")
    found = made.find_result()
    casework.find_result = replace(
        found, listens={hostile.file: hostile}, crank={hostile.file: hostile.crank}
    )
    assert run("find", take) == 0
    out = capsys.readouterr().out
    assert not re.search(r"[\x00-\x09\x0b-\x1f]", out)
    assert "[bold]belt" in out


# What programs read


def test_json_is_all_there_is_on_the_output(
    casework: Casework, take: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    for arguments in (
        ["listen", take, "--json"],
        ["find", take, "--json"],
        ["demo", "--folder", str(tmp_path / "demo"), "--json"],
    ):
        assert run(*arguments) == 0
        written = capsys.readouterr()
        assert written.err == ""
        value = json.loads(written.out)
        assert isinstance(value["pictures"], list)
        assert written.out.isascii()
    assert value["truth"] == "coolant-pump.bearing"


def test_pictures_are_written_and_named(
    casework: Casework, take: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    folder = tmp_path / "new" / "pictures"
    assert run("listen", take, "--json", "--pictures", str(folder)) == 0
    named = json.loads(capsys.readouterr().out)["pictures"]
    assert len(named) == 3
    assert all(Path(path).is_file() for path in named)


# What goes wrong


def test_an_unknown_command_gets_the_nearest(capsys: pytest.CaptureFixture[str]) -> None:
    assert run("lisen", "a.wav") == 2
    written = capsys.readouterr()
    assert written.out == ""
    assert "'lisen'" in written.err
    assert "'listen'" in written.err


def test_an_unknown_option_gets_the_nearest(capsys: pytest.CaptureFixture[str]) -> None:
    assert run("listen", "a.wav", "--drve", "b.toml") == 2
    assert "--drive" in capsys.readouterr().err


@pytest.mark.parametrize(
    "arguments",
    [["listen"], ["listen", "a", "b"], ["listen", "a", "--crank-rpm", "fast"], ["find", "--json"],
     ["listen", "a", "--drive"]],
)  # fmt: skip
def test_a_call_that_is_off_is_exit_2(
    arguments: list[str], capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(*arguments) == 2
    written = capsys.readouterr()
    assert written.out == ""
    assert written.err.startswith("beltside: ")
    assert "--help" in written.err


def test_a_missing_take_gets_the_nearest_file(
    take: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run("listen", take.replace("belt-on", "belt-onn")) == 2
    assert f"Try: {take}" in capsys.readouterr().err


def test_a_folder_is_not_a_take(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run("listen", str(tmp_path)) == 2
    assert "is a folder" in capsys.readouterr().err


def test_a_missing_drive_sheet_is_named(take: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert run("listen", take, "--drive", "no-such-sheet.toml") == 2
    assert "no-such-sheet.toml does not exist" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("error", "code"),
    [
        (InputError("the key 'cylindres' is unknown", instead="cylinders"), 2),
        (RecordingError("the recording is silent"), 1),
        (PermissionError(13, "Permission denied", "belt-on.m4a"), 1),
    ],
)
def test_errors_are_one_plain_message(
    casework: Casework,
    take: str,
    capsys: pytest.CaptureFixture[str],
    error: Exception,
    code: int,
) -> None:
    casework.raises = error
    assert run("listen", take, "--json") == code
    written = capsys.readouterr()
    assert written.out == ""
    assert written.err.count("\n") == 1
    assert "Traceback" not in written.err


def test_a_fault_of_our_own_is_owned_up_to(
    casework: Casework, take: str, capsys: pytest.CaptureFixture[str]
) -> None:
    casework.raises = KeyError("ratio")
    assert run("find", take) == 1
    said = capsys.readouterr().err
    assert "fault in Beltside, not something you did wrong" in said
    assert re.search(r"KeyError in beltside/cli/main\.py, line \d+", said)
    assert "Traceback" not in said


@pytest.mark.parametrize(
    ("arguments", "left_behind"),
    [(["listen"], "nothing was changed"), (["demo", "--folder"], "what was made so far lies in")],
)
def test_ctrl_c_stops_quietly(
    casework: Casework,
    take: str,
    capsys: pytest.CaptureFixture[str],
    arguments: list[str],
    left_behind: str,
) -> None:
    casework.raises = KeyboardInterrupt()
    assert run(*arguments, take) == 130
    written = capsys.readouterr()
    assert written.out == ""
    assert written.err.startswith(f"beltside: stopped; {left_behind}")


def test_pictures_that_cannot_be_written_are_a_plain_error(
    casework: Casework, take: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run("listen", take, "--pictures", f"{take}/inside") == 1
    written = capsys.readouterr()
    assert written.out == ""
    assert "can't be written into" in written.err


def test_a_reader_that_goes_away_is_no_error() -> None:
    script = (
        "import sys\n"
        "from beltside.cli.problems import exit_code_of\n"
        "from beltside.cli.screen import write\n"
        "sys.exit(exit_code_of(lambda: write('a line\\n' * 100_000, sys.stdout)))\n"
    )
    with subprocess.Popen(
        [sys.executable, "-c", script],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        env={**os.environ, "PYTHONPATH": "src"},
        cwd=USAGE.parents[1],
    ) as process:
        assert process.stdout is not None
        assert process.stderr is not None
        assert process.stdout.readline() == "a line\n"
        process.stdout.close()
        said = process.stderr.read()
        assert process.wait(timeout=60) == 141
    assert said == ""


def test_the_module_runs_as_the_command() -> None:
    done = command("find", "no-such-case")
    assert done.returncode == 2
    assert done.stdout == ""
    assert "no-such-case does not exist" in done.stderr


@pytest.mark.parametrize(
    ("words", "usage"),
    [
        (["strum"], "strum [OPTIONS] TAKE..."),
        (["pulleys"], "pulleys [OPTIONS] [PHOTO]"),
        (["bolts", "torque"], "torque [OPTIONS] [THREAD]"),
        (["teardown", "agree"], "agree [OPTIONS] OFFER"),
    ],
)
def test_help_names_arguments_in_plain_words(
    words: list[str], usage: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(*words, "--help") == 0
    told = capsys.readouterr().out
    assert usage in told
    assert not re.search(r"<\w|\[\[|Path\b|\{", told)
