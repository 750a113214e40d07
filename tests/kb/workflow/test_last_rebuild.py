from dataclasses import replace

from kb.diagnosis.calibration import SHIPPED
from kb.workflow.last_rebuild import LastRebuild, keep_rebuild, last_rebuild, new_rebuild
from tests.kb.workflow.conftest import NOW

NUMBERS = {**SHIPPED.as_numbers(), "vote": 0.75}


def test_before_the_first_rebuild_the_shipped_numbers_answer(shop):
    with shop.store.read() as unit:
        assert last_rebuild(unit) == LastRebuild()
    assert LastRebuild().calibration == SHIPPED


def test_the_newest_rebuild_is_the_one_that_counts(shop):
    first, second = new_rebuild(NUMBERS, learned=True), new_rebuild({}, learned=False)
    for made in (second, first):
        with shop.store.write("Ines", NOW) as unit:
            keep_rebuild(unit, made)
            assert last_rebuild(unit) == made
    assert first.calibration.vote == 0.75
    assert first.name != second.name


def test_numbers_that_other_code_fitted_do_not_count():
    made = replace(new_rebuild(NUMBERS, learned=False), code="older")
    assert made.calibration == SHIPPED


def test_a_kept_index_is_held_against_all_that_it_was_fitted_on():
    made = new_rebuild({}, learned=False)
    stamp = made.stamp(altitude_m=0.0, terms="t")
    others = (
        made.stamp(altitude_m=1.0, terms="t"),
        made.stamp(altitude_m=0.0, terms="x"),
        new_rebuild({}, learned=False).stamp(altitude_m=0.0, terms="t"),
    )
    assert stamp not in others


def test_a_file_that_is_written_again_has_another_mark(tmp_path):
    made = new_rebuild({}, learned=True)
    none = made.mark(tmp_path, "x")
    (tmp_path / "x").touch()
    assert made.mark(tmp_path, "x") != none == made.mark(None, "x")
