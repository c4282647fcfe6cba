"""Write a simulated case as a technician's folder: phone files, drive.toml, case.toml."""

from __future__ import annotations

import json
from collections.abc import Sequence
from pathlib import Path

from beltside.drive.sheet import Bearing, DriveSheet, Pulley
from beltside.rig.draws import RigCase
from beltside.rig.takes import RigTake


def write_case(case: RigCase, folder: Path, *, suffixes: Sequence[str] = (".m4a",)) -> Path:
    """Write the takes (suffixes in turn), the drive sheet and the case; give the case file.

    Parameters
    ----------
    folder
        Made when missing.
    suffixes
        File types of `media.write_recording`, such as ".m4a"; used in turn.

    Raises
    ------
    InputError
        From `media.write_recording`: a file type or rate it cannot write.
    """
    from beltside.media import write_recording  # draws need no codecs

    folder.mkdir(parents=True, exist_ok=True)
    names = []
    for index, take in enumerate(case.takes):
        name = f"{take.name}{suffixes[index % len(suffixes)]}"
        write_recording(folder / name, take.samples, take.sample_rate_hz)
        names.append(name)
    (folder / "drive.toml").write_text(drive_toml(case.sheet), encoding="utf-8")
    path = folder / "case.toml"
    path.write_text(case_toml(case.takes, names), encoding="utf-8")
    return path


def _text(value: str) -> str:
    # A JSON string with ASCII escapes is a valid TOML basic string.
    return json.dumps(value)


def _number(value: float) -> str:
    return f"{value:g}"


def _bearing(bearing: Bearing) -> str:
    parts = [
        f"balls = {bearing.balls}",
        f"ball_mm = {_number(bearing.ball_mm)}",
        f"pitch_mm = {_number(bearing.pitch_mm)}",
    ]
    if bearing.contact_deg:
        parts.append(f"contact_deg = {_number(bearing.contact_deg)}")
    return f"{{ {', '.join(parts)} }}"


def _pulley(pulley: Pulley) -> list[str]:
    lines = ["", "[[pulley]]", f"part = {_text(pulley.part)}"]
    if pulley.x_mm is not None and pulley.y_mm is not None:
        lines += [f"x_mm = {_number(pulley.x_mm)}", f"y_mm = {_number(pulley.y_mm)}"]
    lines += [f"diameter_mm = {_number(pulley.diameter_mm)}", f"face = {_text(pulley.face)}"]
    for key in ("poles", "vanes", "fan_blades"):
        count = getattr(pulley, key)
        if count is not None:
            lines.append(f"{key} = {count}")
    if pulley.bearing is not None:
        lines.append(f"bearing = {_bearing(pulley.bearing)}")
    return lines


def drive_toml(sheet: DriveSheet) -> str:
    """The drive sheet in the format of docs/formats.md."""
    engine, belt = sheet.engine, sheet.belt
    lines = [f"name = {_text(sheet.name or 'front drive')}", "", "[engine]"]
    lines += [f"cylinders = {engine.cylinders}", f"strokes = {engine.strokes}"]
    if engine.idle_rpm is not None:
        lines.append(f"idle_rpm = {_number(engine.idle_rpm)}")
    if engine.crank_sprocket_teeth is not None:
        lines.append(f"crank_sprocket_teeth = {engine.crank_sprocket_teeth}")
    lines += ["", "[belt]", f"profile = {_text(belt.profile)}"]
    if belt.ribs is not None:
        lines.append(f"ribs = {belt.ribs}")
    if belt.length_mm is not None:
        lines.append(f"length_mm = {_number(belt.length_mm)}")
    for pulley in sheet.pulleys:
        lines += _pulley(pulley)
    return "\n".join(lines) + "\n"


def case_toml(takes: Sequence[RigTake], names: Sequence[str]) -> str:
    """The case file for takes stored under `names`."""
    lines = ['drive = "drive.toml"']
    for take, name in zip(takes, names, strict=True):
        lines += ["", "[[take]]", f"file = {_text(name)}", f"belt = {_text(take.belt)}"]
        lines.append(f"place = {_text(take.place)}")
        if take.load:
            lines.append(f"load = [{', '.join(_text(word) for word in take.load)}]")
    return "\n".join(lines) + "\n"
