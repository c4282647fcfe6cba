"""The judge's suspects: which sources each one adds, and which takes are made of it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from judge_bearings import bearing_sources
from judge_belt import damage_sources, misalignment_sources, slip_sources
from judge_drive import ON_THE_BELT, Car
from judge_engine_faults import (
    chain_rattle,
    chain_whine,
    crank_damper,
    deep_knock,
    exhaust_tick,
    vacuum_hiss,
    valve_tick,
)
from judge_faults import (
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
from judge_motion import Source
from judge_other import other_noise
from judge_place import FRONT, PROBED

ENGINE_FAULTS: dict[str, Callable[[np.random.Generator, Car], list[Source]]] = {
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
    "other": other_noise,
}
BELT_FAULTS = {
    "belt.slip": slip_sources,
    "belt.misalignment": misalignment_sources,
    "belt.damage": damage_sources,
}
BEARINGS = tuple(f"{part}.bearing" for part in ON_THE_BELT if part != "idler-2")
# Every suspect that can be alone.
SUSPECTS = ("none", *ENGINE_FAULTS, *BELT_FAULTS, *BEARINGS)
LOADS = {"lights": "alternator", "steering": "steering-pump", "ac": "ac-compressor"}
# What a technician switches on because the owner said when it makes the noise.
ASKED_FOR = {
    "ac-compressor.clutch": "ac",
    "ac-compressor.rattle": "ac",
    "steering-pump.whine": "steering",
    "alternator.electrical": "lights",
}
OFTEN_COLD = ("timing-chain.rattle", "belt.slip")


@dataclass(frozen=True)
class Plan:
    """One take to be made; `raised` is the speed over idle."""

    name: str
    belt: str = "on"
    place: str = FRONT
    raised: float = 1.0
    load: tuple[str, ...] = ()
    cold: bool = False


def fault_sources(rng: np.random.Generator, car: Car, suspect: str) -> list[Source]:
    """Sources of one fault on this engine; none for "none"."""
    part = suspect.partition(".")[0]
    if suspect == "none":
        return []
    if suspect in ENGINE_FAULTS:
        return ENGINE_FAULTS[suspect](rng, car)
    if suspect in BELT_FAULTS:
        driven = [wheel for wheel in car.wheels[1:] if wheel.face == "ribbed"] or car.wheels[:1]
        return BELT_FAULTS[suspect](rng, car, driven[int(rng.integers(len(driven)))])
    return bearing_sources(rng, car, part)


def whole_round(rng: np.random.Generator, car: Car, suspect: str) -> list[Plan]:
    """Every take of a thorough technician, whatever is wrong: belt on and off, speed raised, each
    load, and the probe on each housing at the belt end."""
    loads = [load for load, on in LOADS.items() if on in car.parts]
    cold = rng.random() < (0.5 if suspect in OFTEN_COLD else 0.05)
    return [
        Plan("idle", cold=bool(cold)),
        Plan("belt off", belt="off"),
        Plan("raised", raised=float(rng.uniform(1.5, 3.2))),
        *(Plan(f"with {load}", load=(load,)) for load in loads),
        *(
            Plan(f"probe {place}", place=place)
            for place in (*car.parts[1:], "timing-chain", "valve-train")
        ),
    ]


def draw_plans(rng: np.random.Generator, car: Car, suspect: str) -> list[Plan]:
    """The takes of one case, as a technician may have made them."""
    part = suspect.partition(".")[0]
    cold = rng.random() < (0.5 if suspect in OFTEN_COLD else 0.05)
    plans = [Plan("idle", cold=bool(cold))]
    possible = [load for load, on in LOADS.items() if on in car.parts]
    asked = ASKED_FOR.get(suspect)
    if suspect == "belt.slip" and possible:
        asked = str(rng.choice(possible))
    if asked in possible:
        plans.append(Plan(f"with {asked}", load=(str(asked),)))
    elif possible and rng.random() < 0.35:
        load = str(rng.choice(possible))
        plans.append(Plan(f"with {load}", load=(load,)))
    if rng.random() < 0.55:
        plans.append(Plan("raised", raised=float(rng.uniform(1.5, 3.2))))
    if rng.random() < 0.45:
        plans.append(Plan("belt off", belt="off"))
    if rng.random() < 0.6:
        places = [*car.parts[1:], *PROBED]
        chosen = [str(one) for one in rng.permutation(places)[: int(rng.integers(2, 5))]]
        if part in places and part not in chosen and rng.random() < 0.6:
            chosen[0] = part
        plans += [Plan(f"probe {place}", place=place) for place in chosen]
    return plans


def draw_suspect(rng: np.random.Generator) -> str:
    """15 % "none", 4 % "other", the rest even over the single suspects."""
    kind = rng.random()
    if kind < 0.15:
        return "none"
    if kind < 0.19:
        return "other"
    return str(rng.choice([one for one in SUSPECTS if one not in ("none", "other")]))
