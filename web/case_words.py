"""Words of a closed job's pages: what changed, what each check spoke for, what a customer is told."""

import re
from typing import Final

from kb.case.model import Closing, Finding, FixKind, Job, Origin, Standing
from kb.case.retake import Retaken
from kb.case.terms import Vocabulary
from web.wording import amount, named

# A kind of temperature is written without its sign as a difference is meant.
_DECIMALS: Final = re.compile(r"\d[.,](\d{1,2})(?!\d)")
# How a job ended, as a customer is told.
ENDS: Final = {
    "fixed": "The fault was found and repaired.",
    "workaround": "The fault was found; a lesser measure than the full repair was chosen.",
    "declined": "The fault was found; it was not repaired, as you decided.",
    "declined_before_proof": "The search was stopped before the cause was proven, as you decided.",
    "no_fault_found": "The fault did not show here, and nothing we measured was out of order.",
    "normal": "What you noticed is how this car behaves when it is in order.",
    "referred": "The car needs another shop or its maker.",
    "not_fixed": "The fault is not solved.",
    "comeback_same": "The car came back with the same cause.",
    "comeback_other": "The car came back, and the cause was another one than we thought.",
}
_KNOWN_BY: Final = {
    "seen": "We saw the fault itself",
    "measured_out": "We measured it: the value was out of its limits",
    "moved_with_part": "We exchanged the part, and the fault went with it",
    "came_and_went": "We made the fault come and go with one action, more than once",
    "inferred": "We ruled out the other causes",
}
_HOLDS: Final = {
    "same_readings": "We took the same readings again",
    "same_drive": "We drove it again as you described",
    "isolation_repeat": "We repeated the test that showed the fault",
    "self_test": "The car tested itself and passed",
    "codes_stay_away": "The trouble codes stayed away",
    "customer_confirmed": "You told us that it holds",
    "held_period": "It has held since",
    "not_proved": "Not shown yet that it holds",
}
_FIXES: Final = {FixKind.WORKAROUND: "work-around", FixKind.DECLINED: "left as it is"}
# Which shop a case came from; nothing is said of the shop's own.
_FROM: Final = {
    Origin.ANOTHER_SHOP: "from another shop",
    Origin.CONFIRMED_HERE: "from another shop, confirmed here",
}


def from_shop(origin: Origin) -> str:
    """Return which shop a case came from where it is not this one, else nothing."""
    return _FROM.get(origin, "")


def standing_words(standing: Standing, origin: Origin) -> str:
    """Return how far a case is trusted, and where it is from another shop, that too.

    Examples
    --------
    >>> standing_words(Standing.PROVEN, Origin.ANOTHER_SHOP)
    'proven, from another shop'
    """
    return ", ".join(filter(None, [str(standing), from_shop(origin)]))


def change_words(row: Retaken) -> str:
    """Return what a reading did from as found to after the repair, in the unit as found."""
    if row.before is None or row.after is None:
        return "read after the repair only" if row.before is None else "not read again"
    if row.change is None:
        return "–"
    found = _DECIMALS.findall(f"{row.before.typed} {row.after.typed}")
    places = max(map(len, found), default=0)
    size = f"{abs(row.change):.{places}f}"
    if float(size) == 0:
        return "no change"
    return f"{'rose' if row.change > 0 else 'fell'} {amount(size, row.before.unit)}"


def spoke_words(row: Finding, closing: Closing | None, words: Vocabulary) -> str:
    """Return which causes an outcome spoke for and against, by the trade's list; "" where none.

    Asked are the cause of the case and those that the trade's list tells apart from it.
    """
    cause = (closing.cause if closing else None) or ""
    known = words.known_causes.get(words.shop.now("cause", cause))
    if known is None or row.outcome in {"unclear", "not_done"}:
        return ""
    rows = [known, *(words.causes[key] for key in known.like if key in words.causes)]
    expected = [
        (cause.name, cause.expect[row.check]) for cause in rows if row.check in cause.expect
    ]
    spoken = [
        f"{head}: {', '.join(names)}"
        for head, names in (
            ("for", [name for name, outcome in expected if outcome == row.outcome]),
            ("against", [name for name, outcome in expected if outcome != row.outcome]),
        )
        if names
    ]
    return "; ".join(spoken)


def fix_words(closing: Closing) -> str:
    """Return what was done in one line, "" where nothing was written down."""
    kind = _FIXES.get(closing.fix, str(closing.fix)) if closing.fix else ""
    return ": ".join(filter(None, [kind, closing.fix_text]))


def known_by(method: str, words: Vocabulary) -> str:
    """Return a proof method as a customer is told."""
    return _KNOWN_BY.get(method) or named(words.proof_methods, method)


def holds_by(kind: str, words: Vocabulary) -> str:
    """Return an after-check as a customer is told."""
    return _HOLDS.get(kind) or named(words.after_checks, kind)


def end_words(job: Job) -> str:
    """Return how a closed job ended as a customer is told."""
    return ENDS.get(job.closing.end, "") if job.closing else ""
