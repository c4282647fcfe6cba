"""The record's tables.

`migrations/` makes them; a test holds the two together on every database.
"""

from __future__ import annotations

from typing import Final

from sqlalchemy import (
    BigInteger,
    Boolean,
    Column,
    ForeignKey,
    Index,
    Integer,
    LargeBinary,
    MetaData,
    PrimaryKeyConstraint,
    String,
    Table,
    Text,
    UniqueConstraint,
)

from beltside.jobs.columns import BytewiseText, PlainJson, UtcTime

METADATA: Final = MetaData(
    naming_convention={
        "ix": "ix_%(table_name)s_%(column_0_N_name)s",
        "uq": "uq_%(table_name)s_%(column_0_N_name)s",
        "fk": "fk_%(table_name)s_%(column_0_N_name)s",
        "pk": "pk_%(table_name)s",
    }
)


def _checksum() -> Column[str]:
    """What `sealed_rows.py` writes: damage to any other column of the row is told by it."""
    return Column("checksum", String(32), nullable=False, server_default="")


COUNTER: Final = Table(
    "counter",
    METADATA,
    Column("name", String(40), primary_key=True),
    Column("value", BigInteger, nullable=False),
)

# The card: what a list of jobs shows, worked out anew from the entries with every change.
JOB: Final = Table(
    "job",
    METADATA,
    Column("id", String(32), primary_key=True),
    Column("number", Integer, nullable=False),
    Column("created_at", UtcTime, nullable=False),
    Column("created_by", Text, nullable=False),
    Column("changed_at", UtcTime, nullable=False),
    Column("change", BigInteger, nullable=False),
    Column("stage", String(20), nullable=False),
    Column("closed_at", UtcTime),
    Column("card", PlainJson, nullable=False),
    _checksum(),
    UniqueConstraint("number"),
    Index(None, "stage", "changed_at"),
    Index(None, "changed_at"),
)

# What an entry is now. `job_id` is empty for what belongs to the shop and to no job: its settings.
ENTRY: Final = Table(
    "entry",
    METADATA,
    Column("id", String(64), primary_key=True),
    Column("job_id", String(32), ForeignKey("job.id", ondelete="CASCADE")),
    Column("kind", String(40), nullable=False),
    Column("created_at", UtcTime, nullable=False),
    Column("place", BigInteger, nullable=False),
    Column("version", Integer, nullable=False),
    Column("at", UtcTime, nullable=False),
    Column("by", Text, nullable=False),
    Column("removed", Boolean, nullable=False),
    Column("body", PlainJson, nullable=False),
    Column("clash", PlainJson),
    _checksum(),
    UniqueConstraint("job_id", "place"),
    Index(None, "kind"),
)

# All it ever was; the newest one is repeated in `entry`.
ENTRY_VERSION: Final = Table(
    "entry_version",
    METADATA,
    Column("entry_id", String(64), ForeignKey("entry.id", ondelete="CASCADE"), nullable=False),
    Column("version", Integer, nullable=False),
    Column("at", UtcTime, nullable=False),
    Column("by", Text, nullable=False),
    Column("removed", Boolean, nullable=False),
    Column("body", PlainJson, nullable=False),
    Column("clash", PlainJson),
    Column("how", String(20), nullable=False),
    _checksum(),
    PrimaryKeyConstraint("entry_id", "version"),
)

STORED_FILE: Final = Table(
    "stored_file",
    METADATA,
    Column("sha256", String(64), primary_key=True),
    Column("bytes", BigInteger, nullable=False),
    Column("media_type", String(100), nullable=False),
    Column("added_at", UtcTime, nullable=False),
    _checksum(),
)

# Which entries need a stored file, in any version: it may go only when none does.
FILE_USE: Final = Table(
    "file_use",
    METADATA,
    Column("sha256", String(64), ForeignKey("stored_file.sha256"), nullable=False),
    Column("entry_id", String(64), ForeignKey("entry.id", ondelete="CASCADE"), nullable=False),
    PrimaryKeyConstraint("sha256", "entry_id"),
    Index(None, "entry_id"),
)

# One row for each piece of work: never twice for the same file, settings and method.
ANALYSIS: Final = Table(
    "analysis",
    METADATA,
    Column("id", String(32), primary_key=True),
    Column("method", String(40), nullable=False),
    Column("version", Integer, nullable=False),
    Column("subject", String(64), nullable=False),
    Column("settings_key", String(64), nullable=False),
    Column("settings", PlainJson, nullable=False),
    Column("job_id", String(32), ForeignKey("job.id", ondelete="CASCADE")),
    Column("asked_at", UtcTime, nullable=False),
    Column("state", String(12), nullable=False),
    Column("progress", Integer, nullable=False),
    Column("doing", Text, nullable=False),
    Column("worker", String(64)),
    Column("beat_at", UtcTime),
    Column("attempts", Integer, nullable=False),
    Column("started_at", UtcTime),
    Column("ended_at", UtcTime),
    Column("result", PlainJson),
    Column("problem", Text),
    _checksum(),
    UniqueConstraint("method", "version", "subject", "settings_key"),
    Index(None, "state", "asked_at"),
    Index(None, "job_id"),
    Index(None, "subject"),
)

# Search: the distinct words of all jobs, in how many jobs each stands; the keys by which a word is
# found though it was typed wrongly; and how many entries of a job hold it. `words.py` makes them.
TERM: Final = Table(
    "term",
    METADATA,
    Column("id", Integer, primary_key=True, autoincrement=False),
    Column("word", BytewiseText(64), nullable=False),
    Column("jobs", Integer, nullable=False),
    UniqueConstraint("word"),
)
TERM_GRAM: Final = Table(
    "term_gram",
    METADATA,
    Column("gram", BytewiseText(10), nullable=False),
    Column("term_id", Integer, ForeignKey("term.id", ondelete="CASCADE"), nullable=False),
    PrimaryKeyConstraint("gram", "term_id"),
    Index(None, "term_id"),
    sqlite_with_rowid=False,
)
TERM_USE: Final = Table(
    "term_use",
    METADATA,
    Column("term_id", Integer, ForeignKey("term.id"), nullable=False),
    Column("job_number", Integer, ForeignKey("job.number", ondelete="CASCADE"), nullable=False),
    Column("entries", Integer, nullable=False),
    PrimaryKeyConstraint("term_id", "job_number"),
    Index(None, "job_number"),
    sqlite_with_rowid=False,
)

# Fingerprints of takes as unit vectors. `version` is that of the method that made them, `cause`
# is filled when the job is closed, `change` counts up with every change of any row.
SOUND: Final = Table(
    "sound",
    METADATA,
    Column("entry_id", String(64), ForeignKey("entry.id", ondelete="CASCADE"), nullable=False),
    Column("version", Integer, nullable=False),
    Column("job_id", String(32), ForeignKey("job.id", ondelete="CASCADE"), nullable=False),
    Column("cause", String(60)),
    Column("hidden", Boolean, nullable=False),
    Column("change", BigInteger, nullable=False),
    Column("vector", LargeBinary, nullable=False),
    _checksum(),
    PrimaryKeyConstraint("entry_id", "version"),
    Index(None, "job_id"),
    Index(None, "change"),
)

# What lets somebody in from another device: a paired phone, a code to pair one with, an owner's
# link. Of the secret itself only the hash is kept.
ACCESS: Final = Table(
    "access",
    METADATA,
    Column("id", String(32), primary_key=True),
    Column("kind", String(12), nullable=False),
    Column("secret_sha256", String(64), nullable=False),
    Column("role", String(12), nullable=False),
    Column("name", Text, nullable=False),
    Column("job_id", String(32), ForeignKey("job.id", ondelete="CASCADE")),
    Column("entry_id", String(64), ForeignKey("entry.id", ondelete="CASCADE")),
    Column("made_at", UtcTime, nullable=False),
    Column("made_by", Text, nullable=False),
    Column("expires_at", UtcTime, nullable=False),
    Column("seen_at", UtcTime),
    Column("ended_at", UtcTime),
    Column("how_ended", String(12)),
    _checksum(),
    UniqueConstraint("secret_sha256"),
    Index(None, "job_id"),
    Index(None, "kind", "made_at"),
)
