"""What comes up more often than it used to, in words."""

from typing import Final

from kb.case.terms import Vocabulary
from kb.workflow.week.rows import WeekRow
from web.week_words.changes import (
    Numbers,
    joined,
    luck_words,
    model_words,
    season_words,
    since_words,
    system_words,
    times_words,
)
from web.week_words.counts import first_up, many
from web.week_words.said import Said, Say


def _counted(numbers: Numbers) -> str:
    """Return what came in the recent weeks, and what was to be expected of that many jobs."""
    cars, came = numbers["vehicles"], many(numbers["recent"], "time")
    once = " (those of one model on one day count once)" if cars > numbers["recent"] else ""
    return (
        f"{came} in {numbers['recent_weeks']} weeks, on {many(cars, 'car')}{once}; "
        f"{numbers['expected']:.1f} expected from that many jobs"
    )


def _before(numbers: Numbers) -> str:
    return f"{numbers['before']} in the {many(numbers['before_weeks'], 'week')} before"


def _behind(numbers: Numbers) -> str:
    """Return the numbers behind a rise."""
    return joined(
        _counted(numbers),
        _before(numbers),
        times_words(numbers),
        season_words(numbers),
        luck_words(numbers),
        since_words(numbers),
    )


def _carried(own: int, recent: int) -> str:
    return "all on one model:" if own == recent else f"{own} of {recent} on one model:"


def _stock(numbers: Numbers) -> str:
    if numbers["flag"] == "watch":
        return "Watch it next week; nothing needs to be done on this alone."
    return "Tell everybody, and see that the parts for it are in stock."


def rising_cause(row: WeekRow, words: Vocabulary) -> Said:
    """Say a cause that rises, and the model that carries it."""
    numbers, carrier = row.numbers, row.numbers["carried_by"]
    what = f"{first_up(words.cause_name(numbers['cause']))} comes up more often than it used to"
    if carrier:
        what += f", {_carried(carrier['recent'], numbers['recent'])} {model_words(carrier)}"
    return Said(what=f"{what}.", numbers=_behind(numbers), do=_stock(numbers))


def rising_pair(row: WeekRow, words: Vocabulary) -> Said:
    """Say a cause that rises on one model."""
    numbers = row.numbers
    cause = words.cause_name(numbers["cause"])
    what = f"{model_words(numbers)}: {cause} comes up more often than it used to."
    do = "Look for a bulletin of the maker, and look there first on the next one."
    return Said(what=what, numbers=_behind(numbers), do=do)


def rising_complaint(row: WeekRow, words: Vocabulary) -> Said:
    """Say a complaint that rises on one model, job for job."""
    numbers, other = row.numbers, row.numbers["elsewhere"]
    term = words.symptoms.get(numbers["concept"])
    said = term.say if term else numbers["concept"].replace("_", " ")
    what = f"{model_words(numbers)}: “{said}” is heard more often than it used to be."
    behind = joined(
        f"{numbers['recent']} on {many(numbers['recent_jobs'], 'job')} of this model in "
        f"{numbers['recent_weeks']} weeks ({many(numbers['vehicles'], 'car')})",
        f"{numbers['before']} on {many(numbers['before_jobs'], 'job')} in the "
        f"{many(numbers['before_weeks'], 'week')} before",
        times_words(numbers),
        f"all other models: {other['recent']} on {many(other['recent_jobs'], 'job')}, before "
        f"{other['before']} on {other['before_jobs']}",
        season_words(numbers),
        luck_words(numbers),
        since_words(numbers),
    )
    do = "Look for a bulletin of the maker, and write a shop note for the next one."
    return Said(what=what, numbers=behind, do=do)


def season(row: WeekRow, words: Vocabulary) -> Said:
    """Say a system that brings more or less than a year ago, or that none does."""
    numbers = row.numbers
    if not row.subject:
        few = [system_words(system, words) for system in numbers["too_few"]]
        return Said(
            what=f"In the last {numbers['weeks']} weeks no system brought clearly more or less "
            "than in the same weeks a year ago.",
            numbers=joined(f"too few to tell: {', '.join(few)}" if few else ""),
        )
    more = numbers["recent_per_100"] > numbers["before_per_100"]
    system = first_up(system_words(numbers["system"], words))
    what = (
        f"{system}: {'more' if more else 'less'} work than in the same {numbers['weeks']} weeks "
        f"a year ago."
    )
    ratio = numbers["ratio"]
    behind = joined(
        f"{numbers['recent_per_100']:.0f} of 100 jobs ({numbers['recent']} of "
        f"{numbers['recent_of']}), a year ago {numbers['before_per_100']:.0f} "
        f"({numbers['before']} of {numbers['before_of']})",
        ""
        if ratio is None
        else f"{ratio:.1f} times as many, with luck either way {numbers['low']:.1f} to "
        f"{numbers['high']:.1f}",
        "cars of one model on one day count once",
    )
    do = "Think of it when parts are ordered and days off are planned."
    return Said(what=what, numbers=behind, do=do)


SAY: Final[dict[str, Say]] = {
    "rising_cause": rising_cause,
    "rising_pair": rising_pair,
    "rising_complaint": rising_complaint,
    "season": season,
}
