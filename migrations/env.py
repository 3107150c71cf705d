"""Run by alembic, and only through `logbook.store.migrate`, which hands over an open connection.

The whole way from the database's revision to the newest is one transaction: it arrives, or nothing was changed.
"""

from alembic import context

connection = context.config.attributes["connection"]
context.configure(connection=connection, target_metadata=None, transactional_ddl=True)
with context.begin_transaction():
    context.run_migrations()
