"""The sessions that were asked for last: read again only after somebody has written."""

from dataclasses import dataclass
from typing import Final

from kb.case.terms import Vocabulary
from kb.store.data_version import Version
from kb.workflow.memory import Memory
from kb.workflow.people import token_hash
from kb.workflow.sign_in import Holder, stored_holder

# Sessions of one state of the database, some kilobytes all together (our choice).
_MOST: Final = 256


@dataclass(frozen=True, slots=True, kw_only=True)
class _State:
    """What was read while the database stood at ``version``; sessions by the hashes of their tokens."""

    version: Version
    words: Vocabulary
    sessions: dict[str, Holder | None]


class KnownSessions:
    """Who holds the session of a token; safe to share between threads.

    Parameters
    ----------
    memory : Memory
        Its store has the sessions.
    """

    def __init__(self, memory: Memory) -> None:
        self._memory = memory
        self._state: _State | None = None

    def of(self, token: str) -> tuple[Holder | None, Vocabulary]:
        """Return what is stored of a session and its holder, and the words as they stand now."""
        # Before anything is read: what was written meanwhile is another one.
        version, state, name = self._memory.store.version.now(), self._state, token_hash(token)
        is_now = state is not None and state.version == version
        if state is not None and is_now and name in state.sessions:
            return state.sessions[name], state.words
        with self._memory.store.read() as unit:
            found, words = stored_holder(unit, token), self._memory.words_in(unit)
        if version is not None:
            others = state.sessions if state is not None and is_now else {}
            kept = others if len(others) < _MOST else {}
            self._state = _State(version=version, words=words, sessions={**kept, name: found})
        return found, words
