"""Money and promises in words: parts that did not cure, declined repairs, work-arounds, safety."""

from collections.abc import Mapping, Sequence
from typing import Any, Final

from kb.case.handover import dangers_of
from kb.case.terms import Vocabulary
from kb.workflow.week.money import LOOK_FROM
from kb.workflow.week.rows import WeekRow
from web.week_words.counts import (
    first_up,
    in_order,
    job_words,
    listed,
    many,
    minutes_words,
    money_words,
    share_words,
)
from web.week_words.said import Said, Say


def _lost(row: WeekRow, words: Vocabulary) -> Said:
    numbers = row.numbers
    share = numbers["share"]
    text = (
        f"{many(numbers['times'], 'time')} in 8 weeks; jobs with it: {share_words(share)}; "
        f"{money_words(numbers['cents'])}; {minutes_words(numbers['minutes'])}."
    )
    if not row.subject:
        times = many(numbers["times"], "part or piece of work", "parts or pieces of work")
        return Said(what=f"{times} did not cure, in {many(share['count'], 'job')}.", numbers=text)
    causes = [f"{_cause(one['cause'], words)} ({one['jobs']})" for one in numbers["causes"]]
    part = numbers["part"]
    return Said(
        what=f"{first_up(part)} was tried in {many(share['count'], 'job')} and did not cure.",
        numbers=f"{text} What it was instead: {listed(causes)}.",
        do=f"Make it a rule: check{_often(numbers['causes'], words)} before {part} is tried.",
    )


def _often(causes: Sequence[Mapping[str, Any]], words: Vocabulary) -> str:
    """Return which cause to check for, where one was behind it more than once."""
    often = [one["cause"] for one in causes if one["cause"] and one["jobs"] >= LOOK_FROM]
    return f" for “{words.cause_name(often[0])}”" if often else " what else it could be"


def _cause(key: str | None, words: Vocabulary) -> str:
    return words.cause_name(key) if key else "no cause found"


def _declined(row: WeekRow, words: Vocabulary) -> Said:
    numbers = row.numbers
    text = (
        f"Of those declined in 52 weeks, the car came back: {share_words(numbers['back'])}; "
        f"repaired since: {share_words(numbers['done'])}."
    )
    if not numbers["waiting"]:
        return Said(
            what="Of the declined repairs with a proven cause none is left to do.", numbers=text
        )
    jobs = [_waiting(one, words) for one in numbers["jobs"]]
    repairs = many(numbers["waiting"], "repair was", "repairs were")
    aged = f"{in_order('By age', jobs)}."
    return Said(
        what=f"{repairs} declined with the cause proven, and not done since.",
        numbers=f"Worth {money_words(numbers['cents'], 'price')}. {text} {aged}"
        if numbers["cents"]["known"]
        else f"No price is written down. {text} {aged}",
        do="Call the customers, the oldest first.",
    )


def _waiting(one: Mapping[str, Any], words: Vocabulary) -> str:
    cents = one["cents"]
    price = "no price written down" if cents is None else f"{cents / 100:,.2f}"
    return f"{_aged(one, words)}, {price}{_back(one['back'], words)}"


def _aged(one: Mapping[str, Any], words: Vocabulary) -> str:
    return f"{job_words(one)}, {many(one['days'], 'day')}, {_cause(one['cause'], words)}"


def _back(back: Mapping[str, Any] | None, words: Vocabulary) -> str:
    if back is None:
        return ""
    how = ", a comeback" if back["comeback"] else ""
    if back["open"]:
        why = "still open"
    else:
        why = "the same cause" if back["same"] else _cause(back["cause"], words)
    return f", came back ({back['job']}{how}, {why})"


def _workaround(row: WeekRow, words: Vocabulary) -> Said:
    jobs = row.numbers["jobs"]
    count = len(jobs)
    name = row.subject[0]
    order = "By age" if name == "no_end" else "By date"
    return {"over": _over, "due": _due, "no_end": _no_end}[name](
        many(count, "work-around"), f"{in_order(order, [_until(one, words) for one in jobs])}."
    )


def _until(one: Mapping[str, Any], words: Vocabulary) -> str:
    cause = _cause(one["cause"], words)
    if one["until"] is None:
        return f"{job_words(one)}, {many(one['days'], 'day')} old, {cause}"
    return f"{job_words(one)}, meant to last to {one['until']}, {cause}"


def _over(count: str, jobs: str) -> Said:
    return Said(
        what=f"Time is up for {count} with the car not back yet.",
        numbers=jobs,
        do="Call these cars in.",
    )


def _due(count: str, jobs: str) -> Said:
    return Said(
        what=f"Time will be up within 14 days for {count}.",
        numbers=jobs,
        do="Agree on a day, and order what the repair needs.",
    )


def _no_end(count: str, jobs: str) -> Said:
    return Said(
        what=f"No end date is written down for {count}.",
        numbers=jobs,
        do="Agree with the customer how long it may last, and write down the day.",
    )


def _safety(row: WeekRow, words: Vocabulary) -> Said:
    jobs = row.numbers["jobs"]
    count = many(len(jobs), "car")
    this_week = row.subject == ("week",)
    lines = [
        f"{_aged(one, words)}{_danger(one['cause'], words) if this_week else ''}"
        f"{_back(one['back'], words)}"
        for one in jobs
    ]
    told = f"Who was told of the danger is written down for {row.numbers['told']} of {len(jobs)}."
    if this_week:
        return Said(
            what=f"{count} left this week with a safety repair not done.",
            numbers=f"{told} {in_order('By age', lines)}.",
            do="Check today that each customer was told of the danger and signed for it; "
            "local rules come first.",
        )
    return Said(
        what=f"{count} left in the half year before with a safety repair not done, "
        "and nothing here says that it was done since.",
        numbers=f"{told} {in_order('By age', lines)}.",
        do="Call these customers; check that each was told and signed for it; "
        "local rules come first.",
    )


def _danger(cause: str | None, words: Vocabulary) -> str:
    dangers = dangers_of(cause, words)
    return f" ({dangers[0].removesuffix('.')})" if dangers else ""


SAY: Final[Mapping[str, Say]] = {
    "money_lost": _lost,
    "declined": _declined,
    "workaround": _workaround,
    "safety": _safety,
}
