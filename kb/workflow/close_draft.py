"""What the job already says about its close: proofs among its findings, the usual choices."""

from dataclasses import dataclass
from statistics import median

from kb.case.handover import dangers_of
from kb.case.model import Finding, FixKind, Job, Option
from kb.case.terms import Vocabulary
from kb.diagnosis.proving import proves
from kb.store.unit_of_work import UnitOfWork
from kb.workflow.declined import NO_REPAIR
from kb.workflow.repair_prices import MOST_PRICED

# Proof method by kind of check; a command shows that something fails, not yet which part does.
_METHODS = {
    "see": "seen",
    "observe": "seen",
    "measure": "measured_out",
    "data": "measured_out",
    "swap": "moved_with_part",
}
# "Came and went" asks for an action repeated at least so often (common practice, no source).
_REPEATS = 2
MOST_PROOFS = 3
# The proof methods that stand alone: a value or a photo is asked for with them.
SHOWN_METHODS = frozenset({"seen", "measured_out", "moved_with_part"})
_FIX_WORDS = {
    "replace": FixKind.REPLACED,
    "repair": FixKind.REPAIRED,
    "adjust": FixKind.ADJUSTED,
    "clean": FixKind.CLEANED,
    "program": FixKind.PROGRAMMED,
}


@dataclass(frozen=True, slots=True, kw_only=True)
class ProofDraft:
    """A finding that proves a cause; ``method`` is None where it has to be said."""

    finding: int
    method: str | None


def _method(finding: Finding, words: Vocabulary) -> str | None:
    check = words.checks.get(finding.check)
    kind = check.kind if check else ""
    if kind == "isolate":
        return "came_and_went" if finding.repeats >= _REPEATS else "inferred"
    return _METHODS.get(kind)


def drafted_proofs(job: Job, cause: str | None, words: Vocabulary) -> tuple[ProofDraft, ...]:
    """Return the findings that prove ``cause``, strongest method first, at most three.

    A repeated action that the trade's list expects of the cause is among them. One whose method
    has to be said stands alone, where no other finding proves it.
    """
    found = [
        ProofDraft(finding=number, method=_method(finding, words))
        for number, finding in enumerate(job.findings)
        if cause and (proves(words, cause, finding) or _came_and_went(words, cause, finding))
    ]
    ranks = {key: row.strength for key, row in words.proof_methods.items()}
    said = sorted((row for row in found if row.method), key=lambda row: -ranks[row.method or ""])
    return tuple(said[:MOST_PROOFS] or found[:1])


def _came_and_went(words: Vocabulary, cause: str, finding: Finding) -> bool:
    row = words.causes.get(cause)
    expected = row.expect.get(finding.check) if row else None
    return expected == finding.outcome and _method(finding, words) == "came_and_went"


def usual_choices(unit: UnitOfWork, cause: str | None, words: Vocabulary) -> tuple[Option, ...]:
    """Return what is usually laid before the customer for a cause: repair, lesser, leave it.

    Prices are the middle of those of the shop's newest cases of the cause, None where none has one.
    """
    known = words.known_causes.get(words.shop.now("cause", cause or ""))
    if known is None:
        return ()
    cases = unit.jobs.of_cause(known.key, most=MOST_PRICED)
    laid = [row for case in cases if case.closing for row in case.closing.options]
    full = [row for row in laid if row.chosen and row.kind not in NO_REPAIR]
    lesser = [row for row in laid if row.kind is FixKind.WORKAROUND]
    options = [Option(what=known.fix, kind=fix_kind(known.fix), price_cents=_middle(full))]
    if known.cheaper:
        options.append(
            Option(
                what=known.cheaper,
                kind=FixKind.WORKAROUND,
                price_cents=_middle(lesser),
                remains=known.cheaper_note or "",
            )
        )
    leave = Option(
        what="leave it as it is",
        kind=FixKind.DECLINED,
        remains="the fault stays in the car",
        risk=" ".join(dangers_of(cause, words)),
    )
    return (*options, leave)


def fix_kind(fix: str) -> FixKind | None:
    """Return what kind of fix a sentence begins with, None where it begins with none."""
    return _FIX_WORDS.get(fix.strip().partition(" ")[0].lower())


def _middle(rows: list[Option]) -> int | None:
    cents = [row.price_cents for row in rows if row.price_cents]
    return round(median(cents)) if cents else None


def asks_for_more(method: str, text: str, photo: str | None) -> bool:
    """Say whether a proof that should stand alone has neither a value nor a photo with it."""
    return method in SHOWN_METHODS and not photo and not any(sign.isdigit() for sign in text)
