"""What the batch page foresees, if it goes on like this."""

from __future__ import annotations

from html import unescape

import pytest
from flask import Flask
from flask.testing import FlaskClient

from app.judgement.forecasts import forecast
from app.store.batches import Batch
from app.store.engine import write_session
from app.store.history import get_history
from tests.stories import add_fact, add_story

pytestmark = pytest.mark.usefixtures("morning")


def begun(app: Flask, hours_ago: float) -> Batch:
    with write_session(app.extensions["engine"]) as session:
        return add_story(session, hours_ago=hours_ago)


def outlook(client: FlaskClient, batch: Batch) -> str:
    page = unescape(client.get(f"/batches/{batch.number}").text).replace("\u00a0", " ")
    return page.partition('id="outlook"')[2].partition("</section>")[0]


def test_a_steep_says_when_the_moisture_to_cast_at_is_reached(app: Flask, client: FlaskClient) -> None:
    said = outlook(client, begun(app, 22))
    assert "Moisture to cast at" in said
    assert "between" in said


def test_a_floor_says_when_to_stop_it(app: Flask, client: FlaskClient) -> None:
    said = outlook(client, begun(app, 120))
    assert "Mean acrospire" in said
    assert "kernel lengths" in said


def test_a_kiln_has_a_card_of_its_own_and_nothing_of_it_is_said_twice(app: Flask, client: FlaskClient) -> None:
    batch = begun(app, 174)
    page = unescape(client.get(f"/batches/{batch.number}").text)
    assert page.count("It never gets drier than") == 1
    assert outlook(client, batch) == ""


def test_a_batch_that_has_ended_has_no_outlook(app: Flask, client: FlaskClient) -> None:
    assert outlook(client, begun(app, 300)) == ""


def test_a_fit_is_kept_until_another_fact_comes(app: Flask) -> None:
    batch = begun(app, 120)

    def fit() -> object:
        with app.extensions["reading"]() as session:
            return forecast.fit(get_history(session, batch.id))

    first = fit()
    assert fit() is first
    with write_session(app.extensions["engine"]) as session:
        add_fact(session, batch, "grain_temperature", {"value": 19.0}, id="later-reading")
    assert fit() is not first


def test_what_is_ahead_says_what_the_backtest_found_of_its_intervals(app: Flask, client: FlaskClient) -> None:
    batch = begun(app, 120)
    ahead = unescape(client.get(f"/batches/{batch.number}/ahead").text)
    said = ahead.partition('id="day"')[2]
    assert "meant to hold the truth four times in five; in the backtest it held fewer for some" in said
    assert 'href="/methods#backtest"' in said
    assert "holds the truth" not in said + outlook(client, batch)
