from collections import Counter
from datetime import date
from random import Random

import pytest

from kb.case.model import FixKind
from kb.case.parts import FittedPart
from kb.case.terms import load_vocabulary
from kb.store.migrate import bundled
from kb.workflow.invented_closing import Ending, drawn
from kb.workflow.invented_plan import read_plan
from kb.workflow.invented_visits import Visit
from tests.factories import a_case, a_closing

WORDS = load_vocabulary()
PLAN = read_plan(bundled("seed_cases"), WORDS)
DAY = date(2026, 10, 12)


@pytest.fixture(scope="module")
def ending():
    return Ending(PLAN, WORDS)


def closed(ending, cause, *, seed=1, **known):
    visit = Visit(opened=DAY, cause=cause, platform=PLAN.platforms[0], **known)
    return ending.with_cause(Random(seed), visit, DAY)


def test_a_key_is_drawn_as_often_as_its_share():
    rng = Random(3)
    counts = Counter(drawn(rng, {"a": 3.0, "b": 1.0}) for _ in range(2_000))
    assert counts["a"] / 2_000 == pytest.approx(0.75, abs=0.04)


def test_what_hurts_nobody_is_sometimes_worked_around_what_does_never(ending):
    def ends(cause):
        return {closed(ending, cause, seed=seed).end for seed in range(200)}

    assert ends("window_motor") == {"fixed", "workaround", "declined"}
    assert ends("hose_collapsed") == {"fixed", "declined"}


def test_one_option_is_chosen_and_it_is_what_was_done(ending):
    for seed in range(200):
        closing = closed(ending, "window_motor", seed=seed)
        (chosen,) = [row for row in closing.options if row.chosen]
        assert chosen.kind is closing.fix
        assert (closing.until is None) == (closing.fix is not FixKind.WORKAROUND)
        assert bool(closing.parts) == (closing.fix is FixKind.REPLACED)
        priced = [row.price_cents for row in closing.options if row.kind is FixKind.REPLACED]
        assert all(cents and cents >= 2_500 for cents in priced)


def test_a_sure_repair_is_done_with_the_part_that_was_asked_for(ending):
    part = FittedPart(part="", supplier="Quendle Stores", lot="Q-1")
    for seed in range(40):
        closing = closed(ending, "coil_bad", seed=seed, fitted=part)
        assert closing.end == "fixed"
        assert closing.parts == (
            FittedPart(part="ignition coil", supplier="Quendle Stores", lot="Q-1"),
        )


def test_a_comeback_says_whether_it_was_the_same_cause(ending):
    fixed = a_closing(cause="coil_bad", fix=FixKind.REPLACED)
    declined = a_closing(cause="coil_bad", end="declined", fix=FixKind.DECLINED)
    after_repair = a_case("V1", closing=fixed)
    assert closed(ending, "coil_bad", first=after_repair).end == "comeback_same"
    assert closed(ending, "plug_worn", first=after_repair).end == "comeback_other"
    assert closed(ending, "coil_bad", first=a_case("V1", closing=declined)).end == "fixed"


def test_a_job_without_a_cause_ends_without_repair(ending):
    for seed in range(40):
        closing = ending.without_cause(Random(seed), DAY, unlike=False)
        assert closing.end in PLAN.tables["course"]["ends_without"]
        assert (closing.cause, closing.fix, closing.options) == (None, None, ())
    open_ends = {ending.without_cause(Random(at), DAY, unlike=True).end for at in range(20)}
    assert open_ends == {"not_fixed", "no_fault_found"}
