"""A share as a row keeps it: how many of how many, and between what luck may have moved it."""

from typing import Any, Final

from kb.diagnosis.measure import wilson_interval

# Below so many the interval covers nearly everything: too few to tell (our choice).
TELL_FROM: Final = 5


def share_of(count: int, of: int) -> dict[str, Any]:
    """Return ``count`` of ``of`` with the 95 % interval by Wilson.

    ``low`` and ``high`` are None where there are too few to tell.

    Examples
    --------
    >>> share_of(1, 4)
    {'count': 1, 'of': 4, 'low': None, 'high': None}
    >>> {key: round(value, 3) for key, value in share_of(3, 41).items()}
    {'count': 3, 'of': 41, 'low': 0.025, 'high': 0.194}
    """
    low, high = wilson_interval(count, of) if of >= TELL_FROM else (None, None)
    return {"count": count, "of": of, "low": low, "high": high}


def sum_known(values: list[float | int | None]) -> dict[str, Any]:
    """Return the sum of what is known, None where nothing is, and of how many it is known.

    Examples
    --------
    >>> sum_known([1895, None, 500])
    {'sum': 2395, 'known': 2, 'of': 3}
    >>> sum_known([None])
    {'sum': None, 'known': 0, 'of': 1}
    """
    known = [value for value in values if value is not None]
    return {"sum": sum(known) if known else None, "known": len(known), "of": len(values)}
