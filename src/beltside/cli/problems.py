"""What a command says and which exit code it gives when it can't do what was asked."""

from __future__ import annotations

import traceback
from collections.abc import Callable
from pathlib import Path
from typing import Any, Final

import typer

from beltside import __version__
from beltside.base.errors import BeltsideError, InputError, nearest
from beltside.cli.screen import StoppedError, complain

DONE: Final = 0
FAILED: Final = 1
CALL_IS_OFF: Final = 2
STOPPED: Final = 130

_NOTHING_CHANGED: Final = "nothing was changed"

# Every error of the command-line parser descends from the second class above BadParameter:
# BadParameter < UsageError < this one.
_ParserError: Final = typer.BadParameter.__mro__[2]


def exit_code_of(run: Callable[[], object]) -> int:
    """Do `run`, turn whatever comes of it into a message and an exit code.

    0 done; 1 the work failed; 2 the call or a file's content is off; 130 stopped by Ctrl-C.
    """
    try:
        outcome = run()
    except StoppedError as stopped:
        complain(f"stopped; {stopped}")
        return STOPPED
    except KeyboardInterrupt:
        complain(f"stopped; {_NOTHING_CHANGED}")
        return STOPPED
    except typer.Exit as ended:
        return int(ended.exit_code)
    except typer.Abort:
        complain(f"stopped; {_NOTHING_CHANGED}")
        return STOPPED
    except InputError as error:
        complain(str(error))
        return CALL_IS_OFF
    except BeltsideError as error:
        complain(str(error))
        return FAILED
    except OSError as error:
        return _system_refused(error)
    except Exception as error:  # noqa: BLE001 - the last resort, so that nobody meets a traceback
        return _usage_or_fault(error)
    # The parser gives back the exit code of an exit inside it, and 130 for Ctrl-C.
    if outcome == STOPPED:
        complain(f"stopped; {_NOTHING_CHANGED}")
    return outcome if isinstance(outcome, int) else DONE


def _system_refused(error: OSError) -> int:
    if error.filename is None:
        return _fault(error)
    complain(f"{error.filename}: {error.strerror or type(error).__name__}.")
    return FAILED


def _usage_or_fault(error: Exception) -> int:
    if not isinstance(error, _ParserError):
        return _fault(error)
    message = error.format_message() if hasattr(error, "format_message") else str(error)
    context = getattr(error, "ctx", None)
    command = context.command_path if context is not None else "beltside"
    above = _belongs_before(getattr(error, "option_name", ""), context)
    if above is not None:
        # The parser's own guess names an option that is spelled alike and does something else.
        message = f"{error.option_name} goes before the command: {above}"  # type: ignore[attr-defined]
    complain(f"{message.rstrip('.')}{'' if message.endswith('?') else '.'}\nSee: {command} --help")
    return CALL_IS_OFF


def _belongs_before(option: str, context: Any) -> str | None:
    """How it is written when an option of a command stands behind one of that command's own."""
    behind = ""
    while context is not None and option:
        if behind and option in {name for one in context.command.params for name in one.opts}:
            return f"{context.command_path} {option} ... {behind}"
        behind = f"{context.info_name} {behind}".strip()
        context = context.parent
    return None


def _fault(error: Exception) -> int:
    frames = traceback.extract_tb(error.__traceback__)
    ours = [frame for frame in frames if "beltside" in Path(frame.filename).parts]
    place = ""
    if ours:
        parts = Path(ours[-1].filename).parts
        start = len(parts) - 1 - parts[::-1].index("beltside")
        place = f" in {'/'.join(parts[start:])}, line {ours[-1].lineno}"
    said = str(error).strip()
    complain(
        "this is a fault in Beltside, not something you did wrong. Please report it with the "
        f"command you gave.\n{type(error).__name__}{place} (version {__version__})"
        + (f": {said}" if said else "")
    )
    return FAILED


def require_file(path: Path, what: str) -> Path:
    """`path` when there is such a file.

    Raises
    ------
    InputError
        When there is none (with the nearest name in its folder) or it is a folder.
    """
    if path.is_dir():
        raise InputError(f"{path} is a folder", allowed=f"{what}, one file")
    _require_there(path, what)
    return path


def require_path(path: Path, what: str) -> Path:
    """`path` when there is such a file or folder; InputError with the nearest name if not."""
    _require_there(path, what)
    return path


def _require_there(path: Path, what: str) -> None:
    if path.exists():
        return
    try:
        # Without endings: ".toml" alone makes no two names alike.
        beside = {entry.stem: entry.name for entry in path.parent.iterdir()}
    except OSError:
        beside = {}
    stem = nearest(path.stem, list(beside))
    near = beside[stem] if stem else None
    raise InputError(
        f"{path} does not exist",
        allowed=what,
        instead=str(path.parent / near) if near else "the path of a file that is there",
    )
