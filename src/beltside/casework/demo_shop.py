"""The demo shop: an invented garage with jobs at every stage, made and removed by one command.

Its jobs go by names that begin with "demo-". Removing them touches no other job, and what they
would teach is never learned.
"""

from __future__ import annotations

import tempfile
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from functools import partial
from pathlib import Path
from typing import Any, Final

import numpy as np

from beltside.base.errors import BeltsideError
from beltside.casework.demo_shop_jobs import (
    DEMO_JOBS,
    FINDINGS,
    FLANGE,
    FLANGE_SOURCE,
    FLANGE_TORQUE,
    HOLD_READINGS,
    PRICES,
    TECHNICIAN,
    TEMPLATES,
    DemoJob,
)
from beltside.casework.drive import drive_of_sheet
from beltside.casework.results import Progress
from beltside.casework.shop import Shop, keep, write
from beltside.casework.shop_agree import make_estimate, owner_agrees, part_used
from beltside.casework.shop_bolting import (
    PartGiven,
    match_on_job,
    save_bolt_pattern,
    tick_bolt,
)
from beltside.casework.shop_coolant import begin_hold, coolant_on_job, end_hold, hold_reading
from beltside.casework.shop_find import finding_made
from beltside.casework.shop_jobs import came_back, close_job, new_job, remind
from beltside.casework.shop_learning import DEMO_PREFIX
from beltside.casework.shop_listen import take_heard
from beltside.casework.shop_measure import compare_on_job, save_drive_sheet
from beltside.casework.shop_takes import add_take
from beltside.casework.shop_teardown import make_plan, plan_on_job
from beltside.jobs.removing import jobs_with_prefix, remove_jobs
from beltside.media import write_recording
from beltside.media.picture_writing import jpeg_bytes
from beltside.rig import RigCase, TakePlan, demo_case, draw_case
from beltside.rig.demo import PULLEYS
from beltside.rig.photo_front import photograph_front
from beltside.rig.photo_part import PartPlan, draw_part, photograph_part
from beltside.rig.writing import drive_toml

SEED: Final = 60
SEVERITY_DB: Final = 12.0
RATES: Final = {"labour_per_hour": "72.00", "tax_percent": "19", "parts_margin_percent": "12"}

_STAGES: Final = (
    "complaint",
    "listen",
    "find",
    "measure",
    "agree",
    "agreed",
    "work",
    "prove",
    "closed",
    "reminder",
    "comeback",
)
_ON: Final = TakePlan("belt-on", duration_s=8.0)
_OFF: Final = TakePlan("belt-off", belt="off", duration_s=6.0)
_AFTER: Final = TakePlan("after-repair", duration_s=8.0)
_TARN: Final = (
    _ON,
    _OFF,
    TakePlan("speed-raised", speed="ramp", duration_s=10.0),
    *(
        TakePlan(f"probe-{part}", place=part, duration_s=6.0)
        for part in ("coolant-pump", "alternator", "idler")
    ),
)
_OTHER_CAR: Final = 100
_STEP_SPEED: Final = (0.9, 1.2, 1.05, 0.8, 1.4)
"""What steps took against the plan, in turn; invented."""


@dataclass(frozen=True)
class DemoShop:
    """What was made: the numbers of the jobs, in order."""

    numbers: tuple[int, ...]

    def to_json(self) -> dict[str, Any]:
        """Plain dict."""
        return {"jobs": list(self.numbers)}


def make_demo_shop(shop: Shop, *, progress: Progress | None = None) -> DemoShop:
    """Make the demo shop's jobs; those that are there already are left as they are.

    Raises
    ------
    RecordError, StoreError
        When the record can't be written.
    """
    say = progress or (lambda _what, _share: None)
    ours = shop.as_writer(TECHNICIAN)
    there = set(jobs_with_prefix(shop.record.database, DEMO_PREFIX))
    numbers = []
    for place, one in enumerate(DEMO_JOBS):
        say(f"job of {one.owner}", place / len(DEMO_JOBS))
        job_id = f"{DEMO_PREFIX}{one.name}"
        if job_id not in there:
            _make(ours, one, job_id)
        numbers.append(shop.record.job(job_id).number)
    say("done", 1.0)
    return DemoShop(tuple(numbers))


def remove_demo_shop(shop: Shop) -> int:
    """Remove the demo shop's jobs with their recordings and photos; gives how many went.

    Files that another job needs as well stay.
    """
    ids = jobs_with_prefix(shop.record.database, DEMO_PREFIX)
    for sha256 in remove_jobs(shop.record.database, ids):
        shop.files.remove(sha256)
    return len(ids)


def _make(shop: Shop, one: DemoJob, job_id: str) -> None:
    if one.stage == "earlier":
        _make_earlier(shop, one, job_id)
        return
    reached = _STAGES.index(one.stage)

    def at(stage: str) -> bool:
        return reached >= _STAGES.index(stage)

    typed = {
        name: getattr(one, name)
        for name in ("words", "car", "plate", "owner", "phone", "engine", "since")
    }
    new_job(shop, typed, job_id=job_id)
    write(shop, job_id, "note", {"words": "A job of the demo shop; everything on it is invented."})
    if not at("listen"):
        return
    rng = np.random.default_rng(SEED + int(one.name))
    case = _case(rng, one, after=at("prove"))
    save_drive_sheet(shop, job_id, drive_toml(case.sheet))
    _keep_takes(shop, job_id, case)
    if not at("find"):
        return
    for check, part, outcome in FINDINGS[one.truth]:
        _if_it_can(partial(finding_made, shop, job_id, check, outcome, part, minutes=2.0))
    if not at("measure"):
        return
    _front_photo(shop, job_id, rng)
    if not at("agree"):
        return
    template = TEMPLATES[one.truth]
    make_plan(shop, job_id, {"template": template})
    prices = [
        {"name": name, "price": price, "source": "price list of the demo"}
        for name, price in PRICES[template]
    ]
    make_estimate(shop, job_id, {**RATES, "price": prices})
    if not at("agreed"):
        return
    owner_agrees(shop, job_id, "1", one.owner)
    if not at("work"):
        return
    _work(shop, job_id, template, to_the_end=at("prove"))
    if template == "coolant-pump":
        _pump(shop, job_id, rng, hold=at("prove"))
    if not at("closed"):
        return
    _if_it_can(lambda: compare_on_job(shop, job_id))
    close_job(
        shop,
        job_id,
        {"cause": one.truth, "replaced": [one.truth], "cured": True, "currency": "EUR"},
    )
    today = datetime.now(UTC).date()
    if one.stage == "reminder":
        remind(shop, job_id, "Look at the belt's ribs again", due=today.isoformat())
    if one.stage == "comeback":
        remind(shop, job_id, "Call the owner", due=(today + timedelta(days=30)).isoformat())
        came_back(shop, job_id, "It squeals again since Friday.", new_id=f"{job_id}b")


def _make_earlier(shop: Shop, one: DemoJob, job_id: str) -> None:
    """A job closed long ago: its words, its sound, its cause."""
    typed = {name: getattr(one, name) for name in ("words", "car", "plate", "owner", "engine")}
    new_job(shop, typed, job_id=job_id)
    write(shop, job_id, "note", {"words": "A job of the demo shop; everything on it is invented."})
    rng = np.random.default_rng(SEED + int(one.like))
    plan = replace(_ON, duration_s=one.seconds)
    case = draw_case(rng, truth=one.truth, takes=(plan,), severity_db=SEVERITY_DB)
    save_drive_sheet(shop, job_id, drive_toml(case.sheet))
    _keep_takes(shop, job_id, case)
    _if_it_can(lambda: take_heard(shop, job_id, "1", wait=True))
    close_job(
        shop,
        job_id,
        {"cause": one.truth, "replaced": [one.truth], "cured": True, "currency": "EUR"},
    )


def _if_it_can(do: Callable[[], object]) -> None:
    """A step that an odd drawn car may not allow is left out: the job shows what there is."""
    try:
        do()
    except BeltsideError:
        return


def _case(rng: np.random.Generator, one: DemoJob, *, after: bool) -> RigCase:
    if one.truth == "tarn":
        return demo_case(plans=_TARN)
    plans = (_ON, _OFF)
    seed = SEED + int(one.name)
    case = draw_case(rng, truth=one.truth, takes=plans, severity_db=SEVERITY_DB)
    while not _can_be_drawn(case, measured=one.stage == "measure"):
        # Pulleys so close that no belt gets through, or not measured where they are: another car.
        seed += _OTHER_CAR
        case = draw_case(
            np.random.default_rng(seed), truth=one.truth, takes=plans, severity_db=SEVERITY_DB
        )
    if after:
        # The same car in health: drawn by the same chances, its fault far below hearing.
        again = np.random.default_rng(seed)
        healthy = draw_case(again, truth=one.truth, takes=(_AFTER,), severity_db=-60.0)
        case = replace(case, takes=(*case.takes, *healthy.takes))
    return case


def _can_be_drawn(case: RigCase, *, measured: bool) -> bool:
    """Whether a belt gets round the pulleys of the sheet; without positions if not `measured`."""
    try:
        return bool(drive_of_sheet(case.sheet).spans) or not measured
    except BeltsideError:
        return False


def _keep_takes(shop: Shop, job_id: str, case: RigCase) -> None:
    with tempfile.TemporaryDirectory(prefix="beltside-") as folder:
        for take in case.takes:
            path = Path(folder) / f"{take.name}.m4a"
            write_recording(path, take.samples, take.sample_rate_hz)
            after = take.name == _AFTER.name
            typed = {
                "name": path.name,
                "belt": take.belt,
                "place": take.place,
                "load": list(take.load),
                "raised": "raised" in take.name,
                "stage": "after" if after else "before",
                "hand_over": after,
            }
            add_take(shop, job_id, [path.read_bytes()], typed, media_type="audio/mp4")


def _front_photo(shop: Shop, job_id: str, rng: np.random.Generator) -> None:
    center = np.array([[x, y] for _, _, _, x, y in PULLEYS])
    sizes = [size for _, size, _, _, _ in PULLEYS]
    picture = photograph_front(center, sizes, rng, width_px=800, height_px=600)
    _photo(shop, job_id, picture.image, "front.jpg", "Front of the engine")


def _photo(shop: Shop, job_id: str, pixels: Any, name: str, caption: str) -> str:
    stored = keep(shop, [jpeg_bytes(pixels)], media_type="image/jpeg")
    body: Mapping[str, Any] = {"file": stored.sha256, "name": name, "caption": caption}
    write(shop, job_id, "photo", body, files=[stored.sha256])
    return stored.sha256


def _work(shop: Shop, job_id: str, template: str, *, to_the_end: bool) -> None:
    steps = plan_on_job(shop, job_id).whole.steps
    until = len(steps) if to_the_end else len(steps) // 2
    for number, step in enumerate(steps[:until]):
        minutes = round(step.expected_min * _STEP_SPEED[number % len(_STEP_SPEED)], 1)
        body = {"step": step.id, "says": step.title, "minutes": max(minutes, 0.1)}
        write(shop, job_id, "step-tick", body)
    for name, price in PRICES[template] if to_the_end else ():
        part_used(shop, job_id, {"name": name, "price": price})


def _pump(shop: Shop, job_id: str, rng: np.random.Generator, *, hold: bool) -> None:
    coolant_on_job(shop, job_id, "mix", {"freezing_c": -34, "capacity_l": 6.2})
    old = draw_part(rng, 5)
    names = {}
    for which in ("old", "new"):
        picture = photograph_part(_moved(old, rng), rng, width_px=800, height_px=600)
        names[which] = _photo(shop, job_id, picture.image, f"{which}.jpg", f"The {which} pump")
    given = [PartGiven(which, photo=names[which]) for which in ("old", "new")]
    _if_it_can(
        lambda: match_on_job(shop, job_id, given[0], given[1], part="coolant-pump", disc_mm=24.0)
    )
    save_bolt_pattern(
        shop, job_id, "coolant pump", FLANGE, torque=FLANGE_TORQUE, torque_source=FLANGE_SOURCE
    )
    for _ in range(15 if hold else 3):
        _if_it_can(lambda: tick_bolt(shop, job_id, "coolant pump"))
    if not hold:
        return
    begin_hold(shop, job_id, {"cap": "108 kPa", "gauge_step_kpa": 1, "strokes": 9, "stroke_ml": 60})
    for minutes, pressure in HOLD_READINGS:
        hold_reading(shop, job_id, minutes, pressure, engine_c=21.0, air_c=20.0)
    end_hold(shop, job_id)


def _moved(part: PartPlan, rng: np.random.Generator) -> PartPlan:
    """The same part as another maker drills it: each hole off by about 0.1 mm."""
    return replace(part, holes_mm=part.holes_mm + rng.normal(0.0, 0.1, part.holes_mm.shape))
