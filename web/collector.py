"""When the collector looks for cycles: between two answers, not in the midst of one.

While an answer is made it holds some ten thousand objects, through which the collector would go
several times and find nothing: between two answers there is only what they left.
"""

import gc
from typing import Final

# New objects after which the collector looks by itself: only while something is fitted, or where a
# thread beside the answers makes many (our choice).
BY_ITSELF_AFTER: Final = 50_000
# Looks among the new after which it looks among those that stayed, nearly all of them answers that
# are remembered: that took everybody .2 s every ten looks (``bench_load``).
LOOK_AGAIN_AFTER: Final = 500
# Answers between two looks: as many leave up to ten thousand objects that stay, a millisecond's work
# (our choice).
ANSWERS: Final = 20


class BetweenAnswers:
    """Looks for cycles now and then; call it where an answer has ended."""

    def __init__(self) -> None:
        self._answers = 0
        gc.set_threshold(BY_ITSELF_AFTER, LOOK_AGAIN_AFTER, *gc.get_threshold()[2:])

    def __call__(self) -> None:
        """Look among what is new, if it is time to."""
        self._answers += 1
        if self._answers >= ANSWERS:
            self._answers = 0
            gc.collect(0)
