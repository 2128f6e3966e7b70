"""What every answer keeps to, and what every request must bring: walked over all addresses that there are."""

from __future__ import annotations

import re
import sqlite3
from collections.abc import Iterator
from html.parser import HTMLParser

import pytest
from flask import Flask
from flask.testing import FlaskClient
from sqlalchemy import select
from werkzeug.routing import Rule

from app import create_app
from app.config import Settings
from app.operations.batches import rename_batch
from app.operations.facts import record_fact, withdraw_fact
from app.operations.lots import create_lot
from app.operations.people import add_person
from app.operations.photos import add_photo
from app.operations.pictures import make_picture
from app.store import engine as store_engine
from app.store.batches import Batch
from app.store.calendar_feeds import CalendarFeed, token_digest
from app.store.devices import MAY_LOG, Device
from app.store.engine import read_session, write_session
from app.store.facts import fact, find_fact
from tests.pictures import jpeg
from tests.writing import BATCH, LOT, NOW, PROGRAMME, Opened, add_batch, charge, entry, fill_jar, iso, struck, water

HOSTILE = "</script><script>alert(1)</script>\"'><img src=x onerror=alert(2)>{{ 7*191 }}"
DATA_TYPES = frozenset({"application/json"})
STATIC = frozenset({"static", "plotly"})
ARGUMENTS = {
    "number": 1,
    "batch_id": BATCH,
    "fact_id": "water-1",
    "lot_id": LOT,
    "pack_id": "pack-1",
    "digest": PROGRAMME,
    "kind": "declaration",
    "key": "moisture-from-weight",
    "token": "T" * 43,
    "feed_id": "feed-1",
    "photo_id": "photo-1",
    "device_id": "device-1",
}
KIND_OF = {"/batches/": "turned", "/house/": "note"}


@pytest.fixture
def house(app: Flask, morning: None) -> Opened:
    """A house in which somebody typed something hostile wherever one can type."""
    with write_session(app.extensions["engine"]) as session:
        add_person(session, person_id="p1", name=HOSTILE[:80], units="metric", now=NOW)
        create_lot(session, lot_id=LOT, name=HOSTILE[:80], species="barley", variety=HOSTILE[:80], now=NOW)
        lot = {"type": "lot", "id": LOT}
        taken_in = entry("intake", {"net": "500", "moisture": "13"}, id=f"intake-{LOT}")
        record_fact(session, taken_in | {"subject": lot}, now=NOW)
        said = {"untreated": "yes", "for_food": "yes", "by": HOSTILE, "ground": HOSTILE}
        record_fact(session, entry("declaration", said, id="said-1") | {"subject": lot}, now=NOW)
        batch = add_batch(session, BATCH, charge(note=HOSTILE))
        rename_batch(session, batch, title=HOSTILE[:80], revision=1)
        told = {"note": HOSTILE, "person": HOSTILE[:80], "place": HOSTILE[:60], "instrument": HOSTILE[:60]}
        bag = {"vessel": HOSTILE[:40], "gross": "0.3", "tare": "0.01"}
        for record in (
            entry("steep_on", id="steep-1", at=iso(NOW.replace(hour=8)), **told),
            entry("test_bag_start", bag, id="bag-1", at=iso(NOW.replace(hour=8)), **told),
            entry("test_bag", bag | {"gross": "0.4"}, id="bag-2", **told),
            water("40", clock="now", clock_offset_s=900.0, device=HOSTILE[:80], **told),
            water("12", id="water-2", **told),
            entry("note", {"text": HOSTILE}, id="note-1", **told),
            entry("addition", {"what": HOSTILE}, id="addition-1", **told),
            entry("inspection", {"mould": "yes", "text": HOSTILE}, id="look-1", **told),
        ):
            record_fact(session, record, now=NOW)
        struck_out = find_fact(session, "water-2")
        assert struck_out is not None
        withdraw_fact(session, struck_out, new_id="struck-1", now=NOW, reason=HOSTILE)
        for type_, kind, typed in (
            ("house", "note", {"text": HOSTILE}),
            ("vessel", "cleaned", {"what": HOSTILE}),
            ("instrument", "calibrated", {"amount": "1"}),
        ):
            name = "house" if type_ == "house" else HOSTILE[:60]
            record = entry(kind, typed, id=f"{kind}-2", **told) | {"subject": {"type": type_, "id": name}}
            record_fact(session, record, now=NOW)
        about = {"name": HOSTILE[:80], "units": "us", "has_alarms": True, "created_at": NOW}
        session.add(CalendarFeed(id="feed-1", token_sha256=token_digest(str(ARGUMENTS["token"])), **about))
        paired = {"role": MAY_LOG, "person_id": "p1", "created_at": NOW, "last_seen_at": NOW}
        session.add(Device(id="device-1", name=HOSTILE[:80], **paired))
        seen = make_picture(jpeg())
        add_photo(session, photo_id="photo-1", fact_id="water-1", picture=seen, now=NOW, entered_by=HOSTILE[:80])
        fill_jar(session, name=HOSTILE[:80])
        return Opened(batch.id, batch.number)


def rules(app: Flask, method: str) -> Iterator[Rule]:
    """Every address that takes such a request, but files that are the same for everybody."""
    for rule in app.url_map.iter_rules():
        if method in (rule.methods or ()) and rule.endpoint not in STATIC and not rule.rule.startswith("/plotly/"):
            yield rule


def address(app: Flask, rule: Rule) -> str:
    kinds = [kind for start, kind in KIND_OF.items() if rule.rule.startswith(start)]
    given = ARGUMENTS | ({"kind": kinds[0]} if kinds else {})
    missing = rule.arguments - given.keys()
    assert not missing, f"{rule}: give an example of {missing} in ARGUMENTS"
    with app.test_request_context():
        return str(app.url_for(rule.endpoint, **{name: given[name] for name in rule.arguments}))


def pages(app: Flask) -> list[str]:
    return sorted({address(app, rule) for rule in rules(app, "GET")} | {"/compare?batch=1&batch=2"})


class _Inline(HTMLParser):
    """Finds what a strict content policy forbids, and what of the hostile text became more than text."""

    def __init__(self) -> None:
        super().__init__()
        self.found: list[str] = []

    def handle_starttag(self, tag: str, attributes: list[tuple[str, str | None]]) -> None:
        given = dict(attributes)
        if tag == "script" and "src" not in given and given.get("type") not in DATA_TYPES:
            self.found.append("an inline script")
        if tag == "style" or "style" in given:
            self.found.append(f"an inline style in <{tag}>")
        self.found += [f"{name} on <{tag}>" for name in given if name.startswith("on")]
        self.found += [f"{value} in <{tag}>" for value in given.values() if (value or "").startswith("javascript:")]
        if tag == "img" and given.get("src") == "x":
            self.found.append("the hostile picture")


def test_every_answer_carries_the_content_policy_and_its_fellows(
    app: Flask, client: FlaskClient, house: Opened
) -> None:
    for path in [*pages(app), "/nowhere", "/batches/77", "/static/old/css/chitbook.css"]:
        headers = client.get(path).headers
        policy = headers["Content-Security-Policy"]
        assert "default-src 'none'" in policy, path
        assert "unsafe" not in policy, path
        assert headers["X-Content-Type-Options"] == "nosniff", path
        assert headers["Referrer-Policy"] == "same-origin", path
        assert "frame-ancestors 'none'" in policy, path


def test_no_page_has_anything_inline_whatever_was_typed(app: Flask, client: FlaskClient, house: Opened) -> None:
    kept = ("/batches/1/tub?kept=note-1", "/batches/1/tub?kept=bag-2", "/house?kept=calibrated-2")
    for path in [*pages(app), "/nowhere", *kept]:
        answer = client.get(path)
        assert answer.status_code < 500, path
        if answer.mimetype == "text/html":
            reader = _Inline()
            reader.feed(answer.text)
            assert reader.found == [], path
            # Not inside of an id, which is random and may hold these digits.
            assert not re.search(r"(?<![\w-])1337(?![\w-])", answer.text), path


def test_a_form_that_comes_back_has_nothing_inline_either(app: Flask, client: FlaskClient, house: Opened) -> None:
    for rule in rules(app, "POST"):
        path = address(app, rule)
        names = ("id", "name", "title", "note", "person", "value", "source", "reason", "back", "when", "rule")
        answer = client.post(path, data=dict.fromkeys(names, HOSTILE))
        assert answer.status_code < 500, path
        if answer.mimetype == "text/html":
            reader = _Inline()
            reader.feed(answer.text)
            assert reader.found == [], path


def test_no_page_is_kept_by_a_cache(app: Flask, client: FlaskClient, house: Opened) -> None:
    for path in pages(app):
        kept = client.get(path).headers["Cache-Control"]
        if path == "/sw.js":
            assert kept == "no-cache"
        else:
            assert "private" in kept if path.startswith("/photos/") else "no-store" in kept, path


@pytest.mark.parametrize("host", ["malthouse.example", "127.0.0.1.example.com", "localhost.example", "[::2]", "evil"])
def test_a_name_that_is_not_ours_is_not_answered(client: FlaskClient, house: Opened, host: str) -> None:
    answer = client.get("/batches/1", headers={"Host": host})
    assert answer.status_code == 421
    assert "Batch 1" not in answer.text
    assert "allowed_hosts" in answer.text


@pytest.mark.parametrize("host", ["localhost", "LOCALHOST:8416", "127.0.0.1:5", "[::1]:8416", "[::1]"])
def test_our_own_names_are_answered_on_any_port(client: FlaskClient, house: Opened, host: str) -> None:
    assert client.get("/batches/1", headers={"Host": host}).status_code == 200


def test_nothing_is_kept_for_a_name_that_is_not_ours(app: Flask, client: FlaskClient, house: Opened) -> None:
    before = count(app)
    answer = client.post("/batches/1/tub/turned", data={"id": "t1"}, headers={"Host": "evil.example"})
    assert answer.status_code in (400, 421)
    assert count(app) == before


def count(app: Flask) -> int:
    with read_session(app.extensions["engine"]) as session:
        return len(session.scalars(select(fact.c.seq)).all())


def test_the_cookie_is_out_of_reach_of_scripts_and_of_other_sites(client: FlaskClient, house: Opened) -> None:
    client.post("/people/choose", data={"person": "p1"})
    cookie = client.get_cookie("chitbook")
    assert cookie is not None
    assert cookie.http_only
    assert cookie.same_site == "Lax"


def test_every_address_that_writes_refuses_a_request_without_its_token(
    app: Flask, client: FlaskClient, house: Opened
) -> None:
    app.config["WTF_CSRF_ENABLED"] = True
    before = count(app)
    writing = [address(app, rule) for rule in rules(app, "POST")]
    assert len(writing) > 10
    for path in writing:
        answer = client.post(path, data={"id": "sent-1", "title": "x", "revision": "2", "name": "x"})
        assert answer.status_code == 400, path
        assert "grown stale" in answer.text, path
    assert count(app) == before


def test_a_page_of_another_browser_is_stale_and_says_what_to_do(app: Flask, client: FlaskClient, house: Opened) -> None:
    app.config["WTF_CSRF_ENABLED"] = True
    theirs = re.search(r'name="csrf_token" value="([^"]+)"', app.test_client().get("/batches/1/tub").text)
    assert theirs is not None
    mine = re.search(r'name="csrf_token" value="([^"]+)"', client.get("/batches/1/tub").text)
    assert mine is not None
    sent = {"id": "sent-1", "when": "now"}
    refused = client.post("/batches/1/tub/turned", data=sent | {"csrf_token": theirs[1]})
    assert refused.status_code == 400
    assert "load it anew and send it again" in refused.text
    assert client.post("/batches/1/tub/turned", data=sent | {"csrf_token": mine[1]}).status_code == 303


def test_a_body_that_is_too_large_is_refused_and_nothing_is_kept(
    app: Flask, client: FlaskClient, house: Opened
) -> None:
    before, limit = count(app), app.extensions["settings"].max_body_bytes
    answer = client.post("/batches/1/tub/note", data={"id": "big-1", "note-text": "n" * (limit + 1)})
    assert answer.status_code == 413
    assert "Too much at once" in answer.text
    assert count(app) == before


def break_down(app: Flask, endpoint: str) -> None:
    def fail(**_: object) -> str:
        raise RuntimeError("a secret of the house")

    app.view_functions[endpoint] = fail


def test_a_fault_of_ours_shows_no_traceback(app: Flask, client: FlaskClient, house: Opened) -> None:
    endpoints = {rule.endpoint for rule in rules(app, "GET") if rule.rule in ("/", "/changes")}
    for endpoint in endpoints:
        break_down(app, endpoint)
    page, told = client.get("/"), client.get("/changes")
    assert (page.status_code, told.status_code) == (500, 500)
    assert "Something broke here" in page.text
    assert told.get_json()["error"]["status"] == 500
    for answer in (page, told):
        assert "Traceback" not in answer.text
        assert "a secret of the house" not in answer.text
        assert "Content-Security-Policy" in answer.headers


def test_an_unknown_address_is_answered_in_the_words_of_the_house(client: FlaskClient, house: Opened) -> None:
    answer = client.get("/batches/1/brew")
    assert answer.status_code == 404
    assert "There is nothing here" in answer.text
    assert 'href="/"' in answer.text
    told = client.get("/sync/nothing")
    assert told.get_json()["error"]["status"] == 404


@pytest.mark.parametrize(
    "path",
    [
        f"/batches/{10**30}",
        f"/batches/{10**30}/tub",
        f"/batches?page={10**30}",
        "/batches?page=-3",
        "/batches?page=two",
        f"/compare?batch={10**30}&batch=1",
        "/compare?batch=one&batch=-1",
        f"/changes?after={10**30}",
        "/facts/%00/correct",
        f"/lots/{'x' * 500}",
        "/programmes/..%2f..%2fsecret",
        "/static/..%2f..%2fconfig.py",
    ],
)
def test_an_absurd_address_breaks_nothing(client: FlaskClient, house: Opened, path: str) -> None:
    assert client.get(path).status_code < 500


@pytest.mark.parametrize("name", ["../security.py", "..%2fsecurity.py", "css/../../security.py", "/etc/hostname"])
def test_no_file_but_the_static_ones_is_served(app: Flask, client: FlaskClient, name: str) -> None:
    folder = app.extensions["static_url"]("")
    assert client.get(f"{folder}{name}", follow_redirects=True).status_code == 404


def test_nobody_is_sent_on_to_another_site(app: Flask, client: FlaskClient, house: Opened) -> None:
    elsewhere = (
        "https://evil.example/",
        "//evil.example",
        "/\\evil.example",
        "\\\\evil.example",
        "javascript:alert(1)",
    )
    for back in elsewhere:
        for path in ("/people/theme", "/people/choose", "/people/units"):
            answer = client.post(path, data={"back": back, "units": "us", "theme": "night"})
            assert answer.status_code == 303
            assert str(answer.location).startswith("/"), (path, back)
            assert not str(answer.location).startswith(("//", "/\\")), (path, back)


def test_debugging_is_off(app: Flask) -> None:
    assert not app.debug
    assert app.jinja_env.autoescape is not False


def test_while_somebody_else_holds_the_record_a_person_is_told_to_try_again(
    settings: Settings, monkeypatch: pytest.MonkeyPatch
) -> None:
    impatient = [each.replace("= 10000", "= 50") for each in store_engine._PRAGMAS]
    assert impatient != list(store_engine._PRAGMAS)
    monkeypatch.setattr(store_engine, "_PRAGMAS", tuple(impatient))
    app = create_app(settings)
    app.config.update(TESTING=True, WTF_CSRF_ENABLED=False)
    with write_session(app.extensions["engine"]) as session:
        add_person(session, person_id="p1", name="Nora", units="us", now=NOW)
        add_batch(session)
        assert session.scalar(select(Batch.number)) == 1
        record_fact(session, struck("not here"), now=NOW)
    client = app.test_client()
    with client.session_transaction() as cookie:
        cookie["person"] = "p1"
    holder = sqlite3.connect(settings.database_file, isolation_level=None)
    holder.execute("BEGIN IMMEDIATE")
    answer = client.post("/batches/1/tub/turned", data={"id": "t1", "when": "now"})
    told = client.post("/sync/facts", json={"entries": [water()]})
    assert client.get("/batches/1").status_code == 200
    holder.execute("ROLLBACK")
    holder.close()
    assert (answer.status_code, told.status_code) == (503, 503)
    assert "try again in a moment" in answer.text
    assert told.get_json()["error"]["status"] == 503
    assert client.post("/batches/1/tub/turned", data={"id": "t1", "when": "now"}).status_code == 303
    app.extensions["engine"].dispose()
