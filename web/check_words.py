"""The next check and the look that is due, as words for the terminal and pages and as JSON."""

from collections.abc import Iterable
from textwrap import fill
from typing import Any, Final

from kb.case.terms import Vocabulary
from kb.diagnosis.checks import CheckAdvice, LookAdvice
from kb.workflow.suggest import Suggestion
from web.layout import WIDTH, table
from web.wording import guess_words

NOTHING_SETTLES: Final = "no listed check will settle this"
_MOST_CAUTIONS: Final = 5
_MOST_BESIDE: Final = 3
# An opening shorter than this many minutes is no reason to do checks together (our choice).
_WORTH_SHARING: Final = 5.0


def _pair_words(words: Vocabulary, check: str, subject: str | None) -> str:
    return words.check_name(check) + (f": {subject}" if subject else "")


def beside_words(row: CheckAdvice, words: Vocabulary) -> str:
    """Return what else lies behind the same long opening, "" where nothing does."""
    if not row.beside or row.opening < _WORTH_SHARING:
        return ""
    names = [_pair_words(words, check, subject) for check, subject in row.beside[:_MOST_BESIDE]]
    more = len(row.beside) - len(names)
    listed = ", ".join(names) + (f" and {more} more" if more else "")
    return f"Opening takes {row.opening:.0f} min once; behind it too: {listed}"


def look_words(row: LookAdvice, words: Vocabulary) -> str:
    """Return which cause to go and look at, how, and how long it takes."""
    return f"Go and look: {words.cause_name(row.look.cause)}. {how_words(row, words)}"


def how_words(row: LookAdvice, words: Vocabulary) -> str:
    """Return how a look is taken, how long it takes, and why it is due."""
    look = row.look
    how = "the part itself" if look.check is None else _pair_words(words, look.check, look.subject)
    proves = f" (“{look.outcome.replace('_', ' ')}” proves it)" if look.outcome else ""
    return (
        f"{how[:1].upper()}{how[1:]}{proves}, about "
        f"{row.minutes:.0f} min. Looking at the likely causes one after the other, about "
        f"{row.expected:.0f} min in all, costs no more than checking further."
    )


def _check_words(row: CheckAdvice, words: Vocabulary) -> str:
    tells = [f"{outcome.replace('_', ' ')} = {words.cause_name(c)}" for c, outcome in row.tells[:2]]
    notes = "; ".join(note for note in (*tells, beside_words(row, words)) if note)
    return _pair_words(words, row.check, row.subject) + (f" ({notes})" if notes else "")


def _check_table(suggestion: Suggestion, words: Vocabulary) -> list[str]:
    if not suggestion.settles:
        return [NOTHING_SETTLES]
    rows = [("next check", "min", "bits")]
    rows += [
        (_check_words(row, words), f"{row.minutes:.0f}", f"{row.bits:.2f}")
        for row in suggestion.checks
    ]
    return table(rows, widths=(WIDTH - 16, 5, 5))


def _wrapped(texts: Iterable[str]) -> list[str]:
    return [line for text in texts for line in fill(text, WIDTH).split("\n")]


def check_rows(suggestion: Suggestion, words: Vocabulary) -> list[str]:
    """Return the look that is due, the checks worth doing next, or that none will settle it."""
    look = suggestion.look
    lines = _wrapped([look_words(look, words)]) if look else []
    lines += _check_table(suggestion, words)
    lines += _wrapped([guess_words(suggestion.guess)]) if suggestion.guess else []
    rows = (*((look,) if look else ()), *suggestion.checks)
    cautions = {caution.key: caution for row in rows for caution in row.cautions}
    first = sorted(cautions.values(), key=lambda row: row.level != "stop")[:_MOST_CAUTIONS]
    lines += _wrapped(f"{row.level.upper()}: {row.text}" for row in first)
    return [*lines, *_wrapped([words.caution_footer])] if first else lines


def _pair_json(check: str | None, subject: str | None) -> dict[str, Any]:
    return {"check": check, "subject": subject}


def _check_json(row: CheckAdvice) -> dict[str, Any]:
    return {
        **_pair_json(row.check, row.subject),
        "bits": round(row.bits, 4),
        "minutes": row.minutes,
        "cautions": [caution.text for caution in row.cautions],
        "with": [_pair_json(*pair) for pair in row.beside],
    }


def _look_json(row: LookAdvice) -> dict[str, Any]:
    return {
        "cause": row.look.cause,
        **_pair_json(row.look.check, row.look.subject),
        "outcome": row.look.outcome,
        "minutes": round(row.minutes, 1),
        "expected_minutes": round(row.expected, 1),
        "cautions": [caution.text for caution in row.cautions],
    }


def next_json(suggestion: Suggestion) -> dict[str, Any]:
    """Return the next checks, whether any settles it, and the look, with stable keys."""
    look = suggestion.look
    return {
        "checks": [_check_json(row) for row in suggestion.checks],
        "settles": suggestion.settles,
        "look": _look_json(look) if look else None,
    }
