"""Send hostile forms and addresses to every route; no answer may be a fault, the store stays sound.

Run as ``python -m tests.faults.fuzz --inputs N``. The addresses come from a walk over the routes,
the forms from the pages themselves, so a new page is fuzzed without a word here. Inputs go to the
application as a server hands them over, as bytes, also such as no browser would send.
"""

import argparse
import json
import random
import shutil
import sqlite3
import sys
import tempfile
import time
import traceback
from collections import Counter
from collections.abc import Iterable, Mapping
from contextlib import closing
from dataclasses import dataclass, field
from datetime import UTC, datetime
from io import BytesIO, StringIO
from pathlib import Path
from typing import Any
from urllib.parse import quote_from_bytes, unquote_to_bytes, urlsplit

from flask import Flask, got_request_exception
from werkzeug.routing import Rule
from werkzeug.test import run_wsgi_app

from kb.store.engine import DATABASE
from kb.workflow.tokens import Scope, make_token
from tests.browser.conftest import decide_about_a_row
from tests.factories import a_picture
from tests.faults import hostile
from tests.faults.page_forms import PageForm, forms_and_links
from tests.web.conftest import Site, session_for
from web.auth import COOKIE
from web.rights import Role

# Inputs before the forms are read anew, and before a new shop is made (our choice).
FORMS_EVERY, SHOP_EVERY = 100, 1500
# Slower answers are named; a busy machine has some (our choice).
SLOW_S = 5.0
ROLES = (Role.OWNER,) * 6 + (Role.FOREMAN, Role.TECHNICIAN, Role.VIEWER, None)
METHODS = ("PUT", "DELETE", "PATCH", "OPTIONS", "HEAD", "TRACE", "FOO", "get", "POST", "GET")
HEADERS = (
    "HTTP_COOKIE", "HTTP_HOST", "HTTP_ORIGIN", "HTTP_REFERER", "HTTP_ACCEPT", "HTTP_RANGE",
    "HTTP_IF_NONE_MATCH", "HTTP_IF_MODIFIED_SINCE", "HTTP_X_REQUESTED_WITH", "HTTP_AUTHORIZATION",
    "HTTP_ACCEPT_LANGUAGE", "HTTP_X_FORWARDED_FOR", "HTTP_X_FORWARDED_PROTO", "CONTENT_TYPE",
    "CONTENT_LENGTH", "HTTP_IDEMPOTENCY_KEY", "HTTP_TRANSFER_ENCODING", "HTTP_SEC_FETCH_SITE",
)  # fmt: skip
KINDS = (
    b"text/plain", b"application/json", b"multipart/form-data", b"multipart/form-data; boundary=",
    b"multipart/form-data; boundary=x", b"application/x-www-form-urlencoded; charset=utf-16", b"\xff",
)  # fmt: skip
_FORM = "application/x-www-form-urlencoded"


@dataclass(frozen=True, slots=True, kw_only=True)
class Request:
    """One request as a server hands it to the application."""

    method: str
    path: bytes
    query: bytes = b""
    kind: str = ""
    body: bytes = b""
    headers: Mapping[str, str] = field(default_factory=dict)

    def environ(self, cookie: str) -> dict[str, Any]:
        """Return it by the names of WSGI."""
        known: dict[str, Any] = {
            "REQUEST_METHOD": self.method,
            "SCRIPT_NAME": "",
            "PATH_INFO": self.path.decode("latin-1"),
            "QUERY_STRING": self.query.decode("latin-1"),
            "SERVER_NAME": "localhost",
            "SERVER_PORT": "80",
            "SERVER_PROTOCOL": "HTTP/1.1",
            "REMOTE_ADDR": "127.0.0.1",
            "HTTP_HOST": "localhost",
            "HTTP_COOKIE": cookie,
            "CONTENT_LENGTH": str(len(self.body)),
            "wsgi.version": (1, 0),
            "wsgi.url_scheme": "http",
            "wsgi.input": BytesIO(self.body),
            "wsgi.errors": StringIO(),
            "wsgi.multithread": True,
            "wsgi.multiprocess": False,
            "wsgi.run_once": False,
        }
        if self.kind:
            known["CONTENT_TYPE"] = self.kind
        return known | dict(self.headers)

    def shown(self) -> str:
        """Return enough of it to find it again."""
        parts = (self.path, self.query, self.body)
        cut = [part[:300] + b"..." if len(part) > 300 else part for part in parts]
        return f"{self.method} {cut} {self.kind!r} {dict(self.headers)}"


@dataclass(kw_only=True)
class Tally:
    """What came of the inputs."""

    inputs: int = 0
    answers: Counter[int] = field(default_factory=Counter)
    routes: Counter[str] = field(default_factory=Counter)
    shops: int = 0
    slowest_s: float = 0.0
    slow: list[str] = field(default_factory=list)
    faults: list[str] = field(default_factory=list)
    unsound: list[str] = field(default_factory=list)
    seconds: float = 0.0

    @property
    def troubles(self) -> list[str]:
        """All that must not be."""
        return [*self.faults, *self.unsound]


class Target:
    """One shop under attack, with somebody of every role signed in."""

    def __init__(self, home: Path) -> None:
        home.mkdir(parents=True)
        self.home = home
        self.site = Site(home)
        self.app: Flask = self.site.app
        decide_about_a_row(self.site)
        self.job = self.site.opened("low 58 hi 318; cold on the road, warm at lights", vin="")
        self.known = {
            "job_id": self.job, "case_id": "S1", "content_hash": self.site.with_photo(self.job),
            "form_id": "a" * 32, "decision_id": "1", "note_id": "1", "person_id": "1",
            "kind": "cause", "filename": "style.css", "token": self.site.with_link(),
        }  # fmt: skip
        self.cookies: dict[Role | None, str] = {None: ""}
        self.tokens: dict[Role | None, str] = {None: ""}
        made = self.site.write(make_token, "hostile", tuple(Scope), at=datetime.now(UTC))
        self.program = f"Bearer {made.secret}"
        self.raised: list[str] = []
        got_request_exception.connect(self._note, self.app)

    def _note(self, _: Flask, exception: BaseException, **__: object) -> None:
        self.raised.append("".join(traceback.format_exception(exception)[-6:]))

    def sign_in(self, role: Role) -> None:
        """Give somebody of a role a new session, and the token that its forms need."""
        self.cookies[role] = f"{COOKIE}={session_for(self.site.store, role)}"
        _, page, kept = self.send(Request(method="GET", path=b"/me"), role)
        self.cookies[role] += f"; {kept}" if kept else ""
        found, _ = forms_and_links(page)
        tokens = [value for form in found for name, value in form.fields if name == "csrf_token"]
        self.tokens[role] = tokens[0] if tokens else ""

    def send(self, request: Request, role: Role | None) -> tuple[int, str, str]:
        """Return status, text and the first cookie of the answer."""
        environ = request.environ(self.cookies[role])
        parts, status, headers = run_wsgi_app(self.app.wsgi_app, environ)
        text = b"".join(parts).decode(errors="replace")
        if hasattr(parts, "close"):
            parts.close()
        return int(status[:3]), text, headers.get("Set-Cookie", "").partition(";")[0]

    def pages(self) -> Iterable[tuple[Rule, str]]:
        """Return the address of every page with ids that are known."""
        for rule in self.app.url_map.iter_rules():
            known = {name: self.known.get(name, "1") for name in rule.arguments}
            _, path = rule.build(known) or ("", "/")
            yield rule, path

    def close(self) -> list[str]:
        """Close the shop and return what is not sound in it."""
        with self.site.store.read() as unit:
            wrong = [f"job {row}: not as written" for row in unit.jobs.verify_hashes()]
            ids = [job.id for job in (*unit.jobs.open_jobs(), *unit.jobs.closed_jobs())]
        for job_id in ids:
            for path in (f"/job/{job_id}", f"/case/{job_id}"):
                status, _, _ = self.send(Request(method="GET", path=path.encode()), Role.OWNER)
                wrong += [f"{path}: {status}"] if status >= 500 else []
        self.site.close()
        with closing(sqlite3.connect(self.home / DATABASE)) as database:
            for check in ("PRAGMA integrity_check", "PRAGMA foreign_key_check"):
                wrong += [str(row) for row in database.execute(check) if row != ("ok",)]
        shutil.rmtree(self.home)
        return wrong


class Fuzzer:
    """Draws requests for one shop."""

    def __init__(self, target: Target, chance: random.Random) -> None:
        self.target, self.chance = target, chance
        self.forms: list[tuple[str, PageForm]] = []
        self.links: list[str] = []
        self.names: list[bytes] = [b"text"]
        self.values: list[bytes] = [b"x"]
        self.waiting: list[tuple[Rule, str]] = []
        # What the bodies and addresses of programs hold, as the site describes itself.
        asked = Request(method="GET", path=b"/api/v1/openapi.json")
        described = json.loads(target.send(asked, None)[1])
        shapes = described["components"]["schemas"].values()
        self.keys = sorted({key for shape in shapes for key in shape.get("properties", ())})

    def read_forms(self) -> None:
        """Read the forms and links of every page as the owner sees them."""
        for role in sorted({role for role in ROLES if role}):
            self.target.sign_in(role)
        self.forms, links = [], set()
        for rule, path in self.target.pages():
            if "GET" in (rule.methods or ()) and not path.startswith("/static"):
                _, page, _ = self.target.send(Request(method="GET", path=path.encode()), Role.OWNER)
                found, led = forms_and_links(page)
                self.forms += [(path, form) for form in found]
                links |= {link for link in led if link.startswith("/")}
        self.links = sorted(links)
        pairs = [pair for _, form in self.forms for pair in form.fields]
        chosen = {name for _, form in self.forms for name in form.choices}
        self.names = sorted({name.encode() for name, _ in pairs} | {n.encode() for n in chosen})
        self.values = sorted({value.encode() for _, value in pairs if value})

    def draw(self, role: Role | None) -> Request:
        """Return the next request; every route has its turn before chance decides."""
        if not self.waiting:
            self.waiting = list(self.target.pages())
            self.chance.shuffle(self.waiting)
        roll = self.chance.random()
        if roll < 0.5 and self.forms:
            return self._form(role)
        if roll < 0.65:
            return self._link()
        rule, path = self.waiting.pop()
        if roll < 0.95:
            return self._address(rule, path, role)
        return self._odd(path)

    def _form(self, role: Role | None) -> Request:
        page, form = self.chance.choice(self.forms)
        fields = [(name.encode(), value.encode()) for name, value in form.fields]
        for name, values in form.choices.items():
            if self.chance.random() < 0.5:
                fields.append((name.encode(), self.chance.choice(values).encode()))
        fields = self._changed(self._with_token(fields, role))
        parts = urlsplit(form.action or page)
        path, query = unquote_to_bytes(parts.path), parts.query.encode()
        if form.method == "GET":
            return Request(method="GET", path=path, query=_encoded(fields))
        if form.files or self.chance.random() < 0.1:
            return self._with_file(path, query, fields)
        return Request(method="POST", path=path, query=query, kind=_FORM, body=_encoded(fields))

    def _with_token(
        self, fields: list[tuple[bytes, bytes]], role: Role | None
    ) -> list[tuple[bytes, bytes]]:
        token = self.target.tokens[role].encode()
        fresh = f"{self.chance.getrandbits(128):032x}".encode()
        own = {b"csrf_token": token, b"form_id": fresh}
        rest = [(name, value) for name, value in fields if name not in own]
        return [*own.items(), *rest]

    def _changed(self, fields: list[tuple[bytes, bytes]]) -> list[tuple[bytes, bytes]]:
        """Change some fields; those that let the form in only seldom."""
        changed = list(fields)
        first = 0 if self.chance.random() < 0.1 else min(2, len(changed) - 1)
        for _ in range(self.chance.choice([1, 1, 2, 3, 8])):
            n = self.chance.randrange(first, len(changed)) if len(changed) > first else 0
            name, value = changed[n] if changed else (b"text", b"")
            kind = self.chance.random()
            if kind < 0.7:
                changed[n : n + 1] = [(name, hostile.changed(value, self.chance, self.values))]
            elif kind < 0.8:
                changed.insert(n + 1, (name, hostile.text(self.chance)))
            elif kind < 0.9:
                changed.append((self.chance.choice(self.names), hostile.text(self.chance)))
            elif kind < 0.98:
                del changed[n : n + 1]
            else:
                changed.append((name, hostile.huge(self.chance)))
        return changed

    def _with_file(self, path: bytes, query: bytes, fields: list[tuple[bytes, bytes]]) -> Request:
        picture = a_picture(self.chance.choice(["JPEG", "PNG", "WEBP", "GIF", "BMP"]))
        data = self.chance.choice([picture, picture[:40], b"", picture + b"<script>", b"\x00"])
        data = hostile.changed(data, self.chance, [picture]) if self.chance.random() < 0.5 else data
        name = quote_from_bytes(hostile.text(self.chance)[:80], safe="/\\.")
        parts = [
            b'--x\r\nContent-Disposition: form-data; name="%s"\r\n\r\n%s\r\n' % pair
            for pair in fields
        ]
        head = f'--x\r\nContent-Disposition: form-data; name="photo"; filename="{name}"\r\n\r\n'
        body = b"".join([*parts, head.encode(), data, b"\r\n--x--\r\n"])
        body = body[: self.chance.randrange(len(body))] if self.chance.random() < 0.1 else body
        kind = "multipart/form-data; boundary=x"
        return Request(method="POST", path=path, query=query, kind=kind, body=body)

    def _link(self) -> Request:
        parts = urlsplit(self.chance.choice(self.links or ["/"]))
        pairs = [pair.partition("=")[::2] for pair in parts.query.split("&") if pair]
        fields = [(unquote_to_bytes(name), unquote_to_bytes(value)) for name, value in pairs]
        changed = self._changed(fields or [(b"q", b"warm at lights")])
        # The server takes a quarter of a megabyte of address and headers; this is four times more.
        most = hostile.HUGE_BYTES // max(1, len(changed))
        query = _encoded((name[:most], value[:most]) for name, value in changed)
        return Request(method="GET", path=unquote_to_bytes(parts.path), query=query)

    def _address(self, rule: Rule, path: str, role: Role | None) -> Request:
        method = self.chance.choice(sorted({"GET", "POST"} & (rule.methods or set())) or ["GET"])
        raw = unquote_to_bytes(path)
        if path.startswith("/api/") and self.chance.random() < 0.9:
            return self._program(method, raw)
        if rule.arguments and self.chance.random() < 0.5:
            known = self.target.known.get(min(rule.arguments), "1").encode()
            raw = raw.replace(known, hostile.changed(known, self.chance, self.values), 1)
        names = [self.chance.choice(self.names) for _ in range(self.chance.randrange(5))]
        fields = [(name, self._value()) for name in names]
        if method == "GET":
            return Request(method="GET", path=raw, query=_encoded(fields))
        body = _encoded(self._with_token(fields, role))
        return Request(method="POST", path=raw, kind=_FORM, body=body)

    def _program(self, method: str, path: bytes) -> Request:
        """Return a request of a program: under a token, with a body of JSON."""
        said = {"HTTP_AUTHORIZATION": self.target.program}
        if method == "GET":
            fields = [(self.chance.choice(self.keys).encode(), self._value()) for _ in range(2)]
            return Request(method="GET", path=path, query=_encoded(fields), headers=said)
        body = json.dumps(self._json(3)).encode()
        if self.chance.random() < 0.2:
            body = hostile.changed(body, self.chance, self.values)
        kind = "application/json"
        return Request(method="POST", path=path, kind=kind, body=body, headers=said)

    def _json(self, depth: int) -> object:
        if depth and self.chance.random() < 0.8:
            keys = self.chance.sample(self.keys, min(len(self.keys), self.chance.randrange(1, 6)))
            return {key: self._json(depth - 1) for key in keys}
        texts = [self._value().decode(errors="surrogateescape") for _ in range(2)]
        numbers = [0, -1, 2**63, 1e308, float("nan"), float("-inf"), 58.0]
        return self.chance.choice([*texts, texts, self.chance.choice(numbers), None, True, [], {}])

    def _value(self) -> bytes:
        return (
            hostile.text(self.chance)
            if self.chance.random() < 0.6
            else self.chance.choice(self.values)
        )

    def _odd(self, path: str) -> Request:
        """Return a request that no browser sends."""
        said = {
            self.chance.choice(HEADERS): hostile.text(self.chance)[:4000].decode("latin-1")
            for _ in range(self.chance.randrange(4))
        }
        said |= {
            name: value
            for name, value in said.items()
            if not any(sign in value for sign in "\r\n\0")
        }
        kind = self.chance.choice(KINDS).decode("latin-1")
        query = (
            hostile.huge(self.chance) if self.chance.random() < 0.2 else hostile.text(self.chance)
        )
        return Request(
            method=self.chance.choice(METHODS),
            path=unquote_to_bytes(path)
            + (hostile.text(self.chance) if self.chance.random() < 0.3 else b""),
            query=query,
            kind=kind,
            body=hostile.text(self.chance) * self.chance.choice([1, 1, 50]),
            headers=said,
        )


def _encoded(fields: Iterable[tuple[bytes, bytes]]) -> bytes:
    pairs = (f"{quote_from_bytes(name)}={quote_from_bytes(value)}" for name, value in fields)
    return "&".join(pairs).encode()


def _one(target: Target, fuzzer: Fuzzer, tally: Tally, chance: random.Random) -> None:
    role = chance.choice(ROLES)
    request = fuzzer.draw(role)
    target.raised.clear()
    begun, worked = time.perf_counter(), time.process_time()
    try:
        status, text, _ = target.send(request, role)
    except Exception:  # noqa: BLE001 - whatever came through is what is looked for
        status, text = 599, traceback.format_exc()
    took = time.perf_counter() - begun
    if status == 401 and role:
        # An input before ended the session; the next one is to come further than the door.
        target.sign_in(role)
    tally.inputs += 1
    tally.answers[status] += 1
    _count_route(target, request, tally)
    tally.slowest_s = round(max(took, tally.slowest_s), 2)
    if took > SLOW_S:
        worked = time.process_time() - worked
        tally.slow.append(f"{took:.1f} s, {worked:.1f} s of work: {request.shown()}")
        print(tally.slow[-1], flush=True)
    if status >= 500 or "Traceback (most recent call last)" in text:
        raised = target.raised[-1] if target.raised else text[-2000:]
        tally.faults.append(f"{status} as {role}: {request.shown()}\n{raised}")
        print(tally.faults[-1], flush=True)


def _count_route(target: Target, request: Request, tally: Tally) -> None:
    adapter = target.app.url_map.bind("localhost")
    try:
        rule, _ = adapter.match(request.path.decode(), method=request.method, return_rule=True)
    except Exception:  # noqa: BLE001 - an address that leads nowhere counts for no route
        return
    tally.routes[f"{request.method} {rule}"] += 1


def fuzz(inputs: int, *, seed: int = 1, print_every: int = 0) -> Tally:
    """Send so many inputs and return what came of them."""
    tally, chance, begun = Tally(), random.Random(seed), time.monotonic()
    with tempfile.TemporaryDirectory(prefix="baybook-fuzz-") as folder:
        while tally.inputs < inputs:
            target = Target(Path(folder) / f"shop{tally.shops}")
            fuzzer = Fuzzer(target, chance)
            tally.shops += 1
            for n in range(min(SHOP_EVERY, inputs - tally.inputs)):
                if n % FORMS_EVERY == 0:
                    fuzzer.read_forms()
                _one(target, fuzzer, tally, chance)
                tally.seconds = round(time.monotonic() - begun, 1)
                if print_every and tally.inputs % print_every == 0:
                    print(summary(tally), flush=True)
            tally.unsound += target.close()
    return tally


def summary(tally: Tally) -> str:
    """Return the tally as one line of JSON."""
    numbers = vars(tally) | {"routes": len(tally.routes)}
    counted = {k: (len(v) if isinstance(v, list) else v) for k, v in numbers.items()}
    return json.dumps(counted | {"answers": dict(sorted(tally.answers.items()))})


def main() -> None:
    """Print what came of the inputs, and each trouble."""
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("--inputs", type=int, default=2000)
    asked.add_argument("--seed", type=int, default=1)
    given = asked.parse_args()
    tally = fuzz(given.inputs, seed=given.seed, print_every=2500)
    for line in tally.unsound:
        print(line, flush=True)
    print(summary(tally))
    sys.exit(bool(tally.troubles))


if __name__ == "__main__":
    main()
