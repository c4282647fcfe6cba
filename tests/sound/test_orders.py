"""Order and power spectra against scipy.signal.welch, scipy.signal.spectrogram and closed forms."""

import numpy as np
import pytest
from scipy import signal

from beltside.base.errors import InputError, OutOfRangeError
from beltside.sound.angle import AngleSignal
from beltside.sound.orders import (
    HANN_NOISE_BINS,
    combine,
    effective_averages,
    join,
    order_map,
    order_spectrum,
    power_spectrum,
    spectrogram,
)

STEPS = 64


def angle_signal(values: np.ndarray, start_turn: float = 0.0) -> AngleSignal:
    return AngleSignal(np.asarray(values, dtype=np.float32), STEPS, start_turn)


def noise(turns: int, seed: int = 0) -> np.ndarray:
    return np.random.default_rng(seed).standard_normal(turns * STEPS)


def test_a_sine_on_a_bin_shows_half_its_amplitude_squared() -> None:
    turn = np.arange(400 * STEPS) / STEPS
    found = order_spectrum(angle_signal(0.4 * np.sin(2 * np.pi * 2.5 * turn)), 20, 20)
    assert found.order[1] == pytest.approx(0.05)
    assert found.power[50] == pytest.approx(0.08, rel=1e-4)
    assert found.order[int(np.argmax(found.power))] == pytest.approx(2.5)
    # The Hann window shows a quarter of it in either neighbour.
    assert found.power[49] == pytest.approx(0.02, rel=1e-3)


@pytest.mark.parametrize("overlap", [0.5, 0.75])
def test_agrees_with_scipy_welch(overlap: float) -> None:
    values = noise(300, 1) + 3.0
    found = order_spectrum(angle_signal(values), 20, 32, overlap)
    size = 20 * STEPS
    _, wanted = signal.welch(
        values - values.mean(), STEPS, "hann", size, round(size * overlap),
        detrend=False, scaling="spectrum",
    )  # fmt: skip
    assert found.power[1:] == pytest.approx(wanted[1:], rel=2e-4)


def test_power_spectrum_agrees_with_scipy_welch() -> None:
    values = np.random.default_rng(2).standard_normal((2, 40_000))
    found = power_spectrum(values, 8000.0, 1024)
    frequency_hz, wanted = signal.welch(
        values, 8000.0, "hann", 1024, 512, detrend=False, scaling="spectrum"
    )
    assert found.frequency_hz == pytest.approx(frequency_hz)
    assert found.power == pytest.approx(wanted, rel=1e-6)


def test_sum_over_bins_is_one_and_a_half_times_the_mean_square() -> None:
    values = noise(400, 3)
    found = order_spectrum(angle_signal(values), 20, 32)
    assert found.power.sum() / HANN_NOISE_BINS == pytest.approx(np.mean(values**2), rel=0.01)


def test_a_constant_offset_changes_nothing() -> None:
    plain = order_spectrum(angle_signal(noise(100)), 20, 20)
    offset = order_spectrum(angle_signal(noise(100) + 50.0), 20, 20)
    assert offset.power == pytest.approx(plain.power, rel=1e-3, abs=1e-7)


@pytest.mark.parametrize(("overlap", "seed"), [(0.5, 1), (0.75, 2)])
def test_averages_tell_the_variance(overlap: float, seed: int) -> None:
    """Variance over mean squared of a Gaussian-noise bin is 1 / averages (Welch 1967)."""
    rng = np.random.default_rng(seed)
    spectra = [
        order_spectrum(angle_signal(rng.standard_normal(60 * STEPS)), 10, 30, overlap)
        for _ in range(60)
    ]
    power = np.array([spectrum.power[5:] for spectrum in spectra])
    found = np.mean(power) ** 2 / np.mean(np.var(power, axis=0))
    assert found == pytest.approx(spectra[0].averages, rel=0.06)


def test_separate_segments_count_in_full() -> None:
    assert effective_averages(signal.get_window("hann", 64), 64, 9) == pytest.approx(9.0)


def test_two_blocks_combined_weigh_by_averages() -> None:
    short = order_spectrum(angle_signal(noise(60, 4)), 20, 20)
    long = order_spectrum(angle_signal(noise(300, 5)), 20, 20)
    both = combine([short, long])
    assert both.averages == pytest.approx(short.averages + long.averages)
    assert both.turns == pytest.approx(360.0)
    share = short.averages / both.averages
    assert both.power == pytest.approx(share * short.power + (1 - share) * long.power)
    with pytest.raises(InputError, match="share"):
        combine([short, order_spectrum(angle_signal(noise(60)), 10, 20)])
    with pytest.raises(InputError):
        combine([])


def test_several_rows_at_once() -> None:
    rows = np.stack([noise(100, 6), noise(100, 7)])
    both = order_spectrum(angle_signal(rows), 20, 20)
    assert both.power[1] == pytest.approx(
        order_spectrum(angle_signal(rows[1]), 20, 20).power, rel=1e-4
    )


def test_map_shows_when_a_line_is_there() -> None:
    turn = np.arange(400 * STEPS) / STEPS
    tone = np.where(turn > 200, np.sin(2 * np.pi * 4 * turn), 0.0)
    found = order_map(angle_signal(tone, start_turn=1000.0), 10, 1, most_columns=100)
    assert found.power.shape[0] <= 100
    assert found.turn[0] >= 1005.0
    assert found.turn[-1] <= 1395.0
    row = int(np.argmin(np.abs(found.order - 4)))
    assert np.all(found.power[found.turn < 1190, row] < 1e-3)
    assert found.power[found.turn > 1210, row] == pytest.approx(0.5, rel=0.01)


def test_spectrogram_agrees_with_scipy_on_a_linear_axis() -> None:
    values = np.random.default_rng(8).standard_normal(16_000).astype(np.float32)
    found = spectrogram(
        values, 8000.0, rows=512, frame_samples=1024, logarithmic=False, most_columns=10_000
    )
    _, time_s, wanted = signal.spectrogram(
        values, 8000.0, "hann", 1024, 512, detrend=False, scaling="spectrum"
    )
    assert found.time_s == pytest.approx(time_s)
    # Row r holds the bin at its lower edge only, as rows and bins are equally wide.
    assert pytest.approx(wanted[:512], rel=1e-3, abs=1e-7) == found.power.T


def test_rows_narrower_and_wider_than_a_bin_show_the_same_density() -> None:
    """White noise has one mean power in every bin, so in every row of a logarithmic axis too."""
    values = np.random.default_rng(9).standard_normal(400_000).astype(np.float32)
    found = spectrogram(values, 16_000.0, rows=120, frame_samples=1024, low_hz=50.0)
    wanted = 2.0 / 1024 * HANN_NOISE_BINS
    rows = found.power.mean(axis=0)
    assert rows[:40] == pytest.approx(wanted, rel=0.2)  # up to 270 Hz: one bin each
    assert rows[-40:-1] == pytest.approx(wanted, rel=0.15)
    assert rows[-40:-1].mean() == pytest.approx(wanted, rel=0.01)


def test_spectrogram_rows_times_and_joining() -> None:
    rate_hz = 16_000.0
    time_s = np.arange(int(4 * rate_hz)) / rate_hz
    tone = np.sin(2 * np.pi * 1000.0 * time_s).astype(np.float32)
    found = spectrogram(tone, rate_hz, 10.0, rows=200, frame_samples=2048)
    loudest = found.frequency_hz[np.argmax(found.power.mean(axis=0))]
    assert loudest == pytest.approx(1000.0, rel=0.02)
    assert 10.0 < found.time_s[0] < 10.1
    joined = join([found, spectrogram(tone, rate_hz, 14.0, rows=200, frame_samples=2048)], 20)
    assert joined.power.shape == (joined.time_s.size, 200)
    assert joined.time_s.size <= 20
    assert np.all(np.diff(joined.time_s) > 0)
    assert joined.power.mean() == pytest.approx(found.power.mean(), rel=0.05)
    with pytest.raises(InputError):
        join([])


def test_refuses_what_it_cannot_do() -> None:
    good = angle_signal(noise(30))
    with pytest.raises(OutOfRangeError, match="segments"):
        order_spectrum(good, 40, 20)
    with pytest.raises(OutOfRangeError, match="orders up to"):
        order_spectrum(good, 20, 40)
    with pytest.raises(OutOfRangeError, match="overlap"):
        order_spectrum(good, 20, 20, overlap=0.9)
    with pytest.raises(InputError, match="not finite"):
        order_spectrum(angle_signal(np.full(4000, np.nan)), 20, 20)
    with pytest.raises(OutOfRangeError, match="values"):
        power_spectrum(np.zeros(100), 8000.0, 1024)
    with pytest.raises(OutOfRangeError, match="rows"):
        spectrogram(np.zeros(8000), 8000.0, rows=1)
    with pytest.raises(OutOfRangeError, match="rate"):
        power_spectrum(np.zeros(4000), -1.0, 1024)
