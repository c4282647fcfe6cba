"""Cautions, said where the risk is. Short, with their sources."""

from __future__ import annotations

from typing import Final

NEVER_OPEN_HOT: Final = (
    "Never open a hot system: let it cool until the top hose is soft and cool to the hand. "
    "Coolant of 90 to 110 °C scalds at once; even 60 °C burns deep within 5 s."
)
"""Times: Moritz & Henriques, American Journal of Pathology 23 (1947) 695 (from memory), as printed
by a maker of plumbing valves: 60 °C, second degree in 3 s, third in 5 s."""

POISON: Final = (
    "Coolant is poison, and sweet: as little as about 100 mL of ethylene glycol kills an adult, a "
    "few millilitres a cat. Keep it from children and animals; swallowed, call poison control."
)
"""1.4 mL/kg: Health Canada's assessment of ethylene glycol, 1.57 g/kg. The cat: from memory."""

CATCH: Final = "Catch all of it and dispose of it by local rules: never into a drain or the ground."

EYES: Final = "Wear eye protection: a pressed hose or adaptor can let go."

ABOVE_CAP: Final = "Never pump above the cap's mark: it bursts hoses, heater core or radiator."

COLD_TEST: Final = "Test cold: engine at the air's temperature, as far as time allows."

BELT_OFF: Final = (
    "Belt off: nothing cools and nothing charges. Stop at the first of the limit, a rising "
    "temperature, a smell or steam; let it cool fully before the next run."
)

SERVICE_DATA: Final = "The vehicle maker's service data stands above anything said here."
