"""The decoding process ends with its reader, and nothing gets more than its share."""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from beltside.base.errors import LimitError, OutOfRangeError
from beltside.media import Limits, open_recording, read_recording, write_recording
from beltside.media import recording as recording_module
from beltside.media.child_process import DecodingChild

from .conftest import rumble


@pytest.fixture
def children(monkeypatch: pytest.MonkeyPatch) -> list[DecodingChild]:
    started: list[DecodingChild] = []

    class Watched(DecodingChild):
        def __init__(self, descriptor: int, readable_bytes: int, limits: Limits) -> None:
            super().__init__(descriptor, readable_bytes, limits)
            started.append(self)

    monkeypatch.setattr(recording_module, "DecodingChild", Watched)
    return started


@pytest.fixture
def long_take(tmp_path: Path) -> Path:
    """More than may be decoded ahead, so that its decoding process waits for its reader."""
    path = tmp_path / "long.wav"
    write_recording(path, np.tile(rumble(2.0), 60), 48_000)
    return path


def is_running(child: DecodingChild) -> bool:
    return child._process.poll() is None


def test_one_process_serves_opening_and_the_first_pass(
    long_take: Path, children: list[DecodingChild]
) -> None:
    with open_recording(long_take) as recording:
        assert is_running(children[0])
        list(recording.blocks())
        assert len(children) == 1
        assert not is_running(children[0])


def test_stopping_early_ends_the_process(long_take: Path, children: list[DecodingChild]) -> None:
    recording = open_recording(long_take)
    blocks = recording.blocks(1.0)
    next(blocks)
    assert is_running(children[0])
    blocks.close()
    assert not is_running(children[0])
    assert sum(block.shape[1] for block in recording.blocks()) == 120 * 48_000


def test_closing_or_dropping_a_recording_ends_its_process(
    long_take: Path, children: list[DecodingChild]
) -> None:
    with open_recording(long_take):
        assert is_running(children[0])
    assert not is_running(children[0])
    recording = open_recording(long_take)
    assert is_running(children[1])
    del recording
    assert not is_running(children[1])


def test_a_process_that_dies_halfway_leaves_what_was_read(
    long_take: Path, children: list[DecodingChild]
) -> None:
    recording = open_recording(long_take)
    blocks = recording.blocks(1.0)
    seconds = len([next(blocks)])
    children[0]._process.terminate()
    seconds += sum(1 for _ in blocks)
    assert 1 <= seconds < 120
    report = recording.report()
    assert "reading broke off" in report.warnings[0]
    assert report.seconds_lost == pytest.approx(120 - report.seconds_read)


def test_longer_than_allowed_is_refused_from_the_header(recorded: Callable[[str], Path]) -> None:
    with pytest.raises(LimitError, match="Allowed"):
        open_recording(recorded(".m4a"), Limits(max_duration_s=4.0))


def test_longer_than_allowed_is_stopped_when_the_header_does_not_say(tmp_path: Path) -> None:
    path = tmp_path / "endless.wav"
    write_recording(path, rumble(10.0), 48_000)
    data = bytearray(path.read_bytes())
    at = data.index(b"data") + 4
    data[at : at + 4] = b"\xff\xff\xff\xff"  # as written to a pipe
    path.write_bytes(data)
    assert read_recording(path)[2].seconds_read == 10.0
    recording = open_recording(path, Limits(max_duration_s=10.0))
    assert recording.report().seconds_read == 10.0
    with pytest.raises(LimitError), open_recording(path, Limits(max_duration_s=4.0)) as recording:
        list(recording.blocks())


def test_a_whole_take_larger_than_allowed_is_refused(long_take: Path) -> None:
    limits = Limits()
    with open_recording(long_take, limits) as recording:
        # Lower than `Limits` accepts, so that a small file will do.
        object.__setattr__(limits, "max_memory_bytes", 20 << 20)
        with pytest.raises(LimitError, match=r"takes more than 20 MiB.*block by block"):
            recording.whole()


def test_waiting_has_an_end(recorded: Callable[[str], Path]) -> None:
    with pytest.raises(LimitError, match="took too long"):
        open_recording(recorded(".m4a"), Limits(max_stall_s=0.01))


def test_memory_stays_flat_over_ten_minutes(tmp_path: Path) -> None:
    """230 MB of samples pass through well under that in the reader and in the decoder."""
    path = tmp_path / "long.flac"
    write_recording(path, np.tile(rumble(2.0), 300), 48_000)
    program = (
        "import resource, sys\n"
        "from beltside.media import open_recording\n"
        "seconds = sum(b.shape[1] for b in open_recording(sys.argv[1]).blocks(10.0)) / 48000\n"
        "own = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss\n"
        "child = resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss\n"
        "print(seconds, own / 1024, child / 1024)\n"
    )
    # A process starts with the high-water mark of the one that starts it, which is this large
    # test run: so a small one goes between.
    between = "import subprocess, sys; sys.exit(subprocess.call(sys.argv[1:]))"
    answer = subprocess.run(
        [sys.executable, "-S", "-c", between, sys.executable, "-c", program, str(path)],
        capture_output=True,
        text=True,
        check=True,
    )
    seconds, own_mib, child_mib = (float(part) for part in answer.stdout.split())
    assert seconds == 600.0
    assert own_mib < 150.0
    assert child_mib < 100.0


def test_limits_that_make_no_sense_are_refused() -> None:
    for wrong in ({"max_duration_s": 0.0}, {"max_channels": 0}, {"max_memory_bytes": 1 << 20}):
        with pytest.raises(OutOfRangeError, match="allowed"):
            Limits(**wrong)
