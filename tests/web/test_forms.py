import pytest

from web.forms import FormErrors, cents_typed, form_fields


@pytest.mark.parametrize(
    ("typed", "cents"),
    [
        ("412", 41200),
        ("412.5", 41250),
        ("$1,412.05", 141205),
        ("412,50", 41250),
        ("1 412.00", 141200),
        ("€ 0.99", 99),
        ("", None),
    ],
)
def test_a_price_is_read_as_it_is_written(typed, cents):
    assert cents_typed(typed) == cents


@pytest.mark.parametrize("typed", ["lots", "1.234", "-5", "1.2.3", "9" * 10, "²", "1.²"])
def test_what_is_no_price_is_refused(typed):
    with pytest.raises(ValueError, match=r"."):
        cents_typed(typed)


def test_errors_are_true_where_there_is_one():
    assert FormErrors(by_field={"price": "no price"})
    assert not FormErrors(by_field={})


def test_a_form_shown_again_unsent_keeps_its_number(site):
    with site.app.test_request_context():
        assert 'name="form_id" value="abc"' in form_fields(form_id="abc")
        assert form_fields() != form_fields()
