"""Properties of glycol in water: freezing, boiling, density, refraction.

One table for one property, never two mixed; each refuses outside the range it was measured in.
Method and sources: docs/methods/coolant.md.
"""

from __future__ import annotations

from functools import lru_cache
from typing import TYPE_CHECKING, Final, Literal

from beltside.base.errors import OutOfRangeError, require_range
from beltside.coolant import water

if TYPE_CHECKING:
    from scp.ethylene_glycol import EthyleneGlycol
    from scp.propylene_glycol import PropyleneGlycol

Glycol = Literal["ethylene", "propylene"]
GLYCOLS: Final[tuple[Glycol, ...]] = ("ethylene", "propylene")

RICHEST_MEASURED: Final = 0.60
"""Mass fraction where the freezing and density tables end (Melinder, IIR, 2010). Laboratories
agree on freezing points only to about here (SAE abstract on ASTM D1177)."""

RICHEST_BOILING: Final[dict[Glycol, float]] = {"ethylene": 0.70, "propylene": 0.60}
"""Mass fraction up to which the boiling curve is given."""

HOTTEST_MEASURED_C: Final = 100.0

MOLAR_MASS: Final = {"water": 18.015268, "ethylene": 62.068, "propylene": 76.095}
"""g/mol, from IUPAC atomic weights."""

PURE_DENSITY_20: Final[dict[Glycol, float]] = {"ethylene": 1113.2, "propylene": 1036.1}
"""kg/m³ at 20 °C: CRC Handbook, 102nd edition, 2021 (the second from memory)."""

PURE_INDEX_20: Final[dict[Glycol, float]] = {"ethylene": 1.4318, "propylene": 1.4324}
"""Refractive index at 20 °C, sodium D line: CRC Handbook (from memory)."""

_WATER_20: Final = 998.2
_WATER_INDEX_20: Final = 1.3330

# CRC Handbook, 102nd edition, 2021, Concentrative Properties of Aqueous Solutions.
_ETHYLENE_INDEX: Final = (
    (0.0, 1.3330),
    (0.1, 1.3425),
    (0.2, 1.3523),
    (0.32, 1.3646),
    (0.4, 1.3728),
    (0.52, 1.3851),
    (0.6, 1.3931),
)

# log10 p[mmHg] = A - B / (t + C); a glycol maker's data sheet, 2008, for water and for 50 and 70 %
# by mass of ethylene glycol.
_ANTOINE: Final = (
    (7.966820, 1668.210, 228.0),
    (7.901886, 1691.452, 229.778),
    (7.833380, 1712.369, 231.166),
)
_ANTOINE_MASS: Final = (0.0, 0.5, 0.7)
_KPA_PER_MMHG: Final = 101.325 / 760.0

# The same form for propylene glycol alone, set through its boiling point of 188.2 °C (from memory);
# below 60 % by mass it carries about 1 % of the pressure.
_PROPYLENE_ANTOINE: Final = (8.0, 2015.0, 205.4)


def freezing_c(glycol: Glycol, mass_fraction: float) -> float:
    """Temperature at which the first ice forms [°C].

    Å. Melinder, Properties of Secondary Working Fluids for Indirect Systems, IIR, 2010;
    mass fraction 0 to 0.60.

    Raises
    ------
    OutOfRangeError
        Outside that range.

    >>> round(freezing_c("ethylene", 0.5), 1)
    -36.0
    """
    _measured(glycol, mass_fraction)
    return float(_fluid(glycol, mass_fraction).freeze_point(mass_fraction))


def density_kg_m3(glycol: Glycol, mass_fraction: float, temperature_c: float) -> float:
    """Density [kg/m³]; source and range as `freezing_c`, from the freezing point to 100 °C.

    Raises
    ------
    OutOfRangeError
        Outside that range: the library beneath would quietly take the nearest value.

    >>> round(density_kg_m3("ethylene", 0.52, 20.0))
    1067
    """
    _measured(glycol, mass_fraction)
    coldest_c = max(freezing_c(glycol, mass_fraction), -40.0)
    require_range("temperature", temperature_c, min(coldest_c, 0.0), HOTTEST_MEASURED_C, "°C")
    if mass_fraction == 0.0:
        return water.density_kg_m3(max(temperature_c, 0.0))
    return float(_fluid(glycol, mass_fraction).density(max(temperature_c, coldest_c)))


def density_20_kg_m3(glycol: Glycol, mass_fraction: float) -> float:
    """Density at 20 °C of any strength, water to pure glycol [kg/m³].

    Up to 0.60 by mass as `density_kg_m3`; beyond, the shrinkage measured at 0.60 fades straight
    to nothing at pure glycol (own choice; it matters for the amounts poured only).

    >>> round(density_20_kg_m3("ethylene", 1.0), 1)
    1113.2
    """
    require_range("mass fraction", mass_fraction, 0.0, 1.0, "")
    if mass_fraction <= RICHEST_MEASURED:
        return density_kg_m3(glycol, mass_fraction, 20.0)
    edge = density_kg_m3(glycol, RICHEST_MEASURED, 20.0) / _without_shrinkage(
        glycol, RICHEST_MEASURED
    )
    fade = (1.0 - mass_fraction) / (1.0 - RICHEST_MEASURED)
    return _without_shrinkage(glycol, mass_fraction) * (1.0 + (edge - 1.0) * fade)


def _without_shrinkage(glycol: Glycol, mass_fraction: float) -> float:
    return 1.0 / (mass_fraction / PURE_DENSITY_20[glycol] + (1.0 - mass_fraction) / _WATER_20)


def mass_from_volume(glycol: Glycol, volume_fraction: float) -> float:
    """Mass fraction of glycol from the share of it in the volumes poured together at 20 °C.

    >>> round(mass_from_volume("ethylene", 0.5), 3)
    0.527
    """
    require_range("volume fraction", volume_fraction, 0.0, 1.0, "")
    glycol_kg = volume_fraction * PURE_DENSITY_20[glycol]
    return glycol_kg / (glycol_kg + (1.0 - volume_fraction) * _WATER_20)


def volume_from_mass(glycol: Glycol, mass_fraction: float) -> float:
    """The share of the volumes poured together at 20 °C, from the mass fraction.

    >>> round(volume_from_mass("ethylene", 0.527), 2)
    0.5
    """
    require_range("mass fraction", mass_fraction, 0.0, 1.0, "")
    glycol_l = mass_fraction / PURE_DENSITY_20[glycol]
    return glycol_l / (glycol_l + (1.0 - mass_fraction) / _WATER_20)


def refractive_index_20(glycol: Glycol, mass_fraction: float) -> float:
    """Refractive index at 20 °C, sodium D line, mass fraction 0 to 0.60.

    Ethylene glycol: the CRC Handbook's table, straight between its points. Propylene glycol:
    Lorentz-Lorenz, that is, the specific refractions (n² - 1)/(n² + 2)/density of water and glycol
    add by mass, less what that rule is off for ethylene glycol of the same strength (own choice).

    >>> round(refractive_index_20("ethylene", 0.4), 4)
    1.3728
    """
    _measured(glycol, mass_fraction)
    if glycol == "ethylene":
        return _ethylene_index(mass_fraction)
    off = _added_refraction("ethylene", mass_fraction) - _ethylene_index(mass_fraction)
    return _added_refraction(glycol, mass_fraction) - off


def _ethylene_index(mass_fraction: float) -> float:
    above = next(i for i, (mass, _) in enumerate(_ETHYLENE_INDEX[1:], 1) if mass_fraction <= mass)
    (low, at_low), (high, at_high) = _ETHYLENE_INDEX[above - 1 : above + 1]
    return at_low + (at_high - at_low) * (mass_fraction - low) / (high - low)


def _added_refraction(glycol: Glycol, mass_fraction: float) -> float:
    pure = _refraction(PURE_INDEX_20[glycol]) / PURE_DENSITY_20[glycol]
    specific = (
        mass_fraction * pure + (1.0 - mass_fraction) * _refraction(_WATER_INDEX_20) / _WATER_20
    )
    lorentz = specific * density_kg_m3(glycol, mass_fraction, 20.0)
    return float(((1.0 + 2.0 * lorentz) / (1.0 - lorentz)) ** 0.5)


def _refraction(index: float) -> float:
    return (index**2 - 1.0) / (index**2 + 2.0)


def vapour_pressure_kpa(glycol: Glycol, mass_fraction: float, temperature_c: float) -> float:
    """Absolute pressure under which this mixture boils at this temperature [kPa], 40 to 180 °C.

    Ethylene glycol: a glycol maker's curves for water, 50 and 70 % by mass, and between them a
    parabola in the mole fraction of glycol. Propylene glycol: Raoult's law.

    Raises
    ------
    OutOfRangeError
        Beyond 70 % (ethylene) or 60 % (propylene) by mass, or outside 40 to 180 °C.
    """
    require_range(
        f"mass fraction of {glycol} glycol", mass_fraction, 0.0, RICHEST_BOILING[glycol], ""
    )
    require_range("temperature", temperature_c, 40.0, 180.0, "°C")
    pure_kpa = water.vapour_pressure_kpa(temperature_c)
    x = mole_fraction(glycol, mass_fraction)
    if glycol == "propylene":
        return (1.0 - x) * pure_kpa + x * _antoine_kpa(_PROPYLENE_ANTOINE, temperature_c)
    nodes = [mole_fraction(glycol, mass) for mass in _ANTOINE_MASS]
    of_water = _antoine_kpa(_ANTOINE[0], temperature_c)
    shares = [_antoine_kpa(row, temperature_c) / of_water for row in _ANTOINE]
    share = 0.0
    for i, node in enumerate(nodes):
        weight = 1.0
        for j, other in enumerate(nodes):
            if j != i:
                weight *= (x - other) / (node - other)
        share += weight * shares[i]
    return share * pure_kpa


def _antoine_kpa(row: tuple[float, float, float], temperature_c: float) -> float:
    a, b, c = row
    return float(10.0 ** (a - b / (temperature_c + c))) * _KPA_PER_MMHG


def mole_fraction(glycol: Glycol, mass_fraction: float) -> float:
    """Mole fraction of glycol.

    >>> round(mole_fraction("ethylene", 0.5), 3)
    0.225
    """
    moles = mass_fraction / MOLAR_MASS[glycol]
    return moles / (moles + (1.0 - mass_fraction) / MOLAR_MASS["water"])


def boiling_c(glycol: Glycol, mass_fraction: float, pressure_kpa: float) -> float:
    """Temperature at which this mixture boils [°C] under an absolute pressure [kPa].

    40 to 300 kPa absolute; strengths as `vapour_pressure_kpa`.

    Raises
    ------
    OutOfRangeError
        Outside that range.

    >>> round(boiling_c("ethylene", 0.5, 101.325), 1)
    107.1
    """
    require_range("absolute pressure", pressure_kpa, 40.0, 300.0, "kPa")
    low_c, high_c = 40.0, 180.0
    while high_c - low_c > 1e-4:
        middle_c = 0.5 * (low_c + high_c)
        if vapour_pressure_kpa(glycol, mass_fraction, middle_c) < pressure_kpa:
            low_c = middle_c
        else:
            high_c = middle_c
    return 0.5 * (low_c + high_c)


def mass_from_freezing(glycol: Glycol, temperature_c: float) -> float:
    """Mass fraction that freezes at this temperature [°C].

    Raises
    ------
    OutOfRangeError
        Above 0 °C, or below what 60 % by mass reaches: the same freezing point then belongs to two
        strengths, and laboratories don't agree on either.
    """
    coldest_c = freezing_c(glycol, RICHEST_MEASURED)
    if not coldest_c <= temperature_c <= 0.0:
        raise OutOfRangeError(
            f"a freezing point of {temperature_c:g} °C for {glycol} glycol",
            allowed=f"{coldest_c:.1f} to 0 °C, where {glycol} glycol was measured (60 % by mass)",
            instead="a hydrometer, or checking which scale was read and in °C or °F",
        )
    low, high = 0.0, RICHEST_MEASURED
    while high - low > 1e-7:
        middle = 0.5 * (low + high)
        if freezing_c(glycol, middle) > temperature_c:
            low = middle
        else:
            high = middle
    return 0.5 * (low + high)


def _measured(glycol: Glycol, mass_fraction: float) -> None:
    if not 0.0 <= mass_fraction <= RICHEST_MEASURED:
        raise OutOfRangeError(
            f"{100.0 * mass_fraction:.1f} % by mass of {glycol} glycol",
            allowed="0 to 60 % by mass, where freezing points and densities were measured; richer "
            "than about 60 to 70 % the protection turns back",
            instead="thinning it with distilled water: see `beltside coolant adjust`",
        )


@lru_cache(maxsize=256)
def _fluid(glycol: Glycol, mass_fraction: float) -> EthyleneGlycol | PropyleneGlycol:
    # Imported here: boiling points and cap marks are asked for more often, and need none of it.
    from scp.ethylene_glycol import EthyleneGlycol
    from scp.propylene_glycol import PropyleneGlycol

    kind = EthyleneGlycol if glycol == "ethylene" else PropyleneGlycol
    return kind(mass_fraction)
