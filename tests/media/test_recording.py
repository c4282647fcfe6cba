"""Reading known sounds back from files a phone could have written."""

from __future__ import annotations

import wave
from collections.abc import Callable
from pathlib import Path

import av
import numpy as np
import pytest

from beltside.base.errors import OutOfRangeError, RecordingError
from beltside.media import open_recording, read_recording, write_recording
from beltside.media import recording as recording_module

from .conftest import rms_db, rumble, two_tones, write_track, write_video

LOSSLESS = (".wav", ".flac")
LOSSY = (".m4a", ".mp4", ".mov", ".webm", ".ogg", ".mp3")


@pytest.mark.parametrize("suffix", LOSSLESS)
def test_lossless_files_come_back_sample_by_sample(
    recorded: Callable[[str], Path], suffix: str
) -> None:
    samples, sample_rate_hz, report = read_recording(recorded(suffix))
    assert sample_rate_hz == 48_000
    assert samples.dtype == np.float32
    # Half a step of 16 bits is 1.5e-5.
    np.testing.assert_allclose(samples, two_tones(), atol=2e-5)
    assert report.seconds_read == 5.0
    assert report.seconds_lost == 0.0
    assert report.peak == pytest.approx(0.5, abs=1e-4)
    assert report.warnings == ()


@pytest.mark.parametrize("suffix", LOSSY)
def test_lossy_files_keep_level_channels_and_length(
    recorded: Callable[[str], Path], suffix: str
) -> None:
    samples, sample_rate_hz, report = read_recording(recorded(suffix))
    assert (sample_rate_hz, samples.shape[0]) == (48_000, 2)
    # Level of a sine of amplitude A: 20 log10(A / sqrt 2).
    middle = samples[:, 48_000:192_000]
    np.testing.assert_allclose(rms_db(middle), [-9.031, -15.051], atol=0.5)
    # 440 Hz is on channel 1 and 1000 Hz on channel 2: the strongest of the 1/3 Hz wide bins.
    strongest = np.argmax(np.abs(np.fft.rfft(middle)), axis=1) / 3.0
    np.testing.assert_allclose(strongest, [440.0, 1000.0], atol=0.34)
    assert report.seconds_read == pytest.approx(5.0, abs=0.05)
    assert report.seconds_lost == 0.0
    assert report.warnings == ()


@pytest.mark.parametrize("suffix", [".amr", ".3gp"])
def test_phone_call_quality_is_read_and_its_missing_treble_said(
    recorded: Callable[[str], Path], suffix: str
) -> None:
    samples, sample_rate_hz, report = read_recording(recorded(suffix))
    assert (sample_rate_hz, samples.shape[0]) == (8000, 1)
    assert report.seconds_read == pytest.approx(5.0, abs=0.05)
    assert len(report.warnings) == 1
    assert "nothing above 4 kHz" in report.warnings[0]


@pytest.mark.parametrize(
    ("codec", "kind", "full_scale", "offset", "tolerance"),
    [
        ("pcm_u8", "u1", 128, 128, 5e-3),
        ("pcm_s16le", "i2", 32768, 0, 2e-5),
        ("pcm_s32le", "i4", 2**31, 0, 1e-7),
        ("pcm_f32le", "f4", 1, 0, 0.0),
        ("pcm_f64le", "f8", 1, 0, 0.0),
    ],
)
def test_every_sample_format_has_full_scale_at_one(
    tmp_path: Path, codec: str, kind: str, full_scale: int, offset: int, tolerance: float
) -> None:
    wanted = two_tones(2.5)
    format_name = {"u1": "u8", "i2": "s16", "i4": "s32", "f4": "flt", "f8": "dbl"}[kind]
    exact = wanted.astype(np.float64).T.reshape(1, -1) * full_scale + offset
    coded = exact.astype(kind) if kind.startswith("f") else np.rint(exact).astype(kind)
    path = tmp_path / "take.wav"
    with av.open(str(path), "w") as container:
        track = container.add_stream(codec, rate=48_000, layout="stereo")
        frame = av.AudioFrame.from_ndarray(coded, format=format_name, layout="stereo")
        frame.sample_rate = 48_000
        container.mux(track.encode(frame))
        container.mux(track.encode(None))
    samples, _, _ = read_recording(path)
    np.testing.assert_allclose(samples, wanted, atol=tolerance)


def test_a_file_of_the_standard_library_is_read_exactly(tmp_path: Path) -> None:
    # Second implementation: the standard library's `wave` writes, including the lowest value.
    values = np.random.default_rng(1).integers(-32768, 32768, 3 * 44_100).astype("<i2")
    values[:2] = -32768, 32767
    with wave.open(str(tmp_path / "take.wav"), "wb") as file:
        file.setparams((1, 2, 44_100, 0, "NONE", ""))
        file.writeframes(values.tobytes())
    samples, sample_rate_hz, _ = read_recording(tmp_path / "take.wav")
    assert sample_rate_hz == 44_100
    np.testing.assert_array_equal(samples[0], values / np.float32(32768))
    assert samples[0, 0] == -1.0


def test_floats_beyond_full_scale_stay_as_they_are(tmp_path: Path) -> None:
    path = tmp_path / "loud.wav"
    write_float_wav(path, two_tones(3.0) * 5.0)
    samples, _, report = read_recording(path)
    np.testing.assert_allclose(samples, two_tones(3.0) * 5.0)
    assert report.peak == pytest.approx(2.5, abs=0.01)
    assert report.clipped_share == 0.0


def test_numbers_that_are_none_become_zero_and_are_said(tmp_path: Path) -> None:
    wanted = two_tones(3.0)
    broken = wanted.copy()
    broken[0, 100], broken[1, 200], broken[1, 201], broken[0, 300] = np.nan, np.inf, -np.inf, 1e30
    write_float_wav(tmp_path / "broken.wav", broken)
    samples, _, report = read_recording(tmp_path / "broken.wav")
    wanted[0, [100, 300]] = wanted[1, [200, 201]] = 0.0
    np.testing.assert_array_equal(samples, wanted)
    assert any("4 samples were no valid numbers" in line for line in report.warnings)


def write_float_wav(path: Path, samples: np.ndarray) -> None:
    with av.open(str(path), "w") as container:
        track = container.add_stream("pcm_f32le", rate=48_000, layout="stereo")
        coded = np.ascontiguousarray(samples.T).reshape(1, -1)
        frame = av.AudioFrame.from_ndarray(coded, format="flt", layout="stereo")
        frame.sample_rate = 48_000
        container.mux(track.encode(frame))
        container.mux(track.encode(None))


@pytest.mark.parametrize("suffix", [".m4a", ".wav"])
@pytest.mark.parametrize("block_s", [0.1, 0.7, 60.0])
def test_blocks_joined_are_the_whole(
    recorded: Callable[[str], Path], suffix: str, block_s: float
) -> None:
    whole = open_recording(recorded(suffix)).whole()
    with open_recording(recorded(suffix)) as recording:
        for _ in range(2):  # decoded the first time, kept from then on
            blocks = list(recording.blocks(block_s))
            assert all(block.shape[1] == round(block_s * 48_000) for block in blocks[:-1])
            assert all(block.flags.c_contiguous for block in blocks)
            np.testing.assert_array_equal(np.concatenate(blocks, axis=1), whole)
            blocks[0][:] = 0.0  # the caller's to change


def test_a_long_take_is_decoded_anew_on_each_pass_and_reads_the_same(
    recorded: Callable[[str], Path], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(recording_module, "KEPT_BYTES", 100_000)
    with open_recording(recorded(".m4a")) as recording:
        first, second = recording.whole(), recording.whole()
    np.testing.assert_array_equal(first, second)
    np.testing.assert_array_equal(first, open_recording(recorded(".m4a")).whole())


def test_what_is_known_before_reading(recorded: Callable[[str], Path]) -> None:
    with open_recording(recorded(".m4a")) as recording:
        assert (recording.sample_rate_hz, recording.channels) == (48_000, 2)
        assert recording.codec == "aac"
        assert recording.container_duration_s == pytest.approx(5.0, abs=0.05)
        assert recording.path == recorded(".m4a")


@pytest.mark.parametrize(
    ("name", "codec", "sound_codec"),
    [
        ("h264.mp4", "libx264", "aac"),
        ("h265.mov", "libx265", "aac"),
        ("vp8.webm", "libvpx", "libopus"),
    ],
)
def test_only_the_sound_of_a_video_is_read(
    tmp_path: Path, name: str, codec: str, sound_codec: str
) -> None:
    path = tmp_path / name
    write_video(path, sound=(two_tones(3.0),), codec=codec, sound_codec=sound_codec, video_s=5.0)
    samples, _, report = read_recording(path)
    np.testing.assert_allclose(rms_db(samples[:, 48_000:120_000]), [-9.031, -15.051], atol=0.5)
    assert report.seconds_read == pytest.approx(3.0, abs=0.05)
    assert report.seconds_lost == 0.0  # the picture goes on, the sound does not: nothing lost


def test_of_several_tracks_the_longest_is_read_and_that_is_said(tmp_path: Path) -> None:
    path = tmp_path / "two.mkv"
    write_video(path, sound=(two_tones(2.0) * 0.1, two_tones(4.0)))
    samples, _, report = read_recording(path)
    assert report.seconds_read == pytest.approx(4.0, abs=0.05)
    np.testing.assert_allclose(rms_db(samples[:, 96_000:144_000]), [-9.031, -15.051], atol=0.5)
    assert report.notes == ("The file holds 2 sound tracks; the longest was read.",)


def test_sound_that_starts_after_the_picture_is_said(tmp_path: Path) -> None:
    path = tmp_path / "late.mp4"
    write_video(path, sound=(two_tones(3.0),), video_s=5.0, delay_s=1.5)
    _, _, report = read_recording(path)
    assert report.seconds_read == pytest.approx(3.0, abs=0.1)
    assert "starts 1.5 s after the picture" in report.notes[0]


@pytest.mark.parametrize(
    ("name", "options"),
    [
        ("browser.webm", {"live": "1"}),
        ("browser.mp4", {"movflags": "frag_keyframe+empty_moov+default_base_moof"}),
    ],
)
def test_what_browsers_write_while_recording_is_read(
    tmp_path: Path, name: str, options: dict[str, str]
) -> None:
    path = tmp_path / name
    with av.open(str(path), "w", options=options) as container:
        track = container.add_stream("libopus", rate=48_000, layout="stereo")
        write_track(container, track, two_tones(4.0))
    samples, _, report = read_recording(path)
    np.testing.assert_allclose(rms_db(samples[:, 48_000:144_000]), [-9.031, -15.051], atol=0.5)
    assert report.seconds_read == pytest.approx(4.0, abs=0.05)
    assert report.warnings == ()


def test_one_microphone_written_twice_is_said(tmp_path: Path) -> None:
    path = tmp_path / "twice.flac"
    write_recording(path, np.repeat(rumble(2.5)[:1], 2, axis=0), 48_000)
    _, _, report = read_recording(path)
    assert report.notes == ("Both channels hold the same sound: one microphone, written twice.",)


def test_a_dead_channel_is_said(tmp_path: Path) -> None:
    noise = rumble(2.5)
    noise[1] = 0.0
    write_recording(tmp_path / "half.flac", noise, 48_000)
    _, _, report = read_recording(tmp_path / "half.flac")
    assert report.warnings == ("Channel 2 is silent; only the others carry sound.",)


def test_very_quiet_is_a_warning_and_silence_an_error(tmp_path: Path) -> None:
    write_recording(tmp_path / "quiet.wav", rumble(2.5, rms=10 ** (-70 / 20)), 48_000)
    _, _, report = read_recording(tmp_path / "quiet.wav")
    assert not report.silent
    assert report.level_db == pytest.approx(-70.0, abs=0.2)
    assert "very quiet (-70 dB" in report.warnings[0]

    # A muted input may still put out a constant value.
    write_recording(tmp_path / "muted.wav", np.full(48_000 * 3, 0.01), 48_000)
    with pytest.raises(RecordingError, match=r"silent.*microphone was probably blocked"):
        read_recording(tmp_path / "muted.wav")
    with open_recording(tmp_path / "muted.wav") as recording:
        assert sum(block.shape[1] for block in recording.blocks()) == 144_000
        assert recording.report().silent
        with pytest.raises(RecordingError, match="not permitted"):
            recording.require_usable()


def test_two_seconds_are_the_least(tmp_path: Path) -> None:
    write_recording(tmp_path / "short.wav", rumble(1.9), 48_000)
    with pytest.raises(RecordingError, match=r"holds 1\.90 s of sound.*2 s or more"):
        read_recording(tmp_path / "short.wav")
    write_recording(tmp_path / "enough.wav", rumble(2.0), 48_000)
    assert read_recording(tmp_path / "enough.wav")[2].seconds_read == 2.0


@pytest.mark.parametrize("suffix", [".wav", ".m4a", ".webm", ".mp3"])
def test_clipping_is_said_with_its_share(tmp_path: Path, suffix: str) -> None:
    # A sine driven to twice full scale lies beyond it for 2/3 of the time: |sin| > 1/2.
    time_s = np.arange(3 * 48_000) / 48_000
    write_recording(tmp_path / f"hot{suffix}", 2.0 * np.sin(2 * np.pi * 200.0 * time_s), 48_000)
    _, _, report = read_recording(tmp_path / f"hot{suffix}")
    assert report.clipped_share == pytest.approx(2 / 3, abs=0.05)
    assert any("clipped" in line for line in report.warnings)


@pytest.mark.parametrize("suffix", [".wav", ".m4a", ".webm", ".mp3"])
def test_clipped_noise_is_said(tmp_path: Path, suffix: str) -> None:
    noise = rumble(3.0, rms=0.5)
    share = np.mean(np.abs(noise) >= 1.0)
    write_recording(tmp_path / f"hot{suffix}", noise, 48_000)
    _, _, report = read_recording(tmp_path / f"hot{suffix}")
    # Lossy codecs hide part of it.
    assert 0.3 * share < report.clipped_share <= 1.05 * share
    assert any("clipped" in line for line in report.warnings)


@pytest.mark.parametrize("suffix", [".wav", ".m4a", ".webm", ".mp3"])
def test_a_loud_take_within_full_scale_is_not_called_clipped(tmp_path: Path, suffix: str) -> None:
    noise = rumble(3.0)
    write_recording(tmp_path / f"loud{suffix}", noise / np.abs(noise).max(), 48_000)
    _, _, report = read_recording(tmp_path / f"loud{suffix}")
    assert report.peak > 0.9
    assert report.warnings == ()


def test_block_length_out_of_range_is_refused(recorded: Callable[[str], Path]) -> None:
    with open_recording(recorded(".wav")) as recording, pytest.raises(OutOfRangeError):
        recording.blocks(0.0)


def test_a_file_that_changes_between_passes_is_noticed(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(recording_module, "KEPT_BYTES", 0)
    path = tmp_path / "take.wav"
    write_recording(path, rumble(2.5), 48_000)
    with open_recording(path) as recording:
        recording.report()
        write_recording(path, rumble(3.0), 48_000)
        with pytest.raises(RecordingError, match="changed while it was being read"):
            list(recording.blocks())
