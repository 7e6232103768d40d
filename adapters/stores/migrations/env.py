"""What Alembic runs around the steps: our connection, in the transaction it is already in."""

from alembic import context

context.configure(connection=context.config.attributes["connection"])
context.run_migrations()
