"""Find the suspect: every take of a case, its findings and its drive, joined into odds."""

from __future__ import annotations

import contextlib
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Final

import numpy as np
import numpy.typing as npt

from beltside.base.provenance import Provenance
from beltside.casework.formats import load_case
from beltside.casework.formats.case import Case, Finding
from beltside.casework.listen import file_warnings, listen_result
from beltside.casework.measures import CaseMeasures, TakeMeasures, case_measures, take_measures
from beltside.casework.reasons import sound_reasons
from beltside.casework.results import (
    Because,
    FindResult,
    NextCheck,
    Progress,
    SuspectOdds,
)
from beltside.casework.shipped import catalogue, sound_model
from beltside.casework.takes import WORKERS, Conditions, HeardTake, Source, hear_all
from beltside.drive.sheet import DriveSheet
from beltside.media import Recording, open_recording
from beltside.suspects.catalogue import (
    CheckDone,
    Suspect,
    check_done,
    checks_for,
    suspects_for,
)
from beltside.suspects.posterior import (
    CheckWorth,
    finding_log_likelihood,
    log_prior,
    normalised,
    rank_checks,
)
from beltside.suspects.sound_model import SoundOdds, sound_odds

Float64 = npt.NDArray[np.float64]

METHOD: Final = "beltside.find"
VERSION: Final = 1

NEXT_CHECKS: Final = 3
LEAST_GAIN_BITS: Final = 0.01
"""A check that would lower the uncertainty by less is not proposed."""


def find(case: Path, *, progress: Progress | None = None) -> FindResult:
    """Odds for every suspect of a case, with reasons and the next checks.

    Parameters
    ----------
    case
        A case file, or a folder that holds one (docs/formats.md).
    progress
        Told what is being done and the share done.

    Raises
    ------
    InputError, RecordingError, LimitError
        For a case, a sheet or a take that can't be used; each says why and what would work.
    """
    read = load_case(case)
    done = _findings(read)
    conditions = [
        Conditions(take.name, take.belt, take.place_part, take.load, take.crank_rpm)
        for take in read.takes
    ]
    with contextlib.ExitStack() as stack:
        # All decoders start at once, so that one file is decoded while another is listened to.
        with ThreadPoolExecutor(WORKERS) as pool:
            recordings: list[Recording] = [
                stack.enter_context(one)
                for one in pool.map(open_recording, [take.file for take in read.takes])
            ]
        heard = hear_all(recordings, conditions, read.sheet, progress) if recordings else []
        warnings = {
            take.name: file_warnings(recording)
            for take, recording in zip(read.takes, recordings, strict=True)
        }
    return _result(heard, read.sheet, done, read.notes, warnings)


def find_in_memory(
    sources: Sequence[Source],
    conditions: Sequence[Conditions],
    sheet: DriveSheet,
    findings: Sequence[CheckDone] = (),
    progress: Progress | None = None,
) -> FindResult:
    """`find` for sound that is already in memory."""
    heard = hear_all(sources, conditions, sheet, progress) if sources else []
    return _result(heard, sheet, findings, (), {})


def _findings(case: Case) -> list[CheckDone]:
    """The findings in the catalogue's words; the first that fits nothing is refused by name."""
    parts = [pulley.part for pulley in case.sheet.pulleys]

    def known(finding: Finding) -> CheckDone:
        return check_done(catalogue(), parts, finding.check, finding.part, finding.outcome)

    return [known(finding) for finding in case.findings]


def _result(
    heard: Sequence[HeardTake],
    sheet: DriveSheet,
    findings: Sequence[CheckDone],
    notes: Sequence[str],
    warnings: dict[str, tuple[str, ...]],
) -> FindResult:
    parts = [pulley.part for pulley in sheet.pulleys]
    suspects = suspects_for(catalogue(), parts)
    prior = log_prior(suspects)
    with ThreadPoolExecutor(WORKERS) as pool:
        measured = list(pool.map(lambda one: take_measures(one.hearing, sheet), heard))
    joined: CaseMeasures | None = None
    sound: SoundOdds | None = None
    scores = prior
    if heard:
        joined = case_measures(heard, measured, sheet)
        sound = sound_odds(
            sound_model(), [one.id for one in suspects], prior, joined.case, joined.parts
        )
        scores = np.log(np.maximum(sound.probability, 1e-12))
    found = [finding_log_likelihood(suspects, one) for one in _distinct(findings)]
    probability = normalised(scores + np.sum(found, axis=0) if found else scores)
    order = np.argsort(-probability)
    listens = {
        one.conditions.name: listen_result(one, each, sheet, warnings.get(one.conditions.name, ()))
        for one, each in zip(heard, measured, strict=True)
    }
    return FindResult(
        suspects=tuple(
            SuspectOdds(
                suspects[index].id,
                suspects[index].name,
                float(probability[index]),
                tuple(
                    _reasons(
                        index,
                        suspects,
                        prior,
                        probability,
                        sound,
                        joined,
                        heard,
                        measured,
                        findings,
                    )
                ),
            )
            for index in order
        ),
        next_checks=tuple(_next_checks(suspects, probability, parts, findings, heard)),
        crank={name: listen.crank for name, listen in listens.items()},
        crank_reasons={
            name: listen.crank_reason
            for name, listen in listens.items()
            if listen.crank is None and listen.crank_reason
        },
        warnings=(*notes, *_case_warnings(heard), *_file_warnings(warnings, heard)),
        listens=listens,
        provenance=Provenance(
            method=METHOD,
            version=VERSION,
            inputs={
                "takes": len(heard),
                "findings": len(findings),
                "sound_model_version": sound_model().version,
                "catalogue_version": catalogue().version,
            },
            valid_range="one fault at a time, among the catalogue's suspects",
            source="own method, docs/methods/odds.md; priors and findings common practice",
        ),
    )


def _distinct(findings: Sequence[CheckDone]) -> list[CheckDone]:
    """The same check on the same part twice is one piece of evidence: the last one counts."""
    latest = {(one.check.id, one.part): one for one in findings}
    return list(latest.values())


def _reasons(
    index: int,
    suspects: Sequence[Suspect],
    prior: Float64,
    probability: Float64,
    sound: SoundOdds | None,
    joined: CaseMeasures | None,
    heard: Sequence[HeardTake],
    measured: Sequence[TakeMeasures],
    findings: Sequence[CheckDone],
) -> list[Because]:
    suspect = suspects[index]
    reasons: list[Because] = []
    if sound is not None and joined is not None:
        reasons = sound_reasons(
            suspect,
            sound.parts[index],
            joined.case,
            joined.parts.get(suspect.part),
            heard,
            measured,
        )
    before = normalised(prior)
    for done in _distinct(findings):
        likelihood = np.exp(finding_log_likelihood(suspects, done))
        bits = float(np.log2(likelihood[index] / (before @ likelihood)))
        where = f" on the {done.part}" if done.part else ""
        reasons.append(
            Because(f"{done.check.name}{where}", f"{done.outcome.word}: {done.outcome.says}", bits)
        )
    even = float(np.log2(before[index] * len(suspects)))
    reasons.append(
        Because(
            "before any test",
            f"about {before[index]:.0%} of cars that come in with such a noise "
            "(common practice, no source)",
            even,
        )
    )
    reasons.sort(key=lambda reason: -abs(reason.bits))
    return reasons


def _next_checks(
    suspects: Sequence[Suspect],
    probability: Float64,
    parts: Sequence[str],
    findings: Sequence[CheckDone],
    heard: Sequence[HeardTake],
) -> list[NextCheck]:
    known = {(one.check.id, one.part) for one in findings}
    if any(one.conditions.belt == "off" for one in heard):
        known.add(("belt-off-run", None))  # the take with the belt off has shown it
    open_checks = [
        (check, part)
        for check, part in checks_for(catalogue(), parts)
        if (check.id, part) not in known
    ]
    ranked = rank_checks(
        suspects,
        probability,
        open_checks,
        belt_off_minutes=catalogue().belt_off_minutes,
        belt_is_off=any(one.check.belt == "off" for one in findings),
    )
    return [
        NextCheck(
            check=one.check.id,
            part=one.part or "",
            minutes=one.minutes,
            worth=one.worth,
            why=_why(one, suspects, probability),
        )
        for one in ranked[:NEXT_CHECKS]
        if one.gain >= LEAST_GAIN_BITS
    ]


def _why(one: CheckWorth, suspects: Sequence[Suspect], probability: Float64) -> str:
    """What a check would tell apart: the outcome that moves the odds most."""
    top = int(np.argmax(probability))
    moved = []
    for outcome in one.check.outcomes:
        row = np.array([one.check.likelihoods(each, one.part)[outcome.word] for each in suspects])
        after = probability * row
        after /= after.sum()
        moved.append((float(after[top]), outcome.word))
    high, low = max(moved), min(moved)
    return (
        f"{suspects[top].name} now {probability[top]:.0%}: would be {high[0]:.0%} after "
        f'"{high[1]}" and {low[0]:.0%} after "{low[1]}"'
    )


def _case_warnings(heard: Sequence[HeardTake]) -> list[str]:
    said = []
    if heard and all(one.crank.track is None for one in heard):
        said.append(
            "The crank speed could not be told in any take, so nothing could be tied to a shaft: "
            "the odds rest on loudness alone. Read the speed off the dash and add crank_rpm."
        )
    if heard and not any(one.conditions.belt == "off" for one in heard):
        said.append(
            "No take with the belt off: it would tell a belt-driven part from the engine. With "
            "the belt off nothing cools; run it for minutes, not more."
        )
    return said


def _file_warnings(warnings: dict[str, tuple[str, ...]], heard: Sequence[HeardTake]) -> list[str]:
    said = [f"{name}: {text}" for name, texts in warnings.items() for text in texts]
    said += [f"{one.conditions.name}: {text}" for one in heard for text in one.crank.warnings]
    return said
