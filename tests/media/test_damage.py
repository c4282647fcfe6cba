"""Files that are damaged, cut short, hostile, or no recordings at all."""

from __future__ import annotations

import contextlib
import struct
from collections.abc import Callable
from pathlib import Path

import av
import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from PIL import Image

from beltside.base.errors import BeltsideError, InputError, LimitError, RecordingError
from beltside.media import Limits, open_recording, read_recording, write_recording

from .conftest import rms_db, rumble, write_track, write_video


def cut(path: Path, target: Path, share: float) -> Path:
    """The first `share` of a file."""
    data = path.read_bytes()
    target.write_bytes(data[: int(len(data) * share)])
    return target


# -- not a recording --------------------------------------------------------------------------


def test_a_missing_file_and_a_folder_are_named(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="there is no such file"):
        open_recording(tmp_path / "nowhere.m4a")
    with pytest.raises(InputError, match="is a folder"):
        open_recording(tmp_path)
    with pytest.raises(InputError, match="there is no such file"):
        open_recording(tmp_path / "nowhere" / "take.m4a")


def test_a_device_is_refused() -> None:
    with pytest.raises(InputError, match="no ordinary file"):
        open_recording("/dev/zero")


@pytest.mark.parametrize(
    ("content", "says"),
    [
        (b"", "empty (0 bytes)"),
        (bytes(50_000), "nothing but zeros"),
        ("Motorgeräusch am Riemen, bitte anhören\n".encode(), "is text"),
        (b"%PDF-1.7\n%\xe2\xe3\xcf\xd3 rest", "a PDF document"),
        (b"PK\x03\x04" + bytes(range(256)), "an archive"),
        (np.random.default_rng(5).bytes(100_000), "not a recording, or too damaged to tell"),
        (b"R", "is text"),
    ],
)
def test_what_is_no_recording_is_called_what_it_is(
    tmp_path: Path, content: bytes, says: str
) -> None:
    path = tmp_path / "take.m4a"
    path.write_bytes(content)
    with pytest.raises(RecordingError) as caught:
        open_recording(path)
    assert says in str(caught.value)
    assert "take.m4a" in str(caught.value)


@pytest.mark.parametrize("suffix", [".png", ".jpg", ".webp", ".gif", ".bmp"])
def test_a_picture_is_called_a_picture(tmp_path: Path, suffix: str) -> None:
    path = tmp_path / f"belt{suffix}"
    Image.new("RGB", (40, 30), "grey").save(path)
    with pytest.raises(RecordingError, match="is a picture"):
        open_recording(path)


def test_a_video_without_sound_says_so(tmp_path: Path) -> None:
    write_video(tmp_path / "mute.mp4", sound=())
    with pytest.raises(RecordingError, match=r"a video without sound.*microphone switched on"):
        open_recording(tmp_path / "mute.mp4")


def test_a_playlist_may_not_open_the_recording_it_points_at(
    tmp_path: Path, recorded: Callable[[str], Path]
) -> None:
    take = tmp_path / "take.wav"
    take.write_bytes(recorded(".wav").read_bytes())
    lists = {
        "list.m3u8": "#EXTM3U\n#EXT-X-TARGETDURATION:5\n#EXTINF:5,\ntake.wav\n#EXT-X-ENDLIST\n",
        "list.ffconcat": "ffconcat version 1.0\nfile take.wav\n",
        "list.m4a": f"ffconcat version 1.0\nfile {take}\n",
        "list.wav": f"#EXTM3U\n#EXT-X-TARGETDURATION:5\n#EXTINF:5,\nfile://{take}\n",
    }
    for name, text in lists.items():
        (tmp_path / name).write_text(text)
        with pytest.raises(RecordingError, match="a playlist"):
            open_recording(tmp_path / name)


# -- cut short and damaged --------------------------------------------------------------------


@pytest.mark.parametrize("suffix", [".wav", ".flac", ".mp3", ".webm"])
def test_a_cut_file_is_read_as_far_as_it_goes_and_the_loss_is_said(
    tmp_path: Path, recorded: Callable[[str], Path], suffix: str
) -> None:
    path = cut(recorded(suffix), tmp_path / f"cut{suffix}", 0.6)
    samples, sample_rate_hz, report = read_recording(path)
    assert 2.0 < report.seconds_read < 4.0
    assert report.seconds_read + report.seconds_lost == pytest.approx(5.0, abs=0.15)
    assert "cut short" in report.warnings[0]
    assert f"{report.seconds_lost:.1f} s are lost" in report.warnings[0]
    middle = samples[:, sample_rate_hz // 2 : sample_rate_hz * 2]
    np.testing.assert_allclose(rms_db(middle), [-9.031, -15.051], atol=0.5)


@pytest.mark.parametrize("suffix", [".m4a", ".mp4", ".mov", ".3gp"])
def test_a_recording_that_was_never_finished_says_what_to_do(
    tmp_path: Path, recorded: Callable[[str], Path], suffix: str
) -> None:
    path = cut(recorded(suffix), tmp_path / f"cut{suffix}", 0.6)
    with pytest.raises(RecordingError, match=r"index.*missing.*record again, or send the original"):
        open_recording(path)


def test_a_cut_m4a_with_its_index_at_the_front_is_read(tmp_path: Path) -> None:
    path = tmp_path / "front.m4a"
    with av.open(str(path), "w", options={"movflags": "faststart"}) as container:
        track = container.add_stream("aac", rate=48_000, layout="stereo")
        write_track(container, track, rumble(5.0))
    _, _, report = read_recording(cut(path, tmp_path / "cut.m4a", 0.6))
    assert report.cut_short
    assert report.seconds_read + report.seconds_lost == pytest.approx(5.0, abs=0.05)


@pytest.mark.parametrize("kind", ["wav", "m4a"])
def test_a_file_cut_at_its_tail_says_how_little_is_lost(tmp_path: Path, kind: str) -> None:
    """5 s with the last tenth of a second cut off, by bytes in a WAV and by packets in an M4A."""
    path = tmp_path / f"front.{kind}"
    options = {"movflags": "faststart"} if kind == "m4a" else {}
    with av.open(str(path), "w", options=options) as container:
        codec = "aac" if kind == "m4a" else "pcm_s16le"
        track = container.add_stream(codec, rate=48_000, layout="stereo")
        write_track(container, track, rumble(5.0))
    _, _, report = read_recording(cut(path, tmp_path / f"cut.{kind}", 0.98))
    assert report.cut_short
    assert report.seconds_read == pytest.approx(4.9, abs=0.1)
    assert "cut short at its very end" in report.warnings[0]
    assert "less than 0.25 s are lost" in report.warnings[0]


def test_a_cut_ogg_says_that_its_length_cannot_be_told(
    tmp_path: Path, recorded: Callable[[str], Path]
) -> None:
    assert not read_recording(recorded(".ogg"))[2].cut_short
    _, _, report = read_recording(cut(recorded(".ogg"), tmp_path / "cut.ogg", 0.6))
    assert report.cut_short
    assert "how much is missing cannot be told" in report.warnings[0]


@pytest.mark.parametrize("share", np.linspace(0.5, 0.95, 10))
def test_a_browsers_mp4_cut_anywhere_is_read_up_to_there(tmp_path: Path, share: float) -> None:
    path = tmp_path / "browser.mp4"
    options = {"movflags": "empty_moov+default_base_moof", "frag_duration": "100000"}
    with av.open(str(path), "w", options=options) as container:
        track = container.add_stream("libopus", rate=48_000, layout="stereo")
        write_track(container, track, rumble(5.0))
    _, _, report = read_recording(cut(path, tmp_path / "cut.mp4", float(share)))
    assert report.seconds_read == pytest.approx(5.0 * share, abs=0.3)
    assert report.cut_short
    assert "at its very end" not in report.warnings[0], "its length grows with the file"


@pytest.mark.parametrize(
    ("suffix", "least_s"),
    # A WebM can only be taken up again at its next cluster, and this one has a single cluster.
    [(".m4a", 4.0), (".mp3", 4.0), (".flac", 4.0), (".webm", 2.4)],
)
def test_damage_in_the_middle_costs_only_the_damaged_part(
    tmp_path: Path, recorded: Callable[[str], Path], suffix: str, least_s: float
) -> None:
    data = bytearray(recorded(suffix).read_bytes())
    middle = len(data) // 2
    data[middle : middle + len(data) // 10] = np.random.default_rng(2).bytes(len(data) // 10)
    path = tmp_path / f"damaged{suffix}"
    path.write_bytes(data)
    samples, _, report = read_recording(path)
    assert least_s < report.seconds_read <= 5.1
    assert report.warnings
    assert "damaged" in report.warnings[0] or "could not be decoded" in report.warnings[0]
    np.testing.assert_allclose(rms_db(samples[:, 24_000:96_000]), [-9.031, -15.051], atol=0.5)


# -- hostile headers --------------------------------------------------------------------------


def wav_header(*, rate_hz: int = 48_000, channels: int = 2, data_bytes: int = 400_000) -> bytes:
    """A WAV of 400,000 zero bytes whose header may claim anything."""
    head = struct.pack(
        "<4sIHHIIHH",
        b"fmt ",
        16,
        1,
        channels,
        rate_hz,
        min(rate_hz * channels * 2, 0xFFFFFFFF),
        channels * 2,
        16,
    )
    body = head + struct.pack("<4sI", b"data", data_bytes) + bytes(400_000)
    return b"RIFF" + struct.pack("<I", 4 + len(body)) + b"WAVE" + body


@pytest.mark.parametrize(
    ("header", "says"),
    [
        (wav_header(rate_hz=2_000_000_000), "sample rate as 2000000000 Hz"),
        (wav_header(rate_hz=1), "sample rate as 1 Hz"),
        (wav_header(channels=500), "number of channels as 500"),
        (wav_header(rate_hz=8000, channels=1, data_bytes=0x7FF00000 - 0x10000), "min long"),
    ],
)
def test_absurd_claims_are_refused(tmp_path: Path, header: bytes, says: str) -> None:
    path = tmp_path / "bomb.wav"
    path.write_bytes(header)
    with pytest.raises(LimitError) as caught:
        open_recording(path)
    assert says in str(caught.value)
    assert "Allowed" in str(caught.value)


def test_a_file_larger_than_allowed_is_not_opened(tmp_path: Path) -> None:
    path = tmp_path / "large.wav"
    write_recording(path, rumble(3.0), 48_000)
    with pytest.raises(LimitError, match="MiB"):
        open_recording(path, Limits(max_file_bytes=1000))


@settings(
    max_examples=20,
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)
@given(
    suffix=st.sampled_from([".m4a", ".webm", ".ogg", ".mp3", ".flac", ".wav", ".3gp", ".amr"]),
    seed=st.integers(0, 2**32 - 1),
    flips=st.integers(1, 400),
    headers_only=st.booleans(),
    kept_share=st.floats(0.05, 1.0),
)
def test_no_damage_gets_past_the_reader(
    tmp_path: Path,
    recorded: Callable[[str], Path],
    suffix: str,
    seed: int,
    flips: int,
    headers_only: bool,
    kept_share: float,
) -> None:
    """Random bytes in random places: a plain error, or sound of the promised shape."""
    random = np.random.default_rng(seed)
    data = bytearray(recorded(suffix).read_bytes())
    reach = min(len(data), 600) if headers_only else len(data)
    for place in random.integers(0, reach, flips if not headers_only else 1 + flips // 40):
        data[place] = random.integers(0, 256)
    path = tmp_path / f"fuzzed{suffix}"
    path.write_bytes(data[: max(1, int(len(data) * kept_share))])
    with contextlib.suppress(BeltsideError), open_recording(path) as recording:
        total = 0
        for block in recording.blocks(1.0):
            assert block.dtype == np.float32
            assert block.shape[0] == recording.channels
            assert np.isfinite(block).all()
            total += block.shape[1]
        report = recording.report()
        assert report.seconds_read == total / recording.sample_rate_hz
        assert report.seconds_lost >= 0.0
        assert 0.0 <= report.clipped_share <= 1.0
