import gc
import weakref

import pytest

from web.collector import ANSWERS, BY_ITSELF_AFTER, BetweenAnswers


class Knot:
    """Something that holds itself."""

    def __init__(self):
        self.itself = self


@pytest.fixture
def between():
    before = gc.get_threshold()
    yield BetweenAnswers()
    gc.set_threshold(*before)


def test_a_cycle_goes_after_a_few_answers_and_not_before(between):
    gc.collect()
    gone = weakref.ref(Knot())
    for _ in range(ANSWERS - 1):
        between()
    assert gone() is not None
    between()
    assert gone() is None
    again = weakref.ref(Knot())
    for _ in range(ANSWERS):
        between()
    assert again() is None


def test_an_answer_is_not_looked_through_while_it_is_made(between):
    gc.collect()
    looks = []
    gc.callbacks.append(lambda phase, told: looks.append(phase))
    try:
        held = [[number] for number in range(BY_ITSELF_AFTER // 2)]
    finally:
        gc.callbacks.pop()
    assert len(held) == BY_ITSELF_AFTER // 2
    assert looks == []
