"""How long jobs took from opening to closing, in words."""

from collections.abc import Mapping
from typing import Any, Final

from kb.case.terms import Vocabulary
from kb.workflow.week.rows import WeekRow
from web.week_words.said import Said, Say


def said(row: WeekRow, _words: Vocabulary) -> Said:
    """Return how many days the jobs of the last weeks took, and those of the year before."""
    recent, before, minutes = (row.numbers[key] for key in ("recent", "before", "minutes"))
    if recent["middle"] is None:
        what = "Too few jobs with a proven cause in the last 8 weeks to tell how long they take."
    else:
        what = (
            "Half of the jobs with a proven cause in the last 8 weeks were closed "
            f"{within(recent['middle'])}."
        )
    parts = [f"Last 8 weeks: {middle_half(recent)}", f"the year before: {middle_half(before)}"]
    text = f"{'; '.join(parts)}."
    if minutes["middle"] is not None:
        text += (
            f" Checks took {minutes['middle']:.0f} minutes on the middle one of "
            f"{minutes['jobs']} jobs with minutes written down, {minutes['low']:.0f} to "
            f"{minutes['high']:.0f} on the middle half."
        )
    return Said(what=what, numbers=text)


def within(days: float) -> str:
    """Return a number of days as a stretch of time from the day of opening.

    Examples
    --------
    >>> within(0.0), within(1.0), within(2.5)
    ('on the day they came in', 'within 1 day', 'within 2.5 days')
    """
    return "on the day they came in" if days == 0 else f"within {days_words(days)}"


def days_words(days: float) -> str:
    """Return a number of days.

    Examples
    --------
    >>> days_words(1.0), days_words(2.5), days_words(0.0)
    ('1 day', '2.5 days', '0 days')
    """
    return "1 day" if days == 1 else f"{round(days, 1):g} days"


def middle_half(known: Mapping[str, Any]) -> str:
    """Return how many jobs there were, and how long the middle half of them took.

    Examples
    --------
    >>> middle_half({"jobs": 9, "low": 0.0, "middle": 1.0, "high": 3.0})
    'the middle half of 9 jobs took 0 to 3 days'
    >>> middle_half({"jobs": 1, "low": None, "middle": None, "high": None})
    '1 job, too few to tell'
    """
    jobs = "1 job" if known["jobs"] == 1 else f"{known['jobs']} jobs"
    if known["middle"] is None:
        return f"{jobs}, too few to tell"
    low, high = round(known["low"], 1), round(known["high"], 1)
    took = days_words(high) if low == high else f"{low:g} to {days_words(high)}"
    return f"the middle half of {jobs} took {took}"


SAY: Final[Mapping[str, Say]] = {"pace": said}
