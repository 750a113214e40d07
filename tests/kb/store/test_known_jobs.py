from dataclasses import replace

import pytest

from kb.errors import ConflictError
from kb.store import known_jobs, loading
from kb.store.known_jobs import KnownJobs
from tests.factories import a_full_case, a_job
from tests.kb.store.other_process import NOW


def test_what_was_asked_for_longest_ago_goes_first():
    known = KnownJobs(2)
    for name in "ab":
        known.keep(name, a_job(name))
    assert known.get("a") == a_job("a")
    known.keep("c", a_job("c"))
    assert [known.get(name) is not None for name in "abc"] == [True, False, True]


def test_a_job_is_read_once_until_somebody_writes_it(store, monkeypatch):
    monkeypatch.setattr(known_jobs, "KNOWN", KnownJobs())
    read, asked = loading.load_jobs, []

    def counted(*args, **known):
        asked.append(args)
        return read(*args, **known)

    monkeypatch.setattr(known_jobs, "load_jobs", counted)
    with store.write("Ines", NOW) as unit:
        unit.jobs.add(a_full_case("J1"), verb="import")
    for _ in range(3):
        with store.read() as unit:
            assert unit.jobs.get("J1") == a_full_case("J1")
    assert len(asked) == 1
    changed = replace(a_full_case("J1"), body="It came back.\n")
    with store.write("Ines", NOW) as unit:
        unit.jobs.save(changed, verb="edit")
    with store.read() as unit:
        assert unit.jobs.get("J1") == changed
    assert len(asked) == 2


def test_a_write_that_was_rolled_back_is_not_what_is_known(store):
    with store.write("Ines", NOW) as unit:
        unit.jobs.add(a_full_case("J1"), verb="import")
    with pytest.raises(ConflictError):
        _write_and_fail(store)
    with store.read() as unit:
        assert unit.jobs.get("J1") == a_full_case("J1")


def _write_and_fail(store):
    with store.write("Ines", NOW) as unit:
        unit.jobs.save(replace(a_full_case("J1"), body="never\n"), verb="edit")
        assert unit.jobs.get("J1").body == "never\n"
        unit.jobs.add(a_job("J1"), verb="open")
