"""Springs of a bolted joint: bolt, clamped parts, and who carries an outside load.

Shigley, Mechanical Engineering Design, 9th ed., sections 8-4 to 8-7.
"""

from __future__ import annotations

import math

from beltside.base.errors import require_range
from beltside.bolting.tightening import bolt_spring_n_mm as bolt_spring_n_mm


def parts_spring_n_mm(diameter_mm: float, grip_mm: float, young_mpa: float) -> float:
    """Stiffness of the clamped parts under a standard head [N/mm] (eq. 8-22).

    Two cones of 30 degrees in one material, head 1.5 d: 0.5774 pi E d /
    (2 ln(5 (0.5774 l + 0.5 d)/(0.5774 l + 2.5 d))).

    Parameters
    ----------
    diameter_mm
        Bolt [mm].
    grip_mm
        Thickness clamped [mm], 1 to 500.
    young_mpa
        Young's modulus of the parts [MPa].

    Raises
    ------
    OutOfRangeError
        When the grip lies outside.
    """
    require_range("grip", grip_mm, 1.0, 500.0, "mm")
    cone = 0.5774 * grip_mm
    return (
        0.5774
        * math.pi
        * young_mpa
        * diameter_mm
        / (2.0 * math.log(5.0 * (cone + 0.5 * diameter_mm) / (cone + 2.5 * diameter_mm)))
    )


def bolt_share(bolt: float, parts: float) -> float:
    """Part of an outside pull that the bolt feels, C = k_b / (k_b + k_m) (eq. 8-24).

    >>> round(bolt_share(6.5, 13.8), 3)
    0.32
    """
    return bolt / (bolt + parts)


def bolt_load_n(preload_n: float, pull_n: float, share: float) -> float:
    """Bolt load under an outside pull, F = C P + F_i, while the joint stays closed (eq. 8-24)."""
    return preload_n + share * pull_n


def opening_load_n(preload_n: float, share: float) -> float:
    """Outside pull at which the joint opens, P = F_i / (1 - C) (eq. 8-30)."""
    return preload_n / (1.0 - share)
