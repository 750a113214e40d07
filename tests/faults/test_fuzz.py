import random

import pytest

from tests.faults import hostile
from tests.faults.fuzz import Fuzzer, Request, Target, fuzz
from tests.faults.page_forms import forms_and_links
from web import find
from web.rights import Role


@pytest.mark.slow
def test_hostile_forms_and_addresses_meet_no_fault_and_leave_the_store_sound():
    tally = fuzz(100, seed=3)
    assert tally.troubles == []
    assert tally.inputs == 100
    # Enough of them come past the door, or nothing was tried.
    assert tally.answers[200] + tally.answers[302] >= 20
    assert tally.answers[400] + tally.answers[409] >= 8


def test_a_fault_of_a_page_is_found(monkeypatch, tmp_path):
    def broken(*_):
        raise ValueError("broken on purpose")

    monkeypatch.setattr(find, "_answered", broken)
    tally = fuzz(60, seed=3)
    assert any("broken on purpose" in line for line in tally.faults)


def test_every_route_has_its_turn(tmp_path):
    target = Target(tmp_path / "shop")
    fuzzer = Fuzzer(target, random.Random(5))
    fuzzer.read_forms()
    rules = {str(rule) for rule, _ in target.pages()}
    assert rules == {str(rule) for rule in target.app.url_map.iter_rules()}
    while not fuzzer.waiting:
        fuzzer.draw(None)
    while fuzzer.waiting:
        fuzzer.draw(None)
    assert len({form.action for _, form in fuzzer.forms}) >= 25
    assert target.close() == []


def test_a_form_that_is_too_long_for_a_role_that_may_not_send_it_is_no_fault(site):
    viewer = site.as_role("viewer")
    token = viewer.token()
    answer = viewer.client.post("/jobs", data={"csrf_token": token, "text": "x" * 1_000_001})
    assert answer.status_code in {403, 413}
    assert "x" * 1000 not in answer.text


@pytest.mark.parametrize("path", [b"/find", b"/answers", b"/", b"/static/style.css", b"/nowhere"])
def test_words_after_an_address_that_are_no_text_are_refused(tmp_path, path):
    target = Target(tmp_path / "shop")
    target.sign_in(Role.OWNER)
    asked = Request(method="GET", path=path, query=b"q=\xed\xa0\x80")
    status, text, _ = target.send(asked, Role.OWNER)
    assert status == 400
    assert "a sign that cannot be stored" in text
    assert target.close() == []


def test_forms_are_read_as_a_browser_reads_them():
    page = """<a href="/find">Find</a><form method="post" action="/x" id="f">
      <input name="a" value="1&amp;2"><input type="radio" name="b" value="1" checked>
      <input type="radio" name="b" value="2"><select name="c"><option value="">none</option>
      <option value="k" selected>K</option></select><textarea name="d">some
 text</textarea><input type="file" name="photo"><button name="action" value="go">Go</button></form>
      <input form="f" name="e" value="out"><input name="stray" value="1">"""
    (form,), links = forms_and_links(page)
    assert links == ["/find"]
    assert (form.method, form.action, form.files) == ("POST", "/x", True)
    known = [("a", "1&2"), ("b", "1"), ("c", "k"), ("d", "some\n text"), ("e", "out")]
    assert form.fields == known
    assert form.choices == {"b": ["1", "2"], "c": ["", "k"], "action": ["go"]}


def test_the_same_seed_draws_the_same_texts():
    drawn = [hostile.changed(b"low 58", random.Random(seed), [b"x"]) for seed in (1, 1, 2)]
    assert drawn[0] == drawn[1] != drawn[2]


def test_a_text_that_is_changed_again_and_again_stays_within_a_megabyte():
    chance, value = random.Random(5), b"low 58 " * 10
    lengths = [len(value := hostile.changed(value, chance, [value])) for _ in range(400)]
    assert 1000 < max(lengths) <= hostile.HUGE_BYTES


def test_a_request_is_handed_over_byte_for_byte():
    request = Request(method="GET", path=b"/\xed\xa0\x80", query=b"q=\xff")
    environ = request.environ("")
    assert environ["PATH_INFO"].encode("latin-1") == b"/\xed\xa0\x80"
    assert environ["QUERY_STRING"].encode("latin-1") == b"q=\xff"
