"""Reads plain values from outside, collecting all that is wrong so that it is said at once."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

from beltside.base.errors import InputError, nearest


class Complaints:
    """Gives back the values that are right, and a stand-in for each that is not.

    Every method notes what is wrong; `raise_if_any` says it all.
    """

    def __init__(self, what: str = "the catalogue") -> None:
        self._said: list[str] = []
        self._what = what

    def add(self, text: str) -> None:
        self._said.append(text)

    def raise_if_any(self) -> None:
        if self._said:
            raise InputError(f"{self._what} has problems: " + "; ".join(self._said))

    def word(self, word: str, where: str, allowed: Iterable[str]) -> None:
        words = list(allowed)
        if word not in words:
            close = nearest(word, words)
            self.add(f'{where}: "{word}" is not known' + (f', nearest "{close}"' if close else ""))

    def group(
        self, value: object, where: str, required: Sequence[str], optional: Sequence[str] = ()
    ) -> Mapping[str, object]:
        if not isinstance(value, Mapping):
            self.add(f"{where} must be a group of keys")
            return {}
        for key in value:
            if key not in required:
                self.word(str(key), where, (*required, *optional))
        for key in required:
            if key not in value:
                self.add(f"{where}.{key} is missing")
        return value

    def groups(
        self, group: Mapping[str, object], key: str, where: str = ""
    ) -> Mapping[str, object]:
        value = group.get(key, {})
        if not isinstance(value, Mapping):
            self.add(f"{where}.{key}".lstrip(".") + " must be groups of keys")
            return {}
        return value

    def text(self, group: Mapping[str, object], where: str, key: str) -> str:
        value = group.get(key)
        if key in group and (not isinstance(value, str) or not value.strip()):
            self.add(f"{where}.{key} must be text")
        return value if isinstance(value, str) else ""

    def texts(self, group: Mapping[str, object], where: str, key: str) -> tuple[str, ...]:
        value = group.get(key, [])
        if not isinstance(value, list) or not all(isinstance(each, str) for each in value):
            self.add(f"{where}.{key} must be a list of texts")
            return ()
        return tuple(value)

    def yes(self, group: Mapping[str, object], where: str, key: str) -> bool:
        if key in group and not isinstance(group[key], bool):
            self.add(f"{where}.{key} must be true or false")
        return group.get(key) is True

    def number(
        self,
        group: Mapping[str, object],
        where: str,
        key: str,
        least: float = 1e-3,
        most: float = 1e6,
    ) -> float:
        value = group.get(key)
        if key not in group:
            return 1.0
        if isinstance(value, bool) or not isinstance(value, int | float):
            self.add(f"{where}.{key} must be a number")
            return 1.0
        if not least <= value <= most:
            limits = f"{least:g} or more" if most >= 1e6 else f"{least:g} to {most:g}"
            self.add(f"{where}.{key} is {value:g} and must be {limits}")
        return float(value)
