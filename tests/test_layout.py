"""The shape of the repository: what may stand where, and how long a module may be."""

import shutil
import subprocess
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent
TOP = {
    "README.md",
    "DEVELOPERS.md",
    "pyproject.toml",
    "kb",
    "web",
    "migrations",
    "tests",
    "seed_cases",
}
MAX_LINES = 300
VAGUE = {"utils", "util", "helpers", "helper", "common", "misc"}
MODULES = sorted(
    path.relative_to(ROOT)
    for room in ("kb", "web")
    for path in (ROOT / room).rglob("*.py")
    if "_bundle" not in path.parts
)


def tracked() -> list[Path]:
    """Return the files that git knows or would take, or those of the folder without git."""
    git = shutil.which("git")
    if git and (ROOT / ".git").exists():
        command = [git, "ls-files", "--cached", "--others", "--exclude-standard"]
        found = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=True)
        names = [Path(line) for line in found.stdout.splitlines()]
        return [name for name in names if (ROOT / name).exists()]
    files = (path.relative_to(ROOT) for path in ROOT.rglob("*") if path.is_file())
    return [path for path in files if not any(part.startswith(".") for part in path.parts)]


def test_the_top_level_holds_what_it_should_and_nothing_else():
    top = {path.parts[0] for path in tracked()}
    assert {name for name in top if not name.startswith(".")} == TOP


def test_there_are_modules_to_look_at():
    assert len(MODULES) > 20


@pytest.mark.parametrize("module", MODULES, ids=str)
def test_a_module_is_short_enough_to_read_at_one_sitting(module):
    assert len((ROOT / module).read_text(encoding="utf-8").splitlines()) <= MAX_LINES


# Rooms that are tested through their faces alone.
FACES = {Path("kb/case/grammar"): ("kb/case/test_parse.py", "kb/case/test_clauses.py")}


@pytest.mark.parametrize("room", FACES, ids=str)
def test_a_room_without_tests_of_its_own_is_tested_through_its_faces(room):
    assert (ROOT / room).is_dir()
    assert all((ROOT / "tests" / face).is_file() for face in FACES[room])


@pytest.mark.parametrize(
    "module",
    [
        path
        for path in MODULES
        if path.parts[0] == "kb" and path.name != "__init__.py" and path.parent not in FACES
    ],
    ids=str,
)
def test_every_module_of_kb_has_its_own_test_file(module):
    mirror = Path("tests") / module.parent / f"test_{module.name}"
    assert (ROOT / mirror).is_file(), f"expected {mirror}"


def mirrors_a_module(test: Path) -> bool:
    """Say whether ``test_NAME.py`` or ``test_NAME_ASPECT.py`` stands where NAME.py stands in kb."""
    room = ROOT / test.parent.relative_to(ROOT / "tests")
    words = test.stem.removeprefix("test_").split("_")
    return any(
        (room / f"{'_'.join(words[:count])}.py").is_file() for count in range(1, len(words) + 1)
    )


def test_every_test_of_kb_mirrors_a_module():
    tests = sorted((ROOT / "tests" / "kb").rglob("test_*.py"))
    strays = [str(path.relative_to(ROOT)) for path in tests if not mirrors_a_module(path)]
    assert strays == []


def test_no_file_has_a_name_that_says_nothing():
    assert [str(path) for path in tracked() if path.stem.lower() in VAGUE] == []


def test_no_folder_of_kb_or_web_is_without_a_docstring():
    rooms = [path for path in MODULES if path.name == "__init__.py"]
    assert rooms
    for path in rooms:
        assert (ROOT / path).read_text(encoding="utf-8").startswith('"""'), path
