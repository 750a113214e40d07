"""A command of the shop, run as a program of its own beside the pages, so that no page waits."""

import os
import subprocess
import sys
from collections.abc import Sequence
from pathlib import Path


def run_beside(command: Sequence[str], *, url: str, home: Path) -> bool:
    """Run a command on the shop of ``home`` whose database is at ``url``; say if all went well."""
    ended = subprocess.run(  # noqa: S603 - no shell; the words are of this program
        [sys.executable, "-m", "web.cli", *command],
        env={**os.environ, "BAYBOOK_HOME": str(home), "BAYBOOK_DB": url},
        stdin=subprocess.DEVNULL,
        stdout=subprocess.DEVNULL,
        check=False,
    )
    return ended.returncode == 0
