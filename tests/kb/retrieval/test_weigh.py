from dataclasses import replace

import numpy as np

from kb.retrieval.weigh import PLAIN_WEIGHT, fit_weight
from tests.kb.retrieval.test_learn import cases


def known(copies=4):
    return [
        replace(case, case=f"{case.case}{n}", cause=case.labels[0][1])
        for case in cases()
        for n in range(copies)
    ]


def test_fields_that_tell_the_cause_are_given_weight():
    assert fit_weight(known()) > 0.1


def test_fields_that_tell_nothing_get_less_than_those_that_do():
    rng = np.random.default_rng(2)
    noise = [replace(case, labels=(("colour", str(rng.integers(4))),)) for case in known()]
    told = [replace(case, said=f"{case.said} {rng.integers(9)}") for case in known()]
    assert 0 <= fit_weight(noise) <= 16
    assert fit_weight(told) > 0


def test_the_order_of_cases_changes_no_weight():
    assert fit_weight(known()[::-1]) == fit_weight(known())


def test_too_few_pairs_leave_the_plain_weight():
    assert fit_weight(known(copies=1)[:12]) == PLAIN_WEIGHT
    assert fit_weight([]) == PLAIN_WEIGHT
