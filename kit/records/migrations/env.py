"""Alembic's entry: runs the revisions on the connection that `keeping.upgrade` hands over."""

from alembic import context

# batch: SQLite cannot change a column, so Alembic builds the table anew
context.configure(connection=context.config.attributes["connection"], render_as_batch=True)
with context.begin_transaction():
    context.run_migrations()
