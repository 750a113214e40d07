import json

import pytest

from kb.diagnosis.reliability import Band
from kb.workflow.trust import TRUST, keep_trust, kept_trust, measure_trust, trust_state
from tests.factories import a_case

LINE = "cold on the road, warm at lights"


@pytest.fixture
def memory(shop):
    cases = [a_case(f"J90000{n}", lines=(LINE,)) for n in range(4)]
    shop.write(lambda unit: unit.jobs.add_many(cases, verb="import"))
    return shop.memory()


def test_what_was_measured_comes_back_whole(memory, shop, tmp_path):
    made = measure_trust(memory, today=shop.today)
    keep_trust(tmp_path, made)
    kept = kept_trust(tmp_path)
    assert kept is not None
    assert (kept.state, kept.measured, kept.asked) == (trust_state(memory), shop.today, 3)
    assert kept.bands == made.bands
    assert all(isinstance(band, Band) for band in kept.bands)
    assert sum(band.answers for band in kept.bands) == 3
    assert not list(tmp_path.glob(f"{TRUST}.*"))


def test_only_the_newest_are_asked_and_each_of_those_before_it(memory, shop):
    assert measure_trust(memory, today=shop.today, newest=2).asked == 2
    assert measure_trust(memory, today=shop.today, newest=None).asked == 3


def test_another_closed_job_is_another_state(memory, shop):
    before = trust_state(memory)
    shop.write(lambda unit: unit.jobs.add_many([a_case("J900009")], verb="import"))
    assert trust_state(memory) != before


def test_a_shop_without_cases_is_measured_as_nothing(shop, tmp_path):
    made = measure_trust(shop.memory(), today=shop.today)
    assert (made.asked, made.bands, made.known) == (0, (), ())
    keep_trust(tmp_path, made)
    assert kept_trust(tmp_path) == made


@pytest.mark.parametrize(
    "text",
    ["", "{", "[]", "{}", '{"state": "x", "measured": "soon", "result": {"queries": 1}}'],
)
def test_a_torn_or_foreign_file_is_no_measure(tmp_path, text):
    assert kept_trust(tmp_path) is None
    (tmp_path / TRUST).write_text(text)
    assert kept_trust(tmp_path) is None


def test_a_band_with_a_word_for_a_number_is_no_measure(memory, shop, tmp_path):
    keep_trust(tmp_path, measure_trust(memory, today=shop.today))
    row = json.loads((tmp_path / TRUST).read_text())
    row["result"]["reliability"][0]["said"] = "<b>"
    (tmp_path / TRUST).write_text(json.dumps(row))
    assert kept_trust(tmp_path) is None
