"""Weeks as ISO 8601 counts them: Monday to Sunday, named by year and number."""

import re
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Final, Self

from typing_extensions import override

from kb.errors import ParseError

# The Monday of the first week that is counted: hardly a car is older, and a week that is looked at
# needs years before it. In the last year that a date can hold, a week has no neighbours.
OLDEST: Final = date(1900, 1, 1)
_TYPED = re.compile(r"(\d{4})-?W(\d{1,2})", re.IGNORECASE)


@dataclass(frozen=True, slots=True, order=True)
class IsoWeek:
    """One week by its Monday.

    Examples
    --------
    >>> week = IsoWeek.parse("2026-W47")
    >>> week.monday, week.sunday
    (datetime.date(2026, 11, 16), datetime.date(2026, 11, 22))
    >>> str(week.shifted(-47))
    '2025-W52'
    """

    monday: date

    @classmethod
    def parse(cls, typed: str) -> Self:
        """Return the week of ``2026-W47`` or ``2026W47``.

        Raises
        ------
        ParseError
            If there is no such week.
        """
        found = _TYPED.fullmatch(typed.strip())
        try:
            if found and OLDEST.year <= int(found[1]) < 9999:
                return cls(date.fromisocalendar(int(found[1]), int(found[2]), 1))
        except ValueError:
            pass
        raise ParseError(f"expected a week like 2026-W47, got '{typed[:20]}'")

    @classmethod
    def of(cls, day: date) -> Self:
        """Return the week that a day lies in."""
        return cls(day - timedelta(days=day.weekday()))

    @classmethod
    def last_whole(cls, today: date) -> Self:
        """Return the newest week that is over."""
        return cls.of(today).shifted(-1)

    @property
    def sunday(self) -> date:
        """The last day of the week."""
        return self.monday + timedelta(days=6)

    def shifted(self, weeks: int) -> Self:
        """Return the week that many weeks later."""
        return type(self)(self.monday + timedelta(weeks=weeks))

    def since(self, earlier: "IsoWeek") -> int:
        """Return how many weeks this one lies after ``earlier``."""
        return (self.monday - earlier.monday).days // 7

    @override
    def __str__(self) -> str:
        """Return the name by ISO 8601."""
        year, number, _ = self.monday.isocalendar()
        return f"{year}-W{number:02d}"
