import pytest
import segno
from hypothesis import given
from hypothesis import strategies as st

from web.code_picture import best_code, quick_code

HOSTS = st.sampled_from(
    ["http://localhost/job/", "http://127.0.0.1:8099/job/", "https://a-long-name.example/a/job/"]
)
# An address has no other signs: those are written with a percent sign.
IDS = st.text(alphabet="ABJabj0123456789-._~%", min_size=1, max_size=40)


def drawn_by_segno(address, title):
    code = segno.make(address, error="q", micro=False, mask=3)
    return code.svg_inline(
        scale=4,
        dark="#000000",
        light="#ffffff",
        svgclass="qr",
        lineclass=None,
        omitsize=True,
        title=title,
    )


@pytest.mark.source("segno", "make and svg_inline, made to ISO/IEC 18004")
@given(HOSTS, IDS)
def test_a_code_put_together_from_parts_is_the_one_that_segno_draws(host, job_id):
    assert quick_code(host + job_id, "Code") == drawn_by_segno(host + job_id, "Code")


@given(HOSTS, IDS, IDS)
def test_codes_of_two_jobs_differ(host, one, other):
    assert (quick_code(host + one, "") == quick_code(host + other, "")) == (one == other)


def test_the_title_is_escaped():
    title = "Code that opens <b>&"
    made = quick_code("http://localhost/job/a", title)
    assert made == drawn_by_segno("http://localhost/job/a", title)
    assert "<title>Code that opens &lt;b&gt;&amp;</title>" in made
    assert "&lt;b&gt;" in best_code("http://localhost/job/a", title)
