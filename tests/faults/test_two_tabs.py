import pytest

from kb.store.engine import open_store
from tests.faults.two_tabs import REFUSED, TAKEN, lost, run


@pytest.mark.slow
@pytest.mark.both_engines
def test_two_tabs_at_two_processes_lose_no_update_in_any_order(store_url, tmp_path):
    sent = run(tmp_path / "home", store_url, 15)
    assert {form.status for form in sent} == {TAKEN, REFUSED}
    with open_store(store_url) as store:
        assert lost(store, sent) == []
        with store.read() as unit:
            assert unit.jobs.verify_hashes() == ()


@pytest.mark.both_engines
def test_an_update_that_is_lost_is_seen(store_url, tmp_path):
    sent = run(tmp_path / "home", store_url, 3, seed=2)
    last = [form for form in sent if form.status == TAKEN][-1]
    with open_store(store_url) as store:
        unseen = type(last)(job=last.job, said=last.said, seen=last.seen - 1, status=TAKEN)
        assert lost(store, [*[f for f in sent if f is not last], unseen]) == [unseen]
