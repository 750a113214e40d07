"""The libraries: each has an upper bound, and the one known set of releases keeps to the bounds."""

import tomllib
from pathlib import Path

from packaging.requirements import Requirement
from packaging.utils import canonicalize_name
from packaging.version import Version

ROOT = Path(__file__).resolve().parent.parent
# The oldest and a newer Python that the pins are asked for.
PYTHONS = ("3.11", "3.13")


def asked():
    """Return every library that the project names, with its bounds."""
    project = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["project"]
    extras = project["optional-dependencies"].values()
    texts = [*project["dependencies"], *(text for extra in extras for text in extra)]
    found = [Requirement(text) for text in texts]
    return [row for row in found if row.name != project["name"]]


def pinned(python):
    """Return the release of each library for one Python, by name."""
    lines = (ROOT / "tests" / "constraints.txt").read_text("utf-8").splitlines()
    rows = [Requirement(line) for line in lines if line and not line.startswith("#")]
    here = {"python_full_version": f"{python}.0", "python_version": python}
    pins: dict[str, Version] = {}
    for row in rows:
        if row.marker is None or row.marker.evaluate({**here, "sys_platform": "linux"}):
            (pin,) = row.specifier
            assert pin.operator == "=="
            assert canonicalize_name(row.name) not in pins, row
            pins[canonicalize_name(row.name)] = Version(pin.version)
    return pins


def test_every_library_has_a_lower_and_an_upper_bound():
    for row in asked():
        operators = {bound.operator for bound in row.specifier}
        assert ">=" in operators, row
        assert "<" in operators, row


def test_the_known_set_holds_every_library_within_its_bounds():
    for python in PYTHONS:
        pins = pinned(python)
        wrong = [
            str(row)
            for row in asked()
            if not row.specifier.contains(pins.get(canonicalize_name(row.name), Version("0")))
        ]
        assert wrong == [], f"make tests/constraints.txt anew (Python {python})"
