"""Every error that Baybook raises on purpose.

::

    KBError
    ├── ParseError          typed text that cannot be read
    │   └── LimitError      a value outside the hard limits of its quantity
    ├── UnitError           a unit unknown, or of another dimension
    ├── UnknownTermError    a key that the vocabulary does not hold
    ├── VocabularyError     a vocabulary file that contradicts itself
    ├── CaseFileError       a case file that cannot be read; names line and reason
    ├── NotFoundError       no such job, case, person or link
    ├── FieldsError         fields of a form that cannot be taken as typed; names them
    │   └── TermError       a word of the shop that cannot be taken as typed
    ├── NotProvenError      a close without a cause or a proof
    ├── StoreError          the database cannot be used; says what to do
    │   └── NoRoomError     the disk has no room for what was to be kept
    ├── ConflictError       somebody else changed the same record first
    ├── SignInError         a name and a password or PIN that do not belong together
    │   └── TooManyTriesError   too many of them in a short time
    ├── ImportTableError    a table of work orders that cannot be mapped
    ├── PackError           a case pack that cannot be made, or is refused whole
    ├── ExchangeError       an export that cannot be written, or taken in as a whole
    └── EmptyIndexError     a search before there is a case

Each message says what was expected, what was got, and what to do next.
"""

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from datetime import datetime


class KBError(Exception):
    """Base of every error that is meant for a person to read."""


class ParseError(KBError):
    """Typed text that cannot be read; ``text`` holds it unchanged."""

    def __init__(self, message: str, *, text: str = "") -> None:
        super().__init__(message)
        self.text = text


class LimitError(ParseError):
    """A value outside the hard limits of its quantity."""


class UnitError(KBError):
    """A unit that is unknown or belongs to another dimension."""


class UnknownTermError(KBError):
    """A key that the vocabulary does not hold."""


class VocabularyError(KBError):
    """A vocabulary file that contradicts itself; names file, key and what was expected."""


class CaseFileError(KBError):
    """A case file that cannot be read.

    Parameters
    ----------
    reason : str
        What was expected, and what was got.
    name : str
        The file's name.
    line : int or None
        Line number from 1, where it is known.
    """

    def __init__(self, reason: str, *, name: str = "case file", line: int | None = None) -> None:
        place = f"{name}, line {line}" if line is not None else name
        super().__init__(f"{place}: {reason}")
        self.reason = reason
        self.name = name
        self.line = line


class FieldsError(KBError):
    """Fields that cannot be taken as typed; ``by_field`` says why at each."""

    def __init__(self, by_field: dict[str, str]) -> None:
        super().__init__("; ".join(by_field.values()))
        self.by_field = by_field


class TermError(FieldsError):
    """A word of the shop that cannot be taken as typed.

    ``like`` names what is there already where only that is in the way, so that sending it again
    adds it all the same.
    """

    def __init__(self, by_field: dict[str, str], *, like: tuple[str, ...] = ()) -> None:
        super().__init__(by_field)
        self.like = like


class NotFoundError(KBError):
    """No such job, case, person or link."""


class NotProvenError(KBError):
    """A close without a cause or a proof; ``missing`` names the fields."""

    def __init__(self, message: str, *, missing: tuple[str, ...] = ()) -> None:
        super().__init__(message)
        self.missing = missing


class StoreError(KBError):
    """The database cannot be used; the message says what to do."""


class NoRoomError(StoreError):
    """The disk has no room for what was to be kept; what was kept before is whole."""


class ConflictError(KBError):
    """Somebody else changed the same record first; nothing was overwritten."""


class SignInError(KBError):
    """A name and a password or PIN that do not belong together."""


class TooManyTriesError(SignInError):
    """Too many failed tries in a short time; ``again_at`` says when the next one is taken."""

    def __init__(self, message: str, *, again_at: "datetime") -> None:
        super().__init__(message)
        self.again_at = again_at


class ImportTableError(KBError):
    """A table of work orders that cannot be mapped."""


class PackError(KBError):
    """A case pack that cannot be made, or is refused whole: nothing of it was taken in."""


class ExchangeError(KBError):
    """An export that cannot be written, or taken in as a whole."""


class EmptyIndexError(KBError):
    """A search before there is a case."""
