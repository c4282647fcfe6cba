"""The file that keeps what closed jobs taught: JSON, nothing of customers in it."""

from __future__ import annotations

import json
import secrets
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from beltside.base.errors import InputError, LimitError
from beltside.casework.formats.safe_write import write_safely
from beltside.suspects.learning import ClosedJob, merged_jobs

VERSION: Final = 1
LARGEST_FILE_BYTES: Final = 20_000_000

_WORDS: Final = r"^[a-z0-9.+-]{1,80}$"


class _Keys(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)


class FindingKeys(_Keys):
    """What a check showed in a closed job."""

    check: str = Field(pattern=_WORDS, description="the check's word")
    part: str = Field(default="", pattern=r"^[a-z0-9-]{0,40}$", description="the part, or empty")
    outcome: str = Field(pattern=_WORDS, description="the outcome's word")


class JobKeys(_Keys):
    """A closed job."""

    id: str = Field(pattern=r"^[0-9a-f]{8,64}$", description="tells jobs apart, says nothing")
    parts: list[str] = Field(max_length=40, description="pulleys of the drive")
    replaced: str = Field(pattern=_WORDS, description="the suspect that was put right")
    cured: bool = Field(description="whether the noise was gone after that")
    findings: list[FindingKeys] = Field(default_factory=list, max_length=200)


class LearnedKeys(_Keys):
    """What closed jobs taught."""

    beltside_learned: int = Field(ge=1, le=VERSION, description="version of this format")
    shop: str = Field(pattern=r"^[0-9a-f]{16}$", description="drawn by chance once for each file")
    jobs: list[JobKeys] = Field(max_length=100_000)


@dataclass(frozen=True)
class Learned:
    """Closed jobs of one shop, or of several merged; `shop` is a number drawn by chance."""

    shop: str
    jobs: tuple[ClosedJob, ...] = ()

    def with_jobs(self, jobs: tuple[ClosedJob, ...]) -> Learned:
        """The same with these jobs added; one with a known id takes its place."""
        return Learned(self.shop, merged_jobs(self.jobs, jobs))

    def to_json(self) -> dict[str, Any]:
        """Plain dict in the file's format."""
        return {
            "beltside_learned": VERSION,
            "shop": self.shop,
            "jobs": [
                {
                    "id": job.id,
                    "parts": list(job.parts),
                    "replaced": job.replaced,
                    "cured": job.cured,
                    "findings": [
                        {"check": check, "part": part, "outcome": outcome}
                        for check, part, outcome in job.shown
                    ],
                }
                for job in self.jobs
            ],
        }


def new_learned() -> Learned:
    """Nothing learned yet, under a shop number drawn by chance."""
    return Learned(secrets.token_hex(8))


def read_learned(path: Path) -> Learned:
    """What a file of closed jobs holds.

    Raises
    ------
    InputError
        When it is not there or not in this format; names the place.
    LimitError
        When it is larger than 20 MB.
    """
    try:
        with path.open("rb") as file:
            data = file.read(LARGEST_FILE_BYTES + 1)
    except OSError as error:
        raise InputError(
            f"{path} cannot be read ({error.strerror})", allowed="a file of closed jobs"
        ) from error
    if len(data) > LARGEST_FILE_BYTES:
        raise LimitError(
            f"{path.name} is larger than {LARGEST_FILE_BYTES / 1e6:g} MB",
            allowed="a file of closed jobs",
        )
    try:
        keys = LearnedKeys.model_validate(json.loads(data))
    except ValidationError as error:
        first = error.errors(include_url=False)[0]
        where = ".".join(
            str(step + 1) if isinstance(step, int) else str(step) for step in first["loc"]
        )
        raise InputError(
            f"{path.name} is no file of closed jobs: {where or 'its top'}: {first['msg']}"[:300],
            allowed="a file written by `beltside learned export`",
        ) from None
    except (ValueError, RecursionError):
        raise InputError(
            f"{path.name} is no file of closed jobs: it is not JSON",
            allowed="a file written by `beltside learned export`",
        ) from None
    return Learned(
        keys.shop,
        tuple(
            ClosedJob(
                job.id,
                tuple(job.parts),
                job.replaced,
                job.cured,
                tuple((one.check, one.part, one.outcome) for one in job.findings),
            )
            for job in keys.jobs
        ),
    )


def write_learned(path: Path, learned: Learned) -> None:
    """Write it, whole or not at all.

    Raises
    ------
    BeltsideError
        When the folder cannot be written to; the file is then as it was.
    """
    text = json.dumps(learned.to_json(), indent=1, ensure_ascii=True) + "\n"
    write_safely(path, text.encode("ascii"))
