"""The values of a row as JSON and as cells of a CSV table, and back, each checked.

A cell of text that a spreadsheet would take for a formula gets ``'`` before it, and so does one
that begins with ``'``; reading takes one away. An empty cell is nothing recorded; a lone ``'`` is
an empty text where nothing recorded would be possible too.
"""

import json
import math
import re
from collections.abc import Callable, Mapping
from datetime import UTC, date, datetime
from typing import Any, Final

from kb.errors import ParseError
from kb.store.exported import Column, Holds

GUARD: Final = "'"
# What a cell begins with that a spreadsheet takes for a formula or drops: OWASP's list (ASVS 5.0,
# 1.2.10) with line feed, the full-width signs, and spaces before them (our choice).
_RISKY: Final = re.compile(r"[ \u00a0]*[=+\-@\t\r\n\x00\uff0b\uff0d\uff1d\uff20]|'")
# What a database keeps in an integer column everywhere.
LARGEST: Final = 2**31 - 1
# Longest text of one value, in characters: a job's earlier state is one (our choice).
LONGEST: Final = 4_000_000


def as_json(value: Any) -> Any:
    """Return a value of a row as JSON keeps it."""
    if isinstance(value, datetime):
        return value.astimezone(UTC).isoformat()
    if isinstance(value, date):
        return value.isoformat()
    return list(value) if isinstance(value, tuple) else value


def from_json(column: Column, value: Any) -> Any:
    """Return the value of a column out of JSON.

    Raises
    ------
    ParseError
        If it is not what the column holds.
    """
    if value is None:
        if column.may_lack:
            return None
        raise _wrong(column, "nothing")
    return _FROM_JSON[column.holds](column, value)


def as_cell(column: Column, value: Any) -> str | int | float:
    """Return a value of a row as a cell: numbers stay numbers, all else is text."""
    if value is None:
        return ""
    if column.holds is Holds.YES_NO:
        return "yes" if value else "no"
    if column.holds in {Holds.WHOLE, Holds.NUMBER}:
        number: int | float = value
        return number
    if column.holds is Holds.WORDS:
        return json.dumps(list(value), ensure_ascii=False)
    text = str(as_json(value))
    risky = _RISKY.match(text) or (column.may_lack and not text)
    return GUARD + text if risky else text


def from_cell(column: Column, cell: str) -> Any:
    """Return the value of a column out of a cell.

    Raises
    ------
    ParseError
        If it is not what the column holds.
    """
    if not cell and (column.may_lack or column.holds is not Holds.TEXT):
        return from_json(column, None)
    text = cell.removeprefix(GUARD)
    read = _FROM_CELL.get(column.holds)
    return from_json(column, text if read is None else read(column, text))


def from_row(columns: tuple[Column, ...], given: Mapping[str, Any]) -> dict[str, Any]:
    """Return the values of a row out of a JSON object; a column that may lack may be left out.

    Raises
    ------
    ParseError
        If a value does not fit, or there is one too many.
    """
    unknown = sorted(set(given) - {column.name for column in columns})
    if unknown:
        names = ", ".join(column.name for column in columns)
        raise ParseError(f"expected nothing but {names}, got {unknown[0][:40]}")
    return {column.name: from_json(column, given.get(column.name)) for column in columns}


def _wrong(column: Column, got: object) -> ParseError:
    return ParseError(f"expected {column.name} as {column.holds.value}, got {str(got)[:40]}")


def _text(column: Column, value: Any) -> str:
    if not isinstance(value, str):
        raise _wrong(column, type(value).__name__)
    if len(value) > LONGEST:
        raise _wrong(column, f"more than {LONGEST} characters")
    try:
        value.encode()
    except UnicodeEncodeError:
        raise _wrong(column, "half of a character") from None
    return value


def _whole(column: Column, value: Any) -> int:
    if isinstance(value, bool) or not isinstance(value, int) or abs(value) > LARGEST:
        raise _wrong(column, value)
    return value


def _number(column: Column, value: Any) -> float:
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise _wrong(column, value)
    try:
        number = float(value)
    except OverflowError:
        number = math.inf
    if not math.isfinite(number):
        raise _wrong(column, value)
    return number


def _yes_no(column: Column, value: Any) -> bool:
    if not isinstance(value, bool):
        raise _wrong(column, value)
    return value


def _day(column: Column, value: Any) -> date:
    try:
        return date.fromisoformat(_text(column, value))
    except ValueError:
        raise _wrong(column, value) from None


def _moment(column: Column, value: Any) -> datetime:
    try:
        read = datetime.fromisoformat(_text(column, value))
        if read.tzinfo is None:
            raise _wrong(column, value)
        return read.astimezone(UTC)
    except (ValueError, OverflowError):
        raise _wrong(column, value) from None


def _words(column: Column, value: Any) -> tuple[str, ...]:
    if not isinstance(value, list):
        raise _wrong(column, value)
    return tuple(_text(column, item) for item in value)


_FROM_JSON: Final[dict[Holds, Callable[[Column, Any], Any]]] = {
    Holds.TEXT: _text,
    Holds.WHOLE: _whole,
    Holds.NUMBER: _number,
    Holds.YES_NO: _yes_no,
    Holds.DAY: _day,
    Holds.MOMENT: _moment,
    Holds.WORDS: _words,
}


def _cell_whole(column: Column, text: str) -> int:
    if not re.fullmatch(r"-?[0-9]{1,10}", text):
        raise _wrong(column, text)
    return int(text)


def _cell_number(column: Column, text: str) -> float:
    if not re.fullmatch(r"-?[0-9]+(\.[0-9]+)?(e[+-]?[0-9]+)?", text, re.IGNORECASE):
        raise _wrong(column, text)
    return float(text)


def _cell_yes_no(column: Column, text: str) -> bool:
    if text not in {"yes", "no"}:
        raise _wrong(column, text)
    return text == "yes"


def _cell_words(column: Column, text: str) -> Any:
    try:
        return json.loads(text)
    except (ValueError, RecursionError):
        raise _wrong(column, text) from None


_FROM_CELL: Final[dict[Holds, Callable[[Column, str], Any]]] = {
    Holds.WHOLE: _cell_whole,
    Holds.NUMBER: _cell_number,
    Holds.YES_NO: _cell_yes_no,
    Holds.WORDS: _cell_words,
}
