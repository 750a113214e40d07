"""Where the cases of a cause read: the middle half of a reading, or each value where few are."""

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from kb.diagnosis.causes import CauseModel

# Cases from which a middle half says more than the values themselves (our choice).
LEAST_FOR_HALF: Final = 6


@dataclass(frozen=True, slots=True, kw_only=True)
class CauseValues:
    """What the cases of one cause read of one thing, as found, in the unit of comparison.

    ``values`` holds each of them, ascending, where there are fewer than six, else none; ``low``,
    ``middle`` and ``high`` are the quartiles and always there.
    """

    cause: str
    count: int
    values: tuple[float, ...]
    low: float
    middle: float
    high: float


class CauseReadings:
    """The readings of the cases of some causes, out of a fitted model; overturned cases left out.

    Parameters
    ----------
    model : CauseModel
        Fitted.
    causes : iterable of str
        Those that the model does not know are left out.
    without : str, optional
        A case that is left out: nothing is set beside itself.
    """

    def __init__(
        self, model: CauseModel, causes: Iterable[str], *, without: str | None = None
    ) -> None:
        known = set(model.causes_)
        self._counts = model.counts_
        self._numbers = {cause: model.number(cause) for cause in causes if cause in known}
        self._without = None if without is None else model.index.row_of(without)

    def of(self, key: str) -> tuple[CauseValues, ...]:
        """Return what the cases of each cause read of ``key``, causes without any left out.

        Parameters
        ----------
        key : str
            Quantity or derived reading, as the measures of a job have it; of several places in
            one case its most unusual value stands.
        """
        made = [self._values(cause, key) for cause in self._numbers]
        return tuple([row for row in made if row is not None])

    def _values(self, cause: str, key: str) -> CauseValues | None:
        values = self._counts.values(self._numbers[cause], key, without=self._without)
        if not len(values):
            return None
        low, middle, high = (_quantile(values, share) for share in (0.25, 0.5, 0.75))
        few = len(values) < LEAST_FOR_HALF
        return CauseValues(
            cause=cause,
            count=len(values),
            values=tuple(values.tolist()) if few else (),
            low=low,
            middle=middle,
            high=high,
        )


def _quantile(values: NDArray[np.float64], share: float) -> float:
    """Return a quantile of ascending values as ``numpy.quantile`` has it, which takes far longer.

    By linear interpolation between the ordered values (Hyndman & Fan 1996, type 7, from memory).
    """
    place = share * (len(values) - 1)
    at = int(place)
    beyond = place - at
    low, high = values.item(at), values.item(min(at + 1, len(values) - 1))
    # From the nearer end, as the library reckons.
    if beyond >= 0.5:
        return high - (high - low) * (1 - beyond)
    return low + (high - low) * beyond
