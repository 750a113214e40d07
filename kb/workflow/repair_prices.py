"""What the repair of a cause costs in the shop's own cases, and so whether guessing it pays."""

from collections.abc import Sequence
from statistics import median

from kb.case.model import FixKind, Job
from kb.case.standing import ELSEWHERE
from kb.diagnosis.chances import CauseChance
from kb.diagnosis.guess import GuessOrCheck, guess_or_check
from kb.retrieval.index import CaseIndex
from kb.retrieval.layers import LayeredIndex
from kb.store.unit_of_work import UnitOfWork
from kb.workflow.fitted import Fitted
from kb.workflow.suggest import Suggestion

# Setting with the shop's labour rate in cents an hour, its value until it is set (our choice), and
# how many of the newest cases of a cause are asked for their price.
LABOUR_RATE = "labour cents an hour"
LABOUR_CENTS_AN_HOUR = 13_000
MOST_PRICED = 9


def repair_price(job: Job) -> int | None:
    """Return the price of the repair that was chosen, in cents; None where none was written."""
    options = job.closing.options if job.closing else ()
    prices = [row.price_cents for row in options if row.chosen and row.kind is not FixKind.DECLINED]
    return prices[0] if prices and prices[0] else None


def _own(index: CaseIndex | LayeredIndex, cases: Sequence[str]) -> list[str]:
    """Return those of ``cases`` that are not of another shop, which gives no prices."""
    rows = ((case, index.row_of(case)) for case in cases)
    return [case for case, at in rows if at is not None and index.origins_[at] not in ELSEWHERE]


def _price_of(unit: UnitOfWork, best: CauseChance, now: Fitted) -> int | None:
    """Return what the repair of a cause costs in cents, asked of the store once; None if unknown."""
    if best.cause not in now.prices:
        cases = unit.jobs.some(_own(now.index, best.cases)[-MOST_PRICED:])
        prices = [cents for job in cases if (cents := repair_price(job)) is not None]
        price = round(median(prices)) if prices else None
        if unit.state() != now.state:
            return price
        now.prices[best.cause] = price
    return now.prices[best.cause]


def guess_of(unit: UnitOfWork, found: Suggestion, now: Fitted) -> GuessOrCheck | None:
    """Return whether guessing the leading cause pays; None where no case of it has a price.

    Parameters
    ----------
    unit : UnitOfWork
        In which ``now`` was found to be fitted.
    found : Suggestion
        What ``now`` answers.
    now : Fitted
        Takes the price, so that it is asked for once.
    """
    best = found.causes[0]
    if best.cause is None or not found.checks:
        return None
    price = _price_of(unit, best, now)
    if price is None:
        return None
    rate = int(unit.settings.get(LABOUR_RATE) or LABOUR_CENTS_AN_HOUR)
    check = found.checks[0]
    return guess_or_check(
        best.cause,
        best.chance,
        repair_cents=price,
        check=check.check,
        check_cents=max(1, round(check.minutes * rate / 60)),
    )
