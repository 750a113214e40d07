"""Why a cause is likely, in words for the terminal, the pages and JSON; nothing is computed here."""

from collections.abc import Iterable
from textwrap import fill
from typing import Any, Final

from kb.case.terms import Vocabulary
from kb.diagnosis.chances import CauseChance
from kb.diagnosis.expected import Expected
from kb.diagnosis.explain import Explanation, Point
from kb.workflow.suggest import Suggestion
from web.wording import percent, with_signs

NO_CASE: Final = "no case here yet; from the trade's list"
# Chance from which the terminal gives the reasons of a cause; below it they are only in the way
# (our choice). The pages fold them away instead.
_LEAST_CHANCE: Final = 0.01
_INDENT: Final = 12


def cases_words(row: CauseChance, why: Explanation | None = None) -> str:
    """Return the cases behind a cause, or where it comes from without one."""
    if row.cause is None:
        return ""
    if not row.cases:
        return NO_CASE
    cases = ", ".join(row.cases[:4])
    return f"{cases}; none of them stands" if why and not why.witnesses else cases


def point_words(row: Point | Expected) -> str:
    """Return one thing that speaks for or against a cause, or would, with its counts."""
    return with_signs(row.what + (f" ({row.counts})" if row.counts else ""))


def reason_lines(why: Explanation | None, width: int) -> list[str]:
    """Return the reasons of a cause, a thing a line: + for, - against, ? not known yet."""
    if why is None:
        return []
    rows: list[tuple[str, Point | Expected]] = [
        (f"{row.nats:+.1f}", row) for row in (*why.speaks_for, *why.speaks_against)
    ]
    rows += [("?", row) for row in why.unknown]
    return [line for mark, row in rows for line in _hanging(mark, point_words(row), width)]


def _hanging(mark: str, text: str, width: int) -> list[str]:
    head = " " * _INDENT + f"{mark:<4} "
    return fill(text, width, initial_indent=head, subsequent_indent=" " * len(head)).split("\n")


def lines_under(row: CauseChance, suggestion: Suggestion, width: int) -> list[str]:
    """Return the reasons that stand under a cause in the terminal; none where it is unlikely."""
    likely = row.cause is not None and row.chance >= _LEAST_CHANCE
    return reason_lines(suggestion.why(row.cause), width) if likely else []


def nothing_words(suggestion: Suggestion) -> str:
    """Return the answer where no case fits, with what to do instead."""
    other = sum(row.chance for row in suggestion.causes if row.cause is None)
    return (
        f"Something that no case here shows leads with {percent(other)}. "
        "Take the usual readings, then ask again."
    )


def missing_words(suggestion: Suggestion) -> str:
    """Return what is said where a part of the memory did not answer; empty where all did."""
    if not suggestion.missing:
        return ""
    return (
        f"{suggestion.missing} of the {suggestion.parts} parts of the memory did not answer just "
        "now: cases may be left out here and the chances may change. Ask again in a moment."
    )


def cause_cells(row: CauseChance, suggestion: Suggestion, words: Vocabulary) -> tuple[str, ...]:
    """Return chance, cause and cases as cells of a table."""
    cases = cases_words(row, suggestion.why(row.cause))
    return percent(row.chance), words.cause_name(row.cause), cases


def _points_json(rows: Iterable[Point | Expected]) -> list[dict[str, Any]]:
    return [{"what": row.what, "counts": row.counts, "weight": round(row.nats, 4)} for row in rows]


def cause_json(row: CauseChance, why: Explanation | None) -> dict[str, Any]:
    """Return one cause with the stable keys of ``find --json``, its reasons where it is shown."""
    made = {"cause": row.cause, "chance": round(row.chance, 6), "cases": list(row.cases)}
    if why is None:
        return made
    return made | {
        "for": _points_json(why.speaks_for),
        "against": _points_json(why.speaks_against),
        "unknown": _points_json(why.unknown),
    }
