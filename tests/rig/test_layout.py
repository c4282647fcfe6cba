"""The drive: belt length against a handbook example, ratios, and what the sheet leaves out."""

import numpy as np
import pytest

from beltside.rig.engine import draw_engine
from beltside.rig.layout import belt_length, draw_drive, measured_sheet


def test_open_and_crossed_belt_length() -> None:
    # Shigley, Mechanical Engineering Design, ch. 17 (eq. 17-1, 17-2 and solutions): pulleys of
    # 6 and 18 in, centres 96 in: open belt 230.074 in. Crossed, by the formula: 231.201 in.
    small, large = (0.0, 0.0, 3.0), (96.0, 0.0, 9.0)
    assert belt_length([(*small, "ribbed"), (*large, "ribbed")]) == pytest.approx(230.074, abs=1e-3)
    assert belt_length([(*small, "ribbed"), (*large, "back")]) == pytest.approx(231.201, abs=1e-3)


def test_random_drives_are_buildable() -> None:
    rng = np.random.default_rng(8)
    for _ in range(60):
        drive = draw_drive(rng)
        assert drive.parts[0] == "crank"
        assert len(set(drive.parts)) == len(drive.parts) >= 3
        assert 500.0 < drive.belt_length_mm < 4000.0
        ribbed = [pulley for pulley in drive.pulleys if pulley.face == "ribbed"]
        for index, one in enumerate(ribbed):
            for other in ribbed[index + 1 :]:
                apart = np.hypot(one.x_mm - other.x_mm, one.y_mm - other.y_mm)
                assert apart > (one.diameter_mm + other.diameter_mm) / 2


def test_ratio_follows_pitch_diameters_and_creep() -> None:
    # (D + 2b) / (d + 2b) with b from 0 to 2 mm, less at most 1 % of creep.
    rng = np.random.default_rng(9)
    for _ in range(40):
        drive = draw_drive(rng)
        crank = drive.pulley("crank")
        for pulley in drive.pulleys[1:]:
            if pulley.face != "ribbed":
                continue
            ends = [(crank.diameter_mm + 2 * b) / (pulley.diameter_mm + 2 * b) for b in (0.0, 2.0)]
            assert 0.99 * min(ends) - 1e-9 <= pulley.ratio <= max(ends) + 1e-9
        shafts = drive.shafts()
        assert shafts["belt"].ratio == pytest.approx(
            np.pi * (crank.diameter_mm + 2.0) / drive.belt_length_mm, rel=0.02
        )


def test_sheet_is_measured_with_small_errors_and_gaps() -> None:
    rng = np.random.default_rng(11)
    sheets, errors = [], []
    engine = draw_engine(rng)
    for _ in range(150):
        drive = draw_drive(rng)
        sheet = measured_sheet(rng, drive, engine, "x")
        sheets.append(sheet)
        for true, read in zip(drive.pulleys, sheet.pulleys, strict=True):
            errors.append(abs(read.diameter_mm - true.diameter_mm) - 0.005 * true.diameter_mm)
            assert read.bearing in (None, true.bearing)
    assert max(errors) <= 0.25 + 1e-9  # half of the 0.5 mm a rule is read to
    with_bearing = np.mean([any(p.bearing for p in sheet.pulleys) for sheet in sheets])
    assert 0.3 < with_bearing < 0.6
    assert 0.1 < np.mean([sheet.belt.length_mm is None for sheet in sheets]) < 0.5
    assert 0.3 < np.mean([sheet.pulleys[0].x_mm is None for sheet in sheets]) < 0.7
