"""Answers of the week in words: whether they helped, what was new, mixed up, or met by nobody."""

from collections.abc import Mapping
from typing import Any, Final

from kb.case.terms import Vocabulary
from kb.workflow.week.answers import FIRST_PLACES
from kb.workflow.week.rows import WeekRow
from web.week_words.counts import between_words, first_up, listed, many, share_words
from web.week_words.said import Said, Say

# How the places that count are called.
_PLACES: Final = f"first {FIRST_PLACES}"


def _helped(row: WeekRow, _words: Vocabulary) -> Said:
    known = row.numbers
    share, usual = known["share"], known["usual"]
    text = f"Jobs of 8 weeks: {share_words(share)}."
    if usual is not None:
        text += (
            f" Naming the most frequent causes every time would have had it in "
            f"{share_words(usual['share'])}."
        )
    worse = usual is not None and share["high"] < usual["share"]["low"]
    return Said(
        what=f"The cause stood among the {_PLACES} shown in {share['count']} of {share['of']} jobs.",
        numbers=f"{text} {_score_words(known, usual)}{_surest(known['bands'])}",
        do="Have the answers measured and fitted anew (baybook measure, baybook rebuild)."
        if worse
        else "",
    )


def _score_words(known: Mapping[str, Any], usual: Mapping[str, Any] | None) -> str:
    def beside(name: str) -> str:
        return f" (the most frequent causes: {usual[name]:.2f})" if usual else ""

    return (
        f"How high the cause stood, 1 where always first, 0.5 where always second: "
        f"{known['mrr']:.2f}{beside('mrr')}. How far off the chances were, "
        f"0 best, 2 worst: {known['brier']:.2f}{beside('brier')}."
    )


def _surest(bands: list[Mapping[str, Any]]) -> str:
    """Return how often the surest answers proved true."""
    top = bands[-1]
    low, high = top["interval"]
    return (
        f" Where {100 * top['low']:.0f} to {100 * top['high']:.0f} % was said, it proved true "
        f"{top['right']} of {many(top['answers'], 'time')}, with luck either way "
        f"{between_words(low, high)}."
    )


def _new_ground(row: WeekRow, _words: Vocabulary) -> Said:
    known = row.numbers
    searches = many(known["searches"], "search", "searches")
    asked = f"{first_up(searches)} found nothing: {listed(known['asked'])}."
    if not known["cases"]:
        return Said(what=f"{searches} of the week found nothing like it here.", numbers=asked)
    return Said(
        what=f"{many(known['cases'], 'case')} of the week had nothing like it here before.",
        numbers=f"{known['cases']} of {many(known['of'], 'case')} whose answers were kept."
        f"{f' {asked}' if known['searches'] else ''}",
        do="Write such a case with care: the next one finds it.",
    )


def _mixed_up(row: WeekRow, words: Vocabulary) -> Said:
    said, cause = (words.cause_name(key) for key in row.subject)
    known = row.numbers
    checks = [
        f"{words.check_name(check)} ({many(count, 'time')})" for check, count in known["apart"]
    ]
    told = f" Put the right one of both first where it was: {listed(checks)}." if checks else ""
    return Said(
        what=f"“{first_up(said)}” stood first {many(known['share']['count'], 'time')} "
        f"where “{cause}” was proven.",
        numbers=f"Of the jobs of 52 weeks with “{cause}” proven: {share_words(known['share'])}.{told}",
        do="Before either is repaired, do the check that tells them apart."
        if checks
        else "Look for a check that tells them apart, and write it down when one is found.",
    )


def _old_knowledge(row: WeekRow, _words: Vocabulary) -> Said:
    known = row.numbers
    stand = "stands" if known["cases"] == 1 else "stand"
    return Said(
        what=f"{many(known['cases'], 'case')} older than 36 months {stand} alone: no newer case "
        "has the cause.",
        numbers=f"{known['cases']} of {many(known['of'], 'case')} older than 36 months, "
        f"{many(known['causes'], 'cause')}; no close since {known['since']} showed any of them.",
        do="Look whether they still hold for the cars that come in.",
    )


SAY: Final[Mapping[str, Say]] = {
    "answers_helped": _helped,
    "new_ground": _new_ground,
    "mixed_up": _mixed_up,
    "old_knowledge": _old_knowledge,
}
