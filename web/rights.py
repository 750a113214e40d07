"""Who may do what: the one table of roles and rights."""

from collections.abc import Mapping
from enum import StrEnum
from typing import Final


class Role(StrEnum):
    """What somebody is in the shop."""

    VIEWER = "viewer"
    TECHNICIAN = "technician"
    ADVISOR = "advisor"
    FOREMAN = "foreman"
    OWNER = "owner"


class Right(StrEnum):
    """What a route asks for."""

    # Read jobs, cases and words, and search.
    SEE = "see"
    # Open jobs and write down what is heard, seen and measured.
    WORK = "work"
    # Close a job with cause and proof.
    CLOSE = "close"
    # Add words of the shop and say what unknown words mean.
    TEACH = "teach"
    # Merge and take out words of the shop.
    WORDS = "words"
    # Decide about rows of the week and about cases of other shops, and write notes of the shop.
    DECIDE = "decide"
    # Name people, their roles, and end their sessions.
    PEOPLE = "people"


_TECHNICIAN = frozenset({Right.SEE, Right.WORK, Right.CLOSE, Right.TEACH})

RIGHTS: Final[Mapping[Role, frozenset[Right]]] = {
    Role.VIEWER: frozenset({Right.SEE}),
    Role.ADVISOR: frozenset({Right.SEE, Right.WORK, Right.CLOSE}),
    Role.TECHNICIAN: _TECHNICIAN,
    Role.FOREMAN: _TECHNICIAN | {Right.WORDS, Right.DECIDE},
    Role.OWNER: frozenset(Right),
}
