"""Bolting on a job: bolts ticked in their order, and old part against new by their holes."""

from __future__ import annotations

import tempfile
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any, Final

from beltside.base.errors import InputError
from beltside.casework.bolts_answer import BoltsAnswer
from beltside.casework.bolts_order import order
from beltside.casework.formats.toml_file import parse_toml
from beltside.casework.match_part import read_part
from beltside.casework.match_parts import MatchResult, PairResult, match_parts
from beltside.casework.shop import Shop, checked, sheet_of, write
from beltside.casework.shop_measure import text_as_file
from beltside.jobs.entries import Entry, JobSheet


def save_bolt_pattern(
    shop: Shop,
    job_id: str,
    fastener: str,
    toml: str,
    *,
    torque: str = "",
    torque_source: str = "",
) -> tuple[Entry, BoltsAnswer]:
    """Keep the holes of a flange; gives the order and stages to tighten them in.

    Parameters
    ----------
    fastener
        What is bolted ("coolant pump"); kept once for each.
    toml
        The hole pattern as written.
    torque, torque_source
        The maker's torque with its unit, and where it stands; both or neither.

    Raises
    ------
    InputError
        When it is no hole pattern, the torque has no source, or bolts are ticked already in an
        order that this one is not; nothing is kept then.
    """
    job = sheet_of(shop, job_id)
    body = checked(
        "bolt-pattern",
        {
            "fastener": fastener.strip(),
            "toml": toml,
            "torque": torque.strip(),
            "torque_source": torque_source.strip(),
        },
    )
    if not body["fastener"]:
        raise InputError("nothing says what is bolted", allowed="a name, such as coolant pump")
    answer = _ordered(toml, body["torque"], body["torque_source"])
    for entry in job.of_kind("bolt-pattern"):
        if entry.body["fastener"] == body["fastener"]:
            _require_same_order(job, entry, answer)
            return shop.record.change(entry.id, body, by=shop.by).entry, answer
    return write(shop, job.job.id, "bolt-pattern", body), answer


def _require_same_order(job: JobSheet, entry: Entry, answer: BoltsAnswer) -> None:
    """Refuse another order under bolts that are ticked: their ticks would stand at others."""
    name = entry.body["fastener"]
    ticked = sum(one.body["fastener"] == name for one in job.of_kind("torque-tick"))
    if not ticked:
        return
    before = _ordered(
        str(entry.body["toml"]), str(entry.body["torque"]), str(entry.body["torque_source"])
    )
    if before.data["order"] != answer.data["order"]:
        raise InputError(
            f"{ticked} ticks of {name} stand in another order",
            allowed="the same order while bolts are ticked",
            instead="another name for what is bolted, or taking the ticks back first",
        )


@lru_cache(maxsize=32)
def _ordered(toml: str, torque: str, torque_source: str) -> BoltsAnswer:
    with text_as_file(toml, "pattern.toml") as path:
        return order(path, torque=torque or None, torque_source=torque_source or None)


@dataclass(frozen=True)
class BoltNow:
    """One bolt in one pass: its place in the order, its torque, and the tick if it has one."""

    place: int
    name: str
    pass_number: int
    torque_nm: float | None
    tick: str = ""


@dataclass(frozen=True)
class BoltsNow:
    """The bolts of a flange as they stand.

    Attributes
    ----------
    fastener
        What is bolted.
    answer
        Order and stages, with pictures.
    bolts
        Every bolt of every pass, in order.
    source
        Where the torque stands; "" without one.
    """

    fastener: str
    answer: BoltsAnswer
    bolts: tuple[BoltNow, ...]
    source: str

    @property
    def next(self) -> BoltNow | None:
        """The bolt to tighten now; None when all are done."""
        return next((one for one in self.bolts if not one.tick), None)

    def to_json(self) -> dict[str, Any]:
        """The JSON of `bolts order`, with the ticks."""
        now = self.next
        return {
            **self.answer.to_json(),
            "fastener": self.fastener,
            "bolts": [vars(one) for one in self.bolts],
            "next": None if now is None else vars(now),
        }


def bolts_now(shop: Shop, job_id: str, fastener: str = "") -> BoltsNow:
    """The bolts of a flange as they stand; of the only one without its name.

    Raises
    ------
    InputError
        When no pattern of that name is kept on this job.
    """
    return _bolts(sheet_of(shop, job_id), fastener)


def _bolts(job: JobSheet, fastener: str) -> BoltsNow:
    patterns = {str(one.body["fastener"]): one for one in job.of_kind("bolt-pattern")}
    name = fastener.strip() or (next(iter(patterns)) if len(patterns) == 1 else "")
    if name not in patterns:
        raise InputError(
            f'no hole pattern of "{fastener}" is on this job'
            if fastener.strip()
            else "nothing says which hole pattern is meant"
            if patterns
            else "no hole pattern is on this job yet",
            allowed=", ".join(patterns) or "one that was entered",
            instead="entering its holes",
        )
    body = patterns[name].body
    answer = _ordered(str(body["toml"]), str(body["torque"]), str(body["torque_source"]))
    ticks = {
        (int(tick.body["pass_number"]), tick.body.get("number")): tick.id
        for tick in job.of_kind("torque-tick")
        if tick.body["fastener"] == name
    }
    source = (answer.data.get("maker") or {}).get("from", "")
    bolts = tuple(
        BoltNow(
            place,
            bolt,
            pass_number,
            stage["torque_nm"],
            ticks.get((pass_number, place), ""),
        )
        for pass_number, stage in enumerate(answer.data["stages"], start=1)
        for place, bolt in enumerate(answer.data["order"], start=1)
    )
    return BoltsNow(name, answer, bolts, str(source))


def tick_bolt(
    shop: Shop,
    job_id: str,
    fastener: str = "",
    *,
    number: int | None = None,
    pass_number: int | None = None,
    torque_nm: float | None = None,
    angle_deg: float | None = None,
    source: str = "",
    entry_id: str | None = None,
) -> Entry:
    """Tick a fastener as tightened.

    With a hole pattern on the job the next bolt is taken when no number is given, and its torque
    from the pattern; without one, `fastener` and what was done are kept as they are.

    Parameters
    ----------
    number, pass_number
        Its place in the tightening order and which pass it was, both counted from 1.
    torque_nm, angle_deg
        Torque [N m] and angle after it [degrees].
    source
        Where the torque stands.

    Raises
    ------
    InputError
        When all bolts are done, there is no such bolt, or nothing says which fastener it was.
    FieldProblemsError
        With what is wrong beside each field.
    """
    job = sheet_of(shop, job_id)
    patterns = [str(one.body["fastener"]) for one in job.of_kind("bolt-pattern")]
    name = fastener.strip() or (patterns[0] if len(patterns) == 1 else "")
    if name in patterns:
        now = _bolts(job, name)
        bolt = _bolt(now, number, pass_number)
        number, pass_number = bolt.place, bolt.pass_number
        torque_nm = bolt.torque_nm if torque_nm is None else torque_nm
        source = source or now.source
        if bolt.tick and bolt.tick != entry_id:
            return shop.record.entry(bolt.tick)
    elif not name:
        raise InputError(
            "nothing says which fastener it was",
            allowed=", ".join(patterns) or "its name, such as pump pulley bolts",
        )
    typed = {
        "fastener": name,
        "number": number,
        "pass_number": pass_number or 1,
        "torque_nm": torque_nm,
        "angle_deg": angle_deg,
        "source": source,
    }
    return write(shop, job.job.id, "torque-tick", typed, entry_id=entry_id)


def _bolt(now: BoltsNow, number: int | None, pass_number: int | None) -> BoltNow:
    if number is None and pass_number is None:
        if now.next is None:
            raise InputError(f"all bolts of {now.fastener} are tightened", instead="nothing more")
        return now.next
    for one in now.bolts:
        if pass_number in (None, one.pass_number) and number in (None, one.place):
            if pass_number is None and one.tick:
                continue
            return one
    most = max(one.place for one in now.bolts)
    passes = max(one.pass_number for one in now.bolts)
    raise InputError(
        f"there is no bolt {number} in pass {pass_number or 1} of {now.fastener}",
        allowed=f"bolts 1 to {most}, passes 1 to {passes}",
    )


def bolt_patterns(job: JobSheet) -> tuple[str, ...]:
    """What is bolted on a job, by the patterns kept, oldest first."""
    return tuple(str(one.body["fastener"]) for one in job.of_kind("bolt-pattern"))


# Part match --------------------------------------------------------------------------------------

_ENDINGS: Final = {"image/png": ".png", "image/webp": ".webp", "image/tiff": ".tif"}


@dataclass(frozen=True)
class PartGiven:
    """A part to match: its stored photo, and its part file as text where it was marked or measured.

    `photo` is the SHA-256 name of the stored picture, None for one measured by caliper.
    """

    name: str
    photo: str | None = None
    toml: str = ""


@dataclass(frozen=True)
class MatchKept:
    """A match as kept: its entry and its result."""

    entry: Entry
    result: MatchResult

    def to_json(self) -> dict[str, Any]:
        """The JSON of `bolts match`, with the entry."""
        return {**self.result.to_json(), "entry": self.entry.id}


def match_on_job(
    shop: Shop,
    job_id: str,
    old: PartGiven,
    new: PartGiven,
    *,
    gasket: PartGiven | None = None,
    part: str = "",
    disc_mm: float | None = None,
    entry_id: str | None = None,
) -> MatchKept:
    """Old part against new part by their holes, from two photos; kept on the job.

    Parameters
    ----------
    old, new, gasket
        The parts.
    part
        Which part it is.
    disc_mm
        Diameter of the round thing lying beside the part, for photos without a part file [mm].

    Raises
    ------
    InputError, PictureError, LimitError
        When a photo or file can't be used, or says too little.
    """
    job = sheet_of(shop, job_id)
    given = [one for one in (old, new, gasket) if one is not None]
    result = _matched(shop, given, disc_mm)
    files = [one.photo for one in given if one.photo]
    pair = result.pairs[0]
    typed = {
        "part": part,
        "files": files,
        "verdict": result.verdict,
        "says": _match_words(pair),
        "result": {
            **result.to_json(),
            "given": [{"name": one.name, "photo": one.photo, "toml": one.toml} for one in given],
            "disc_mm": disc_mm,
        },
    }
    entry = write(shop, job.job.id, "part-match", typed, entry_id=entry_id, files=files)
    return MatchKept(entry, result)


_MATCH_WORDS: Final = {
    "fits": "Fits: {reason}.",
    "fits another way up": "Fits another way up: {reason}.",
    "doesn't fit": "Doesn't fit: {reason}.",
    "can't tell": "Can't tell: {reason}.",
}


def _match_words(pair: PairResult) -> str:
    """The verdict on a pair with its first reason, as a sentence."""
    return _MATCH_WORDS[pair.verdict].format(reason=pair.reasons[0])


def _matched(shop: Shop, given: Sequence[PartGiven], disc_mm: float | None) -> MatchResult:
    with tempfile.TemporaryDirectory(prefix="beltside-") as folder:
        paths = [
            _laid_out(shop, one, Path(folder) / str(number)) for number, one in enumerate(given)
        ]
        return match_parts(
            paths[0], paths[1], gasket=paths[2] if len(paths) > 2 else None, disc_mm=disc_mm
        )


def match_again(shop: Shop, job: JobSheet, entry: Entry) -> MatchResult:
    """A kept match worked out once more, for its drawings.

    Raises
    ------
    InputError, PictureError, LimitError
        When it is no match of this job, or a photo is gone.
    """
    result = entry.body.get("result", {})
    given = [PartGiven(one["name"], one["photo"], one["toml"]) for one in result.get("given", ())]
    if entry not in job.of_kind("part-match") or len(given) < 2:
        raise InputError(f"{entry.id} is no match of this job", instead="one of its list")
    return _matched(shop, given, result.get("disc_mm"))


def matched_holes(shop: Shop, job: JobSheet) -> list[tuple[float, float]]:
    """Hole centres of the new part of the last match [mm], seen from where its bolts go in.

    A match sees the mating face; the bolts go in from the other one.

    Raises
    ------
    InputError
        When no part was matched on this job.
    """
    kept = job.newest("part-match")
    given = kept.body["result"].get("given", []) if kept is not None else []
    if kept is None or len(given) < 2:
        raise InputError("no part was matched on this job", instead="typing the holes")
    with tempfile.TemporaryDirectory(prefix="beltside-") as folder:
        part = PartGiven(given[1]["name"], given[1]["photo"], given[1]["toml"])
        path = _laid_out(shop, part, Path(folder) / "new")
        measured = read_part(path, disc_mm=kept.body["result"].get("disc_mm"))
    return [(-float(x), float(y)) for x, y in measured.holes.places_mm]


def _laid_out(shop: Shop, one: PartGiven, folder: Path) -> Path:
    """The part as files under the names its part file calls them by."""
    folder.mkdir()
    ending = ".jpg"
    if one.photo is not None:
        ending = _ENDINGS.get(shop.record.file_kind(one.photo), ".jpg")
    photo = folder / f"{Path(one.name).stem or 'part'}{ending}"
    text: Mapping[str, Any] = {}
    if one.toml:
        text = parse_toml(one.toml, Path(f"{one.name}.toml"))
        called = text.get("photo")
        if isinstance(called, str):
            if not called or Path(called).name != called:
                raise InputError(
                    f'the photo is called "{called}"', allowed="a plain name, such as old.jpg"
                )
            photo = folder / called
    if one.photo is not None:
        photo.symlink_to(shop.files.path(one.photo).resolve())
    elif text.get("photo"):
        raise InputError(f"the photo of {one.name} is missing", instead="choosing it again")
    if not one.toml:
        if one.photo is None:
            raise InputError(
                f"nothing is known of {one.name}", allowed="a photo, or its holes measured"
            )
        return photo
    path = folder / f"{Path(one.name).stem or 'part'}.toml"
    path.write_text(one.toml, encoding="utf-8")
    return path
