"""Walk through the checks of a case: one question at a time, each answer kept in the case file."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from beltside.base.errors import InputError
from beltside.casework.find import HeardCase, assess, findings_of, hear_case
from beltside.casework.formats.case import Case, load_case
from beltside.casework.formats.case_edit import add_finding, take_back_finding
from beltside.casework.own import tables
from beltside.casework.results import FindResult, Progress
from beltside.suspects.catalogue import Check, CheckDone, Outcome, check_done


@dataclass(frozen=True)
class Question:
    """A check to be done: what to do, what it can show, and its risks."""

    check: Check
    part: str | None

    @property
    def outcomes(self) -> tuple[Outcome, ...]:
        """What it can show, in the catalogue's order."""
        return self.check.outcomes


@dataclass
class Asking:
    """A case being asked about.

    The takes are listened to once. After each answer the findings are read from the file again,
    so that what stands there and what the odds rest on are the same.
    """

    path: Path
    heard: HeardCase
    findings: list[CheckDone]

    @classmethod
    def open(cls, case: Path, progress: Progress | None = None) -> Asking:
        """Read and hear a case.

        Raises
        ------
        InputError, RecordingError, LimitError
            As `casework.find.find`.
        """
        read = _load(case)
        own = tables(read.costs)
        findings = findings_of(read, own)
        return cls(read.path, hear_case(read, own, progress), findings)

    def result(self) -> FindResult:
        """Odds, reasons and next step as they stand."""
        return assess(self.heard, self.findings)

    def question(self, check: str, part: str = "") -> Question:
        """A check of this car by its word; its part may be left out where only one can be meant.

        Raises
        ------
        InputError
            When there is no such check here; says what would be.
        """
        catalogue = self.heard.tables.catalogue
        found = catalogue.check(check)
        done = check_done(catalogue, self.heard.parts, check, part or None, found.outcomes[0].word)
        return Question(done.check, done.part)

    def answer(self, question: Question, word: str) -> CheckDone:
        """Keep what a check showed in the case file.

        Raises
        ------
        InputError
            When the word is no outcome of the check; nothing is written then.
        BeltsideError
            When the file cannot be written; it is then as it was.
        """
        outcome = question.check.outcome(word)
        add_finding(self.path, question.check.id, question.part, outcome.word)
        self._read_again()
        return CheckDone(question.check, question.part, outcome)

    def take_back(self, number: int | None = None) -> CheckDone:
        """Take back a finding by number, the last one without; it stays in the file as a comment.

        Raises
        ------
        InputError
            When there is no such finding.
        """
        if not self.findings:
            raise InputError("there is no finding to take back", allowed="an answer first")
        number = len(self.findings) if number is None else number
        taken = self.findings[number - 1] if 1 <= number <= len(self.findings) else None
        take_back_finding(self.path, number)
        self._read_again()
        assert taken is not None  # take_back_finding refuses every other number
        return taken

    def _read_again(self) -> None:
        self.findings = findings_of(_load(self.path), self.heard.tables)


def _load(path: Path) -> Case:
    return load_case(path, may_be_empty=True)
