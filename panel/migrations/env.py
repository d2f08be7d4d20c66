"""Runs the migrations on the connection that `Database.migrate` hands over."""

from alembic import context
from sqlmodel import SQLModel

from panel.store import bench_tables, tables  # noqa: F401 - importing fills the metadata

connection = context.config.attributes["connection"]
context.configure(
    connection=connection,
    target_metadata=SQLModel.metadata,
    render_as_batch=True,
)
with context.begin_transaction():
    context.run_migrations()
