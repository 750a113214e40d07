"""Access: what must be opened before a check or a look, what opening costs, what lies behind it."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final, Self

import numpy as np
from numpy.typing import NDArray

from kb.case.term_rows import CheckTerm

Floats = NDArray[np.float64]
Codes = NDArray[np.int64]

# Minutes to open an access the first time, on top of the hands-on minutes; from memory,
# illustrative; once opened, its checks cost only their own minutes.
ACCESS_MINUTES: Final = {
    "none": 0.0, "hood": 1.0, "interior": 1.0, "lift": 6.0,
    "trim": 45.0, "parts": 60.0, "rack": 15.0, "varies": 10.0,
}  # fmt: skip
# One opening serves all checks behind these; trim and parts only within a system, as the catalogue
# does not say which panel or part it is (our choice).
_ONE_OPENING: Final = frozenset({"hood", "interior", "lift", "rack"})
_BY_SYSTEM: Final = frozenset({"trim", "parts"})


def access_of(check: CheckTerm) -> str:
    """Return the name of what must be open for a check, "" where nothing is to be opened.

    Checks of one name share one opening; where the access varies, a check has its own.
    """
    if check.access == "none":
        return ""
    if check.access in _ONE_OPENING:
        return check.access
    return f"{check.access} {check.systems[0] if check.access in _BY_SYSTEM else check.key}"


def opening_minutes(names: Iterable[str], opened: Iterable[str] = ()) -> dict[str, float]:
    """Return the minutes to open each access, 0 where it is open already; names as ``access_of``.

    Examples
    --------
    >>> opening_minutes(["lift", "hood"], opened=["lift"])
    {'hood': 1.0, 'lift': 0.0}
    """
    ready = set(opened)
    return {
        name: 0.0 if name in ready else ACCESS_MINUTES[name.partition(" ")[0]]
        for name in sorted({name for name in names if name})
    }


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Work:
    """Minutes of n checks or n looks, with the access that they share.

    ``minutes`` is hands-on, above 0, shape ``(n,)``; ``access`` the number of the access of each,
    -1 for none, shape ``(n,)``; ``opening`` the minutes to open each access, 0 where it is open.
    """

    minutes: Floats
    access: Codes
    opening: Floats

    @property
    def alone(self) -> Floats:
        """Minutes of each with its opening, as if it were done alone."""
        opening = np.append(self.opening, 0.0)[self.access]
        return np.asarray(self.minutes + opening, np.float64)

    def open(self, access: int) -> Self:
        """Return the same work once an access, by number, is open; -1 opens none."""
        if access < 0:
            return self
        opening = self.opening.copy()
        opening[access] = 0.0
        return replace(self, opening=opening)

    def total(self, order: Sequence[int] | Codes) -> Floats:
        """Return the minutes of each step in ``order``, an opening paid where it comes first."""
        rows = np.asarray(order, np.int64)
        # The last one stands for no access.
        left = [*self.opening.tolist(), 0.0]
        steps = self.minutes[rows].tolist()
        for at, number in enumerate(self.access[rows].tolist()):
            steps[at] += left[number]
            left[number] = 0.0
        return np.array(steps, np.float64)


def work_of(
    minutes: Iterable[float], access: Iterable[str] = (), opening: Mapping[str, float] | None = None
) -> Work:
    """Return work from hands-on minutes, the access of each ("" for none), and what opening costs.

    Checks and looks made with the same ``opening`` number their accesses alike; without ``access``
    nothing is to be opened.
    """
    own = np.array(list(minutes), np.float64)
    costs = dict(opening or {})
    at = {name: number for number, name in enumerate(costs)}
    numbers = [at.get(name, -1) for name in access] or [-1] * len(own)
    return Work(
        minutes=own,
        access=np.array(numbers, np.int64),
        opening=np.array(list(costs.values()), np.float64),
    )
