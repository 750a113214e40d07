import shutil

import pytest

from kb.errors import ExchangeError
from kb.workflow.exchange.found import find_export


@pytest.mark.parametrize(
    ("inside", "form", "found"),
    [
        ("", None, "jsonl"),
        ("", "csv", "csv"),
        ("", "cases", "cases"),
        ("shop.jsonl", None, "jsonl"),
        ("tables", None, "csv"),
        ("cases", None, "cases"),
        ("cases", "cases", "cases"),
    ],
)
def test_an_export_is_found_by_its_folder_and_by_its_parts(out, inside, form, found):
    export = find_export(out / inside, form)
    assert export.form == found
    assert export.photos == out / "photos"
    assert export.path.exists()


def test_what_is_left_of_an_export_is_found(out):
    (out / "shop.jsonl").unlink()
    assert find_export(out).form == "csv"
    shutil.rmtree(out / "tables")
    assert find_export(out).form == "cases"


@pytest.mark.parametrize(
    ("inside", "form"), [("photos", None), ("shop.jsonl", "csv"), ("tables", "cases")]
)
def test_what_is_no_export_is_told(out, inside, form):
    with pytest.raises(ExchangeError, match="expected an export"):
        find_export(out / inside, form)
