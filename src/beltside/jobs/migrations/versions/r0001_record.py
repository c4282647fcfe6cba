"""The record: jobs, entries with their versions, stored files, analyses, search, sounds.

Column types are written as the databases know them, so that this step stays the same when
`columns.py` changes.
"""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None
branch_labels = None
depends_on = None


def bytewise(length: int) -> sa.String:
    """Text that sorts by its code points on every database."""
    there = sa.String(length, collation="C")
    return sa.String(length).with_variant(there, "postgresql")


def upgrade() -> None:
    op.create_table(
        "counter",
        sa.Column("name", sa.String(length=40), nullable=False),
        sa.Column("value", sa.BigInteger(), nullable=False),
        sa.PrimaryKeyConstraint("name", name="pk_counter"),
    )
    op.create_table(
        "job",
        sa.Column("id", sa.String(length=32), nullable=False),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("created_at", sa.BigInteger(), nullable=False),
        sa.Column("created_by", sa.Text(), nullable=False),
        sa.Column("changed_at", sa.BigInteger(), nullable=False),
        sa.Column("change", sa.BigInteger(), nullable=False),
        sa.Column("stage", sa.String(length=20), nullable=False),
        sa.Column("closed_at", sa.BigInteger(), nullable=True),
        sa.Column("card", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("id", name="pk_job"),
        sa.UniqueConstraint("number", name="uq_job_number"),
    )
    op.create_index("ix_job_changed_at", "job", ["changed_at"], unique=False)
    op.create_index("ix_job_stage_changed_at", "job", ["stage", "changed_at"], unique=False)
    op.create_table(
        "stored_file",
        sa.Column("sha256", sa.String(length=64), nullable=False),
        sa.Column("bytes", sa.BigInteger(), nullable=False),
        sa.Column("media_type", sa.String(length=100), nullable=False),
        sa.Column("added_at", sa.BigInteger(), nullable=False),
        sa.PrimaryKeyConstraint("sha256", name="pk_stored_file"),
    )
    op.create_table(
        "term",
        sa.Column("id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("word", bytewise(64), nullable=False),
        sa.Column("jobs", sa.Integer(), nullable=False),
        sa.PrimaryKeyConstraint("id", name="pk_term"),
        sa.UniqueConstraint("word", name="uq_term_word"),
    )
    op.create_table(
        "analysis",
        sa.Column("id", sa.String(length=32), nullable=False),
        sa.Column("method", sa.String(length=40), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("subject", sa.String(length=64), nullable=False),
        sa.Column("settings_key", sa.String(length=64), nullable=False),
        sa.Column("settings", sa.Text(), nullable=False),
        sa.Column("job_id", sa.String(length=32), nullable=True),
        sa.Column("asked_at", sa.BigInteger(), nullable=False),
        sa.Column("state", sa.String(length=12), nullable=False),
        sa.Column("progress", sa.Integer(), nullable=False),
        sa.Column("doing", sa.Text(), nullable=False),
        sa.Column("worker", sa.String(length=64), nullable=True),
        sa.Column("beat_at", sa.BigInteger(), nullable=True),
        sa.Column("attempts", sa.Integer(), nullable=False),
        sa.Column("started_at", sa.BigInteger(), nullable=True),
        sa.Column("ended_at", sa.BigInteger(), nullable=True),
        sa.Column("result", sa.Text(), nullable=True),
        sa.Column("problem", sa.Text(), nullable=True),
        sa.ForeignKeyConstraint(
            ["job_id"], ["job.id"], name="fk_analysis_job_id", ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("id", name="pk_analysis"),
        sa.UniqueConstraint(
            "method",
            "version",
            "subject",
            "settings_key",
            name="uq_analysis_method_version_subject_settings_key",
        ),
    )
    op.create_index("ix_analysis_job_id", "analysis", ["job_id"], unique=False)
    op.create_index("ix_analysis_state_asked_at", "analysis", ["state", "asked_at"], unique=False)
    op.create_index("ix_analysis_subject", "analysis", ["subject"], unique=False)
    op.create_table(
        "entry",
        sa.Column("id", sa.String(length=64), nullable=False),
        sa.Column("job_id", sa.String(length=32), nullable=True),
        sa.Column("kind", sa.String(length=40), nullable=False),
        sa.Column("created_at", sa.BigInteger(), nullable=False),
        sa.Column("place", sa.BigInteger(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("at", sa.BigInteger(), nullable=False),
        sa.Column("by", sa.Text(), nullable=False),
        sa.Column("removed", sa.Boolean(), nullable=False),
        sa.Column("body", sa.Text(), nullable=False),
        sa.Column("clash", sa.Text(), nullable=True),
        sa.ForeignKeyConstraint(["job_id"], ["job.id"], name="fk_entry_job_id", ondelete="CASCADE"),
        sa.PrimaryKeyConstraint("id", name="pk_entry"),
        sa.UniqueConstraint("job_id", "place", name="uq_entry_job_id_place"),
    )
    op.create_index("ix_entry_kind", "entry", ["kind"], unique=False)
    op.create_table(
        "term_gram",
        sa.Column("gram", bytewise(10), nullable=False),
        sa.Column("term_id", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(
            ["term_id"], ["term.id"], name="fk_term_gram_term_id", ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("gram", "term_id", name="pk_term_gram"),
        sqlite_with_rowid=False,
    )
    op.create_index("ix_term_gram_term_id", "term_gram", ["term_id"], unique=False)
    op.create_table(
        "entry_version",
        sa.Column("entry_id", sa.String(length=64), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("at", sa.BigInteger(), nullable=False),
        sa.Column("by", sa.Text(), nullable=False),
        sa.Column("removed", sa.Boolean(), nullable=False),
        sa.Column("body", sa.Text(), nullable=False),
        sa.Column("clash", sa.Text(), nullable=True),
        sa.Column("how", sa.String(length=20), nullable=False),
        sa.ForeignKeyConstraint(
            ["entry_id"], ["entry.id"], name="fk_entry_version_entry_id", ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("entry_id", "version", name="pk_entry_version"),
    )
    op.create_table(
        "file_use",
        sa.Column("sha256", sa.String(length=64), nullable=False),
        sa.Column("entry_id", sa.String(length=64), nullable=False),
        sa.ForeignKeyConstraint(
            ["entry_id"], ["entry.id"], name="fk_file_use_entry_id", ondelete="CASCADE"
        ),
        sa.ForeignKeyConstraint(["sha256"], ["stored_file.sha256"], name="fk_file_use_sha256"),
        sa.PrimaryKeyConstraint("sha256", "entry_id", name="pk_file_use"),
    )
    op.create_index("ix_file_use_entry_id", "file_use", ["entry_id"], unique=False)
    op.create_table(
        "sound",
        sa.Column("entry_id", sa.String(length=64), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("job_id", sa.String(length=32), nullable=False),
        sa.Column("cause", sa.String(length=60), nullable=True),
        sa.Column("hidden", sa.Boolean(), nullable=False),
        sa.Column("change", sa.BigInteger(), nullable=False),
        sa.Column("vector", sa.LargeBinary(), nullable=False),
        sa.ForeignKeyConstraint(
            ["entry_id"], ["entry.id"], name="fk_sound_entry_id", ondelete="CASCADE"
        ),
        sa.ForeignKeyConstraint(["job_id"], ["job.id"], name="fk_sound_job_id", ondelete="CASCADE"),
        sa.PrimaryKeyConstraint("entry_id", "version", name="pk_sound"),
    )
    op.create_index("ix_sound_change", "sound", ["change"], unique=False)
    op.create_index("ix_sound_job_id", "sound", ["job_id"], unique=False)
    op.create_table(
        "term_use",
        sa.Column("term_id", sa.Integer(), nullable=False),
        sa.Column("job_number", sa.Integer(), nullable=False),
        sa.Column("entries", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(
            ["job_number"], ["job.number"], name="fk_term_use_job_number", ondelete="CASCADE"
        ),
        sa.ForeignKeyConstraint(["term_id"], ["term.id"], name="fk_term_use_term_id"),
        sa.PrimaryKeyConstraint("term_id", "job_number", name="pk_term_use"),
        sqlite_with_rowid=False,
    )
    op.create_index("ix_term_use_job_number", "term_use", ["job_number"], unique=False)


def downgrade() -> None:
    op.drop_index("ix_term_use_job_number", table_name="term_use")
    op.drop_table("term_use")
    op.drop_index("ix_sound_job_id", table_name="sound")
    op.drop_index("ix_sound_change", table_name="sound")
    op.drop_table("sound")
    op.drop_index("ix_file_use_entry_id", table_name="file_use")
    op.drop_table("file_use")
    op.drop_table("entry_version")
    op.drop_index("ix_term_gram_term_id", table_name="term_gram")
    op.drop_table("term_gram")
    op.drop_index("ix_entry_kind", table_name="entry")
    op.drop_table("entry")
    op.drop_index("ix_analysis_subject", table_name="analysis")
    op.drop_index("ix_analysis_state_asked_at", table_name="analysis")
    op.drop_index("ix_analysis_job_id", table_name="analysis")
    op.drop_table("analysis")
    op.drop_table("term")
    op.drop_table("stored_file")
    op.drop_index("ix_job_stage_changed_at", table_name="job")
    op.drop_index("ix_job_changed_at", table_name="job")
    op.drop_table("job")
    op.drop_table("counter")
