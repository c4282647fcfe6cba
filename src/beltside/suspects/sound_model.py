"""From measures of the sound to odds for every suspect.

A conditional logit (McFadden 1974): each suspect's score is its log prior plus a weighted sum of
the case's measures and of its own part's measures; odds are the scores' exponentials, shared out.
Weights belong to kinds of fault, so every pulley's bearing is judged alike. They were fitted on
simulated cases by scripts/calibrate.py and ship as data.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from beltside.base.errors import InputError
from beltside.base.words import part_kind

Float64 = npt.NDArray[np.float64]


@dataclass(frozen=True)
class SoundModel:
    """Weights of the measures for every kind of fault.

    Attributes
    ----------
    case_names, suspect_names
        Names of the measures, in the order of the vectors.
    weights
        By kind of fault (`fault_kind`): weights of the case's measures, then of the suspect's.
    sharpness
        Factor on all sums of measures; below 1 it would own up to engines unlike the fitted ones.
    version
        Goes up with every new fit.
    """

    case_names: tuple[str, ...]
    suspect_names: tuple[str, ...]
    weights: Mapping[str, Float64]
    sharpness: float
    version: int


@dataclass(frozen=True)
class SoundOdds:
    """What the sound says.

    Attributes
    ----------
    probability
        Of each suspect, shape (suspects,).
    parts
        Each measure's share in each suspect's score against the average suspect [bits], shape
        (suspects, case measures + suspect measures).
    """

    probability: Float64
    parts: Float64


def fault_kind(suspect: str) -> str:
    """What kind of fault a suspect is, for the weights: one for all bearings.

    >>> fault_kind("idler-2.bearing"), fault_kind("tensioner.rattle"), fault_kind("none")
    ('bearing', 'tensioner.rattle', 'none')
    """
    part, _, fault = suspect.partition(".")
    if fault == "bearing":
        return "bearing"
    return f"{part_kind(part)}.{fault}" if fault else part


def parse_sound_model(values: Mapping[str, object]) -> SoundModel:
    """The model from plain values (suspects/sound_model.toml).

    Raises
    ------
    InputError
        When a table is missing or a row has the wrong length.
    """
    try:
        case_names = tuple(str(name) for name in _list(values["case_measures"]))
        suspect_names = tuple(str(name) for name in _list(values["suspect_measures"]))
        table = values["weights"]
        sharpness = float(str(values["sharpness"]))
        version = int(str(values["version"]))
    except (KeyError, TypeError, ValueError) as error:
        raise InputError(
            f"a sound model without a usable {error}",
            allowed="version, sharpness, case_measures, suspect_measures and weights",
            instead="make calibrate",
        ) from error
    if not isinstance(table, Mapping):
        raise InputError("weights that are no table", allowed="one row for each kind of fault")
    width = len(case_names) + len(suspect_names)
    weights = {}
    for kind, row in table.items():
        numbers = np.array([float(str(number)) for number in _list(row)])
        if numbers.size != width or not np.isfinite(numbers).all():
            raise InputError(
                f"{numbers.size} weights for {kind}",
                allowed=f"{width} finite numbers",
                instead="make calibrate",
            )
        weights[str(kind)] = numbers
    return SoundModel(case_names, suspect_names, weights, sharpness, version)


def _list(value: object) -> Sequence[object]:
    if isinstance(value, (list, tuple)):
        return value
    raise TypeError(f"list instead of {value!r}")


def sound_odds(
    model: SoundModel,
    suspects: Sequence[str],
    log_prior: Float64,
    case: Float64,
    parts: Mapping[str, Float64],
) -> SoundOdds:
    """Odds of the suspects from a case's measures.

    Parameters
    ----------
    suspects
        Suspect ids.
    log_prior
        Log of how likely each is before any test, up to a constant, shape (suspects,).
    case
        Measures of the case, shape (len(model.case_names),).
    parts
        Measures of each pulley part, each of shape (len(model.suspect_names),).

    Raises
    ------
    InputError
        When a measure vector has the wrong length or is not finite.
    """
    zero = np.zeros(len(model.suspect_names))
    rows = []
    for suspect in suspects:
        own = parts.get(suspect.partition(".")[0], zero)
        row = np.concatenate((case, own))
        if row.size != len(model.case_names) + zero.size or not np.isfinite(row).all():
            raise InputError(
                f"{row.size} measures for {suspect}, or some not finite",
                allowed=f"{len(model.case_names)} of the case and {zero.size} of the part",
            )
        rows.append(row * model.weights.get(fault_kind(suspect), np.zeros(row.size)))
    terms = model.sharpness * np.array(rows)
    scores = log_prior + terms.sum(axis=1)
    probability = np.exp(scores - scores.max())
    probability /= probability.sum()
    prior = np.exp(log_prior - log_prior.max())
    prior /= prior.sum()
    against_average = terms - prior @ terms
    return SoundOdds(probability, against_average / np.log(2.0))
