"""Questions that nearly every page asks: made once, and on SQLite put to the driver itself.

There SQLAlchemy takes some 17 microseconds a question for what the driver answers in two.
"""

import sqlite3
from collections.abc import Callable, Sequence
from typing import Any, Final, NamedTuple

from sqlalchemy import CompoundSelect, Connection, Select
from sqlalchemy.engine import Dialect

Row = tuple[Any, ...]
_DRIVER: Final = "pysqlite"


class _Made(NamedTuple):
    """A question as SQLite's driver takes it.

    ``values`` are those that the question itself has, ``names`` all in their order; ``readers``
    turn what a column of the answer holds into its value.
    """

    text: str
    values: dict[str, Any]
    names: Sequence[str]
    readers: Sequence[tuple[int, Callable[[Any], Any]]]


class Asked:
    """A question whose values are plain text and numbers, told each time by their names.

    Parameters
    ----------
    query : Select or CompoundSelect
        Without lists of values: how many there are would change its text.
    """

    def __init__(self, query: Select[*tuple[Any, ...]] | CompoundSelect[*tuple[Any, ...]]) -> None:
        self.query = query
        self._columns = tuple(column.name for column in query.selected_columns)
        self._made: _Made | None = None

    def rows(self, connection: Connection, **values: str | int) -> list[Row]:
        """Return the rows of the answer.

        Raises
        ------
        DatabaseError
            Of SQLAlchemy, as by ``Connection.execute``.
        """
        if connection.dialect.driver != _DRIVER:
            return [tuple(row) for row in connection.execute(self.query, values)]
        made = self._made or self._make(connection.dialect)
        told = made.values | values
        try:
            asked = connection.connection.cursor().execute(
                made.text, [told[name] for name in made.names]
            )
            found: list[Row] = asked.fetchall()
        except sqlite3.Error:
            # SQLAlchemy says the same in its own words, which all the store understands.
            return [tuple(row) for row in connection.execute(self.query, values)]
        return [_read(row, made.readers) for row in found] if made.readers else found

    def one(self, connection: Connection, **values: str | int) -> Row | None:
        """Return the first row of the answer, None where it has none."""
        rows = self.rows(connection, **values)
        return rows[0] if rows else None

    def scalar(self, connection: Connection, **values: str | int) -> Any:
        """Return the first value of the first row, None where there is none."""
        rows = self.rows(connection, **values)
        return rows[0][0] if rows else None

    def named(self, connection: Connection, **values: str | int) -> list[dict[str, Any]]:
        """Return the rows of the answer, each by the names of its columns."""
        columns = self._columns
        return [dict(zip(columns, row, strict=True)) for row in self.rows(connection, **values)]

    def _make(self, dialect: Dialect) -> _Made:
        # Lists that the question itself has are written out.
        compiled = self.query.compile(dialect=dialect, compile_kwargs={"render_postcompile": True})
        readers = [
            (at, column.type.dialect_impl(dialect).result_processor(dialect, None))
            for at, column in enumerate(self.query.selected_columns)
        ]
        # One assignment, so that threads see it whole.
        self._made = _Made(
            text=str(compiled),
            values={name: value for name, value in compiled.params.items() if value is not None},
            names=compiled.positiontup or (),
            readers=[(at, read) for at, read in readers if read is not None],
        )
        return self._made


def _read(row: Row, readers: Sequence[tuple[int, Callable[[Any], Any]]]) -> Row:
    values = list(row)
    # Most columns of a row of many tables are empty, and no reader makes anything of nothing.
    for at, read in readers:
        if values[at] is not None:
            values[at] = read(values[at])
    return tuple(values)
