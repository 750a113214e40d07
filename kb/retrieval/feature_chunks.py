"""The features of all cases in chunks of some ten thousand, each in memory or in its own file."""

from collections.abc import Iterator, Mapping, Sequence
from contextlib import suppress
from hashlib import blake2b
from pathlib import Path
from typing import Any, Final

from kb.retrieval.feature_file import FeatureFile, Told, write_features
from kb.retrieval.feature_table import FeatureTable

# Cases of a chunk as it is made (our choice: some 20 MB), and how many a chunk may grow to.
CHUNK: Final = 20_000
MOST_IN_CHUNK: Final = 3 * CHUNK // 2
_ENDING: Final = ".features"
_NAME_BYTES: Final = 12

Part = FeatureFile | FeatureTable


class FeatureChunks:
    """Chunks in order of case ids; one of a file is read each time that it is asked for."""

    def __init__(self, parts: Sequence[Part]) -> None:
        self.parts = tuple(parts)

    def __len__(self) -> int:
        """Return the number of cases."""
        return sum(map(len, self.parts))

    @property
    def cases(self) -> list[str]:
        """The ids of all cases."""
        return [case for part in self.parts for case in part.cases]

    def __iter__(self) -> Iterator[FeatureTable]:
        """Yield the features, chunk by chunk; of a file, good until the next is taken."""
        for part in self.parts:
            if isinstance(part, FeatureTable):
                yield part
            else:
                yield part.table()
                part.let_go()

    def told(self) -> Iterator[Told]:
        """Yield cause, what came in and what was found, case by case."""
        for part in self.parts:
            yield from part.cause_texts()


def kept_chunks(folder: Path, stamp: Mapping[str, Any]) -> list[FeatureFile]:
    """Return the files of a folder that were made with ``stamp``, in order of case ids.

    Files whose cases lie among those of another one, as two processes may leave them, are left out.
    """
    opened = (FeatureFile.opened(path, stamp) for path in sorted(folder.glob(f"*{_ENDING}")))
    files = sorted((row for row in opened if row is not None and len(row)), key=_first)
    found: list[FeatureFile] = []
    for file in files:
        if not found or found[-1].cases[-1] < file.cases[0]:
            found.append(file)
    return found


def _first(file: FeatureFile) -> str:
    return file.cases[0]


def keep_chunk(folder: Path, table: FeatureTable, stamp: Mapping[str, Any]) -> Part:
    """Keep a chunk in a file of its own; where there is no room, in memory."""
    digest = blake2b(digest_size=_NAME_BYTES)
    for pair in zip(table.cases, table.marks, strict=True):
        digest.update("\t".join(pair).encode() + b"\n")
    path = folder / f"{digest.hexdigest()}{_ENDING}"
    with suppress(OSError):
        folder.mkdir(exist_ok=True)
        write_features(path, table, stamp)
        return FeatureFile.opened(path, stamp) or table
    return table


def drop_others(folder: Path, kept: Sequence[Part]) -> None:
    """Take away the files of a folder that hold none of ``kept``."""
    names = {part.path.name for part in kept if isinstance(part, FeatureFile)}
    with suppress(OSError):
        for path in folder.iterdir():
            if path.name not in names and path.suffix == _ENDING:
                path.unlink(missing_ok=True)
