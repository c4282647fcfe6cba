"""From torque to clamp force and back, and what a thread can take.

Short form T = K d F; long forms by VDI 2230 and by Shigley. Method, sources and limits:
docs/methods/bolt-torque.md.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

from beltside.base.errors import OutOfRangeError, require_range
from beltside.bolting.friction import Friction
from beltside.bolting.heads import bearing_diameter_mm
from beltside.bolting.threads import PropertyClass, Thread, proof_load_n

PROOF_SHARE: Final = 0.75
"""Clamp force aimed at, of the proof load, for joints that are taken apart again (Shigley, 9th
ed., eq. 8-31)."""

YIELD_SHARE: Final = 0.9
"""Use of the yield stress, pull and twist together, at the limit (VDI 2230)."""

K_LOW: Final = 0.05
K_HIGH: Final = 0.6


def torque_short_nm(nut_factor: float, diameter_mm: float, clamp_n: float) -> float:
    """T = K d F [N m].

    Parameters
    ----------
    nut_factor
        K, 0.05 to 0.6.
    diameter_mm
        Nominal diameter [mm].
    clamp_n
        Clamp force [N].

    Raises
    ------
    OutOfRangeError
        When K lies outside.

    >>> torque_short_nm(0.2, 8.0, 15900.0)
    25.44
    """
    require_range("nut factor K", nut_factor, K_LOW, K_HIGH, "(no unit)")
    return nut_factor * diameter_mm * clamp_n / 1000.0


def torque_vdi_nm(
    clamp_n: float, thread: Thread, thread_mu: float, head_mu: float, bearing_mm: float
) -> float:
    """M = F (0.159 P + 0.577 d2 mu_G + D_Km/2 mu_K) [N m] (VDI 2230, eq. R13).

    Parameters
    ----------
    clamp_n
        Clamp force [N].
    thread
        The thread.
    thread_mu, head_mu
        Coefficients of friction in the thread and under the head.
    bearing_mm
        Mean diameter of the ring under the head [mm].
    """
    return clamp_n * _arm_mm(thread, thread_mu, head_mu, bearing_mm) / 1000.0


def clamp_vdi_n(
    torque_nm: float, thread: Thread, thread_mu: float, head_mu: float, bearing_mm: float
) -> float:
    """The clamp force [N] a torque gives, `torque_vdi_nm` turned round."""
    return 1000.0 * torque_nm / _arm_mm(thread, thread_mu, head_mu, bearing_mm)


def _arm_mm(thread: Thread, thread_mu: float, head_mu: float, bearing_mm: float) -> float:
    return (
        0.159 * thread.pitch_mm
        + 0.577 * thread.pitch_diameter_mm * thread_mu
        + bearing_mm / 2.0 * head_mu
    )


def torque_shigley_nm(
    clamp_n: float,
    mean_mm: float,
    pitch_mm: float,
    thread_mu: float,
    head_mu: float,
    bearing_mm: float,
) -> float:
    """T = F d_m/2 (tan l + f sec a)/(1 - f tan l sec a) + F f_c d_c/2 [N m] (Shigley, eq. 8-26).

    Parameters
    ----------
    clamp_n
        Clamp force [N].
    mean_mm, pitch_mm
        Mean thread diameter d_m and pitch [mm]; the lead angle is l = atan(P / pi d_m).
    thread_mu, head_mu
        Friction f in the thread (flank angle a = 30 degrees) and f_c under the head.
    bearing_mm
        Mean diameter d_c of the ring under the head [mm].
    """
    lead = pitch_mm / (math.pi * mean_mm)
    flank = thread_mu / math.cos(math.radians(30.0))
    turning = mean_mm / 2.0 * (lead + flank) / (1.0 - lead * flank)
    return clamp_n * (turning + head_mu * bearing_mm / 2.0) / 1000.0


def limit_clamp_n(thread: Thread, strength: PropertyClass, thread_mu: float) -> float:
    """Clamp force at which pull and twist together use 90 % of the yield stress [N].

    VDI 2230, eq. 5.5/1 (table A1): sigma = 0.9 R / sqrt(1 + 3 (3/2 d2/d0 (P/(pi d2) +
    1.155 mu_G))^2), d0 the diameter of the stress area.
    """
    across_mm = math.sqrt(4.0 * thread.stress_area_mm2 / math.pi)
    twist = (
        1.5
        * thread.pitch_diameter_mm
        / across_mm
        * (thread.pitch_mm / (math.pi * thread.pitch_diameter_mm) + 1.155 * thread_mu)
    )
    return (
        YIELD_SHARE * strength.yield_mpa * thread.stress_area_mm2 / math.sqrt(1.0 + 3.0 * twist**2)
    )


@dataclass(frozen=True)
class ThreadTorque:
    """What one thread can take. It is not a figure for any car.

    Attributes
    ----------
    clamp_n
        Clamp force aimed at [N].
    low_nm, typical_nm, high_nm
        Torque that gives it at the lowest, typical and highest friction of the state [N m].
    limit_nm, limit_clamp_n
        Torque [N m] and clamp force [N] at 90 % of yield, at the typical friction.
    short_nm, nut_factor
        T = K d F [N m] and its K, or None where no K is published for the state.
    effective_nut_factor, effective_low, effective_high
        K that the long form comes to at the typical, lowest and highest friction.
    proof_n
        Proof load [N].
    bearing_mm
        Mean diameter of the ring under the head [mm].
    held_low_n, held_high_n
        Clamp force that the typical torque leaves at the highest and lowest friction [N].
    limited_by
        "bolt", or "thread in the part" when that would strip first.
    """

    clamp_n: float
    low_nm: float
    typical_nm: float
    high_nm: float
    limit_nm: float
    limit_clamp_n: float
    short_nm: float | None
    nut_factor: float | None
    effective_nut_factor: float
    effective_low: float
    effective_high: float
    proof_n: float
    bearing_mm: float
    held_low_n: float
    held_high_n: float
    limited_by: str


def thread_torque(
    thread: Thread,
    strength: PropertyClass,
    state: Friction,
    head: str = "hex",
    most_clamp_n: float | None = None,
    proof_share: float = PROOF_SHARE,
) -> ThreadTorque:
    """Torque for a clamp force of 75 % of the proof load, or what the part's thread allows.

    Parameters
    ----------
    thread, strength, state
        Thread, property class, friction.
    head
        Kind of head, one of `heads.HEAD_KINDS`.
    most_clamp_n
        Clamp force that the thread in the part allows [N], when that is known.
    proof_share
        Share of the proof load aimed at, 0.1 to 0.9.

    Raises
    ------
    OutOfRangeError
        When the share lies outside.
    InputError
        For a head not made in this size.
    """
    require_range("share of the proof load", proof_share, 0.1, 0.9, "(no unit)")
    bearing_mm = bearing_diameter_mm(thread, head)
    proof_n = proof_load_n(thread, strength)
    clamp_n = proof_share * proof_n
    limit_n = limit_clamp_n(thread, strength, state.typical)
    limited_by = "bolt"
    if most_clamp_n is not None and most_clamp_n < clamp_n:
        clamp_n, limited_by = most_clamp_n, "thread in the part"
    if most_clamp_n is not None:
        limit_n = min(limit_n, most_clamp_n)

    def needed_nm(mu: float, force_n: float) -> float:
        return torque_vdi_nm(force_n, thread, mu, mu, bearing_mm)

    typical_nm = needed_nm(state.typical, clamp_n)
    low_nm, high_nm = needed_nm(state.low, clamp_n), needed_nm(state.high, clamp_n)
    per_factor_nm = clamp_n * thread.diameter_mm / 1000.0
    return ThreadTorque(
        clamp_n=clamp_n,
        low_nm=low_nm,
        typical_nm=typical_nm,
        high_nm=high_nm,
        limit_nm=needed_nm(state.typical, limit_n),
        limit_clamp_n=limit_n,
        short_nm=None
        if state.nut_factor is None
        else torque_short_nm(state.nut_factor, thread.diameter_mm, clamp_n),
        nut_factor=state.nut_factor,
        effective_nut_factor=typical_nm / per_factor_nm,
        effective_low=low_nm / per_factor_nm,
        effective_high=high_nm / per_factor_nm,
        proof_n=proof_n,
        bearing_mm=bearing_mm,
        held_low_n=clamp_vdi_n(typical_nm, thread, state.high, state.high, bearing_mm),
        held_high_n=clamp_vdi_n(typical_nm, thread, state.low, state.low, bearing_mm),
        limited_by=limited_by,
    )


@dataclass(frozen=True)
class GivenTorque:
    """What a torque from the maker's data does to one thread.

    Attributes
    ----------
    low_n, typical_n, high_n
        Clamp force at the highest, typical and lowest friction of the state [N].
    proof_low, proof_typical, proof_high
        The same as shares of the proof load.
    """

    low_n: float
    typical_n: float
    high_n: float
    proof_low: float
    proof_typical: float
    proof_high: float


def given_torque(
    torque_nm: float,
    thread: Thread,
    strength: PropertyClass,
    state: Friction,
    head: str = "hex",
) -> GivenTorque:
    """Clamp force and share of the proof load under a given torque [N m].

    Raises
    ------
    OutOfRangeError
        When the torque is not above 0.
    """
    if not torque_nm > 0.0:
        raise OutOfRangeError(f"the torque is {torque_nm:g} N m", allowed="above 0 N m")
    bearing_mm = bearing_diameter_mm(thread, head)
    proof_n = proof_load_n(thread, strength)
    low_n, typical_n, high_n = (
        clamp_vdi_n(torque_nm, thread, mu, mu, bearing_mm)
        for mu in (state.high, state.typical, state.low)
    )
    return GivenTorque(
        low_n, typical_n, high_n, low_n / proof_n, typical_n / proof_n, high_n / proof_n
    )
