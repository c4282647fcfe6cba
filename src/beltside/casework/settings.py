"""The shop's own settings: units, rate, tax, currency, names, language. Each keeps its history."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal, InvalidOperation
from typing import Any, Final

from beltside.base.errors import InputError, nearest
from beltside.casework.shop import FieldProblemsError, Shop, checked
from beltside.jobs.entries import Entry

UNITS: Final = ("metric", "us")
LANGUAGES: Final = ("en", "de")


@dataclass(frozen=True)
class Setting:
    """One setting: its name, what it means, and what holds while nobody has set it.

    `kind` is "words", "money", "percent", "count", or the choices parted by "|".
    """

    name: str
    says: str
    kind: str
    default: Any


SETTINGS: Final = (
    Setting("shop", "name of the shop, as it stands on the proof sheet", "words", ""),
    Setting("address", "address and telephone of the shop", "words", ""),
    Setting("technician", "name of the technician", "words", ""),
    Setting("language", "language of the pages", "|".join(LANGUAGES), "en"),
    Setting("units", "metric or US units", "|".join(UNITS), "metric"),
    Setting("currency", "currency of estimates", "words", "EUR"),
    Setting("labour_per_hour", "an hour of labour, without tax", "money", None),
    Setting("tax_percent", "tax on the estimate, per cent", "percent", None),
    Setting("parts_margin_percent", "added to the buying price of parts, per cent", "percent", "0"),
    Setting("consumables", "flat charge for small material, without tax", "money", "0"),
    Setting("travel", "flat charge for the way, without tax", "money", "0"),
    Setting("deposit_percent", "deposit asked for on parts, per cent", "percent", "0"),
    Setting("offer_days", "days for which an offer holds", "count", 14),
)
_BY_NAME: Final = {one.name: one for one in SETTINGS}


@dataclass(frozen=True)
class SettingNow:
    """A setting as it is: its value, and the entry and version it comes from, if anybody set it."""

    setting: Setting
    value: Any
    entry: str | None = None
    version: int = 0

    def to_json(self) -> dict[str, Any]:
        """Plain dict."""
        return {
            "name": self.setting.name,
            "says": self.setting.says,
            "kind": self.setting.kind,
            "value": self.value,
            "default": self.setting.default,
            "entry": self.entry,
            "version": self.version,
        }


def settings(shop: Shop) -> dict[str, SettingNow]:
    """All settings by name."""
    entries = {str(one.body["name"]): one for one in shop.record.shop_entries("setting")}
    return {one.name: _now(one, entries.get(one.name)) for one in SETTINGS}


def setting(shop: Shop, name: str) -> Any:
    """The value of one setting; None when it has none."""
    return settings(shop)[name].value


def _now(one: Setting, entry: Entry | None) -> SettingNow:
    if entry is None:
        return SettingNow(one, one.default)
    return SettingNow(one, entry.body["value"], entry.id, entry.version)


def save_settings(shop: Shop, typed: Mapping[str, Any]) -> dict[str, SettingNow]:
    """Keep settings; those left out stay as they are, earlier values stay readable.

    Raises
    ------
    FieldProblemsError
        With what is wrong beside each; the others are kept.
    """
    before = settings(shop)
    wrong: dict[str, str] = {}
    for name, value in typed.items():
        known = _BY_NAME.get(name)
        if known is None:
            close = nearest(name, _BY_NAME)
            others = f"the nearest is {close}" if close else f"there are {', '.join(_BY_NAME)}"
            wrong[name] = f"there is no such setting; {others}"
            continue
        try:
            plain = _read(known, value)
        except ValueError as error:
            wrong[name] = str(error)
            continue
        now = before[name]
        if plain == now.value and type(plain) is type(now.value):
            continue
        body = checked("setting", {"name": name, "value": plain})
        if now.entry is None:
            shop.record.add(None, "setting", body, by=shop.by, entry_id=f"setting-{name}")
        else:
            shop.record.change(now.entry, body, by=shop.by)
    if wrong:
        raise FieldProblemsError("setting", typed, wrong)
    return settings(shop)


def setting_history(shop: Shop, name: str) -> list[Entry]:
    """Every value a setting had, oldest first.

    Raises
    ------
    InputError
        When there is no such setting; names the nearest.
    """
    if name not in _BY_NAME:
        raise InputError(
            f'"{name}" is no setting',
            allowed=", ".join(_BY_NAME),
            instead=nearest(name, _BY_NAME) or "",
        )
    now = settings(shop)[name]
    return [] if now.entry is None else shop.record.history(now.entry)


def _read(one: Setting, value: Any) -> Any:
    text = str(value).strip() if value is not None else ""
    if one.kind == "words":
        if len(text) > 300:
            raise ValueError("is longer than 300 characters")
        return text
    if not text:
        return one.default
    if "|" in one.kind:
        choices = one.kind.split("|")
        if text.lower() not in choices:
            raise ValueError(f"is one of {', '.join(choices)}")
        return text.lower()
    if one.kind == "count":
        if not text.isdecimal() or not 1 <= int(text) <= 365:
            raise ValueError("is a whole number from 1 to 365")
        return int(text)
    try:
        amount = Decimal(text.replace(",", "."))
    except InvalidOperation:
        raise ValueError("is a number, such as 72.50") from None
    most = 100 if one.kind == "percent" and one.name != "parts_margin_percent" else 10**6
    if not amount.is_finite() or not 0 <= amount <= most:
        raise ValueError(f"runs from 0 to {most}")
    return f"{amount:f}"
