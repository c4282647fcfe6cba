"""Charts: valid Vega-Lite, names and units written out, small files, nothing fetched."""

from __future__ import annotations

import base64
import dataclasses
import io
import re
import xml.etree.ElementTree as ElementTree
from pathlib import Path
from types import ModuleType
from typing import Any

import altair
import jsonschema
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image

from beltside.base.errors import BeltsideError
from beltside.casework.results import (
    ExplainedLine,
    ListenPictures,
    ListenResult,
    OrderSpectrum,
    Spectrogram,
    SuspectOdds,
)
from beltside.proof.charts import (
    envelope_order_chart,
    file_stem,
    odds_chart,
    order_spectrum_chart,
    save_pictures,
    spectrogram_chart,
)
from beltside.proof.definition import to_png, to_svg
from beltside.proof.order_picture import thinned_peaks
from beltside.proof.spectrogram_picture import image_greys

LARGEST_SVG_BYTES = 500_000


@pytest.fixture(scope="session")
def definitions(made: ModuleType) -> dict[str, dict[str, Any]]:
    take, deaf = made.listen_result(), made.deaf_result()
    bare = ListenResult("bare.wav", made.crank(), None)
    mute = ListenResult("mute.wav", None, "the take is silent")
    return {
        "spectrogram": spectrogram_chart(take),
        "orders": order_spectrum_chart(take),
        "envelope": envelope_order_chart(take),
        "odds": odds_chart(made.find_result()),
        "deaf spectrogram": spectrogram_chart(deaf),
        "deaf orders": order_spectrum_chart(deaf),
        "bare spectrogram": spectrogram_chart(bare),
        "bare orders": order_spectrum_chart(bare),
        "mute spectrogram": spectrogram_chart(mute),
        "mute envelope": envelope_order_chart(mute),
    }


@pytest.fixture(scope="session")
def svgs(definitions: dict[str, dict[str, Any]]) -> dict[str, str]:
    return {name: to_svg(definition) for name, definition in definitions.items()}


def words(svg: str) -> str:
    """All text of an SVG, with one space between pieces."""
    texts = [
        "".join(element.itertext())
        for element in ElementTree.fromstring(svg).iter()
        if element.tag.endswith("}text")
    ]
    return " ".join(" ".join(texts).split())


def test_definitions_keep_to_the_vega_lite_schema(definitions: dict[str, dict[str, Any]]) -> None:
    # The published JSON Schema of Vega-Lite, as it comes with altair.
    validator = jsonschema.Draft7Validator(altair.load_schema())
    for definition in definitions.values():
        assert "vega-lite" in definition["$schema"]
        rows = definition.pop("datasets")
        try:
            validator.validate(definition)
        finally:
            definition["datasets"] = rows


def test_svgs_are_small_and_fetch_nothing(svgs: dict[str, str]) -> None:
    for svg in svgs.values():
        assert len(svg.encode()) < LARGEST_SVG_BYTES
        links = re.findall(r'(?:href|src)="([^"]*)"', svg)
        assert all(link.startswith("data:image/png;base64,") for link in links)
        assert not re.search(r"url\((?!#)", svg)


def test_png_is_wide_enough_for_a_phone(svgs: dict[str, str]) -> None:
    for name in ("spectrogram", "orders", "envelope", "odds"):
        with Image.open(io.BytesIO(to_png(svgs[name]))) as image:
            assert 1000 <= image.width <= 1200


def test_axes_carry_their_units(svgs: dict[str, str]) -> None:
    said = words(svgs["spectrogram"])
    for unit in ("time (s)", "frequency (Hz)", "crank (rpm)"):
        assert unit in said
    for name in ("orders", "envelope"):
        assert "level (dB)" in words(svgs[name])
        assert "order (times per crank turn)" in words(svgs[name])


def test_order_spectrum_names_the_parts(svgs: dict[str, str], made: ModuleType) -> None:
    said = words(svgs["orders"])
    for part in ("coolant pump", "alternator", "idler", "idler 2", "tensioner", "AC compressor",
                 "steering pump", "belt", "timing chain", "crank"):  # fmt: skip
        assert part in said
    assert "firing, orders 2, 4, 6" in said
    assert "31.0 dB up" in said
    assert "763 rpm" in said


def test_envelope_states_its_band_and_cuts_long_names(svgs: dict[str, str]) -> None:
    said = words(svgs["envelope"])
    assert "between 3.4 and 5.1 kHz" in said
    assert re.search(r"bearing out\S*\.\.\., orders 4\.02, 8\.04, 12\.1", said)


def test_crank_speed_is_drawn_over_the_spectrogram(
    definitions: dict[str, dict[str, Any]], svgs: dict[str, str]
) -> None:
    curves = definitions["spectrogram"]["datasets"]["orders"]
    first = [row for row in curves if row["name"] == "crank turns"]
    firing = [row for row in curves if row["name"] == "firing, order 2"]
    assert np.median([row["f"] for row in first]) == pytest.approx(763 / 60, rel=0.01)
    assert np.median([row["f"] for row in firing]) == pytest.approx(763 / 30, rel=0.01)
    assert "firing, order 2" in words(svgs["spectrogram"])


def test_a_missing_speed_is_explained_in_the_picture(
    definitions: dict[str, dict[str, Any]], svgs: dict[str, str]
) -> None:
    assert "orders" not in definitions["deaf spectrogram"]["datasets"]
    assert "crank speed" not in definitions["deaf spectrogram"]["datasets"]
    for name in ("deaf spectrogram", "deaf orders"):
        assert "can't tell. No firing beat stands out of the noise" in words(svgs[name])
    assert "no orders to show" in words(svgs["deaf orders"])
    assert "The take is silent." in words(svgs["mute envelope"])
    assert "No spectrogram" in words(svgs["bare spectrogram"])


def test_the_spectrogram_is_one_image(svgs: dict[str, str]) -> None:
    assert svgs["spectrogram"].count("<image") == 1
    data = re.search(r'href="data:image/png;base64,([^"]+)"', svgs["spectrogram"])
    assert data is not None
    with Image.open(io.BytesIO(base64.b64decode(data[1]))) as image:
        assert image.width <= 600
        assert image.height <= 400


def test_odds_say_suspects_reasons_and_bits(svgs: dict[str, str]) -> None:
    said = words(svgs["odds"])
    assert "Most likely: coolant pump bearing, 8 in 10 (78 %)." in said
    assert "the line is gone with the belt off (belt-off.m4a)" in said
    assert "+4.6 bits" in said
    assert "and 1 lighter reason" in said
    assert "2 more together" in said


def test_bars_are_as_long_as_the_probabilities(definitions: dict[str, dict[str, Any]]) -> None:
    bars = definitions["odds"]["datasets"]["bars"]
    whole = max(bar["x2"] for bar in bars)
    filled = [bar["x2"] / whole for bar in bars[1::2]]
    assert filled[:3] == pytest.approx([0.7803, 0.0921, 0.0512], abs=1e-6)


def test_one_suspect_alone_still_makes_a_picture(made: ModuleType) -> None:
    certain = (
        SuspectOdds("none", "nothing wrong", 1.0),
        SuspectOdds("other", "something else", 0.0),
    )
    assert "nothing is wrong" in words(to_svg(odds_chart(made.find_result(certain))))


def test_no_explained_line_is_said_in_words(made: ModuleType) -> None:
    quiet = dataclasses.replace(made.listen_result(), lines=())
    assert "No line stands out" in words(to_svg(order_spectrum_chart(quiet)))


def test_labels_in_the_picture_do_not_overlap(definitions: dict[str, dict[str, Any]]) -> None:
    datasets = definitions["orders"]["datasets"]
    definition = definitions["orders"]
    scale = next(
        layer["encoding"]["y"]["scale"]
        for layer in definition["layer"]
        if "scale" in layer["encoding"]["y"]
    )
    last, first = scale["domain"]
    per_root = definition["height"] / (np.sqrt(last) - np.sqrt(first))
    assert len(datasets["names"]) == 12
    rows_px = sorted(
        float((np.sqrt(row["order"]) - np.sqrt(first)) * per_root)
        for name in ("names", "details")
        for row in datasets[name]
    )
    # Names are set in 16 px, what is beneath them in 14 px.
    assert min(np.diff(rows_px)) >= 16.0


@settings(max_examples=40)
@given(
    st.integers(min_value=3, max_value=4000),
    st.integers(min_value=40, max_value=1500),
    st.integers(min_value=0, max_value=2**31),
)
def test_thinning_keeps_the_peaks(count: int, points: int, seed: int) -> None:
    rng = np.random.default_rng(seed)
    order = np.sort(rng.uniform(0.2, 40.0, count))
    level = rng.normal(size=count)
    kept_order, kept_level = thinned_peaks(order, level, 0.2, 40.0, points)
    assert len(kept_order) <= max(points, 1)
    assert kept_level.max() == level.max()
    assert kept_level.min() == level.min()
    assert np.all(np.diff(kept_order) >= 0.0)
    assert set(zip(kept_order, kept_level, strict=True)) <= set(zip(order, level, strict=True))


def _image(level_db: np.ndarray) -> np.ndarray:
    time_s = np.linspace(0.0, 10.0, level_db.shape[1])
    frequency_hz = np.linspace(0.0, 16_000.0, level_db.shape[0])
    return image_greys(Spectrogram(time_s, frequency_hz, level_db), 8.0, 16_000.0, 10.0)


def test_a_tone_lies_on_its_frequency_in_the_image() -> None:
    level = np.full((1601, 200), -80.0)
    level[100] = -20.0  # 100 steps of 10 Hz
    greys = _image(level)
    row = int(np.argmax(greys.mean(axis=1)))
    edges_hz = np.geomspace(16_000.0, 8.0, greys.shape[0] + 1)
    assert edges_hz[row + 1] <= 1005.0
    assert edges_hz[row] >= 995.0


def test_a_moment_lies_at_its_time_in_the_image() -> None:
    level = np.full((801, 201), -80.0)
    level[:, 150] = -20.0  # 7.5 s
    greys = _image(level)
    column = int(np.argmax(greys.mean(axis=0)))
    assert (column + 0.5) / greys.shape[1] * 10.0 == pytest.approx(7.5, abs=0.05)


@pytest.mark.parametrize("fall_db_per_octave", [0.0, 6.0, 12.0])
def test_a_faint_high_tone_shows_however_steeply_the_noise_falls(
    fall_db_per_octave: float,
) -> None:
    # Engine noise falls some 6 dB per octave (common practice, no source): the picture is of what
    # stands out, not of that fall.
    frequency_hz = np.arange(1601) * 10.0
    fall_db = fall_db_per_octave * np.log2(np.maximum(frequency_hz, 10.0) / 10.0)
    level = np.repeat((-40.0 - fall_db)[:, None], 200, axis=1)
    level[500] += 25.0  # 5 kHz
    greys = _image(level)
    row = int(np.argmax(greys.mean(axis=1)))
    edges_hz = np.geomspace(16_000.0, 8.0, greys.shape[0] + 1)
    assert edges_hz[row + 1] <= 5010.0
    assert edges_hz[row] >= 4990.0


def test_odd_spectrograms_are_drawn(made: ModuleType) -> None:
    crank = made.crank()
    for level in (
        np.zeros((5, 1)),
        np.full((40, 30), -np.inf),
        np.full((40, 30), 7, dtype=np.uint8),
    ):
        picture = Spectrogram(
            np.linspace(0.0, 3.0, level.shape[1]), np.linspace(0.0, 8e3, level.shape[0]), level
        )
        result = ListenResult(
            "odd.wav", crank, None, pictures=ListenPictures(spectrogram=picture), duration_s=3.0
        )
        assert "<image" in to_svg(spectrogram_chart(result))


def test_a_line_beyond_the_spectrum_is_left_out(made: ModuleType) -> None:
    order = np.linspace(0.5, 10.0, 800)
    spectrum = OrderSpectrum(order, np.full(800, -60.0), np.full(800, -60.0))
    lines = (ExplainedLine("alternator", "poles", 36.0, -50.0, 4.0),)
    result = ListenResult(
        "short.wav", made.crank(), None, lines, pictures=ListenPictures(sound=spectrum)
    )
    assert "No line stands out" in words(to_svg(order_spectrum_chart(result)))


def test_pictures_of_a_take_are_named_after_it(made: ModuleType, tmp_path: Path) -> None:
    folder = tmp_path / "new" / "pictures"
    seen: list[float] = []
    written = save_pictures(
        made.listen_result("belt-on.m4a"), folder, progress=lambda _, share: seen.append(share)
    )
    assert [path.name for path in written] == [
        "belt-on-spectrogram.png",
        "belt-on-orders.png",
        "belt-on-envelope.png",
    ]
    assert all(path.is_file() and path.with_suffix(".svg").is_file() for path in written)
    assert seen == sorted(seen)
    assert seen[-1] == 1.0


def test_pictures_of_a_case_hold_the_odds_and_every_take(made: ModuleType, tmp_path: Path) -> None:
    case = made.find_result()
    bare = {
        name: dataclasses.replace(take, pictures=ListenPictures())
        for name, take in case.listens.items()
    }
    case = dataclasses.replace(case, listens=bare)
    names = [path.name for path in save_pictures(case, tmp_path)]
    assert names[0] == "odds.png"
    assert {"belt-on-orders.png", "wind-orders.png"} <= set(names)
    assert len(names) == len(set(names)) == 7


@settings(max_examples=40)
@given(st.lists(st.text(min_size=1, max_size=30), min_size=1, max_size=8))
def test_picture_names_are_plain_and_unlike_each_other(files: list[str]) -> None:
    taken: list[str] = []
    for file in files:
        taken.append(file_stem(file, taken))
    assert len({name.lower() for name in taken}) == len(files)
    for name in taken:
        assert re.fullmatch(r"[\w.-]+", name)
        assert not name.startswith(".")


def test_a_folder_that_cannot_be_made_is_a_plain_error(made: ModuleType, tmp_path: Path) -> None:
    blocked = tmp_path / "a-file"
    blocked.write_text("not a folder")
    with pytest.raises(BeltsideError, match="can't be written into"):
        save_pictures(made.deaf_result(), blocked / "pictures")
