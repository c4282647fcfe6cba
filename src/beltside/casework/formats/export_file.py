"""Exported jobs: the JSON files in the zip, as models."""

from __future__ import annotations

from typing import Annotated, Any, Final, Literal

from pydantic import AwareDatetime, BaseModel, ConfigDict, Field, StringConstraints

FORMAT: Final = "beltside export 1"
INDEX_NAME: Final = "export.json"

Name = Annotated[str, StringConstraints(pattern=r"^[A-Za-z0-9._-]{1,64}$")]
JobName = Annotated[str, StringConstraints(pattern=r"^[A-Za-z0-9_-]{1,32}$")]
Sha256 = Annotated[str, StringConstraints(pattern="^[0-9a-f]{64}$")]
Writer = Annotated[str, StringConstraints(max_length=200)]


class _Keys(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)


class ClashKeys(_Keys):
    """A field that two people changed at once."""

    field: str = Field(description="which field")
    kept: Any = Field(default=None, description="the value that stands")
    other: Any = Field(default=None, description="the other's value")
    other_by: Writer = Field(description="the other writer")
    other_version: int = Field(ge=1, description="the other's version")


class VersionKeys(_Keys):
    """An entry as it was at one time."""

    version: int = Field(ge=1, le=1_000_000, description="counts up from 1")
    at: AwareDatetime = Field(description="when it was written")
    by: Writer = Field(description="who wrote it")
    how: Literal["made", "changed", "joined", "removed", "brought back"] = Field(
        description="how it came about"
    )
    removed: bool = Field(description="whether it takes the entry off the sheet")
    body: dict[str, Any] = Field(description="the fields of its kind")
    clashes: list[ClashKeys] = Field(default_factory=list, max_length=1000)


class EntryExportKeys(_Keys):
    """An entry with all its versions."""

    id: Name = Field(description="its name in the record")
    kind: Annotated[str, StringConstraints(max_length=40)] = Field(description="which kind")
    created_at: AwareDatetime = Field(description="when it was made")
    versions: list[VersionKeys] = Field(min_length=1, max_length=100_000)
    files: list[Sha256] = Field(default_factory=list, description="stored files it needs")


class JobExportKeys(_Keys):
    """A whole job: `jobs/NAME.json` in the zip."""

    format: Literal["beltside export 1"] = Field(description="this format")
    id: JobName = Field(description="the job's name in the record")
    number: int = Field(ge=1, le=2**31 - 1, description="its number")
    created_at: AwareDatetime = Field(description="when it was opened")
    created_by: Writer = Field(description="by whom")
    changed_at: AwareDatetime = Field(description="when it was last changed")
    change: int = Field(ge=0, le=2**53, description="counts up with everything written")
    closed_at: AwareDatetime | None = Field(default=None, description="when it was closed")
    entries: list[EntryExportKeys] = Field(max_length=1_000_000)


class FileExportKeys(_Keys):
    """A stored file: `files/SHA256` in the zip."""

    sha256: Sha256 = Field(description="SHA-256 of its bytes; its name in the zip")
    bytes: int = Field(ge=0, le=2_000_000_000, description="its length")
    media_type: Annotated[str, StringConstraints(max_length=100)] = Field(
        description="what it came as"
    )


class ExportKeys(_Keys):
    """What is in the zip: `export.json`."""

    format: Literal["beltside export 1"] = Field(description="this format")
    jobs: list[JobName] = Field(max_length=1_000_000, description="names of the jobs")
    files: list[FileExportKeys] = Field(default_factory=list, max_length=1_000_000)
    missing: list[Sha256] = Field(
        default_factory=list, description="stored files that were gone when it was made"
    )
