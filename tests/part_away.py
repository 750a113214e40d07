"""A memory in two parts, one of which does not answer while it is away."""

from dataclasses import replace

from kb.retrieval.shard import Question, Shard, ShardAnswer
from kb.retrieval.shards import ShardedIndex
from kb.workflow.memory import Memory

_NOTHING = ShardAnswer(near=(), best=(), witnesses=())


class TwoParts:
    """All cases in the first part, none in the second."""

    def __init__(self, index):
        self._all = Shard(index)
        self.away = False

    def __len__(self):
        return 2

    def ask(self, question: Question):
        return [self._all.answer(question), None if self.away else _NOTHING]


def in_two_parts(memory: Memory) -> TwoParts:
    """Let a memory ask two parts for what it has fitted."""
    fitted = memory.fitted()
    parts = TwoParts(fitted.base)
    memory._fitted = replace(fitted, index=ShardedIndex(fitted.base, parts))
    return parts
