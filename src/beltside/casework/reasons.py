"""Reasons in words: which measures moved a suspect, and from which take."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Final

import numpy as np
import numpy.typing as npt

from beltside.base.words import PULLEY_PARTS, part_kind
from beltside.casework.contrasts import CASE_CONTRASTS, SUSPECT_CONTRASTS
from beltside.casework.families import BEARING_SOURCES, COUNT_SOURCES
from beltside.casework.fault_band import BAND_MEASURES
from beltside.casework.measures import CASE_MEASURES, SUSPECT_MEASURES
from beltside.casework.probe_profiles import PROBE_PROFILES
from beltside.casework.probe_rhythm import PROBE_RHYTHM
from beltside.casework.profiles import CASE_PROFILES, SUSPECT_PROFILES
from beltside.casework.results import Because
from beltside.casework.sway import SWAY
from beltside.casework.switched_on import CASE_LOADS, CLEAREST, SUSPECT_LOADS
from beltside.casework.take_measures import TakeMeasures
from beltside.casework.takes import HeardTake
from beltside.suspects.catalogue import Suspect

Float64 = npt.NDArray[np.float64]

LEAST_BITS: Final = 0.25
"""A reason that moves the odds by less is left out."""

MOST_REASONS: Final = 6

CLEAR_LEAD: Final = 0.4
"""From what lead on, in units of 8 dB, a rhythm is said to be louder at a place."""

CLEAR_LOAD: Final = 1.0
"""From here on a change with a load is told as one: three times the scatter of the other bands."""

_CONTRASTS: Final = (*CASE_CONTRASTS, *SUSPECT_CONTRASTS)
_PROFILES: Final = (*CASE_PROFILES, *SUSPECT_PROFILES)


def _named(names: Sequence[str], *beginnings: str, without: Sequence[str] = ()) -> tuple[str, ...]:
    return tuple(
        name
        for name in names
        if name.startswith(beginnings) and not name.startswith(tuple(without))
    )


# Which measures make one reason together; "one" is a reason of its own.
GROUPS: Final[Mapping[str, tuple[str, ...]]] = {
    "bearing": (
        "bearing", "bearing_depth", "own_bearing", "own_bearing_depth", "lead_bearing",
        "off_bearing", "geometry_known", "best_bearing",
        "bearing_best", "comb", "comb_off", "comb_fit", "comb_side",
    ),
    "shaft": (
        "shaft_beat", "shaft_beat_depth", "shaft_tone", "own_shaft_beat", "own_shaft_beat_depth",
        "own_shaft_tone", "lead_shaft_beat", "best_shaft_beat", "shaft_best", "off_shaft",
    ),
    "count": ("count_tone", "count_height", "count_level", "own_count_tone",
              "own_count_height", "own_count_level", "best_count",
              "off_count"),
    "probe": ("probed", "probe_mid", "probe_high", "probe_rhythm", "probe_band", "probe_share",
              *_named(_CONTRASTS, "probe_", "front_", "has_probe", "alone"),
              *_named(_PROFILES, "probe_", "front_"), *PROBE_PROFILES, *PROBE_RHYTHM,
              *(f"probe_{name}" for name in SWAY)),
    "parts": ("best_of_parts", *_named(_PROFILES, "turn_")),
    "belt-off": ("has_off", "drop_low", "drop_mid", "drop_high", "drop_most", "cycle_high_off",
                 "belt_beat_off", "squeal_off", "peak_off", *BAND_MEASURES,
                 *_named(_CONTRASTS, "gone_", "cycle_low_off", "cycle_mid_off", "firing_mid_off",
                         "firing_high_off", "turn_mid_off", "burst_", "over_"),
                 *_named(_PROFILES, "change_", "beat_change_"),
                 *_named(CASE_MEASURES, "went_")),
    "squeal": ("squeal", "peak"),
    "belt-beat": ("belt_beat", "belt_beat_depth"),
    "cycle": ("cycle_low", "cycle_mid", "cycle_high", "firing_low", "firing_mid", "firing_high",
              "turn_low", "turn_mid", "turn_high",
              *_named(_CONTRASTS, "cycle_best", "turn_best", "firing_best"),
              *_named(_PROFILES, "beat_", without=("beat_change_",))),
    "bursts": ("burst_low", "burst_mid", "burst_high", *_named(_PROFILES, "burst_")),
    "level": ("level_mid", "level_high", "steady_high", "over_mid", "over_high",
              *_named(_PROFILES, "level_")),
    "mesh": ("mesh", "mesh_any"),
    "sway": SWAY,
    "speed": ("raised_high", *_named(_CONTRASTS, "raised_", "has_raised")),
    "load": (*CASE_LOADS, *SUSPECT_LOADS),
    "crank": ("no_crank",),
}  # fmt: skip


_LINES: Final[Mapping[str, tuple[Sequence[str], str | None]]] = {
    "bearing": (BEARING_SOURCES, "envelope"),
    "shaft": (("shaft",), None),
    "count": (COUNT_SOURCES, "sound"),
}
"""Groups that rest on lines: from which sources, in which spectrum."""


def sound_reasons(
    suspect: Suspect,
    bits: Float64,
    case: Float64,
    part: Float64 | None,
    takes: Sequence[HeardTake],
    measures: Sequence[TakeMeasures],
) -> list[Because]:
    """Why the sound speaks for or against a suspect, the weightiest first.

    Parameters
    ----------
    suspect
        Whose reasons.
    bits
        Share of each measure in its score against the average suspect [bits], as
        `suspects.sound_model.SoundOdds.parts` gives it.
    case, part
        The measures themselves; `part` is None for suspects that are no pulley.
    takes, measures
        The takes they come from.
    """
    names = (*CASE_MEASURES, *SUSPECT_MEASURES)
    by_name = dict(zip(names, bits.tolist(), strict=True))
    values = dict(zip(CASE_MEASURES, case.tolist(), strict=True))
    if part is not None:
        values |= dict(zip(SUSPECT_MEASURES, part.tolist(), strict=True))
    reasons = []
    for group, members in GROUPS.items():
        weight = sum(by_name[name] for name in members)
        if abs(weight) >= LEAST_BITS:
            source, says = _sentence(group, suspect, weight > 0.0, values, takes, measures)
            reasons.append(Because(source, says, weight))
    rest = by_name["one"]
    if abs(rest) >= LEAST_BITS:
        reasons.append(
            Because("all takes", "how often such sound turned out to be this, all else equal", rest)
        )
    reasons.sort(key=lambda reason: -abs(reason.bits))
    return reasons[:MOST_REASONS]


def _sentence(
    group: str,
    suspect: Suspect,
    speaks_for: bool,
    values: Mapping[str, float],
    takes: Sequence[HeardTake],
    measures: Sequence[TakeMeasures],
) -> tuple[str, str]:
    """Where a group of measures comes from, and what it says."""
    base = _base_name(takes)
    off = _first(takes, belt="off")
    probe = _first(takes, part=suspect.part)
    if group in _LINES:
        sources, spectrum = _LINES[group]
        nothing = _nothing_found(group, suspect, speaks_for, values)
        return _line_sentence(suspect, sources, spectrum, takes, measures, nothing)
    if group == "probe":
        if probe is None:
            unprobed = "the probe was not held on it"
            elsewhere = "what the probe heard on the housings speaks of the pulleys, not of this"
            return "probe takes", unprobed if part_kind(suspect.part) in PULLEY_PARTS else elsewhere
        louder = values.get("probe_mid", 0.0) + values.get("probe_high", 0.0)
        rhythm = values.get("beat_top", 0.0) and values.get("beat_lead", 0.0) > CLEAR_LEAD
        return probe, (
            "how it sounds with the probe on it; no other housing was probed"
            if values.get("alone", 0.0)
            else "with the probe on it the noise's rhythm is louder than on the other housings"
            if rhythm and speaks_for
            else "with the probe on it the noise is louder than on the other housings"
            if louder > 0.2
            else "with the probe on it the noise is weaker than on the other housings"
            if louder < -0.2
            else "with the probe on it the noise is about as loud as on the other housings"
        )
    if group == "parts":
        return base, (
            "its own signs stand out from those of the other pulleys"
            if values.get("best_of_parts", 0.0) > 0.0
            else "other pulleys show clearer signs of their own"
        )
    if group == "belt-off":
        if off is None:
            return "belt off", "no take with the belt off was made"
        drop_db = 6.0 * values["drop_most"]
        return f"with and without the belt: {base}, {off}", (
            f"with the belt off up to {drop_db:.0f} dB of the noise is gone"
            if drop_db > 2.0
            else "the noise stays with the belt off"
        )
    if group == "load":
        return _load_sentence(suspect, values, takes)
    words = _plain_sentences(values)
    present, absent, shows = words[group]
    return base, present if shows else absent


def _nothing_found(
    group: str, suspect: Suspect, speaks_for: bool, values: Mapping[str, float]
) -> str:
    """What no line of its own means: for a suspect only what there is not of the others."""
    if group == "bearing" and suspect.part and speaks_for:
        if values.get("comb_fit", 0.0) > 0.1:
            return "beats that nothing else explains would fit a bearing on it"
        if not values.get("geometry_known", 0.0):
            return "its bearing is not on the sheet, so its lines are not known"
    best, own, others, none_at_all = {
        "bearing": (
            "best_bearing",
            "no line of its bearing stands out",
            "lines fit a bearing of another part better",
            "no bearing line stands out",
        ),
        "shaft": (
            "best_shaft_beat",
            "nothing beats at its turning speed",
            "another pulley's turning speed shows",
            "no pulley's turning speed shows in the loudness",
        ),
        "count": (
            "best_count",
            "no tone of its poles, vanes or blades stands out",
            "a tone of poles or vanes stands out",
            "no whine of poles or vanes stands out",
        ),
    }[group]
    if values.get(best, 0.0) <= 0.5:
        return own if suspect.part and not speaks_for else none_at_all
    return own if suspect.part else others


def _plain_sentences(values: Mapping[str, float]) -> dict[str, tuple[str, str, bool]]:
    """For each remaining group: what it says when present, when absent, and which it is."""
    return {
        "squeal": (
            "a narrow squeal comes and goes",
            "no squeal comes and goes",
            values["squeal"] > 0.2,
        ),
        "belt-beat": (
            "the loudness beats once per round of the belt",
            "nothing repeats once per round of the belt",
            values["belt_beat"] > 0.3,
        ),
        "cycle": (
            "the loudness beats hard with the engine's own cycle",
            "the loudness hardly beats with the engine's own cycle",
            max(values["cycle_mid"], values["cycle_high"]) > 1.6,
        ),
        "bursts": (
            "the sound is full of short bursts",
            "the sound is even, without bursts",
            max(values["burst_mid"], values["burst_high"]) > 0.8,
        ),
        "level": (
            "much of the sound is high hiss or grinding",
            "little of the sound is high",
            values["level_high"] > 0.0,
        ),
        "mesh": (
            "the timing chain's sprocket tone stands out",
            "the timing chain's sprocket tone does not stand out",
            values["mesh"] > 1.0,
        ),
        "sway": (
            "its loudness comes and goes",
            "its loudness is even from second to second",
            max(values["sway_mid"], values["sway_high"], values["sway_most"]) > 0.5,
        ),
        "speed": (
            "it changes as the speed is raised",
            "it hardly changes as the speed is raised",
            abs(values["raised_high"]) > 0.5,
        ),
        "crank": (
            "the crank speed can't be told, so nothing could be tied to a shaft",
            "the crank speed is known",
            values["no_crank"] > 0.5,
        ),
    }


def _load_sentence(
    suspect: Suspect, values: Mapping[str, float], takes: Sequence[HeardTake]
) -> tuple[str, str]:
    """What switching something on says: of what works the suspect's own part, else of any."""
    loaded = [take for take in takes if take.conditions.load]
    if not loaded:
        return "loads", "no take with something switched on was made"
    telling = CLEAREST.get(part_kind(suspect.part), ()) if suspect.part else ()
    for load in telling:
        for take in loaded:
            if load in take.conditions.load:
                return take.conditions.name, _load_words(values, "own_load_")
    if telling:
        return "loads", "no take was made with what works it harder switched on"
    return loaded[0].conditions.name, _load_words(values, "load_")


def _load_words(values: Mapping[str, float], start: str) -> str:
    if max(values[f"{start}apart"], values[f"{start}burst"]) > CLEAR_LOAD:
        return "a noise comes with what is switched on"
    if max(values[f"{start}less_apart"], values[f"{start}less_burst"]) > CLEAR_LOAD:
        return "a noise goes with what is switched on"
    return "what is switched on changes little"


def _line_sentence(
    suspect: Suspect,
    sources: Sequence[str],
    spectrum: str | None,
    takes: Sequence[HeardTake],
    measures: Sequence[TakeMeasures],
    nothing: str,
) -> tuple[str, str]:
    """The suspect's clearest line of these sources, or what is said where there is none."""
    best = None
    for take, measured in zip(takes, measures, strict=True):
        for one in measured.found:
            fits = one.part == suspect.part and one.source in sources
            if (
                fits
                and spectrum in (None, one.spectrum)
                and (best is None or one.family.significance > best[1].family.significance)
            ):
                best = (take, one)
    if best is None or best[1].family.significance < 2.0:
        return _base_name(takes), nothing
    take, one = best
    order = one.family.fundamental
    what = f"its {one.source}" if one.source != "cage" else "its bearing's cage"
    several = one.source.endswith("s")  # poles, vanes, fan blades
    if one.spectrum == "envelope":
        shows = f"{what} beat in the loudness" if several else f"{what} beats in the loudness"
    else:
        shows = f"{what} sound" if several else f"{what} sounds"
    return (
        take.conditions.name,
        f"{shows} at order {order:.2f} of the crank "
        f"(chance alone: 1 in {_one_in(one.family.significance)})",
    )


def _one_in(significance: float) -> str:
    if significance >= 6.0:
        return "over a million"
    return f"{round(10.0**significance, -max(int(significance) - 1, 0)):,.0f}"


def _base_name(takes: Sequence[HeardTake]) -> str:
    front = [t for t in takes if t.conditions.part is None and t.conditions.belt != "off"]
    return (front or list(takes))[0].conditions.name


def _first(
    takes: Sequence[HeardTake], *, belt: str | None = None, part: str | None = None
) -> str | None:
    for take in takes:
        if belt is not None and take.conditions.belt == belt and take.conditions.part is None:
            return take.conditions.name
        if part is not None and take.conditions.part == part:
            return take.conditions.name
    return None
