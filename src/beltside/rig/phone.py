"""What a phone does to a sound: microphone, high-pass, gain control, noise suppression, coding.

All ranges are our own choice after common practice; no maker publishes them.
"""

from __future__ import annotations

import io
from dataclasses import dataclass

import numpy as np
import scipy.fft
import scipy.ndimage
import scipy.signal
import soxr
from numpy.random import Generator

from beltside.rig.surroundings import wind
from beltside.rig.synthesis import RATE_HZ, Float32, Float64, db_to_gain, minimum_phase

FRAME = 480  # gain control works on 10 ms steps


@dataclass(frozen=True)
class Phone:
    """One phone, drawn once for a case.

    Attributes
    ----------
    sample_rate_hz, channels
        What it writes; `same_ears` writes one microphone to both channels.
    high_pass_hz, high_pass_order
        Its own rumble filter.
    colour
        Frequency response as an impulse response.
    gain_db
        Fixed gain: level of a reference take [dBFS], without gain control.
    control
        Automatic gain: (target [dBFS], attack [s], release [s], most gain change [dB]) or None.
    suppression_db
        Most that noise suppression takes away [dB]; 0 is off.
    soft_clip
        Rounds off peaks instead of cutting them.
    noise_dbfs, bits
        Own noise of microphone and converter, and word length.
    aac_kbps
        Bit rate of an AAC round trip in memory; 0 is off.
    """

    sample_rate_hz: int
    channels: int
    same_ears: bool
    high_pass_hz: float
    high_pass_order: int
    colour: Float32
    gain_db: float
    control: tuple[float, float, float, float] | None
    suppression_db: float
    soft_clip: bool
    noise_dbfs: float
    bits: int
    aac_kbps: int

    @property
    def ears(self) -> int:
        """Microphones that hear something of their own."""
        return 2 if self.channels == 2 and not self.same_ears else 1


def draw_phone(rng: Generator, *, coded_share: float = 0.2) -> Phone:
    """A random phone; `coded_share` of them code to AAC in memory."""
    points = np.exp(np.linspace(np.log(50.0), np.log(20_000.0), 14))
    level = np.clip(rng.normal(0.0, float(rng.uniform(0.5, 3.5)), len(points)), -6.0, 6.0)
    level[-3:] -= float(rng.choice([0.0, 0.0, rng.uniform(3.0, 20.0)]))
    stereo = rng.random() < 0.4
    return Phone(
        sample_rate_hz=int(rng.choice([48_000, 44_100, 32_000, 16_000], p=[0.5, 0.42, 0.04, 0.04])),
        channels=2 if stereo else 1,
        same_ears=bool(rng.random() < 0.4),
        high_pass_hz=float(rng.uniform(60.0, 250.0)) if rng.random() < 0.8 else 25.0,
        high_pass_order=int(rng.choice([2, 2, 3, 4])),
        colour=minimum_phase(points, level),
        gain_db=float(rng.uniform(-46.0, -16.0)),
        control=(
            float(rng.uniform(-28.0, -12.0)),
            float(rng.uniform(0.01, 0.3)),
            float(rng.uniform(0.3, 4.0)),
            float(rng.uniform(6.0, 24.0)),
        )
        if rng.random() < 0.4
        else None,
        suppression_db=float(rng.uniform(4.0, 14.0)) if rng.random() < 0.12 else 0.0,
        soft_clip=bool(rng.random() < 0.4),
        noise_dbfs=float(rng.uniform(-95.0, -65.0)),
        bits=int(rng.choice([16, 16, 24])),
        aac_kbps=int(rng.choice([64, 96, 128, 160])) if rng.random() < coded_share else 0,
    )


def automatic_gain(
    samples: Float32, control: tuple[float, float, float, float], start_db: float
) -> Float32:
    """Bring the loudness of 10 ms frames towards a target: quick down, slow up."""
    target_db, attack_s, release_s, most_db = control
    frames = samples.shape[1] // FRAME
    cut = samples[:, : frames * FRAME].reshape(len(samples), frames, FRAME)
    level_db = 10.0 * np.log10(np.mean(cut.astype(np.float64) ** 2, axis=(0, 2)) + 1e-12)
    wished = np.clip(target_db - level_db, start_db - most_db, start_db + most_db)
    quick = 1.0 - np.exp(-0.01 / attack_s)
    slow = 1.0 - np.exp(-0.01 / release_s)
    gain_db = np.empty(frames)
    now = float(np.median(wished[: max(frames // 20, 1)]))
    for index, goal in enumerate(wished):
        now += (quick if goal < now else slow) * (goal - now)
        gain_db[index] = now
    position = (np.arange(samples.shape[1]) - FRAME / 2) / FRAME
    gain = 10.0 ** (np.interp(position, np.arange(frames), gain_db) / 20.0)
    return samples * gain.astype(np.float32)


def suppress_noise(samples: Float32, most_db: float) -> Float32:
    """Turn down whatever stays at its running minimum: steady noise goes, changes stay.

    Spectral gain over a minimum-tracked noise floor (after Martin 2001, from memory; simplified).
    """
    size, hop = 1024, 512
    window = np.sqrt(scipy.signal.windows.hann(size, sym=False)).astype(np.float32)
    frames = samples.shape[1] // hop - 1
    out = np.zeros_like(samples)
    for channel, wave in enumerate(samples):
        cuts = np.lib.stride_tricks.sliding_window_view(wave, size)[::hop][:frames] * window
        spectrum = scipy.fft.rfft(cuts, axis=-1)
        power = np.abs(spectrum) ** 2
        smooth = scipy.ndimage.uniform_filter(power, (9, 3))
        floor = scipy.ndimage.minimum_filter1d(smooth, min(141, frames), axis=0, origin=0)
        gain = np.maximum(1.0 - 1.6 * floor / (smooth + 1e-20), db_to_gain(-most_db))
        back = scipy.fft.irfft(spectrum * gain.astype(np.float32), size, axis=-1) * window
        wide = np.zeros((frames + 1, hop), dtype=np.float32)
        wide[:-1] += back[:, :hop]
        wide[1:] += back[:, hop:]
        out[channel, : wide.size] = wide.reshape(-1)[: out.shape[1]]
    return out


def record(
    rng: Generator, phone: Phone, sound: Float32, reference_rms: float, *, gusts: float = 0.0
) -> Float32:
    """What the phone writes of `sound`, shape (ears, n) at RATE_HZ, peak at most 1.

    `reference_rms` is the level that `gain_db` refers to; `gusts` the strength of wind against
    it. Gives shape (channels, about n * sample_rate_hz / RATE_HZ).
    """
    heard = scipy.signal.oaconvolve(sound, phone.colour[None, :], axes=1)[:, : sound.shape[1]]
    if gusts > 0.0:
        blow = wind(rng, sound.shape[1], gusty=True)
        heard = heard + np.float32(gusts * reference_rms) * blow
    filters = scipy.signal.butter(
        phone.high_pass_order, phone.high_pass_hz, "high", fs=RATE_HZ, output="sos"
    )
    heard = scipy.signal.sosfilt(filters, heard, axis=1).astype(np.float32)
    if phone.suppression_db > 0.0:
        heard = suppress_noise(heard, phone.suppression_db)
    start_db = phone.gain_db - 20.0 * float(np.log10(max(reference_rms, 1e-9)))
    if phone.control is not None:
        heard = automatic_gain(heard, phone.control, start_db)
    else:
        heard = heard * np.float32(db_to_gain(start_db))
    if phone.soft_clip:
        heard = np.tanh(heard)
    if phone.sample_rate_hz != RATE_HZ:
        heard = np.stack([soxr.resample(wave, RATE_HZ, phone.sample_rate_hz) for wave in heard])
    own = rng.standard_normal(heard.shape, dtype=np.float32)
    heard = heard + np.float32(db_to_gain(phone.noise_dbfs)) * own
    heard = np.clip(heard, -1.0, 1.0 - 2.0 ** (1 - phone.bits))
    step = 2.0 ** (phone.bits - 1)
    heard = (np.round(heard * step) / step).astype(np.float32)
    if phone.channels == 2 and len(heard) == 1:
        heard = np.repeat(heard, 2, axis=0)
    if phone.aac_kbps:
        heard = aac_round_trip(heard, phone.sample_rate_hz, phone.aac_kbps)
    return np.ascontiguousarray(heard)


def aac_round_trip(samples: Float32, sample_rate_hz: int, kbps: int) -> Float32:
    """Code to AAC and back in memory, same shape; the coder's delay is taken out."""
    import av  # heavy, and only some draws need it

    channels, count = samples.shape
    layout = "stereo" if channels == 2 else "mono"
    box = io.BytesIO()
    with av.open(box, "w", format="mp4") as container:
        stream = container.add_stream("aac", rate=sample_rate_hz)
        stream.bit_rate = kbps * 1000
        stream.layout = layout
        frame = av.AudioFrame.from_ndarray(
            np.ascontiguousarray(samples), format="fltp", layout=layout
        )
        frame.sample_rate = sample_rate_hz
        frame.pts = 0
        for packet in [*stream.encode(frame), *stream.encode(None)]:
            container.mux(packet)
    box.seek(0)
    with av.open(box, "r") as coded:
        parts = [frame.to_ndarray() for frame in coded.decode(audio=0)]
    back: Float64 = np.concatenate(parts, axis=1)
    out = np.zeros_like(samples)
    # The coder primes with one frame of 1024 samples, which the decoder gives back first
    # unless the container's edit list has already cut it off.
    delay = _lag(samples[0], back[0])
    usable = back[:, delay : delay + count]
    out[:, : usable.shape[1]] = usable
    return np.clip(out, -1.0, 1.0)


def _lag(first: Float32, second: Float64) -> int:
    """Samples by which `second` is late, 0 to 4096, from the peak of the cross-correlation."""
    size = min(len(first), len(second), 1 << 16)
    spectrum = scipy.fft.rfft(second[:size], 2 * size) * np.conj(
        scipy.fft.rfft(first[:size], 2 * size)
    )
    return int(np.argmax(scipy.fft.irfft(spectrum, 2 * size)[:4097]))
