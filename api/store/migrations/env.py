"""What Alembic runs: the steps still missing, on the connection that `api.store.migrate` hands over.

Everything happens in that connection's transaction, so that a crash leaves the old shape or the new
one, never a mixture. By hand, for writing a new step: see `api.store.migrate.alembic_config`.
"""

from alembic import context

from api.store.tables import metadata


def run_steps() -> None:
    """Run the missing steps in the transaction that is already open."""
    context.configure(
        connection=context.config.attributes["connection"],
        target_metadata=metadata,
        transactional_ddl=True,
        render_as_batch=True,
    )
    context.run_migrations()


if getattr(context, "_proxy", None) is not None:  # imported by a reader of the code: nothing to run
    run_steps()
