"""Runs migrations on the connection it is given; merely imported, it does nothing."""

from __future__ import annotations

from alembic import context

from beltside.jobs.schema import METADATA

CONFIG = getattr(context, "config", None)

if CONFIG is not None:
    context.configure(
        connection=CONFIG.attributes["connection"],
        target_metadata=METADATA,
        render_as_batch=True,
    )
    context.run_migrations()
