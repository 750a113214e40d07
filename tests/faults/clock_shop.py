"""Open a job and look at every page by the clock of this process.

Run under another clock as ``faketime MOMENT python -m tests.faults.clock_shop HOME``.
"""

import sys
from pathlib import Path

from kb.store.engine import default_url, open_store
from tests.web.conftest import PATIENT, QUICK, Browser, session_for
from web import create_app
from web.rights import Role

PAGES = ("/", "/find?q=no+crank", "/week", "/people", "/me", "/words", "/trust", "/notes")


def main() -> None:
    """Print the job's id; fail on any page that is a fault."""
    home = Path(sys.argv[1])
    with open_store(default_url(home)) as store:
        session = session_for(store, Role.OWNER)
    settings = {"HOME": home, "STORE_URL": default_url(home), "HASHER": QUICK}
    browser = Browser(create_app(settings | PATIENT), session)
    job = browser.opened("no crank; batt 12.4 V")
    browser.send(f"/job/{job}/add", text="low 58 hi 318")
    for page in (*PAGES, f"/job/{job}", f"/job/{job}/close"):
        browser.page(page)
    print(job)


if __name__ == "__main__":
    main()
