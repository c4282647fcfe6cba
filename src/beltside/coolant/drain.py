"""How long a system takes to drain through a nipple and a hose.

Method and sources: docs/methods/coolant-drain.md.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

from beltside.base.errors import require_range

GRAVITY: Final = 9.80665

ENTRY_LOSS: Final = 0.8
"""Loss of velocity heads at a sharp-edged opening that reaches into the tank (Borda: 0.5 to 1)."""

CONTRACTION: Final = 0.61
"""Narrowest jet behind a sharp-edged hole over the hole itself: about 0.61 (Kirchhoff's plane jet,
pi/(pi + 2) = 0.611; measured 0.6 to 0.64)."""

VACUUM_VALVE_KPA: Final = 5.0
"""Under-pressure at which a cap's second valve lets air in: common practice, no source."""

_STEPS: Final = 400


@dataclass(frozen=True)
class Drain:
    """How draining goes.

    Attributes
    ----------
    time_s
        Until `drained_l` is out [s].
    drained_l
        What comes out [L]: all of it, or less when a vacuum holds the rest.
    stops
        Whether the rest stays in.
    first_l_min
        Flow at the beginning [L/min].
    course
        (moment [s], litres left above the nipple), for a picture.
    """

    time_s: float
    drained_l: float
    stops: bool
    first_l_min: float
    course: tuple[tuple[float, float], ...]


def torricelli_s(tank_area_m2: float, hole_area_m2: float, height_m: float, cd: float) -> float:
    """Time to empty an upright tank through a hole in its floor [s].

    Torricelli 1644: (A / a) sqrt(2 h / g) / C_d, with the discharge coefficient `cd`, 0 to 1.

    Raises
    ------
    OutOfRangeError
        When a length or area is not positive, or `cd` outside 0.01 to 1.

    >>> round(torricelli_s(math.pi * 2.5**2, math.pi * 0.01**2, 2.0, 1.0), -1)
    39920.0
    """
    require_range("tank area", tank_area_m2, 1e-9, 1e6, "m²")
    require_range("hole area", hole_area_m2, 1e-9, 1e6, "m²")
    require_range("height", height_m, 1e-6, 1e3, "m")
    require_range("discharge coefficient", cd, 0.01, 1.0, "")
    return tank_area_m2 / hole_area_m2 * math.sqrt(2.0 * height_m / GRAVITY) / cd


def jet_speed_m_s(
    head_m: float, bore_m: float, hose_m: float, kinematic_viscosity_m2_s: float
) -> float:
    """Mean speed in a hose of bore `bore_m` fed by a head of `head_m` of liquid [m/s].

    g h = v²/2 (1 + entry loss + f L / d), with f = 64/Re below Re 2,300 and Blasius' (1913)
    0.3164 Re^-1/4 above 4,000, blended between. Without a hose the loss is that of the hole.
    """
    if head_m <= 0.0:
        return 0.0
    if hose_m <= 0.0:
        return CONTRACTION * math.sqrt(2.0 * GRAVITY * head_m)
    speed = math.sqrt(2.0 * GRAVITY * head_m / (1.0 + ENTRY_LOSS))
    for _ in range(30):
        reynolds = max(speed * bore_m / kinematic_viscosity_m2_s, 1e-6)
        loss = 1.0 + ENTRY_LOSS + friction_factor(reynolds) * hose_m / bore_m
        better = math.sqrt(2.0 * GRAVITY * head_m / loss)
        if abs(better - speed) < 1e-6 * better:
            break
        speed = 0.5 * (speed + better)
    return speed


def friction_factor(reynolds: float) -> float:
    """Darcy's friction factor of a smooth hose.

    >>> round(friction_factor(1000.0), 3), round(friction_factor(10000.0), 4)
    (0.064, 0.0316)
    """
    laminar, blasius = 64.0 / reynolds, 0.3164 / math.sqrt(math.sqrt(reynolds))
    if reynolds <= 2300.0:
        return laminar
    if reynolds >= 4000.0:
        return blasius
    share = (reynolds - 2300.0) / 1700.0
    return (1.0 - share) * laminar + share * blasius


def drain(
    volume_l: float,
    height_m: float,
    bore_mm: float,
    *,
    hose_m: float = 0.0,
    hose_drop_m: float = 0.0,
    cap_off: bool = True,
    air_l: float = 0.3,
    ambient_kpa: float = 101.325,
    vacuum_valve_kpa: float | None = VACUUM_VALVE_KPA,
    density_kg_m3: float = 1065.0,
    kinematic_viscosity_m2_s: float = 3.5e-6,
) -> Drain:
    """Draining of `volume_l` [L] standing `height_m` [m] high above a nipple of `bore_mm` [mm].

    The system is taken as upright with even walls. A hose of `hose_m` [m] may hang `hose_drop_m`
    [m] below the nipple, which pulls. With the cap on, `air_l` [L] of air above the liquid must
    stretch: the flow stops when its vacuum carries the liquid, unless the cap's vacuum valve opens
    at `vacuum_valve_kpa` (None when it has none). Air gulped in through the nipple is not counted.

    Raises
    ------
    OutOfRangeError
        Volume 0.1 to 60 L, height 0.02 to 3 m, bore 1 to 60 mm, hose 0 to 10 m, drop 0 to 3 m,
        air 0.01 to 20 L.
    """
    require_range("volume to drain", volume_l, 0.1, 60.0, "L")
    require_range("height above the nipple", height_m, 0.02, 3.0, "m")
    require_range("bore", bore_mm, 1.0, 60.0, "mm")
    require_range("hose length", hose_m, 0.0, 10.0, "m")
    require_range("drop of the hose", hose_drop_m, 0.0, 3.0, "m")
    require_range("air above the liquid", air_l, 0.01, 20.0, "L")
    bore_m = bore_mm / 1000.0
    hole_m2 = math.pi * bore_m**2 / 4.0
    drop_m = hose_drop_m if hose_m > 0.0 else 0.0

    def head_left_m(left: float) -> float:
        head_m = left * height_m + drop_m
        if cap_off:
            return head_m
        out_l = (1.0 - left) * volume_l
        vacuum_kpa = ambient_kpa * (1.0 - air_l / (air_l + out_l))
        if vacuum_valve_kpa is not None:
            vacuum_kpa = min(vacuum_kpa, vacuum_valve_kpa)
        return head_m - 1000.0 * vacuum_kpa / (density_kg_m3 * GRAVITY)

    def flow_m3_s(left: float) -> float:
        speed = jet_speed_m_s(head_left_m(left), bore_m, hose_m, kinematic_viscosity_m2_s)
        return hole_m2 * speed

    # The head only falls while liquid leaves, so what stays in is where it first meets zero.
    stays, stops = 0.0, head_left_m(0.0) < 0.0
    if stops:
        high = 1.0
        while high - stays > 1e-9:
            middle = 0.5 * (stays + high)
            if head_left_m(middle) > 0.0:
                high = middle
            else:
                stays = middle
    # Equal steps of the square root of what still comes: the end, where it only trickles, is fine.
    time_s, left = 0.0, 1.0
    course = [(0.0, volume_l)]
    for step in range(1, _STEPS + 1):
        target = stays + (1.0 - stays) * ((_STEPS - step) / _STEPS) ** 2
        rate = flow_m3_s(0.5 * (left + target))
        if rate <= 1e-12:
            break
        time_s += (left - target) * volume_l / 1000.0 / rate
        left = target
        if step % 8 == 0:
            course.append((time_s, left * volume_l))
    drained_l = (1.0 - stays) * volume_l
    first_l_min = 60000.0 * flow_m3_s(1.0)
    return Drain(time_s, drained_l, stops, first_l_min, tuple(course))
