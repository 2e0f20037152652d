"""Run by Alembic: applies the steps on the connection that `record.write` hands over."""

from alembic import context

from release.record.schema import metadata

context.configure(
    connection=context.config.attributes["connection"],
    target_metadata=metadata,
    transactional_ddl=True,  # a killed migration leaves the old version whole, on SQLite too
)
with context.begin_transaction():
    context.run_migrations()
