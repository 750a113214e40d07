"""A row of the week: what it is about, how pressing, its numbers and the cases behind it."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from typing import Any, Final, Self


class Level(StrEnum):
    """How pressing a row is."""

    # Firm enough to act on.
    ACT = "act"
    # Worth a look; may still be luck.
    LOOK = "look"
    # Good to know.
    KNOW = "know"


# Every kind of row, in the order in which rows of one level stand; safety first (our choice).
KINDS: Final = (
    "safety",
    "came_back",
    "rising_cause",
    "rising_pair",
    "rising_complaint",
    "failed_part",
    "no_name",
    "money_lost",
    "workaround",
    "declined",
    "old_job",
    "new_ground",
    "mixed_up",
    "same_readings",
    "inferred",
    "odd_value",
    "check_paid",
    "check_idle",
    "check_skipped",
    "slow_check",
    "pace",
    "answers_helped",
    "records",
    "kept",
    "spread",
    "held",
    "lasting",
    "season",
    "twin",
    "unread_word",
    "old_knowledge",
)
_ORDER: Final = {kind: at for at, kind in enumerate(KINDS)}


def key_of(*parts: str) -> str:
    """Return one word for several; other parts never make the same one.

    Examples
    --------
    >>> key_of("failed_part", "fan", "Northgate"), key_of("a:b", "5%"), key_of("a", "b", "5%")
    ('failed_part:fan:Northgate', 'a%3Ab:5%25', 'a:b:5%25')
    """
    return ":".join(part.replace("%", "%25").replace(":", "%3A") for part in parts)


@dataclass(frozen=True, slots=True, kw_only=True)
class WeekRow:
    """One row.

    Attributes
    ----------
    kind : str
        One of ``KINDS``.
    subject : tuple of str
        Keys that say what it is about (a cause, a platform, a part and its supplier); with the
        kind they make ``key``, by which the row is found again in other weeks.
    level : Level
        How pressing it is.
    strength : float
        Larger comes first among rows of one kind and level.
    numbers : mapping
        What the words and pictures are made of: values that JSON keeps as they are.
    cases : tuple of str
        Ids of the jobs behind it, the ones to open first in front.
    """

    kind: str
    subject: tuple[str, ...] = ()
    level: Level = Level.KNOW
    strength: float = 0.0
    numbers: Mapping[str, Any] = field(default_factory=dict)
    cases: tuple[str, ...] = ()

    @property
    def key(self) -> str:
        """Return what names the row in every week."""
        return key_of(self.kind, *self.subject)

    @property
    def place(self) -> tuple[int, int, float, str]:
        """Return where the row stands among others: pressing ones, then by kind and strength."""
        levels = list(Level)
        return (levels.index(self.level), _ORDER[self.kind], -self.strength, self.key)

    def as_json(self) -> dict[str, Any]:
        """Return the row as values that JSON keeps."""
        return {
            "key": self.key,
            "kind": self.kind,
            "subject": list(self.subject),
            "level": str(self.level),
            "strength": self.strength,
            "numbers": dict(self.numbers),
            "cases": list(self.cases),
        }

    @classmethod
    def from_json(cls, row: Mapping[str, Any]) -> Self:
        """Return the row that ``as_json`` gave.

        Raises
        ------
        KeyError, ValueError
            If it is none of these.
        """
        if row["kind"] not in _ORDER:
            raise ValueError(f"expected one of {', '.join(KINDS)}, got '{row['kind']}'")
        return cls(
            kind=row["kind"],
            subject=tuple(row["subject"]),
            level=Level(row["level"]),
            strength=float(row["strength"]),
            numbers=dict(row["numbers"]),
            cases=tuple(row["cases"]),
        )
