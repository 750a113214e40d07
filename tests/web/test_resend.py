import pytest

from web.resend import Unsent, local_path


@pytest.mark.parametrize(
    "path", ["/", "/job/J1", "/find?q=a+b&vehicle=x", "/find?q=http://x.example/"]
)
def test_a_path_of_this_site_stays_as_it_is(path):
    assert local_path(path) == path


@pytest.mark.source("WHATWG URL", "a backslash counts as a slash, tabs and newlines are dropped")
@pytest.mark.parametrize(
    "path",
    [
        "", None, "http://evil.example/", "//evil.example", "///evil.example", "/\\evil.example",
        "\\\\evil.example", "/\t/evil.example", "/\n/evil.example", "\t//evil.example", "job/J1",
        "javascript:alert(1)", " //evil.example", "https:evil.example", "/\x00/x",
        "//[evil.example",
    ],
)  # fmt: skip
def test_a_path_that_leads_elsewhere_leads_home(path):
    assert local_path(path) == "/"
    assert local_path(path, default="") == ""


def test_what_is_shown_is_what_was_typed_and_what_is_carried_is_everything():
    fields = (("form_id", "a" * 32), ("text", "no crank"), ("said", " "), ("action", "open"))
    unsent = Unsent(action="/jobs", fields=fields)
    assert unsent.shown == (("text", "no crank"),)
    assert unsent.marked[0] == ("unsent", "/jobs")
    assert [name for name, _ in unsent.marked[1:]] == [f"typed.{name}" for name, _ in fields]
