"""Distance, and what the probe does."""

import numpy as np
import pytest

from beltside.rig.layout import draw_drive
from beltside.rig.room import FRONT, air_path, draw_room, free_field_gain, make_paths


def test_level_falls_6_db_per_doubling_of_distance() -> None:
    # Free field: 20 log10(2) = 6.02 dB.
    for distance_m in (0.2, 0.5, 1.3):
        step_db = 20 * np.log10(free_field_gain(distance_m) / free_field_gain(2 * distance_m))
        assert step_db == pytest.approx(6.02, abs=0.005)


def test_direct_sound_comes_with_the_delay_of_the_way() -> None:
    rng = np.random.default_rng(1)
    room = draw_room(rng, draw_drive(rng))
    ears = [np.array([0.0, 0.0, 1.0]), np.array([0.0, 0.0, 1.0 + 0.343])]
    path = air_path(rng, room, np.zeros(3), ears, 0.9)
    first = [int(np.flatnonzero(np.abs(ear) > 1e-6)[0]) for ear in path]
    # 0.343 m at 343 m/s is 1 ms: 48 samples at 48 kHz.
    assert first[1] - first[0] == pytest.approx(48, abs=1)


def test_probe_lifts_the_touched_part_above_its_neighbours() -> None:
    rng = np.random.default_rng(2)
    lifts, leads = [], []
    for _ in range(25):
        drive = draw_drive(rng, needed=("coolant-pump", "alternator", "idler"))
        room = draw_room(rng, drive)
        front = make_paths(rng, room, FRONT)
        probe = make_paths(rng, room, "coolant-pump")
        level = {
            part: 10 * np.log10(np.sum(probe.of(part) ** 2) / np.sum(front.of(part) ** 2))
            for part in ("coolant-pump", "alternator", "idler", "engine")
        }
        lifts.append(level["coolant-pump"])
        leads.append(
            level["coolant-pump"] - max(v for k, v in level.items() if k != "coolant-pump")
        )
    assert 5.0 < np.mean(lifts) < 25.0
    assert np.mean(np.array(leads) > 0.0) > 0.9
