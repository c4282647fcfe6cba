"""The cars of the demo shop: whose they are, what is wrong in truth, and how far each job is.

Heron Lane Garage, its customers, plates and cars are invented.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

TECHNICIAN: Final = "J. Heron"


@dataclass(frozen=True)
class DemoJob:
    """A job of the demo shop.

    Attributes
    ----------
    name
        Part of its name in the record.
    owner, phone, car, plate, words, engine, since
        As typed.
    truth
        What is simulated; "" for a car that has not been recorded.
    stage
        How far the job is: "complaint", "listen", "find", "measure", "agree", "agreed", "work",
        "prove", "closed", "reminder", "comeback"; "earlier" for one closed long ago, of which
        little more than its sound is on record.
    like
        The job whose car this one is the same as, make and noise: a van of one fleet.
    seconds
        How long its take in front of the engine is.
    """

    name: str
    owner: str
    phone: str
    car: str
    plate: str
    words: str
    engine: str
    since: str
    truth: str
    stage: str
    like: str = ""
    seconds: float = 8.0


DEMO_JOBS: Final = (
    DemoJob(
        "01", "Ines Falk", "0555 0101", "Fenn 1.2", "HL 204",
        "It squeals for a moment when I start it on a wet morning, then it is gone.",
        "cold", "two weeks", "", "complaint",
    ),
    DemoJob(
        "02", "Otto Renz", "0555 0102", "Marl 1.6", "HL 377",
        "A growl from the front that gets faster when I press the pedal.",
        "both", "the long trip in August", "idler.bearing", "listen",
    ),
    DemoJob(
        "03", "Alma Berg", "0555 0103", "Tarn 1.4", "HL 118",
        "There is a whine and a rough rumble at the front. My brother says it is the alternator.",
        "both", "about a month", "tarn", "find",
    ),
    DemoJob(
        "04", "Pavel Stich", "0555 0104", "Sedge 2.0", "HL 590",
        "When all the lights are on it chirps, worse in the rain.",
        "cold", "the new belt", "belt.misalignment", "find",
    ),
    DemoJob(
        "05", "Greta Lund", "0555 0105", "Fenn 1.2", "HL 642",
        "It rattles when idling in gear and stops when I speed up.",
        "hot", "last week", "tensioner.rattle", "measure",
    ),
    DemoJob(
        "06", "Jonas Wirth", "0555 0106", "Tarn 1.4", "HL 733",
        "Roaring from the front and a few drops of coolant on the yard.",
        "both", "Sunday", "coolant-pump.bearing", "agree",
    ),
    DemoJob(
        "07", "Mira Stolz", "0555 0107", "Marl 1.6", "HL 281",
        "Humming that comes with the electric things: heater, lights.",
        "both", "autumn", "alternator.bearing", "agreed",
    ),
    DemoJob(
        "08", "Theo Brandt", "0555 0108", "Tarn 1.4", "HL 455",
        "A dry scraping noise, loudest by the radiator.",
        "both", "ten days", "coolant-pump.bearing", "work",
    ),
    DemoJob(
        "09", "Lena Aust", "0555 0109", "Tarn 1.4", "HL 862",
        "It grinds at the front and loses a little coolant.",
        "hot", "three weeks", "coolant-pump.bearing", "prove",
    ),
    DemoJob(
        "10", "Ruth Klee", "0555 0110", "Sedge 2.0", "HL 319",
        "A whistle that rises with the engine.",
        "both", "a month", "alternator.bearing", "closed",
    ),
    DemoJob(
        "11", "Emil Noor", "0555 0111", "Marl 1.6", "HL 526",
        "A rough rolling noise since the belt was changed.",
        "cold", "the belt change", "idler.bearing", "reminder",
    ),
    DemoJob(
        "12", "Vera Thal", "0555 0112", "Fenn 1.2", "HL 907",
        "Squealing on every start, also when warm.",
        "both", "winter", "belt.slip", "comeback",
    ),
    DemoJob(
        "13", "Renz Deliveries", "0555 0102", "Marl 1.6", "HL 371",
        "The van growls at the front.",
        "both", "a week", "idler.bearing", "earlier", "02", 7.0,
    ),
    DemoJob(
        "14", "Renz Deliveries", "0555 0102", "Marl 1.6", "HL 374",
        "Growls like the other van did.",
        "both", "a few days", "idler.bearing", "earlier", "02", 9.0,
    ),
    DemoJob(
        "15", "Renz Deliveries", "0555 0102", "Marl 1.6", "HL 379",
        "A growl when cold and warm, no belt squeal.",
        "both", "the service", "idler.bearing", "earlier", "02", 7.5,
    ),
)  # fmt: skip
"""Twelve jobs at every stage, the last of them closed and back as one more, and three vans of one
fleet closed before: job 02 sounds like them."""


def _smooth(*parts: str) -> tuple[tuple[str, str, str], ...]:
    """With the belt off every pulley is spun: these turn as they should."""
    return tuple(("spin-by-hand", part, "smooth") for part in parts)


FINDINGS: Final = {
    "tarn": (("spin-by-hand", "coolant-pump", "rough"),),
    "coolant-pump.bearing": (
        ("spin-by-hand", "coolant-pump", "rough"),
        ("wiggle", "coolant-pump", "loose"),
        ("probe-housing", "coolant-pump", "loud"),
        *_smooth("alternator", "idler", "tensioner", "ac-compressor", "steering-pump"),
        ("belt-back", "", "fine"),
    ),
    "alternator.bearing": (
        ("spin-by-hand", "alternator", "rough"),
        ("probe-housing", "alternator", "loud"),
        ("decoupler-hold", "alternator", "works"),
        *_smooth("coolant-pump", "idler", "idler-2", "tensioner", "ac-compressor", "steering-pump"),
        ("belt-back", "", "fine"),
        ("run-down", "", "nothing"),
    ),
    "idler.bearing": (
        ("spin-by-hand", "idler", "rough"),
        ("probe-housing", "idler", "loud"),
        *_smooth("coolant-pump", "alternator", "tensioner", "ac-compressor", "steering-pump"),
    ),
    "tensioner.rattle": (("spin-by-hand", "tensioner", "smooth"),),
    "belt.misalignment": (("spin-by-hand", "idler", "smooth"),),
    "belt.slip": (
        *_smooth("alternator", "coolant-pump", "idler"),
        ("water-mist", "", "squeal-louder"),
        ("belt-press", "", "slack"),
    ),
}
"""What was found by hand, by what is wrong in truth: check, part, outcome. None is rare under
that fault by the catalogue; a part the car does not have is left out."""

TEMPLATES: Final = {
    "coolant-pump.bearing": "coolant-pump",
    "alternator.bearing": "alternator",
    "idler.bearing": "idler",
    "belt.slip": "belt",
    "tensioner.rattle": "tensioner",
}
PRICES: Final = {
    "coolant-pump": (("coolant pump", "89.50"), ("pump gasket", "6.20"), ("coolant", "7.90")),
    "alternator": (("alternator", "214.00"),),
    "idler": (("idler pulley", "28.40"), ("belt", "31.00")),
    "belt": (("belt", "31.00"),),
    "tensioner": (("tensioner", "74.00"),),
}
"""Invented buying prices."""

FLANGE: Final = """name = "coolant pump"

[flange]
cover = "aluminium"
gasket = "paper"

[bolts]
thread = "M6"

[[hole]]
x_mm = 42
y_mm = 12

[[hole]]
x_mm = 10
y_mm = 45

[[hole]]
x_mm = -36
y_mm = 30

[[hole]]
x_mm = -40
y_mm = -22

[[hole]]
x_mm = 18
y_mm = -41
"""
FLANGE_TORQUE: Final = "10 N m"
FLANGE_SOURCE: Final = "invented service sheet of the demo, page 12"

HOLD_READINGS: Final = ((0.0, 108.0), (1.0, 107.0), (2.0, 107.0), (4.0, 106.5), (6.0, 106.5))
"""Minutes, and the gauge in kPa."""
