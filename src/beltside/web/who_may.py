"""Who may use which address. What stands in no line here is the technician's alone.

One table, so that it can be read at a glance; a test walks all routes of the application and holds
them against it. Who adds a route adds its line.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from re import Pattern
from typing import Final

from starlette.routing import compile_path

Audience = frozenset[str]

ANYBODY: Final[Audience] = frozenset({"technician", "helper", "nobody"})
"""Also a phone that is not paired: it learns how to trust and to pair, and nothing of the shop."""
WORKSHOP: Final[Audience] = frozenset({"technician", "helper"})
TECHNICIAN: Final[Audience] = frozenset({"technician"})
HERE: Final[Audience] = frozenset()
"""The technician at this computer only, and with none of his phones: a lost one lets no more in."""

# Method (or * for any) and path as routes write them. An owner has no role here: his link is a
# secret that opens its one sheet for anybody who holds it.
RULES: Final[tuple[tuple[str, str, Audience], ...]] = (
    ("GET", "/static/{path:path}", ANYBODY),
    # Phones: trusting and pairing.
    ("GET", "/trust", ANYBODY),
    ("GET", "/trust/authority.crt", ANYBODY),
    ("GET", "/pair", ANYBODY),
    ("GET", "/pair/{code}", ANYBODY),
    ("POST", "/pair", ANYBODY),
    ("POST", "/sign-out", WORKSHOP),
    ("GET", "/phones", TECHNICIAN),
    ("POST", "/phones/code", HERE),
    ("GET", "/phones/code/{code_id}", HERE),
    ("POST", "/phones/{access_id}/end", TECHNICIAN),
    # An owner's link.
    ("GET", "/sheet/{token}", ANYBODY),
    ("GET", "/sheet/{token}/sheet.html", ANYBODY),
    ("GET", "/sheet/{token}/sheet.pdf", ANYBODY),
    ("GET", "/job/{number}/link", TECHNICIAN),
    ("POST", "/job/{number}/link", TECHNICIAN),
    # Jobs and the work on them.
    ("GET", "/", WORKSHOP),
    ("POST", "/jobs", WORKSHOP),
    ("GET", "/job/{number}", WORKSHOP),
    ("GET", "/job/{number}/complaint", WORKSHOP),
    ("POST", "/job/{number}/complaint/{kind}", WORKSHOP),
    ("GET", "/job/{number}/take", WORKSHOP),
    ("POST", "/job/{number}/take", WORKSHOP),
    ("GET", "/job/{number}/take/{entry_id}", WORKSHOP),
    ("GET", "/job/{number}/take/{entry_id}/progress", WORKSHOP),
    ("GET", "/job/{number}/take/{entry_id}/{picture}.svg", WORKSHOP),
    ("POST", "/job/{number}/take/{entry_id}", WORKSHOP),
    ("POST", "/job/{number}/take/{entry_id}/call-off", WORKSHOP),
    ("GET", "/job/{number}/find", WORKSHOP),
    ("GET", "/job/{number}/find/progress", WORKSHOP),
    ("POST", "/job/{number}/find/finding", WORKSHOP),
    ("POST", "/job/{number}/find/condition", WORKSHOP),
    ("GET", "/job/{number}/compare", WORKSHOP),
    ("POST", "/job/{number}/compare", WORKSHOP),
    ("GET", "/job/{number}/compare/{entry_id}/{side}.m4a", WORKSHOP),
    ("GET", "/job/{number}/drive", WORKSHOP),
    ("POST", "/job/{number}/drive", WORKSHOP),
    ("POST", "/job/{number}/drive/draw", WORKSHOP),
    ("GET", "/job/{number}/coolant", WORKSHOP),
    ("POST", "/job/{number}/coolant/{about}", WORKSHOP),
    ("GET", "/job/{number}/hold", WORKSHOP),
    ("POST", "/job/{number}/hold/begin", WORKSHOP),
    ("POST", "/job/{number}/hold/{test}/reading", WORKSHOP),
    ("POST", "/job/{number}/hold/{test}/rows", WORKSHOP),
    ("POST", "/job/{number}/hold/{test}/seen", WORKSHOP),
    ("POST", "/job/{number}/hold/{test}/end", WORKSHOP),
    ("GET", "/job/{number}/bolts", WORKSHOP),
    ("POST", "/job/{number}/bolts", WORKSHOP),
    ("POST", "/job/{number}/bolts/single", WORKSHOP),
    ("POST", "/job/{number}/bolts/tick", WORKSHOP),
    ("GET", "/job/{number}/comeback", WORKSHOP),
    ("GET", "/job/{number}/strum", WORKSHOP),
    ("POST", "/job/{number}/strum", WORKSHOP),
    ("POST", "/job/{number}/strum/{entry_id}", WORKSHOP),
    ("GET", "/job/{number}/pulleys", WORKSHOP),
    ("POST", "/job/{number}/pulleys", WORKSHOP),
    ("POST", "/job/{number}/pulleys/keep", WORKSHOP),
    ("POST", "/job/{number}/pulleys/photo", WORKSHOP),
    ("POST", "/job/{number}/photo", WORKSHOP),
    ("POST", "/job/{number}/hold/{test}/file", WORKSHOP),
    ("GET", "/job/{number}/match", WORKSHOP),
    ("POST", "/job/{number}/match", WORKSHOP),
    ("GET", "/job/{number}/match/{entry}", WORKSHOP),
    ("GET", "/job/{number}/plan", WORKSHOP),
    ("POST", "/job/{number}/plan", WORKSHOP),
    ("POST", "/job/{number}/plan/tick", WORKSHOP),
    ("GET", "/job/{number}/plan/lists", WORKSHOP),
    ("GET", "/job/{number}/plan/bend", WORKSHOP),
    ("POST", "/job/{number}/plan/bend", WORKSHOP),
    ("GET", "/job/{number}/plan/step", WORKSHOP),
    ("POST", "/job/{number}/plan/step", WORKSHOP),
    ("GET", "/job/{number}/how", WORKSHOP),
    ("GET", "/job/{number}/how/sheet.{kind}", WORKSHOP),
    ("GET", "/job/{number}/history", WORKSHOP),
    ("GET", "/reminders", WORKSHOP),
    ("POST", "/reminders/{entry_id}", WORKSHOP),
    ("GET", "/file/{sha256}", WORKSHOP),
    # Prices, the sheet with them, and what takes something off: the technician's.
    ("POST", "/job/{number}/take/{entry_id}/remove", TECHNICIAN),
    ("POST", "/job/{number}/find/take-back", TECHNICIAN),
    ("POST", "/job/{number}/strum/{entry_id}/remove", TECHNICIAN),
    ("POST", "/job/{number}/coolant/{about}/take-back", TECHNICIAN),
    ("POST", "/job/{number}/hold/{test}/undo", TECHNICIAN),
    ("POST", "/job/{number}/bolts/untick", TECHNICIAN),
    ("POST", "/job/{number}/history/{entry_id}", TECHNICIAN),
    ("GET", "/job/{number}/agree", TECHNICIAN),
    ("POST", "/job/{number}/agree", TECHNICIAN),
    ("GET", "/job/{number}/agree/offer", TECHNICIAN),
    ("POST", "/job/{number}/agree/offer", TECHNICIAN),
    ("GET", "/job/{number}/close", TECHNICIAN),
    ("POST", "/job/{number}/close", TECHNICIAN),
    ("POST", "/job/{number}/close/open", TECHNICIAN),
    ("POST", "/job/{number}/close/part", TECHNICIAN),
    ("GET", "/job/{number}/proof", TECHNICIAN),
    ("POST", "/job/{number}/proof", TECHNICIAN),
    ("GET", "/job/{number}/proof/page.png", TECHNICIAN),
    ("GET", "/job/{number}/proof/sheet.pdf", TECHNICIAN),
    ("GET", "/job/{number}/proof/sheet.html", TECHNICIAN),
    ("GET", "/settings", TECHNICIAN),
    ("POST", "/settings", TECHNICIAN),
    ("POST", "/settings/own", TECHNICIAN),
    ("POST", "/settings/own-text", TECHNICIAN),
    ("GET", "/settings/forget", TECHNICIAN),
    ("POST", "/settings/forget", TECHNICIAN),
    # Backups, and an owner who asks to be forgotten.
    ("GET", "/backup", TECHNICIAN),
    ("POST", "/backup", TECHNICIAN),
    ("GET", "/backup/progress", TECHNICIAN),
    ("POST", "/backup/call-off", TECHNICIAN),
    ("GET", "/job/{number}/forget", TECHNICIAN),
    ("POST", "/job/{number}/forget", TECHNICIAN),
    # For other programs: all of it, prices too.
    ("GET", "/api", TECHNICIAN),
    ("*", "/api/{rest:path}", TECHNICIAN),
)


@dataclass(frozen=True)
class Rule:
    """One line of the table."""

    method: str
    path: str
    audience: Audience
    pattern: Pattern[str]


@cache
def rules() -> tuple[Rule, ...]:
    """The table, ready to be asked."""
    return tuple(
        Rule(method, path, audience, compile_path(path)[0]) for method, path, audience in RULES
    )


def lines_for(method: str, path: str) -> Iterator[Rule]:
    """Lines of the table that an address falls under."""
    method = "GET" if method == "HEAD" else method
    for rule in rules():
        if rule.method in (method, "*") and rule.pattern.fullmatch(path):
            yield rule


def may(role: str, *, here: bool, method: str, path: str) -> bool:
    """Whether a role may use an address.

    An address that falls under several lines needs leave of each; one under none is for the
    technician only.

    Parameters
    ----------
    here
        Whether he sits at this computer.

    >>> may("helper", here=False, method="GET", path="/job/3/find")
    True
    >>> may("helper", here=False, method="POST", path="/job/3/find/take-back")
    False
    >>> may("helper", here=False, method="GET", path="/a-new-page")
    False
    """
    if role == "technician" and here:
        return True
    lines = list(lines_for(method, path))
    if not lines:
        return role == "technician"
    return all(role in line.audience for line in lines)
