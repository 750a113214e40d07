"""A memory in parts: in two, one of which may be away; or read from their files in this process."""

from dataclasses import replace

from kb.retrieval.cluster import KeptShard, _folder, _stamp
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


class KeptHere:
    """Parts that this process reads from their files, as a worker reads one."""

    def __init__(self, folder, stamp, *, whole, n_shards):
        self.folder = folder
        self._parts = [
            KeptShard(str(_folder(folder, number)), _stamp(stamp, number, n_shards), whole)
            for number in range(n_shards)
        ]

    def __len__(self):
        return len(self._parts)

    def ask(self, question: Question):
        return [part.answer(question) for part in self._parts]
