"""Export and import: jobs with all their history and files as one plain zip."""

from __future__ import annotations

import json
import stat
import zipfile
import zlib
from collections.abc import Container, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from pathlib import Path
from typing import IO, Any, Final, TypeVar

from pydantic import BaseModel, ValidationError

from beltside.base.errors import BeltsideError, InputError, LimitError
from beltside.casework.formats.entries import ENTRY_KINDS
from beltside.casework.formats.export_file import (
    FORMAT,
    INDEX_NAME,
    EntryExportKeys,
    ExportKeys,
    FileExportKeys,
    JobExportKeys,
)
from beltside.casework.shop import Shop, sheet_of
from beltside.jobs.entries import Clash, Entry
from beltside.jobs.store import PIECE_BYTES
from beltside.jobs.transfer import EntryRows, JobRows, put_in, take_out
from beltside.media.bounded import Bounds, BrokeDownError, look_at
from beltside.media.limits import GIBIBYTE, MEBIBYTE

_DAMAGED: Final = (zipfile.BadZipFile, zlib.error, EOFError, ValueError)
MOST_MEMBERS: Final = 1_000_000
MOST_JSON_BYTES: Final = 50_000_000
"""One job: 25 entries as long as an entry may be; a usual one has 0.1 to 1 MB."""
MOST_FILE_BYTES: Final = 2_000_000_000
MOST_TIMES: Final = 200
"""How many times longer than in the zip a part may get: deflate never does more than 1032."""
BOUNDS: Final = Bounds(2 * GIBIBYTE, cpu_s=300, wall_s=600.0, output_bytes=MEBIBYTE)
"""50 MB of the worst JSON (nothing but empty lists) take about 1.1 GB as Python values."""
_SPARE_BYTES: Final = 1_000_000
_ZIP_DAY: Final = (1980, 1, 1, 0, 0, 0)

Model = TypeVar("Model", bound=BaseModel)


@dataclass(frozen=True)
class Exported:
    """A zip that was written; `missing` are stored files that were gone."""

    path: Path
    jobs: int
    files: int
    missing: tuple[str, ...]

    def to_json(self) -> dict[str, Any]:
        """Plain dict."""
        return {
            "file": str(self.path),
            "jobs": self.jobs,
            "files": self.files,
            "missing_files": list(self.missing),
        }


@dataclass(frozen=True)
class ImportedJob:
    """A job of a zip: its number there, its number here, and what became of it.

    `how` is "new", "was there" or "beside" (a job of that name had other content).
    """

    number_there: int
    number: int
    id: str
    how: str

    def says(self) -> str:
        """In a sentence."""
        return {
            "new": f"Job {self.number_there} is here now as job {self.number}.",
            "was there": f"Job {self.number_there} was here already, as job {self.number}; "
            "nothing was changed.",
            "beside": f"Job {self.number_there} was here with other content; it is kept beside "
            f"it as job {self.number}.",
        }[self.how]

    def to_json(self) -> dict[str, Any]:
        """Plain dict."""
        return {
            "number_there": self.number_there,
            "number": self.number,
            "id": self.id,
            "how": self.how,
        }


def export_jobs(shop: Shop, path: Path, jobs: Sequence[str] = ()) -> Exported:
    """Write jobs into a zip; the same record gives the same bytes.

    Parameters
    ----------
    path
        A new file.
    jobs
        Names or numbers; every job when left out.

    Raises
    ------
    InputError
        When there is no such job, none at all, or the file is there already.
    BeltsideError
        When it can't be written.
    """
    if path.exists():
        raise InputError(f"{path} is there already", allowed="a new file for the export")
    names = (
        [sheet_of(shop, job).job.id for job in jobs]
        if jobs
        else sorted(job.id for job in shop.record.jobs(limit=MOST_MEMBERS))
    )
    if not names:
        raise InputError("there is no job to export", allowed="an export once there are jobs")
    names = list(dict.fromkeys(names))
    beside = path.with_name(path.name + ".part")
    try:
        # Made in one go beside it: a half-written zip never has the name asked for.
        with zipfile.ZipFile(beside, "w", zipfile.ZIP_DEFLATED) as zipped:
            needed: set[str] = set()
            for name in names:
                rows = take_out(shop.record, name)
                needed |= rows.files()
                _put_text(zipped, f"jobs/{name}.json", job_to_json(rows))
            files, missing = [], []
            for sha256 in sorted(needed):
                try:
                    source = shop.files.path(sha256)
                except BeltsideError:
                    missing.append(sha256)
                    continue
                files.append(
                    {
                        "sha256": sha256,
                        "bytes": source.stat().st_size,
                        "media_type": shop.record.file_kind(sha256),
                    }
                )
                info = zipfile.ZipInfo(f"files/{sha256}", _ZIP_DAY)
                with source.open("rb") as reading, zipped.open(info, "w") as writing:
                    while piece := reading.read(PIECE_BYTES):
                        writing.write(piece)
            index = {"format": FORMAT, "jobs": names, "files": files, "missing": missing}
            _put_text(zipped, INDEX_NAME, index)
        beside.replace(path)
    except OSError as error:
        raise BeltsideError(
            f"{path} can't be written: {error.strerror or error}",
            instead="another folder, with room on its disk",
        ) from error
    finally:
        beside.unlink(missing_ok=True)
    return Exported(path, len(names), len(files), tuple(missing))


def import_jobs(shop: Shop, path: Path) -> list[ImportedJob]:
    """Put the jobs of a zip into the record; nothing that is there is written over.

    All of the zip is looked at before anything is written.

    Raises
    ------
    InputError
        When it is no export of ours, is damaged, or holds what the record would not.
    LimitError
        When it asks for more room than it may.
    """
    try:
        with path.open("rb") as file, zipfile.ZipFile(file) as zipped:
            # A process that can do little else goes through it first: what is too much for that
            # one is never unpacked here.
            _, out = look_at(
                path.name, "beltside.casework.shop_transfer:screened", file, BOUNDS, {}
            )
            out.close()
            index, members = _looked_at(zipped)
            there = {one.sha256 for one in index.files}
            for one in index.files:
                _keep_file(shop, zipped, one)
            done = []
            for job in _jobs(zipped, index, members):
                rows = _without_gone(job_from_keys(job), there)
                put = put_in(shop.record, rows)
                done.append(ImportedJob(job.number, put.number, put.id, put.how))
            return done
    except BeltsideError:
        raise
    except _DAMAGED as error:
        raise _no_zip(str(error)) from error
    except BrokeDownError as error:
        raise InputError(
            f"{path.name} can't be read: {error}", allowed="a zip by `beltside export`"
        ) from error
    except OSError as error:
        raise InputError(f"{path.name} can't be read: {error.strerror or error}") from error
    except RuntimeError as error:
        # The module zipfile says so of passwords and of ways to pack that it does not know.
        raise InputError(f"{path.name} can't be read: {error}") from error


def job_to_json(rows: JobRows) -> dict[str, Any]:
    """A job in the form of `jobs/NAME.json`."""
    return {
        "format": FORMAT,
        "id": rows.id,
        "number": rows.number,
        "created_at": _when(rows.created_at),
        "created_by": rows.created_by,
        "changed_at": _when(rows.changed_at),
        "change": rows.change,
        "closed_at": None if rows.closed_at is None else _when(rows.closed_at),
        "entries": [
            {
                "id": entry.id,
                "kind": entry.kind,
                "created_at": _when(entry.created_at),
                "files": list(entry.files),
                "versions": [
                    {
                        "version": one.version,
                        "at": _when(one.at),
                        "by": one.by,
                        "how": one.how,
                        "removed": one.removed,
                        "body": dict(one.body),
                        "clashes": [clash.to_plain() for clash in one.clashes],
                    }
                    for one in entry.versions
                ],
            }
            for entry in rows.entries
        ],
    }


def job_from_keys(keys: JobExportKeys) -> JobRows:
    """What `job_to_json` wrote."""
    return JobRows(
        keys.id,
        keys.number,
        keys.created_at.astimezone(UTC),
        keys.created_by,
        keys.changed_at.astimezone(UTC),
        keys.change,
        None if keys.closed_at is None else keys.closed_at.astimezone(UTC),
        tuple(
            EntryRows(
                entry.id,
                entry.kind,
                entry.created_at.astimezone(UTC),
                tuple(
                    Entry(
                        entry.id,
                        keys.id,
                        entry.kind,
                        one.version,
                        entry.created_at.astimezone(UTC),
                        one.at.astimezone(UTC),
                        one.by,
                        one.removed,
                        one.body,
                        tuple(Clash(**clash.model_dump()) for clash in one.clashes),
                        one.how,
                    )
                    for one in entry.versions
                ),
                tuple(entry.files),
            )
            for entry in keys.entries
        ),
    )


def _put_text(zipped: zipfile.ZipFile, name: str, plain: Any) -> None:
    # Half surrogate pairs, as broken phones type them, are kept as escapes.
    text = json.dumps(plain, allow_nan=False, indent=1)
    info = zipfile.ZipInfo(name, _ZIP_DAY)
    info.compress_type = zipfile.ZIP_DEFLATED
    zipped.writestr(info, text)


def _when(moment: datetime) -> str:
    return moment.astimezone(UTC).isoformat(timespec="microseconds")


# Reading what a stranger may have sent ------------------------------------------------------------


def screened(file: IO[bytes]) -> tuple[dict[str, int], bytes]:
    """Go through all of a zip; how many jobs and files. Runs in a process of its own."""
    try:
        with zipfile.ZipFile(file) as zipped:
            index, members = _looked_at(zipped)
            jobs = sum(1 for _ in _jobs(zipped, index, members))
            return {"jobs": jobs, "files": len(index.files)}, b""
    except BeltsideError:
        raise
    except _DAMAGED as error:
        raise _no_zip(str(error)) from error
    except RuntimeError as error:
        raise InputError(f"The zip can't be read: {error}") from error


def _no_zip(why: str) -> InputError:
    return InputError(f"It is no zip that can be read: {why}", allowed="a zip by `beltside export`")


Members = Mapping[str, zipfile.ZipInfo]


def _looked_at(zipped: zipfile.ZipFile) -> tuple[ExportKeys, Members]:
    """The index and the parts of the zip, what it lists held against what is there."""
    members = _members(zipped)
    if INDEX_NAME not in members:
        raise InputError("The zip has no export.json", allowed="a zip by `beltside export`")
    index = _read(zipped, members[INDEX_NAME], ExportKeys)
    wanted = {INDEX_NAME, *(f"jobs/{one}.json" for one in index.jobs)}
    wanted |= {f"files/{one.sha256}" for one in index.files}
    if extra := sorted(set(members) - wanted):
        raise InputError(f"The zip holds {extra[0][:120]!r}, which its index does not name")
    if absent := sorted(wanted - set(members)):
        raise InputError(f"The zip lacks {absent[0]}", instead="the export made anew")
    for one in index.files:
        if members[f"files/{one.sha256}"].file_size != one.bytes:
            raise InputError(f"The length of files/{one.sha256[:12]}... is not the one told")
    return index, members


def _jobs(zipped: zipfile.ZipFile, index: ExportKeys, members: Members) -> Iterator[JobExportKeys]:
    """One job after the other, each checked: never more than one of them in memory."""
    known = {one.sha256 for one in index.files} | set(index.missing)
    for name in index.jobs:
        job = _read(zipped, members[f"jobs/{name}.json"], JobExportKeys)
        if job.id != name:
            raise InputError(f"jobs/{name}.json holds the job {job.id}")
        for entry in job.entries:
            _require_kind(entry)
            if gone := set(entry.files) - known:
                raise InputError(
                    f"The stored file {min(gone)[:12]}... of job {job.number} is not in the zip"
                )
        yield job


def _members(zipped: zipfile.ZipFile) -> dict[str, zipfile.ZipInfo]:
    """Parts of the zip by name; refuses links, passwords, doubles, bombs."""
    listed = zipped.infolist()
    if len(listed) > MOST_MEMBERS:
        raise LimitError(f"The zip has {len(listed)} parts", allowed=f"up to {MOST_MEMBERS}")
    found: dict[str, zipfile.ZipInfo] = {}
    for info in listed:
        name = info.filename
        if name in found:
            raise InputError(f"The zip holds {name[:120]!r} twice")
        if stat.S_ISLNK(info.external_attr >> 16):
            raise InputError(f"The zip holds a link, {name[:120]!r}", allowed="plain files")
        if info.flag_bits & 0x1:
            raise InputError("The zip has a password", allowed="a zip by `beltside export`")
        if info.file_size > MOST_TIMES * info.compress_size + _SPARE_BYTES:
            raise LimitError(
                f"{name[:120]!r} would become {info.file_size / 1e6:.0f} MB out of "
                f"{info.compress_size / 1e6:.1f} MB"
            )
        found[name] = info
    whole = sum(info.compress_size for info in listed)
    size = zipped.fp.seek(0, 2) if zipped.fp is not None else 0
    if whole > size:
        # Parts that lie over each other: one is unpacked many times.
        raise LimitError("The parts of the zip are longer together than the zip")
    return found


def _read(zipped: zipfile.ZipFile, info: zipfile.ZipInfo, model: type[Model]) -> Model:
    if info.file_size > MOST_JSON_BYTES:
        raise LimitError(f"{info.filename} is longer than {MOST_JSON_BYTES / 1e6:.0f} MB")
    with zipped.open(info) as file:
        data = file.read(MOST_JSON_BYTES + 1)
    try:
        plain = json.loads(data, parse_constant=_no_number)
        return model.model_validate(plain)
    except ValidationError as error:
        one = error.errors(include_url=False, include_context=False)[0]
        where = ".".join(str(step) for step in one["loc"])[:200]
        raise InputError(f"{info.filename}, {where}: {one['msg']}") from error
    except (ValueError, RecursionError) as error:
        raise InputError(f"{info.filename} can't be read: {str(error)[:200]}") from error


def _no_number(text: str) -> float:
    raise ValueError(f"{text} is no number")


def _require_kind(entry: EntryExportKeys) -> None:
    """Refuse what no command would have written; fields of older versions may be left over."""
    keys = ENTRY_KINDS.get(entry.kind)
    if keys is None:
        raise InputError(
            f"Nothing of the kind {entry.kind!r} is kept here",
            instead="a newer Beltside, if the zip is from one",
        )
    for one in entry.versions:
        try:
            keys.model_validate(one.body)
        except ValidationError as error:
            for wrong in error.errors(include_url=False, include_context=False):
                if wrong["type"] not in ("extra_forbidden", "string_unicode"):
                    where = ".".join(str(step) for step in wrong["loc"])
                    raise InputError(
                        f"The {entry.kind} {entry.id}, {where[:100]}: {wrong['msg']}"
                    ) from error


def _keep_file(shop: Shop, zipped: zipfile.ZipFile, one: FileExportKeys) -> None:
    """Store a file under the hash it has; one that has another is thrown away again."""

    def pieces() -> Iterator[bytes]:
        with zipped.open(f"files/{one.sha256}") as file:
            while piece := file.read(PIECE_BYTES):
                yield piece

    stored = shop.files.put(pieces(), most_bytes=min(one.bytes, MOST_FILE_BYTES))
    if stored.sha256 != one.sha256:
        if not stored.was_there:
            shop.files.remove(stored.sha256)
        raise InputError(f"files/{one.sha256[:12]}... is damaged: its hash is another")
    shop.record.keep_file(stored, one.media_type)


def _without_gone(rows: JobRows, there: Container[str]) -> JobRows:
    """Files that were gone at the export stay named in the entries, but are not held on to."""
    return replace(
        rows,
        entries=tuple(
            replace(entry, files=tuple(one for one in entry.files if one in there))
            for entry in rows.entries
        ),
    )
