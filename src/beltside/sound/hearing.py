"""Everything the later rooms want to know of a take's sound, gathered block by block.

`hear_block` works on one block of about half a minute with the crank track known; `merge` joins
the blocks. What is kept does not grow with the length of the take, except for the picture's
columns, which are thinned on joining.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
import numpy.typing as npt

from beltside.base.errors import OutOfRangeError
from beltside.sound.angle import PASS_SHARE, AngleSignal, resample_to_angle
from beltside.sound.bands import Band, BandEnvelope, block_spectrum, envelopes_of, plan_bands
from beltside.sound.events import Squeal, squeals
from beltside.sound.gate import Float64
from beltside.sound.orders import (
    HANN_NOISE_BINS,
    OrderSpectrum,
    PowerSpectrum,
    Spectrogram,
    combine,
    join,
    order_spectrum,
    power_spectrum,
    spectrogram,
)
from beltside.sound.track import CrankTrack

ENVELOPE_ORDER_TOP: Final = 40.0
"""Highest order looked at in the envelopes: four times a pulley's fastest bearing rate."""

SOUND_ORDER_TOP: Final = 160.0
"""Highest order looked at in the sound: the second harmonic of an alternator's slot passing."""

SEGMENT_TURNS: Final = 32.0
"""Turns in one spectrum: lines 1/32 of an order apart are told apart, and ten seconds at idle
still give several spectra to average."""

ENOUGH_TURNS: Final = 240.0
"""Turns that are enough to look at under a speed that is only likely; own choice."""

ENVELOPE_RATE_TOP_HZ: Final = 5000.0
LOWEST_BAND_HZ: Final = 400.0

BLOCK_S: Final = 30.0
"""Length of a block [s]: long enough for averages, short enough for flat memory."""


@dataclass(frozen=True)
class OrderHearing:
    """What the crank's angle brings out.

    Attributes
    ----------
    sound
        Order spectrum of the sound, up to `SOUND_ORDER_TOP` where the rate allows.
    envelope
        Order spectra of each band's squared envelope over its own mean, power (bands, k): a
        modulation by the share m of the mean shows m^2 / 2.
    """

    sound: OrderSpectrum
    envelope: OrderSpectrum


@dataclass(frozen=True)
class Hearing:
    """One take, or one block of it, as heard.

    Attributes
    ----------
    bands
        The bands of the rows below.
    band_power
        Mean square of the sound in each band, shape (bands,).
    band_quiet
        The level it stays above 90 % of the time, as mean square, shape (bands,).
    band_kurtosis
        Mean square of the squared envelope over its squared mean, minus 2: 0 for steady noise,
        -1 for a steady tone, large for bursts, shape (bands,). A band wider than the envelope's
        sampling rate shows only its slower beats, so that noise reads below 0 there.
    spectrum
        Power spectrum over frequency.
    orders
        With the crank's angle, or None when its speed is not known.
    squeals
        Tones that come and go.
    picture
        Reduced spectrogram.
    seconds
        Length [s].
    """

    bands: tuple[Band, ...]
    band_power: Float64
    band_quiet: Float64
    band_kurtosis: Float64
    spectrum: PowerSpectrum
    orders: OrderHearing | None
    squeals: tuple[Squeal, ...]
    picture: Spectrogram
    seconds: float


def hear_block(
    samples: npt.NDArray[np.float32],
    sample_rate_hz: float,
    *,
    start_s: float = 0.0,
    track: CrankTrack | None = None,
) -> Hearing:
    """Hear one block.

    Parameters
    ----------
    samples
        Mono, shape (n,), 1 s or more.
    sample_rate_hz
        Its rate, 4000 or more [Hz].
    start_s
        Moment of the first sample on the track's clock [s].
    track
        Crank track, or None when it can't be told.

    Raises
    ------
    OutOfRangeError
        When the block is under 1 s.
    """
    seconds = samples.size / sample_rate_hz
    if seconds < 1.0:
        raise OutOfRangeError(
            f"a block of {seconds:.2f} s", allowed="1 s or more", instead="30 s blocks"
        )
    bands = plan_bands(sample_rate_hz, LOWEST_BAND_HZ)
    block = block_spectrum(samples, sample_rate_hz)
    envelopes = envelopes_of(block, bands, _envelope_rate_hz(track, start_s, seconds))
    level = [_band_level(envelope) for envelope in envelopes]
    return Hearing(
        bands=bands,
        # The squared envelope of a band is twice its mean square.
        band_power=np.array([one[0] for one in level]) / 2.0,
        band_quiet=np.array([one[1] for one in level]) / 2.0,
        band_kurtosis=np.array([one[2] for one in level]),
        spectrum=power_spectrum(samples, sample_rate_hz, _spectrum_size(sample_rate_hz)),
        orders=(
            None if track is None else _by_angle(samples, sample_rate_hz, start_s, track, envelopes)
        ),
        squeals=squeals(samples, sample_rate_hz, start_s, track),
        picture=spectrogram(
            samples,
            sample_rate_hz,
            start_s,
            rows=256,
            low_hz=15.0,
            most_columns=300,
            frame_samples=_spectrum_size(sample_rate_hz) // 2,
        ),
        seconds=seconds,
    )


def orders_of_block(
    samples: npt.NDArray[np.float32], sample_rate_hz: float, tracks: Sequence[CrankTrack]
) -> list[OrderHearing | None]:
    """What other crank tracks bring out of a block, at a part of the time of `hear_block`.

    Parameters
    ----------
    samples
        Mono, shape (n,), 1 s or more, from the tracks' 0 s on; of a fast track the first
        `ENOUGH_TURNS` count.
    sample_rate_hz
        Its rate, 4000 or more [Hz].
    tracks
        The crank tracks.

    Returns
    -------
    list
        For each track; None when the block holds too few turns.
    """
    if not tracks:
        return []
    seconds = samples.size / sample_rate_hz
    rate_hz = max(_envelope_rate_hz(track, 0.0, seconds) for track in tracks)
    bands = plan_bands(sample_rate_hz, LOWEST_BAND_HZ)
    envelopes = envelopes_of(block_spectrum(samples, sample_rate_hz), bands, rate_hz)
    found = []
    for track in tracks:
        kept_s = min(seconds, ENOUGH_TURNS * 60.0 / track.rpm_median)
        first = [
            replace(one, squared=one.squared[: round(kept_s * one.rate_hz)]) for one in envelopes
        ]
        part = samples[: round(kept_s * sample_rate_hz)]
        found.append(_by_angle(part, sample_rate_hz, 0.0, track, first))
    return found


def merge(parts: Sequence[Hearing]) -> Hearing:
    """Successive blocks of one take as one.

    Means are weighted by length. Squeals that touch across a block's edge stay apart.
    """
    if len(parts) == 1:
        return parts[0]
    seconds = np.array([part.seconds for part in parts])
    share = seconds / seconds.sum()

    def mean(name: str) -> Float64:
        rows = np.array([getattr(part, name) for part in parts])
        result: Float64 = (rows * share[:, None]).sum(axis=0)
        return result

    with_orders = [part.orders for part in parts if part.orders is not None]
    first = parts[0]
    return Hearing(
        bands=first.bands,
        band_power=mean("band_power"),
        band_quiet=mean("band_quiet"),
        band_kurtosis=mean("band_kurtosis"),
        spectrum=PowerSpectrum(
            first.spectrum.frequency_hz,
            np.sum([part.spectrum.power * s for part, s in zip(parts, share, strict=True)], axis=0),
            float(sum(part.spectrum.averages for part in parts)),
        ),
        orders=_merge_orders(with_orders) if with_orders else None,
        squeals=tuple(squeal for part in parts for squeal in part.squeals),
        picture=join([part.picture for part in parts]),
        seconds=float(seconds.sum()),
    )


def _merge_orders(parts: Sequence[OrderHearing]) -> OrderHearing:
    """Blocks whose orders reach the same height; the others are cut to the lowest."""

    def cut(spectra: list[OrderSpectrum]) -> OrderSpectrum:
        size = min(spectrum.order.size for spectrum in spectra)
        return combine(
            [
                OrderSpectrum(one.order[:size], one.power[..., :size], one.averages, one.turns)
                for one in spectra
            ]
        )

    return OrderHearing(cut([part.sound for part in parts]), cut([part.envelope for part in parts]))


def _spectrum_size(sample_rate_hz: float) -> int:
    """About 0.17 s, a power of two [samples]."""
    return int(2 ** round(np.log2(sample_rate_hz * 0.17)))


def _fastest_hz(track: CrankTrack, start_s: float, seconds: float) -> float:
    """Fastest crank speed in the block [turns/s]."""
    inside = (track.time_s > start_s) & (track.time_s < start_s + seconds)
    ends = track.rpm_at(np.array([start_s, start_s + seconds]))
    return float(np.concatenate((ends, track.rpm[inside])).max()) / 60.0


def _envelope_rate_hz(track: CrankTrack | None, start_s: float, seconds: float) -> float:
    if track is None:
        return 1000.0
    wanted = 2.0 * ENVELOPE_ORDER_TOP * _fastest_hz(track, start_s, seconds) / 0.8
    return float(np.clip(wanted, 600.0, ENVELOPE_RATE_TOP_HZ))


def _band_level(envelope: BandEnvelope) -> tuple[float, float, float]:
    """Mean, 10 % lowest level over 20 ms, and kurtosis of one band's squared envelope."""
    squared = np.maximum(envelope.squared, 0.0)
    mean = float(squared.mean(dtype=np.float64))
    if mean <= 0.0:
        return 0.0, 0.0, 0.0
    step = max(round(0.02 * envelope.rate_hz), 1)
    short = squared[: squared.size // step * step].reshape(-1, step).mean(axis=1)
    kurtosis = float(np.mean(np.square(squared, dtype=np.float64))) / mean**2 - 2.0
    return mean, float(np.percentile(short, 10)), kurtosis


def _by_angle(
    samples: npt.NDArray[np.float32],
    sample_rate_hz: float,
    start_s: float,
    track: CrankTrack,
    envelopes: Sequence[BandEnvelope],
) -> OrderHearing | None:
    seconds = samples.size / sample_rate_hz
    fastest_hz = _fastest_hz(track, start_s, seconds)
    sound_top = min(SOUND_ORDER_TOP, 0.45 * sample_rate_hz / fastest_hz)
    sound = resample_to_angle(
        samples, sample_rate_hz, start_s, track, int(np.ceil(2.0 * sound_top / PASS_SHARE))
    )
    segment_turns = min(SEGMENT_TURNS, float(int(sound.turns)))
    if segment_turns < 4.0:
        return None
    per_turn = int(np.ceil(2.0 * ENVELOPE_ORDER_TOP / PASS_SHARE))
    rows: list[npt.NDArray[np.float32] | None] = [None] * len(envelopes)
    start_turn = 0.0
    by_rate: dict[tuple[float, int], list[int]] = {}
    for index, envelope in enumerate(envelopes):
        by_rate.setdefault((envelope.rate_hz, envelope.squared.size), []).append(index)
    for (rate_hz, _), members in by_rate.items():
        stack = np.stack([_over_its_mean(envelopes[index]) for index in members])
        angle = resample_to_angle(stack, rate_hz, start_s, track, per_turn)
        start_turn = angle.start_turn
        for index, row in zip(members, angle.values, strict=True):
            rows[index] = row
    length = min(row.size for row in rows if row is not None)
    together = np.stack([row[:length] for row in rows if row is not None])
    envelope_turns = min(segment_turns, float(int(length / per_turn)))
    return OrderHearing(
        sound=order_spectrum(sound, segment_turns, sound_top),
        envelope=order_spectrum(
            AngleSignal(together, per_turn, start_turn), envelope_turns, ENVELOPE_ORDER_TOP
        ),
    )


def _over_its_mean(envelope: BandEnvelope) -> npt.NDArray[np.float32]:
    """The squared envelope over its running mean (about 1 s), so that loudness drifts and the
    phone's automatic gain do not count; single knocks are limited to 30 times the mean."""
    squared = np.maximum(envelope.squared, 0.0)
    step = max(round(envelope.rate_hz), 1)
    count = max(squared.size // step, 1)
    means = np.array([part.mean() for part in np.array_split(squared, count)])
    middle = (np.arange(count) + 0.5) * squared.size / count
    running = np.interp(np.arange(squared.size), middle, means)
    quiet = max(float(means.mean()) * 1e-3, 1e-30)
    over: npt.NDArray[np.float32] = np.minimum(squared / np.maximum(running, quiet), 30.0).astype(
        np.float32
    )
    return over


def mean_square(spectrum: PowerSpectrum) -> float:
    """Mean square of the sound a power spectrum was made of."""
    return float(spectrum.power.sum()) / HANN_NOISE_BINS
