"""Runs migrations on the connection it is given."""

from __future__ import annotations

from alembic import context

from beltside.jobs.schema import METADATA

context.configure(
    connection=context.config.attributes["connection"],
    target_metadata=METADATA,
    render_as_batch=True,
)
context.run_migrations()
