"""Invented jobs for proof sheets: a full one, without any sound to analyse, and its comparison."""

from __future__ import annotations

import io
from typing import Any

import numpy as np
from PIL import Image

from beltside.casework.compare_results import (
    BandChange,
    CompareResult,
    LineChange,
    MatchedTake,
    Range,
)
from beltside.casework.kept_pictures import pictures_to_json
from beltside.casework.picture_data import ListenPictures, OrderSpectrum
from beltside.casework.results import Crank
from beltside.casework.settings import save_settings
from beltside.casework.shop import Shop, keep, write


def _png() -> bytes:
    out = io.BytesIO()
    Image.new("RGB", (96, 72), (120, 90, 60)).save(out, "PNG")
    return out.getvalue()


PNG = _png()
"""A small picture, brown all over."""

DRIVE = """
name = "Tarn 1.4 front drive"
[engine]
cylinders = 4
strokes = 4
idle_rpm = 760
[belt]
profile = "PK"
ribs = 6
[[pulley]]
part = "crank"
x_mm = 0
y_mm = 0
diameter_mm = 138.0
face = "ribbed"
[[pulley]]
part = "alternator"
x_mm = 175
y_mm = 205
diameter_mm = 55.0
face = "ribbed"
[[pulley]]
part = "coolant-pump"
x_mm = -20
y_mm = 180
diameter_mm = 120.0
face = "ribbed"
"""

BANDS = (31.5, 63, 125, 250, 500, 1000, 1250, 1600, 2000, 2500, 3150, 4000, 5000, 6300, 8000)


def comparison(comparable: bool = True) -> dict[str, Any]:
    """The result of a comparison as it is kept: 9.4 dB quieter, a line of the pump gone."""
    crank = Crank(762.0, 758.0, 766.0, 0.97)
    result = CompareResult(
        comparable=comparable,
        why_not=() if comparable else ("The speeds do not meet.",),
        quieter_db=Range(9.4, 8.1, 10.6) if comparable else Range(),
        quieter_dba=Range(11.2, 9.9, 12.4) if comparable else Range(),
        loudness_ratio=Range(0.46, 0.41, 0.52) if comparable else Range(),
        sharpness_ratio=Range(0.9, 0.86, 0.95) if comparable else Range(),
        gain_db=Range(1.5, 1.0, 2.0) if comparable else Range(),
        bands=tuple(
            BandChange(
                hz,
                hz / 1.12,
                hz * 1.12,
                -60.0 + 12 * np.sin(n / 2.5),
                -58.0 + 6 * np.sin(n / 2.5),
                -66.0 + 8 * np.sin(n / 2.5) if comparable else None,
                Range(6.0, 5.0, 7.0) if comparable else Range(),
            )
            for n, hz in enumerate(BANDS)
        ),
        orders=(
            LineChange("coolant-pump", "bearing", 3.57, "sound", 1, 40.0, Range(14.0, 11.0), True),
            LineChange("alternator", "shaft", 2.51, "sound", 1, 12.0, Range(0.4, -0.6, 1.4), False),
        )
        if comparable
        else (),
        parts=(),
        takes=(
            MatchedTake("before.m4a", crank, None, 0.0, 20.0, 0.0),
            MatchedTake("after.m4a", crank, None, 0.0, 20.0, 1.5),
        ),
    )
    return {**result.to_json(), **({"pictures": strips()} if comparable else {})}


def strips() -> dict[str, Any]:
    """Order spectra before and after, made up: firing at 2, a pump's line at 3.57."""
    order = np.arange(0.25, 40.0, 0.02)
    floor = -70.0 - 4.0 * np.log2(order)
    rng = np.random.default_rng(4)

    def strip(pump_db: float) -> Any:
        level = floor + rng.normal(0.0, 1.5, order.size)
        lines = [(2.0, 26.0), (4.0, 20.0), (6.0, 14.0), (8.0, 9.0), (2.51, 8.0), (3.57, pump_db)]
        for at, height in lines:
            level = np.maximum(level, floor + height - 4.0e3 * (order - at) ** 2)
        one = OrderSpectrum(order, level, floor)
        return pictures_to_json(ListenPictures(sound=one))["sound"]

    return {"before": strip(24.0), "after": strip(2.0)}


def shop_settings(shop: Shop) -> None:
    """The shop's own head of the sheet."""
    save_settings(
        shop,
        {"shop": "Beltside Test Yard", "address": "Quarry Lane 4", "technician": "M. Okafor"},
    )


def full_job(shop: Shop, **names: str) -> str:
    """A job with every stage written down; gives its name."""
    shop_settings(shop)
    job = shop.record.new_job(by="M. Okafor").job.id

    def put(kind: str, files: tuple[str, ...] = (), **typed: Any) -> str:
        return write(shop, job, kind, typed, files=files).id

    put("owner", name=names.get("owner", "Anneke Vos"), phone="0123 456", address="Dam 3")
    put(
        "car",
        name=names.get("car", "Tarn 1.4"),
        plate="TX 41 KL",
        model_year=2014,
        displacement_l=1.4,
        distance_km=148_200,
    )
    put(
        "complaint",
        words=names.get("words", "It whines at idle, and louder when it is cold."),
        when=["at idle"],
        engine="cold",
        since="two weeks",
        where="right of the engine",
    )
    put("drive-sheet", toml=DRIVE)
    sounds = [
        keep(shop, [b"before" * 100], media_type="audio/mp4").sha256,
        keep(shop, [b"after" * 100], media_type="audio/mp4").sha256,
    ]
    before, after = (
        put(
            "take",
            (sound,),
            file=sound,
            name=f"{stage}.m4a",
            belt="on",
            stage=stage,
            hand_over=stage == "after",
            recorded_at=f"2026-11-2{number}T10:00:00",
        )
        for number, (stage, sound) in enumerate(zip(("before", "after"), sounds, strict=True), 3)
    )
    put("finding", check="spin-by-hand", part="coolant-pump", outcome="rough", minutes=4)
    option = {
        "name": "Pump and belt",
        "repairs": ["coolant-pump"],
        "net": "380.00",
        "tax": "72.20",
        "total": "452.20",
        "totals": {"low": "420.00", "likely": "452.20", "sure": "480.00", "high": "510.00"},
    }
    estimate = put("estimate", offer={"title": "Pump", "options": [option]}, says="452.20 EUR")
    put(
        "approval",
        estimate=estimate,
        estimate_version=1,
        option="Pump and belt",
        name="Anneke Vos",
        agreed_at="2026-11-23T12:00:00",
        agreement={"currency": "EUR", "option": option},
    )
    photo = keep(shop, [PNG], media_type="image/png").sha256
    put("photo", (photo,), file=photo, name="pump.png", caption="The old pump's shaft", step="pump")
    put("step-tick", step="drain", says="Drain the coolant", minutes=18)
    put(
        "step-tick",
        step="pump",
        says="Take the coolant pump off",
        minutes=41,
        note="The lowest bolt was stuck; heat and a longer lever.",
    )
    put("step-tick", step="belt", says="Fit the belt", minutes=9)
    put("part-used", name="Coolant pump with gasket", number="CP-1104", price="92.00")
    put("part-used", name="Coolant", quantity=4.5, unit="l", price="27.00")
    put("part-match", part="coolant-pump", verdict="fits", says="All five holes agree to 0.2 mm.")
    for number in range(1, 6):
        for pass_number, torque in ((1, 8.0), (2, 22.0)):
            put(
                "torque-tick",
                fastener="pump bolt",
                number=number,
                pass_number=pass_number,
                torque_nm=torque,
                source="service data, page 12-4",
            )
    put(
        "coolant",
        about="mix",
        result={
            "glycol": "ethylene",
            "freezing_c": {"value": -36.4, "low": -38.1, "high": -34.6},
            "boiling_c": {"value": 129.2, "low": 127.8, "high": 130.4},
            "cap_kpa": 110.0,
            "provenance": {
                "method": "coolant mixture",
                "inputs": {"read_with": "refractometer"},
            },
        },
        says="50 % by volume",
    )
    test = put(
        "hold-test",
        given={"cap": "1.1"},
        says="tight",
        result={"verdict": "tight", "probability_leaking": 0.031, "minutes": 15.0,
                "provenance": {"method": "hold test", "inputs": {}}},
    )  # fmt: skip
    for minutes, pressure in ((0, 108.0), (5, 107.0), (15, 107.0)):
        put("hold-reading", test=test, minutes=minutes, pressure_kpa=pressure)
    put("observation", words="Small cracks in the ribs.", part="belt", watch=True)
    put("observation", words="Upper hose soft near the clamp.", part="hose", watch=True)
    put("observation", words="Oil level at half, colour good.")
    put("reminder", words="Look at the coolant level, engine cold", due="2026-12-01")
    put("reminder", words="Listen again at idle", due_km=148_700)
    put("comparison", before=before, after=after, says="9.4 dB quieter", result=comparison())
    put(
        "outcome",
        cause="coolant-pump.bearing",
        replaced=["coolant-pump.bearing"],
        cured=True,
        closed=True,
        charged="448.10",
        currency="EUR",
    )
    return job
