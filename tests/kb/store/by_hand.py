"""A change of the database behind the store's back, on either engine."""

from sqlalchemy import text

from kb.store.engine import begin, make_engine


def by_hand(url: str, sql: str, **values: object) -> None:
    """Run one statement in a transaction of its own; values by name, ``:name`` in the statement."""
    engine = make_engine(url)
    try:
        with begin(engine, writes=True) as connection:
            connection.execute(text(sql), values)
    finally:
        engine.dispose()
