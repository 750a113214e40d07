"""Whether a database is sound: its pages, schema, rows and the files of SQLite around it.

Looks at a database as it is, even one that ``open_store`` refuses. Nothing here changes a row.
"""

from collections.abc import Iterator
from contextlib import contextmanager
from datetime import datetime
from pathlib import Path
from typing import Any, Final, Self

from sqlalchemy import Connection, Engine, Inspector, Table, exists, func, inspect, select, text
from sqlalchemy.exc import SQLAlchemyError

from kb.errors import KBError, StoreError
from kb.store.columns import Base
from kb.store.engine import begin, make_engine, sqlite_file
from kb.store.journal import Pen
from kb.store.photos import PHOTO_VERB
from kb.store.seals import broken_seals, sealed_tables
from kb.store.shop_tables import JobPhotoRow, PhotoRow
from kb.store.tables import SCHEMA_REVISION, HistoryRow, JobRow
from kb.store.truncation import lost_bytes
from kb.store.unit_of_work import UnitOfWork

# Lines of the database's own check that are kept; the first ones say enough (our choice).
_MOST_LINES: Final = 20


class Soundness:
    """Questions about one database; each answers with what is wrong, nothing where all is well.

    Raises
    ------
    StoreError
        By every question, where the database cannot even be asked.
    """

    def __init__(self, engine: Engine, file: Path | None) -> None:
        self._engine = engine
        self._file = file

    @contextmanager
    def _asked(self) -> Iterator[Connection]:
        try:
            with begin(self._engine, writes=False) as connection:
                yield connection
        except (SQLAlchemyError, TypeError, ValueError, LookupError) as error:
            raise StoreError(f"cannot be read: {getattr(error, 'orig', error)}") from error

    def revision(self) -> str:
        """Return the number of the schema."""
        with self._asked() as connection:
            return str(connection.scalar(text("SELECT version_num FROM alembic_version")))

    def schema(self) -> tuple[str, ...]:
        """Return where the tables are not those of this program."""
        found = self.revision()
        if found != SCHEMA_REVISION:
            return (f"expected schema {SCHEMA_REVISION}, got {found}",)
        with self._asked() as connection:
            seen = inspect(connection)
            names = set(seen.get_table_names())
            missing = tuple(
                f"no table {name}" for name in Base.metadata.tables if name not in names
            )
            return missing or tuple(
                f"table {table.name} is not as it was made"
                for table in Base.metadata.sorted_tables
                if _seen(seen, table, self._engine) != _made(table, self._engine)
            )

    def pages(self) -> tuple[str, ...]:
        """Return what the database's own check of its pages and indexes finds; SQLite alone."""
        if self._file is None:
            return ()
        with self._asked() as connection:
            if lost := lost_bytes(connection, self._file):
                return (f"the file ends {lost} bytes too early",)
            lines = connection.exec_driver_sql(f"PRAGMA integrity_check({_MOST_LINES})")
            return tuple(str(row[0]) for row in lines if row[0] != "ok")

    def orphans(self) -> tuple[str, ...]:
        """Return the tables with rows whose job is gone; PostgreSQL never lets that happen."""
        if self._file is None:
            return ()
        with self._asked() as connection:
            rows = connection.exec_driver_sql("PRAGMA foreign_key_check").all()
            return tuple(sorted({str(row[0]) for row in rows}))

    def damaged_jobs(self) -> tuple[str, ...]:
        """Return the ids of the jobs that changed since they were written."""
        with self._asked() as connection:
            unit = UnitOfWork(Pen(connection, who=None, at=None))
            try:
                wrong = set(unit.jobs.verify_hashes())
            except KBError as error:
                raise StoreError(f"cannot be read: {error}") from error
            # The hash covers the job, the seal what else stands in its row.
            sealed = Base.metadata.tables[JobRow.__tablename__]
            wrong |= set(broken_seals(connection, sealed) or ())
            return tuple(sorted(wrong))

    def changed_rows(self) -> tuple[str, ...]:
        """Return the tables beside the jobs with rows that changed since they were written."""
        found = []
        with self._asked() as connection:
            for table in sealed_tables():
                if table.name == JobRow.__tablename__:
                    continue
                broken = broken_seals(connection, table)
                if broken is None:
                    found.append(f"{table.name}: cannot be read")
                elif broken:
                    found.append(f"{table.name}: {len(broken)}")
        return tuple(found)

    def without_history(self) -> tuple[str, ...]:
        """Return the ids of jobs that no line of history tells of."""
        told = exists().where(HistoryRow.job_id == JobRow.id)
        with self._asked() as connection:
            return tuple(connection.scalars(select(JobRow.id).where(~told).order_by(JobRow.id)))

    def out_of_order(self) -> int:
        """Return how many jobs were written oftener than lines of history tell.

        Every write of a job is one line and one revision; a photo is a line alone.
        """
        writes = (HistoryRow.job_id == JobRow.id) & (HistoryRow.verb != PHOTO_VERB)
        lines = select(func.count()).where(writes).scalar_subquery()
        with self._asked() as connection:
            query = select(func.count()).select_from(JobRow).where(JobRow.revision > lines)
            return connection.scalar(query) or 0

    def newest_line(self) -> datetime | None:
        """Return when the newest line of history was written."""
        with self._asked() as connection:
            query = select(HistoryRow.at).order_by(HistoryRow.seq.desc()).limit(1)
            return connection.scalar(query)

    def photos(self) -> dict[str, int]:
        """Return by hash how many bytes each kept photo has; -1 where a job's photo is unknown."""
        with self._asked() as connection:
            known: dict[str, int] = {
                row.content_hash: row.size_bytes
                for row in connection.execute(select(PhotoRow.content_hash, PhotoRow.size_bytes))
            }
            of_jobs = connection.scalars(select(JobPhotoRow.content_hash)).all()
        return {name: -1 for name in of_jobs if name not in known} | known

    def close(self) -> None:
        """Close every connection."""
        self._engine.dispose()

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()


def look_into(url: str) -> Soundness:
    """Return the questions about the database at ``url``.

    Raises
    ------
    StoreError
        If there is none.
    """
    file = sqlite_file(url)
    if file is not None and not (file.is_file() and file.stat().st_size):
        raise StoreError(f"expected the shop's records in {file}, got none")
    return Soundness(make_engine(url), file)


def _seen(found: Inspector, table: Table, engine: Engine) -> list[Any]:
    """Return what a table of the database consists of."""
    name = table.name
    # The order of signs that PostgreSQL is told is no part of a type.
    columns = [
        (row["name"], row["type"].compile(engine.dialect).partition(" COLLATE")[0], row["nullable"])
        for row in found.get_columns(name)
    ]
    return _sorted(
        columns,
        found.get_pk_constraint(name)["constrained_columns"],
        (row["constrained_columns"] for row in found.get_foreign_keys(name)),
        (row["column_names"] for row in found.get_indexes(name) if not row["unique"]),
    )


def _made(table: Table, engine: Engine) -> list[Any]:
    """Return what a table of this program consists of."""
    columns = [
        (column.name, column.type.compile(engine.dialect), column.nullable) for column in table.c
    ]
    return _sorted(
        columns,
        [column.name for column in table.primary_key],
        (row.column_keys for row in table.foreign_key_constraints),
        ([str(column.key) for column in index.columns] for index in table.indexes),
    )


def _sorted(columns: list[Any], *lists: Any) -> list[Any]:
    key, *more = lists
    return [sorted(columns), list(key), *(sorted(map(list, rows)) for rows in more)]
