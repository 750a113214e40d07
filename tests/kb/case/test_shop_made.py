from kb.case.shop_made import made_cause, made_check, made_family, made_quantity
from kb.case.shop_rows import ShopTerm
from kb.case.terms import load_vocabulary

WORDS = load_vocabulary()


def term(kind, **body):
    return ShopTerm(kind=kind, key="x", name="X", body=body)


def test_a_cause_takes_the_usual_access_of_its_system():
    made = made_cause(term("cause", system="hvac"), WORDS, {"hvac": 1.5})
    assert (made.access_hours, made.system, made.expect) == (1.5, "hvac", {})


def test_a_check_without_minutes_has_the_usual_ones():
    made = made_check(term("check", systems=["hvac"], outcomes=["a", "b"]), WORDS)
    assert made.typical_minutes == 10
    assert (made.subject, made.access, made.kind) == (None, "none", "observe")


def test_a_quantity_stands_in_the_group_of_its_system_and_takes_every_unit_of_its_kind():
    made = made_quantity(term("quantity", unit="psi", hard=[0, 100], system="cooling"))
    assert made.group == "cooling"
    assert {"psi", "kPa", "bar"} <= set(made.accepted)
    assert made.same == 1.0


def test_a_family_compares_in_lower_case():
    made = made_family(term("family", members=[["Pellarin ", "Copse"]]))
    assert made.members == (("pellarin", "copse"),)
