from dataclasses import replace

from kb.case.terms import load_vocabulary


def test_the_typical_minutes_are_the_middle_of_least_and_most():
    check = replace(load_vocabulary().checks["coil_swap"], minutes=(4, 10))
    assert check.typical_minutes == 7


def test_looking_something_up_is_marked_as_such():
    checks = load_vocabulary().checks.values()
    assert {row.kind for row in checks if row.is_lookup} == {"lookup"}


def test_only_isolating_swapping_and_commanding_are_actions():
    checks = load_vocabulary().checks.values()
    assert {row.kind for row in checks if row.is_action} == {"isolate", "swap", "command"}
    assert {row.kind for row in checks if not row.is_action} >= {"observe", "measure", "see"}
