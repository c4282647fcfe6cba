"""`beltside bolts`: what is printed, exit codes, pictures, and that the page names every option."""

import json
import re
from pathlib import Path

import pytest
import typer.main

from beltside.cli.bolts import bolts_app
from beltside.cli.main import app, main

PAGE = (Path(__file__).resolve().parents[2] / "docs/usage/bolts.md").read_text("utf-8")
(PUMP,) = re.findall(r"```toml\n(.*?)```", PAGE, re.S)
OURS = ("torque", "order", "sealant", "hold", "stuck")


def run(*arguments: str) -> int:
    with pytest.raises(SystemExit) as ended:
        main(["bolts", *arguments])
    return int(ended.value.code or 0)


@pytest.fixture
def pump(tmp_path: Path) -> str:
    path = tmp_path / "pump.toml"
    path.write_text(PUMP, encoding="utf-8")
    return str(path)


def test_the_group_is_registered() -> None:
    assert "bolts" in typer.main.get_command(app).commands  # type: ignore[attr-defined]


@pytest.mark.parametrize("name", OURS)
def test_the_page_names_every_option(name: str) -> None:
    command = typer.main.get_command(bolts_app).commands[name]  # type: ignore[attr-defined]
    section = PAGE.split(f"\n## `beltside bolts {name}")[1].split("\n## ")[0]
    options = {
        option
        for parameter in command.params
        for option in parameter.opts
        if option.startswith("--")
    } - {"--help", "--json"}
    assert {option for option in options if f"{option}" not in section} == set()


def test_order_prints_and_draws(
    pump: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run("order", pump, "--pictures", str(tmp_path / "out")) == 0
    said = capsys.readouterr().out
    assert said.startswith("Tighten in this order: ")
    assert "star rule" in said
    assert (tmp_path / "out" / "bolt-order.png").stat().st_size > 5000
    assert (tmp_path / "out" / "bolt-order.svg").exists()


@pytest.mark.parametrize(
    "arguments",
    [
        ("torque", "M8", "--class", "8.8"),
        ("torque", "--head-mm", "12"),
        ("hold", "tighten", "--facing", "away"),
        ("stuck", "snapped", "--near", "coolant", "--near", "seal"),
    ],
)
def test_json_is_one_object(arguments: tuple[str, ...], capsys: pytest.CaptureFixture[str]) -> None:
    assert run(*arguments, "--json") == 0
    value = json.loads(capsys.readouterr().out)
    assert {"answer", "warnings", "cautions", "provenance", "pictures"} <= set(value)
    assert run(*arguments) == 0
    assert "CAUTION" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (("torque", "M8x5", "--class", "8.8"), "M8x1.25"),
        (("torque", "M8", "--class", "8.8", "--friction", "3"), "0.03 to 0.5"),
        (("torque", "M8", "--maker", "24 N m"), "source"),
        (("hold", "loosen", "--bolts", "2"), "strap"),
        (("stuck", "broken"), "snapped"),
        (("order", "nowhere.toml"), "does not exist"),
    ],
)
def test_bad_input_is_off(
    arguments: tuple[str, ...], said: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(*arguments) == 2
    output = capsys.readouterr()
    assert said in output.err
    assert output.out == ""


def test_without_a_command_the_help_is_shown(capsys: pytest.CaptureFixture[str]) -> None:
    assert run() == 0
    said = capsys.readouterr().out
    assert all(name in said for name in OURS)


def test_stages_in_per_cent(pump: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert run("order", pump, "--stages", "50, 100 %", "--json") == 0
    stages = json.loads(capsys.readouterr().out)["stages"]
    assert [stage["share"] for stage in stages] == [0.5, 1.0]
    assert run("order", pump, "--stages", "half") == 2
