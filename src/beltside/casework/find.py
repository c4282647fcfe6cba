"""Find the suspect: every take of a case, its findings and its drive, joined into odds."""

from __future__ import annotations

import contextlib
import threading
from collections.abc import Collection, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Final

import numpy as np
import numpy.typing as npt

from beltside.base.errors import BeltsideError, InputError, RecordingError, nearest
from beltside.base.provenance import Provenance
from beltside.base.words import count_of
from beltside.casework.drive_orders import doubted_diameters, with_path
from beltside.casework.findings import (
    contradictions,
    distinct_words,
    finding_reasons,
    finding_weights,
)
from beltside.casework.formats.case import Case, load_case
from beltside.casework.listen import file_warnings
from beltside.casework.own import Tables, tables
from beltside.casework.phone_setup import Setup
from beltside.casework.place_evidence import places_said
from beltside.casework.results import Because, FindResult, Progress, SuspectOdds
from beltside.casework.shipped import sound_model
from beltside.casework.sound_said import SoundSaid, sound_said
from beltside.casework.stepping import next_checks, next_step
from beltside.casework.take_measures import take_measures
from beltside.casework.takes import (
    WORKERS,
    Conditions,
    HeardTake,
    Source,
    crank_sound,
    hear_all,
)
from beltside.drive.sheet import DriveSheet
from beltside.media import Recording, open_recording
from beltside.suspects.board import Board, board_for
from beltside.suspects.catalogue import CheckDone, Suspect, check_done
from beltside.suspects.next_check import Advice, advise, likely_now
from beltside.suspects.plan import (
    Planner,
    Situation,
    planner_for,
    ruled_out,
    situation_after,
    situation_at_start,
    with_repairs_done,
)
from beltside.suspects.posterior import normalised, posterior

Float64 = npt.NDArray[np.float64]

METHOD: Final = "beltside.find"
VERSION: Final = 2

_MOST_BOARDS: Final = 32
_BOARDS: Final[dict[tuple[int, int, tuple[str, ...]], tuple[Tables, Board, Planner]]] = {}

_BOARDS_LOCK: Final = threading.Lock()

_OUT_OF_THE_QUESTION: Final = -1e6
"""Log-likelihood of a suspect whose repair is done: no odds are left, yet it can be added up."""


@dataclass(frozen=True)
class HeardCase:
    """A case whose takes have been listened to; findings can then come one by one.

    Attributes
    ----------
    sheet, tables
        The drive, and catalogue and costs as they hold here.
    board, planner
        The car's suspects, checks and repairs as arrays.
    start
        What is open and what holds before the first finding.
    replaced
        Repairs that did not end the noise, by position in `planner.repairs`.
    said, evidence
        What the takes say; `evidence` is the sound's log-likelihood for each suspect, None without
        takes.
    notes
        What to tell of the case.
    reasons_beside
        Reasons that come from neither the takes alone nor findings, by suspect; what they weigh is
        in `evidence` already.
    """

    sheet: DriveSheet
    tables: Tables
    board: Board
    planner: Planner
    start: Situation
    replaced: tuple[int, ...]
    said: SoundSaid
    evidence: Float64 | None
    notes: tuple[str, ...]
    reasons_beside: Mapping[str, tuple[Because, ...]] = field(default_factory=dict)

    @property
    def parts(self) -> list[str]:
        """Pulleys of the drive, in its order."""
        return [pulley.part for pulley in self.sheet.pulleys]


def find(
    case: Path, *, progress: Progress | None = None, without: Collection[int] = ()
) -> FindResult:
    """Odds for every suspect of a case, with reasons and the next checks.

    Parameters
    ----------
    case
        A case file, or a folder that holds one (docs/formats.md).
    progress
        Told what is being done and the share done.
    without
        Numbers of findings, counted from 1, that are left out for once.

    Raises
    ------
    InputError, RecordingError, LimitError
        For a case or a sheet that can't be used, or when no take can; each says why and what
        would work. One take of several that can't be used is left out with a warning.
    """
    read = load_case(case)
    own = tables(read.costs)
    done = findings_of(read, own)
    for number in without:
        if not 1 <= number <= len(done):
            raise InputError(
                f"finding {number} is to be left out",
                allowed=f"1 to {len(done)}" if done else "no number: this case has no findings",
            )
    kept = [number for number in range(1, len(done) + 1) if number not in set(without)]
    return assess(hear_case(read, own, progress), [done[number - 1] for number in kept], kept)


def hear_case(read: Case, own: Tables, progress: Progress | None = None) -> HeardCase:
    """Listen to all takes of a case, once; one that can't be used is left out with a note.

    Raises
    ------
    InputError, RecordingError, LimitError
        As `find`.
    """
    completed = with_path(read.sheet)
    read = replace(read, sheet=completed.sheet, notes=(*read.notes, *completed.notes))
    conditions = [
        Conditions(take.name, take.belt, take.place_part, take.load, take.crank_rpm)
        for take in read.takes
    ]
    said, unusable = hear_usable(
        [take.file for take in read.takes],
        conditions,
        read.sheet,
        own,
        setups=[take.setup for take in read.takes],
        progress=progress,
    )
    if unusable and len(unusable) == len(read.takes):
        raise _none_left(unusable)
    left_out = [f"{name} is left out: {error}" for name, error in unusable.items()]
    read = replace(read, notes=(*read.notes, *left_out))
    return weighed_case(said, read.sheet, own, read)


def hear_usable(
    files: Sequence[Path],
    conditions: Sequence[Conditions],
    sheet: DriveSheet,
    own: Tables,
    *,
    setups: Sequence[Setup | None],
    progress: Progress | None = None,
) -> tuple[SoundSaid, dict[str, BeltsideError]]:
    """As `hear_files`, with every take that can't be used left out and what is wrong with it.

    Says nothing of the sound when all are.
    """
    unusable: dict[str, BeltsideError] = {}
    kept = list(range(len(files)))

    def heard() -> SoundSaid:
        return hear_files(
            [files[at] for at in kept],
            [conditions[at] for at in kept],
            sheet,
            own,
            setups=[setups[at] for at in kept],
            progress=progress,
        )

    try:
        return heard(), {}
    except BeltsideError:
        # One of them can't be used: which, and what do the others say?
        for file, one in zip(files, conditions, strict=True):
            try:
                with open_recording(file) as recording:
                    crank_sound(recording)
            except BeltsideError as error:
                unusable[one.name] = error
        if not unusable:
            raise
    kept = [at for at in kept if conditions[at].name not in unusable]
    return (heard() if kept else SoundSaid()), unusable


def _none_left(unusable: Mapping[str, BeltsideError]) -> BeltsideError:
    """Each file's own error when it is the only one, or all of them in one."""
    if len(unusable) == 1:
        return next(iter(unusable.values()))
    each = " ".join(str(error) for error in unusable.values())
    return RecordingError(f"none of the {len(unusable)} takes can be used: {each}")


def hear_files(
    files: Sequence[Path],
    conditions: Sequence[Conditions],
    sheet: DriveSheet,
    own: Tables,
    *,
    setups: Sequence[Setup | None] = (),
    progress: Progress | None = None,
) -> SoundSaid:
    """Listen to recordings of one engine and weigh what they say together.

    `setups` say how the phone was held for stereo takes.

    Raises
    ------
    RecordingError, LimitError
        When one of them can't be used.
    """
    with contextlib.ExitStack() as stack:
        # All decoders start at once, so that one file is decoded while another is listened to.
        with ThreadPoolExecutor(WORKERS) as pool:
            recordings: list[Recording] = [
                stack.enter_context(one) for one in pool.map(open_recording, files)
            ]
        heard = hear_all(recordings, conditions, sheet, progress) if recordings else []
        warnings = {
            one.name: file_warnings(recording)
            for one, recording in zip(conditions, recordings, strict=True)
        }
        said = _said(heard, sheet, own, warnings)
        return places_said(heard, recordings, setups, sheet).joined_to(said)


def find_in_memory(
    sources: Sequence[Source],
    conditions: Sequence[Conditions],
    sheet: DriveSheet,
    findings: Sequence[CheckDone] = (),
    progress: Progress | None = None,
    *,
    setups: Sequence[Setup | None] = (),
) -> FindResult:
    """`find` for sound that is already in memory."""
    heard = hear_all(sources, conditions, sheet, progress) if sources else []
    own = tables()
    said = places_said(heard, sources, setups, sheet).joined_to(_said(heard, sheet, own, {}))
    return assess(weighed_case(said, sheet, own), findings)


def findings_of(case: Case, own: Tables) -> list[CheckDone]:
    """The findings in the catalogue's words; the first that fits nothing is refused by number.

    Raises
    ------
    InputError
        When a check, an outcome or a part is not known here; says what would be.
    """
    parts = [pulley.part for pulley in case.sheet.pulleys]
    found = []
    for number, one in enumerate(case.findings, start=1):
        try:
            found.append(check_done(own.catalogue, parts, one.check, one.part, one.outcome))
        except InputError as error:
            raise InputError(
                f"{case.path.name}: finding {number}: {error.given}",
                allowed=error.allowed,
                instead=error.instead,
            ) from None
    return found


def _said(
    heard: Sequence[HeardTake],
    sheet: DriveSheet,
    own: Tables,
    warnings: dict[str, tuple[str, ...]],
) -> SoundSaid:
    with ThreadPoolExecutor(WORKERS) as pool:
        measured = list(pool.map(lambda one: take_measures(one.hearing, sheet), heard))
    board, _ = board_and_planner(own, tuple(pulley.part for pulley in sheet.pulleys))
    return sound_said(heard, measured, sheet, board, warnings)


def board_and_planner(own: Tables, parts: tuple[str, ...]) -> tuple[Board, Planner]:
    """The suspects, checks and repairs of a drive with these pulleys, worked out once."""
    key = (id(own.catalogue), id(own.costs), parts)
    with _BOARDS_LOCK:
        kept = _BOARDS.pop(key, None)
        if kept is None:
            board = board_for(own.catalogue, parts)
            kept = (own, board, planner_for(board, own.catalogue, own.costs))
        while len(_BOARDS) >= _MOST_BOARDS:
            del _BOARDS[next(iter(_BOARDS))]
        # Kept with the tables it is made of, so that no others can take over their identity.
        _BOARDS[key] = kept
    return kept[1], kept[2]


def weighed_case(
    said: SoundSaid, sheet: DriveSheet, own: Tables, case: Case | None = None
) -> HeardCase:
    """A case whose takes have been listened to before, ready for its findings.

    Raises
    ------
    InputError
        When the case names a condition or a repair that is none here.
    """
    catalogue = own.catalogue
    board, planner = board_and_planner(own, tuple(pulley.part for pulley in sheet.pulleys))
    stated = dict(case.conditions) if case else {}
    _require_words(stated, [one.id for one in catalogue.conditions], "[conditions]", "a condition")
    start = situation_at_start(catalogue, stated)
    if said.listens:
        ended = {one.id for one in catalogue.conditions if one.ends_with_running} - set(stated)
        start = Situation(start.opened, {**start.conditions, **dict.fromkeys(ended, False)})
    repairs = [repair.id for repair in planner.repairs]
    replaced = case.replaced if case else ()
    _require_words(replaced, repairs[:-1], "replaced", "a repair of this car")
    return HeardCase(
        sheet,
        own,
        board,
        planner,
        start,
        tuple(repairs.index(word) for word in dict.fromkeys(replaced)),
        said,
        said.evidence(board),
        (*own.notes, *(case.notes if case else ())),
    )


def _require_words(words: Collection[str], known: Sequence[str], where: str, what: str) -> None:
    for word in words:
        if word not in known:
            close = nearest(word, known)
            raise InputError(
                f'{where}: "{word}" is not {what}',
                allowed=", ".join(known),
                instead=f'"{close}"' if close else "",
            )


def odds_now(case: HeardCase, findings: Sequence[CheckDone]) -> Float64:
    """Probability of each suspect of `case.board` with these findings."""
    return posterior(case.board, findings, _evidence(case))


def _evidence(case: HeardCase) -> Float64 | None:
    """What the sound says of each suspect, those ended by a repair put out of the question."""
    if not case.replaced:
        return case.evidence
    said = np.zeros(len(case.board.suspects)) if case.evidence is None else case.evidence
    return np.where(ruled_out(case.planner, case.replaced), _OUT_OF_THE_QUESTION, said)


def advice_now(case: HeardCase, findings: Sequence[CheckDone], probability: Float64) -> Advice:
    """What to do next with these findings."""
    board = case.board
    known = {board.place_of(one) for one in findings}
    if case.said.belt_off:
        # The take with the belt off has shown it.
        known |= {board.index[key] for key in board.index if key[0] == "belt-off-run"}
    done = [one.check for one in findings if one.outcome.word != "not-done"]
    return advise(
        with_repairs_done(case.planner, case.replaced),
        probability,
        situation_after(case.tables.catalogue, case.start, done),
        known,
        likely_now(board, findings),
    )


def assess(
    case: HeardCase, findings: Sequence[CheckDone], numbers: Sequence[int] | None = None
) -> FindResult:
    """Odds, reasons and the next step of a heard case with these findings.

    `numbers` are the findings' own, where some have been left out.
    """
    own = case.tables
    board, listens = case.board, case.said.listens
    counted = list(numbers) if numbers is not None else list(range(1, len(findings) + 1))
    probability = odds_now(case, findings)
    advice = advice_now(case, findings, probability)
    order = np.argsort(-probability, kind="stable")
    evidence = _evidence(case)
    reasons_of = finding_reasons(board, findings, evidence)
    prior = normalised(board.log_prior)
    return FindResult(
        suspects=tuple(
            SuspectOdds(
                board.suspects[index].id,
                board.suspects[index].name,
                float(probability[index]),
                tuple(_reasons(case, index, prior, reasons_of[index])),
            )
            for index in order.tolist()
        ),
        next_checks=tuple(next_checks(own, board, probability, advice, findings, case.start)),
        next_step=next_step(own, board, probability, advice),
        findings=tuple(finding_weights(board, findings, counted, evidence, probability)),
        contradictions=tuple(contradictions(board, findings, counted, case.evidence)),
        crank={name: listen.crank for name, listen in listens.items()},
        crank_reasons={
            name: listen.crank_reason
            for name, listen in listens.items()
            if listen.crank is None and listen.crank_reason
        },
        warnings=(
            *case.notes,
            *distinct_words(findings),
            *case.said.warnings(),
            *doubted_diameters(
                case.sheet,
                {name: listen.lines for name, listen in listens.items()},
                {name: listen.crank for name, listen in listens.items()},
            ),
            *case.said.file_warnings(),
        ),
        listens=listens,
        provenance=Provenance(
            method=METHOD,
            version=VERSION,
            inputs={
                "takes": len(listens),
                "findings": len(findings),
                "sound_model_version": sound_model().version,
                "catalogue_version": own.catalogue.version,
                "closed_jobs_learned_from": own.jobs,
            },
            valid_range="one fault, or one of the catalogue's pairs, among its suspects",
            source="own method, docs/methods/odds.md; priors and findings common practice",
        ),
    )


def _reasons(
    case: HeardCase, index: int, prior: Float64, of_findings: Sequence[Because]
) -> list[Because]:
    suspect = case.board.suspects[index]
    reasons = list(case.said.reasons.get(_heard_as(case, suspect).id, ()))
    reasons += case.reasons_beside.get(suspect.id, ())
    reasons += of_findings
    jobs = case.tables.jobs
    source = "common practice, no source"
    if jobs:
        source = f"common practice, no source, and {count_of(jobs, 'closed job', 'closed jobs')}"
    reasons.append(
        Because(
            "before any test",
            f"about {prior[index]:.0%} of cars that come in with such a noise ({source})",
            float(np.log2(prior[index] * len(prior))),
        )
    )
    reasons.sort(key=lambda reason: -abs(reason.bits))
    return reasons


def _heard_as(case: HeardCase, suspect: Suspect) -> Suspect:
    """The suspect itself, or the member of a pair that the sound speaks for more."""
    if not suspect.members or case.evidence is None:
        return suspect
    at = {one.id: number for number, one in enumerate(case.board.suspects)}
    said = case.evidence
    loudest = max(suspect.members, key=lambda member: float(said[at[member.id]]))
    return case.board.suspects[at[loudest.id]]
