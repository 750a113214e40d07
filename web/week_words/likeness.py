"""Recent jobs held against each other, in words: groups without a name, twins, odd readings."""

from collections.abc import Mapping
from typing import Any, Final

from kb.case.model import Reading
from kb.case.terms import Vocabulary
from kb.case.units import Quantity, convert
from kb.retrieval.measures import plain_number
from kb.workflow.week.rows import Level, WeekRow
from web.week_words.counts import first_up, listed, many
from web.week_words.said import Said, Say
from web.wording import amount, choice_words, quantity_words, with_signs

# Words and other things that hold a group together, said at most (our choice).
_MOST_SIGNS: Final = 4


# --- groups ---------------------------------------------------------------------------------------


def _no_name(row: WeekRow, words: Vocabulary) -> Said:
    numbers = row.numbers
    jobs = many(numbers["jobs"], "job")
    if numbers["looks_like"]:
        cause = words.cause_name(numbers["looks_like"])
        what = (
            f"{jobs} look like “{cause}”, but {numbers['unnamed']} of them have no cause "
            "written down."
        )
        do = f"Ask whether it was “{cause}” in these too, and write it down."
    else:
        cars = many(numbers["vehicles"], "car")
        what = f"{jobs} from {cars} are alike, and no one cause explains them."
        do = "Open them side by side, and agree on what to check in the next one."
    return Said(
        what=what,
        numbers=f"{_causes(numbers, words)} What they share: {_signs(numbers['signs'], words)}. "
        f"{_words_before(numbers['words'])}",
        do=do,
    )


def _causes(numbers: Mapping[str, Any], words: Vocabulary) -> str:
    told = [f"{words.cause_name(one['cause'])} ({one['count']})" for one in numbers["causes"]]
    if numbers["unnamed"]:
        told.append(f"no cause written down ({numbers['unnamed']})")
    return f"Causes: {listed(told, len(told))}."


def _signs(signs: list[Mapping[str, Any]], words: Vocabulary) -> str:
    said = [sign for sign in signs if sign["part"] == "words"][:_MOST_SIGNS]
    other = [sign for sign in signs if sign["part"] != "words"][:_MOST_SIGNS]
    return "; ".join(f"{_sign(sign, words)} {_counted(sign)}" for sign in (*said, *other))


def _sign(sign: Mapping[str, Any], words: Vocabulary) -> str:
    if sign["part"] == "words":
        return f"the words “{sign['what']}”" if " " in sign["what"] else f"“{sign['what']}”"
    if sign["part"] != "reading":
        return str(sign["what"])
    unit = sign["unit"]
    return (
        f"{_measured(sign['what'], words)} {amount(sign['span'], unit) if unit else sign['span']}"
    )


def _measured(key: str, words: Vocabulary) -> str:
    """Return what a key of a measure says: a quantity, a derived one ("= "), or a change."""
    bare, _, place = key.removeprefix("= ").partition("|")
    known, made = words.quantity_now(bare), words.derived.get(bare)
    name = known.name if known else made.name if made else bare.replace("_", " ")
    return f"{name}, {place}" if place else name


def _counted(sign: Mapping[str, Any]) -> str:
    return (
        f"in {sign['inside']} of {sign['size']}, {sign['outside']} of {sign['others']} other jobs"
    )


def _words_before(count: Mapping[str, int]) -> str:
    now = f"{count['now']} of {count['of_now']} recent jobs"
    if count["of_before"] < count["of_now"]:
        return "Too few jobs in the year before to tell whether this is new."
    before = f"{count['before']} of {count['of_before']} in the year before"
    return f"Words like these came in {now}, {before}."


# --- pairs ----------------------------------------------------------------------------------------


def _twin(row: WeekRow, _words: Vocabulary) -> Said:
    numbers = row.numbers
    apart = "on the same day" if numbers["days_apart"] == 0 else "one day apart"
    car = (
        f"the same car, {apart}"
        if numbers["same_vehicle"]
        else f"{apart}, and nothing says that it was another car"
    )
    reasons = [with_signs(what) for what in numbers["reasons"]]
    return Said(
        what=f"{numbers['first']} and {numbers['second']} may be one job written down twice.",
        numbers=first_up(f"{car}. Alike in: {listed(reasons)}." if reasons else f"{car}."),
        do="Look whether it was one visit; if so, keep one and write there what only the other has.",
    )


def _same_readings(row: WeekRow, words: Vocabulary) -> Said:
    first, second = row.numbers["jobs"]
    causes = f"{words.cause_name(first['cause'])} and {words.cause_name(second['cause'])}"
    return Said(
        what=f"{first['job']} and {second['job']} have the same readings, and different causes: "
        f"{causes}.",
        numbers=f"In {first['job']}, and there in {second['job']}: "
        f"{with_signs('; '.join(row.numbers['readings']))}. {_by_luck(row.numbers['by_luck'])}",
        do="Recheck one of the two, and see which reading would have told them apart.",
    )


def _by_luck(count: float) -> str:
    number = plain_number(count) if count >= 0.01 else "fewer than 0.01"
    return f"Pairs as close that luck alone would make in 8 weeks: {number}."


# --- odd readings ---------------------------------------------------------------------------------


def _odd_value(row: WeekRow, words: Vocabulary) -> Said:
    values = row.numbers["values"]
    if row.level is not Level.KNOW:
        return _unit(values[0], words)
    count = len(values) + row.numbers["more"]
    return Said(
        what=f"{many(count, 'reading')} of the week far from what is usual: mostly the fault "
        "itself, sometimes a slip.",
        numbers=first_up(listed([_far(one, words) for one in values], len(values))) + _more(row),
    )


def _more(row: WeekRow) -> str:
    more = row.numbers["more"]
    return f"; and {more} more." if more else "."


def _unit(one: Mapping[str, Any], words: Vocabulary) -> Said:
    meant = list(dict.fromkeys(row["meant"] for row in one["meant"]))
    return Said(
        what=f"{one['job']}: {_reading(one, words)} is odd. Was it {choice_words(meant)}?",
        numbers=f"{first_up(_usual(one, words))}; read as {choice_words(meant[:1])} it would be "
        f"{_value(one['meant'][0]['value'], one, words)}.",
        do="Ask who took the reading, and correct the unit.",
    )


def _far(one: Mapping[str, Any], words: Vocabulary) -> str:
    return f"{one['job']}, {_reading(one, words)} ({_usual(one, words)})"


def _reading(one: Mapping[str, Any], words: Vocabulary) -> str:
    reading = Reading(quantity=one["quantity"], typed=one["typed"], unit=one["unit"])
    text = f"{quantity_words(reading, words)} {amount(one['typed'], one['unit'])}"
    return f"{text}, {one['position']}" if one["position"] else text


def _usual(one: Mapping[str, Any], words: Vocabulary) -> str:
    limits = "outside what can be, " if one["outside_limits"] else ""
    held = one["held"]
    if held is None:
        return f"{limits}too few readings to tell what is usual"
    whose = "its own model" if one["own_platform"] else "cars with work on this system"
    return (
        f"{limits}{_value(held['middle'], one, words)} is usual "
        f"in {many(held['count'], 'reading')} of {whose}"
    )


def _value(value: float, one: Mapping[str, Any], words: Vocabulary) -> str:
    """Return a value in the unit that was typed, which people compare it with."""
    known: Quantity | None = words.quantity_now(one["quantity"])
    if known is None or not one["unit"]:
        return plain_number(value)
    return amount(plain_number(convert(value, known.unit, one["unit"])), one["unit"])


SAY: Final[Mapping[str, Say]] = {
    "no_name": _no_name,
    "twin": _twin,
    "same_readings": _same_readings,
    "odd_value": _odd_value,
}
