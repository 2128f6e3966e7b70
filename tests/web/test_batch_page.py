"""The page of one batch: its record, what came of it, its account."""

from __future__ import annotations

import re
from datetime import timedelta

import pytest
from flask import Flask
from flask.testing import FlaskClient

from app.operations.facts import record_fact, withdraw_fact
from app.store.facts import find_fact
from tests.stories import add_fact, add_story, statements
from tests.web.keeping import write
from tests.writing import NOW, iso

pytestmark = pytest.mark.usefixtures("morning")


def row_of(page: str, fact_id: str) -> str:
    """The row of a fact, by the anchor that leads to it."""
    found = re.search(rf'<tr id="fact-{fact_id}".*?</tr>', page, re.DOTALL)
    assert found is not None, f"no row for {fact_id}"
    return found[0]


def test_a_finished_batch_shows_what_came_of_it(app: Flask, client: FlaskClient):
    with write(app) as session:
        add_story(session, hours_ago=400, title="spring pale")
    page = client.get("/batches/1").text
    assert "Batch 1 · spring pale" in page
    assert "What came of it" in page
    # The plan's own figures: 1 % steep, 5.5 % breath, 3.5 % rootlets.
    assert re.search(r"<dt>Malting loss, dry\b.*</dt><dd><a [^>]+>10\.0\xa0±\xa0", page)
    assert "in range" in page
    assert "Nothing was out of range." in page
    assert "Unexplained" in page
    assert "data-chart" in page
    assert 'class="ribbon"' in page


def test_a_live_batch_shows_its_next_steps_and_how_much_is_left(app: Flask, client: FlaskClient):
    with write(app) as session:
        add_story(session, hours_ago=100)
    page = client.get("/batches/1").text
    assert "So far" in page
    assert "Still in the batch" in page
    assert "Turn the bed" in page
    assert 'href="/batches/1/tub"' in page
    assert "Outturn" not in page


def test_every_fact_says_who_when_what_and_how(app: Flask, client: FlaskClient):
    with write(app) as session:
        batch = add_story(session, hours_ago=30)
        more = {"place": "top", "instrument": "probe 7", "entered_by": "Anna", "note": "door stood open"}
        add_fact(session, batch, "grain_temperature", {"value": 16.4}, id="warm", quality="estimated", **more)
    row = row_of(client.get("/batches/1").text, "warm")
    for text in ("16.4\xa0°C", "08:30", "top, probe 7, estimated", "Ben, typed by Anna", "door stood open"):
        assert text in row
    assert 'href="/facts/warm/correct"' in row


def test_a_range_of_time_is_said_as_one(app: Flask, client: FlaskClient):
    with write(app) as session:
        batch = add_story(session, hours_ago=30)
        at = {"earliest_at": iso(NOW - timedelta(hours=8)), "latest_at": iso(NOW - timedelta(hours=2))}
        record = {"id": "fuse", "kind": "interruption", "subject": {"type": "batch", "id": batch.id}, **at}
        record_fact(session, record | {"values": {"what": "the fuse blew"}}, now=NOW)
    assert "between 01:30 and 07:30" in row_of(client.get("/batches/1").text, "fuse")


def test_a_correction_stands_above_what_it_corrects_which_is_struck_through(app: Flask, client: FlaskClient):
    with write(app) as session:
        batch = add_story(session, hours_ago=30)
        add_fact(session, batch, "grain_temperature", {"value": 61.4}, id="wrong")
        add_fact(
            session, batch, "grain_temperature", {"value": 16.4}, id="right", supersedes_id="wrong", note="misread"
        )
    page = client.get("/batches/1").text
    assert page.index('id="fact-right"') < page.index('id="fact-wrong"')
    old, new = row_of(page, "wrong"), row_of(page, "right")
    assert 'class="is-struck"' in old
    assert "corrected by Ben" in old
    assert "misread" in old
    assert "/facts/wrong/correct" not in old
    assert "is-struck" not in new


def test_what_was_struck_out_stays_with_who_and_why(app: Flask, client: FlaskClient):
    with write(app) as session:
        batch = add_story(session, hours_ago=30)
        add_fact(session, batch, "turned", {}, id="turn")
        target = find_fact(session, "turn")
        assert target is not None
        withdraw_fact(session, target, new_id="w", now=NOW, reason="that was batch 5", entered_by="Mary")
    row = row_of(client.get("/batches/1").text, "turn")
    assert 'class="is-struck"' in row
    assert "struck out by Mary" in row
    assert "that was batch 5" in row


def test_a_persons_words_are_shown_as_words(app: Flask, client: FlaskClient):
    with write(app) as session:
        batch = add_story(session, hours_ago=30, title="<b>bold</b>")
        add_fact(session, batch, "turned", {}, id="turn", note="<script>alert(1)</script>")
    page = client.get("/batches/1").text
    assert "<script>alert" not in page
    assert "<b>bold</b>" not in page
    assert "&lt;script&gt;alert(1)" in row_of(page, "turn")


def test_a_held_batch_says_so_and_names_its_lot(app: Flask, client: FlaskClient):
    with write(app) as session:
        add_story(session, hours_ago=30, is_declared=False)
    page = client.get("/batches/1").text
    assert "Held: no label and no malt sheet" in page
    assert "not declared: held" in page


def test_a_declared_batch_says_by_whom(app: Flask, client: FlaskClient):
    with write(app) as session:
        add_story(session, hours_ago=30)
    page = client.get("/batches/1").text
    assert "Held" not in page
    assert "<small>Anna, 11 Mar 2026</small>" in page


def test_us_units_are_shown_to_who_wants_them(app: Flask, client: FlaskClient):
    with write(app) as session:
        batch = add_story(session, hours_ago=30)
        add_fact(session, batch, "grain_temperature", {"value": 15.0}, id="warm")
    with client.session_transaction() as cookie:
        cookie["units"] = "us"
    # 15 °C is 59 °F.
    assert "59.0\xa0°F" in row_of(client.get("/batches/1").text, "warm")


def test_a_batch_that_is_not_there_is_not_found(client: FlaskClient):
    answer = client.get("/batches/7")
    assert answer.status_code == 404
    assert "There is no batch 7" in answer.text


def test_a_batch_with_nothing_but_its_charge_has_a_page(app: Flask, client: FlaskClient):
    with write(app) as session:
        add_story(session, hours_ago=5, kinds=set())
    assert "Steep on" in client.get("/batches/1").text


def test_an_answered_flag_stays_in_the_record(app: Flask, client: FlaskClient):
    with write(app) as session:
        batch = add_story(session, hours_ago=100)
        add_fact(session, batch, "grain_temperature", {"value": 21.5}, id="hot", place="middle")
        values = {"rule": "out_of_limits", "episode_id": "hot", "answer": "acted_on", "severity": "act"}
        add_fact(session, batch, "flag_answer", values, id="answer", hours_ago=0.5)
    page = client.get("/batches/1").text
    assert "acted on" in row_of(page, "answer")


def test_as_many_statements_for_many_facts_as_for_few(app: Flask, client: FlaskClient):
    with write(app) as session:
        add_story(session, hours_ago=10)
        add_story(session, hours_ago=400)
    counts = []
    for number in (1, 2):
        with statements(app) as seen:
            assert client.get(f"/batches/{number}").status_code == 200
        counts.append(len(seen))
    assert counts[0] == counts[1] <= 11


def test_what_a_rule_found_many_times_is_one_row_with_how_often(app: Flask, client: FlaskClient):
    with write(app) as session:
        batch = add_story(session, hours_ago=110)
        for place, ago in enumerate((60, 50, 40)):
            add_fact(session, batch, "grain_temperature", {"value": 21.5}, id=f"hot-{place}", hours_ago=ago)
            add_fact(session, batch, "grain_temperature", {"value": 15.0}, id=f"cool-{place}", hours_ago=ago - 2)
    page = client.get("/batches/1").text
    past = page.split('id="past-flags"')[1].split("</section>")[0]
    assert ", 3 times; the gravest: " in past
    assert past.count("21.5") <= 1
