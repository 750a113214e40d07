"""Attacks on every address: forged forms, scripts in every field, paths that lead out."""

import random
import re
from html.parser import HTMLParser

import pytest
from markupsafe import escape
from typing_extensions import override

from tests.web.conftest import OWN_SCRIPT, Browser, session_for
from web.rights import Role

SAFE = {"GET", "HEAD", "OPTIONS"}
OURS, EVIL = "http://localhost", "http://evil.example"


# --- forms that this site did not send -----------------------------------------------------------


def unsafe_routes(site):
    """Return method and address of everything that may write."""
    adapter = site.app.url_map.bind("localhost")
    for rule in site.app.url_map.iter_rules():
        path = adapter.build(rule.endpoint, dict.fromkeys(rule.arguments, 1))
        for method in sorted((rule.methods or set()) - SAFE):
            yield method, path


def tokens_of(browser):
    page = browser.client.get("/sign-in").text
    return re.findall(r'name="csrf_token" value="([^"]+)"', page)[0]


FORGED = {
    "no token": lambda own, other: ({}, {}),
    "wrong token": lambda own, other: ({"csrf_token": own[:-4] + "AAAA"}, {}),
    "token of another session": lambda own, other: ({"csrf_token": other}, {}),
    "foreign origin": lambda own, other: ({"csrf_token": own}, {"Origin": EVIL}),
    "null origin": lambda own, other: ({"csrf_token": own}, {"Origin": "null"}),
    "foreign host": lambda own, other: ({"csrf_token": own}, {"Host": "evil.example"}),
}


def state_of(site):
    """Return what any write would change."""
    with site.store.read() as unit:
        people = [(row.id, row.role, row.active, row.totp_secret) for row in unit.people.all()]
        sessions = [[row.token_hash for row in unit.sessions.of(row_id)] for row_id, *_ in people]
        return unit.history.last_seq(), people, sessions


def test_no_address_takes_a_forged_form(site):
    owner = Browser(site.app, session_for(site.store, Role.OWNER))
    own = tokens_of(owner)
    other = tokens_of(Browser(site.app, session_for(site.store, Role.TECHNICIAN)))
    before, told = state_of(site), {}
    for kind, made in FORGED.items():
        form, headers = made(own, other)
        for method, path in unsafe_routes(site):
            typed = {"text": "no crank", "active": "no", "role": "owner", **form}
            answer = owner.client.open(path, method=method, data=typed, headers=headers)
            told[kind, method, path] = answer.status_code
    assert {key: code for key, code in told.items() if code not in refusals(key[-1])} == {}
    assert len(told) >= 45 * len(FORGED)
    assert state_of(site) == before


def refusals(path):
    """Return how a forged form may be refused; what takes no cookie asks for a token of its own."""
    return {400, 401, 403} if path.startswith("/api/") else {400, 403}


def test_the_same_forms_with_their_own_token_are_not_taken_for_forged(site):
    for method, path in unsafe_routes(site):
        if path.startswith("/api/"):
            continue
        browser = Browser(site.app, session_for(site.store, Role.OWNER))
        answer = browser.client.open(
            path, method=method, data={"csrf_token": tokens_of(browser)}, headers={"Origin": OURS}
        )
        assert "That form is" not in answer.text, path
        assert answer.status_code != 403, path


# --- scripts in every field ----------------------------------------------------------------------

PAYLOADS = (
    "<script>alert(1)</script>",
    "<ScRiPt src=//evil.example/x.js></sCrIpT>",
    "<scr<script>ipt>alert(1)</scr</script>ipt>",
    "<img src=x onerror=alert(1)>",
    "<img/src='x'/onerror=alert(1)//",
    "<svg onload=alert(1)>",
    "<svg><script>alert(1)</script></svg>",
    "<math><mi xlink:href='javascript:alert(1)'>x</mi></math>",
    "<iframe src=javascript:alert(1)></iframe>",
    "<iframe srcdoc='<script>alert(1)</script>'></iframe>",
    "<object data=data:text/html;base64,PHNjcmlwdD4=></object>",
    "<embed src=//evil.example/x.swf>",
    "<details open ontoggle=alert(1)>x</details>",
    "<body onload=alert(1)>",
    "<style>@import '//evil.example/x.css';</style>",
    "<p style='background:url(javascript:alert(1))'>x</p>",
    "<form action=//evil.example><button>x</button></form>",
    "<meta http-equiv=refresh content='0;url=//evil.example'>",
    "<base href=//evil.example/>",
    "<a href='&#106;avascript:alert(1)'>x</a>",
    "[x](javascript:alert(1))",
    "<a href=' JaVa&#9;ScRiPt&colon;alert(1)'>x</a>",
    '![x](x"onerror="alert(1))',
    "\"><script>alert(1)</script><b a='",
    "{{ config }}{% print(7*7) %}'-alert(1)-'</textarea><script>alert(1)</script>",
)
# Elements that no page of ours has but for its one script, and where an address may lead.
NEVER = {"iframe", "object", "embed", "base", "style", "math", "frame", "applet", "template"}
LEADS = {"href", "src", "action", "formaction", "xlink:href", "data", "srcdoc", "poster"}


# What a browser strips from the ends of an address; tabs and ends of lines go from within (WHATWG
# URL, section 4.4).
CONTROLS = "".join(map(chr, range(0x21)))


class Reader(HTMLParser):
    """Collects what of a page could run or lead elsewhere."""

    def __init__(self):
        super().__init__()
        self.bad = []

    @override
    def handle_starttag(self, tag, attrs):
        names = {name: value or "" for name, value in attrs}
        if tag == "script" and names != {"src": "/static/script.js", "defer": ""}:
            self.bad.append((tag, names))
        if tag in NEVER or (tag == "meta" and "http-equiv" in names):
            self.bad.append((tag, names))
        for name, value in names.items():
            leads = re.sub(r"[\t\n\r]", "", value.strip(CONTROLS)).lower()
            script = leads.startswith(("javascript:", "vbscript:", "data:text", "//"))
            if name.startswith("on") or name == "style" or (name in LEADS and script):
                self.bad.append((tag, name, value))


def dangers(text):
    reader = Reader()
    reader.feed(text)
    reader.close()
    return reader.bad


def test_the_reader_sees_each_payload_where_a_page_would_hold_it_raw():
    raw = [text for text in PAYLOADS if not text.startswith(("[", "!", "{", "<form", "<scr<"))]
    assert [text for text in raw if not dangers(f"<main>{text}</main>")] == []
    assert dangers(f"<html>{OWN_SCRIPT}<a href='/x'>x</a></html>") == []
    assert len(PAYLOADS) == 25


def planted(site):
    """Write every payload into every field of text that the pages take; return the pages."""
    pages = {"/", "/find", "/week", "/notes", "/words", "/people", "/me", "/trust"}
    token = site.token()

    def send(path, **form):
        return site.client.post(path, data={"csrf_token": token, **form})

    for at in range(0, len(PAYLOADS), 5):
        five = PAYLOADS[at : at + 5]
        evil, one = "\n".join(five), five[0]
        car = {"make": one, "model": five[1], "engine": five[2], "year": "2017", "vin": five[3]}
        opening = {"text": f"no crank {evil}", "said": evil, "invoice": f"{at} {one}"[:60]}
        answer = send("/jobs", action="open", **opening, **car)
        job = answer.location.rsplit("/", 1)[1]
        for path, form in (
            ("vehicle", car), ("wait", {"waits_for": evil}), ("complaint", {"said": evil}),
            ("finding", {"check": "look_feel", "outcome": "fault_seen", "note": evil}),
            ("tried", {"part": evil, "text": evil}), ("codes", {"codes": evil}),
            ("readings", {"text": evil}), ("add", {"text": f"batt 12.6 V {evil}"}),
            ("close", {"end": "fixed", "cause": "starter_worn", "proof": "measured_out",
                       "proof_text": evil, "fix": "replaced", "fix_text": evil, "lesson": evil,
                       "story": evil, "part": one, "supplier": five[4]}),
        ):  # fmt: skip
            send(f"/job/{job}/{path}", **form)
        pages |= {f"/job/{job}", f"/case/{job}", f"/job/{job}/close", f"/job/{job}/customer"}
        pages |= {f"/job/{job}/label", f"/job/{job}/checks"}
    for number, evil in enumerate(PAYLOADS):
        note = site.with_note(title=f"t {evil}"[:80], body=f"{evil}\n\n> {evil}\n\n- {evil}")
        pages.add(f"/note/{note}")
        send("/words/means", word=f"w{number}", what=evil, means=evil)
        send("/words/add/family", name=evil[:60], members=evil)
        send("/people", name=f"{number} {evil}"[:60], role="viewer")
    return sorted(pages)


def test_no_payload_comes_through_on_any_page(site):
    shown, through = "", {}
    for path in planted(site):
        answer = site.client.get(path)
        assert answer.status_code in {200, 302, 404}, path
        shown += answer.text
        if bad := dangers(answer.text):
            through[path] = bad
    assert through == {}
    # They were not merely thrown away: pages show them, as text.
    assert [text for text in PAYLOADS if str(escape(text)) not in shown] == []


@pytest.mark.parametrize("path", ["/find?q={}", "/answers?q={}", "/sign-in?next={}", "/nowhere/{}"])
def test_no_payload_comes_through_in_an_address(site, path):
    for evil in PAYLOADS:
        before, _, field = path.partition("?")
        if field:
            answer = site.client.get(before, query_string={field.partition("=")[0]: evil})
        else:
            answer = site.client.get(path.format(evil.replace("?", "")))
        assert answer.status_code < 500
        assert dangers(answer.text) == [], evil


# --- paths that lead out -------------------------------------------------------------------------

UP = ("..", "%2e%2e", "..%2f", "..%5c", "%2e%2e%2f", "..%c0%af", "....//", "..;", "%252e%252e%252f")
ENDS = (
    "etc/passwd", "etc%2fpasswd", "form.key", "baybook.db", "log", "C:\\boot.ini", "con", "nul.txt",
    "%00", "passwd%00.css", "..%00/",
)  # fmt: skip
ROOMS = ("/static/", "/photo/", "/sign-in/", "/job/", "/case/", "/sent/")


def strays(count):
    """Return that many addresses that try to lead out of their room, always the same."""
    draw = random.Random(25)
    found: set[str] = set()
    while len(found) < count:
        steps = "/".join(draw.choice(UP) for _ in range(draw.randint(1, 8)))
        found.add(draw.choice(ROOMS) + steps + "/" + draw.choice(ENDS))
    return sorted(found)


def test_no_path_leads_out_of_its_room(site):
    secret = (site.home / "form.key").read_text()
    told = {}
    for path in strays(500):
        answer = site.client.get(path)
        # A path with steps up that stays in the site leads to another page at most.
        body = answer.get_data()
        told[path] = answer.status_code
        assert secret.encode() not in body
        assert b"root:" not in body
        assert b"SQLite format" not in body
        answer.close()
    odd = {path: code for path, code in told.items() if code not in {400, 404}}
    assert odd == {}
    assert sum(code == 404 for code in told.values()) >= 250
