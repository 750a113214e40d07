"""What came back, what failed again and what holds, in words."""

from typing import Final

from kb.case.terms import Vocabulary
from kb.workflow.week.rows import WeekRow
from web.week_words.changes import Numbers, joined, luck_words, since_words, system_words
from web.week_words.counts import between_words, first_up, listed, many, share_words
from web.week_words.said import Said, Say


def came_back(row: WeekRow, words: Vocabulary) -> Said:
    """Say what came back this week, or that more of one system come back than used to."""
    if row.subject:
        return _system_back(row, words)
    numbers, wrong = row.numbers, row.numbers["overturned"]
    came = len(numbers["came"])
    what = "No car came back this week." if not came else f"{many(came, 'car')} came back this week"
    if came:
        another = many(wrong, "case was overturned", "cases were overturned")
        what += f"; {another}." if wrong else "."
    if _up(numbers):
        what += " More come back than used to."
    do = "Open the overturned case and see what would have told both causes apart." if wrong else ""
    return Said(what=what, numbers=_shop_numbers(numbers, words), do=do or _look(numbers))


def _up(numbers: Numbers) -> bool:
    return numbers["rate"] is not None


def _look(numbers: Numbers) -> str:
    return (
        "Go through the cars that came back and look for what they share." if _up(numbers) else ""
    )


def _shop_numbers(numbers: Numbers, words: Vocabulary) -> str:
    of_each = [_one_back(row, words) for row in numbers["came"]]
    return joined(listed(of_each) if of_each else "", _closed(numbers), _rate(numbers))


def _one_back(row: Numbers, words: Vocabulary) -> str:
    cause = words.cause_name(row["cause"])
    car = f", {row['car']}," if row.get("car") else ""
    after = f"{row['back']}{car} after {many(row['days'], 'day')}"
    if row["overturned"]:
        return f"{after}: {cause}, and it was {words.cause_name(row['cause_now'])}"
    return f"{after}: {cause}" + ("" if row["cause_now"] else ", not proven yet")


def _closed(numbers: Numbers) -> str:
    """Return the share of the newest repairs that had their whole period to come back."""
    if not numbers["of"]:
        return f"no repair has its {numbers['holding_days']} days behind it yet"
    days = numbers["holding_days"]
    told = (
        f"of the newest repairs that are {days} days old, so many came back within those days: "
        f"{share_words(numbers)}"
    )
    before = numbers["before"]
    return f"{told}; the year before {share_words(before)}" if before["of"] else told


def _rate(numbers: Numbers) -> str:
    rate = numbers["rate"]
    if rate is None:
        return ""
    came = f"{rate['recent']} came back in {rate['recent_weeks']} weeks"
    told = f"{came}, {rate['expected']:.1f} expected from that many repairs"
    return "; ".join(part for part in (told, since_words(rate)) if part)


def _system_back(row: WeekRow, words: Vocabulary) -> Said:
    numbers = row.numbers
    system = first_up(system_words(numbers["system"], words))
    return Said(
        what=f"{system}: more repairs come back than used to.",
        numbers=joined(_rate(numbers), _closed(numbers)),
        do=_look(numbers),
    )


def failed_part(row: WeekRow, _words: Vocabulary) -> Said:
    """Say a part of one supplier, or of one lot, that failed again."""
    numbers, others = row.numbers, row.numbers["others"]
    whose = f"{numbers['part']} by {numbers['supplier']}"
    whose += f", lot {numbers['lot']}" if numbers["lot"] else ""
    what = f"{first_up(whose)}: {numbers['count']} of {numbers['of']} failed again within a year."
    days = numbers["median_days"]
    behind = joined(
        share_words(numbers),
        f"all others of this part: {others['count']} of {others['of']}"
        if others["of"]
        else "no other of this part to hold it against",
        f"half of the failures came within {many(round(days), 'day')}",
        _life(numbers["shape"]),
        _firm(numbers["flag"]),
        since_words(numbers),
    )
    do = "Claim the warranty, and order from somebody else until it is settled."
    return Said(what=what, numbers=behind, do=do if numbers["flag"] == "alert" else "")


def _life(shape: float | None) -> str:
    """Return whether the parts fail early, at any age, or at much the same; our choice of bounds."""
    if shape is None:
        return ""
    if shape < 0.8:
        return "most fail soon after they were fitted"
    return "they fail at much the same age" if shape > 1.2 else "they fail at any age"


def _firm(flag: str | None) -> str:
    if flag is None:
        return "too few to tell whether that is the supplier"
    return luck_words({"flag": flag})


def held(row: WeekRow, _words: Vocabulary) -> Said:
    """Say how many cases passed their holding period."""
    numbers = row.numbers
    passed = many(numbers["count"], "case is", "cases are")
    return Said(
        what=f"{passed} {numbers['holding_days']} days old and did not come back.",
        numbers="The period is the shop’s own setting.",
        do="Mark them as held: where the fault came and went with one action, that makes the cause "
        "proven.",
    )


def lasting(row: WeekRow, words: Vocabulary) -> Said:
    """Say how many repairs hold, or that one way of mending holds better."""
    numbers = row.numbers
    if "fixes" in numbers:
        return _fixes(row, words)
    days, share = numbers["holding_days"], numbers["held"]
    whose = system_words(numbers["system"], words) if numbers["system"] else "all systems"
    behind = f"{numbers['failures']} of {numbers['repairs']} came back with the same cause so far"
    few = numbers["fixes_too_few"]
    ways = many(few, "cause is", "causes are") + " repaired in more than one way"
    note = f"{ways}, too few to tell which holds better" if few else ""
    if share is None:
        return Said(what=f"{first_up(whose)}: too few to tell yet.", numbers=joined(behind, note))
    return Said(
        what=f"{first_up(whose)}: {_of_100(share['share'])} repairs hold for {days} days.",
        numbers=joined(
            f"with luck either way {between_words(share['low'], share['high'])}",
            behind,
            f"{many(share['at_risk'], 'repair was', 'repairs were')} followed that long",
            note,
        ),
    )


def _of_100(share: float) -> str:
    return "over 99 of 100" if 0.99 < share < 1 else f"{100 * share:.0f} of 100"


def _fixes(row: WeekRow, words: Vocabulary) -> Said:
    numbers = row.numbers
    days = numbers["holding_days"]
    told = [f"{_done(each)}: {share_words(each)}" for each in numbers["fixes"]]
    other, best = numbers["fixes"]
    cause = first_up(words.cause_name(numbers["cause"]))
    return Said(
        what=f"{cause}: holds better {_done(best)} than {_done(other)}.",
        numbers=joined(f"came back within {days} days, {'; '.join(told)}"),
        do="See whether the other way is worth doing at all.",
    )


def _done(fix: Numbers) -> str:
    return "worked around" if fix["fix"] == "workaround" else str(fix["fix"])


SAY: Final[dict[str, Say]] = {
    "came_back": came_back,
    "failed_part": failed_part,
    "held": held,
    "lasting": lasting,
}
