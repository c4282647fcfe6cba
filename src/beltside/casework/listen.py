"""Listen to one take: crank speed, explained lines, and what the pictures are drawn from."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np

from beltside.base.errors import InputError, require_range
from beltside.base.provenance import Provenance
from beltside.base.units import power_to_db
from beltside.casework.crank_speed import STATED_RANGE_RPM, CrankSpeed, find_crank
from beltside.casework.drive_orders import with_path
from beltside.casework.explain import explained_lines
from beltside.casework.formats.drive_sheet import read_drive_sheet
from beltside.casework.results import (
    Crank,
    ListenPictures,
    ListenResult,
    OrderSpectrum,
    Progress,
    Spectrogram,
)
from beltside.casework.take_measures import TakeMeasures, take_measures
from beltside.casework.takes import Conditions, HeardTake, crank_sound, hear
from beltside.drive.expected import firing_order
from beltside.drive.sheet import DriveSheet
from beltside.media import Recording, open_recording
from beltside.sound.background import backgrounds
from beltside.sound.families import row_strength
from beltside.sound.hearing import Hearing
from beltside.sound.orders import OrderSpectrum as PowerByOrder
from beltside.sound.track import CrankTrack

METHOD = "beltside.listen"
VERSION = 1

PICTURE_ORDER_TOP = 40.0


def listen(
    take: Path,
    *,
    drive: Path | None,
    crank_rpm: float | None = None,
    progress: Progress | None = None,
) -> ListenResult:
    """Listen to a recording of an engine.

    Parameters
    ----------
    take
        Anything a phone writes, 2 s or more.
    drive
        Drive sheet; at least its [engine] table is needed.
    crank_rpm
        Crank speed read off a dashboard or scan tool, 300 to 8000 [1/min].
    progress
        Told what is being done and the share done.

    Raises
    ------
    InputError, RecordingError, LimitError
        For a sheet or a take that can't be used; each says why and what would work.
    """
    say = progress or (lambda _what, _share: None)
    if drive is None:
        raise InputError(
            "no drive sheet given",
            allowed="a drive sheet with at least [engine] and cylinders = 4 (or how many it has)",
            instead="--drive drive.toml",
        )
    read = read_drive_sheet(drive)
    completed = with_path(read.sheet)
    sheet = completed.sheet
    if crank_rpm is not None:
        if not math.isfinite(crank_rpm):
            raise InputError(
                f"crank speed {crank_rpm}", allowed="300 to 8000 rpm", instead="--crank-rpm 760"
            )
        require_range("stated crank speed", crank_rpm, *STATED_RANGE_RPM, "rpm")
    with open_recording(take) as recording:
        say("reading the take", 0.0)
        sound = crank_sound(recording)
        say("finding the crank speed", 0.3)
        speed = find_crank(sound, sheet, stated_rpm=crank_rpm)
        seconds = sound.duration_s
        del sound  # of an hour it is 90 MB
        say("listening", 0.5)
        hearing = hear(
            recording, speed.track, lambda at_s: say("listening", 0.5 + 0.4 * at_s / seconds)
        )
        heard = HeardTake(Conditions(take.name, crank_rpm=crank_rpm), speed, hearing)
        say("explaining lines", 0.95)
        result = listen_result(
            heard,
            take_measures(hearing, sheet),
            sheet,
            (*read.notes, *completed.notes, *file_warnings(recording)),
        )
    say("done", 1.0)
    return result


def file_warnings(recording: Recording) -> tuple[str, ...]:
    """What reading the file showed, in sentences."""
    report = recording.report()
    return (*report.warnings, *report.notes)


def listen_result(
    heard: HeardTake, measured: TakeMeasures, sheet: DriveSheet, warnings: tuple[str, ...] = ()
) -> ListenResult:
    """What is shown of one take."""
    lines = (
        explained_lines(measured.found, measured.surprises, sheet)
        if measured.surprises is not None
        else ()
    )
    return ListenResult(
        file=heard.conditions.name,
        crank=_crank(heard.crank),
        crank_reason=heard.crank.reason,
        lines=lines,
        warnings=(*warnings, *heard.crank.warnings),
        provenance=Provenance(
            method=METHOD,
            version=VERSION,
            inputs={
                "file": heard.conditions.name,
                "cylinders": sheet.engine.cylinders,
                "strokes": sheet.engine.strokes,
                "crank_source": heard.crank.source,
            },
            valid_range="500 to 7000 rpm, changes up to 2000 rpm/s, takes of 2 s and more",
            source="own method, docs/methods/crank-speed.md and docs/methods/lines.md",
        ),
        pictures=_pictures(heard.hearing, measured, sheet),
        duration_s=heard.hearing.seconds,
    )


def _crank(speed: CrankSpeed) -> Crank | None:
    if speed.track is None:
        return None
    track = speed.track
    if track.time_s.size > 1:
        # Even steps in time: a track's own moments crowd where the engine turns fast.
        even_s = np.linspace(track.time_s[0], track.time_s[-1], min(track.time_s.size, 600))
        track = CrankTrack(
            even_s,
            track.rpm_at(even_s),
            np.interp(even_s, track.time_s, track.rpm_low),
            np.interp(even_s, track.time_s, track.rpm_high),
        )
    return Crank.from_track(track, speed.confidence, source=speed.source)


def _pictures(hearing: Hearing, measured: TakeMeasures, sheet: DriveSheet) -> ListenPictures:
    picture = hearing.picture
    sound = envelope = None
    if hearing.orders is not None and measured.surprises is not None:
        sound = _strip(hearing.orders.sound)
        row = _row_to_show(measured)
        spectrum = hearing.orders.envelope
        band = hearing.bands[row]
        envelope = _strip(
            PowerByOrder(spectrum.order, spectrum.power[row], spectrum.averages, spectrum.turns),
            (band.low_hz, band.high_hz),
        )
    return ListenPictures(
        spectrogram=Spectrogram(
            picture.time_s,
            picture.frequency_hz,
            power_to_db(picture.power.T, 1e-14).astype(np.float32),
        ),
        sound=sound,
        envelope=envelope,
        firing_order=firing_order(sheet),
    )


def _row_to_show(measured: TakeMeasures) -> int:
    """The band whose envelope holds the clearest family, else the middle one."""
    clear = [one for one in measured.found if one.spectrum == "envelope"]
    if not clear or measured.surprises is None:
        return 0
    best = max(clear, key=lambda one: (one.family.significance, one.family.power))
    if best.family.significance < 2.0:
        return int((measured.surprises.envelope.excess.shape[0] - 1) // 2)
    heard = measured.surprises.envelope
    bands = heard.minus_log_p.shape[0] - 1
    if best.family.row < bands:
        return best.family.row
    # Found in all bands together: show the band that holds most of it.
    orders = np.array([member.order for member in best.family.members])
    return int(np.argmax(row_strength(heard, orders)[:bands]))


def _strip(spectrum: PowerByOrder, band_hz: tuple[float, float] | None = None) -> OrderSpectrum:
    power = np.asarray(spectrum.power, dtype=np.float64)
    one_row = PowerByOrder(spectrum.order, power[None, :], spectrum.averages, spectrum.turns)
    background = backgrounds(one_row).power[0]
    shown = (spectrum.order > 0.2) & (spectrum.order <= PICTURE_ORDER_TOP)
    return OrderSpectrum(
        spectrum.order[shown],
        np.asarray(power_to_db(spectrum.power[shown], 1e-20)),
        np.asarray(power_to_db(background[shown], 1e-20)),
        band_hz,
    )
