"""More or less than before, in plain words; and what a row is about by its name."""

from collections.abc import Mapping
from typing import Any, Final

from kb.case.terms import Vocabulary

Numbers = Mapping[str, Any]
# An upper end beyond this many times is no number that anybody can use (our choice).
_OPEN: Final = 20.0


def times_words(numbers: Numbers) -> str:
    """Return a ratio with its interval; "none before" where there is nothing to divide by.

    Of an interval that is open to many times, only the lower end tells anything.

    Examples
    --------
    >>> times_words({"before": 9, "ratio": 2.43, "low": 1.2, "high": 4.84})
    '2.4 times as many as usual, with luck either way 1.2 to 4.8'
    >>> times_words({"before": 1, "ratio": 35.0, "low": 3.51, "high": 1758.3})
    '35.0 times as many as usual, with luck either way 3.5 or more'
    >>> times_words({"before": 0, "ratio": None, "low": 0.4, "high": None})
    'none before'
    """
    if numbers["ratio"] is None or not numbers["before"]:
        return "none before"
    low, high = numbers["low"], numbers["high"]
    ends = f"{low:.1f} or more" if high > _OPEN else f"{low:.1f} to {high:.1f}"
    return f"{numbers['ratio']:.1f} times as many as usual, with luck either way {ends}"


def season_words(numbers: Numbers) -> str:
    """Return what the time of year was reckoned to do; empty where it does little.

    Examples
    --------
    >>> season_words({"season_factor": None})
    'what the time of year does is not known yet'
    >>> season_words({"season_factor": 1.4}), season_words({"season_factor": 1.02})
    ('the time of year alone would make it 1.4 times as many', '')
    """
    factor = numbers["season_factor"]
    if factor is None:
        return "what the time of year does is not known yet"
    makes = f"the time of year alone would make it {factor:.1f} times as many"
    return makes if f"{factor:.1f}" != "1.0" else ""


def since_words(numbers: Numbers) -> str:
    """Return since when a row stands in the week; empty where it is new.

    Examples
    --------
    >>> since_words({"new": False, "since": "2026-W40"})
    'seen since 2026-W40'
    """
    return "" if numbers["new"] else f"seen since {numbers['since']}"


def luck_words(numbers: Numbers) -> str:
    """Return how firm a rise is; empty where it is firm.

    Examples
    --------
    >>> luck_words({"flag": "watch"})
    'may still be luck'
    """
    return "" if numbers["flag"] == "alert" else "may still be luck"


def model_words(numbers: Numbers) -> str:
    """Return make, model and engine, with the year of make in front where it stands out.

    Examples
    --------
    >>> model_words({"make": "Dunmarrow", "model": "Packhorse", "engine": "", "year": 2014})
    '2014 Dunmarrow Packhorse'
    """
    names = (numbers.get("year"), numbers["make"], numbers["model"], numbers["engine"])
    return " ".join(str(name) for name in names if name)


def system_words(system: str | None, words: Vocabulary) -> str:
    """Return the name of a system."""
    known = words.systems.get(system or "")
    return known.name if known else (system or "no system").replace("_", " ")


def joined(*parts: str) -> str:
    """Return the parts that say something as sentences of one line.

    Examples
    --------
    >>> joined("7 of 41", "", "seen since 2026-W40")
    '7 of 41; seen since 2026-W40.'
    """
    told = "; ".join(part for part in parts if part)
    return f"{told}." if told else ""
