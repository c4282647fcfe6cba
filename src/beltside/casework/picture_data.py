"""The arrays charts are drawn from, reduced to what a picture can show."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy.typing as npt


@dataclass(frozen=True)
class Spectrogram:
    """Level over time and frequency, reduced for a picture (some 600 x 300 values are plenty).

    Attributes
    ----------
    time_s
        Moments, rising, shape (t,) [s].
    frequency_hz
        Frequencies, rising, shape (f,) [Hz].
    level_db
        Shape (f, t) [dB]; any float or integer type.
    """

    time_s: npt.NDArray[Any]
    frequency_hz: npt.NDArray[Any]
    level_db: npt.NDArray[Any]

    def __post_init__(self) -> None:
        expected = (len(self.frequency_hz), len(self.time_s))
        if self.level_db.shape != expected:
            raise ValueError(f"level_db has shape {self.level_db.shape}; expected {expected}")


@dataclass(frozen=True)
class OrderSpectrum:
    """Level over crank order.

    Attributes
    ----------
    order
        Events per crank turn, rising, shape (n,).
    level_db
        Level, shape (n,) [dB].
    background_db
        Level of the surroundings each line is judged against, shape (n,) [dB].
    band_hz
        For an envelope spectrum: the band whose loudness was followed (low, high) [Hz].
    """

    order: npt.NDArray[Any]
    level_db: npt.NDArray[Any]
    background_db: npt.NDArray[Any]
    band_hz: tuple[float, float] | None = None

    def __post_init__(self) -> None:
        if not self.order.shape == self.level_db.shape == self.background_db.shape:
            raise ValueError("order, level_db and background_db differ in shape")


@dataclass(frozen=True)
class ListenPictures:
    """What the charts of one take are drawn from; any of it may be missing.

    `firing_order` is the number of firings per crank turn (cylinders x 2 / strokes).
    """

    spectrogram: Spectrogram | None = None
    sound: OrderSpectrum | None = None
    envelope: OrderSpectrum | None = None
    firing_order: float | None = None
