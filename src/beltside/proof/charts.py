"""The charts of `listen` and `find`, and saving them as PNG (to look at) and SVG (to keep).

Each chart is a Vega-Lite definition with its data, the same for a page, SVG and PNG.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from pathlib import Path

from beltside.base.errors import BeltsideError
from beltside.casework.results import FindResult, ListenResult, Progress
from beltside.proof.definition import Definition, to_png, to_svg
from beltside.proof.odds_picture import odds_chart as odds_chart
from beltside.proof.order_picture import envelope_order_chart as envelope_order_chart
from beltside.proof.order_picture import order_spectrum_chart as order_spectrum_chart
from beltside.proof.spectrogram_picture import spectrogram_chart as spectrogram_chart

Draw = Callable[[], Definition]

_LONGEST_STEM = 80


def save_pictures(
    result: ListenResult | FindResult, folder: Path, *, progress: Progress | None = None
) -> list[Path]:
    """Write every chart of `result` into `folder` as PNG and SVG; gives the paths of the PNG files.

    A take `belt-on.m4a` gives `belt-on-spectrogram`, `belt-on-orders` and `belt-on-envelope`; a
    case gives `odds` and those of each take. The folder is made when missing, pictures of the
    same name are replaced.

    Raises
    ------
    BeltsideError
        When the folder can't be made or written into.
    """
    drawings = list(_drawings(result))
    written: list[Path] = []
    try:
        folder.mkdir(parents=True, exist_ok=True)
        for number, (name, draw) in enumerate(drawings):
            if progress is not None:
                progress(f"drawing {name}", number / len(drawings))
            svg = to_svg(draw())
            (folder / f"{name}.svg").write_text(svg, encoding="utf-8")
            picture = folder / f"{name}.png"
            picture.write_bytes(to_png(svg))
            written.append(picture)
    except OSError as error:
        raise BeltsideError(
            f"the pictures can't be written into {folder}: {error.strerror or error}",
            instead="another folder, one you may write into",
        ) from error
    if progress is not None:
        progress("drawing", 1.0)
    return written


def _drawings(result: ListenResult | FindResult) -> Iterator[tuple[str, Draw]]:
    if isinstance(result, ListenResult):
        yield from _of_take(result, file_stem(result.file, ()))
        return
    yield "odds", lambda: odds_chart(result)
    taken = ["odds"]
    for listen in result.listens.values():
        stem = file_stem(listen.file, taken)
        taken.append(stem)
        yield from _of_take(listen, stem)


def _of_take(listen: ListenResult, stem: str) -> Iterator[tuple[str, Draw]]:
    yield f"{stem}-spectrogram", lambda: spectrogram_chart(listen)
    yield f"{stem}-orders", lambda: order_spectrum_chart(listen)
    yield f"{stem}-envelope", lambda: envelope_order_chart(listen)


def file_stem(file: str, taken: list[str] | tuple[str, ...]) -> str:
    """A plain file name, without ending, for the pictures of a take; unlike those `taken`.

    >>> file_stem("takes/belt on (2).m4a", ())
    'belt-on-2'
    >>> file_stem("belt-on.wav", ["belt-on"])
    'belt-on-wav'
    """
    path = Path(file.replace("\\", "/"))
    stem = _plain(path.stem)
    candidates = [stem, _plain(f"{path.stem}-{path.suffix.lstrip('.')}")]
    candidates += [f"{stem}-{number}" for number in range(2, len(taken) + 3)]
    lowered = {name.lower() for name in taken}
    return next(name for name in candidates if name.lower() not in lowered)


def _plain(text: str) -> str:
    return re.sub(r"[^\w.]+", "-", text).strip("-._")[:_LONGEST_STEM] or "take"
