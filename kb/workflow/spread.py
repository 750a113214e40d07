"""The fitted jobs in parts that other processes hold: written to files, then asked there.

The parts are derived data in the shop's folder, a folder a state; each is written once by whoever
finds it missing, and before a newer index is kept for all processes.
"""

import hashlib
import logging
import shutil
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any, Final, Protocol

from kb.errors import StoreError
from kb.retrieval.cluster import are_written, write_shards
from kb.retrieval.feature_chunks import FeatureChunks
from kb.retrieval.index import CaseIndex
from kb.retrieval.shards import Asking, ShardedIndex, split
from kb.retrieval.snapshot import key_of
from kb.retrieval.whole import Whole
from kb.store.turn import Turn
from kb.workflow.fitted import Fitted
from kb.workflow.following import FOLLOWED_FROM, Source

# Folder of the parts, beside the database.
SHARDS: Final = "shards"
# States that are kept: the newest, and the one that other processes may still ask (our choice).
_STATES_KEPT: Final = 2
# Milliseconds to wait for another process that writes them; a million jobs take minutes (our choice).
_PATIENCE_MS: Final = 600_000
_NAME_BYTES: Final = 12
_COUNT: Final = "parts"
logger = logging.getLogger(__name__)

Chunks = Callable[[], FeatureChunks]
# What is fitted, with what its index was, and what gives the features of the closed jobs now;
# returns what is asked in its place.
Spreading = Callable[[Fitted, Mapping[str, Any], Chunks], Fitted]


class Holding(Protocol):
    """What lets other processes hold parts and asks them, as ``ClusterShards`` does."""

    def __call__(
        self, folder: Path, stamp: Mapping[str, Any], *, whole: Whole, n_shards: int
    ) -> Asking:
        """Return what asks the parts written to ``folder``, see ``write_shards``."""


class PartFiles:
    """The parts of a shop's memory as files.

    Parameters
    ----------
    home : Path
        The shop's folder.
    parts : int
        In how many parts.
    """

    def __init__(self, home: Path, parts: int) -> None:
        self.home, self.parts = home, parts

    @classmethod
    def known(cls, home: Path) -> "PartFiles | None":
        """Return those that were written before, None where there are none."""
        try:
            return cls(home, int((home / SHARDS / _COUNT).read_text(encoding="ascii")))
        except (OSError, ValueError):
            return None

    def folder(self, stamp: Mapping[str, Any]) -> Path:
        """Return the folder of one state."""
        key = f"{self.parts} {key_of(stamp)}".encode()
        return self.home / SHARDS / hashlib.blake2b(key, digest_size=_NAME_BYTES).hexdigest()

    def written(self, stamp: Mapping[str, Any], index: CaseIndex, chunks: Chunks) -> Path:
        """Return the folder of one state; write it where it is missing, and put old ones away.

        Parameters
        ----------
        stamp : mapping
            What names the state, see ``state_stamp``.
        index : CaseIndex
            Fitted from that state.
        chunks : callable
            Gives the features of its cases; a case that was written since stands as it is now.

        Raises
        ------
        OSError
            If there is no room.
        StoreError
            If another process writes and does not end.
        """
        folder = self.folder(stamp)
        if are_written(folder, stamp, self.parts):
            return folder
        (self.home / SHARDS).mkdir(exist_ok=True)
        with Turn(self.home / SHARDS / "writing").taken(others_ms=_PATIENCE_MS):
            if not are_written(folder, stamp, self.parts):
                self._write(folder, stamp, index=index, chunks=chunks())
        return folder

    def _write(
        self, folder: Path, stamp: Mapping[str, Any], *, index: CaseIndex, chunks: FeatureChunks
    ) -> None:
        ids = list(index.ids_)
        only = None if chunks.cases == ids else frozenset(ids)
        try:
            write_shards(folder, stamp, split(chunks, self.parts, only=only), whole=Whole(index))
        except OSError:
            # Half of them would take the room that is missing.
            shutil.rmtree(folder, ignore_errors=True)
            raise
        (self.home / SHARDS / _COUNT).write_text(str(self.parts), encoding="ascii")
        states = [path for path in (self.home / SHARDS).iterdir() if path.is_dir()]
        for path in sorted(states, key=_written_at, reverse=True)[_STATES_KEPT:]:
            shutil.rmtree(path, ignore_errors=True)


def _written_at(folder: Path) -> int:
    return folder.stat().st_mtime_ns


def state_stamp(stamp: Mapping[str, Any], source: Source) -> dict[str, Any]:
    """Return what names a state: with what its index was fitted, and from what."""
    return {**stamp, "read": source.as_values()}


def write_parts_anew(
    home: Path, stamp: Mapping[str, Any], index: CaseIndex, *, chunks: FeatureChunks
) -> None:
    """Write the parts of what was fitted anew, where the shop's memory lies in parts.

    Processes that take up the new index then find them. Without room nothing is written.
    """
    files = PartFiles.known(home)
    if files is not None:
        try:
            files.written(stamp, index, lambda: chunks)
        except (OSError, StoreError) as error:
            logger.warning("the parts of the memory were not written: %s", error)


def forget_parts(home: Path) -> None:
    """Take away the parts of a shop's memory that nobody asks any more."""
    shutil.rmtree(home / SHARDS, ignore_errors=True)


def in_one(fitted: Fitted, stamp: Mapping[str, Any], chunks: Chunks) -> Fitted:
    """Return the fitted jobs as they are: held and asked here."""
    return fitted


class Spread:
    """Lets the fitted jobs be asked in parts.

    Parameters
    ----------
    files : PartFiles
        Where they are written.
    hold : Holding
        Lets other processes hold them.
    least : int
        Closed jobs below which they stay in one: fewer are fitted anew after each write.
    """

    def __init__(self, files: PartFiles, hold: Holding, *, least: int = FOLLOWED_FROM) -> None:
        self._files, self._hold, self._least = files, hold, least
        self._failed: Mapping[str, Any] = {}

    def __call__(self, fitted: Fitted, stamp: Mapping[str, Any], chunks: Chunks) -> Fitted:
        """Return the fitted jobs as they are asked in parts; in one where parts cannot be written.

        Parameters
        ----------
        fitted : Fitted
            In parts already, or not yet.
        stamp : mapping
            With what the index was fitted.
        chunks : callable
            Gives the features of the closed jobs as they are now.
        """
        if isinstance(fitted.index, ShardedIndex) or len(fitted.base) < self._least:
            return fitted
        named = state_stamp(stamp, fitted.base_source)
        if named == self._failed:
            return fitted
        try:
            folder = self._files.written(named, fitted.base, chunks)
        except (OSError, StoreError) as error:
            logger.warning("the memory stays in one part: %s", error)
            self._failed = named
            return fitted
        whole = Whole(fitted.base)
        return fitted.in_parts(self._hold(folder, named, whole=whole, n_shards=self._files.parts))
