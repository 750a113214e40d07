from dataclasses import replace

import pytest

from kb.case.story import MAX_SIGNS
from kb.errors import NotFoundError
from kb.store.columns import table_of
from kb.store.rows import body_html, content_hash
from kb.store.tables import JobRow
from tests.factories import a_case
from tests.kb.store.other_process import NOW


def html_of(store, job_id):
    with store.read() as unit:
        return unit.jobs.body_html(job_id)


def write(store, verb, job):
    with store.write("Ines", NOW) as unit:
        getattr(unit.jobs, verb)(job, verb=verb)


def test_the_text_is_kept_as_clean_html_and_made_anew_when_it_changes(store):
    write(store, "add", a_case("J1", body="It was the **fan**. <script>alert(1)</script>"))
    assert html_of(store, "J1") == "<p>It was the <strong>fan</strong>. </p>"
    write(store, "save", a_case("J1", body="*Relay* after all."))
    assert html_of(store, "J1") == "<p><em>Relay</em> after all.</p>"


def test_many_jobs_at_once_get_their_html_too(store):
    with store.write("Ines", NOW) as unit:
        unit.jobs.add_many([a_case("J1", body="one"), a_case("J2", body="")], verb="import")
    assert (html_of(store, "J1"), html_of(store, "J2")) == ("<p>one</p>", "")


def test_a_text_that_the_renderer_refuses_is_kept_and_shown_as_typed(store):
    body = "<b>[" * (MAX_SIGNS["["] + 1)
    write(store, "add", a_case("J1", body=body))
    assert html_of(store, "J1") == f"<pre>{'&lt;b&gt;[' * (MAX_SIGNS['['] + 1)}</pre>"
    with store.read() as unit:
        assert unit.jobs.get("J1").body == body


@pytest.mark.parametrize("body", ["", "  \n "])
def test_no_text_makes_no_html(body):
    assert body_html(body) == ""


def test_the_html_of_an_unknown_job_is_refused(store):
    with pytest.raises(NotFoundError, match="J404"):
        html_of(store, "J404")


def test_the_html_is_no_part_of_the_hash(store):
    case = a_case("J1", body="one")
    write(store, "add", case)
    with store.write("Ines", NOW) as unit:
        table = table_of(JobRow)
        unit.connection.execute(table.update().values(body_html="<p>other renderer</p>"))
    with store.read() as unit:
        assert unit.jobs.verify_hashes() == ()
        assert unit.jobs.get("J1") == case
    assert content_hash(replace(case, body="two")) != content_hash(case)
