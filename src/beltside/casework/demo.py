"""The demo: an invented car with a known fault, as phone files, found from those files alone."""

from __future__ import annotations

from pathlib import Path

from beltside.base.errors import BeltsideError
from beltside.casework.find import find
from beltside.casework.results import DemoResult, Progress
from beltside.rig import demo_case, write_case

SUFFIXES = (".m4a", ".m4a", ".webm", ".m4a", ".mp3", ".ogg")
"""The takes come as several kinds of phone would write them."""


def demo(folder: Path, *, progress: Progress | None = None) -> DemoResult:
    """Write the demo case into `folder` and find its fault.

    Raises
    ------
    BeltsideError
        When the folder cannot be written to.
    """
    say = progress or (lambda _what, _share: None)
    say("simulating the car", 0.0)
    case = demo_case()
    try:
        write_case(case, folder, suffixes=SUFFIXES)
    except OSError as error:
        raise BeltsideError(
            f"the demo cannot be written to {folder}: {error.strerror or error}",
            instead="--folder with a folder you may write to",
        ) from error
    found = find(folder, progress=lambda what, share: say(what, 0.3 + 0.7 * share))
    files = tuple(sorted(one for one in folder.iterdir() if one.is_file()))
    return DemoResult(found, folder, files, case.truth)
