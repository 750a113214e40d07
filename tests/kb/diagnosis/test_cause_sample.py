import numpy as np

from kb.diagnosis.cause_sample import most_of_each, told_sample

CAUSES = np.array([0] * 50 + [1] * 3 + [-1] * 4 + [2] * 20)


def test_up_to_the_limit_all_cases_with_a_cause_are_read():
    taken, sample = told_sample(CAUSES, 73)
    assert taken.tolist() == (CAUSES >= 0).tolist()
    assert sample.is_all


def test_beyond_it_each_cause_gives_the_same_number_or_all_it_has():
    taken, sample = told_sample(CAUSES, 30)
    assert np.bincount(CAUSES[taken]).tolist() == [13, 3, 13]
    assert (sample.taken, sample.among) == (29, 73)
    assert np.array_equal(told_sample(CAUSES, 30)[0], taken)
    assert not taken[CAUSES < 0].any()


def test_no_cause_is_left_out_however_few_are_read():
    assert np.bincount(CAUSES[told_sample(CAUSES, 1)[0]]).tolist() == [1, 1, 1]
    assert most_of_each(np.zeros(0, np.int64), 5) == 1
