"""Writes pictures that Beltside made itself."""

from __future__ import annotations

import io

import numpy as np
import numpy.typing as npt
from PIL import Image


def jpeg_bytes(pixels: npt.NDArray[np.uint8], *, quality: int = 85) -> bytes:
    """A picture as the bytes of a JPEG file.

    `pixels` are red, green, blue of shape (height, width, 3), or grey of shape (height, width).
    """
    buffer = io.BytesIO()
    Image.fromarray(pixels).save(buffer, format="JPEG", quality=quality)
    return buffer.getvalue()
