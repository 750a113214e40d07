"""Counts, shares and sums of the week in plain words."""

from collections.abc import Mapping, Sequence
from typing import Any


def many(count: int, one: str, more: str | None = None) -> str:
    """Return a count with its word.

    Examples
    --------
    >>> many(1, "job"), many(3, "job"), many(2, "car is", "cars are")
    ('1 job', '3 jobs', '2 cars are')
    """
    return f"{count} {one if count == 1 else more or one + 's'}"


def share_words(share: Mapping[str, Any]) -> str:
    """Return a share of ``share_of`` in words.

    Examples
    --------
    >>> share_words({"count": 7, "of": 41, "low": 0.085, "high": 0.313})
    '7 of 41, with luck either way 9 to 31 %'
    >>> share_words({"count": 1, "of": 3, "low": None, "high": None})
    '1 of 3, too few to tell'
    """
    counted = f"{share['count']} of {share['of']}"
    if share["low"] is None:
        return f"{counted}, too few to tell"
    return f"{counted}, with luck either way {between_words(share['low'], share['high'])}"


def between_words(low: float, high: float) -> str:
    """Return an interval in whole percent.

    Examples
    --------
    >>> between_words(0.025, 0.194)
    '3 to 19 %'
    >>> between_words(0.036, 0.044)
    'about 4 %'
    """
    # Half up, as people round; 2.5 % is said as 3.
    first, last = (int(100 * share + 0.5) for share in (low, high))
    return f"about {first} %" if first == last else f"{first} to {last} %"


def money_words(known: Mapping[str, Any], of_what: str = "cost") -> str:
    """Return a sum of cents of ``sum_known``, saying for how many it is known.

    Examples
    --------
    >>> money_words({"sum": 123450, "known": 4, "of": 6})
    '1,234.50 in all (cost known for 4 of 6)'
    >>> money_words({"sum": 1895, "known": 2, "of": 2})
    '18.95 in all'
    >>> money_words({"sum": None, "known": 0, "of": 2}, "price")
    'price not written down'
    """
    if known["sum"] is None:
        return f"{of_what} not written down"
    text = f"{known['sum'] / 100:,.2f} in all"
    return text if known["known"] == known["of"] else f"{text} ({of_what} {_known_for(known)})"


def minutes_words(known: Mapping[str, Any]) -> str:
    """Return a sum of minutes of ``sum_known``, saying for how many it is known.

    Examples
    --------
    >>> minutes_words({"sum": 95.0, "known": 2, "of": 3})
    '95 minutes (known for 2 of 3)'
    >>> minutes_words({"sum": None, "known": 0, "of": 1})
    'minutes not written down'
    """
    if known["sum"] is None:
        return "minutes not written down"
    text = f"{known['sum']:.0f} minutes"
    return text if known["known"] == known["of"] else f"{text} ({_known_for(known)})"


def _known_for(known: Mapping[str, Any]) -> str:
    return f"known for {known['known']} of {known['of']}"


def listed(texts: Sequence[str], most: int = 5) -> str:
    """Return the first of some texts, and how many more there are.

    Examples
    --------
    >>> listed(["one", "two"]), listed(["one", "two", "three"], 2)
    ('one; two', 'one; two; and 1 more')
    """
    more = len(texts) - most
    return "; ".join([*texts[:most], *([f"and {more} more"] if more > 0 else [])])


def in_order(by: str, texts: Sequence[str]) -> str:
    """Return a list and what it is sorted by; one line alone has no order.

    Examples
    --------
    >>> in_order("By age", ["J1, 9 days", "J2, 2 days"]), in_order("By age", ["J1, 9 days"])
    ('By age: J1, 9 days; J2, 2 days', 'J1, 9 days')
    """
    return texts[0] if len(texts) == 1 else f"{by}: {listed(texts)}"


def job_words(known: Mapping[str, Any]) -> str:
    """Return a job with its car, where the car is known.

    Examples
    --------
    >>> job_words({"job": "J1", "car": "2014 Dunmarrow Packhorse"}), job_words({"job": "J1"})
    ('J1, 2014 Dunmarrow Packhorse', 'J1')
    """
    return ", ".join(filter(None, (known["job"], known.get("car"))))


def first_up(text: str) -> str:
    """Return a text with its first letter as a capital.

    Examples
    --------
    >>> first_up("fan relay")
    'Fan relay'
    """
    return text[:1].upper() + text[1:]
