import pickle

from kb.retrieval.remembered import Remembered


def test_no_more_is_held_than_was_said():
    known = Remembered[int, int](3)
    for number in range(10):
        assert known.keep(number, -number) == -number
        assert len(known) <= 3
    assert known.get(9) == -9
    assert known.get(0) is None


def test_it_can_be_sent_to_another_process():
    known = Remembered[str, int](2)
    known.keep("a", 1)
    again = pickle.loads(pickle.dumps(known))
    assert (dict(again), again.most) == ({"a": 1}, 2)
