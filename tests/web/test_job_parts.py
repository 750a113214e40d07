from datetime import UTC, datetime

import pytest

from tests.memory_parts import in_two_parts
from tests.web.api.conftest import Program
from tests.web.test_kept_parts import bare

SAID = "1 of the 2 parts of the memory did not answer just now"
LINE = "cold on the road, warm at lights"


@pytest.fixture
def parts(site):
    """Return the parts of the memory of the pages, all of which answer."""
    return in_two_parts(site.app.extensions["baybook"])


def test_pages_with_answers_say_that_a_part_of_the_memory_did_not_answer(site, parts):
    job = site.opened(LINE)
    paths = ("/find?q=no+crank", "/answers?q=no+crank", f"/job/{job}", f"/job/{job}/answers")
    parts.away = True
    for path in paths:
        text = site.page(path)
        assert text.count(f'<p role="status">{SAID}') == 1, path
        assert "Likely causes" in text
    parts.away = False
    for path in paths:
        assert "parts of the memory" not in site.page(path), path


def test_the_part_of_a_page_that_something_is_missing_from_is_drawn_anew(site, parts):
    job = site.opened("warm at lights; hi 318 psi low 58 psi; 12.6")
    parts.away = True
    assert SAID in site.page(f"/job/{job}")
    parts.away = False
    whole = bare(site.page(f"/job/{job}"))
    assert SAID not in whole
    parts.away = True
    # The same job has the same answers, which are known.
    assert bare(site.page(f"/job/{job}")) == whole


def test_a_search_is_not_lost_where_a_part_did_not_answer(site, parts):
    def lost():
        with site.store.read() as unit:
            return unit.searches.holds("a zorble noise", who="shop", at=datetime.now(UTC))

    parts.away = True
    site.page("/find?q=a+zorble+noise")
    assert not lost()
    parts.away = False
    site.page("/find?q=a+zorble+noise")
    assert lost()


def test_programs_are_told_how_many_parts_did_not_answer(site, parts):
    program, job = Program(site), site.opened(LINE)
    for path in ("/find?text=no+crank", f"/jobs/{job}/answers"):
        for parts.away, missing in ((True, 1), (False, 0)):
            told = program.told(path)
            assert (told["parts"], told["missing_parts"]) == (2, missing)
