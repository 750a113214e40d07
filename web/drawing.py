"""What every value on a page passes: escaped, but looked through by one search where it is plain."""

import re
from collections.abc import Callable, Iterator, MutableMapping
from functools import wraps
from types import CodeType, FunctionType
from typing import Any, Final

from flask.templating import Environment
from jinja2 import Environment as AnyEnvironment
from jinja2 import Template
from jinja2.environment import TemplateModule
from jinja2.runtime import Context, Macro
from markupsafe import Markup, escape
from typing_extensions import override

# The signs that ``markupsafe.escape`` writes otherwise.
_SPECIAL: Final = re.compile("[&<>\"']")


def escaped(value: object) -> str:
    """Return a value as ``markupsafe.escape`` writes it; numbers and plain text as they are.

    A page shows some thousand values, of which hardly one has a sign to escape: a search costs a
    fifth of what the library's text that knows to be safe costs.

    Examples
    --------
    >>> str(escaped("R&D")), escaped(1.5)
    ('R&amp;D', '1.5')
    """
    kind = type(value)
    if kind is str:
        return escape(value) if _SPECIAL.search(value) else value  # type: ignore[call-overload,return-value]
    # What a macro drew is escaped.
    if kind is Markup:
        return value  # type: ignore[return-value]
    return str(value) if kind is float or kind is int else escape(value)


# How Jinja marks a function that wants more than it is given, and what it hands on for those alone.
_WISH: Final = "jinja_pass_arg"
_SCOPES: Final = frozenset({"_block_vars", "_loop_vars"})
# What a template's code is to Jinja: pieces of text, one after the other.
_Draws = Callable[[Context], Iterator[str]]


class _Template(Template):
    """A template that writes its values by ``escaped``, and all of its text at once."""

    @classmethod
    @override
    def from_code(
        cls,
        environment: AnyEnvironment,
        code: CodeType,
        globals: MutableMapping[str, Any],
        uptodate: Callable[[], bool] | None = None,
    ) -> Template:
        made = super().from_code(environment, code, globals, uptodate)
        # A template's code escapes what it shows by that name, and nothing else by it.
        made.root_render_func.__globals__["escape"] = escaped
        made.root_render_func = _at_once(made.root_render_func)
        return made

    @override
    def make_module(self, *args: Any, **kwargs: Any) -> TemplateModule:
        """Return what others import of the template, which therefore keeps what it names."""
        context = self.new_context(*args, **kwargs)
        context.imported = True  # type: ignore[attr-defined]
        return TemplateModule(self, context)


def _at_once(draw: _Draws) -> _Draws:
    """Return what yields one text: a hundred would pass through each template around this one.

    A macro and the context that names it hold each other, and with them all that a page shows:
    unless the names are forgotten, the collector has to find them, at once those of 400 pages.
    """

    @wraps(draw)
    def drawn(context: Context) -> Iterator[str]:
        yield "".join(draw(context))
        if not context.imported:  # type: ignore[attr-defined]
            context.vars.clear()

    return drawn


class _Context(Context):
    """What the templates of a page see; calls what it knows without asking how to call it."""

    imported = False

    @override
    def call(self, called: Any, /, *args: Any, **kwargs: Any) -> Any:
        """Call a macro or a function as ``Context.call`` does, the rest by it."""
        kind = type(called)
        if kind is Macro:
            args = (self.eval_ctx, *args)
        elif kind is not FunctionType or hasattr(called, _WISH):
            return super().call(called, *args, **kwargs)
        for name in _SCOPES & kwargs.keys():
            del kwargs[name]
        return called(*args, **kwargs)


class Drawing(Environment):
    """The environment of the pages' templates."""

    template_class = _Template
    context_class = _Context

    @override
    def make_globals(self, d: MutableMapping[str, Any] | None) -> MutableMapping[str, Any]:
        """Return what a template knows, as one table: each page copies it for each of its templates.

        Jinja's own looks into the environment's table too, for what is added to it later: here
        nothing is, and the copies take a twentieth of the time of a page.
        """
        return {**self.globals, **(d or {})}
