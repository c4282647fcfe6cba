"""The neighbour's suspects: what each one is drawn by, and which takes are made of it."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from neighbour_bearings import bearing_sources
from neighbour_belt import damage_sources, misalignment_sources, slip_sources
from neighbour_car import ON_THE_BELT, Car
from neighbour_engine_faults import (
    chain_rattle,
    chain_whine,
    crank_damper,
    deep_knock,
    exhaust_tick,
    other_noise,
    vacuum_hiss,
    valve_tick,
)
from neighbour_faults import (
    alternator_decoupler,
    alternator_electrical,
    compressor_clutch,
    compressor_rattle,
    fan_clutch,
    pump_impeller,
    pump_seal,
    steering_whine,
    tensioner_rattle,
)
from neighbour_motion import FRONT, Maker, Plan, Source
from neighbour_tools import chance

FAULTS: dict[str, Callable[[Maker], list[Source]]] = {
    "alternator.electrical": alternator_electrical,
    "alternator.decoupler": alternator_decoupler,
    "tensioner.rattle": tensioner_rattle,
    "coolant-pump.impeller": pump_impeller,
    "coolant-pump.seal": pump_seal,
    "ac-compressor.clutch": compressor_clutch,
    "ac-compressor.rattle": compressor_rattle,
    "steering-pump.whine": steering_whine,
    "fan.clutch": fan_clutch,
    "crank.damper": crank_damper,
    "timing-chain.rattle": chain_rattle,
    "timing-chain.whine": chain_whine,
    "valve-train.tick": valve_tick,
    "vacuum-leak.hiss": vacuum_hiss,
    "exhaust-leak.tick": exhaust_tick,
    "engine.knock": deep_knock,
    "belt.slip": slip_sources,
    "belt.misalignment": misalignment_sources,
    "belt.damage": damage_sources,
    "other": other_noise,
}
BEARINGS = tuple(f"{part}.bearing" for part in ON_THE_BELT if part != "idler-2")
# Every suspect that can be alone.
SUSPECTS = ("none", *FAULTS, *BEARINGS)
SECOND_IDLER = "idler-2.bearing"
# What the owner's words or plain sense switch on.
ASKED_FOR = {
    "ac-compressor.clutch": "ac",
    "ac-compressor.rattle": "ac",
    "steering-pump.whine": "steering",
    "alternator.electrical": "lights",
}
PROBED = ("timing-chain", "valve-train")


def draw_suspect(rng: np.random.Generator) -> str:
    """15 % none, 4 % other, the rest even."""
    share = rng.random()
    if share < 0.15:
        return "none"
    if share < 0.19:
        return "other"
    return str(rng.choice([s for s in SUSPECTS if s not in ("none", "other")]))


def needed_parts(suspect: str) -> tuple[str, ...]:
    """Pulley parts a drive must have for that suspect."""
    part = suspect.split(".")[0]
    return (part,) if part in ON_THE_BELT else ()


def sources_of(maker: Maker, suspect: str) -> list[Source]:
    """What is wrong, as sources; none for a healthy engine."""
    if suspect == "none":
        return []
    if suspect in FAULTS:
        return FAULTS[suspect](maker)
    return bearing_sources(maker, suspect.removesuffix(".bearing"))


def probe_places(car: Car) -> list[str]:
    """Where a probe can be held."""
    return [*(part for part in car.parts if part != "crank"), *PROBED]


def whole_round(rng: np.random.Generator, car: Car) -> list[Plan]:
    """All that a thorough technician records."""
    plans = [
        Plan("front"),
        Plan("belt off", belt=False),
        Plan("raised", raised=float(rng.uniform(1.5, 3.0))),
        *(Plan(f"with {load}", load=(load,)) for load in car.loads),
        *(Plan(f"probe on {place}", place=place) for place in probe_places(car)),
    ]
    return [_numbered(plan, i) for i, plan in enumerate(plans)]


def _numbered(plan: Plan, number: int) -> Plan:
    return Plan(plan.name, number, plan.belt, plan.place, plan.load, plan.raised)


def draw_plans(rng: np.random.Generator, car: Car, suspect: str) -> list[Plan]:
    """Takes as somebody happens to make them; the front with the belt on comes first."""
    plans = [Plan("front")]
    if chance(rng, 0.6):
        plans.append(Plan("belt off", belt=False))
    if chance(rng, 0.5):
        plans.append(Plan("raised", raised=float(rng.uniform(1.5, 3.0))))
    asked = ASKED_FOR.get(suspect)
    if car.loads and (chance(rng, 0.3) or (asked in car.loads and chance(rng, 0.9))):
        load = asked if asked in car.loads and chance(rng, 0.95) else str(rng.choice(car.loads))
        plans.append(Plan(f"with {load}", load=(str(load),)))
        others = [other for other in car.loads if other != load]
        if others and chance(rng, 0.25):
            other = str(rng.choice(others))
            plans.append(Plan(f"with {other}", load=(other,)))
    if chance(rng, 0.5):
        places = probe_places(car)
        held = list(rng.permutation(places)[: int(rng.integers(1, 5))])
        guilty = suspect.split(".")[0]
        if guilty in places:
            held = [place for place in held if place != guilty][:3]
            if chance(rng, 0.65) or not held:
                held.insert(int(rng.integers(len(held) + 1)), guilty)
        # Whoever has switched a load on for the noise may leave it on while he probes.
        left_on = plans[-1].load if chance(rng, 0.6 if asked in plans[-1].load else 0.25) else ()
        plans += [Plan(f"probe on {place}", place=str(place), load=left_on) for place in held]
    return [_numbered(plan, i) for i, plan in enumerate(plans)]


def shows(sources: list[Source], plans: list[Plan]) -> bool:
    """Whether the fault sounds in a take from the front; nothing to show on a healthy engine."""
    fronts = [plan for plan in plans if plan.place == FRONT]
    return not sources or max(s.weight(plan) for s in sources for plan in fronts) >= 0.25
