"""A comparison in a technician's words, shared by picture and command."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from beltside.casework.compare_results import CompareResult, Range, most_changed
from beltside.proof.wording import full_stop

NO_CHANGE_DB = 0.05


def change_words(change: Range) -> str:
    """A change with its 90 % range, such as "6.1 dB quieter (4.9 to 7.3)".

    >>> from beltside.casework.compare_results import Range
    >>> change_words(Range(6.1, 4.9, 7.3)), change_words(Range(-2.0, -3.0, -1.0))
    ('6.1 dB quieter (4.9 to 7.3)', '2.0 dB louder (1.0 to 3.0)')
    >>> change_words(Range(14.0, 9.0, None)), change_words(Range())
    ('at least 9.0 dB quieter', "can't be told")
    >>> change_words(Range(0.2, -0.9, 1.3))
    '0.2 dB quieter, may be none (0.9 dB louder to 1.3 dB quieter)'
    >>> change_words(Range(14.0, 0.0, None)), change_words(Range(-9.0, None, -4.0))
    ('14.0 dB quieter, may be none', 'at least 4.0 dB louder')
    """
    if change.value is None or (change.low is None and change.high is None):
        return "can't be told"
    if change.high is None or change.low is None:
        if change.low is not None and change.low > NO_CHANGE_DB:
            return f"at least {_side(change.low)}"
        if change.high is not None and change.high < -NO_CHANGE_DB:
            return f"at least {_side(change.high)}"
        return f"{_side(change.value)}, may be none"
    if change.low > 0.0:
        return f"{change.value:.1f} dB quieter ({change.low:.1f} to {change.high:.1f})"
    if change.high < 0.0:
        return f"{-change.value:.1f} dB louder ({-change.high:.1f} to {-change.low:.1f})"
    return f"{_side(change.value)}, may be none ({_side(change.low)} to {_side(change.high)})"


def _side(change_db: float) -> str:
    if abs(change_db) < NO_CHANGE_DB:
        return "0 dB"
    return f"{abs(change_db):.1f} dB {'quieter' if change_db > 0 else 'louder'}"


def answer(result: CompareResult) -> str:
    """The finding in one sentence."""
    before, after = (take.file for take in result.takes)
    if not result.comparable:
        return f"{before} and {after} can't be compared: a number would mean nothing."
    return f"{after} against {before}: {change_words(result.quieter_db)}, at the same gain."


def loudness_sentence(result: CompareResult) -> str:
    """How loud it sounds now, as a share."""
    ratio = result.loudness_ratio
    if ratio.value is None:
        return ""
    return (
        f"To the ear it is {_percent(ratio.value)} as loud as before "
        f"({_percent(ratio.low)} to {_percent(ratio.high)}; loudness by ISO 532-1)."
    )


def band_sentence(result: CompareResult) -> str:
    """Where it changed most, when that is clearly more than the whole."""
    band = most_changed(result.to_json())
    return "" if band is None else band_words(band)


def band_words(band: Mapping[str, Any]) -> str:
    """The change of a third-octave band, of a comparison as plain values.

    >>> change = {"value": 7.4, "low": 5.9, "high": 8.8}
    >>> band_words({"band_hz": 2500.0, "quieter_db": change})
    'In the band round 2.5 kHz it is 7.4 dB quieter (5.9 to 8.8).'
    """
    change = change_words(Range(**band["quieter_db"]))
    return f"In the band round {hertz_words(band['band_hz'])} it is {change}."


def sharpness_sentence(result: CompareResult) -> str:
    """How sharp it sounds now, as a share."""
    ratio = result.sharpness_ratio
    if ratio.value is None:
        return ""
    return (
        f"Its sharpness is {_percent(ratio.value)} of before "
        f"({_percent(ratio.low)} to {_percent(ratio.high)}; DIN 45692)."
    )


def _percent(share: float | None) -> str:
    return "?" if share is None else f"{100.0 * share:.0f} %"


def speed_sentence(result: CompareResult) -> str:
    """The speeds compared, and the gain that was taken out."""
    speeds = [
        f"{take.crank.rpm_median:.0f} rpm" if take.crank else "unknown" for take in result.takes
    ]
    gain = result.gain_db
    words = ""
    if gain.value is not None and gain.low is not None and gain.high is not None:
        half = 0.5 * (gain.high - gain.low)
        louder = "louder" if gain.value >= 0 else "softer"
        words = (
            f"; the second recording is {abs(gain.value):.1f} dB {louder} for the same engine "
            f"(give or take {half:.1f}), which is taken out"
        )
    return full_stop(f"Crank speed: {speeds[0]} before, {speeds[1]} after{words}")


def hertz_words(frequency_hz: float) -> str:
    """A nominal band frequency.

    >>> hertz_words(31.5), hertz_words(1250.0), hertz_words(16000.0)
    ('31.5 Hz', '1.25 kHz', '16 kHz')
    """
    if frequency_hz < 1000.0:
        return f"{frequency_hz:g} Hz"
    return f"{frequency_hz / 1000.0:g} kHz"
