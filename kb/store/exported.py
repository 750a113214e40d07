"""Which tables and columns leave a shop in an export and come back, and what stays behind and why."""

from collections.abc import Iterable
from dataclasses import dataclass, field
from enum import StrEnum
from typing import Any, Final

from sqlalchemy import Boolean, Date, Double, Integer
from sqlalchemy import Column as TableColumn

from kb.store.columns import Base, UtcTime, Words, table_of
from kb.store.rows import TABLES
from kb.store.shop_tables import (
    EarlierStateRow,
    JobPhotoRow,
    PersonRow,
    PhotoRow,
    SearchRow,
    SettledRow,
    ShopTermRow,
    UnreadRow,
)
from kb.store.tables import HistoryRow, JobRow, SettingRow
from kb.store.week_tables import (
    DecisionRow,
    FindingGainRow,
    ReviewRow,
    ShopNoteRow,
    ShownAnswerRow,
)


class Holds(StrEnum):
    """What a column holds."""

    TEXT = "text"
    WHOLE = "whole number"
    NUMBER = "number"
    YES_NO = "yes or no"
    DAY = "date"
    MOMENT = "moment"
    WORDS = "list of texts"


@dataclass(frozen=True, slots=True, kw_only=True)
class Column:
    """A column that is exported; where ``may_lack`` nothing may stand in it."""

    name: str
    holds: Holds
    may_lack: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class ExportedTable:
    """A table that is exported.

    Attributes
    ----------
    key : tuple of str
        Columns by which a row is known again; empty where only all of them tell.
    same : tuple of str
        Columns that must be the same in a row that is known again.
    """

    name: str
    row_type: type[Base] = field(repr=False)
    columns: tuple[Column, ...] = field(repr=False)
    key: tuple[str, ...]
    same: tuple[str, ...]

    def columns_but(self, *names: str) -> tuple[Column, ...]:
        """Return the columns without those named."""
        return tuple(column for column in self.columns if column.name not in names)


# Columns that stay behind: they are secret, or are made anew.
LEFT_COLUMNS: Final[dict[str, dict[str, str]]] = {
    "jobs": {"body_html": "made from body", "content_hash": "made from the job"},
    "people": {
        "id": "given anew",
        "password_hash": "secret",
        "pin_hash": "secret",
        "totp_secret": "secret",
        "totp_step": "secret",
    },
    "shop_notes": {"body_html": "made from body"},
    "lost_searches": {"id": "given anew"},
    "history": {"seq": "given anew, in the same order"},
}
# Columns of any table that are made anew with every row.
MADE_COLUMNS: Final = {"seal": "made from the row"}
# Tables that stay behind whole.
LEFT_TABLES: Final[dict[str, str]] = {
    "api_tokens": "secret",
    "sessions": "secret",
    "sign_in_links": "secret",
    "failed_sign_ins": "counts tries of this machine's minutes",
    "sent_forms": "guards forms that are being sent to this machine",
    "generation": "counted anew; its last number of a job is exported with the first line",
}
_HOLDS: Final = (
    (Words, Holds.WORDS),
    (UtcTime, Holds.MOMENT),
    (Date, Holds.DAY),
    (Boolean, Holds.YES_NO),
    (Integer, Holds.WHOLE),
    (Double, Holds.NUMBER),
)


def _column(column: TableColumn[Any]) -> Column:
    kinds = (holds for kind, holds in _HOLDS if isinstance(column.type, kind))
    holds = next(kinds, Holds.TEXT)
    return Column(name=column.name, holds=holds, may_lack=bool(column.nullable))


def _exported(
    row_type: type[Base], key: Iterable[str] = (), same: Iterable[str] = ()
) -> ExportedTable:
    table = table_of(row_type)
    left = {*LEFT_COLUMNS.get(table.name, {}), *MADE_COLUMNS}
    columns = tuple(_column(column) for column in table.c if column.name not in left)
    return ExportedTable(
        name=table.name,
        row_type=row_type,
        columns=columns,
        key=tuple(key),
        same=tuple(same) or tuple(column.name for column in columns),
    )


JOBS: Final = _exported(JobRow, ("id",))
# The tables of which a job is made, ``jobs`` first.
JOB_TABLES: Final = (JOBS, *(_exported(row_type, ("job_id",)) for row_type in TABLES[1:]))
# What lies beside a job without being part of it.
BESIDE: Final = tuple(
    _exported(row_type, ("job_id",))
    for row_type in (
        JobPhotoRow, UnreadRow, SettledRow, ShownAnswerRow, FindingGainRow, EarlierStateRow,
    )
)  # fmt: skip
SHOP_TERMS: Final = _exported(ShopTermRow, ("kind", "key"))
# A person is the same one by name in whatever case, since whenever, signing in or not.
PEOPLE: Final = _exported(PersonRow, ("name",), ("role",))
SETTINGS: Final = _exported(SettingRow, ("key",))
PHOTOS: Final = _exported(PhotoRow, ("content_hash",))
REVIEWS: Final = _exported(ReviewRow, ("week",), ("week", "made_at", "body"))
DECISIONS: Final = _exported(DecisionRow, ("id",))
SHOP_NOTES: Final = _exported(ShopNoteRow, ("id",))
LOST_SEARCHES: Final = _exported(SearchRow)
HISTORY: Final = _exported(HistoryRow)
# What an export says before the jobs, in this order: words first, since jobs are checked by them.
BEFORE_JOBS: Final = (
    SHOP_TERMS, PEOPLE, SETTINGS, PHOTOS, REVIEWS, DECISIONS, SHOP_NOTES, LOST_SEARCHES,
)  # fmt: skip
EXPORTED: Final = (*BEFORE_JOBS, *JOB_TABLES, *BESIDE, HISTORY)
