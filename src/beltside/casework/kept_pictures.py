"""Picture data of a take as small plain values: what a chart of a phone's width can show."""

from __future__ import annotations

import base64
import zlib
from collections.abc import Mapping
from typing import Any, Final

import numpy as np
import numpy.typing as npt

from beltside.base.errors import InputError
from beltside.casework.picture_data import ListenPictures, OrderSpectrum, Spectrogram

MOST_MOMENTS: Final = 400
MOST_FREQUENCIES: Final = 160
MOST_ORDERS: Final = 4000
_DB_STEP: Final = 0.5
"""Levels of the spectrogram are kept to this [dB]; strips over order to 0.1 dB."""


def pictures_to_json(pictures: ListenPictures) -> dict[str, Any]:
    """Plain values, a few tens of kilobytes; `pictures_from_json` reads them back."""
    return {
        "spectrogram": _spectrogram(pictures.spectrogram) if pictures.spectrogram else None,
        "sound": _strip(pictures.sound) if pictures.sound else None,
        "envelope": _strip(pictures.envelope) if pictures.envelope else None,
        "firing_order": pictures.firing_order,
    }


def pictures_from_json(plain: Mapping[str, Any]) -> ListenPictures:
    """What `pictures_to_json` wrote."""
    spectrogram, sound, envelope = plain["spectrogram"], plain["sound"], plain["envelope"]
    return ListenPictures(
        _read_spectrogram(spectrogram) if spectrogram else None,
        _read_strip(sound) if sound else None,
        _read_strip(envelope) if envelope else None,
        plain["firing_order"],
    )


def _spectrogram(one: Spectrogram) -> dict[str, Any]:
    level = np.asarray(one.level_db, dtype=np.float64)
    columns = _groups(level.shape[1], MOST_MOMENTS)
    rows = _groups(level.shape[0], MOST_FREQUENCIES)
    # The loudest of what falls together: a mean would hide a short squeal or a narrow tone.
    level = np.maximum.reduceat(level, rows, axis=0)
    level = np.maximum.reduceat(level, columns, axis=1)
    top = float(level.max())
    steps = np.clip(np.round((top - level) / _DB_STEP), 0, 255).astype(np.uint8)
    return {
        "time_s": np.round(one.time_s[columns], 3).tolist(),
        "frequency_hz": np.round(one.frequency_hz[rows], 1).tolist(),
        "top_db": top,
        "below_top": _pack(steps),
    }


def _read_spectrogram(plain: Mapping[str, Any]) -> Spectrogram:
    time_s = np.asarray(plain["time_s"], dtype=np.float64)
    frequency_hz = np.asarray(plain["frequency_hz"], dtype=np.float64)
    steps = _unpack(plain["below_top"], np.uint8, (frequency_hz.size, time_s.size))
    level = float(plain["top_db"]) - _DB_STEP * steps.astype(np.float32)
    return Spectrogram(time_s, frequency_hz, level.astype(np.float32))


def _strip(one: OrderSpectrum) -> dict[str, Any]:
    starts = _groups(one.order.size, MOST_ORDERS)
    level = np.maximum.reduceat(np.asarray(one.level_db, dtype=np.float64), starts)
    background = np.maximum.reduceat(np.asarray(one.background_db, dtype=np.float64), starts)
    return {
        "order": _pack(np.asarray(one.order[starts], dtype=np.float32)),
        "count": int(starts.size),
        "level": _pack(_tenths(level)),
        "background": _pack(_tenths(background)),
        "band_hz": list(one.band_hz) if one.band_hz else None,
    }


def _read_strip(plain: Mapping[str, Any]) -> OrderSpectrum:
    shape = (int(plain["count"]),)
    band = plain["band_hz"]
    return OrderSpectrum(
        _unpack(plain["order"], np.float32, shape).astype(np.float64),
        _unpack(plain["level"], np.int16, shape) / 10.0,
        _unpack(plain["background"], np.int16, shape) / 10.0,
        (float(band[0]), float(band[1])) if band else None,
    )


def _tenths(level_db: npt.NDArray[np.float64]) -> npt.NDArray[np.int16]:
    return np.clip(np.round(10.0 * level_db), -32000, 32000).astype(np.int16)


def _groups(count: int, most: int) -> npt.NDArray[np.intp]:
    """Where each of at most `most` groups of neighbours begins."""
    return np.unique(np.linspace(0, count, min(count, most), endpoint=False).astype(np.intp))


def _pack(values: npt.NDArray[Any]) -> str:
    return base64.b64encode(zlib.compress(values.tobytes(), 6)).decode("ascii")


def _unpack(text: str, kind: Any, shape: tuple[int, ...]) -> npt.NDArray[Any]:
    wanted = int(np.prod(shape)) * np.dtype(kind).itemsize
    data = zlib.decompressobj().decompress(base64.b64decode(text), wanted + 1)
    if len(data) != wanted:
        raise InputError("kept picture data of another size than they say")
    return np.frombuffer(data, dtype=kind).reshape(shape)
