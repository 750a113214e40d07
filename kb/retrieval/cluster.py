"""Shards of an index in worker processes of a Dask cluster, each read there from its own folder.

A scheduler runs what it is sent: whoever reaches it can run code as its user. It belongs on
127.0.0.1 or behind the certificates of ``distributed.security.Security``, which the caller of
``ClusterShards`` gives the client. Dask itself is the extra ``cluster`` and needed only there.
"""

from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from threading import Lock
from time import monotonic
from typing import TYPE_CHECKING, Any, Final, NamedTuple, TypeVar

from kb.retrieval.layer import Layer
from kb.retrieval.shard import Question, Shard, ShardAnswer, shard_over
from kb.retrieval.shards import ShardTables
from kb.retrieval.snapshot import read_snapshot, write_snapshot
from kb.retrieval.whole import Whole

if TYPE_CHECKING:
    from distributed import Client

# Our choices, in seconds: how long a question may take in all, when a shard that could not be read
# is tried again, and how long the first reading may take.
ANSWER_WITHIN_S: Final = 10.0
_AGAIN_AFTER_S: Final = 30.0
LOAD_WITHIN_S: Final = 120.0
T = TypeVar("T")


def _folder(folder: Path, number: int) -> Path:
    return folder / f"shard-{number:04}"


def _stamp(stamp: Mapping[str, Any], number: int, n_shards: int) -> dict[str, Any]:
    return {**stamp, "shard": number, "of": n_shards}


def write_shards(
    folder: Path, stamp: Mapping[str, Any], parts: Sequence[ShardTables], *, whole: Whole
) -> None:
    """Write cases as shards that workers can read.

    Parameters
    ----------
    folder : Path
        The shards' own; each lies in a folder in it. Every worker must reach it by this path.
    stamp : mapping
        With what the index was fitted, see ``write_snapshot``.
    parts : sequence of ShardTables
        The cases of each shard, see ``kb.retrieval.shards.split``.
    whole : Whole
        What everything is worth among all.

    Raises
    ------
    OSError
        If there is no room.
    """
    folder.mkdir(parents=True, exist_ok=True)
    for number, part in enumerate(parts):
        made = Layer(whole).fit_tables(part)
        write_snapshot(_folder(folder, number), _stamp(stamp, number, len(parts)), made)


def are_written(folder: Path, stamp: Mapping[str, Any], n_shards: int) -> bool:
    """Return whether a folder holds all shards that were written with ``stamp``, unharmed."""
    return all(
        read_snapshot(_folder(folder, number), _stamp(stamp, number, n_shards)) is not None
        for number in range(n_shards)
    )


class KeptShard:
    """A shard in a worker, read from its folder.

    Raises
    ------
    FileNotFoundError
        If the folder has no shard written with ``stamp``.
    """

    def __init__(self, path: str, stamp: Mapping[str, Any], whole: Whole) -> None:
        kept = read_snapshot(Path(path), stamp)
        if kept is None:
            raise FileNotFoundError(f"expected a shard in {path}, got none; write the shards again")
        self._shard = Shard(shard_over(whole, kept.cases))

    def answer(self, question: Question) -> ShardAnswer:
        """Return what the cases here say to a question."""
        return self._shard.answer(question)


class _Placed(NamedTuple):
    """A shard that was read, and the address of the worker that has it."""

    shard: Any
    address: str


@dataclass(slots=True)
class _Place:
    """Where a shard is now, and before when it is not read again."""

    placed: _Placed | None = None
    not_before: float = field(default=0.0)


def _lost() -> tuple[type[Exception], ...]:
    """Return what is raised where a worker or its shard is gone, or does not answer in time."""
    from distributed import KilledWorker  # noqa: PLC0415 - an extra
    from distributed.client import FutureCancelledError  # noqa: PLC0415 - an extra

    return OSError, RuntimeError, TimeoutError, KilledWorker, FutureCancelledError


class ClusterShards:
    """Shards in the workers of a cluster, asked all at once.

    A shard whose worker ended, or did not answer in half of ``within_s``, is read by another
    worker and asked there. What has not answered by then is not waited for; a shard that no worker
    could read is tried again after 30 s.

    Parameters
    ----------
    connection : callable
        Gives the client, the default one of this process, and None while its scheduler is away.
        ``direct_to_workers=True`` is faster.
    folder, stamp, whole
        As for ``write_shards``.
    n_shards : int
        How many there are.
    within_s : float
        Seconds a question may take.
    """

    def __init__(
        self,
        connection: Callable[[], "Client | None"],
        folder: Path,
        stamp: Mapping[str, Any],
        *,
        whole: Whole,
        n_shards: int,
        within_s: float = ANSWER_WITHIN_S,
    ) -> None:
        self._connection, self._folder, self._stamp = connection, folder, dict(stamp)
        self._whole, self._within_s = whole, within_s
        self._places = [_Place() for _ in range(n_shards)]
        self._lock, self._lost = Lock(), _lost()
        self._load(range(n_shards), monotonic() + LOAD_WITHIN_S)

    def __len__(self) -> int:
        """Return how many shards there are."""
        return len(self._places)

    def ask(self, question: Question) -> Sequence[ShardAnswer | None]:
        """Return the answer of every shard, None where none came in time."""
        start = monotonic()
        asked = {number: place.placed for number, place in enumerate(self._places)}
        answers = self._ask(question, asked, start + self._within_s / 2)
        left = {number: placed for number, placed in asked.items() if number not in answers}
        if left:
            until = start + self._within_s
            answers |= self._ask(question, self._elsewhere(left, until), until)
        return [answers.get(number) for number in range(len(self))]

    def _ask(
        self, question: Question, asked: Mapping[int, _Placed | None], until: float
    ) -> dict[int, ShardAnswer]:
        """Ask shards that are somewhere, all at once."""
        sent = {}
        for number, placed in asked.items():
            if placed is not None:
                try:
                    sent[number] = placed.shard.answer(question)
                except self._lost:
                    continue
        found = ((number, self._wait(coming, until)) for number, coming in sent.items())
        return {number: answer for number, answer in found if answer is not None}

    def _wait(self, coming: Any, until: float) -> Any:
        """Return what a future gives, None where its worker is lost or it takes too long."""
        try:
            return coming.result(timeout=max(until - monotonic(), 0.001))
        except self._lost:
            return None

    def _elsewhere(
        self, left: Mapping[int, _Placed | None], until: float
    ) -> dict[int, _Placed | None]:
        """Return where shards are now that did not answer where they were."""
        if not self._lock.acquire(timeout=max(until - monotonic(), 0)):
            return {}
        try:
            now = monotonic()
            # What another thread has read meanwhile is asked where it is.
            same = [n for n, placed in left.items() if self._places[n].placed is placed]
            due = [n for n in same if self._places[n].not_before <= now]
            avoid = {placed.address for n in due if (placed := left[n]) is not None}
            self._load(due, until, avoid=avoid)
            return {n: self._places[n].placed for n in left if n in due or n not in same}
        finally:
            self._lock.release()

    def _load(self, numbers: Iterable[int], until: float, *, avoid: Collection[str] = ()) -> None:
        """Let workers read shards, all at once."""
        starting = {}
        sent: list[str] = []
        for number in numbers:
            self._places[number].placed = None
            try:
                starting[number] = self._start(number, until, avoid=[*avoid], sent=sent)
            except self._lost:
                starting[number] = None
        for number, started in starting.items():
            place = self._places[number]
            shard = None if started is None else self._wait(started[0], until)
            place.placed = _Placed(shard, started[1]) if started and shard is not None else None
            place.not_before = 0.0 if place.placed else monotonic() + _AGAIN_AFTER_S

    def _start(
        self, number: int, until: float, *, avoid: Sequence[str], sent: list[str]
    ) -> tuple[Any, str] | None:
        """Let the worker with the fewest shards read one, None where there is no worker."""
        client: Any = self._connection()
        # It goes while the client looks for its scheduler.
        scheduler = None if client is None else client.scheduler
        if scheduler is None:
            return None
        left = max(until - monotonic(), 0.001)
        living = client.sync(scheduler.ncores, callback_timeout=left)
        allowed = sorted(set(living) - set(avoid))
        if not allowed:
            return None
        held = [*sent, *(place.placed.address for place in self._places if place.placed)]
        address = min(allowed, key=lambda one: (held.count(one), one))
        whole = client.scatter(self._whole, workers=[address], hash=False, timeout=left)
        path = str(_folder(self._folder, number))
        stamp = _stamp(self._stamp, number, len(self))
        coming = client.submit(
            KeptShard, path, stamp, whole, actor=True, workers=[address], pure=False, retries=0
        )
        sent.append(address)
        return coming, address
