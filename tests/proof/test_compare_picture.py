"""The before-and-after pictures: the right words, sizes for a phone, and both in the same scale."""

from __future__ import annotations

import xml.etree.ElementTree as ElementTree
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from beltside.base.errors import BeltsideError
from beltside.casework.compare_results import (
    BandChange,
    ComparePictures,
    CompareResult,
    LineChange,
    MatchedTake,
    PartChange,
    Range,
    most_changed,
)
from beltside.casework.picture_data import OrderSpectrum
from beltside.casework.results import Crank
from beltside.proof.compare_picture import bands_picture, orders_picture, save_compare_pictures
from beltside.proof.compare_words import (
    answer,
    band_sentence,
    change_words,
    loudness_sentence,
    speed_sentence,
)

CRANK = Crank(800.0, 795.0, 805.0, 0.97, ((0.0, 800.0), (8.0, 801.0)))


def strip(level_db: float) -> OrderSpectrum:
    order = np.arange(0.25, 40.0, 1 / 32)
    level = level_db - 6.0 * np.log2(order) + 25.0 * (np.abs(order % 2.0) < 0.03)
    return OrderSpectrum(order, level, level_db - 6.0 * np.log2(order))


def made_comparison(name: str = "before.m4a") -> CompareResult:
    """A comparison put together by hand."""
    bands = tuple(
        BandChange(hz, 0.89 * hz, 1.12 * hz, -40.0 - k, -52.0 - k, -43.0 - k, change)
        for k, (hz, change) in enumerate(
            [
                (31.5, Range(0.3, -0.9, 1.5)),
                (1000.0, Range(3.0, 2.0, 4.0)),
                (2500.0, Range(9.0, 6.0, None)),
                (8000.0, Range(-2.0, -3.0, -1.0)),
            ]
        )
    )
    line = LineChange("coolant-pump", "shaft", 7.39, "sound", 6, 9.0, Range(12.0, 8.0, None), True)
    return CompareResult(
        comparable=True,
        why_not=(),
        quieter_db=Range(6.1, 4.9, 7.3),
        quieter_dba=Range(7.0, 5.5, 8.5),
        loudness_ratio=Range(0.62, 0.55, 0.7),
        sharpness_ratio=Range(0.85, 0.8, 0.9),
        gain_db=Range(-9.0, -9.8, -8.2),
        bands=bands,
        orders=(line,),
        parts=(PartChange("coolant-pump", "shaft", 1, Range(12.0, 8.0, None)),),
        takes=(
            MatchedTake(name, CRANK, None, 0.0, 8.0, 0.0),
            MatchedTake("after.m4a", CRANK, None, 0.0, 8.0, 9.0),
        ),
        pictures=ComparePictures(strip(-40.0), strip(-44.0)),
    )


def text_of(svg: str) -> str:
    return " ".join(ElementTree.fromstring(svg).itertext())


def test_bands_say_how_much_quieter_each_is() -> None:
    said = text_of(bands_picture(made_comparison()).svg())
    for words in (
        "31.5 Hz",
        "no sure change",
        "3.0 dB quieter",
        "6.0 dB quieter +",
        "2.0 dB louder",
    ):
        assert words in said


def test_the_dot_stands_where_the_words_say() -> None:
    """Left of the bar's end when it is quieter, right of it when louder."""
    root = ElementTree.fromstring(bands_picture(made_comparison()).svg())
    name = "{http://www.w3.org/2000/svg}"
    dots = [float(one.attrib["cx"]) for one in root.iter(f"{name}circle")]
    bars = [one.attrib for one in root.iter(f"{name}rect") if one.attrib["height"] == "14"]
    ends = [float(one["x"]) + float(one["width"]) for one in bars]
    gone = [end - dot for end, dot in zip(ends, dots, strict=True)]
    per_db = (ends[0] - ends[1]) / 1.0  # the bars fall by a decibel a row
    assert [one / per_db for one in gone] == pytest.approx([0.3, 3.0, 9.0, -2.0], abs=0.1)


def test_the_band_that_changed_clearly_more_than_the_whole_is_named() -> None:
    """A howl may be a tenth of the power and all that was heard."""
    made = made_comparison()
    assert most_changed(made.to_json()) is None  # 3 dB where the whole fell by 6
    assert band_sentence(made) == ""
    howl = BandChange(2500.0, 2239.0, 2818.0, -42.0, -54.0, -49.4, Range(7.4, 5.9, 8.8))
    deep = BandChange(31.5, 28.2, 35.5, -42.0, -54.0, -49.4, Range(9.4, 7.9, 10.8))
    small = replace(made, quieter_db=Range(0.7, 0.2, 1.2), bands=(*made.bands, howl, deep))
    assert band_sentence(small) == "In the band round 2.5 kHz it is 7.4 dB quieter (5.9 to 8.8)."
    unsure = replace(howl, quieter_db=Range(7.4, 2.1, 12.7))
    assert band_sentence(replace(small, bands=(*made.bands, unsure))) == ""
    louder = replace(howl, quieter_db=Range(-7.4, -8.8, -5.9))
    assert "7.4 dB louder (5.9 to 8.8)" in band_sentence(replace(small, bands=(louder,)))


def test_orders_name_the_part_that_is_gone() -> None:
    said = text_of(orders_picture(made_comparison()).svg())
    assert "coolant pump, 7.39" in said
    assert "gone" in said


def test_a_file_name_cannot_break_the_drawing() -> None:
    svg = bands_picture(made_comparison('<script>"&.m4a')).svg()
    assert "<script>" not in svg
    assert '<script>"&.m4a' in text_of(svg)


def test_words_of_a_comparison() -> None:
    made = made_comparison()
    assert "6.1 dB quieter (4.9 to 7.3)" in answer(made)
    assert "62 % as loud" in loudness_sentence(made)
    assert "9.0 dB softer" in speed_sentence(made)
    assert change_words(Range(0.0, -0.02, 0.02)) == "0 dB, may be none (0 dB to 0 dB)"


def test_saved_as_png_and_svg(tmp_path: Path) -> None:
    written = save_compare_pictures(made_comparison(), tmp_path / "pictures")
    assert [path.name for path in written] == ["compare-bands.png", "compare-orders.png"]
    assert all(path.read_bytes().startswith(b"\x89PNG") for path in written)
    assert (tmp_path / "pictures" / "compare-bands.svg").exists()


def test_a_folder_that_is_a_file(tmp_path: Path) -> None:
    (tmp_path / "pictures").write_text("")
    with pytest.raises(BeltsideError, match="can't be written"):
        save_compare_pictures(made_comparison(), tmp_path / "pictures")
