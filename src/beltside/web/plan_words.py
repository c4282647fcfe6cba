"""A plan's words in the language of the pages, in the fields of its form and in its picture.

The plan itself stays as it is written: what a person leaves as the form showed it is kept in the
words it came from, and what he changes is kept as he typed it.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

from beltside.casework.plan_form import PlanForm, PlanRow
from beltside.web.texts import said

TOOLS_MARK = ", "
LINES_MARK = "\n"


def in_language(form: PlanForm, language: str) -> PlanForm:
    """The form with its title, steps, tools and cautions in a language, where they are known."""
    return PlanForm(said(form.title, language), [_row(row, language) for row in form.rows])


def _row(row: PlanRow, language: str) -> PlanRow:
    return replace(
        row,
        title=said(row.title, language),
        tools=_each(row.tools, TOOLS_MARK, language),
        caution=_each(row.caution, LINES_MARK, language),
    )


def _each(text: str, mark: str, language: str) -> str:
    return mark.join(said(one, language) for one in text.split(mark))


def as_written(typed: PlanForm, before: PlanForm, language: str) -> PlanForm:
    """The typed form, with what stands in it as it was shown put back into the words of `before`.

    A row is laid to the one of its name; a new one has only what was typed.
    """
    rows = {row.name: row for row in before.rows if row.name}
    title = _back(typed.title, _shown_as([before.title], language))
    return PlanForm(
        title,
        [
            _row_back(row, rows[row.name], language) if row.name in rows else row
            for row in typed.rows
        ],
    )


def _row_back(typed: PlanRow, before: PlanRow, language: str) -> PlanRow:
    tools, lines = before.tools.split(TOOLS_MARK), before.caution.split(LINES_MARK)
    return replace(
        typed,
        title=_back(typed.title, _shown_as([before.title], language)),
        tools=_each_back(typed.tools, ",", TOOLS_MARK, _shown_as(tools, language)),
        caution=_each_back(typed.caution, LINES_MARK, LINES_MARK, _shown_as(lines, language)),
    )


def _shown_as(words: Sequence[str], language: str) -> Mapping[str, str]:
    return {said(one, language): one for one in words}


def _back(text: str, words: Mapping[str, str]) -> str:
    return words.get(text.strip(), text)


def _each_back(text: str, parted: str, mark: str, words: Mapping[str, str]) -> str:
    pieces = text.split(parted)
    back = [words.get(one.strip()) for one in pieces]
    if not any(back):
        return text
    return mark.join(
        one.strip() if known is None else known for one, known in zip(pieces, back, strict=True)
    )
