import pytest

from kb.retrieval.columns import Texts
from kb.retrieval.features import token_key
from kb.retrieval.field_values import FieldValues

KEYS = sorted(
    token_key(field, value)
    for field, values in {
        "air|": ("cold", "warm"),
        "air": ("yes",),
        "air|vent": ("", "low"),
        "air|vent\tleft": ("low",),
        "code|P0100": ("stored",),
        "code|é": ("stored", "élevé"),
    }.items()
    for value in values
)


@pytest.mark.parametrize("keys", [tuple(KEYS), Texts.of(KEYS)])
def test_each_field_has_its_values_in_order(keys):
    found = FieldValues(keys)
    wanted: dict[str, tuple[str, ...]] = {}
    for key in KEYS:
        field, _, value = key.rpartition("\t")
        wanted[field] = (*wanted.get(field, ()), value)
    assert dict(found) == wanted
    assert list(found) == list(wanted)
    assert len(found) == 6


def test_a_field_that_no_case_recorded_has_no_values():
    found = FieldValues(KEYS)
    assert found.get("ai", ()) == ()
    assert "vent" not in found
    assert dict(FieldValues(())) == {}


def test_fields_are_found_by_their_beginning():
    found = FieldValues(KEYS)
    assert found.beginning("code|") == ["code|P0100", "code|é"]
    assert found.beginning("air|") == ["air|", "air|vent", "air|vent\tleft"]
    assert found.beginning("zzz") == []
