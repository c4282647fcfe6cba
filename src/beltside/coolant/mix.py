"""What is in the system: strength from whatever tool was at hand, and what follows from it.

Method and sources: docs/methods/coolant.md.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

from beltside.base.errors import InputError, OutOfRangeError, require_range
from beltside.coolant import glycol, water
from beltside.coolant.glycol import Glycol

HYDROMETER_REFERENCE_C: Final = 15.56
"""Specific gravity is against water at 60 °F unless the tool says otherwise."""

SG_RESOLUTION: Final = 0.002
INDEX_RESOLUTION: Final = 0.0005
FREEZE_RESOLUTION_K: Final = 1.0
AMOUNT_RESOLUTION_L: Final = 0.05
"""Half the range taken when the tool's resolution is not given: half a division of a common tool
(own choice)."""

WEAKEST_CONCENTRATE: Final = 0.93
"""A concentrate is glycol with some 3 to 7 % of inhibitors and water: common practice, no
source."""

FREE_OF_BURST: Final[dict[Glycol, float]] = {"ethylene": 0.30, "propylene": 0.35}
"""Volume fraction from which ice stays a slush that finds room: common practice, no source."""

OVER_RICH_VOLUME: Final = 0.60
WEAK_VOLUME: Final = 0.33
"""Below about a third, inhibitors are thin as well: common practice, no source."""

HARD_WATER_PPM: Final = 170.0
"""Most total hardness, as CaCO3, of water for coolant: ASTM D3306 (from memory)."""


@dataclass(frozen=True)
class Strength:
    """Share of glycol, with the range that the tool's resolution leaves.

    Attributes
    ----------
    glycol
        Which glycol.
    mass, mass_low, mass_high
        Mass fraction.
    how
        What it was read with.
    warnings
        What to know before trusting it.
    """

    glycol: Glycol
    mass: float
    mass_low: float
    mass_high: float
    how: str
    warnings: tuple[str, ...] = ()

    def volume(self) -> tuple[float, float, float]:
        """Volume fraction (of what was poured together), and its range."""
        value, low, high = (
            glycol.volume_from_mass(self.glycol, mass)
            for mass in (self.mass, self.mass_low, self.mass_high)
        )
        return value, low, high


def _solve(of_mass: Callable[[float], float], wanted: float) -> float:
    """Mass fraction, 0 to 0.60, at which a rising property has this value; clipped to the ends."""
    low, high = 0.0, glycol.RICHEST_MEASURED
    while high - low > 1e-7:
        middle = 0.5 * (low + high)
        if of_mass(middle) < wanted:
            low = middle
        else:
            high = middle
    return 0.5 * (low + high)


def _from_property(
    name: str,
    kind: Glycol,
    of_mass: Callable[[float], float],
    reading: float,
    resolution: float,
    digits: int,
) -> Strength:
    require_range(f"resolution of the {name}", resolution, 1e-6, 0.05, "")
    least, most = of_mass(1e-4), of_mass(glycol.RICHEST_MEASURED)
    if not least - resolution <= reading <= most + resolution:
        above = reading > most
        raise OutOfRangeError(
            f"the {name} reads {reading:.{digits}f}",
            allowed=f"{least:.{digits}f} (water) to {most:.{digits}f} (60 % by mass of {kind} "
            "glycol), where it was measured",
            instead=(
                "thinning a sample half and half with distilled water and reading that: this one "
                "is over-rich, or not this glycol"
                if above
                else "cleaning and checking the tool in plain water: this is less than water gives"
            ),
        )
    masses = [_solve(of_mass, reading + off) for off in (-resolution, 0.0, resolution)]
    return Strength(kind, masses[1], masses[0], masses[2], name)


def from_hydrometer(
    kind: Glycol,
    specific_gravity: float,
    temperature_c: float,
    *,
    resolution: float = SG_RESOLUTION,
    reference_c: float = HYDROMETER_REFERENCE_C,
) -> Strength:
    """Strength from a float in the liquid at `temperature_c` [°C, 0 to 60].

    `specific_gravity` is against water at `reference_c` [°C, 4 to 25]; `resolution` is half its
    range. ASTM D1122 names the method.

    Raises
    ------
    OutOfRangeError
        When the reading is below water's or above that of 60 % by mass.

    >>> round(from_hydrometer("ethylene", 1.068, 20.0).mass, 2)
    0.52
    """
    require_range("temperature at the hydrometer", temperature_c, 0.0, 60.0, "°C")
    require_range("the hydrometer's reference", reference_c, 4.0, 25.0, "°C")
    against = water.density_kg_m3(reference_c)
    return _from_property(
        "hydrometer",
        kind,
        lambda mass: glycol.density_kg_m3(kind, mass, temperature_c) / against,
        specific_gravity,
        resolution,
        3,
    )


def from_refractive_index(
    kind: Glycol, index: float, *, resolution: float = INDEX_RESOLUTION
) -> Strength:
    """Strength from a refractive index at 20 °C (or a tool that corrects for temperature).

    ASTM D3321 names the method.

    Raises
    ------
    OutOfRangeError
        When the index is below water's or above that of 60 % by mass.

    >>> round(from_refractive_index("ethylene", 1.3851).mass, 2)
    0.52
    """
    return _from_property(
        "refractometer",
        kind,
        lambda mass: glycol.refractive_index_20(kind, mass),
        index,
        resolution,
        4,
    )


def from_freezing(
    kind: Glycol,
    freezing_c: float,
    *,
    scale: Glycol | None = None,
    resolution_k: float = FREEZE_RESOLUTION_K,
) -> Strength:
    """Strength from a refractometer's freezing scale [°C], which is printed for one glycol.

    When `scale` is the other glycol's, the light ray behind the reading is worked out first and
    read again on the right scale; the warning says both.

    Raises
    ------
    OutOfRangeError
        When the scale can't read that.
    """
    require_range("the scale's resolution", resolution_k, 0.05, 10.0, "K")
    on_scale: Glycol = scale or kind
    value = glycol.mass_from_freezing(on_scale, freezing_c)
    coldest = glycol.freezing_c(on_scale, glycol.RICHEST_MEASURED)
    low = glycol.mass_from_freezing(on_scale, min(freezing_c + resolution_k, 0.0))
    high = glycol.mass_from_freezing(on_scale, max(freezing_c - resolution_k, coldest))
    how = f"freezing scale for {on_scale} glycol"
    if on_scale == kind:
        return Strength(kind, value, low, high, how)
    if glycol.refractive_index_20(on_scale, value) > glycol.refractive_index_20(
        kind, glycol.RICHEST_MEASURED
    ):
        raise OutOfRangeError(
            f"{freezing_c:g} °C on a scale for {on_scale} glycol",
            allowed=f"what 60 % by mass of {kind} glycol shows on it at most",
            instead=f"a scale for {kind} glycol, or checking which glycol is in",
        )
    value, low, high = (
        _solve(
            lambda mass: glycol.refractive_index_20(kind, mass),
            glycol.refractive_index_20(on_scale, mass),
        )
        for mass in (value, low, high)
    )
    true_c = glycol.freezing_c(kind, value)
    warning = (
        f"{kind} glycol was read on a scale for {on_scale} glycol: the scale says "
        f"{freezing_c:.0f} °C, this mixture freezes at {true_c:.0f} °C"
    )
    return Strength(kind, value, low, high, how, (warning,))


def other_scale_c(kind: Glycol, freezing_c: float) -> float | None:
    """Where the mixture would freeze if it held the other glycol after all [°C].

    `freezing_c` is what a scale for `kind` says; None when that is outside what was measured.
    """
    other: Glycol = "propylene" if kind == "ethylene" else "ethylene"
    try:
        return glycol.freezing_c(
            other, from_freezing(other, freezing_c, scale=kind, resolution_k=0.05).mass
        )
    except OutOfRangeError:
        return None


def from_amounts(
    kind: Glycol,
    concentrate_l: float,
    water_l: float,
    *,
    concentrate_mass: float = 1.0,
    resolution_l: float = AMOUNT_RESOLUTION_L,
) -> Strength:
    """Strength from what was poured together at about 20 °C [litres, 0 to 100 each].

    `concentrate_mass` is the mass fraction of glycol in the concentrate; at 1 (not known) the
    range reaches down to a concentrate of 0.93. Pouring errors of `resolution_l` on each.

    Raises
    ------
    OutOfRangeError
        When an amount is negative or nothing was poured.

    >>> round(from_amounts("ethylene", 4.0, 4.0).mass, 3)
    0.527
    """
    require_range("concentrate", concentrate_l, 0.0, 100.0, "L")
    require_range("water", water_l, 0.0, 100.0, "L")
    require_range("mass fraction of glycol in the concentrate", concentrate_mass, 0.3, 1.0, "")
    require_range("error of an amount", resolution_l, 0.0, 5.0, "L")
    if concentrate_l + water_l <= 0.0:
        raise OutOfRangeError("nothing was poured", allowed="an amount of concentrate or water")

    def mass(concentrate: float, plain: float, strength: float) -> float:
        kg = concentrate * glycol.density_20_kg_m3(kind, strength)
        return strength * kg / (kg + plain * water.density_kg_m3(20.0))

    weakest = min(concentrate_mass, WEAKEST_CONCENTRATE if concentrate_mass == 1.0 else 1.0)
    less, more = max(concentrate_l - resolution_l, 0.0), concentrate_l + resolution_l
    dry, wet = max(water_l - resolution_l, 0.0), water_l + resolution_l
    return Strength(
        kind,
        mass(concentrate_l, water_l, concentrate_mass),
        mass(less, wet, weakest),
        mass(more if water_l > 0.0 else concentrate_l, dry, concentrate_mass),
        "amounts poured",
    )


def from_fraction(kind: Glycol, fraction: float, *, by: str, half_range: float = 0.01) -> Strength:
    """Strength as stated, `by` "mass" or "volume", give or take `half_range`."""
    if by not in ("mass", "volume"):
        raise InputError(f'a share by "{by}"', allowed='"mass" or "volume"')
    require_range(f"share of glycol by {by}", fraction, 0.0, 1.0, "")
    values = [min(max(fraction + off, 0.0), 1.0) for off in (-half_range, 0.0, half_range)]
    if by == "volume":
        values = [glycol.mass_from_volume(kind, value) for value in values]
    return Strength(kind, values[1], values[0], values[2], f"stated share by {by}")


@dataclass(frozen=True)
class Mixture:
    """What a strength means for frost and heat. Each range is that of the strength.

    Attributes
    ----------
    strength
        The strength behind it.
    freezing_c, freezing_low_c, freezing_high_c
        First ice [°C]; None beyond what was measured.
    boiling_c, boiling_open_c
        Boiling at `absolute_kpa`, and with the cap off at `ambient_kpa` [°C]; None beyond what
        was measured.
    boiling_low_c, boiling_high_c
        Range of `boiling_c` [°C].
    ambient_kpa, absolute_kpa
        Air pressure here, and with the cap's pressure on top [kPa].
    density_cold, density_hot
        [kg/m³] at `cold_c` and `hot_c`; None beyond what was measured.
    expansion_l
        What must find room in the bottle from cold to hot [L]; None without a capacity.
    warnings
        What to act on.
    """

    strength: Strength
    freezing_c: float | None
    freezing_low_c: float | None
    freezing_high_c: float | None
    boiling_c: float | None
    boiling_low_c: float | None
    boiling_high_c: float | None
    boiling_open_c: float | None
    ambient_kpa: float
    absolute_kpa: float
    cold_c: float
    hot_c: float
    density_cold: float | None
    density_hot: float | None
    expansion_share: float | None
    expansion_l: float | None
    warnings: tuple[str, ...]


def expansion_share(kind: Glycol, mass: float, cold_c: float, hot_c: float) -> float:
    """Growth of the volume from `cold_c` to `hot_c` [°C, up to 100], as a share.

    >>> round(expansion_share("ethylene", 0.5, 20.0, 90.0), 3)
    0.045
    """
    cold = glycol.density_kg_m3(kind, mass, cold_c)
    return cold / glycol.density_kg_m3(kind, mass, hot_c) - 1.0


def mixture(
    strength: Strength,
    *,
    ambient_kpa: float,
    cap_kpa: float = 0.0,
    capacity_l: float | None = None,
    cold_c: float = 20.0,
    hot_c: float = 95.0,
    hardness_ppm: float | None = None,
) -> Mixture:
    """What follows from a strength under a cap of `cap_kpa` [kPa gauge] where the air has
    `ambient_kpa` [kPa].

    Raises
    ------
    OutOfRangeError
        When a temperature, pressure, capacity (0.5 to 60 L) or hardness is outside its range.
    """
    require_range("air pressure", ambient_kpa, 45.0, 110.0, "kPa")
    require_range("cap pressure", cap_kpa, 0.0, 180.0, "kPa")
    if not cold_c < hot_c:
        raise OutOfRangeError(
            f"cold is {cold_c:g} °C and hot {hot_c:g} °C", allowed="cold below hot"
        )
    kind = strength.glycol
    warnings = list(strength.warnings)
    volume = strength.volume()[0]
    rich = strength.mass > glycol.RICHEST_MEASURED
    freezing: list[float | None] = [None, None, None]
    if not rich:
        top = min(strength.mass_high, glycol.RICHEST_MEASURED)
        freezing = [glycol.freezing_c(kind, m) for m in (strength.mass, top, strength.mass_low)]
    boiling = [
        _boiling(kind, mass, ambient_kpa + cap_kpa)
        for mass in (
            strength.mass,
            strength.mass_low,
            min(strength.mass_high, max(strength.mass, glycol.RICHEST_BOILING[kind])),
        )
    ]
    densities: list[float | None] = [None, None]
    share = None
    if not rich:
        densities = [glycol.density_kg_m3(kind, strength.mass, t) for t in (cold_c, hot_c)]
        share = expansion_share(kind, strength.mass, cold_c, hot_c)
    if capacity_l is not None:
        require_range("capacity", capacity_l, 0.5, 60.0, "L")
    warnings += _strength_warnings(strength, volume, rich)
    if hardness_ppm is not None:
        require_range("water hardness", hardness_ppm, 0.0, 2000.0, "ppm CaCO3")
        if hardness_ppm > HARD_WATER_PPM:
            warnings.append(
                f"the water has {hardness_ppm:.0f} ppm of hardness, more than "
                f"{HARD_WATER_PPM:.0f}: it leaves scale and uses up inhibitors; use distilled "
                "or demineralised water"
            )
    return Mixture(
        strength,
        freezing[0],
        freezing[1],
        freezing[2],
        boiling[0],
        boiling[1],
        boiling[2],
        _boiling(kind, strength.mass, ambient_kpa),
        ambient_kpa,
        ambient_kpa + cap_kpa,
        cold_c,
        hot_c,
        densities[0],
        densities[1],
        share,
        None if share is None or capacity_l is None else share * capacity_l,
        tuple(warnings),
    )


def _boiling(kind: Glycol, mass: float, pressure_kpa: float) -> float | None:
    if mass > glycol.RICHEST_BOILING[kind]:
        return None
    return glycol.boiling_c(kind, mass, pressure_kpa)


def _strength_warnings(strength: Strength, volume: float, rich: bool) -> list[str]:
    percent = 100.0 * volume
    if rich:
        return [
            f"over-rich: {percent:.0f} % by volume. Richer than 60 % by mass no freezing point is "
            "given: laboratories don't agree there and the protection turns back (60 to 70 %). It "
            "also carries less heat. Thin it with distilled water"
        ]
    if volume > OVER_RICH_VOLUME:
        return [
            f"rich: {percent:.0f} % by volume; beyond 60 to 70 % the protection turns back and "
            "the mixture carries less heat"
        ]
    if strength.mass < 0.02:
        return ["this is water, or nearly: no frost protection and no inhibitors to speak of"]
    if volume < WEAK_VOLUME:
        return [
            f"weak: {percent:.0f} % by volume; below about a third the inhibitors are thin too "
            "(common practice)"
        ]
    return []
