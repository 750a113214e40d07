"""Alembic's entry: over the connection that ``kb.store.migrate`` hands in, or one made here."""

import os

from alembic import context
from sqlalchemy import Connection, TypeDecorator, create_engine

from kb.store import shop_tables, week_tables  # noqa: F401 - their tables belong to the metadata
from kb.store.tables import JobRow


def render_item(kind: str, item: object, _: object) -> str | bool:
    """Write our own types as what they are in the database, so that migrations need no kb."""
    if kind == "type" and isinstance(item, TypeDecorator):
        return f"sa.{type(item.impl_instance).__name__}()"
    return False


def run(connection: Connection) -> None:
    """Run the asked migrations over ``connection``."""
    context.configure(
        connection=connection,
        target_metadata=JobRow.metadata,
        render_item=render_item,
        render_as_batch=connection.dialect.name == "sqlite",
    )
    with context.begin_transaction():
        context.run_migrations()


given = context.config.attributes.get("connection")
if given is not None:
    run(given)
else:
    # The developer's way: `alembic revision --autogenerate` compares with the shop at BAYBOOK_DB.
    engine = create_engine(os.environ["BAYBOOK_DB"])
    with engine.connect() as connection:
        run(connection)
    engine.dispose()
