import pytest

from kb import errors
from kb.errors import KBError
from web.auth import needs
from web.cases import bp as cases_page
from web.rights import Right


@pytest.mark.parametrize(
    ("kind", "status"),
    [
        ("NotFoundError", 404),
        ("EmptyIndexError", 404),
        ("ConflictError", 409),
        ("StoreError", 503),
        ("NoRoomError", 507),
        ("UnknownTermError", 400),
        ("UnitError", 400),
    ],
)
def test_an_error_meant_for_a_person_is_a_page_with_its_words(site, monkeypatch, kind, status):
    @needs(Right.SEE)
    def fail(**_):
        raise getattr(errors, kind)("expected <this>, got that")

    monkeypatch.setitem(site.app.view_functions, f"{cases_page.name}.show", fail)
    text = site.page("/case/S1", status)
    assert "expected &lt;this&gt;, got that" in text
    assert "Back to today" in text


def test_a_fault_of_the_program_is_a_page_without_a_trace(site, monkeypatch):
    @needs(Right.SEE)
    def fail(**_):
        raise RuntimeError("secret inner words")

    monkeypatch.setitem(site.app.view_functions, "cases.show", fail)
    answer = site.client.get("/case/S1")
    assert answer.status_code == 500
    assert "Something broke" in answer.text
    assert "secret inner words" not in answer.text
    assert "Content-Security-Policy" in answer.headers


def sent_twice(site, referrer):
    """Return where the second sending of one form leads that came from ``referrer``."""
    form = {"name": "Jo", "members": "Copse, Millrace", "form_id": "a" * 32}
    data = {"csrf_token": site.token(), **form}
    headers = {"Referer": referrer} if referrer else {}
    first, second = (
        site.client.post("/words/add/family", data=data, headers=headers) for _ in range(2)
    )
    assert first.location == "/words?show=families"
    return second.location


@pytest.mark.parametrize(
    ("referrer", "leads_to"),
    [
        ("http://localhost/words?show=families", "/words?show=families"),
        # A form that was refused before stood at an address that takes no look.
        ("http://localhost/words/add/family", "/"),
        ("http://localhost//evil.example/x", "/"),
        ("http://localhost/nowhere", "/"),
        ("http://evil.example/words", "/"),
        ("http://localhost.evil.example/words", "/"),
        ("javascript:alert(1)", "/"),
        ("", "/"),
    ],
)
def test_a_second_sending_leads_to_a_page_of_this_site_alone(site, referrer, leads_to):
    assert sent_twice(site, referrer) == leads_to


def test_a_request_of_the_wrong_kind_says_so(site):
    answer = site.client.post("/find", data={"csrf_token": site.token()})
    assert answer.status_code == 405
    assert "takes no such request" in answer.text


def test_every_error_of_the_tree_has_a_page(site):
    kinds = [kind for kind in vars(errors).values() if isinstance(kind, type)]
    assert all(issubclass(kind, KBError) for kind in kinds)
    assert KBError in site.app.error_handler_spec[None][None]
