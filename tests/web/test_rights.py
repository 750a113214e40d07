from web.rights import RIGHTS, Right, Role


def test_every_role_has_a_row_and_each_may_at_least_see():
    assert set(RIGHTS) == set(Role)
    assert all(Right.SEE in rights for rights in RIGHTS.values())
    assert RIGHTS[Role.OWNER] == set(Right)


def test_each_role_has_what_it_needs_and_no_more():
    holders = {right: {role for role in Role if right in RIGHTS[role]} for right in Right}
    workers = {Role.TECHNICIAN, Role.ADVISOR, Role.FOREMAN, Role.OWNER}
    assert holders[Right.WORK] == holders[Right.CLOSE] == workers
    assert holders[Right.TEACH] == workers - {Role.ADVISOR}
    assert holders[Right.WORDS] == {Role.FOREMAN, Role.OWNER}
    assert holders[Right.PEOPLE] == {Role.OWNER}
