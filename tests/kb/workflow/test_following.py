"""A case closed, changed or withdrawn is in the very next answer, without all being fitted anew."""

import subprocess
import sys
from dataclasses import replace

import pytest

from kb.case.model import Origin
from kb.workflow import following, memory
from kb.workflow.following import Source
from kb.workflow.undo import undo_last
from tests.kb.workflow.conftest import NOW
from tests.kb.workflow.test_close import closed, opened
from tests.kb.workflow.test_suggest import ASKED, CLOSE_IN_ANOTHER_PROCESS, ask

pytestmark = pytest.mark.both_engines


@pytest.fixture(autouse=True)
def _small_shops_are_followed(monkeypatch):
    monkeypatch.setattr(following, "FOLLOWED_FROM", 1)


@pytest.fixture
def known(shop):
    """Return the memory of a shop of six cases, fitted."""
    for _ in range(6):
        closed(shop, opened(shop))
    made = shop.memory()
    made.fitted()
    return made


@pytest.fixture
def _never_fitted_again(known, monkeypatch):
    monkeypatch.setattr(memory.Memory, "_fit", lambda *_: pytest.fail("fitted again"))


def matches(shop, known, text=ASKED, top=20):
    return [row.case for row in ask(shop, known, text).matches][:top]


@pytest.mark.usefixtures("_never_fitted_again")
def test_a_closed_case_is_found_at_once(shop, known):
    case = closed(shop, opened(shop))
    assert case.id in known.fitted().index.ids_
    assert known.size() == 7
    assert case.id in {row for cause in ask(shop, known).causes for row in cause.cases}


@pytest.mark.usefixtures("_never_fitted_again")
def test_a_case_closed_by_another_process_is_found_at_once(shop, known):
    command = [sys.executable, "-c", CLOSE_IN_ANOTHER_PROCESS, shop.url]
    case = subprocess.run(command, capture_output=True, text=True, check=True).stdout.strip()
    assert matches(shop, known, "zorble noise")[0] == case


@pytest.mark.usefixtures("_never_fitted_again")
def test_a_case_taken_back_is_found_no_longer(shop, known):
    case = closed(shop, opened(shop))
    assert known.fitted().holds(case.id)
    shop.write(undo_last, case.id, words=shop.words)
    assert not known.fitted().holds(case.id)
    assert known.size() == 6
    assert case.id not in {row for cause in ask(shop, known).causes for row in cause.cases}


@pytest.mark.usefixtures("_never_fitted_again")
def test_a_changed_case_is_found_as_it_is_now(shop, known):
    with shop.store.write("Ines", NOW) as unit:
        job = unit.jobs.closed_jobs()[0]
        changed = replace(job, lines=("whistling from the roof rack",))
        unit.jobs.save(changed, verb="edit", what="lines")
    assert matches(shop, known, "roof rack whistling")[0] == job.id
    assert known.size() == 6


@pytest.mark.usefixtures("_never_fitted_again")
def test_an_invented_case_is_no_witness(shop, known):
    with shop.store.write("Ines", NOW) as unit:
        job = unit.jobs.closed_jobs()[0]
        unit.jobs.save(replace(job, origin=Origin.INVENTED), verb="edit", what="origin")
    assert known.size() == 5


def test_the_chances_are_nearly_those_of_all_fitted_anew(shop, known):
    for _ in range(3):
        closed(shop, opened(shop))
    ours, anew = ask(shop, known), ask(shop, shop.memory())
    assert known.fitted().later == 3
    assert [row.cause for row in ours.shown][:1] == [row.cause for row in anew.shown][:1]
    assert {row.case for row in ours.matches} == {row.case for row in anew.matches}


def test_too_much_that_is_new_is_fitted_anew(shop, known, monkeypatch):
    monkeypatch.setattr(following, "MOST_FOLLOWED", 2)
    for later in (1, 2, 0):
        closed(shop, opened(shop))
        assert known.fitted().later == later


def test_a_small_shop_is_fitted_anew(shop, known, monkeypatch):
    monkeypatch.setattr(following, "FOLLOWED_FROM", 8)
    closed(shop, opened(shop))
    assert known.fitted().later == 0


def test_a_refit_is_due_when_much_is_new(shop, known, monkeypatch):
    monkeypatch.setattr(following, "SHARE_FOLLOWED", 0.3)
    assert not known.refit()
    for later in (1, 2, 3):
        closed(shop, opened(shop))
        known.fitted()
        assert known.is_due() == (later == 3)
    assert known.refit()
    assert known.fitted().later == 0


def test_a_refit_is_due_when_a_cause_is_new(shop, known, monkeypatch):
    monkeypatch.setattr(following, "SHARE_FOLLOWED", 1.0)
    job = closed(shop, opened(shop))
    with shop.store.write("Ines", NOW) as unit:
        closing = replace(job.closing, cause="frunk seal gone")
        unit.jobs.save(replace(job, closing=closing), verb="edit", what="cause")
    assert known.fitted().new_causes == {"frunk seal gone"}
    assert "frunk seal gone" not in known.model().causes_
    assert known.refit()
    assert "frunk seal gone" in known.model().causes_
    assert not known.refit()


def test_writes_about_open_jobs_are_not_counted(shop, known):
    for _ in range(3):
        opened(shop)
    closed(shop, opened(shop))
    assert known.fitted().later == 1


def test_what_another_process_fitted_meanwhile_is_taken_up(shop, tmp_path, monkeypatch):
    monkeypatch.setattr(memory, "WORTH_KEEPING", 1)
    monkeypatch.setattr(following, "SHARE_FOLLOWED", 0.0)
    closed(shop, opened(shop))
    ours = memory.Memory(shop.store, shop.words, folder=tmp_path)
    theirs = memory.Memory(shop.store, shop.words, folder=tmp_path)
    ours.fitted()
    closed(shop, opened(shop))
    assert (ours.fitted().later, theirs.refit()) == (1, True)
    monkeypatch.setattr(memory.Memory, "_fit", lambda *_: pytest.fail("fitted again"))
    assert ours.fitted().later == 0
    assert ours.size() == 2


def test_a_kept_index_of_a_while_ago_is_followed_and_one_of_another_shop_is_not(
    shop, tmp_path, monkeypatch
):
    monkeypatch.setattr(memory, "WORTH_KEEPING", 1)
    closed(shop, opened(shop))
    memory.Memory(shop.store, shop.words, folder=tmp_path).fitted()
    closed(shop, opened(shop))
    found = memory.Memory(shop.store, shop.words, folder=tmp_path).fitted()
    assert (found.later, len(found.index)) == (1, 2)
    with shop.store.read() as unit:
        source = Source.of(unit)
        assert source.comes_before(unit)
        assert not replace(source, line="of another shop").comes_before(unit)
        assert not replace(source, seq=source.seq + 1).comes_before(unit)
        assert not Source(state="").comes_before(unit)
