"""All rows below a few jobs by one question: asking costs more than the rows of a job."""

from collections import Counter, defaultdict
from collections.abc import Callable, Iterator, Sequence
from functools import cache
from operator import itemgetter
from typing import Any, Final

from sqlalchemy import (
    BindParameter,
    Column,
    ColumnElement,
    CompoundSelect,
    Connection,
    Select,
    bindparam,
    cast,
    literal_column,
    null,
    select,
    union_all,
)

from kb.store.asked import Asked
from kb.store.columns import Base, table_of
from kb.store.shapes import SHAPES
from kb.store.tables import FieldRow, LineRow

# Rows by table: the keys, then the columns that hold what a row says.
Below = dict[type[Base], list[tuple[Any, ...]]]
COLUMNS: Final[dict[type[Base], tuple[str, ...]]] = {
    LineRow: ("text",),
    FieldRow: ("name", "value"),
    **{shape.table: shape.names for shape in SHAPES},
}
# What a row of the answer begins with after the number of its table.
_KEYS: Final = ("job_id", "parent", "ordinal")


def _types(row_type: type[Base]) -> list[type]:
    return [type(row_type.__table__.c[name].type) for name in COLUMNS[row_type]]


@cache
def _row() -> tuple[type, ...]:
    """Return the types of one row of the answer, of each as many as a table has at most."""
    most = Counter[type]()
    for row_type in COLUMNS:
        most |= Counter(_types(row_type))
    return tuple(most.elements())


@cache
def _places(row_type: type[Base]) -> tuple[int, ...]:
    """Return where the columns of a table lie in a row of the answer: at places of their type."""
    types, row = _types(row_type), _row()
    return tuple(row.index(kind) + types[:at].count(kind) for at, kind in enumerate(types))


@cache
def _of_some() -> CompoundSelect[Any]:
    """Return the question for the rows of all tables; the ids of the jobs are to be told."""
    ids: BindParameter[str] = bindparam("ids", expanding=True)
    return _question(lambda column: column.in_(ids))


@cache
def _of_one() -> Asked:
    """Return the same question for one job."""
    return Asked(_question(lambda column: column == bindparam("job")))


def _question(is_wanted: Callable[[Column[str]], ColumnElement[bool]]) -> CompoundSelect[Any]:
    asked = [_of_table(number, row_type, is_wanted) for number, row_type in enumerate(COLUMNS)]
    return union_all(*asked)


def _of_table(
    number: int,
    row_type: type[Base],
    is_wanted: Callable[[Column[str]], ColumnElement[bool]],
) -> Select[Any]:
    columns = table_of(row_type).c
    # PostgreSQL takes a NULL of no type for text, which goes with no number.
    row: list[ColumnElement[Any]] = [cast(null(), kind) for kind in _row()]
    for name, place in zip(COLUMNS[row_type], _places(row_type), strict=True):
        row[place] = columns[name]
    keys = [columns.get(name, literal_column("0")).label(name) for name in _KEYS]
    said = [column.label(f"place_{place}") for place, column in enumerate(row)]
    asked = select(literal_column(str(number)).label("number"), *keys, *said)
    return asked.where(is_wanted(columns.job_id))


@cache
def _readers() -> tuple[tuple[type[Base], Callable[[Any], tuple[Any, ...]]], ...]:
    """Return each table with what takes its keys and columns out of a row of the answer."""
    return tuple((row_type, itemgetter(*_taken(row_type))) for row_type in COLUMNS)


def _taken(row_type: type[Base]) -> Iterator[int]:
    keys = {key.name for key in row_type.__table__.primary_key}
    yield from (at for at, name in enumerate(_KEYS, 1) if name in keys)
    yield from (1 + len(_KEYS) + place for place in _places(row_type))


def rows_below(connection: Connection, ids: tuple[str, ...]) -> Below:
    """Return all rows below the jobs ``ids`` by table, in the order of their keys.

    Of each the keys come first, then the columns of ``COLUMNS``.
    """
    readers, found = _readers(), defaultdict[type[Base], list[tuple[Any, ...]]](list)
    rows: Sequence[Sequence[Any]] = (
        _of_one().rows(connection, job=ids[0])
        if len(ids) == 1
        else connection.execute(_of_some(), {"ids": ids}).all()
    )
    # In the order of table and keys; a database takes longer to sort so few.
    for row in sorted(rows, key=itemgetter(0, *range(1, 1 + len(_KEYS)))):
        row_type, read = readers[row[0]]
        found[row_type].append(read(row))
    return found
