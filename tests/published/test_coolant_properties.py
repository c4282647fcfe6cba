"""Glycol, water, air and pressure against handbooks, standards and other people's libraries.

Sources beside each check. Tables are typed in from the source named or a copy of it; "from memory"
where nothing was at hand. Computed columns come from the library named.
"""

from __future__ import annotations

import math
import warnings

import pytest

from beltside.coolant import glycol, mix, water
from beltside.coolant.drain import torricelli_s
from beltside.coolant.glycol import Glycol
from beltside.coolant.hold_system import give_from_strokes
from beltside.coolant.pressure import ambient_kpa, cap_target, from_kpa, read_cap_mark

with warnings.catch_warnings():
    warnings.simplefilter("ignore")
    from CoolProp.CoolProp import PropsSI
    from iapws import IAPWS97
    from iapws.iapws97 import _PSat_T, _TSat_P
    from thermo.chemical import Chemical

# CRC Handbook of Chemistry and Physics, 102nd edition, 2021, Concentrative Properties of Aqueous
# Solutions, ethylene glycol: mass %, freezing point [°C], density at 20 °C [g/cm³], index at 20 °C.
CRC_FREEZING = (
    (10, -3.37),
    (20, -7.93),
    (28, -13.03),
    (32, -16.23),
    (40, -23.84),
    (48, -33.3),
    (52, -38.81),
    (56, -44.83),
    (60, -51.23),
)
CRC_DENSITY = ((10, 1.0108), (20, 1.0241), (40, 1.0514), (52, 1.0670), (60, 1.0765))
CRC_INDEX = (
    (0, 1.3330),
    (10, 1.3425),
    (20, 1.3523),
    (32, 1.3646),
    (40, 1.3728),
    (52, 1.3851),
    (60, 1.3931),
)


@pytest.mark.parametrize(("percent", "freezing_c"), CRC_FREEZING)
def test_ethylene_freezing_of_the_crc_handbook(percent: int, freezing_c: float) -> None:
    """CRC Handbook, 102nd edition, 2021; target 0.3 K."""
    assert glycol.freezing_c("ethylene", percent / 100) == pytest.approx(freezing_c, abs=0.1)


@pytest.mark.parametrize(("percent", "density"), CRC_DENSITY)
def test_ethylene_density_of_the_crc_handbook(percent: int, density: float) -> None:
    """CRC Handbook, 102nd edition, 2021."""
    found = glycol.density_kg_m3("ethylene", percent / 100, 20.0)
    assert found == pytest.approx(1000 * density, abs=1.0)


@pytest.mark.parametrize(("percent", "index"), CRC_INDEX)
def test_ethylene_index_of_the_crc_handbook(percent: int, index: float) -> None:
    """CRC Handbook, 102nd edition, 2021. The rule used for propylene glycol is not far off it."""
    assert glycol.refractive_index_20("ethylene", percent / 100) == pytest.approx(index, abs=3e-4)
    assert glycol._added_refraction("ethylene", percent / 100) == pytest.approx(index, abs=1.2e-3)


@pytest.mark.parametrize(("kind", "code"), [("ethylene", "MEG"), ("propylene", "MPG")])
@pytest.mark.parametrize("mass", [0.1, 0.2, 0.3, 0.4, 0.5, 0.6])
def test_freezing_and_density_of_another_library(kind: Glycol, code: str, mass: float) -> None:
    """CoolProp's incompressible MEG and MPG, after Melinder, IIR, 2010."""
    fluid = f"INCOMP::{code}-{100 * mass:.0f}%"
    freezing_c = PropsSI("T_FREEZE", "T", 300.0, "P", 101325.0, fluid) - 273.15
    assert glycol.freezing_c(kind, mass) == pytest.approx(freezing_c, abs=0.02)
    for temperature_c in (20.0, 60.0, 95.0):
        density = PropsSI("D", "T", 273.15 + temperature_c, "P", 101325.0, fluid)
        assert glycol.density_kg_m3(kind, mass, temperature_c) == pytest.approx(density, abs=0.5)


# Lange's Handbook of Chemistry, 15th edition, 1999, table 5.13: volume %, freezing point [°C].
LANGE = ((5, -1.1), (10, -2.2), (20, -6.7), (30, -12.8), (40, -20.6), (45, -26.7), (50, -33.3))


@pytest.mark.parametrize(("percent", "freezing_c"), LANGE)
def test_propylene_freezing_of_langes_handbook(percent: int, freezing_c: float) -> None:
    """Lange's Handbook, 15th edition, 1999; within 1 K."""
    mass = glycol.mass_from_volume("propylene", percent / 100)
    assert glycol.freezing_c("propylene", mass) == pytest.approx(freezing_c, abs=1.0)


@pytest.mark.parametrize(("percent", "sg"), [(20, 1.017), (30, 1.024), (40, 1.032), (50, 1.040)])
def test_propylene_hydrometer_of_langes_handbook(percent: int, sg: float) -> None:
    """Lange's Handbook, 15th edition, 1999: specific gravity at 60 °F by volume %. Its values lie
    up to 0.004 below Melinder's (IIR, 2010), which CoolProp repeats; so does the strength read."""
    mass = glycol.mass_from_volume("propylene", percent / 100)
    found = glycol.density_kg_m3("propylene", mass, 15.56) / water.density_kg_m3(15.56)
    assert found == pytest.approx(sg, abs=0.0045)
    read = mix.from_hydrometer("propylene", sg, 15.56, resolution=0.0045)
    assert read.mass_low <= mass <= read.mass_high


@pytest.mark.parametrize(("volume", "mass"), [(30, 32.3), (40, 42.6), (50, 52.7), (60, 62.6)])
def test_mass_from_volume_by_hand(volume: int, mass: float) -> None:
    """m = v rho_g / (v rho_g + (1 - v) rho_w) with CRC Handbook 2021 densities, by hand."""
    assert 100 * glycol.mass_from_volume("ethylene", volume / 100) == pytest.approx(mass, abs=0.1)


def test_half_and_half_meets_the_makers_scale() -> None:
    """Makers print -37 °C for half and half (ASTM D1177 practice, from memory): within 3 K, and
    inside the range that the water and inhibitors of a concentrate leave."""
    found = mix.mixture(mix.from_amounts("ethylene", 4.0, 4.0), ambient_kpa=101.325)
    assert found.freezing_c == pytest.approx(-36.8, abs=3.05)
    assert found.freezing_high_c is not None
    assert found.freezing_low_c is not None
    assert found.freezing_low_c <= -36.8 <= found.freezing_high_c


# A glycol maker's data sheet of 2008, log10 p[mmHg] = A - B / (t + C), solved by hand for
# 101.325, 150, 200, 209.3 and 220 kPa absolute: boiling points [°C].
BOILING = {
    0.5: (107.09, 118.92, 128.14, 129.65, 131.31),
    0.7: (114.59, 126.91, 136.51, 138.08, 139.81),
}


@pytest.mark.parametrize("mass", BOILING)
def test_ethylene_boiling_of_the_makers_curves(mass: float) -> None:
    """A glycol maker's data sheet, 2008; target 1 K, met within 0.05 K."""
    for kpa, boils in zip((101.325, 150.0, 200.0, 209.3, 220.0), BOILING[mass], strict=True):
        assert glycol.boiling_c("ethylene", mass, kpa) == pytest.approx(boils, abs=0.05)


@pytest.mark.filterwarnings("ignore:The 'float_precision' argument is deprecated")
@pytest.mark.filterwarnings("ignore:Exception ignored in. <_io.FileIO")
@pytest.mark.filterwarnings("ignore:unclosed file")
@pytest.mark.parametrize("mass", [0.1, 0.3, 0.4, 0.5, 0.6])
@pytest.mark.parametrize("kind", ["ethylene", "propylene"])
def test_boiling_against_raoult(kind: Glycol, mass: float) -> None:
    """Raoult's law with vapour pressures of the thermo library (DIPPR and others, 2005 on);
    water and these glycols are close to ideal, so within 1.5 K."""
    pure = Chemical(f"{kind} glycol")
    x = glycol.mole_fraction(kind, mass)
    for kpa in (80.0, 101.325, 209.3):
        boils = glycol.boiling_c(kind, mass, kpa)
        kelvin = boils + 273.15
        raoult = (1 - x) * 1000 * _PSat_T(kelvin) + x * pure.VaporPressure(kelvin) / 1000
        # d ln p / dT is about 3.3 % per kelvin.
        assert abs(math.log(raoult / kpa)) / 0.033 < 1.5


def test_expansion_of_ashrae_and_melinder() -> None:
    """ASHRAE Fundamentals, reprinted: 50 volume % ethylene glycol 67.05 lb/ft³ at 70 °F, 64.27 at
    200 °F, 4.3 %; Melinder 2010: 50 mass %, 20 to 90 °C, 4.50 %, 8.00 L grow by 0.36 L."""
    half = glycol.mass_from_volume("ethylene", 0.5)
    assert glycol.density_kg_m3("ethylene", half, 21.1) == pytest.approx(1074.0, abs=8.0)
    assert glycol.density_kg_m3("ethylene", half, 93.3) == pytest.approx(1029.5, abs=12.0)
    assert mix.expansion_share("ethylene", half, 21.1, 93.3) == pytest.approx(0.043, abs=0.005)
    strength = mix.from_fraction("ethylene", 0.5, by="mass")
    found = mix.mixture(strength, ambient_kpa=101.325, capacity_l=8.0, cold_c=20.0, hot_c=90.0)
    assert found.expansion_l == pytest.approx(0.36, abs=0.005)


@pytest.mark.parametrize(
    ("kpa", "boils"),
    [(101.325, 99.974), (150, 111.350), (200, 120.212), (209.3, 121.655), (220, 123.251)],
)
def test_water_boils_as_in_if97(kpa: float, boils: float) -> None:
    """IAPWS-IF97, 2007, equation 31; iapws 1.5 as second implementation."""
    assert water.boiling_c(kpa) == pytest.approx(boils, abs=0.001)
    assert water.boiling_c(kpa) == pytest.approx(_TSat_P(kpa / 1000) - 273.15, abs=1e-6)
    # The maker's own curve for water agrees too.
    assert glycol.boiling_c("ethylene", 0.0, kpa) == pytest.approx(boils, abs=0.03)


def test_if97_check_tables() -> None:
    """IAPWS-IF97, 2007, tables 35 and 36."""
    for mpa, kelvin in ((0.1, 372.755919), (1.0, 453.035632), (10.0, 584.149488)):
        assert water.boiling_c(1000 * mpa) + 273.15 == pytest.approx(kelvin, abs=1e-6)
    for kelvin, mpa in ((300, 0.00353658941), (500, 2.63889776), (600, 12.3443146)):
        assert water.vapour_pressure_kpa(kelvin - 273.15) == pytest.approx(1000 * mpa, rel=1e-8)


@pytest.mark.parametrize("temperature_c", [0.5, 15.56, 20.0, 60.0, 99.0])
def test_water_density_of_if97(temperature_c: float) -> None:
    """IAPWS-IF97, 2007, by iapws 1.5."""
    reference = IAPWS97(T=temperature_c + 273.15, P=0.101325).rho
    assert water.density_kg_m3(temperature_c) == pytest.approx(reference, abs=0.06)


# US Standard Atmosphere 1976, geometric height [m] to pressure [Pa].
ATMOSPHERE = ((0, 101325), (500, 95461.3), (1000, 89876.3), (1500, 84559.7), (2000, 79501.4))


@pytest.mark.parametrize(("height", "pascal"), [*ATMOSPHERE, (3000, 70121.1)])
def test_air_pressure_of_the_standard_atmosphere(height: float, pascal: float) -> None:
    """US Standard Atmosphere 1976 and ISO 2533:1975."""
    assert 1000 * ambient_kpa(height) == pytest.approx(pascal, abs=1.0)


@pytest.mark.parametrize(
    ("height", "boils"),
    [(0, 99.97), (500, 98.31), (1000, 96.65), (1500, 94.98), (2000, 93.32), (3000, 89.97)],
)
def test_water_boils_sooner_up_high(height: float, boils: float) -> None:
    """IAPWS-IF97, 2007 on ISO 2533:1975."""
    assert water.boiling_c(ambient_kpa(height)) == pytest.approx(boils, abs=0.02)


def test_units_of_pressure() -> None:
    """NIST SP 811, 2008, appendix B.8: exact."""
    for unit, kpa in (("bar", 100.0), ("atm", 101.325), ("kgf/cm2", 98.0665), ("psi", 6.894757293)):
        assert from_kpa(kpa)[unit] == pytest.approx(1.0, rel=1e-9)


@pytest.mark.parametrize(
    ("mark", "kpa"),
    [
        ("0.9 kgf/cm2", 88.26),
        ("0.9 bar", 90.0),
        ("13 psi", 89.63),
        ("1.1 kgf/cm2", 107.87),
        ("1.1 bar", 110.0),
        ("16 psi", 110.32),
        ("108 kPa", 108.0),
        # Bare, as stamped on caps: 108 kPa, 1.1 and 16 are common practice, no source.
        ("108", 108.0),
        ("1.1", 107.87),
        ("16", 110.32),
        ("0.9", 88.26),
        ("13", 89.63),
    ],
)
def test_marks_of_caps(mark: str, kpa: float) -> None:
    """Arithmetic on NIST SP 811, 2008."""
    assert read_cap_mark(mark).gauge_kpa == pytest.approx(kpa, abs=0.01)


def test_absolute_pressure_under_a_cap() -> None:
    """108 kPa (15.66 psi) on ISO 2533:1975: 209.3 kPa at the sea, 192.6 kPa at 1,500 m."""
    mark = read_cap_mark("108 kPa")
    assert cap_target(mark, ambient_kpa(0)).absolute_kpa == pytest.approx(209.325, abs=0.001)
    assert cap_target(mark, ambient_kpa(1500)).absolute_kpa == pytest.approx(192.56, abs=0.01)
    assert from_kpa(108.0)["psi"] == pytest.approx(15.66, abs=0.005)


def test_torricelli_of_the_textbook() -> None:
    """E. Torricelli, 1644: t = (A/a) sqrt(2h/g); h 2 m, radii 2.5 m and 0.01 m give 39,909 s with
    g = 9.81 (a published demonstration's figures)."""
    found = torricelli_s(math.pi * 2.5**2, math.pi * 0.01**2, 2.0, 1.0)
    assert found * math.sqrt(9.80665 / 9.81) == pytest.approx(39909.5, abs=1.0)


def test_give_of_a_rigid_vessel_is_boyles() -> None:
    """Boyle 1662, as in 40 CFR 1065.644 (2 L): without hoses, n V_s of air at ambient pressure p_a
    raises a vessel V by dp = p_a n V_s / V, so its give V / p is p_a n V_s / (dp p).
    """
    volume_ml, ambient, rise = 2000.0, 101.325, 108.0
    strokes = volume_ml * rise / ambient / 50.0
    give = give_from_strokes(strokes, 50.0, 0.0, rise, ambient)
    hoses = 0.5 * rise / (rise + ambient)
    assert give - hoses == pytest.approx(volume_ml / (rise + ambient), rel=1e-12)
