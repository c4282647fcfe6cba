"""Results made by hand for charts and commands: an invented drive, an invented noise."""

from __future__ import annotations

import functools

import numpy as np

from beltside.base.provenance import Provenance
from beltside.casework.results import (
    Because,
    Crank,
    ExplainedLine,
    FindResult,
    ListenPictures,
    ListenResult,
    NextCheck,
    OrderSpectrum,
    Spectrogram,
    SuspectOdds,
)

PROVENANCE = Provenance(
    method="orders-from-sound", version=1, inputs={"sample_rate_hz": 48000, "cylinders": 4}
)

# (part, source, order, dB above its surroundings, spectrum, harmonic)
LINES = [
    ("crank", "firing", 2.0, 31.0, "sound", 1),
    ("crank", "firing", 4.0, 22.5, "sound", 2),
    ("crank", "firing", 6.0, 14.0, "sound", 3),
    ("crank", "shaft", 1.0, 11.2, "sound", 1),
    ("coolant-pump", "shaft", 1.312, 9.4, "sound", 1),
    ("coolant-pump", "vanes", 9.184, 12.1, "sound", 1),
    ("alternator", "shaft", 2.509, 13.9, "sound", 1),
    ("alternator", "shaft", 5.018, 8.0, "sound", 2),
    ("alternator", "poles", 30.11, 17.3, "sound", 1),
    ("idler", "shaft", 1.84, 7.7, "sound", 1),
    ("idler-2", "shaft", 1.97, 6.9, "sound", 1),
    ("tensioner", "shaft", 2.12, 8.8, "sound", 1),
    ("ac-compressor", "shaft", 1.38, 6.4, "sound", 1),
    ("steering-pump", "vanes", 12.0, 10.7, "sound", 1),
    ("belt", "passing rate", 0.352, 6.2, "sound", 1),
    ("timing-chain", "sprocket mesh", 20.0, 9.0, "sound", 1),
    (
        "coolant-pump",
        "bearing outer ring, one event per ball that rolls over it",
        4.02,
        18.4,
        "envelope",
        1,
    ),
    (
        "coolant-pump",
        "bearing outer ring, one event per ball that rolls over it",
        8.04,
        12.8,
        "envelope",
        2,
    ),
    (
        "coolant-pump",
        "bearing outer ring, one event per ball that rolls over it",
        12.06,
        9.1,
        "envelope",
        3,
    ),
    ("coolant-pump", "bearing cage", 0.503, 7.0, "envelope", 1),
    ("crank", "firing", 2.0, 15.0, "envelope", 1),
    ("idler", "bearing inner ring", 10.4, 6.1, "envelope", 1),
]


def lines() -> tuple[ExplainedLine, ...]:
    """Explained lines of one take, many and close together."""
    return tuple(
        ExplainedLine(part, source, order, -62.0 + up_db, up_db / 2.2, spectrum, up_db, harmonic)
        for part, source, order, up_db, spectrum, harmonic in LINES
    )


def crank(rpm: float = 762.0, seconds: float = 30.0, rise_rpm: float = 0.0) -> Crank:
    """A crank speed that wanders a little, and blips up by `rise_rpm` in the middle."""
    time_s = np.linspace(0.0, seconds, 300)
    track = rpm + 6.0 * np.sin(0.7 * time_s)
    track = track + rise_rpm * np.exp(-(((time_s - seconds / 2.0) / 4.0) ** 2))
    return Crank(
        rpm_median=float(np.median(track)),
        rpm_low=float(np.median(track)) * 0.991,
        rpm_high=float(np.median(track)) * 1.009,
        confidence=0.97,
        track=tuple((float(t), float(r)) for t, r in zip(time_s, track, strict=True)),
    )


def order_spectrum(kind: str, seed: int = 3) -> OrderSpectrum:
    """Noise on a falling background with the lines of `LINES` standing on it."""
    rng = np.random.default_rng(seed)
    order = np.arange(0.1, 48.0, 0.004)
    background = -48.0 - 9.0 * np.log10(order + 0.3)
    level = background + 10.0 * np.log10(rng.exponential(size=(6, len(order))).mean(axis=0))
    for _, _, at, up_db, spectrum, _ in LINES:
        if spectrum == kind:
            shape = up_db - ((order - at) / 0.006) ** 2
            level = np.maximum(level, background + shape)
    return OrderSpectrum(
        order, level, background, band_hz=(3400.0, 5100.0) if kind == "envelope" else None
    )


def spectrogram(track: Crank, seconds: float = 30.0, seed: int = 4) -> Spectrogram:
    """Firing harmonics that follow the track, a hum, and noise falling with frequency."""
    rng = np.random.default_rng(seed)
    time_s = np.linspace(0.0, seconds, 500)
    frequency_hz = np.linspace(0.0, 16000.0, 1025)
    rpm = np.interp(time_s, [t for t, _ in track.track], [r for _, r in track.track])
    level = -50.0 - 12.0 * np.log10(frequency_hz[:, None] / 100.0 + 1.0)
    level = level + rng.normal(scale=2.5, size=(len(frequency_hz), len(time_s)))
    for harmonic in range(1, 30):
        at = harmonic * rpm / 30.0
        near = np.exp(-(((frequency_hz[:, None] - at[None, :]) / 14.0) ** 2))
        level = level + (22.0 - 0.5 * harmonic) * near
    ring = np.exp(-(((frequency_hz - 4200.0) / 700.0) ** 2))[:, None]
    level = level + 14.0 * ring * (0.6 + 0.4 * np.sin(time_s * 6.0))[None, :]
    return Spectrogram(time_s, frequency_hz, level.astype(np.float16))


@functools.cache
def listen_result(file: str = "belt-on.m4a", rise_rpm: float = 0.0) -> ListenResult:
    """A take with everything in it."""
    track = crank(rise_rpm=rise_rpm)
    return ListenResult(
        file=file,
        crank=track,
        crank_reason=None,
        lines=lines(),
        warnings=("the phone's automatic gain moved by 6 dB; levels over time are not comparable",),
        provenance=PROVENANCE,
        pictures=ListenPictures(
            spectrogram=spectrogram(track),
            sound=order_spectrum("sound"),
            envelope=order_spectrum("envelope"),
            firing_order=2.0,
        ),
        duration_s=30.0,
    )


@functools.cache
def deaf_result(file: str = "wind.webm") -> ListenResult:
    """A take in which no engine can be heard."""
    made = spectrogram(crank())
    rng = np.random.default_rng(5)
    return ListenResult(
        file=file,
        crank=None,
        crank_reason="no firing beat stands out of the noise in more than 3 of 30 seconds; "
        "wind at the microphone covers what lies below 200 Hz",
        warnings=("clipped in 4 % of its length",),
        provenance=PROVENANCE,
        pictures=ListenPictures(
            spectrogram=Spectrogram(
                made.time_s, made.frequency_hz, rng.normal(-60.0, 4.0, made.level_db.shape)
            )
        ),
        duration_s=30.0,
    )


SUSPECTS = (
    SuspectOdds(
        "coolant-pump.bearing",
        "coolant pump bearing",
        0.7803,
        (
            Because("before any test", "one job in nine at this mileage", -3.17),
            Because(
                "belt-on.m4a",
                "outer-ring line of its bearing at order 4.02, 18.4 dB above "
                "its surroundings, with cage sidebands",
                4.61,
            ),
            Because("belt-off.m4a", "the line is gone with the belt off", 2.24),
            Because("probe-coolant-pump.m4a", "loudest with the probe on this housing", 1.45),
            Because("spin-by-hand, coolant pump", "rough", 1.9),
        ),
    ),
    SuspectOdds(
        "idler.bearing",
        "idler bearing",
        0.0921,
        (Because("belt-on.m4a", "a weak line at its inner ring, order 10.4", 0.8),),
    ),
    SuspectOdds(
        "alternator.bearing",
        "alternator bearing",
        0.0512,
        (Because("belt-on.m4a", "no line at its bearing orders", -0.7),),
    ),
    SuspectOdds("ac-compressor.clutch", "AC compressor clutch", 0.0240),
    SuspectOdds("tensioner.bearing", "tensioner bearing", 0.0201),
    SuspectOdds("other", "something else", 0.0190),
    SuspectOdds("none", "nothing wrong at the belt end", 0.0111),
    SuspectOdds("belt.misalignment", "belt misalignment", 0.0022),
)

NEXT_CHECKS = (
    NextCheck("spin-by-hand", "idler", 4.0, 0.081, "would part the idler from the coolant pump"),
    NextCheck("wiggle", "coolant-pump", 3.0, 0.052, "play in the shaft settles a worn bearing"),
    NextCheck("mist", "belt", 2.0, 0.004, "a short change of the noise points at the belt"),
)


def find_result(suspects: tuple[SuspectOdds, ...] = SUSPECTS) -> FindResult:
    """A case of two takes, one of them deaf."""
    heard, deaf = listen_result(), deaf_result()
    return FindResult(
        suspects=suspects,
        next_checks=NEXT_CHECKS,
        crank={heard.file: heard.crank, deaf.file: None},
        crank_reasons={deaf.file: deaf.crank_reason or ""},
        warnings=(
            "no take with the belt off: the sound of the belt end and of the rest of the "
            "engine can't be parted",
        ),
        listens={heard.file: heard, deaf.file: deaf},
        provenance=PROVENANCE,
    )
