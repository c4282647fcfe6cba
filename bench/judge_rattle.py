"""Loose things by the judge: a mass on a spring between stops, driven by the engine's swing."""

from __future__ import annotations

import numpy as np
from scipy import signal

from judge_motion import Turning
from judge_tools import Array, train

# Steps of the sum over time [1/s]; arms and lashes move below 100 Hz.
STEP_HZ = 2000


def hits(
    push: Array, natural_hz: float, damping: float, gap: float, bounce: float
) -> tuple[Array, Array]:
    """When and how fast a driven mass strikes its two stops.

    Parameters
    ----------
    push
        Acceleration on the mass, STEP_HZ times a second.
    natural_hz, damping
        Of the mass on its spring; 0 Hz for one that floats free.
    gap
        From the middle to either stop, in the units of `push` / s^-2.
    bounce
        Share of the speed it keeps.

    Returns
    -------
    Times [s] and speeds at the blows.
    """
    step = 1.0 / STEP_HZ
    stiff = (2.0 * np.pi * natural_hz) ** 2
    drag = 2.0 * damping * 2.0 * np.pi * max(natural_hz, 5.0)
    place = speed = 0.0
    times, speeds = [], []
    for number, force in enumerate(push.tolist()):
        speed += step * (force - stiff * place - drag * speed)
        place += step * speed
        if abs(place) > gap and place * speed > 0.0:
            # Pressed on the stop it gains no more than a step's push: that is no blow.
            if abs(speed) > 4.0 * step * abs(force):
                times.append(number * step)
                speeds.append(abs(speed))
            place, speed = (gap if place > 0.0 else -gap), -bounce * speed
    return np.array(times), np.array(speeds)


def swing_push(turning: Turning) -> Array:
    """The crank's swing as an acceleration, STEP_HZ times a second, for any housing on it."""
    every = np.arange(int(turning.size * STEP_HZ / turning.rate_hz)) * turning.rate_hz / STEP_HZ
    slow = np.interp(every, np.arange(turning.size), turning.swing * turning.rpm)
    return np.asarray(np.gradient(slow) * STEP_HZ)


def rattle(
    turning: Turning,
    rng: np.random.Generator,
    push: Array,
    *,
    natural_hz: float,
    damping: float,
    gap: float,
    bounce: float,
    sharpness: float = 1.3,
) -> Array:
    """Blows of a loose part. `gap` is against how far it would swing without stops at idle."""
    # What it would do without stops, from its transfer function, sets the scale of the gap.
    freqs = np.fft.rfftfreq(push.size, 1.0 / STEP_HZ)
    stiff = (2.0 * np.pi * max(natural_hz, 3.0)) ** 2
    loss = 2j * damping * 2.0 * np.pi * max(natural_hz, 5.0) * 2.0 * np.pi * freqs
    free = np.fft.irfft(np.fft.rfft(push) / (stiff - (2.0 * np.pi * freqs) ** 2 + loss), push.size)
    idle_share = float(np.mean(turning.pace)) ** 2
    reach = float(np.std(free)) * idle_share
    noise = signal.lfilter([0.05], [1.0, -0.95], rng.standard_normal(push.size))
    shaken = push + float(np.std(push)) * 0.6 * noise
    times, speeds = hits(shaken, natural_hz, damping, gap * reach, bounce)
    scale = float(np.std(push)) / (2.0 * np.pi * 30.0) or 1.0
    heights = (speeds / scale) ** sharpness * rng.lognormal(0.0, 0.2, times.size)
    return train(turning.size, times * turning.rate_hz + rng.uniform(0, 8, times.size), heights)
