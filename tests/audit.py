"""Asks pip-audit about the known set of releases, and says plainly where it could not ask.

``python -m tests.audit PIP_AUDIT`` ends with 1 where a release has a known weakness. pip-audit
itself ends well where it found none of the libraries at its database, as behind a mirror without
that database: nothing was audited then, and that is what is printed.
"""

import json
import subprocess
import sys
from pathlib import Path
from typing import Any

PINS = Path(__file__).resolve().parent / "constraints.txt"


def told(answer: dict[str, Any]) -> tuple[str, int]:
    """Return what an answer of pip-audit says, and the exit code."""
    rows = answer["dependencies"]
    asked = [row for row in rows if "vulns" in row]
    weak = {f"{row['name']} {row['version']}": row["vulns"] for row in asked if row["vulns"]}
    if not asked:
        return f"NOT AUDITED: none of {len(rows)} libraries was found at the database", 0
    lines = [f"audited {len(asked)} of {len(rows)} libraries, {len(weak)} with a known weakness"]
    lines += [f"  {name}: {', '.join(v['id'] for v in found)}" for name, found in weak.items()]
    return "\n".join(lines), 1 if weak else 0


def main(program: str) -> int:
    """Ask and print."""
    command = [program, "-r", str(PINS), "--no-deps", "--disable-pip", "-f", "json"]
    done = subprocess.run(command, capture_output=True, text=True, check=False, timeout=600)
    try:
        words, code = told(json.loads(done.stdout))
    except ValueError:
        last = (done.stderr.strip().splitlines() or ["no word from pip-audit"])[-1]
        words, code = f"NOT AUDITED: the database cannot be reached from here ({last[:200]})", 0
    print(words)
    return code


if __name__ == "__main__":
    sys.exit(main(sys.argv[1]))
