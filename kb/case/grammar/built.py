"""What is built from a vocabulary: once for each, the shipped one kept for good."""

from collections.abc import Callable
from typing import Final, Generic, TypeVar

from kb.case.terms import Vocabulary, load_vocabulary

# The shop's words change seldom, and an older state serves only requests under way (our choice).
MOST_KEPT: Final = 4

T = TypeVar("T")


class Built(Generic[T]):
    """Builds something from a vocabulary and keeps it while that very vocabulary is in use."""

    def __init__(self, build: Callable[[Vocabulary], T]) -> None:
        self._build = build
        self._shipped: tuple[T, ...] = ()
        # Replaced whole, so that threads see one state or the other.
        self._kept: tuple[tuple[Vocabulary, T], ...] = ()

    def of(self, words: Vocabulary | None) -> T:
        """Return what is built from ``words``, or from those that ship where None."""
        shipped = load_vocabulary()
        if words is None or words is shipped:
            if not self._shipped:
                self._shipped = (self._build(shipped),)
            return self._shipped[0]
        for known, made in self._kept:
            if known is words:
                return made
        made = self._build(words)
        self._kept = ((words, made), *self._kept[: MOST_KEPT - 1])
        return made
