from datetime import timedelta

from kb.workflow.week.by_week import Tally, by_week, two_windows, week_names, weeks_before
from kb.workflow.week.seen import plain
from tests.kb.workflow.week.a_shop import WEEK, AShop


def tally_of(shop):
    seen = shop.seen()
    made = Tally(length=seen.length)
    for placed in seen.placed:
        made.add(placed)
    return made


def test_a_batch_of_one_model_counts_once_for_each_day_it_came_in():
    shop = AShop()
    monday = WEEK.monday
    for at in range(8):
        came = monday + timedelta(days=at % 2)
        shop.job(0, day=2 + at % 3, opened=came, model="Carrier", vin=f"V{at}")
    tally = tally_of(shop)
    assert (tally.weekly(), tally.cars(), len(tally.recent())) == ([2], 8, 8)


def test_models_are_told_apart_by_their_words_not_by_their_letters_case():
    assert plain(("Dunmarrow", "Packhorse ", "")) == plain(("dunmarrow", "packhorse", ""))
    shop = AShop()
    shop.job(0, model="Packhorse")
    shop.job(0, model="packhorse")
    shop.job(0, model="Copse")
    assert tally_of(shop).weekly() == [2]


def test_cars_of_unknown_model_count_each_for_itself():
    shop = AShop()
    for _ in range(3):
        shop.job(0, make=None, model=None, engine=None)
    assert tally_of(shop).weekly() == [3]


def test_windows_are_those_of_the_weeks_then():
    shop = AShop()
    for ago in (0, 7, 8, 59, 60):
        shop.job(ago, model=f"M{ago}")
    tally = tally_of(shop)
    assert tally.counts() == (2, 2)
    assert tally.counts(1) == (2, 2)
    assert tally.counts(before=60) == (2, 3)
    assert tally.counts() == two_windows(tally.weekly())
    assert [row.model for row in tally.recent(1)] == ["M7", "M8"]


def test_a_series_of_few_arrivals_does_not_ask_for_cars():
    shop = AShop()
    for at in range(3):
        shop.job(at, model=f"M{at}", vin="V1")
    assert tally_of(shop).series("fan", "hvac").vehicles == 1
    then = tally_of(shop).series("fan", "hvac", ago=1)
    assert (then.weekly, then.vehicles) == ((1, 1), None)


def test_a_chart_is_named_by_its_weeks():
    shop = AShop()
    shop.job(2)
    assert week_names(shop.seen()) == [str(WEEK.shifted(at)) for at in (-2, -1, 0)]
    assert by_week(3, [0, 2, 2]) == [1, 0, 2]
    assert (weeks_before(20), weeks_before(3), weeks_before(99)) == (12, 0, 52)
