"""What the proof sheet needs of the sound itself: order spectra at one gain, and two short clips.

Worked out once for a pair of takes and kept.
"""

from __future__ import annotations

import base64
import tempfile
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

from beltside.base.errors import BeltsideError
from beltside.casework.compare import compare_sounds
from beltside.casework.compare_listening import write_listening_pair
from beltside.casework.compare_takes import load_pair
from beltside.casework.kept_pictures import pictures_to_json
from beltside.casework.picture_data import ListenPictures, OrderSpectrum
from beltside.casework.results import Progress
from beltside.casework.shop import Shop
from beltside.casework.shop_analysis import analyse_now, state_of
from beltside.casework.shop_case import sheet_on_job, take_names
from beltside.casework.shop_measure import text_as_file
from beltside.jobs.entries import Entry, JobSheet

METHOD: Final = "proof-sound"
VERSION: Final = 2
MEDIA_TYPE: Final = "audio/mp4"


@dataclass(frozen=True)
class Clips:
    """Two clips of the engine to play one after the other, at one gain; AAC in MP4."""

    before: bytes
    after: bytes
    media_type: str = MEDIA_TYPE


def sound_of_pair(
    shop: Shop, job: JobSheet, before: Entry, after: Entry, *, wait: bool
) -> Mapping[str, Any] | None:
    """Spectra and clips of two takes of a job; None when they can't be had.

    Parameters
    ----------
    wait
        Work them out now when nobody has yet; otherwise only what is kept is given.
    """
    _, toml, _ = sheet_on_job(job)
    if toml is None:
        return None
    names = take_names(job)
    settings = {
        "sheet": toml,
        **{
            side: {
                "file": take.body["file"],
                "name": names[take.id],
                "crank_rpm": take.body.get("crank_rpm"),
            }
            for side, take in (("before", before), ("after", after))
        },
    }
    subject = job.job.id
    try:
        if wait:
            return analyse_now(shop, METHOD, VERSION, subject, settings, subject)
        return state_of(shop, METHOD, VERSION, subject, settings).result
    except BeltsideError:
        return None


def clips_from(plain: Mapping[str, Any] | None) -> Clips | None:
    """The two clips of what `sound_of_pair` gave; None when there are none."""
    if plain is None or not plain.get("clips"):
        return None
    clips = plain["clips"]
    return Clips(base64.b64decode(clips["before"]), base64.b64decode(clips["after"]))


def work_out_sound(shop: Shop, settings: Mapping[str, Any], progress: Progress) -> dict[str, Any]:
    """Compare two stored recordings once more, for their spectra and a listening pair."""
    before, after = settings["before"], settings["after"]
    with (
        text_as_file(settings["sheet"], "drive.toml") as sheet_file,
        tempfile.TemporaryDirectory(prefix="beltside-clips-") as name,
    ):
        sheet, sounds = load_pair(
            shop.files.path(before["file"]),
            shop.files.path(after["file"]),
            drive=sheet_file,
            before_rpm=before["crank_rpm"],
            after_rpm=after["crank_rpm"],
            progress=progress,
        )
        result = compare_sounds(*sounds, sheet, progress=progress)
        if not result.comparable:
            return {"strips": None, "clips": None}
        pair = write_listening_pair(result, sounds, Path(name))
        clips = {
            side: base64.b64encode(path.read_bytes()).decode("ascii")
            for side, path in (("before", pair.before), ("after", pair.after))
        }
    pictures = result.pictures
    strips = None
    if pictures.before is not None and pictures.after is not None:
        strips = {"before": _plain(pictures.before), "after": _plain(pictures.after)}
    return {"strips": strips, "clips": clips}


def _plain(strip: OrderSpectrum) -> Any:
    return pictures_to_json(ListenPictures(sound=strip))["sound"]
