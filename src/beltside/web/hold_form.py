"""How a hold test is set up: its fields, and what the use case takes from them."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

from beltside.base.errors import InputError
from beltside.casework.coolant_bench import with_unit
from beltside.casework.hold_gauge import step_kpa
from beltside.casework.shop import FieldProblemsError
from beltside.web.texts import text_

SETUP_FIELDS: Final = (
    ("strokes", text_("Pump strokes counted"), "", text_("how many it took to get there")),
    ("stroke_ml", text_("Volume of one stroke"), "mL", text_("stands on the pump")),
    ("capacity_l", text_("System holds"), "", text_("from the service data")),
    ("air_l", text_("Air in bottle and system before pumping"), "", ""),
    ("altitude_m", text_("Altitude of the place"), "", text_("0 if left out")),
    ("start_kpa", text_("Gauge before the first stroke"), "gauge", text_("0 if left out")),
    ("matters_ml_min", text_("A leak matters from"), "mL/min", text_("3 if left out")),
    (
        "tester_kpa_min",
        text_("The tester alone falls in a minute by"),
        "gauge",
        text_("on a plugged adaptor"),
    ),
)
"""Fields folded away: name, words, unit ("gauge" for that of the gauge), hint."""
_OTHERS: Final = tuple(name for name, _, _, _ in SETUP_FIELDS)


def given_of(fields: Mapping[str, str], *, us: bool) -> dict[str, object]:
    """How the test was set up, as `begin_hold` takes it; bare figures get their unit.

    Raises
    ------
    FieldProblemsError
        With what is no pressure beside its field.
    """
    unit = fields.get("unit") or ("psi" if us else "kPa")
    given: dict[str, object] = {"cap": fields.get("cap", "")}
    wrong: dict[str, str] = {}
    step = fields.get("step_typed") or fields.get(f"step_{unit}", "")
    for name, value in (("gauge_step_kpa", step), *((n, fields.get(n, "")) for n in _OTHERS)):
        if not value:
            continue
        if name in ("gauge_step_kpa", "start_kpa", "tester_kpa_min"):
            try:
                given[name] = step_kpa(value, unit)
            except InputError as error:
                wrong["step_typed" if name == "gauge_step_kpa" else name] = str(error)
        else:
            given[name] = with_unit(name, value, us=us)
    if wrong:
        raise FieldProblemsError("hold-test", fields, wrong)
    return given
