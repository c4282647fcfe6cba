"""Help pages that name an argument once and plainly, without the programmer's name of its type."""

from __future__ import annotations

import re
from typing import Any, Final

from typer.core import TyperArgument, TyperCommand


class PlainHelp(TyperCommand):
    """A command whose arguments stand as `TAKE`, `[PHOTO]` or `TAKE...` on its help page."""

    def collect_usage_pieces(self, ctx: Any) -> list[str]:
        """The words of the usage line."""
        pieces = [self.options_metavar] if self.options_metavar else []
        for parameter in self.get_params(ctx):
            if isinstance(parameter, TyperArgument):
                pieces.append(_usage(parameter))
            else:
                pieces += parameter.get_usage_pieces(ctx)
        return pieces

    def format_options(self, ctx: Any, formatter: Any) -> None:
        """The lists of arguments and of options."""
        arguments, options = [], []
        for parameter in self.get_params(ctx):
            record = parameter.get_help_record(ctx)
            if record is None:
                continue
            if isinstance(parameter, TyperArgument):
                arguments.append((_name(parameter), record[1].replace("  [required]", "")))
            else:
                options.append((_PROGRAMMERS.sub(_in_words, record[0]), record[1]))
        for heading, records in (("Arguments", arguments), ("Options", options)):
            if records:
                with formatter.section(heading):
                    formatter.write_dl(records)


_PROGRAMMERS: Final = re.compile(r"<(?:list\[)?(str|int|float|Path)\]?>")
_WORDS: Final = {"str": "TEXT", "int": "COUNT", "float": "NUMBER", "Path": "FILE"}


def _in_words(found: re.Match[str]) -> str:
    return _WORDS[found[1]]


def _name(argument: TyperArgument) -> str:
    return argument.display_name_raw.strip("[].")


def _usage(argument: TyperArgument) -> str:
    name = _name(argument) if argument.required else f"[{_name(argument)}]"
    return name if argument.nargs == 1 else f"{name}..."
