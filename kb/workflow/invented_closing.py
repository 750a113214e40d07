"""How an invented job ends: cause and proof, repair, parts, prices, what showed that it holds."""

from collections.abc import Mapping
from datetime import date, timedelta
from random import Random
from typing import Final

from kb.case.handover import dangers_of
from kb.case.model import AfterCheck, Closing, FixKind, Option, Proof
from kb.case.parts import FittedPart
from kb.case.term_rows import CauseTerm
from kb.case.terms import Vocabulary
from kb.workflow.declined import Choice, write_out
from kb.workflow.invented_plan import Plan
from kb.workflow.invented_visits import Visit

# Days that a work-around is meant to last, and weeks of one lot of a part (our choice).
_LASTS: Final = (30, 120)
_LOT_WEEKS: Final = 6


def drawn(rng: Random, shares: Mapping[str, float]) -> str:
    """Return one key, each as likely as its share."""
    return rng.choices(list(shares), list(shares.values()))[0]


def usual_price(plan: Plan, cause: CauseTerm) -> float:
    """Return what the part of a cause costs, without labour, in dollars; always the same."""
    course = plan.tables["course"]
    if cause.part in course["price_of"]:
        return float(course["price_of"][cause.part])
    an_hour = Random(cause.part).uniform(*course["price_an_hour"])  # noqa: S311 - no secret
    return float(course["price_from"] + cause.access_hours * an_hour)


class Ending:
    """Closes invented jobs.

    Parameters
    ----------
    plan : Plan
        Shares, prices and suppliers.
    words : Vocabulary
        Causes with their repair, part and hours.
    """

    def __init__(self, plan: Plan, words: Vocabulary) -> None:
        self._plan = plan
        self._words = words
        self._course = plan.tables["course"]

    def without_cause(self, rng: Random, day: date, *, unlike: bool) -> Closing:
        """Return the end of a job whose cause was not found; ``unlike``: something is wrong."""
        ends = self._course["ends_without"]
        end = rng.choice(("not_fixed", "no_fault_found")) if unlike else drawn(rng, ends)
        return Closing(closed=day, end=end)

    def with_cause(self, rng: Random, visit: Visit, day: date) -> Closing:
        """Return the end of a job whose cause was proven."""
        cause = self._words.causes[visit.cause]
        end = self._end(rng, visit)
        kind = self._kind(cause, end)
        options = self._options(rng, cause, kind)
        told = "the owner, at the counter" if rng.random() < 0.6 else ""
        repaired = end not in {"declined", "workaround"}
        if not repaired:
            choice = Choice(end=end, cause=cause.key, fix=kind, options=options, told=told)
            options = write_out(choice, words=self._words, today=day)
        return Closing(
            closed=day,
            end=end,
            cause=cause.key,
            proofs=(self._proof(rng, visit, cause),),
            fix=kind,
            fix_text=cause.fix if repaired else "",
            parts=(self._part(rng, visit, cause),) if kind is FixKind.REPLACED else (),
            until=day + timedelta(days=rng.randint(*_LASTS)) if end == "workaround" else None,
            options=options,
            after_checks=self._after(rng) if repaired else (),
        )

    def _end(self, rng: Random, visit: Visit) -> str:
        first = visit.first
        if first is not None and first.closing is not None and first.closing.fix in _REPAIRED:
            return "comeback_same" if first.cause == visit.cause else "comeback_other"
        if visit.sure or visit.fitted is not None or visit.first is not None:
            return "fixed"
        end = drawn(rng, self._course["ends"])
        # What can hurt somebody is repaired or declined, never worked around.
        return "fixed" if end == "workaround" and dangers_of(visit.cause, self._words) else end

    def _kind(self, cause: CauseTerm, end: str) -> FixKind:
        if end == "declined":
            return FixKind.DECLINED
        if end == "workaround":
            return FixKind.WORKAROUND
        first = cause.fix.partition(" ")[0].strip(",")
        return FixKind(self._course["fix_words"].get(first, "replaced"))

    def _proof(self, rng: Random, visit: Visit, cause: CauseTerm) -> Proof:
        text = f"{rng.choice(self._plan.tables['words']['proofs'])} {cause.part.replace('_', ' ')}"
        alike = visit.likeness is not None
        method = "inferred" if alike else drawn(rng, self._course["proofs"])
        return Proof(method=method, text="" if method == "inferred" else text)

    def _options(self, rng: Random, cause: CauseTerm, kind: FixKind) -> tuple[Option, ...]:
        part = usual_price(self._plan, cause) * rng.uniform(0.9, 1.15)
        dollars = part + cause.access_hours * self._course["labour_an_hour"]
        done = FixKind.REPLACED if kind in {FixKind.DECLINED, FixKind.WORKAROUND} else kind
        rows = [
            Option(
                what=cause.fix,
                kind=done,
                price_cents=100 * round(dollars),
                remains="nothing",
                chosen=kind is done,
            )
        ]
        if cause.cheaper is not None or kind is FixKind.WORKAROUND:
            rows.append(
                Option(
                    what=cause.cheaper or "get by until the part is there",
                    kind=FixKind.WORKAROUND,
                    price_cents=100 * round(dollars / 4),
                    remains="less than the whole repair was done",
                    chosen=kind is FixKind.WORKAROUND,
                )
            )
        if kind is FixKind.DECLINED or rng.random() < 0.3:
            leave = Option(
                what="leave it",
                kind=FixKind.DECLINED,
                price_cents=0,
                chosen=kind is FixKind.DECLINED,
            )
            rows.append(leave)
        return tuple(rows)

    def _part(self, rng: Random, visit: Visit, cause: CauseTerm) -> FittedPart:
        part = cause.part.replace("_", " ")
        if visit.fitted is not None:
            return FittedPart(part=part, supplier=visit.fitted.supplier, lot=visit.fitted.lot)
        if rng.random() >= self._course["supplier_known"]:
            return FittedPart(part=part)
        supplier = drawn(rng, dict(self._plan.suppliers))
        year, week, _ = visit.opened.isocalendar()
        lot = f"{supplier[0]}-{year % 100:02d}{week - week % _LOT_WEEKS:02d}"
        known = rng.random() < self._course["lot_known"]
        return FittedPart(part=part, supplier=supplier, lot=lot if known else None)

    def _after(self, rng: Random) -> tuple[AfterCheck, ...]:
        return (AfterCheck(kind=drawn(rng, self._course["after"])),)


_REPAIRED: Final = frozenset(FixKind) - {FixKind.DECLINED, FixKind.WORKAROUND}
