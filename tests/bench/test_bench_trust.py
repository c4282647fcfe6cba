"""Fewer hostile files and kills than the benches do, with the same seeds; and a short line fitted.

What a valid file is comes from other programs: PyAV, Pillow, the standard library.
"""

from __future__ import annotations

import contextlib
import random
import subprocess
import sys
import tempfile
import tomllib
import zipfile
from collections.abc import Iterator
from io import BytesIO
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

sys.path.insert(0, str(Path(__file__).parents[2] / "bench"))

import full_disk
from beltside.casework.shop import open_shop
from full_disk import Trial, filled_up, read_only
from hostile import MOST_S, outcomes, try_one
from hostile_files import KINDS, WAYS, broken, valid
from kill_points import pattern
from soak import slope

BENCH = Path(__file__).parents[2] / "bench"


def test_the_valid_ones_are_read(tmp_path: Path) -> None:
    """Else nothing but refusals would be tried."""
    with open_shop(tmp_path / "shop") as shop:
        shop.record.new_job([("note", {"words": "here"})], by="x")
        for kind in KINDS:
            assert try_one(shop, kind, valid(kind)) == ("read", ""), kind
    assert tomllib.loads(valid("toml").decode())["belt"]["ribs"] == 6
    assert zipfile.ZipFile(BytesIO(valid("zip"))).testzip() is None
    assert Image.open(BytesIO(valid("jpeg"))).getexif().get_ifd(0x8825)


@pytest.mark.parametrize("way", WAYS)
def test_every_way_breaks_something_the_same_each_time(way: str) -> None:
    data = valid("png")
    made = [WAYS[way](random.Random(3), bytearray(data), {"png": data}) for _ in range(2)]
    assert made[0] == made[1]
    tries = [WAYS[way](random.Random(n), bytearray(data), {"csv": b"a,b"}) for n in range(5)]
    assert any(bytes(one) != data for one in tries)


def test_hostile_files_are_read_or_refused_in_our_words() -> None:
    """Of every kind three, seeds 1 to 36 of the bench."""
    found = list(outcomes(1, 3 * len(KINDS)))
    wrong = [one for one in found if one.became not in ("read", "refused")]
    assert wrong == []
    assert {one.kind for one in found} == set(KINDS)
    for one in found:
        assert one.became == "read" or one.said.strip(), one.seed
    assert MOST_S == 10.0


def test_seeds_give_the_same_files() -> None:
    files = {kind: valid(kind) for kind in ("csv", "toml")}
    once = [broken(random.Random(n), files, "toml") for n in range(20)]
    assert once == [broken(random.Random(n), files, "toml") for n in range(20)]


def test_kills_lose_nothing() -> None:
    """One of each kind, seed 1 of the bench, in a process of its own: forking is safe there."""
    done = subprocess.run(
        [sys.executable, str(BENCH / "kill_points.py"), "--count", "10"],
        capture_output=True,
        text=True,
        check=False,
        timeout=550,
    )
    assert done.returncode == 0, done.stderr
    assert "0 of 10 kills lost or half did something" in done.stdout, done.stdout


def test_a_rise_is_found_and_noise_is_none() -> None:
    """Ordinary least squares on lines whose rise is known."""
    rng = np.random.default_rng(5)
    hours = list(np.linspace(5, 24, 480))
    flat, error = slope(hours, list(180 + rng.normal(0, 1.0, 480)))
    assert abs(flat) < 3 * error
    rise, error = slope(hours, list(180 + 0.5 * np.array(hours) + rng.normal(0, 1.0, 480)))
    assert rise == pytest.approx(0.5, abs=3 * error)


@pytest.fixture(scope="module")
def models() -> Iterator[Path]:
    """A folder that a process without rights reaches too, with a shop to begin with."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        _, zip_file = pattern(folder / "model")
        for path in (folder, folder / "model"):
            path.chmod(0o755)
        zip_file.chmod(0o644)
        yield folder


def on_full_disk(models: Path, kind: str) -> Trial:
    zip_file = models / "model" / "jobs.zip"
    with tempfile.TemporaryDirectory(dir=models) as here:
        return filled_up(models / "model", zip_file, Path(here) / "t", kind, 200_000)


@pytest.mark.parametrize("kind", ["upload", "restore", "analysis"])
def test_a_disk_fills_up(models: Path, kind: str) -> None:
    """A disk of its own where this user may mount one, else a quota."""
    done = on_full_disk(models, kind)
    assert done.wrong == ()
    assert done.acknowledged > 0 or kind == "restore"
    assert not done.mounted or "full" in done.said or "No space left" in done.said


@pytest.mark.parametrize("kind", ["upload", "restore"])
def test_a_quota_is_reached(models: Path, kind: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """As where nobody may mount a disk."""
    monkeypatch.setattr(full_disk, "small_disk", lambda *_: contextlib.nullcontext(False))
    done = on_full_disk(models, kind)
    assert done.wrong == ()
    assert not done.mounted


@pytest.mark.parametrize("kind", ["upload", "backup", "restore", "closing", "forgetting", "rescue"])
def test_a_folder_may_only_be_read(models: Path, kind: str) -> None:
    here = models / f"shut-{kind}"
    here.mkdir()
    done = read_only(models / "model", models / "model" / "jobs.zip", here, kind)
    assert done.wrong == ()
