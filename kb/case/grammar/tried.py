"""Parts tried that did not cure: "new alternator, same"; "battery is new and it still dies"."""

import re
from collections.abc import Iterable, Sequence
from typing import Final

from kb.case.grammar.actions import Actions, Deed
from kb.case.grammar.marks import Line
from kb.case.model import Tried

_SMALL: Final = frozenset(
    {"the", "a", "an", "my", "new", "both", "all", "already", "with", "w/", "in", "it"}
)
_STOPS: Final = frozenset(
    {"is", "was", "are", "were", "but", "in", "on", "last", "at", "for", "by"}
)
_COST: Final = re.compile(r"\$ ?(\d{1,6})(?:\.(\d{2}))?(?!\d)")
_AGAIN: Final = frozenset(
    {
        "problem",
        "issue",
        "thing",
        "symptom",
        "result",
        "complaint",
        "fault",
        "as",
        "and",
        "but",
        "no",
        "still",
        "temps",
        "readings",
        "crank",
        "noise",
        "code",
        "codes",
        "misfire",
        "leak",
    }
)
_MAX_PART: Final = 4
# The result of a part stands near it; this also bounds the work on hostile text (our choice).
_MAX_REACH: Final = 24
Row = tuple[Tried, tuple[int, int]]


def _part(line: Line, first: int, stop: int) -> str:
    words = [m.low for m in line.marks[first:stop] if m.kind in {"word", "number"}]
    while words and words[0] in _SMALL:
        words = words[1:]
    return " ".join(words[-_MAX_PART:])


def _part_stop(line: Line, first: int, *, end: int, same: int) -> int:
    """Return where the part ends: at a comma, a small verb, or the words of the result."""
    stop = first
    while stop < min(end, same):
        low = line.low(stop)
        if low in {",", "$", "-", "("} or low in _STOPS or line.kind(stop) == "arrow":
            break
        stop += 1
    return stop


def _ends(line: Line, stop: int) -> bool:
    # "same problem" is a result, "same day" is not.
    return line.low(stop) in _AGAIN


def _result(
    line: Line, stems: Sequence[str], begin: int, *, end: int, actions: Actions
) -> tuple[int, int] | None:
    for index in range(begin, end):
        hits = actions.tried_same.at(stems, index, stop=end, gap=0)
        if hits:
            stop = max(stop for _, stop, _ in hits)
            if line.low(index) == "same" and line.kind(stop) == "word" and not _ends(line, stop):
                continue
            return index, stop
    return None


def _make(line: Line, part: str, *, first: int, stop: int) -> Row:
    start, end = line.span(first, stop)
    text = line.text[start:end]
    cost = _COST.search(text)
    cents = int(cost[1]) * 100 + int(cost[2] or 0) if cost else None
    return Tried(part=part, text=text, cost_cents=cents), (first, stop)


def _after_verb(line: Line, stems: Sequence[str], index: int, *, actions: Actions) -> Row | None:
    """Read ``replaced X, same``: the result must be said, or the part may have cured it."""
    hits = actions.tried_verbs.at(stems, index, stop=len(stems), gap=0)
    if not hits:
        return None
    begin, end = (
        max(stop for _, stop, _ in hits),
        min(line.statement_end(index), index + _MAX_REACH),
    )
    result = _result(line, stems, begin, end=end, actions=actions)
    if result is None:
        return None
    part = _part(line, begin, _part_stop(line, begin, end=end, same=result[0]))
    return _make(line, part, first=index, stop=result[1]) if part else None


def _before_new(line: Line, stems: Sequence[str], index: int, *, actions: Actions) -> Row | None:
    """Read ``battery is new and it still dies`` and ``coil replaced, no change``."""
    hits = actions.tried_new.at(stems, index, stop=len(stems), gap=0)
    if not hits:
        return None
    stop, first = max(row[1] for row in hits), index
    while first > 0 and index - first < _MAX_PART and line.clause[first - 1] == line.clause[index]:
        if line.kind(first - 1) not in {"word", "number"}:
            break
        first -= 1
    part = _part(line, first, index)
    result = _result(
        line, stems, stop, end=min(line.statement_end(index), index + _MAX_REACH), actions=actions
    )
    sure = stems[index] in {"is", "are", "i", "ar"}
    if not part or (result is None and not sure):
        return None
    return _make(line, part, first=first, stop=result[1] if result else stop)


def read_tried(
    line: Line, stems: Sequence[str], *, actions: Actions, deeds: Iterable[Deed]
) -> list[Row]:
    """Return the parts that were tried and did not cure, with their marks."""
    taken = {at for deed in deeds for at in range(deed.first, deed.stop)}
    found: list[Row] = []
    index = 0
    while index < len(line.marks):
        if index in taken:
            index += 1
            continue
        row = _before_new(line, stems, index, actions=actions) or _after_verb(
            line, stems, index, actions=actions
        )
        if row:
            found.append(row)
            index = row[1][1]
        else:
            index += 1
    return found
