"""Take a picture of every page of the demonstration shop: three widths, light and dark.

``python -m tests.browser.take_pictures FOLDER`` takes all of them; with ``--readme`` instead of a
folder, the one of the job page that the README shows.
"""

import shutil
import sys
import tempfile
from pathlib import Path

from playwright.sync_api import sync_playwright

from kb.case.terms import load_vocabulary
from tests.browser.conftest import CHROMIUM, DESKTOP, PHONE, TABLET, Served, all_pages, sign_in
from web.shop_commands import make_demo

README_PICTURE = Path(__file__).with_name("job_page.png")


def take_all(shop, chromium, folder):
    """Take every page at every width in both themes."""
    for scheme in ("light", "dark"):
        for width, height in (PHONE, TABLET, DESKTOP):
            context = chromium.new_context(
                viewport={"width": width, "height": height}, color_scheme=scheme
            )
            page = context.new_page()
            sign_in(page, shop)
            for number, path in enumerate(all_pages(shop)):
                page.goto(shop.url + path)
                name = path.split("?")[0].strip("/").replace("/", "-") or "today"
                file = folder / f"{number:02d}-{name}-{width}-{scheme}.png"
                page.screenshot(path=file, full_page=True)
            context.close()


def take_readme(shop, chromium):
    """Take the job page as the README shows it."""
    all_pages(shop)
    context = chromium.new_context(viewport={"width": 1200, "height": 1500}, color_scheme="light")
    page = context.new_page()
    sign_in(page, shop)
    page.goto(f"{shop.url}/job/J000001")
    page.screenshot(path=README_PICTURE)
    context.close()


def main(target):
    """Serve a demonstration shop and take the pictures."""
    home = Path(tempfile.mkdtemp(prefix="baybook-pictures-"))
    make_demo(home, load_vocabulary()).close()
    shop = Served(home)
    with sync_playwright() as running:
        chromium = running.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox"])
        if target == "--readme":
            take_readme(shop, chromium)
        else:
            folder = Path(target)
            folder.mkdir(parents=True, exist_ok=True)
            take_all(shop, chromium, folder)
        chromium.close()
    shop.close()
    shutil.rmtree(home)


if __name__ == "__main__":
    main(sys.argv[1])
