"""The home page: live batches with what is due, lots in stock, and what ended last."""

from __future__ import annotations

import re
from datetime import timedelta

import pytest
from flask import Flask
from flask.testing import FlaskClient
from sqlalchemy import select

from app import ports
from app.operations.digests import rebuild
from app.store.batches import Batch
from app.web.home import order
from app.web.summary.glance import glance_at
from tests.stories import add_fact, add_story, statements
from tests.web.keeping import write
from tests.writing import NOW, add_batch, add_lot

pytestmark = pytest.mark.usefixtures("morning")


def test_a_live_batch_shows_where_it_is_and_what_comes_next(app: Flask, client: FlaskClient):
    with write(app) as session:
        add_story(session, hours_ago=100, title="spring")
    page = client.get("/").text
    assert "Batch 1, spring" in page
    assert 'href="/batches/1/tub"' in page
    assert "germination, 58" in page
    assert "Turn the bed" in page
    assert "all within limits" in page
    assert page.count("in range") >= 2
    assert 'class="ribbon"' in page


def test_a_batch_of_which_nothing_was_read_is_not_said_to_be_within_limits(app: Flask, client: FlaskClient):
    with write(app) as session:
        add_story(session, hours_ago=2, kinds={"steep_on", "test_bag_start", "germination_test"})
    page = client.get("/").text
    assert "nothing read yet" in page
    assert "all within limits" not in page


def test_a_batch_that_was_only_charged_has_no_hour_of_the_malthouse_clock_yet(app: Flask, client: FlaskClient):
    with write(app) as session:
        add_story(session, hours_ago=220, kinds={"charge"})
    for path in ("/", "/batches/1", "/batches/1/tub"):
        page = client.get(path).text.replace("\u00a0", " ")
        assert "not steeped yet" in page
        assert "h 220" not in page.split("charged,")[0]


def test_an_empty_house_is_told_to_take_a_lot_in(client: FlaskClient):
    page = client.get("/").text
    assert "Take a lot in first" in page
    assert 'href="/lots/new"' in page
    assert "Charge a batch" not in page


def test_a_house_with_a_lot_is_told_to_charge_a_batch(app: Flask, client: FlaskClient):
    with write(app) as session:
        add_lot(session)
    page = client.get("/").text
    assert "Nothing is going on" in page
    assert 'href="/batches/new"' in page


def test_what_is_left_of_a_lot_is_shown(app: Flask, client: FlaskClient):
    with write(app) as session:
        add_batch(session)
    assert "475.0 kg" in client.get("/").text


def test_what_is_overdue_comes_before_what_is_due(app: Flask, client: FlaskClient):
    with write(app) as session:
        add_story(session, hours_ago=80, until=NOW - timedelta(hours=30), title="forgotten")
        add_story(session, hours_ago=100, title="looked after")
    page = client.get("/").text
    assert page.index("forgotten") < page.index("looked after")
    assert "Overdue" in page


def test_a_reading_out_of_range_says_so_and_raises_its_flag(app: Flask, client: FlaskClient):
    with write(app) as session:
        batch = add_story(session, hours_ago=100)
        add_fact(session, batch, "grain_temperature", {"value": 21.5}, id="hot", hours_ago=0.5, place="middle")
    page = client.get("/").text
    assert "too high" in page
    assert 'href="/batches/1#flags"' in page
    assert "caution" in page


def test_of_two_beds_home_shows_the_hottest_and_which_is_to_be_turned_next(app: Flask, client: FlaskClient):
    with write(app) as session:
        batch = add_story(session, hours_ago=100, kinds={"charge", "steep_on", "drained", "cast"})
        for number, (hours_ago, place, value) in enumerate(
            [
                (3.2, "bed A middle", 16.0),
                (3.1, "bed B middle", 18.3),
                (3.0, "bed B top", 17.9),
                (1, "bed A middle", 16.1),
            ]
        ):
            reading = {"value": value}
            add_fact(session, batch, "grain_temperature", reading, id=f"t{number}", hours_ago=hours_ago, place=place)
        for number, (hours_ago, place) in enumerate([(9, "bed B"), (8.5, "bed A"), (1, "bed A")]):
            add_fact(session, batch, "turned", {}, id=f"turn{number}", hours_ago=hours_ago, place=place)
    page = client.get("/").text.replace("\xa0", " ")
    assert "18.3 °C" in page
    assert "bed B middle, 3 h 6 min ago" in page
    assert "16.1 °C" not in page
    assert "Turning due: no turning of bed B written down for 9 h" in page
    listed = client.get("/batches/1").text
    assert "Turn bed B" in listed
    assert "Turn bed A" not in listed


def test_an_undeclared_lot_holds_its_batch_loudly(app: Flask, client: FlaskClient):
    with write(app) as session:
        add_story(session, hours_ago=20, is_declared=False)
    assert ">held</span>" in client.get("/").text


@pytest.mark.parametrize("has_digest", [True, False])
def test_a_finished_batch_is_shown_with_what_came_of_it(app: Flask, client: FlaskClient, has_digest: bool):
    with write(app) as session:
        add_story(session, hours_ago=400, title="last month")
        if has_digest:
            rebuild(session, NOW)
    page = client.get("/").text
    assert "last month" in page
    assert "Nothing is going on" in page
    assert "Loss, dry" in page
    assert "finished" in page


def test_more_live_batches_than_a_page_holds_are_on_the_next(app: Flask, client: FlaskClient):
    with write(app) as session:
        for place in range(13):
            add_story(session, hours_ago=20 + place, kinds={"steep_on"})
    assert client.get("/").text.count("live-batch") == 12
    older = client.get("/?page=2").text
    assert older.count("live-batch") == 1
    assert 'href="/?page=1"' in older


def many(app: Flask, count: int = 14) -> None:
    """Batches charged one after the other, the first of them long overdue to be drained."""
    with write(app) as session:
        add_story(session, hours_ago=60, kinds={"steep_on"}, title="forgotten")
        for place in range(count - 1):
            add_story(session, hours_ago=1 + place / 10, kinds={"steep_on"}, title=f"fresh {place}")


def test_what_is_overdue_is_on_the_first_page_however_old_it_is(app: Flask, client: FlaskClient):
    many(app)
    page = client.get("/").text
    assert page.count("live-batch") == 12
    assert page.index("forgotten") < page.index("fresh")
    assert "forgotten" not in client.get("/?page=2").text


def test_every_batch_is_on_one_page_and_only_one(app: Flask, client: FlaskClient):
    many(app)
    first, second = (set(re.findall(r"Batch \d+", client.get(path).text)) for path in ("/", "/?page=2"))
    assert first | second == {f"Batch {number}" for number in range(1, 15)}
    assert first & second == set()


def test_a_new_fact_moves_its_batch_at_once(app: Flask, client: FlaskClient):
    many(app)
    assert "forgotten" in client.get("/").text
    with write(app) as session:
        batch = session.scalars(select(Batch).where(Batch.title == "forgotten")).one()
        add_fact(session, batch, "abandoned", {}, id="gone", hours_ago=0.1)
        last = session.scalars(select(Batch).where(Batch.title == "fresh 0")).one()
        add_fact(session, last, "inspection", {"findings": {"mould": "yes"}}, id="mould", hours_ago=0.1)
    page = client.get("/").text
    assert page.index('class="sheet live-batch') < page.index("fresh 0") < page.index("fresh 5")


def test_a_place_is_kept_for_some_minutes_and_judged_anew_then(
    app: Flask, client: FlaskClient, monkeypatch: pytest.MonkeyPatch
):
    judged: list[str] = []

    def note(history, words):
        judged.append(history.batch.id)
        return glance_at(history, words)

    monkeypatch.setattr(order, "glance_at", note)
    many(app)
    for minutes, expected in ((0, 14), (4, 0), (6, 14)):
        judged.clear()
        monkeypatch.setattr(ports, "now", lambda minutes=minutes: NOW + timedelta(minutes=minutes))
        assert client.get("/").status_code == 200
        assert len(judged) == expected


def test_as_many_statements_for_thirty_batches_as_for_three(app: Flask, client: FlaskClient):
    counts = []
    for place in range(30):
        with write(app) as session:
            add_story(session, hours_ago=(20 if place % 10 == 0 else 500) + place, kinds={"steep_on", "finished"})
            rebuild(session, NOW)
        if place in (2, 29):
            with statements(app) as seen:
                assert client.get("/").status_code == 200
            counts.append(len(seen))
    assert counts[0] == counts[1] <= 13
