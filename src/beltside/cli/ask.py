"""`beltside find --ask`: the checks one after the other, each answer kept at once."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Final

from beltside.base.errors import BeltsideError, InputError
from beltside.casework.ask import Asking, Question
from beltside.casework.results import FindResult
from beltside.cli.screen import StoppedError, complain, working, write
from beltside.proof.wording import (
    answer,
    full_stop,
    minutes_words,
    part_words,
    percent_words,
    printable,
    ranked,
)

_FIRST: Final = 4
_HELP: Final = """\
  a number or its word   what the check showed
  n                      done, but not sure
  s                      skip it: not done
  b, b 2                 take back the last answer, or finding 2
  c                      list the checks
  c spin-by-hand idler   ask about this check instead
  q                      stop; all answers are in the case file
"""


def ask_alone(case: Path, *, others: bool) -> None:
    """`ask`, refused together with other options of `find` (`others`)."""
    if others:
        raise InputError(
            "--ask together with another option",
            allowed="--ask alone",
            instead="one after the other",
        )
    ask(case)


def ask(case: Path) -> None:
    """Ask about one check after the other until the person stops.

    Raises
    ------
    StoppedError
        On Ctrl-C; every answer given is in the case file by then.
    """
    with working("nothing was changed") as progress:
        session = Asking.open(case, progress)
    left = f"all answers so far are in {session.path.name}"
    try:
        _walk(session)
    except KeyboardInterrupt:
        raise StoppedError(left) from None
    _say(f"Stopped: {left}.")


def _walk(session: Asking) -> None:
    chosen: Question | None = None
    while True:
        result = session.result()
        _odds(session, result)
        question = chosen or _proposed(session, result)
        chosen = None
        if question is not None:
            _ask(question, result)
        while True:
            typed = _typed("Your answer (h for help): ")
            if typed is None or typed.lower() in ("q", "quit", "exit"):
                return
            try:
                done, chosen = _act(session, question, typed)
            except BeltsideError as error:
                complain(str(error))
                continue
            if done:
                break


def _act(session: Asking, question: Question | None, typed: str) -> tuple[bool, Question | None]:
    """Do what was typed: whether to go on to the next question, and which one was chosen."""
    word, *rest = typed.split()
    key = word.lower()
    if key in ("h", "help", "?"):
        _say(_HELP.rstrip("\n"))
        return False, None
    if key == "b":
        if rest and not rest[0].isdigit():
            raise InputError(f'"{rest[0]}" is to be taken back', allowed="b, or b and a number")
        taken = session.take_back(int(rest[0]) if rest else None)
        _say(f"Taken back: {taken.check.name}{_on(taken.part)}, {taken.outcome.word}.")
        return True, None
    if key == "c":
        if rest:
            return True, session.question(rest[0], rest[1] if len(rest) > 1 else "")
        for check, part in session.heard.board.places:
            _say(f"  {check.id}{' ' + part if part else ''}")
        return False, None
    if question is None:
        raise InputError(
            f'"{typed}" answers nothing: no check is asked about',
            allowed="c and a check, b, q or h",
        )
    if key.isdigit() and not 1 <= int(key) <= len(question.outcomes):
        raise InputError(f'"{typed}"', allowed=f"1 to {len(question.outcomes)}, n, s, b, c or q")
    names = {"n": "not-sure", "s": "not-done"}
    outcome = (
        question.outcomes[int(key) - 1].word
        if key.isdigit()
        else names.get(key, "-".join(typed.lower().split()))
    )
    done = session.answer(question, outcome)
    _say(f"Kept: {done.check.name}{_on(done.part)}, {done.outcome.word}.")
    return True, None


def _proposed(session: Asking, result: FindResult) -> Question | None:
    if result.next_step is None or result.next_step.do != "check":
        return None
    return session.question(result.next_step.what, result.next_step.part)


def _odds(session: Asking, result: FindResult) -> None:
    _say("")
    _say(answer(result))
    first = ranked(result)[:_FIRST]
    _say("  " + "; ".join(f"{one.name} {percent_words(one.probability)}" for one in first))
    for one in result.contradictions[:2]:
        _say(f"Contradiction: {one.says}")
    if result.next_step is not None:
        _say(full_stop(result.next_step.says))
    if session.findings:
        count = len(session.findings)
        _say(f"{count} finding{'s' if count > 1 else ''} so far.")


def _ask(question: Question, result: FindResult) -> None:
    check = question.check
    proposed = next(
        (
            one
            for one in result.next_checks
            if (one.check, one.part) == (check.id, question.part or "")
        ),
        None,
    )
    _say("")
    _say(f"{check.name}{_on(question.part)}, {minutes_words(check.minutes)}")
    if proposed is not None and proposed.first:
        _say("  First: " + "; ".join(proposed.first) + ".")
    _say(f"  {full_stop(check.how)}")
    _say(f"  Caution: {' '.join((check.hazard, *check.cautions))}")
    for number, outcome in enumerate(question.outcomes, start=1):
        _say(f"  {number}  {outcome.word}: {outcome.says}")
    _say("  n  not sure    s  skip    b  take back    c  checks    q  stop")


def _on(part: str | None) -> str:
    return f" on the {part_words(part)}" if part else ""


def _say(text: str) -> None:
    write("\n".join(printable(line) for line in text.split("\n")) + "\n", sys.stdout)


def _typed(prompt: str) -> str | None:
    """What the person typed, None at the end of the input; empty lines are asked again."""
    while True:
        write(prompt, sys.stdout)
        line = sys.stdin.readline()
        if not line:
            write("\n", sys.stdout)
            return None
        if line.strip():
            return line.strip()
