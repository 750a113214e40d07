import re

import pytest

from tests.web.conftest import shown
from web.rights import Role

ASKED = {"program": "billing", "may": ["read", "close"], "days": "30"}


def stored(site):
    with site.store.read() as unit:
        return unit.tokens.all()


def secret_in(page):
    (found,) = re.findall(r'<textarea id="token"[^>]*>(baybook_[\w-]+)<', page)
    return found


def test_a_token_is_shown_once_and_never_kept_by_a_cache(site):
    answer = site.send("/people/tokens", **ASKED)
    assert answer.status_code == 200
    assert answer.headers["Cache-Control"] == "no-store"
    secret = secret_in(answer.text)
    page = site.page("/people")
    assert secret not in page
    assert "/api/v1/openapi.json" in page
    assert "may read, close; until" in page
    assert "made by shop; never used" in page
    (token,) = stored(site)
    assert (token.name, token.scopes) == ("billing", ("read", "close"))
    assert (token.ends - token.created).days == 30


def test_a_token_is_taken_back(site):
    site.send("/people/tokens", **ASKED)
    (token,) = stored(site)
    answer = site.send(f"/people/tokens/{token.id}/revoke")
    assert answer.location == "/people#programs"
    page = site.page("/people")
    assert "taken back" in page
    assert "Take the token of billing back" not in page
    assert site.send("/people/tokens/404/revoke").status_code == 404


@pytest.mark.parametrize(
    ("changes", "status", "said"),
    [
        ({"program": ""}, 400, "expected a name, got nothing"),
        ({"may": []}, 400, "choose at least one"),
        ({"may": ["people"]}, 400, "got &#39;people&#39;"),
        ({"days": "-1"}, 400, "expected a number of days"),
        ({"days": "9999"}, 400, "expected 1 to 730 days, got 9999"),
        ({"days": "1" * 5000}, 400, "expected a number of days"),
    ],
)
def test_what_cannot_be_a_token_is_told_with_what_was_typed(site, changes, status, said):
    answer = site.send("/people/tokens", **(ASKED | changes))
    assert answer.status_code == status
    assert said in answer.text
    assert stored(site) == ()
    if "days" in changes:
        assert 'value="billing"' in answer.text
        assert 'name="may" value="close" checked' in answer.text


def test_a_second_token_of_one_name_is_refused(site):
    site.send("/people/tokens", **ASKED)
    answer = site.send("/people/tokens", **ASKED)
    assert answer.status_code == 409
    assert "expected a name of its own, got billing" in answer.text
    assert len(stored(site)) == 1


def test_a_form_sent_twice_makes_one_token(site):
    for _ in range(2):
        site.send("/people/tokens", form_id="a" * 32, **ASKED)
    assert len(stored(site)) == 1


def test_a_name_of_a_program_is_shown_as_text(site):
    site.send("/people/tokens", **(ASKED | {"program": "<script>x</script>"}))
    assert "<script>" not in shown(site.page("/people"))


def test_nobody_but_an_owner_sees_or_makes_a_token(site):
    foreman = site.as_role(Role.FOREMAN)
    assert foreman.send("/people/tokens", **ASKED).status_code == 403
    assert stored(site) == ()
