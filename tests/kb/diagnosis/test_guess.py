import pytest

from kb.diagnosis.guess import check_worth, guess_or_check, guess_threshold


@pytest.mark.source("by hand", "310/360 = .8611; 1400/1450 = .9655")
def test_the_dearer_the_repair_the_surer_one_must_be():
    assert guess_threshold(310, 50) == pytest.approx(0.8611, abs=5e-5)
    assert guess_threshold(1400, 50) == pytest.approx(0.9655, abs=5e-5)


@pytest.mark.source("by hand", "310 * .3 / .7 = 132.857")
def test_a_check_is_worth_what_it_saves():
    assert check_worth(0.7, 310) == pytest.approx(132.857, abs=5e-4)


def test_at_the_threshold_both_ways_cost_the_same():
    p = guess_threshold(310, 50)
    assert (1 - p) * 310 == pytest.approx(p * 50)
    assert check_worth(p, 310) == pytest.approx(50)


@pytest.mark.parametrize(("chance", "pays"), [(0.7, False), (0.9, True)])
def test_the_line_says_whether_guessing_pays(chance, pays):
    line = guess_or_check("fan", chance, repair_cents=31000, check="look", check_cents=5000)
    assert line.guessing_pays is pays
