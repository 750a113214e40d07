"""What was written down, in words: completeness, causes only inferred, what is kept, the spread."""

from collections.abc import Mapping
from typing import Any, Final

from kb.case.terms import Vocabulary
from kb.workflow.week.rows import WeekRow
from web.week_words.counts import between_words, first_up, listed, many, share_words
from web.week_words.said import Said, Say
from web.wording import named

_MISSING: Final = {
    "proof": "a proof that is more than inferred",
    "after": "readings after the repair",
    "before": "readings as found",
    "holds": "what shows that it holds",
    "fix": "what was done",
}


def _records(row: WeekRow, words: Vocabulary) -> Said:
    numbers = row.numbers
    complete = numbers["complete"]
    worst = [
        f"{one['job']} ({', '.join(map(_missing, one['missing']))})" for one in numbers["worst"]
    ]
    return Said(
        what=f"{many(numbers['cases'], 'case was', 'cases were')} added, "
        f"{_how_many(complete)} readings before and after the repair.",
        numbers=f"Readings before and after: {share_words(complete)}. "
        f"Cause shown, not only inferred: {share_words(numbers['verified'])}.",
        do=f"Have somebody fill in what is missing: {listed(worst)}." if worst else "",
    )


def _how_many(share: Mapping[str, Any]) -> str:
    """Return how many of some cases have something, as the middle of a sentence."""
    count, of = share["count"], share["of"]
    if count == of:
        return "with" if of == 1 else "all with"
    if not count:
        return "without" if of == 1 else "none with"
    return f"{count} of them with"


def _missing(key: str) -> str:
    return _MISSING[key]


def _inferred(row: WeekRow, words: Vocabulary) -> Said:
    numbers = row.numbers
    causes = [
        f"{words.cause_name(one['cause'])}: {share_words(one['share'])}"
        for one in numbers["causes"]
    ]
    if numbers["more"]:
        what = "More causes than in the weeks before were only inferred, not shown."
    elif causes:
        often = words.cause_name(numbers["causes"][0]["cause"])
        share = numbers["causes"][0]["share"]
        what = (
            f"{first_up(often)} was only inferred, not shown, in {share['count']} of "
            f"{many(share['of'], 'case')}."
        )
    else:
        count = numbers["recent"]["count"]
        what = f"{many(count, 'cause was', 'causes were')} only inferred, not shown."
    text = (
        f"Last 8 weeks: {share_words(numbers['recent'])}. "
        f"The 8 weeks before: {share_words(numbers['before'])}. {_compared(numbers)}"
    )
    return Said(
        what=what,
        numbers=f"{text} By cause: {listed(causes)}." if causes else text,
        do="Go back to these cases, and ask for a proof next time.",
    )


def _compared(numbers: Mapping[str, Any]) -> str:
    if numbers["p"] is None:
        return "Too few to tell whether that is a change."
    if numbers["more"]:
        return "That is more than luck would do."
    return "The difference may be luck."


def _kept(row: WeekRow, words: Vocabulary) -> Said:
    everything = row.numbers["all"]
    systems = [(_system(one["system"], words), one["share"]) for one in row.numbers["systems"]]
    empty = [name for name, share in systems if share["low"] is not None and not share["count"]]
    of = many(everything["of"], "closed job")
    return Said(
        what=f"No job became a case in: {listed(empty)}."
        if empty
        else f"Of {of} in 8 weeks, {everything['count']} became cases.",
        numbers=f"All jobs of 8 weeks: {share_words(everything)}. By system: "
        f"{listed([f'{name}: {share_words(share)}' for name, share in systems], len(systems))}.",
        do="Ask why no cause is proven there." if empty else "",
    )


def _system(key: str | None, words: Vocabulary) -> str:
    return named(words.systems, key) if key else "system not written down"


def _spread(row: WeekRow, words: Vocabulary) -> Said:
    numbers = row.numbers
    if numbers["p"] is None:
        what = "Too few to tell whether people differ in taking readings after the repair."
    elif numbers["more"]:
        what = "People differ by more than luck in how often they take readings after the repair."
    else:
        what = "People differ no more than luck would do in how often they take readings after the repair."
    return Said(
        what=what,
        numbers=f"{numbers['people']} people with 20 or more cases in 52 weeks. Evened out for "
        f"small numbers, the lowest share is {_share(numbers['lowest'])}, "
        f"the highest {_share(numbers['highest'])}.",
        do="Work in pairs, or show once to everybody how it is done; this measures nobody."
        if numbers["more"]
        else "",
    )


def _share(share: Mapping[str, float]) -> str:
    return f"{100 * share['share']:.0f} % ({between_words(share['low'], share['high'])})"


SAY: Final[Mapping[str, Say]] = {
    "records": _records,
    "inferred": _inferred,
    "kept": _kept,
    "spread": _spread,
}
