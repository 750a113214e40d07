"""Open work in words: jobs that stand too long, words that nobody understood."""

from collections.abc import Mapping
from typing import Any, Final

from kb.case.terms import Vocabulary
from kb.workflow.week.rows import WeekRow
from web.week_words.counts import first_up, in_order, job_words, listed, many
from web.week_words.said import Said, Say

_WHY: Final = {
    "parts": "parts",
    "customer": "the customer's word",
    "not_shown": "the fault to show itself",
    "else": "something else",
    "nothing": "no reason written down",
    "no_check": "no reason written down and no check done",
}


def _old_job(row: WeekRow, words: Vocabulary) -> Said:
    numbers = row.numbers
    jobs = many(numbers["old"], "job was", "jobs were")
    all_over = numbers["over"] == numbers["old"]
    days = 14 if all_over else 5
    over = (
        f", {numbers['over']} of them for more than 14" if numbers["over"] and not all_over else ""
    )
    why = [f"{_WHY[key]}: {count}" for key, count in numbers["why"].items()]
    return Said(
        what=f"{jobs} open for more than {days} days{over}.",
        numbers=f"{many(numbers['open'], 'job was', 'jobs were')} open in all. "
        f"What those over 5 days wait for: {listed(why, len(why))}. "
        f"{in_order('By age', [_aged(one) for one in numbers['jobs']])}.",
        do="Say for each what it waits for and who sees to it, the oldest first.",
    )


def _aged(one: Mapping[str, Any]) -> str:
    return f"{job_words(one)}, {many(one['days'], 'day')}, {one['waits_for'] or _WHY[one['why']]}"


def _unread(row: WeekRow, words: Vocabulary) -> Said:
    first, *others = row.numbers["words"]
    more = len(others) + row.numbers["more"]
    also = f", and so it is with {many(more, 'other word')}" if more else ""
    return Said(
        what=f"Nobody understood “{first['word']}” in {many(first['jobs'], 'job')}{also}.",
        numbers=first_up(
            listed(
                [
                    f"“{one['word']}” in {many(one['jobs'], 'job')}, last on {one['last']}"
                    for one in row.numbers["words"]
                ],
                len(row.numbers["words"]),
            )
        )
        + ".",
        do="Say on the page “Words” what they mean, or set them aside.",
    )


SAY: Final[Mapping[str, Say]] = {"old_job": _old_job, "unread_word": _unread}
