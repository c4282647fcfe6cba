"""Before and after on the proof sheet: how much quieter, and what the pictures are drawn from."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final

import numpy as np

from beltside.base.errors import BeltsideError
from beltside.casework.compare_results import Range, most_changed
from beltside.casework.kept_pictures import pictures_from_json
from beltside.casework.picture_data import OrderSpectrum
from beltside.casework.proof_clips import sound_of_pair
from beltside.casework.proof_sheet import Charts, Figure, Line, Said, Section
from beltside.casework.shop import Shop
from beltside.casework.shop_case import take_names
from beltside.jobs.entries import Entry, JobSheet

MOST_POINTS: Final = 320
TOP_ORDER: Final = 32.0
LOW_ORDER: Final = 0.5
MOST_MARKS: Final = 3


@dataclass(frozen=True)
class Compared:
    """A comparison on a job with its two takes; one that is gone is None."""

    entry: Entry
    before: Entry | None
    after: Entry | None

    @property
    def result(self) -> Mapping[str, Any]:
        """The comparison as kept."""
        result: Mapping[str, Any] = self.entry.body["result"]
        return result

    @property
    def comparable(self) -> bool:
        """Whether a number could be told."""
        return self.result.get("comparable") is True

    @property
    def files(self) -> tuple[str, str]:
        """SHA-256 of both recordings; "" for one that is gone."""
        before, after = (
            "" if one is None else str(one.body["file"]) for one in (self.before, self.after)
        )
        return before, after

    def quieter(self) -> Range | None:
        """How much quieter it is [dB]; None when it could not be told."""
        return self.range("quieter_db") if self.comparable else None

    def range(self, name: str) -> Range | None:
        """One of the result's ranges; None when it was not told."""
        plain = self.result.get(name)
        if not isinstance(plain, Mapping) or plain.get("value") is None:
            return None
        return Range(plain["value"], plain.get("low"), plain.get("high"))


def compared(shop: Shop, job: JobSheet) -> Compared | None:
    """The comparison that counts: with the take handed over with, else the newest; None without."""
    del shop
    takes = {entry.id: entry for entry in job.of_kind("take")}
    found = [
        Compared(entry, takes.get(entry.body["before"]), takes.get(entry.body["after"]))
        for entry in job.of_kind("comparison")
        if entry.body.get("result")
    ]
    if not found:
        return None
    return max(
        enumerate(found),
        key=lambda pair: (
            bool(pair[1].after and pair[1].after.body.get("hand_over")),
            pair[1].comparable,
            pair[0],
        ),
    )[1]


def sound_section(shop: Shop, job: JobSheet, sound: Compared | None) -> tuple[Section, list[str]]:
    """Quieter by how much, and what was not tested about it."""
    gaps = _missing_recordings(shop, job)
    if sound is None:
        after = [one for one in job.of_kind("take") if one.body.get("stage") == "after"]
        before = [one for one in job.of_kind("take") if one.body.get("stage") != "after"]
        if not before and not after:
            why = "The engine was not recorded."
        elif not after:
            why = "The engine was not recorded after the repair."
        elif not before:
            why = "The engine was not recorded before the repair."
        else:
            why = "The recordings from before and after were not compared."
        return Section("sound", "Before and after", (), why), [*gaps, why]
    names = take_names(job)
    lines: list[Line] = []
    for title, take, plain in (
        ("Before", sound.before, sound.result.get("before")),
        ("After", sound.after, sound.result.get("after")),
    ):
        lines.append(_take_line(title, take, names, plain))
    if not sound.comparable:
        reasons = [
            plain_reason(str(one), sound, names) for one in sound.result.get("why_not") or ()
        ]
        lines += [Said("Not comparable", one) for one in reasons]
        gaps.append("How much quieter it is could not be told: the recordings can't be compared.")
        return Section("sound", "Before and after", tuple(lines)), gaps
    method = "recordings at one gain, ranges hold in 9 of 10 cases"
    for name, key, unit, digits in (
        ("Quieter by", "quieter_db", "dB", 1),
        ("Quieter to the ear by", "quieter_dba", "dB", 1),
        ("Loudness left", "loudness_ratio", "1", 2),
    ):
        found = sound.range(key)
        if found is not None and found.value is not None:
            source = {
                "quieter_db": method,
                "quieter_dba": "A-weighted, IEC 61672-1",
                "loudness_ratio": "1 is as loud as before; ISO 532-1",
            }[key]
            lines.insert(
                len(lines) - 2,
                Figure(name, found.value, unit, found.low, found.high, source, digits),
            )
    for more in (_in_a_band(sound), _of_cause(job, sound)):
        if more is not None:
            lines.insert(len(lines) - 2, more)
    return Section("sound", "Before and after", tuple(lines)), gaps


def _in_a_band(sound: Compared) -> Figure | None:
    """The band that changed most."""
    band = most_changed(sound.result)
    if band is None:
        return None
    change = band["quieter_db"]
    quieter = change["value"] > 0.0
    low, high = sorted((abs(change["low"]), abs(change["high"])))
    return Figure(
        f"Third of an octave at {band['band_hz']:g} Hz", abs(change["value"]), "dB", low, high,
        f"{'quieter' if quieter else 'louder'}; the band that changed most", 1,
    )  # fmt: skip


def _of_cause(job: JobSheet, sound: Compared) -> Figure | None:
    """How much quieter the lines of the part that was the cause are."""
    outcome = job.newest("outcome")
    cause = str(outcome.body.get("cause") or "") if outcome is not None else ""
    part = cause.partition(".")[0]
    told = []
    for one in sound.result.get("parts") or ():
        quieter = one["quieter_db"]
        value = quieter["low"] if quieter["value"] is None else quieter["value"]
        if part and one["part"] == part and value is not None:
            told.append((float(value), one))
    if not told:
        return None
    value, one = max(told, key=lambda pair: pair[0])
    low, high = one["quieter_db"]["low"], one["quieter_db"]["high"]
    if value < 0.0:
        return None
    return Figure(
        f"The {part.replace('-', ' ')} alone", value, "dB", low, high,
        f"quieter; {one['lines']} lines of its {one['source']}", 1,
    )  # fmt: skip


def plain_reason(said: str, sound: Compared, names: Mapping[str, str]) -> str:
    """Why takes can't be compared, with their names and without a command's options."""
    for take in (sound.before, sound.after):
        if take is not None:
            said = said.replace(str(take.body["file"]), names[take.id])
    said = re.sub(r"Give it with --[^,.]*, or (\w)", lambda found: found[1].upper(), said)
    return re.sub(r"\s*--[a-z-]+", "", said)


def _missing_recordings(shop: Shop, job: JobSheet) -> list[str]:
    names = take_names(job)
    gaps = []
    for entry in job.of_kind("take"):
        try:
            shop.files.path(str(entry.body["file"]))
        except BeltsideError:
            gaps.append(f"The recording {names[entry.id]} is missing from the record.")
    return gaps


def _take_line(title: str, take: Entry | None, names: Mapping[str, str], plain: Any) -> Said:
    if take is None:
        return Said(title, "this recording was taken off the record")
    body = take.body
    said = [f"belt {body['belt']}"] if body.get("belt") in ("on", "off") else []
    said.append(str(body.get("place") or "front of engine").replace("-", " "))
    if body.get("load"):
        said.append("with " + ", ".join(str(one) for one in body["load"]))
    crank = plain.get("crank") if isinstance(plain, Mapping) else None
    if crank:
        said.append(f"{crank['rpm_median']:.0f} rpm")
    moment = str(body.get("recorded_at") or "")[:10] or take.created_at.strftime("%Y-%m-%d")
    return Said(title, f"{names[take.id]} ({moment}): " + ", ".join(said))


def charts_of(shop: Shop, job: JobSheet, sound: Compared | None, *, wait: bool) -> Charts:
    """Levels in third-octave bands and over order, before and after, both at one gain."""
    if sound is None or not sound.comparable:
        return Charts()
    bands = tuple(
        (float(one["band_hz"]), float(one["before_db"]), _drawn_after_db(one))
        for one in sound.result.get("bands") or ()
        if one.get("after_matched_db") is not None
    )
    strips = _strips(shop, job, sound, wait=wait)
    return Charts(bands, _thinned(strips) if strips else (), _marks(sound.result))


def _drawn_after_db(band: Mapping[str, Any]) -> float:
    """As `BandChange.drawn_after_db`, of a kept comparison."""
    value = band["quieter_db"]["value"]
    return float(band["after_matched_db"] if value is None else band["before_db"] - value)


def _strips(
    shop: Shop, job: JobSheet, sound: Compared, *, wait: bool
) -> tuple[OrderSpectrum, OrderSpectrum] | None:
    """Order spectra at one gain: kept with the comparison, else worked out of the takes."""
    kept = sound.result.get("pictures")
    if kept is None and sound.before is not None and sound.after is not None:
        found = sound_of_pair(shop, job, sound.before, sound.after, wait=wait)
        kept = None if found is None else found["strips"]
    if not isinstance(kept, Mapping):
        return None
    return _strip(kept["before"]), _strip(kept["after"])


def _strip(plain: Any) -> OrderSpectrum:
    strip = pictures_from_json(
        {"spectrogram": None, "sound": plain, "envelope": None, "firing_order": None}
    ).sound
    assert strip is not None
    return strip


def _marks(result: Mapping[str, Any]) -> tuple[tuple[str, float, float], ...]:
    """The lines that changed most, in words."""
    lines = [
        one
        for one in result.get("orders") or ()
        if one.get("spectrum") == "sound" and LOW_ORDER <= float(one["order"]) <= TOP_ORDER
    ]

    def change(one: Mapping[str, Any]) -> float:
        quieter = one["quieter_db"]
        told = quieter["value"] if quieter["value"] is not None else quieter["low"]
        return abs(float(told or 0.0))

    chosen: list[tuple[str, float, float]] = []
    for one in sorted(lines, key=lambda one: -change(one)):
        words = f"{str(one['part']).replace('-', ' ')}, {one['source']}"
        if words in [mark[0] for mark in chosen]:
            continue
        quieter = one["quieter_db"]
        told = quieter["value"] if quieter["value"] is not None else quieter["low"]
        if told is not None and float(told) >= 1.0:
            chosen.append((words, round(float(one["order"]), 3), round(float(told), 1)))
        if len(chosen) == MOST_MARKS:
            break
    return tuple(chosen)


def _thinned(
    strips: tuple[OrderSpectrum, OrderSpectrum],
) -> tuple[tuple[float, float, float], ...]:
    """Both strips on one grid, even in log order; of what falls together the loudest."""
    edges = np.geomspace(LOW_ORDER, TOP_ORDER, MOST_POINTS + 1)
    columns = []
    for strip in strips:
        order = np.asarray(strip.order, dtype=np.float64)
        level = np.asarray(strip.level_db, dtype=np.float64)
        if order.size < 2 or order[-1] <= LOW_ORDER:
            return ()
        place = np.digitize(order, edges) - 1
        inside = (place >= 0) & (place < MOST_POINTS)
        loudest = np.full(MOST_POINTS, -np.inf)
        np.maximum.at(loudest, place[inside], level[inside])
        # Where the grid is finer than the spectrum, what lies between is read off the line.
        middle = np.sqrt(edges[1:] * edges[:-1])
        between = np.interp(middle, order, level)
        loudest = np.where(np.isfinite(loudest), loudest, between)
        columns.append(np.where(middle > order[-1], np.nan, loudest))
    known = np.isfinite(columns[0]) & np.isfinite(columns[1])
    middle = np.sqrt(edges[1:] * edges[:-1])
    return tuple(
        (round(float(order), 4), round(float(one), 1), round(float(other), 1))
        for order, one, other, good in zip(middle, *columns, known, strict=True)
        if good
    )
