"""Run by alembic: uses the connection and the transaction of `upgrade.py`."""

from alembic import context

from api.store import Base

context.configure(
    connection=context.config.attributes["connection"],
    target_metadata=Base.metadata,
    render_as_batch=True,
    transactional_ddl=True,
    transaction_per_migration=False,
)
context.run_migrations()
