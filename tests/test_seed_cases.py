"""The demonstration shop: enough cases, written by hand, each readable and consistent."""

import re
from collections import Counter, defaultdict
from functools import cache

import pytest

from kb.case.casefile import read_case, read_folder, write_case
from kb.case.model import Phase
from kb.case.terms import load_vocabulary
from kb.store.migrate import bundled

WORDS = load_vocabulary()
SHORTEST_RUN = 8
SHORTEST_SENTENCE = 4


@cache
def shop():
    jobs, refused = read_folder(bundled("seed_cases"))
    assert refused == ()
    return jobs


def spoken(job):
    yield job.complaint.said
    yield from (row.text for row in job.symptoms)
    yield from (row.note for row in job.findings)
    yield from (row.text for row in job.tried)
    yield job.body
    if job.closing:
        yield from (row.text for row in (*job.closing.proofs, *job.closing.after_checks))
        yield from (row.what for row in job.closing.options)
        yield from (job.closing.fix_text, job.closing.lesson)


def words_of(text):
    return re.findall(r"[a-z0-9']+", text.lower())


def test_the_shop_has_at_least_150_cases_in_all_systems():
    assert len(shop()) >= 150
    systems = Counter(job.system for job in shop())
    assert set(systems) >= set(WORDS.systems) - {"restraints"}
    assert min(systems.values()) >= 7


def test_most_causes_occur_twice_in_other_words():
    causes = Counter(job.cause for job in shop() if job.cause)
    assert len(causes) >= 85
    assert sum(count >= 2 for count in causes.values()) >= 0.6 * len(causes)


def test_no_two_cases_share_a_sentence():
    where = defaultdict(set)
    for job in shop():
        for text in spoken(job):
            for sentence in re.split(r"[.!?;\n]+", text):
                words = tuple(words_of(sentence))
                if len(words) >= SHORTEST_SENTENCE:
                    where[words].add(job.id)
    assert {" ".join(k): v for k, v in where.items() if len(v) > 1} == {}


def test_no_two_cases_share_a_run_of_eight_words():
    where = defaultdict(set)
    for job in shop():
        for text in spoken(job):
            words = words_of(text)
            for at in range(len(words) - SHORTEST_RUN + 1):
                where[tuple(words[at : at + SHORTEST_RUN])].add(job.id)
    assert {" ".join(k): v for k, v in where.items() if len(v) > 1} == {}


def test_ends_other_than_fixed_are_among_them():
    ends = Counter(job.closing.end for job in shop())
    assert {"declined", "workaround", "no_fault_found", "comeback_other"} <= set(ends)


@pytest.mark.parametrize("job", shop(), ids=lambda job: job.id)
def test_a_case_is_whole(job):
    assert read_case(write_case(job)) == job
    assert job.closing is not None
    assert job.complaint.said
    assert job.symptoms
    assert job.findings
    done = [row for row in job.findings if row.outcome != "not_done"]
    assert all(row.minutes is not None for row in done)
    assert 0 <= (job.closing.closed - job.opened).days <= 30
    assert (job.closing.cause is None) == (job.closing.end in {"no_fault_found", "normal"})
    if job.closing.cause:
        assert job.closing.proofs
        assert job.is_case
    if job.closing.options:
        assert sum(row.chosen for row in job.closing.options) == 1
    assert any(s.phase is Phase.BEFORE and s.readings for s in job.reading_sets)


def test_invoice_numbers_are_unique():
    numbers = Counter(job.invoice for job in shop() if job.invoice)
    assert [n for n, count in numbers.items() if count > 1] == []


def test_the_vehicles_are_invented():
    makes = {job.vehicle.make for job in shop()}
    assert makes <= {
        "Aldenroe", "Dunmarrow", "Garrowick", "Pellarin", "Tarnholt", "Wrenlock", "Yarrowby",
        "Osmeray",
    }  # fmt: skip


def test_a_comeback_points_at_a_case_of_the_shop():
    ids = {job.id for job in shop()}
    links = [job.comeback_of for job in shop() if job.comeback_of]
    links += [job.closing.overturned_by for job in shop() if job.closing.overturned_by]
    assert links
    assert set(links) <= ids
