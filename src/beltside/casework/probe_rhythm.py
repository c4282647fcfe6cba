"""At which probed place the noise's own rhythm is loudest, whoever's rhythm it is.

`lead_bearing` and its like ask for lines the drive sheet predicts. But a rhythm that is not the
engine's shows in the takes whether or not anybody can name it, and it is strongest at the housing
it comes from. So: orders at which the loudness beats in any take with the belt on, less the
engine's half orders and what is still there with the belt off; then how much of such beats each
place holds. Tones that are not the engine's are taken the same way.
docs/methods/odds.md explains each measure.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np
import numpy.typing as npt

from beltside.casework.contrasts import Pair
from beltside.casework.families import Surprises

Float64 = npt.NDArray[np.float64]

SURPRISING: Final = 5.0
"""-ln p from which an order counts, by how far it is above; chosen on simulated whole rounds."""

CLEAR: Final = 9.0
ENOUGH: Final = 3.0
"""The leads count in full once clearer orders are above the first by so much together: among many
orders some surprise by chance."""

STILL_THERE: Final = 6.0
BESIDE_BINS: Final = 3
"""-ln p from which an order is still there with the belt off, there or so many bins beside."""

LEADS: Final = ("lead", "rank", "top")
WAYS: Final = ("beat", "beat_depth", "tone")
"""Beats with their power over the engine's own lines; how deep they are alone; tones."""

PROBE_RHYTHM: Final = tuple(f"{way}_{lead}" for way in WAYS for lead in LEADS)
"""Lead over the middle of the other places, and over the next best; whether it is the best."""


def probe_rhythm(
    probes: Sequence[Pair], off: Sequence[Pair], together: Surprises | None
) -> dict[str, Float64]:
    """PROBE_RHYTHM of each probed place, by its name, each shape (len(PROBE_RHYTHM),).

    Parameters
    ----------
    probes
        All takes with the probe on a part; of a part probed twice the first counts.
    off
        Takes with the belt off.
    together
        Spectra of all takes with the belt on, None without a crank speed.
    """
    places = {str(pair[0].conditions.part): pair for pair in reversed(probes) if _usable(pair)}
    if together is None or len(places) < 2:
        return {}
    gone = off[0][1].surprises if off else None
    beats, sure_beats = _weights(
        together.envelope.minus_log_p[:-1].max(axis=0) * together.envelope.usable,
        None if gone is None else gone.envelope.minus_log_p[:-1].max(axis=0),
    )
    tones, sure_tones = _weights(
        together.sound.minus_log_p[0] * together.sound.usable,
        None if gone is None else gone.sound.minus_log_p[0],
    )
    size = np.array([_held(pair, beats, tones) for pair in places.values()])
    size_db = 10.0 * np.log10(size + 1e-9)
    table = np.zeros((len(places), len(WAYS), len(LEADS)))
    for index in range(len(places)):
        rest = np.delete(size_db, index, axis=0)
        table[index, :, 0] = np.clip((size_db[index] - np.median(rest, axis=0)) / 8.0, -2.5, 2.5)
        table[index, :, 1] = np.clip((size_db[index] - rest.max(axis=0)) / 8.0, -2.5, 2.5)
        table[index, :, 2] = size[index] > np.maximum(np.delete(size, index, axis=0).max(0), 1e-9)
    table *= np.array([sure_beats, sure_beats, sure_tones])[:, None]
    return {name: row.ravel() for name, row in zip(places, table, strict=True)}


def _usable(pair: Pair) -> bool:
    return pair[0].conditions.belt != "off" and pair[1].surprises is not None


def _weights(row: Float64, gone: Float64 | None) -> tuple[Float64, float]:
    """How much each order counts, shape (bins,), and how sure it is that any does, 0 to 1."""
    weights = np.maximum(row - SURPRISING, 0.0)
    if gone is not None:
        size = min(weights.size, gone.size)
        # Rolling elements slip, so a rhythm comes back a bin or two beside.
        padded = np.pad(gone[:size], BESIDE_BINS)
        window = 2 * BESIDE_BINS + 1
        near = np.lib.stride_tricks.sliding_window_view(padded, window).max(axis=1)
        weights = np.where(near < STILL_THERE, weights[:size], 0.0)
    clear = float(np.maximum(weights - (CLEAR - SURPRISING), 0.0).sum())
    return weights, min(clear / ENOUGH, 1.0)


def _held(pair: Pair, beats: Float64, tones: Float64) -> tuple[float, float, float]:
    """How much of these beats and tones a place holds, in each of WAYS."""
    hearing, measured = pair[0].hearing, pair[1]
    assert measured.surprises is not None
    assert measured.reference_db is not None
    reference = 10.0 ** (measured.reference_db / 10.0)
    envelope, sound = measured.surprises.envelope, measured.surprises.sound
    bands = len(hearing.bands)
    size = min(beats.size, envelope.usable.size)
    over = np.maximum(envelope.excess[:bands, :size] - 1.0, 0.0)
    depth = (over * envelope.background[:bands, :size]) @ beats[:size]
    size = min(tones.size, sound.usable.size)
    tone = np.maximum(sound.excess[0, :size] - 1.0, 0.0) * sound.background[0, :size]
    return (
        float(depth @ hearing.band_power) / reference,
        float(depth.sum()),
        float(tone @ tones[:size]) / reference,
    )
