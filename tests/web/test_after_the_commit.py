"""What is stored is answered as stored, whatever comes after; and nobody waits for the record while a page is drawn."""

from __future__ import annotations

import shutil
import sqlite3
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from flask import Flask, before_render_template, template_rendered
from flask.testing import FlaskClient
from sqlalchemy import event, select
from sqlalchemy.exc import OperationalError
from sqlalchemy.orm import Session
from werkzeug.test import TestResponse

from app import create_app, ports
from app.config import Settings
from app.store import engine as store_engine
from app.store import history as store_history
from app.store.batches import Batch
from app.store.digests import BatchDigest
from app.store.engine import read_session
from tests.web.keeping import text_of
from tests.web.posts import ENDED, JAR, LIVE, WAYS, Post, batch, open_house
from tests.writing import LOT, NOW

NOTHING_STORED = ("nothing was stored", "nothing of this request")
OF_THIS_SCREEN = frozenset({"people.choose", "people.choose_quiet", "people.choose_theme"})
"""What these keep stands in the cookie, not in the record."""
NEVER_WRONG = OF_THIS_SCREEN - {"people.choose_quiet"} | {
    "calendar.revoke",
    "devices.pair",
    "devices.revoke",
    "facts.withdraw",
    "photos.restore",
    "photos.strike",
}
"""Sent empty they say all that they have to say; or, at pairing, that somebody guesses, which is noted."""
WRONG = {"devices.make": {"role": "king"}, "programmes.keep": {"name": "n" * 500}}
"""What is refused where nothing at all is not."""


@pytest.fixture
def app(
    settings: Settings,
    furnished_file: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> Iterator[Flask]:
    """A house with something of everything, that waits for the record for a moment only."""
    impatient = [each.replace("= 10000", "= 50") for each in store_engine._PRAGMAS]
    assert impatient != list(store_engine._PRAGMAS)
    monkeypatch.setattr(store_engine, "_PRAGMAS", tuple(impatient))
    monkeypatch.setattr(ports, "now", lambda: NOW)
    shutil.copy(furnished_file, settings.database_file)
    app = create_app(replace(settings, lan=True))
    app.config.update(TESTING=True, WTF_CSRF_ENABLED=False)
    open_house(app)
    yield app
    app.extensions["engine"].dispose()


def record(app: Flask) -> list[str]:
    """All that is stored, but what is worked out from it."""
    with sqlite3.connect(app.extensions["settings"].database_file) as known:
        return [line for line in known.iterdump() if "batch_digest" not in line]


def is_free(app: Flask) -> bool:
    """Whether somebody else could write now."""
    other = sqlite3.connect(app.extensions["settings"].database_file, timeout=0, isolation_level=None)
    try:
        other.execute("BEGIN IMMEDIATE")
        other.execute("ROLLBACK")
        return True
    except sqlite3.OperationalError:
        return False
    finally:
        other.close()


@contextmanager
def after_commit(trouble: Callable[[], None]) -> Iterator[list[bool]]:
    """Let something happen as soon as the request has committed: once."""
    done: list[bool] = []

    def begin(session: Session) -> None:
        if not done and not session.in_nested_transaction():
            done.append(True)
            trouble()

    event.listen(Session, "after_commit", begin)
    try:
        yield done
    finally:
        event.remove(Session, "after_commit", begin)


def fails(*_: object, **__: object) -> Any:
    raise OperationalError("SELECT", {}, sqlite3.OperationalError("disk I/O error"))


def assert_stored(answer: TestResponse, client: FlaskClient) -> str:
    """It is answered as stored. What one reads then: the answer, or the page that it leads to."""
    assert answer.status_code in (200, 201, 303), text_of(answer)
    assert not any(words in text_of(answer).lower() for words in NOTHING_STORED)
    if answer.is_json and "answers" in answer.get_json():
        assert {each["status"] for each in answer.get_json()["answers"]} == {201}
    if answer.status_code == 303:
        answer = client.get(answer.location.partition("#")[0], base_url=answer.request.host_url)
        assert answer.status_code < 400
    return text_of(answer)


def test_every_address_that_takes_a_post_has_an_example(app: Flask) -> None:
    known = {rule.endpoint for rule in app.url_map.iter_rules() if "POST" in (rule.methods or ())}
    assert set(WAYS) == known


@pytest.fixture(params=sorted(WAYS))
def endpoint(request: pytest.FixtureRequest) -> str:
    return str(request.param)


@pytest.fixture(params=sorted(WAYS.keys() - OF_THIS_SCREEN - {"people.choose_units"}))
def storing(request: pytest.FixtureRequest) -> str:
    """An endpoint that changes the record."""
    return str(request.param)


@pytest.fixture
def post(app: Flask, client: FlaskClient, storing: str) -> Post:
    return WAYS[storing](client, app)


def test_what_is_stored_is_answered_so_though_somebody_else_takes_the_record_at_once(
    app: Flask, client: FlaskClient, post: Post
) -> None:
    before = record(app)
    holder = sqlite3.connect(app.extensions["settings"].database_file, isolation_level=None, check_same_thread=False)
    with after_commit(lambda: holder.execute("BEGIN IMMEDIATE") and None) as done:
        answer = post.by(client)
    assert done
    holder.execute("ROLLBACK")
    holder.close()
    assert record(app) != before
    assert_stored(answer, client)


def test_what_is_stored_is_answered_so_though_no_batch_can_be_read_any_more(
    app: Flask, client: FlaskClient, post: Post, monkeypatch: pytest.MonkeyPatch
) -> None:
    before = record(app)
    with (
        monkeypatch.context() as broken,
        after_commit(lambda: broken.setattr(store_history, "_list_ancestors", fails)) as done,
    ):
        answer = post.by(client)
    assert done
    assert record(app) != before
    assert_stored(answer, client)


def test_what_is_stored_is_answered_so_though_its_page_cannot_be_drawn(
    app: Flask, client: FlaskClient, post: Post, caplog: pytest.LogCaptureFixture
) -> None:
    trouble: list[bool] = []
    drawn: list[bool] = []

    def drawing(*_: object, **__: object) -> None:
        if trouble:
            trouble.clear()
            drawn.append(True)
            raise RuntimeError("no page to be had")

    before = record(app)
    with before_render_template.connected_to(drawing, app), after_commit(lambda: trouble.append(True)) as done:
        answer = post.by(client)
    assert done
    assert record(app) != before
    trouble.clear()
    said = assert_stored(answer, client)
    assert ("no page to be had" in caplog.text) == bool(drawn)
    assert (" is stored. Only the page" in said) == bool(drawn)


@pytest.mark.parametrize("is_wrong", [False, True], ids=["as it should be", "wrong"])
def test_no_page_is_drawn_while_the_record_is_held(
    app: Flask, client: FlaskClient, endpoint: str, is_wrong: bool
) -> None:
    post = WAYS[endpoint](client, app)
    seen: list[tuple[str, bool]] = []

    def look(_app: Flask, template: Any, **_: object) -> None:
        seen.append((template.name, is_free(app)))

    before = record(app)
    with before_render_template.connected_to(look, app), template_rendered.connected_to(look, app):
        answer = (post.emptied(WRONG.get(endpoint, {})) if is_wrong else post).by(client)
    assert all(free for _, free in seen), seen
    assert answer.status_code < 500
    if is_wrong and endpoint not in NEVER_WRONG:
        assert answer.status_code >= 400, text_of(answer)
        assert seen or answer.is_json
        assert record(app) == before


@pytest.mark.parametrize(
    ("path", "looks"),
    [
        (f"/batches/{LIVE}/tub/test_bag", "app.web.tub.routes.tub_context"),
        (f"/batches/{LIVE}/title", "app.web.batches.routes.batch_context"),
        (f"/batches/{LIVE}/programme", "app.web.batches.replanning.programme_cards"),
        (f"/batches/{LIVE}/merge", "app.web.batches.beginnings.form_context"),
        (f"/packs/{JAR}/dispatch", "app.web.packs.routes.render_template"),
        (f"/lots/{LOT}/entries/note", "app.web.lots.routes.list_people"),
    ],
)
def test_a_refused_form_is_judged_anew_without_holding_the_record(
    app: Flask, client: FlaskClient, monkeypatch: pytest.MonkeyPatch, path: str, looks: str
) -> None:
    module, _, name = looks.rpartition(".")
    real = getattr(__import__(module, fromlist=[name]), name)
    seen: list[bool] = []

    def look(*given: Any, **named: Any) -> Any:
        seen.append(is_free(app))
        return real(*given, **named)

    monkeypatch.setattr(looks, look)
    sent = {"title": "t" * 99, "revision": "1", "source_0": f"batch:{batch(app, LIVE).id}"}
    assert client.post(path, data=sent).status_code == 422
    assert seen
    assert all(seen)


# Before the commit, and in the middle of it


def test_what_fails_before_the_commit_is_answered_as_not_stored(app: Flask, client: FlaskClient, post: Post) -> None:
    def break_off(*given: Any) -> None:
        if given[2].startswith(("INSERT", "UPDATE", "DELETE")):
            fails()

    before, engine = record(app), app.extensions["engine"]
    event.listen(engine, "before_cursor_execute", break_off)
    try:
        answer = post.by(client)
    finally:
        event.remove(engine, "before_cursor_execute", break_off)
    assert answer.status_code == 500
    assert "nothing was stored" in text_of(answer).lower()
    assert record(app) == before


@pytest.mark.parametrize(
    ("code", "status", "said"),
    [(sqlite3.SQLITE_IOERR, 500, "may be stored"), (sqlite3.SQLITE_BUSY, 503, "nothing was stored")],
)
def test_a_commit_that_fails_is_answered_with_what_is_known(
    app: Flask, client: FlaskClient, code: int, status: int, said: str
) -> None:
    def break_off(_connection: object) -> None:
        trouble = sqlite3.OperationalError("the disk, or another")
        trouble.sqlite_errorcode = code
        raise OperationalError("COMMIT", {}, trouble)

    post = WAYS["tub.keep"](client, app)
    engine = app.extensions["engine"]
    event.listen(engine, "commit", break_off)
    try:
        answer = post.by(client)
        told = WAYS["sync.keep"](client, app).by(client)
    finally:
        event.remove(engine, "commit", break_off)
    assert (answer.status_code, told.status_code) == (status, status)
    assert said in text_of(answer).lower()
    assert said in told.get_json()["error"]["text"].lower()
    is_known = said == NOTHING_STORED[0]
    assert is_known == (NOTHING_STORED[0] in text_of(answer).lower())
    assert is_known == (f'href="/batches/{ENDED}/tub' not in answer.text)


# On the page that follows


@pytest.mark.parametrize(
    ("name", "breaks"),
    [
        ("tub.keep", "app.web.tub.page.meaning"),
        ("malt.keep", "app.web.malt.routes.meaning"),
        ("lots.keep", "app.web.lots.routes.kept_said"),
        ("house.keep", "app.web.house.routes.kept_words"),
    ],
)
def test_an_entry_that_cannot_be_judged_is_said_to_be_saved(
    app: Flask,
    client: FlaskClient,
    monkeypatch: pytest.MonkeyPatch,
    caplog: pytest.LogCaptureFixture,
    name: str,
    breaks: str,
) -> None:
    monkeypatch.setattr(breaks, fails)
    answer = WAYS[name](client, app).by(client)
    page = client.get(answer.location.partition("#")[0])
    assert page.status_code == 200
    assert "Saved." in text_of(page)
    assert "What it means can’t be said" in text_of(page)
    assert "disk I/O error" in caplog.text


@pytest.mark.parametrize("name", ["tub.keep", "malt.keep", "lots.keep", "house.keep", "photos.add"])
def test_a_page_that_fails_after_all_says_what_was_saved(app: Flask, client: FlaskClient, name: str) -> None:
    answer = WAYS[name](client, app).by(client)

    def drawing(*_: object, **named: Any) -> None:
        if named["template"].name != "failure.html":
            raise RuntimeError("no page to be had")

    with before_render_template.connected_to(drawing, app):
        page = client.get(answer.location.partition("#")[0])
    assert page.status_code == 500
    assert "saved" in text_of(page).lower()
    assert not any(words in text_of(page).lower() for words in NOTHING_STORED)


def test_a_page_that_fails_claims_nothing_of_an_entry_that_is_not_there(app: Flask, client: FlaskClient) -> None:
    def drawing(*_: object, **named: Any) -> None:
        if named["template"].name != "failure.html":
            raise RuntimeError("no page to be had")

    with before_render_template.connected_to(drawing, app):
        page = client.get(f"/batches/{LIVE}/tub?kept=never")
    assert page.status_code == 500
    assert "saved" not in text_of(page).lower()
    assert "what was kept is safe" in text_of(page)


# Sent again, and made up for


def test_what_was_sent_again_after_such_trouble_is_known(app: Flask, client: FlaskClient) -> None:
    tub, sync = (WAYS[name](client, app) for name in ("tub.keep", "sync.keep"))
    for post in (tub, sync):
        with (
            pytest.MonkeyPatch.context() as broken,
            after_commit(lambda: broken.setattr(store_history, "_list_ancestors", fails)),
        ):
            answer = post.by(client)
        assert_stored(answer, client)
    before = record(app)
    assert "again=1" in str(tub.by(client).location)
    assert {each["status"] for each in sync.by(client).get_json()["answers"]} == {200}
    assert record(app) == before


def is_fresh(app: Flask, number: int) -> bool:
    with read_session(app.extensions["engine"]) as session:
        row = session.execute(
            select(BatchDigest.seq, Batch.last_seq)
            .join(Batch, Batch.id == BatchDigest.batch_id)
            .where(Batch.number == number)
        ).first()
    return row is not None and row[0] == row[1]


def test_a_digest_that_had_to_be_left_is_made_after_the_next_entry(app: Flask, client: FlaskClient) -> None:
    holder = sqlite3.connect(app.extensions["settings"].database_file, isolation_level=None, check_same_thread=False)
    post = WAYS["tub.keep"](client, app)
    with after_commit(lambda: holder.execute("BEGIN IMMEDIATE") and None):
        assert post.by(client).status_code == 303
    holder.execute("ROLLBACK")
    holder.close()
    assert not is_fresh(app, ENDED)
    assert "Batch 1" in text_of(client.get("/"))
    assert client.post(f"/batches/{LIVE}/tub/turned", data={"id": "turned-1", "when": "now"}).status_code == 303
    assert is_fresh(app, ENDED)


def test_a_batch_is_judged_for_its_digest_without_holding_the_record(
    app: Flask, client: FlaskClient, monkeypatch: pytest.MonkeyPatch
) -> None:
    from app.operations import digests

    real, seen = digests.summary, []

    def look(*given: Any) -> Any:
        seen.append(is_free(app))
        return real(*given)

    monkeypatch.setattr(digests, "summary", look)
    assert WAYS["tub.keep"](client, app).by(client).status_code == 303
    assert seen == [True]
    assert is_fresh(app, ENDED)
