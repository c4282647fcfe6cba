"""Water alone: its boiling curve and its density.

Method and sources: docs/methods/coolant.md.
"""

from __future__ import annotations

import math
from typing import Final

from beltside.base.errors import require_range

KELVIN: Final = 273.15

# IAPWS-IF97 (2007 release), table 34, region 4.
_N: Final = (
    0.11670521452767e4,
    -0.72421316703206e6,
    -0.17073846940092e2,
    0.12020824702470e5,
    -0.32325550322333e7,
    0.14915108613530e2,
    -0.48232657361591e4,
    0.40511340542057e6,
    -0.23855557567849,
    0.65017534844798e3,
)

LOWEST_KPA: Final = 0.611213
HIGHEST_KPA: Final = 22064.0


def boiling_c(pressure_kpa: float) -> float:
    """Temperature at which water boils [°C] under an absolute pressure [kPa].

    IAPWS-IF97, equation 31; 0.6112 to 22,064 kPa.

    Raises
    ------
    OutOfRangeError
        Outside that range.

    >>> round(boiling_c(101.325), 3)
    99.974
    """
    require_range("absolute pressure", pressure_kpa, LOWEST_KPA, HIGHEST_KPA, "kPa")
    n = _N
    beta = (pressure_kpa / 1000.0) ** 0.25
    e = beta**2 + n[2] * beta + n[5]
    f = n[0] * beta**2 + n[3] * beta + n[6]
    g = n[1] * beta**2 + n[4] * beta + n[7]
    d = 2.0 * g / (-f - math.sqrt(f**2 - 4.0 * e * g))
    kelvin = (n[9] + d - math.sqrt((n[9] + d) ** 2 - 4.0 * (n[8] + n[9] * d))) / 2.0
    return float(kelvin - KELVIN)


def vapour_pressure_kpa(temperature_c: float) -> float:
    """Pressure under which water boils at this temperature [kPa absolute].

    IAPWS-IF97, equation 30; 0 to 373.9 °C.

    Raises
    ------
    OutOfRangeError
        Outside that range.

    >>> round(vapour_pressure_kpa(99.974), 2)
    101.32
    """
    require_range("temperature", temperature_c, 0.0, 373.9, "°C")
    n = _N
    kelvin = temperature_c + KELVIN
    theta = kelvin + n[8] / (kelvin - n[9])
    a = theta**2 + n[0] * theta + n[1]
    b = n[2] * theta**2 + n[3] * theta + n[4]
    c = n[5] * theta**2 + n[6] * theta + n[7]
    return 1000.0 * (2.0 * c / (-b + math.sqrt(b**2 - 4.0 * a * c))) ** 4


def density_kg_m3(temperature_c: float) -> float:
    """Density of air-free water at atmospheric pressure [kg/m³], 0 to 100 °C.

    G. S. Kell, Journal of Chemical and Engineering Data 20 (1975) 97, equation 16 (from memory).

    Raises
    ------
    OutOfRangeError
        Outside 0 to 100 °C.

    >>> round(density_kg_m3(20.0), 1)
    998.2
    """
    t = require_range("water temperature", temperature_c, 0.0, 100.0, "°C")
    polynomial = (
        999.83952
        + t * (16.945176 + t * (-7.9870401e-3 + t * (-46.170461e-6)))
        + t**4 * (105.56302e-9 - 280.54253e-12 * t)
    )
    return polynomial / (1.0 + 16.879850e-3 * t)
