"""Who may come in from another device: paired phones, codes to pair with, owners' links."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "access",
        sa.Column("id", sa.String(length=32), nullable=False),
        sa.Column("kind", sa.String(length=12), nullable=False),
        sa.Column("secret_sha256", sa.String(length=64), nullable=False),
        sa.Column("role", sa.String(length=12), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("job_id", sa.String(length=32), nullable=True),
        sa.Column("entry_id", sa.String(length=64), nullable=True),
        sa.Column("made_at", sa.BigInteger(), nullable=False),
        sa.Column("made_by", sa.Text(), nullable=False),
        sa.Column("expires_at", sa.BigInteger(), nullable=False),
        sa.Column("seen_at", sa.BigInteger(), nullable=True),
        sa.Column("ended_at", sa.BigInteger(), nullable=True),
        sa.Column("how_ended", sa.String(length=12), nullable=True),
        sa.ForeignKeyConstraint(
            ["entry_id"], ["entry.id"], name="fk_access_entry_id", ondelete="CASCADE"
        ),
        sa.ForeignKeyConstraint(
            ["job_id"], ["job.id"], name="fk_access_job_id", ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("id", name="pk_access"),
        sa.UniqueConstraint("secret_sha256", name="uq_access_secret_sha256"),
    )
    op.create_index("ix_access_job_id", "access", ["job_id"], unique=False)
    op.create_index("ix_access_kind_made_at", "access", ["kind", "made_at"], unique=False)


def downgrade() -> None:
    op.drop_index("ix_access_kind_made_at", table_name="access")
    op.drop_index("ix_access_job_id", table_name="access")
    op.drop_table("access")
