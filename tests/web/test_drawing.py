import pytest
from flask import Flask
from hypothesis import given
from hypothesis import strategies as st
from markupsafe import Markup, escape

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


def test_every_template_of_the_site_shows_its_values_so(site):
    drawn = site.app.jinja_env.get_template("base.html")
    assert drawn.root_render_func.__globals__["escape"] is escaped
