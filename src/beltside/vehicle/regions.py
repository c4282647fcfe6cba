"""Geographic area and country of a vehicle identification number: its first two characters.

ISO 3780 lets the first character name the area and the first two the country. The country is where
the maker's code was given out, which need not be where the car was built (ISO 3779:2009 defines the
maker "independently of the location of the assembly plant", as ISO told its readers in 2011).

Source of the list: the assignments as printed in January 2003, less what has changed since; what
came later is from memory and marked so. What is not in it is said to be unknown.
"""

from __future__ import annotations

from types import MappingProxyType
from typing import Final

from beltside.vehicle.characters import ALPHABET

NORTH_AMERICA: Final = "North America"

_AREAS: Final = MappingProxyType(
    {
        "ABCDFG": "Africa",
        "JKLMNPR": "Asia",
        "STUVWXYZ": "Europe",
        "12345": NORTH_AMERICA,
        "67": "Oceania",
        "89": "South America",
    }
)

_COUNTRIES: Final = """
AA-AH South Africa
AJ-AN Ivory Coast
BA-BE Angola
BF-BK Kenya
BL-BR Tanzania
CA-CE Benin
CF-CK Madagascar
CL-CR Tunisia
DA-DE Egypt
DF-DK Morocco
DL-DR Zambia
FA-FE Ghana
FF-FK Nigeria
JA-J0 Japan
KA-KE Sri Lanka
KF-KK Israel
KL-KR South Korea
LA-L0 China
MA-ME India
MF-MK Indonesia
ML-MR Thailand
NF-NK Pakistan
NL-NR Turkey
PA-PE Philippines
PF-PK Singapore
PL-PR Malaysia
RA-RE United Arab Emirates
RF-RK Taiwan
RL-RR Vietnam
SA-SM United Kingdom
SN-ST Germany
SU-SZ Poland
TA-TH Switzerland
TJ-TP Czech Republic
TR-TV Hungary
TW-T1 Portugal
UH-UM Denmark
UN-UT Ireland
UU-UZ Romania
U5-U7 Slovakia
VA-VE Austria
VF-VR France
VS-VW Spain
V3-V5 Croatia
V6-V0 Estonia
WA-W0 Germany
XA-XE Bulgaria
XF-XK Greece
XL-XR Netherlands
XX-X2 Luxembourg
X3-X0 Russia
YA-YE Belgium
YF-YK Finland
YL-YR Malta
YS-YW Sweden
YX-Y2 Norway
Y3-Y5 Belarus
Y6-Y0 Ukraine
ZA-ZR Italy
ZX-Z2 Slovenia
Z3-Z5 Lithuania
1A-10 United States
2A-20 Canada
3A-3W Mexico
3X-37 Costa Rica
4A-40 United States
5A-50 United States
6A-6W Australia
7A-7E New Zealand
7F-70 United States
8A-8E Argentina
8F-8K Chile
8L-8R Ecuador
8S-8W Peru
8X-82 Venezuela
9A-9E Brazil
9F-9K Colombia
9L-9R Paraguay
9S-9W Uruguay
9X-92 Trinidad and Tobago
93-99 Brazil
"""
# From memory: the Czech Republic after Czechoslovakia, 7F to 70 for the United States, and all of
# the Americas and Oceania. Left out: what changed hands or is told differently.


def _table() -> dict[str, str]:
    found = {}
    for row in _COUNTRIES.strip().splitlines():
        codes, _, country = row.partition(" ")
        first, start, end = codes[0], ALPHABET.index(codes[1]), ALPHABET.index(codes[4])
        for second in ALPHABET[start : end + 1]:
            found[first + second] = country
    return found


_COUNTRY_OF: Final = MappingProxyType(_table())


def region_of(vin: str) -> str | None:
    """The geographic area, or None where the standard gives none (or it has changed: E, H, 0).

    >>> region_of("1M8GDM9AXKP042788"), region_of("WXX"), region_of("0XX")
    ('North America', 'Europe', None)
    """
    if country_of(vin) == "United States":
        return NORTH_AMERICA
    return next((area for firsts, area in _AREAS.items() if vin[0] in firsts), None)


def country_of(vin: str) -> str | None:
    """The country whose body gave out the maker's code, or None when the list does not say.

    >>> country_of("3AX"), country_of("W0X"), country_of("GAX") is None
    ('Mexico', 'Germany', True)
    """
    return _COUNTRY_OF.get(vin[:2])


def check_is_mandatory(vin: str) -> bool:
    """Whether the check digit must be right by the first characters alone.

    It must on vehicles made for North America (49 CFR 565.13; Canada and Mexico from memory). A car
    made elsewhere for North America has it too, but its first characters do not tell.
    """
    return region_of(vin) == NORTH_AMERICA
