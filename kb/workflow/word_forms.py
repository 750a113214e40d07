"""Typed words of the shop to rows: names and keys checked, near-duplicates shown before adding."""

import math
import re
from collections.abc import Mapping
from typing import Final

from rapidfuzz import fuzz, process, utils

from kb.case.units import parse_number
from kb.errors import ParseError, TermError

# Longest name and longest typed word (our choice).
LONGEST: Final = 60
# Likeness, of 100, from which a name is shown as perhaps the same, and how many are shown; chosen
# so that "condenser fan dead" meets "Condenser fan or one speed dead" (our choice).
ALIKE: Final = 86
MOST_ALIKE: Final = 3


def plain_name(typed: str, field: str = "name") -> str:
    """Return a typed name with single blanks.

    Raises
    ------
    TermError
        At ``field``, where it is empty, too long, without a letter or with signs that do not print.
    """
    name = " ".join(typed.split())
    if not name:
        raise TermError({field: "expected a name, got nothing; type what the shop calls it"})
    if len(name) > LONGEST:
        raise TermError(
            {field: f"expected at most {LONGEST} characters, got {len(name)}; make it shorter"}
        )
    if not name.isprintable() or not any(sign.isalpha() for sign in name):
        raise TermError({field: "expected a name with letters, got only signs; type it anew"})
    return name


def key_of(name: str) -> str:
    """Return the key of a name: lower case, everything but letters and digits as ``_``.

    Examples
    --------
    >>> key_of("Fan clutch, slips when hot")
    'fan_clutch_slips_when_hot'
    """
    return re.sub(r"[\W_]+", "_", name.lower()).strip("_")


def alike(name: str, known: Mapping[str, str]) -> tuple[str, ...]:
    """Return the names of ``known`` (by key) that may be the same, the nearest first."""
    found = process.extract(
        name,
        dict(known),
        scorer=fuzz.token_set_ratio,
        processor=utils.default_process,
        score_cutoff=ALIKE,
        limit=MOST_ALIKE,
    )
    return tuple(dict.fromkeys(said for said, _, _ in found))


def refuse_alike(name: str, known: Mapping[str, str], *, sure: bool, field: str = "name") -> None:
    """Raise TermError with the names that are like ``name``, unless the writer is ``sure``."""
    found = () if sure else alike(name, known)
    if found:
        message = (
            f"like one that is there: {'; '.join(found)}; send it again to add it all the same"
        )
        raise TermError({field: message}, like=found)


def numbers(low: str, high: str, *, fields: tuple[str, str]) -> tuple[float, float] | None:
    """Return two typed numbers, None where both are empty.

    Raises
    ------
    TermError
        At the field that is no number or missing, or where the first is above the second.
    """
    if not low.strip() and not high.strip():
        return None
    found: list[float] = []
    for typed, field in zip((low, high), fields, strict=True):
        try:
            found.append(parse_number(typed))
        except ParseError:
            found.append(math.nan)
        if not math.isfinite(found[-1]):
            raise TermError({field: f"expected a number, got '{typed[:20]}'"})
    if found[0] > found[1]:
        raise TermError({fields[0]: "expected the lower number here, got the higher one"})
    return found[0], found[1]
