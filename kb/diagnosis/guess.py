"""Guess or check: when repairing on a hunch costs less than settling it first."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class GuessOrCheck:
    """What the leading cause and the best check say about guessing; money in cents.

    ``threshold`` is the chance above which guessing costs less, ``worth_cents`` what a check that
    settles it may cost at most.
    """

    cause: str
    chance: float
    repair_cents: int
    check: str
    check_cents: int
    threshold: float
    worth_cents: int

    @property
    def guessing_pays(self) -> bool:
        """True where the cause is likelier than the threshold."""
        return self.chance > self.threshold


def guess_threshold(repair: float, check: float) -> float:
    """Return the chance above which guessing pays: ``R / (R + c)``.

    Guessing saves c when right and wastes R when wrong, so it pays when ``(1 - p) R < p c``.

    Examples
    --------
    >>> round(guess_threshold(310, 50), 3)
    0.861
    """
    return repair / (repair + check)


def check_worth(chance: float, repair: float) -> float:
    """Return the most that a check which settles it may cost: ``R (1 - p) / p``.

    Examples
    --------
    >>> round(check_worth(0.7, 310), 2)
    132.86
    """
    return repair * (1 - chance) / chance


def guess_or_check(
    cause: str, chance: float, *, repair_cents: int, check: str, check_cents: int
) -> GuessOrCheck:
    """Return the line for a cause of ``chance`` whose repair and best check have these prices."""
    return GuessOrCheck(
        cause=cause,
        chance=chance,
        repair_cents=repair_cents,
        check=check,
        check_cents=check_cents,
        threshold=guess_threshold(repair_cents, check_cents),
        worth_cents=round(check_worth(chance, repair_cents)),
    )
