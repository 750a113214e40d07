"""Checks of the week in words: which paid, changed nothing, were left out, took long."""

from collections.abc import Mapping
from typing import Any, Final

from kb.case.terms import Vocabulary
from kb.workflow.week.rows import WeekRow
from web.week_words.counts import first_up, listed, many, share_words
from web.week_words.said import Said, Say


def minutes_words(minutes: float) -> str:
    """Return minutes as a person says them, tenths below ten.

    Examples
    --------
    >>> minutes_words(1.0), minutes_words(4.26), minutes_words(31.4)
    ('1 minute', '4.3 minutes', '31 minutes')
    """
    said = f"{minutes:.0f}" if minutes >= 10 else f"{round(minutes, 1):g}"
    return f"{said} minute" if said == "1" else f"{said} minutes"


def _name(row: WeekRow, words: Vocabulary) -> str:
    return first_up(words.check_name(row.subject[0]))


def _paid(row: WeekRow, words: Vocabulary) -> Said:
    known = row.numbers
    # One bit is what halves the causes that are left; said as the minutes that it takes.
    halves = f"with luck either way {1 / known['high']:.0f} to {1 / known['low']:.0f}"
    return Said(
        what=f"{_name(row, words)}: tells much for its time.",
        numbers=f"It halved what it could still be in about "
        f"{minutes_words(1 / known['bits_per_minute'])} of work ({halves}), over "
        f"{many(known['runs'], 'time')} in 52 weeks; another cause came first after "
        f"{known['changed']} of them.{_estimated(known)}",
        do="Do it earlier where it fits.",
    )


def _estimated(known: Mapping[str, Any]) -> str:
    missing = known["runs"] - known["written"]
    if not missing:
        return ""
    return f" Minutes were not written down {many(missing, 'time')}; the usual ones stand for them."


def _idle(row: WeekRow, words: Vocabulary) -> Said:
    known = row.numbers
    spent = ""
    if known["minutes"] is not None:
        times = many(known["minutes_known"], "time")
        spent = f" {first_up(minutes_words(known['minutes']))} in all, written down {times}."
    return Said(
        what=f"{_name(row, words)}: hardly ever changes what comes next.",
        numbers="It found all in order and the likely causes stayed as they were: "
        f"{share_words(known['share'])}, in 52 weeks.{spent}",
        do="Do it later, or only where something speaks for it. "
        "What safety or a proof asks for stays.",
    )


def _skipped(row: WeekRow, words: Vocabulary) -> Said:
    known = row.numbers
    count = known["share"]["count"]
    none = count - known["said"]
    reasons = [
        *([f"{known['said']} written down as not done"] if known["said"] else []),
        *([f"{none} without a reason"] if none else []),
    ]
    notes = f" Written beside it: {listed(known['notes'])}." if known["notes"] else ""
    return Said(
        what=f"{_name(row, words)}: stood first and was left out {many(count, 'time')}.",
        numbers=f"Jobs of 8 weeks where it was the first check and was not done: "
        f"{share_words(known['share'])}; {' and '.join(reasons)}.{notes}",
        do="Ask why: hard to get at, no tool, or not known.",
    )


def _slow(row: WeekRow, words: Vocabulary) -> Said:
    known = row.numbers
    car = " ".join(filter(None, row.subject[1:])) or "cars without a make"
    return Said(
        what=f"{_name(row, words)}: takes longer than reckoned on {car}.",
        numbers=f"The middle one of {many(known['runs'], 'time')} in 52 weeks took "
        f"{minutes_words(known['middle'])}, the middle half {known['low']:.0f} to "
        f"{known['high']:.0f}; reckoned with getting at it are {minutes_words(known['expected'])}.",
        do="Plan with the longer time on this car, or find out what makes it slow.",
    )


SAY: Final[Mapping[str, Say]] = {
    "check_paid": _paid,
    "check_idle": _idle,
    "check_skipped": _skipped,
    "slow_check": _slow,
}
