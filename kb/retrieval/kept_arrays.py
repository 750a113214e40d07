"""Arrays kept in a folder and mapped into memory: all processes share what they read of them.

Each state of the folder is a numbered folder in it with one ``.npy`` file an array, and a head that
names them. It is written aside and put in place by one renaming; the highest number counts.

A head is held against a digest over it and a key before it is read. An array is held against its
digest in the head once after each start of the machine and for each file; from then on it is enough
that it is the same unchanged file. Arrays that are small together are always held against theirs.
"""

import errno
import hashlib
import hmac
import json
import os
import shutil
import time
from collections.abc import Mapping
from contextlib import suppress
from mmap import ACCESS_READ, mmap
from pathlib import Path
from typing import Any, Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from kb.retrieval.pages import look_into

Arrays = dict[str, NDArray[Any]]
# What tells a file and its content from another: device, number, size, two times.
_Identity = list[int]

HEAD: Final = "head"
# Which files were held against their digests.
CHECKED: Final = "checked"
_ASIDE: Final = ".new-"
_DIGITS: Final = 8
_MOST_HEAD: Final = 10_000_000
# Bytes up to which all is held against its digest each time: a millisecond (our choice).
_FEW: Final = 1_000_000
# A file changed so lately may change again without another time: no file system counts time in
# steps longer than that of FAT, 2 s.
_SETTLED_NS: Final = 2_000_000_000
# What lies aside for so long belongs to a process that ended (our choice).
_LEFT_AFTER_S: Final = 3600
_TRIES: Final = 3


class _Mapped(NamedTuple):
    content: mmap
    identity: _Identity


def _digest(body: bytes | mmap, key: str = "") -> str:
    secret = hashlib.blake2b(key.encode()).digest() if key else b""
    return hashlib.blake2b(body, digest_size=32, key=secret).hexdigest()


def _write_told(path: Path, told: Any, *, key: str) -> None:
    """Write plain values after a digest over them and a key, in one step."""
    body = json.dumps(told, sort_keys=True).encode()
    aside = path.with_name(f"{path.name}.{os.getpid()}")
    aside.write_bytes(f"{_digest(body, key)}\n".encode() + body)
    aside.replace(path)


def _read_told(path: Path, *, key: str) -> Any:
    """Return what ``_write_told`` wrote, None for anything else."""
    with path.open("rb") as file:
        content = file.read(_MOST_HEAD)
    digest, _, body = content.partition(b"\n")
    if not hmac.compare_digest(digest, _digest(body, key).encode()):
        return None
    return json.loads(body)


# --- writing -------------------------------------------------------------------------------------


def write_kept(path: Path, arrays: Mapping[str, NDArray[Any]], *, key: str, told: Any) -> None:
    """Write arrays into a folder and make them what it holds, in one step.

    Parameters
    ----------
    path : Path
        The folder; other processes may read and write it at the same time.
    arrays : mapping
        The arrays by name.
    key : str
        ``read_kept`` wants the same.
    told : object
        Further plain values that JSON can hold.

    Raises
    ------
    OSError
        If there is no room; then the folder holds what it held.
    """
    path.mkdir(exist_ok=True)
    aside = path / f"{_ASIDE}{os.getpid()}-{time.time_ns()}"
    aside.mkdir()
    try:
        rows = {name: _write_array(aside, name, array) for name, array in arrays.items()}
        _write_told(aside / HEAD, {"arrays": rows, "told": told}, key=key)
        number = _put_in_place(aside, path)
    except OSError:
        # Half of it would take the room that is missing.
        shutil.rmtree(aside, ignore_errors=True)
        raise
    _remove_others(path, number)


def _write_array(folder: Path, name: str, array: NDArray[Any]) -> dict[str, Any]:
    file = folder / f"{name.replace(' ', '-')}.npy"
    array = np.ascontiguousarray(array)
    np.save(file, array, allow_pickle=False)
    with file.open("rb") as stream, mmap(stream.fileno(), 0, access=ACCESS_READ) as content:
        size = len(content)
        return {
            "file": file.name,
            "type": array.dtype.str,
            "shape": array.shape,
            "start": size - array.nbytes,
            "size": size,
            "digest": _digest(content),
        }


def _numbers(path: Path) -> list[int]:
    """Return the numbers of the states that lie in a folder."""
    names = os.listdir(path)
    return [int(n) for n in names if len(n) == _DIGITS and n.isascii() and n.isdigit()]


def _folder(path: Path, number: int) -> Path:
    return path / f"{number:0{_DIGITS}}"


def _put_in_place(aside: Path, path: Path) -> int:
    """Give a folder the next number; where another process takes the same, the one after it."""
    while True:
        number = max(_numbers(path), default=0) + 1
        try:
            aside.rename(_folder(path, number))
        except OSError as error:
            if error.errno not in {errno.ENOTEMPTY, errno.EEXIST, errno.ENOTDIR}:
                raise
        else:
            return number


def _remove_others(path: Path, number: int) -> None:
    """Remove what came before a state, and what was left aside long ago.

    Who reads an older one goes on: its files are there until the last reader lets go.
    """
    with suppress(OSError):
        for older in _numbers(path):
            if older < number:
                shutil.rmtree(_folder(path, older), ignore_errors=True)
        for left in path.glob(f"{_ASIDE}*"):
            if time.time() - left.stat().st_mtime > _LEFT_AFTER_S:
                shutil.rmtree(left, ignore_errors=True)


# --- reading -------------------------------------------------------------------------------------


def kept_mark(path: Path) -> str:
    """Return what names the present state of a folder, "" where it has none."""
    try:
        newest = _folder(path, max(_numbers(path)))
        return f"{newest.name} {(newest / HEAD).stat().st_mtime_ns}"
    except (OSError, ValueError):
        return ""


def kept_bytes(path: Path) -> int:
    """Return how many bytes the files of a folder have."""
    return sum(file.stat().st_size for file in path.rglob("*") if file.is_file())


def read_kept(path: Path, *, key: str) -> tuple[Arrays, Any] | None:
    """Return the arrays and values that a folder holds.

    None where it is missing, torn, flipped or made for another key: what another shop, an older
    state or a hostile hand left there is never read.
    """
    for _ in range(_TRIES):
        mark = kept_mark(path)
        if not mark:
            return None
        try:
            found = _read(path / mark.partition(" ")[0], key)
        except (OSError, ValueError):
            found = None
        # Another process may have put a newer one in place, and removed this one.
        if found is not None or kept_mark(path) == mark:
            return found
    return None


def _read(folder: Path, key: str) -> tuple[Arrays, Any] | None:
    head = _read_told(folder / HEAD, key=key)
    if head is None:
        return None
    rows = head["arrays"]
    mapped = {name: _map(folder / row["file"]) for name, row in rows.items()}
    if any(len(mapped[name].content) != row["size"] for name, row in rows.items()):
        return None
    if not _is_sound(folder, rows, mapped, key=key):
        return None
    for name, row in rows.items():
        look_into(mapped[name].content, folder / row["file"])
    arrays = {
        name: np.ndarray(row["shape"], row["type"], mapped[name].content, row["start"])
        for name, row in rows.items()
    }
    return arrays, head["told"]


def _map(path: Path) -> _Mapped:
    with path.open("rb", buffering=0) as file:
        at = os.fstat(file.fileno())
        identity = [at.st_dev, at.st_ino, at.st_size, at.st_mtime_ns, at.st_ctime_ns]
        return _Mapped(mmap(file.fileno(), at.st_size, access=ACCESS_READ), identity)


def _is_sound(
    folder: Path, rows: Mapping[str, Any], mapped: Mapping[str, _Mapped], *, key: str
) -> bool:
    """Return whether every array is what was written."""
    now = time.time_ns()
    seen = {"boot": _boot(), "files": {name: row.identity for name, row in mapped.items()}}
    large = sum(row["size"] for row in rows.values()) > _FEW
    if large and _checked(folder, key) == seen:
        return True
    if any(_digest(mapped[name].content) != row["digest"] for name, row in rows.items()):
        return False
    if large and all(now - max(row.identity[3:]) > _SETTLED_NS for row in mapped.values()):
        with suppress(OSError):
            _write_told(folder / CHECKED, seen, key=f"{CHECKED} {key}")
    return True


def _checked(folder: Path, key: str) -> Any:
    try:
        return _read_told(folder / CHECKED, key=f"{CHECKED} {key}")
    except (OSError, ValueError):
        return None


def _boot() -> str:
    """Return what names this run of the machine, "" where nothing does."""
    try:
        return Path("/proc/sys/kernel/random/boot_id").read_text("ascii").strip()
    except OSError:
        return ""
