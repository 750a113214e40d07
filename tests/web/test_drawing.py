import gc
import weakref
from typing import Any

import pytest
from flask import Flask
from hypothesis import given
from hypothesis import strategies as st
from jinja2 import DictLoader, Environment, pass_context
from markupsafe import Markup, escape
from typing_extensions import override

from kb.case.model import Phase
from web.drawing import Drawing, escaped


@pytest.mark.source("MarkupSafe documentation", "escape")
@given(st.text(alphabet="&<>\"'ab1 é\u2028\0") | st.floats() | st.integers() | st.booleans())
def test_what_is_shown_is_what_the_library_escapes(value):
    assert escaped(value) == str(escape(value))


@pytest.mark.parametrize("value", [None, Markup("<b>"), Phase.BEFORE, ("<",), "<script>"])
def test_other_values_are_left_to_the_library(value):
    assert escaped(value) == escape(value)


def test_a_template_escapes_what_it_shows_and_what_its_macros_show():
    drawn = Drawing(Flask("any"), autoescape=True).from_string(
        "{% macro m(x) %}{{ x }}{{ 1.5 }}{% endmacro %}{{ m(x) }}{{ x }}{{ '<i>' ~ x }}{{ y }}"
    )
    assert drawn.render(x="<b>&", y=Markup("<u>")) == (
        "&lt;b&gt;&amp;1.5&lt;b&gt;&amp;&lt;i&gt;&lt;b&gt;&amp;<u>"
    )


def test_what_a_macro_drew_is_shown_as_it_is():
    drawn = Markup("<b>")
    assert escaped(drawn) is drawn


def test_every_template_of_the_site_shows_its_values_so(site):
    drawn = site.app.jinja_env.get_template("base.html")
    assert drawn.root_render_func.__wrapped__.__globals__["escape"] is escaped


def test_a_template_around_another_gets_its_text_at_once():
    texts = {
        "around": "<p>{% block a %}{% endblock %}</p>{{ x }}",
        "inside": "{% extends 'around' %}{% block a %}{% include 'part' %}{{ super() }}{% endblock %}",
        "part": "{% for n in x %}{{ n }}{% endfor %}",
    }
    drawn = Drawing(Flask("any"), autoescape=True, loader=DictLoader(texts))
    assert list(drawn.get_template("part").generate(x="a<b")) == ["a&lt;b"]
    assert list(drawn.get_template("inside").generate(x="a<b")) == ["<p>a&lt;b</p>a&lt;b"]


class Shown:
    @override
    def __str__(self):
        return "shown"


@pytest.fixture
def no_collector():
    gc.disable()
    yield
    gc.enable()


PARTS = {
    "part": "{% macro m() %}{{ y }}{% endmacro %}{% macro n() %}{{ m() }}{{ y }}{% endmacro %}{{ n() }}",
    "includes": "{% macro o() %}{{ y }}{% endmacro %}{% include 'part' %}{{ o() }}",
    "imports": "{% import 'part' as p with context %}{{ p.n() }}{{ p.m() }}",
}


@pytest.mark.parametrize("name", ["part", "includes"])
def test_what_a_page_showed_is_gone_without_the_collector(name, no_collector):
    drawn = Drawing(Flask("any"), autoescape=True, loader=DictLoader(PARTS)).get_template(name)
    shown = Shown()
    seen = weakref.ref(shown)
    assert drawn.render(y=shown) == "shown" * {"part": 2, "includes": 3}[name]
    del shown
    assert seen() is None


def test_macros_are_there_for_whom_imports_them_again_and_again():
    drawn = Drawing(Flask("any"), autoescape=True, loader=DictLoader(PARTS))
    for y in ("a", "b"):
        assert drawn.get_template("imports").render(y=y) == y * 3
    module: Any = drawn.get_template("part").make_module({"y": "c"})
    assert [module.n(), module.m()] == ["cc", "c"]


def test_an_address_without_a_value_is_made_once_for_each_root(site):
    for root in ("", "/shop"):
        for _ in range(2):
            with site.app.test_request_context("/", base_url=f"http://localhost{root}"):
                assert site.app.url_for("find.show") == f"{root}/find"
                assert site.app.url_for("find.show", q="a") == f"{root}/find?q=a"
                assert site.app.url_for("jobs.today", _external=True) == f"http://localhost{root}/"


@pytest.mark.parametrize("file", ["style.css", "a-b.c.js", ".hidden", "..", "a b.css", "a/b.css"])
def test_an_address_of_a_file_is_that_of_the_library(site, file):
    with site.app.test_request_context("/"):
        for _ in range(2):
            expected = Flask.url_for(site.app, "static", filename=file)
            assert site.app.url_for("static", filename=file) == expected


def test_no_more_addresses_are_kept_than_a_few_roots_have(site, monkeypatch):
    monkeypatch.setattr("web.site._MOST_ADDRESSES", 2)
    for number in range(9):
        with site.app.test_request_context("/", base_url=f"http://localhost/r{number}"):
            assert site.app.url_for("find.show") == f"/r{number}/find"
    assert len(site.app._addresses) == 2


@pytest.mark.parametrize("root", ["", "/bay"])
@pytest.mark.parametrize(
    ("endpoint", "values"),
    [
        ("jobs.show", {"job_id": "J000001"}),
        ("jobs.show", {"job_id": "J1/2 &<"}),
        ("jobs.show", {"job_id": "J1", "undone": None}),
        ("jobs.show", {"job_id": "J1", "undone": "text"}),
        ("jobs.show", {"undone": "text", "job_id": "J2"}),
        ("jobs.show", {"job_id": "J1", "_anchor": "pieces"}),
        ("notes.show", {"note_id": 7}),
        ("notes.show", {"note_id": "7"}),
        ("photos.show", {"content_hash": "ab12", "size": "small"}),
        ("find.show", {"q": "a b", "page": 2}),
        ("find.show", {"page": -1}),
        ("find.show", {"page": True}),
        ("find.show", {"a": "1", "b": "2", "c": "3", "d": "4"}),
        ("find.show", {"q": ["a", "b"]}),
        ("static", {"filename": "style.css"}),
    ],
)
def test_a_kept_address_is_the_one_that_flask_makes(site, root, endpoint, values):
    with site.app.test_request_context(root + "/", base_url=f"http://localhost{root}"):
        made = Flask.url_for(site.app, endpoint, **values)
        assert {site.app.url_for(endpoint, **values) for _ in range(2)} == {made}
        other = values | {"job_id": "J9"} if "job_id" in values else values
        assert site.app.url_for(endpoint, **other) == Flask.url_for(site.app, endpoint, **other)


def test_whatever_a_template_calls_gets_what_jinja_gives_it():
    @pass_context
    def seen(context, name):
        return context[name]

    class Row:
        def twice(self, text, sign="-"):
            return f"{text}{sign}{text}"

    text = (
        "{% macro shown(one, other='b') %}{{ one }}{{ other }}{{ caller() if caller }}{% endmacro %}"
        "{% for at in rows %}{% set now = at %}{{ shown(at) }} {{ shown(other=at, one='<') }} {{ plain(at, sign='+') }} "
        "{{ row.twice(at) }} {{ seen('now') }} {{ loop.cycle('x', 'y') }}\n{% endfor %}"
        "{% call shown(1) %}inside{% endcall %}"
    )
    values = {"rows": ["a", "<i>"], "plain": Row().twice, "row": Row(), "seen": seen}
    plain = Environment(autoescape=True).from_string(text)
    ours = Drawing(Flask(__name__), autoescape=True).from_string(text)
    for calls in (values, values | {"plain": lambda text, sign: f"{text}{sign}"}):
        assert ours.render(calls) == plain.render(calls)
    assert "&lt;i&gt;b &lt;&lt;i&gt;" in ours.render(values)
