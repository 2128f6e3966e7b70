"""What the pages say of a batch as a whole is so: nothing of hours that nobody read, and one thing to do."""

from __future__ import annotations

import re
from datetime import timedelta
from html import unescape

import pytest
from flask import Flask
from flask.testing import FlaskClient

from app.store.batches import get_batch
from app.store.engine import write_session
from tests.stories import add_fact, add_story
from tests.writing import NOW, iso

pytestmark = pytest.mark.usefixtures("morning")


def begun(app: Flask, hours_ago: float) -> None:
    with write_session(app.extensions["engine"]) as session:
        add_story(session, hours_ago=hours_ago)


def said(client: FlaskClient, path: str = "/batches/1/tub") -> str:
    page = re.sub(r"<[^>]+>", " ", client.get(path).text.partition('data-live="head"')[2] or client.get(path).text)
    return re.sub(r"\s+", " ", unescape(page).replace("\u00a0", " "))


@pytest.mark.parametrize("path", ["/", "/batches/1/tub"])
def test_while_a_record_is_caught_up_on_nothing_is_said_to_be_within_limits(
    app: Flask, client: FlaskClient, path: str
) -> None:
    # The last that anybody knows is of the evening before, and was written down just now.
    with write_session(app.extensions["engine"]) as session:
        batch = add_story(session, hours_ago=36, until=NOW - timedelta(hours=15))
        findings = {"findings": {"mould": "no", "smell": "clean"}}
        add_fact(session, batch, "inspection", findings, id="late", hours_ago=14.0, written_at=iso(NOW))
    assert "all within limits" not in said(client, path)
    assert "not written up since yesterday 19:30" in said(client, path)


def test_hours_without_a_reading_are_not_said_to_be_within_limits(app: Flask, client: FlaskClient) -> None:
    with write_session(app.extensions["engine"]) as session:
        add_story(session, hours_ago=194, until=NOW - timedelta(hours=14))
    assert "cooling, 14 h ○ nothing read for 14 h" in said(client)


def test_beside_leave_now_nobody_is_told_to_stay(app: Flask, client: FlaskClient) -> None:
    begun(app, 172)
    assert "Stay with it" in said(client)
    with write_session(app.extensions["engine"]) as session:
        add_fact(session, get_batch(session, 1), "co2_room", {"value": 20_000.0}, id="gas", hours_ago=0.2)
    page = said(client)
    assert "Leave now" in page
    assert "Stay with it" not in page.partition("Last kept")[0]


def test_the_hour_says_what_it_counts_from(app: Flask, client: FlaskClient) -> None:
    begun(app, 122.4)
    assert re.search(r"hour 12\d since first water · germination", said(client))


def test_a_stage_is_said_at_its_minute_and_a_day_without_at(client: FlaskClient, app: Flask) -> None:
    with write_session(app.extensions["engine"]) as session:
        subject = {"type": "batch", "id": add_story(session, hours_ago=60, kinds={"steep_on"}).id}
    entries = [
        {"id": f"d-{ago}", "kind": "drained", "at": iso(NOW - timedelta(hours=ago)), "values": {}, "subject": subject}
        for ago in (20.0, 0.5)
    ]
    answers = client.post("/sync/facts", json={"entries": entries}).get_json()["answers"]
    texts = [each["meaning"]["text"] for each in answers]
    assert texts == ["Drained yesterday 13:30, hour 40", "Drained at 09:00, hour 59"]
