"""What a plan hands back: steps as shown, times, lists; and its JSON."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from beltside.base.provenance import Provenance
from beltside.teardown.plan import Way
from beltside.teardown.shopping import ToBuy, Tool


@dataclass(frozen=True)
class StepView:
    """One step with all a person needs to do it.

    Minutes are low, likely, high [min]. `torque` is in words: the figure with its source, or that
    it has to be read from the maker's data. `slack_min` and `earliest_min` [min] are those of the
    network: as if there were hands enough. `trouble_names` are what `troubles` tell of.
    """

    id: str
    number: int
    phase: str
    thing: str
    title: str
    minutes: tuple[float, float, float]
    wait_min: float
    waits_for: tuple[str, ...]
    why: str
    tools: tuple[str, ...]
    fastener: str
    torque: str
    new_parts: tuple[str, ...]
    hazards: tuple[str, ...]
    cautions: tuple[str, ...]
    troubles: tuple[str, ...]
    trouble_names: tuple[str, ...]
    critical: bool
    slack_min: float
    earliest_min: float
    expected_min: float


@dataclass(frozen=True)
class Times:
    """Minutes that hold in a share of cases, from the formula and from a simulation."""

    mean_min: float
    deviation_min: float
    quantiles: Mapping[float, float]
    simulated: Mapping[float, float]
    runs: int
    spread: float


@dataclass(frozen=True)
class TeardownResult:
    """A plan with everything that is shown of it."""

    title: str
    about: str
    cautions: tuple[str, ...]
    repairs: tuple[str, ...]
    aim: str
    steps: tuple[StepView, ...]
    way: Way
    second: Way | None
    second_says: str
    times: Times
    chain: tuple[str, ...]
    chain_min: float
    shared: Mapping[str, float]
    tools: tuple[Tool, ...]
    to_buy: tuple[ToBuy, ...]
    done: tuple[str, ...]
    refitted: tuple[str, ...]
    proved: bool
    warnings: tuple[str, ...]
    provenance: Provenance

    def to_json(self) -> dict[str, Any]:
        """Plain dict; minutes to 0.1."""
        return {
            "title": self.title,
            "repairs": list(self.repairs),
            "aim": self.aim,
            "expected_min": _min(self.way.expected_min),
            "sure_min": _min(self.way.sure_min),
            "tool_count": self.way.tools,
            "things": list(self.way.things),
            "proved": self.proved,
            "steps": [
                {
                    "id": step.id,
                    "phase": step.phase,
                    "thing": step.thing,
                    "title": step.title,
                    "minutes": [_min(value) for value in step.minutes],
                    "wait_min": _min(step.wait_min),
                    "waits_for": list(step.waits_for),
                    "why": step.why,
                    "tools": list(step.tools),
                    "fastener": step.fastener,
                    "torque": step.torque,
                    "new_parts": list(step.new_parts),
                    "hazards": list(step.hazards),
                    "cautions": list(step.cautions),
                    "troubles": list(step.troubles),
                    "trouble_names": list(step.trouble_names),
                    "critical": step.critical,
                    "slack_min": _min(step.slack_min),
                    "earliest_min": _min(step.earliest_min),
                    "expected_min": _min(step.expected_min),
                }
                for step in self.steps
            ],
            "second": None
            if self.second is None
            else {
                "things": list(self.second.things),
                "expected_min": _min(self.second.expected_min),
                "sure_min": _min(self.second.sure_min),
                "tool_count": self.second.tools,
                "says": self.second_says,
            },
            "time": {
                "mean_min": _min(self.times.mean_min),
                "deviation_min": _min(self.times.deviation_min),
                "holds_in": {f"{s:g}": _min(v) for s, v in self.times.quantiles.items()},
                "simulated": {f"{s:g}": _min(v) for s, v in self.times.simulated.items()},
                "runs": self.times.runs,
                "day_spread": round(self.times.spread, 3),
            },
            "critical_chain": list(self.chain),
            "critical_chain_min": _min(self.chain_min),
            "together": {name: _min(value) for name, value in self.shared.items()},
            "tools": [
                {"name": tool.name, "first_step": tool.first_step, "only_if": tool.only_if}
                for tool in self.tools
            ],
            "to_buy": [to_buy_json(one) for one in self.to_buy],
            "done": list(self.done),
            "refitted": list(self.refitted),
            "warnings": list(self.warnings),
            "provenance": {
                "method": self.provenance.method,
                "version": self.provenance.version,
                "inputs": dict(self.provenance.inputs),
                "valid_range": self.provenance.valid_range,
                "source": self.provenance.source,
                "warnings": list(self.provenance.warnings),
            },
        }


def to_buy_json(one: ToBuy) -> dict[str, Any]:
    """Something to buy as a plain dict."""
    return {
        "name": one.name,
        "quantity": one.quantity,
        "unit": one.unit,
        "for": one.for_,
        "source": one.source,
        "sort": one.sort,
    }


def _min(value: float) -> float:
    return round(value, 1)
