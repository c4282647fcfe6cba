"""Old part against new part by their holes: two photos, found holes, taps, caliper figures."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final
from urllib.parse import urlencode

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, Response
from starlette.datastructures import FormData, QueryParams

from beltside.base.errors import BeltsideError, InputError
from beltside.base.words import PULLEY_PARTS
from beltside.casework.match_form import (
    LEAST_HOLES,
    SIDES,
    PartMarks,
    PhotoSeen,
    RoundThing,
    ShownPart,
    part_toml,
    photo_seen,
    read_place,
    shown_part,
)
from beltside.casework.shop import Entry, JobSheet, Shop
from beltside.casework.shop_bolting import PartGiven, match_again, match_on_job
from beltside.web.drawn import drawn_once
from beltside.web.forms import CheckedForm, texts, typed, uploads
from beltside.web.job_frame import JobFrame, open_job
from beltside.web.pages import Page, go_to, shop_of, show
from beltside.web.routes.photo import photo_kept
from beltside.web.svg_address import svg_address
from beltside.web.texts import said, text_
from beltside.web.visitors import visitor_of
from beltside.web.words import PART_WORDS

router = APIRouter()

NAMES: Final = ("old", "new", "gasket")
NAME_WORDS: Final[Mapping[str, str]] = {
    "old": text_("Old part"),
    "new": text_("New part"),
    "gasket": text_("Gasket"),
}
VERDICT_WORDS: Final[Mapping[str, str]] = {
    "fits": text_("Fits"),
    "fits another way up": text_("Fits turned over only"),
    "doesn't fit": text_("Doesn't fit"),
    "can't tell": text_("Can't tell"),
}
SIDE_WORDS: Final[Mapping[str, str]] = {
    "mating": text_("The mating face"),
    "back": text_("The back"),
}
CAUTION: Final = text_(
    "Lay the parts on each other before you bolt. The vehicle maker's service data stands above "
    "anything said here."
)
ROWS: Final = 8
SHARED: Final = ("part", "disc_mm", "length_mm", "lower_mm")
CALIPER: Final = ("x_mm", "y_mm", "diameter_mm")
MARKS: Final = ("hole", "known", "edge", "end", "scale", "mode")
CAPTIONS: Final[Mapping[str, str]] = {name: f"{name} part" for name in NAMES}


@dataclass(frozen=True)
class Marked:
    """A part on the page to mark: its photo, what was found, what counts, its taps.

    `holes` are (value, in words of the picture, whether it counts); `known` the round thing chosen.
    """

    name: str
    photo: str
    seen: PhotoSeen | None
    holes: Sequence[tuple[str, RoundThing, bool]]
    known: str
    edge: Sequence[str]
    ends: Sequence[str]
    rows: Sequence[int]


@dataclass(frozen=True)
class MatchPage(Page):
    """Two parts to be matched: photos chosen, holes marked or typed."""

    template = "match.html"
    frame: JobFrame
    number: int
    marked: Sequence[Marked]
    fields: Mapping[str, str]
    problems: Mapping[str, str]
    wrong: str
    kept: Sequence[tuple[str, str, str]]
    parts: Sequence[tuple[str, str]]
    sides: Sequence[tuple[str, str]]
    name_words: Mapping[str, str]
    verdict_words: Mapping[str, str]
    caution_words: str
    captions: Mapping[str, str]


@dataclass(frozen=True)
class Hole:
    """A hole of the first part on one of the second: how far off, how well that is measured."""

    first: int
    second: int
    off_mm: float
    sigma_mm: float
    larger_mm: float | None


@dataclass(frozen=True)
class Pair:
    """Two parts beside each other, with the widest gap as a line on each."""

    first: ShownPart
    second: ShownPart
    first_gap: tuple[RoundThing, RoundThing] | None
    second_gap: tuple[RoundThing, RoundThing] | None
    told: Mapping[str, Any]
    holes: Sequence[Hole]
    picture: str


@dataclass(frozen=True)
class MatchedPage(Page):
    """What the holes say: the verdict, both pictures with the widest gap, what is left over."""

    template = "matched.html"
    frame: JobFrame
    number: int
    entry: Entry
    pairs: Sequence[Pair]
    warnings: Sequence[str]
    again: str
    name_words: Mapping[str, str]
    verdict_words: Mapping[str, str]
    caution_words: str


@router.get("/job/{number}/match")
def match_page(request: Request, number: int) -> HTMLResponse:
    """Choose two photos, or mark those chosen; what the address says is filled in."""
    sheet, frame = open_job(request, number)
    given = request.query_params
    return show(request, _page(shop_of(request), sheet, frame, dict(given), given))


@router.post("/job/{number}/match")
def match(request: Request, number: int, form: CheckedForm) -> Response:
    """Keep photos that come with it; then mark them, or compare the parts."""
    sheet, frame = open_job(request, number)
    shop = shop_of(request)
    fields = {name: value.strip() for name, value in typed(form).items()}
    problems: dict[str, str] = {}
    fresh: set[str] = set()
    for name in NAMES:
        for upload in uploads(form, f"{name}.file"):
            try:
                fields[f"{name}.photo"] = photo_kept(shop, sheet, upload, CAPTIONS[name])
            except BeltsideError as error:
                problems[f"{name}.file"] = str(error)
            else:
                fresh.add(name)
    # Photos that were sent before the form are not marked yet either.
    fresh |= {one for one in NAMES if fields.get(f"{one}.photo") and f"{one}.scale" not in fields}
    if not problems and (fresh or fields.get("do") == "look"):
        shown = _as_address(fields, form, fresh)
        if any(fields.get(f"{name}.photo") for name in NAMES):
            return go_to(f"/job/{number}/match?{urlencode(shown)}#mark")
    if fields.get("do") == "rows" and not problems:
        return show(request, _page(shop, sheet, frame, fields, form))
    wrong = ""
    if not problems:
        try:
            given = [_given(name, fields, form) for name in NAMES if _is_given(name, fields)]
            _require_two(given)
            kept = match_on_job(
                shop,
                sheet.job.id,
                given[0],
                given[1],
                gasket=given[2] if len(given) > 2 else None,
                part=fields.get("part", ""),
            )
        except BeltsideError as error:
            wrong = str(error)
        else:
            return go_to(f"/job/{number}/match/{kept.entry.id}", saved="1")
    page = _page(shop, sheet, frame, fields, form, problems, wrong)
    return show(request, page, status=422)


@router.get("/job/{number}/match/{entry}")
def matched_page(request: Request, number: int, entry: str) -> HTMLResponse:
    """What a kept match says."""
    sheet, frame = open_job(request, number)
    shop = shop_of(request)
    kept = next((one for one in sheet.of_kind("part-match") if one.id == entry), None)
    if kept is None:
        raise InputError(f'there is no match "{entry[:40]}" on this job', instead="its list")
    return show(
        request,
        MatchedPage(
            frame,
            number,
            kept,
            _pairs(shop, sheet, kept, visitor_of(request).language),
            [str(one) for one in kept.body["result"].get("warnings", ())],
            _again(number, kept),
            NAME_WORDS,
            VERDICT_WORDS,
            CAUTION,
        ),
    )


def _as_address(
    fields: Mapping[str, str], form: FormData, fresh: Collection[str]
) -> list[tuple[str, str]]:
    """What the address of the page says: all that was typed and marked, but for fresh photos."""
    shown = [
        (key, fields.get(key, value) if key.endswith(".photo") else value)
        for key, value in form.multi_items()
        if isinstance(value, str) and value and key != "do" and not key.startswith("_")
    ]
    named = {key for key, _ in shown}
    shown += [
        (f"{name}.photo", fields[f"{name}.photo"]) for name in fresh if f"{name}.photo" not in named
    ]
    marks = {f"{name}.{kind}" for name in fresh for kind in MARKS}
    return [(key, value) for key, value in shown if key not in marks]


def _is_given(name: str, fields: Mapping[str, str]) -> bool:
    return bool(fields.get(f"{name}.photo")) or any(
        fields.get(f"{name}.{row}.{cell}") for row in range(ROWS) for cell in CALIPER
    )


def _require_two(given: Sequence[PartGiven]) -> None:
    names = [one.name for one in given]
    if names[:2] != ["old", "new"]:
        missing = [name for name in ("old", "new") if name not in names]
        raise InputError(
            f"nothing is known of the {missing[0]} part"
            if len(missing) == 1
            else "nothing is known of the old and the new part",
            allowed="a photo of each, or the places of its holes by caliper",
        )


def _given(name: str, fields: Mapping[str, str], form: FormData) -> PartGiven:
    """A part as `match_on_job` takes it."""
    others = {
        key: fields.get(f"{name}.{key}", "") for key in ("side", "height_mm", "hub_offset_mm")
    }
    photo = fields.get(f"{name}.photo", "")
    if not photo:
        holes = _typed_holes(name, fields)
        return PartGiven(name, None, part_toml(name, PartMarks(holes, others=others), photo=False))
    places = tuple(read_place(one) for one in texts(form, f"{name}.hole"))
    taps = texts(form, f"{name}.edge") or [fields.get(f"{name}.known", "")]
    if fields.get("length_mm"):
        taps = texts(form, f"{name}.end")
    known = tuple(read_place(one)[:2] for one in taps if one)
    try:
        scale = float(fields.get(f"{name}.scale") or 1.0)
    except ValueError:
        scale = 1.0
    marks = PartMarks(places, known, scale, others)  # type: ignore[arg-type]
    sizes = {key: fields.get(key, "") for key in ("disc_mm", "length_mm", "lower_mm")}
    return PartGiven(name, photo, part_toml(name, marks, photo=True, sizes=sizes))


def _typed_holes(name: str, fields: Mapping[str, str]) -> tuple[tuple[float, ...], ...]:
    holes = []
    for row in range(ROWS):
        cells = [fields.get(f"{name}.{row}.{cell}", "").replace(",", ".") for cell in CALIPER]
        if any(cells):
            holes.append(read_place(",".join(cells if cells[2] else cells[:2])))
    return tuple(holes)


def _page(
    shop: Shop,
    sheet: JobSheet,
    frame: JobFrame,
    fields: Mapping[str, str],
    form: FormData | QueryParams,
    problems: Mapping[str, str] | None = None,
    wrong: str = "",
) -> MatchPage:
    told = dict(problems or {})
    marked = []
    for name in NAMES:
        photo = fields.get(f"{name}.photo", "")
        seen = None
        if photo:
            try:
                seen = photo_seen(shop, photo)
            except BeltsideError as error:
                told[f"{name}.file"], photo = str(error), ""
        marked.append(_marked(name, photo, seen, fields, form))
    return MatchPage(
        frame,
        frame.number,
        marked,
        fields,
        told,
        wrong,
        [
            (one.id, str(one.body["verdict"]), str(one.body["part"]))
            for one in sheet.of_kind("part-match")[::-1]
        ],
        [("", text_("Not said")), *((part, PART_WORDS[part]) for part in PULLEY_PARTS)],
        [(side, SIDE_WORDS[side]) for side in SIDES],
        NAME_WORDS,
        VERDICT_WORDS,
        CAUTION,
        CAPTIONS,
    )


def _marked(
    name: str,
    photo: str,
    seen: PhotoSeen | None,
    fields: Mapping[str, str],
    form: FormData | QueryParams,
) -> Marked:
    """A part as its marks stand: those sent, or at first all that were found."""
    sent = [one for one in form.getlist(f"{name}.hole") if isinstance(one, str)]
    known = fields.get(f"{name}.known", "")
    edge, ends = (
        [one for one in form.getlist(f"{name}.{kind}") if isinstance(one, str)]
        for kind in ("edge", "end")
    )
    holes: list[tuple[str, RoundThing, bool]] = []
    if seen is not None:
        first = f"{name}.scale" not in form
        for one in seen.holes:
            value = _value(one)
            holes.append((value, one, first or value in sent))
        found = {value for value, _, _ in holes}
        for value in sent:
            if value not in found:
                x, y = read_place(value)[:2]
                holes.append((value, RoundThing(x, y, 0.0), True))
        if first and seen.discs and not known:
            known = _value(seen.discs[0])
    filled = [
        row for row in range(ROWS) if any(fields.get(f"{name}.{row}.{cell}") for cell in CALIPER)
    ]
    rows = range(min(max([LEAST_HOLES, *(row + 2 for row in filled)]), ROWS))
    return Marked(name, photo, seen, holes, known, edge, ends, rows)


def _value(one: RoundThing) -> str:
    return f"{one.x_px:.1f},{one.y_px:.1f}"


def _again(number: int, kept: Entry) -> str:
    """The address to mark the same photos anew."""
    result = kept.body["result"]
    fields = {
        f"{one['name']}.photo": one["photo"]
        for one in result.get("given", ())
        if one.get("photo") and one["name"] in NAMES
    }
    if not fields:
        return ""
    if kept.body.get("part"):
        fields["part"] = str(kept.body["part"])
    if result.get("disc_mm"):
        fields["disc_mm"] = f"{result['disc_mm']:g}"
    return f"/job/{number}/match?{urlencode(fields)}#mark"


def _pairs(shop: Shop, sheet: JobSheet, kept: Entry, language: str) -> list[Pair]:
    result = kept.body["result"]
    try:
        shown = [shown_part(shop, one) for one in result.get("given", ())]
    except (BeltsideError, KeyError, ValueError):
        return []
    drawn = _drawings(shop, sheet, kept, language)
    order = ((0, 1), (0, 2), (1, 2))
    pairs = []
    for index, told in enumerate(result.get("pairs", ())):
        first, second = (shown[k] for k in order[index])
        gap = told["widest_gap"]
        best = told["orientations"][0]["holes"] if told["orientations"] else []
        pairs.append(
            Pair(
                first,
                second,
                _gap(first, gap["first"]),
                _gap(second, gap["second"]),
                told,
                [
                    Hole(
                        one["first"],
                        one["second"],
                        one["off_mm"],
                        one["sigma_mm"],
                        one["diameter_difference_mm"],
                    )
                    for one in best
                ],
                drawn[index] if index < len(drawn) else "",
            )
        )
    return pairs


def _gap(part: ShownPart, ends: Sequence[int] | None) -> tuple[RoundThing, RoundThing] | None:
    if not ends or max(ends) > len(part.holes):
        return None
    first, second = (part.holes[k - 1] for k in ends)
    return first, second


def _drawings(shop: Shop, sheet: JobSheet, kept: Entry, language: str) -> list[str]:
    """The parts laid on each other, as addresses that hold the pictures themselves."""
    from beltside.proof.match_picture import match_svg

    def drawn() -> str:
        result = match_again(shop, sheet, kept)

        def say(text: str) -> str:
            return said(text, language)

        return "\n".join(svg_address(match_svg(pair, say)) for pair in result.pairs)

    try:
        key = ("match", str(shop.folder), kept.id, kept.version, language)
        return drawn_once(key, drawn).split("\n")
    except BeltsideError:
        return []
