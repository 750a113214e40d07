"""The header of a case file: where it ends, and its values checked one by one."""

import math
from collections.abc import Mapping
from dataclasses import MISSING, fields
from datetime import date
from enum import StrEnum
from typing import TYPE_CHECKING, Any, Final, TypeVar

from kb.case.terms import Vocabulary
from kb.errors import CaseFileError

if TYPE_CHECKING:
    from _typeshed import DataclassInstance

FENCE: Final = "+++"
# Keys of a job that stand at the top of a header as they are.
JOB_PLAIN: Final = ("id", "system", "invoice", "waits_for", "comeback_of", "lines")
# What a database keeps in an integer column everywhere.
_MAX_INTEGER: Final = 2**31 - 1
_PLAIN: Final = {"bool": bool, "str": str, "int": int}

Table = Mapping[str, Any]
T = TypeVar("T", bound="DataclassInstance")


def split_header(text: str, name: str) -> tuple[str, str]:
    """Return header and body of a case file.

    Raises
    ------
    CaseFileError
        If the file does not begin with a ``+++`` line or the header is not closed.
    """
    lines = text.removeprefix("\ufeff").replace("\r\n", "\n").split("\n")
    if lines[0].strip() != FENCE:
        raise CaseFileError(f"expected '+++', got '{lines[0][:40]}'", name=name, line=1)
    for number, line in enumerate(lines[1:], start=1):
        if line.strip() == FENCE:
            return "\n".join(lines[1:number]), "\n".join(lines[number + 1 :])
    raise CaseFileError("expected a second '+++' after the header, got none", name=name)


class Header:
    """The header of one file; turns its tables into plain values.

    Parameters
    ----------
    name : str
        The file's name, for errors.
    words : Vocabulary
        What keys may be used.
    text : str
        The header as it stands in the file.
    """

    def __init__(self, name: str, words: Vocabulary, text: str) -> None:
        self.name = name
        self.words = words
        self.text = text

    def fail(self, reason: str, near: str = "") -> CaseFileError:
        """Return the error for ``reason``, with the line where ``near`` first stands."""
        lines = self.text.split("\n")
        line = next((i + 2 for i, text in enumerate(lines) if near and near in text), None)
        return CaseFileError(reason, name=self.name, line=line)

    def known(
        self,
        table: Table,
        kind: type[Any],
        *,
        also: tuple[str, ...] = (),
        never: tuple[str, ...] = (),
    ) -> None:
        """Refuse keys that ``kind`` does not have, and those that are ``never`` written."""
        names = ({f.name for f in fields(kind)} | set(also)) - set(never)
        for key in table:
            if key not in names:
                raise self.fail(f"expected one of {', '.join(sorted(names))}, got '{key}'", key)

    def plain(self, table: Table, kind: type[T], /, **made: Any) -> T:
        """Return a ``kind`` of the table's own values, with ``made`` put over them."""
        values = {key: value for key, value in table.items() if key not in made}
        for row in fields(kind):
            if row.name in values:
                values[row.name] = self._value(
                    row.name, values[row.name], str(row.type).removeprefix("<class '")
                )
        missing = [
            row.name
            for row in fields(kind)
            if row.name not in values | made
            and row.default is MISSING
            and row.default_factory is MISSING
        ]
        if missing:
            raise self.fail(f"expected the key '{missing[0]}' in {kind.__name__}, got none")
        return kind(**values, **made)

    def _value(self, key: str, value: Any, kind: str) -> Any:
        if kind.startswith("tuple"):
            return self.strings(key, value)
        if kind.startswith("float"):
            return self._number(key, value)
        expected = next((made for name, made in _PLAIN.items() if kind.startswith(name)), None)
        if expected is int:
            return self._integer(key, value)
        if expected and not isinstance(value, expected):
            raise self._unexpected(key, expected.__name__, value)
        return value

    def strings(self, key: str, value: Any) -> tuple[str, ...]:
        """Return a list of texts as a tuple."""
        if not isinstance(value, list) or not all(isinstance(item, str) for item in value):
            raise self._unexpected(key, "a list of texts", value)
        return tuple(value)

    def _number(self, key: str, value: Any) -> float:
        # Fractions arrive as text, so that readings keep what was typed.
        try:
            number = math.nan if isinstance(value, bool) else float(value)
        except (TypeError, ValueError, OverflowError):
            number = math.nan
        if not math.isfinite(number):
            raise self._unexpected(key, "a number", value)
        return number

    def _integer(self, key: str, value: Any) -> int:
        if isinstance(value, bool) or not isinstance(value, int) or abs(value) > _MAX_INTEGER:
            raise self._unexpected(key, f"a whole number up to {_MAX_INTEGER}", value)
        return value

    def _unexpected(self, key: str, expected: str, value: Any) -> CaseFileError:
        got = f"{type(value).__name__} {str(value)[:40]!r}"
        return self.fail(f"expected {key} as {expected}, got {got}", key)

    def enum(self, table: Table, key: str, kind: type[StrEnum]) -> StrEnum | None:
        """Return ``table[key]`` as ``kind``, None where it is not there."""
        if key not in table:
            return None
        try:
            return kind(table[key])
        except ValueError:
            raise self.fail(
                f"expected {key} as one of {', '.join(kind)}, got '{table[key]}'", str(table[key])
            ) from None

    def term(self, key: str | None, rows: Mapping[str, Any], what: str) -> None:
        """Refuse a key that the vocabulary does not hold."""
        if key is not None and key not in rows:
            raise self.fail(f"expected {what} of the vocabulary, got '{key}'", str(key))

    def required(self, table: Table, key: str, rows: Mapping[str, Any]) -> str:
        """Return ``table[key]``, which must be there and a key of the vocabulary."""
        value = table.get(key)
        if not isinstance(value, str):
            raise self.fail(f"expected the key '{key}' with a text, got {value!r}", key)
        self.term(value, rows, f"a {key}")
        return value

    def optional(self, table: Table, key: str) -> str | None:
        """Return the text at ``table[key]``, None where it is not there."""
        value = table.get(key)
        if value is not None and not isinstance(value, str):
            raise self._unexpected(key, "text", value)
        return value

    def tables(self, table: Table, key: str) -> list[Table]:
        """Return ``table[key]`` as a list of tables, empty where it is not there."""
        rows = table.get(key, [])
        if not isinstance(rows, list) or not all(isinstance(row, dict) for row in rows):
            raise self.fail(f"expected {key} as a list of tables, got {type(rows).__name__}", key)
        return rows

    def date(self, table: Table, key: str) -> date:
        """Return ``table[key]``, which must be a date without a time."""
        value = table.get(key)
        if type(value) is not date:
            raise self.fail(f"expected {key} as a date like 2026-05-14, got {value!r}", key)
        return value

    def cents(self, table: Table, key: str) -> int | None:
        """Return the money at ``table[key]`` in cents, None where it is not there."""
        if key not in table:
            return None
        whole, _, part = str(table[key]).partition(".")
        sign = -1 if whole.startswith("-") else 1
        try:
            cents = int(whole) * 100 + sign * int((part + "00")[:2])
        except ValueError:
            raise self._unexpected(key, "money like 95.00", table[key]) from None
        return self._integer(key, cents)
