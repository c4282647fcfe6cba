"""A number of 16 or 18 characters: which one may be missing, which one too many."""

from __future__ import annotations

from dataclasses import dataclass

from beltside.vehicle.characters import ALPHABET, VIN_LENGTH
from beltside.vehicle.regions import check_is_mandatory
from beltside.vehicle.typos import fits_north_america


@dataclass(frozen=True)
class LengthHints:
    """Where to look when one character is missing or too many.

    Only a number of North America can be tried: its check digit has to fit.

    Attributes
    ----------
    positions
        Places of the missing character (1 to 17), or of the one too many (1 to 18), that leave a
        number of North America whose check digit fits.
    doubled
        Such numbers got by writing a character twice, or a doubled one once: the likeliest slip.
    fits
        All such numbers.
    """

    positions: tuple[int, ...]
    doubled: tuple[str, ...]
    fits: tuple[str, ...]


def one_missing(text: str) -> LengthHints:
    """Hints for 16 characters of the alphabet."""
    found: dict[str, int] = {}
    positions = []
    for place in range(VIN_LENGTH):
        here = [f"{text[:place]}{one}{text[place:]}" for one in ALPHABET]
        good = [number for number in here if _good(number)]
        found.update(dict.fromkeys(good, place))
        if good:
            positions.append(place + 1)
    twice = dict.fromkeys(text[:place] + text[place - 1 :] for place in range(1, VIN_LENGTH))
    doubled = tuple(number for number in twice if number in found)
    return LengthHints(tuple(positions), doubled, tuple(found))


def one_too_many(text: str) -> LengthHints:
    """Hints for 18 characters of the alphabet."""
    without = [text[:place] + text[place + 1 :] for place in range(len(text))]
    good = [place for place, number in enumerate(without) if _good(number)]
    doubled = [place for place in good if place and text[place] == text[place - 1]]
    return LengthHints(
        tuple(place + 1 for place in good),
        tuple(dict.fromkeys(without[place] for place in doubled)),
        tuple(dict.fromkeys(without[place] for place in good)),
    )


def length_words(text: str) -> str:
    """What to look at when `text`, capitals of the alphabet without spaces, has not 17."""
    length = len(text)
    if length not in (VIN_LENGTH - 1, VIN_LENGTH + 1):
        return _far_off(length)
    missing = length < VIN_LENGTH
    hints = one_missing(text) if missing else one_too_many(text)
    said = ["one character is missing" if missing else "one character is too many"]
    if check_is_mandatory(text):
        if not hints.fits:
            said.append(
                "but no number made so has a check digit that fits: more than that is wrong"
            )
        elif missing:
            said.append(
                f"by the check digit it may be missing at position {_runs(hints.positions)}"
            )
            if hints.doubled:
                said.append(f"with one written twice it fits as {_listed(hints.doubled)}")
            said.append(f"{len(hints.fits)} numbers fit in all")
        else:
            if hints.doubled:
                said.append(f"with a doubled one left out it fits as {_listed(hints.doubled)}")
            others = tuple(one for one in hints.fits if one not in hints.doubled)
            if others:
                said.append(f"{'or ' if hints.doubled else ''}it fits as {_listed(others)}")
            said.append(f"look at position {_runs(hints.positions)}")
    else:
        pairs = [f"{n}-{n + 1}" for n in range(1, length) if text[n] == text[n - 1]]
        if pairs:
            said.append(f"look first at the doubled characters at {', '.join(pairs)}")
        if hints.fits:
            said.append(f"as a number of North America it fits as {_listed(hints.fits)}")
        said.append("elsewhere no check digit tells which")
    return "; ".join((*said, "read the number off the car again"))


def _good(number: str) -> bool:
    return check_is_mandatory(number) and fits_north_america(number)


def _far_off(length: int) -> str:
    if length > VIN_LENGTH:
        return f"{length - VIN_LENGTH} characters less; read the number off the car again"
    return (
        f"{VIN_LENGTH - length} characters more; numbers from before model year 1981 are shorter "
        "and follow no common rule, so nothing can be read from them"
    )


def _runs(positions: tuple[int, ...]) -> str:
    """Numbers with runs drawn together: 1 to 9, 12."""
    runs: list[list[int]] = []
    for one in positions:
        if runs and one == runs[-1][1] + 1:
            runs[-1][1] = one
        else:
            runs.append([one, one])
    return ", ".join(f"{low}" if low == high else f"{low} to {high}" for low, high in runs)


def _listed(numbers: tuple[str, ...], most: int = 4) -> str:
    more = f" and {len(numbers) - most} more" if len(numbers) > most else ""
    return ", ".join(numbers[:most]) + more
