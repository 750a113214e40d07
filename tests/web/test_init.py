import re
import threading
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest

import web
from kb.errors import StoreError
from kb.store.engine import default_url
from web import create_app
from web.api.place import is_api
from web.rights import Role
from web.site import form_key

# Every address of the site: one that answers, and the same with an id that nobody has.
PAGES = {
    "/": ("/", None),
    "/find": ("/find", None),
    "/week": ("/week", None),
    "/week/decide": ("/week/decide?{row}", "/week/decide?week=2026-W47&row=none"),
    "/week/decision/<int:decision_id>": ("/week/decision/{decision}", "/week/decision/404"),
    "/notes": ("/notes", None),
    "/note/new": ("/note/new?{row}", "/note/new?week=2026-W47&row=none"),
    "/note/<int:note_id>": ("/note/{note}", "/note/404"),
    "/job/<job_id>": ("/job/{job}", "/job/J404"),
    "/job/<job_id>/close": ("/job/{job}/close", "/job/J404/close"),
    "/job/<job_id>/answers": ("/job/{job}/answers?text=no+crank", "/job/J404/answers"),
    "/answers": ("/answers?q=no+crank", None),
    "/job/<job_id>/customer": ("/job/{job}/customer", "/job/J404/customer"),
    "/job/<job_id>/label": ("/job/{job}/label", "/job/J404/label"),
    "/job/<job_id>/checks": ("/job/{job}/checks", "/job/J404/checks"),
    "/case/<case_id>": ("/case/S1", "/case/S404"),
    "/case/<case_id>/customer": ("/case/S1/customer", "/case/S404/customer"),
    "/sent/ping": ("/sent/ping", None),
    "/sent/<form_id>": ("/sent/{form}", "/sent/ffff"),
    "/photo/<content_hash>": ("/photo/{photo}", "/photo/" + "0" * 64),
    "/sign-in": ("/sign-in", None),
    "/sign-in/<token>": ("/sign-in/{link}", "/sign-in/nothing"),
    "/switch": ("/switch", None),
    "/people": ("/people", None),
    "/me": ("/me", None),
    "/me/code": ("/me/code", None),
    "/trust": ("/trust", None),
    "/words": ("/words", None),
    "/words/merge": ("/words/merge", None),
    "/static/<path:filename>": ("/static/style.css", "/static/none.css"),
}
WRITES = {
    "/week/again": None,
    "/jobs": None,
    "/job/<job_id>/add": "/job/J404/add",
    "/job/<job_id>/wait": "/job/J404/wait",
    "/job/<job_id>/vehicle": "/job/J404/vehicle",
    "/job/<job_id>/close": "/job/J404/close",
    "/job/<job_id>/undo": "/job/J404/undo",
    "/job/<job_id>/correct": "/job/J404/correct",
    "/job/<job_id>/answer": "/job/J404/answer",
    "/job/<job_id>/photo": "/job/J404/photo",
    "/case/<job_id>/confirm": "/case/J404/confirm",
    "/sign-in": None,
    "/sign-in/<token>": None,
    "/switch": None,
    "/sign-out": None,
    "/people": None,
    "/people/<int:person_id>/link": None,
    "/people/<int:person_id>/role": None,
    "/people/<int:person_id>/active": None,
    "/people/<int:person_id>/sessions": None,
    "/people/tablets": None,
    "/people/tokens": None,
    "/people/tokens/<int:token_id>/revoke": None,
    "/me/secrets": None,
    "/me/code": None,
    "/me/code/off": None,
    "/words/add/<kind>": None,
    "/words/means": None,
    "/words/merge": None,
    "/words/part": None,
    "/words/out": None,
    "/me/shared": None,
    "/me/sessions": None,
    "/job/<job_id>/readings": "/job/J404/readings",
    "/job/<job_id>/finding": "/job/J404/finding",
    "/job/<job_id>/codes": "/job/J404/codes",
    "/job/<job_id>/tried": "/job/J404/tried",
    "/job/<job_id>/complaint": "/job/J404/complaint",
    "/job/<job_id>/comeback": "/job/J404/comeback",
    "/week/decide": None,
    "/week/decision/<int:decision_id>": None,
    "/week/decision/<int:decision_id>/settle": None,
    "/week/decision/<int:decision_id>/again": None,
    "/week/held": None,
    "/notes": None,
    "/note/<int:note_id>": None,
    "/note/<int:note_id>/active": None,
}


def rules(site, method):
    found = (rule for rule in site.app.url_map.iter_rules() if not is_api(rule.endpoint))
    return {str(rule) for rule in found if method in rule.methods}


def test_no_address_is_left_out_here(site):
    assert rules(site, "GET") == set(PAGES)
    assert rules(site, "POST") == set(WRITES)


def test_every_page_answers_for_a_known_id_and_says_404_for_an_unknown_one(site, row):
    job, form = site.opened(form_id="a" * 32), "a" * 32
    made = {"photo": site.with_photo(job), "link": site.with_link(), "row": row.query}
    made |= {"decision": row.decided(), "note": site.with_note()}
    for known, unknown in PAGES.values():
        answer = site.client.get(known.format(job=job, form=form, **made))
        assert answer.status_code in {200, 204}
        answer.close()
        if unknown:
            site.page(unknown, 404)


def test_every_write_to_an_unknown_job_says_404(site):
    for path in filter(None, WRITES.values()):
        answer = site.send(path, text="x", cause="overcharge", method="seen")
        assert answer.status_code == 404
        assert "J404" in answer.text


def test_a_page_that_does_not_exist_says_so_in_plain_words(site):
    text = site.page("/nowhere", 404)
    assert "No such page" in text
    assert "expected the address of a page" in text


@pytest.mark.parametrize(
    "path", ["/", "/find", "/words", "/case/S1", "/nowhere", "/static/style.css"]
)
def test_nothing_that_a_page_shows_can_run(site, path):
    answer = site.client.get(path)
    policy = answer.headers["Content-Security-Policy"]
    assert policy.startswith("default-src 'none'")
    assert "unsafe" not in policy
    assert "script-src 'self';" in policy
    for part in ("frame-ancestors 'none'", "base-uri 'none'", "form-action 'self'"):
        assert part in policy
    assert answer.headers["X-Content-Type-Options"] == "nosniff"
    assert answer.headers["Referrer-Policy"] == "same-origin"
    answer.close()


HEADERS = {
    "Content-Security-Policy": "frame-ancestors 'none'",
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "same-origin",
}


def test_every_answer_of_every_address_carries_the_headers_that_protect_it(site):
    job = site.opened()
    photo = site.with_photo(job)
    viewer, nobody = site.as_role(Role.VIEWER), site.as_nobody()
    asked = {
        "page": (site.client.get("/"), 200),
        "photo": (site.client.get(f"/photo/{photo}"), 200),
        "file": (site.client.get("/static/script.js"), 200),
        "no file": (site.client.get("/static/none"), 404),
        "nobody": (nobody.client.get("/"), 302),
        "nobody's form": (nobody.client.post("/jobs", data={"text": "x"}), 401),
        "nobody's script": (nobody.client.get("/", headers={"Accept": "application/json"}), 401),
        "not yours": (viewer.send("/jobs", text="x"), 403),
        "wrong kind": (site.client.put("/jobs"), 405),
        "no token": (site.client.post("/jobs", data={"text": "x"}), 400),
        "too long": (site.client.post("/jobs", data={"text": "x" * 1_000_001}), 413),
        "foreign name": (site.client.get("/", headers={"Host": "evil.example"}), 400),
        "ping": (site.client.get("/sent/ping"), 204),
    }
    for name, (answer, status) in asked.items():
        assert answer.status_code == status, name
        for header, part in HEADERS.items():
            assert part in answer.headers[header], (name, header)
        assert "public" not in answer.headers["Cache-Control"], name
        answer.close()
    assert site.client.get("/").headers["Cache-Control"] == "private, no-cache"


@pytest.mark.parametrize("method", ["POST", "PUT", "PATCH", "DELETE"])
@pytest.mark.parametrize(
    "origin", ["http://evil.example", "null", "http://localhost:9", "https://localhost"]
)
def test_whatever_writes_is_refused_from_elsewhere(site, method, origin):
    site.app.config["WTF_CSRF_ENABLED"] = False
    answer = site.client.open(
        "/jobs", method=method, data={"text": "x"}, headers={"Origin": origin}
    )
    assert answer.status_code == 403
    with site.store.read() as unit:
        assert unit.jobs.open_jobs() == ()


@pytest.mark.parametrize(
    "path", ["/", "/find?q=no+crank", "/words?show=checks", "/case/S1", "/job/J404"]
)
def test_pages_hold_no_script_and_no_style_of_their_own(site, path):
    text = site.client.get(path).text
    assert not re.search(
        r"<script(?! src=\"/static/script.js\" defer></script>)|<style|\sstyle=|\son\w+=", text
    )


def test_a_form_without_its_token_is_refused_in_plain_words(site):
    answer = site.client.post("/jobs", data={"text": "no crank"})
    assert answer.status_code == 400
    assert "go back, reload the page" in answer.text
    assert "csrf" not in answer.text.lower().replace('name="csrf_token"', "")
    assert "Content-Security-Policy" in answer.headers


def test_a_form_that_another_site_sent_is_refused(site):
    form = {"csrf_token": site.token(), "text": "no crank"}
    answer = site.client.post("/jobs", data=form, headers={"Origin": "http://evil.example"})
    assert answer.status_code == 403
    assert "a form from elsewhere" in answer.text
    own = site.client.post("/jobs", data=form, headers={"Origin": "http://localhost"})
    assert own.status_code == 302


def test_another_name_that_leads_to_this_machine_gets_no_page(site):
    answer = site.client.get("/", headers={"Host": "evil.example"})
    assert answer.status_code == 400
    assert "Today" not in answer.text
    assert "Content-Security-Policy" in answer.headers


def test_a_body_over_the_limit_is_refused(site):
    answer = site.client.post("/jobs", data={"text": "x" * 1_000_001})
    assert answer.status_code == 413
    assert "megabyte" in answer.text


def test_the_key_of_the_forms_is_the_owners_alone_and_kept(site):
    path = site.home / "form.key"
    assert path.stat().st_mode & 0o077 == 0
    again = create_app({"HOME": site.home, "STORE_URL": site.url})
    again.extensions["baybook"].store.close()
    assert again.config["SECRET_KEY"] == path.read_text() == site.app.config["SECRET_KEY"]
    assert len(path.read_text()) == 64


def test_a_form_still_works_after_a_day_in_the_bay(site):
    assert site.app.config["WTF_CSRF_TIME_LIMIT"] is None


def test_a_site_without_a_store_says_what_to_run_and_leaves_nothing(tmp_path):
    with pytest.raises(StoreError, match="baybook init"):
        create_app({"HOME": tmp_path, "STORE_URL": default_url(tmp_path)})
    assert not list(tmp_path.iterdir())


WEB = Path(web.__file__).parent
# All that reaches a page unescaped, each for a reason: a picture of a code (its title is escaped), shapes, whole strips, heads and tables of pictures (their texts are escaped), a story and notes of the shop that nh3 cleaned when they were stored, an attribute that stands in the template.
UNESCAPED = {
    ("_label.html", "qr_code(job.id)"),
    ("label.html", "label_code(job.id)"),
    ("_charts.html", "picture_head(id, chart, name=row.name, told=row.told)"),
    ("_charts.html", "picture_head(id, row.chart, name=row.name, told=row.told)"),
    ("_charts.html", "picture_numbers(row.name, row.rows)"),
    ("_charts.html", "picture_numbers(row.name, row.rows, row.heads)"),
    ("_strips.html", "strip_figure(row, id)"),
    ("_charts.html", "shape('before', chart.x[0], chart.before)"),
    ("_charts.html", "shape('during', chart.x[1], chart.after)"),
    ("_charts.html", "shape(mark.shape, mark.x, mark.y)"),
    ("case.html", "qr_code(job.id)"),
    ("case.html", "story"),
    ("note.html", "note.text.body_html"),
    ("_shop_notes.html", "note.text.body_html"),
    ("_words_meanings.html", "' list=known'"),
}


def test_what_reaches_a_page_unescaped_is_listed_here():
    found = {
        (path.name, said)
        for path in (WEB / "templates").iterdir()
        for said in re.findall(
            r"(\w+\([^)]*\)|[^\s{]+|' list=known')\s*\|\s*safe\b", path.read_text("utf-8")
        )
    }
    assert found == UNESCAPED
    assert not [p for p in (WEB / "templates").iterdir() if "autoescape" in p.read_text("utf-8")]
    # Markup is made of a text in the program, where what is filled in is escaped, or of a part of a
    # page that a template drew before.
    made = {
        line.strip()
        for path in WEB.glob("*.py")
        for line in path.read_text("utf-8").splitlines()
        if "Markup(" in line and "import" not in line
    }
    assert {re.sub(r".*?Markup\(('.*?'|\"\")\).*", r"\1", line) for line in made} == {
        """'<input type="hidden" name="%s" value="%s">'""",
        '_SLOT: Final = Markup("%s")',
        "return Markup(_with_numbers(text))  # noqa: S704 # nosec B704",
    }


def test_the_script_makes_elements_of_its_own_and_of_the_servers_answers_alone():
    text = (WEB / "static" / "script.js").read_text("utf-8")
    for way in ("eval(", "new Function", "outerHTML", "insertAdjacentHTML", "document.write"):
        assert way not in text
    assert re.findall(r"innerHTML[^;)]*", text) == ["innerHTML", "innerHTML = before[at]"]
    assert len(text.splitlines()) < 300


@pytest.mark.parametrize("torn", [False, True])
def test_all_who_begin_at_once_sign_forms_by_one_key(tmp_path, torn):
    if torn:
        (tmp_path / "form.key").touch()
        form_key(tmp_path)
        (tmp_path / "form.key").rename(tmp_path / "old.key")
    begin = threading.Barrier(8)

    def ask(_):
        begin.wait()
        return form_key(tmp_path)

    with ThreadPoolExecutor(8) as pool:
        keys = set(pool.map(ask, range(8)))
    assert keys == {form_key(tmp_path)}
    assert len(keys.pop()) == 64
    assert (tmp_path / "form.key").stat().st_mode & 0o777 == 0o600
    assert {path.name for path in tmp_path.iterdir()} <= {"form.key", "old.key"}
