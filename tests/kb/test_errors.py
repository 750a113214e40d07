import inspect

import pytest

from kb import errors

KINDS = [kind for _, kind in inspect.getmembers(errors, inspect.isclass)]


@pytest.mark.parametrize("kind", KINDS, ids=lambda kind: kind.__name__)
def test_every_error_belongs_to_the_tree_and_is_drawn_in_it(kind):
    assert issubclass(kind, errors.KBError)
    assert kind.__name__ in (errors.__doc__ or "")


def test_a_broken_case_file_names_file_and_line():
    error = errors.CaseFileError("expected x, got y", name="S1.md", line=4)
    assert str(error) == "S1.md, line 4: expected x, got y"
    assert str(errors.CaseFileError("expected x", name="S1.md")) == "S1.md: expected x"


def test_an_error_carries_what_was_typed():
    assert errors.ParseError("no", text="12,6 X").text == "12,6 X"
    assert errors.NotProvenError("no", missing=("cause",)).missing == ("cause",)
