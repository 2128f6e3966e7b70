"""A tray weighed on the kiln: the answer says what the weighing means, and no complaint ends with it."""

from __future__ import annotations

import pytest
from flask import Flask
from flask.testing import FlaskClient

from app.store.engine import write_session
from tests.pages import Tub
from tests.stories import add_fact, add_story

from .keeping import kept, text_of

pytestmark = pytest.mark.usefixtures("morning")
GROWN = {"steep_on", "drained", "cast", "test_bag_start", "test_bag"}


def test_a_tray_that_tells_of_heat_ends_no_complaint_of_a_heap(app: Flask, client: FlaskClient) -> None:
    with write_session(app.extensions["engine"]) as session:
        batch = add_story(session, hours_ago=170, kinds=GROWN)
        add_fact(session, batch, "loaded", {}, id="loaded-1", hours_ago=6.0)
        tray = {"vessel": "tray 1", "gross_kg": 6.8, "tare_kg": 0.8}
        add_fact(session, batch, "tray", tray, id="tray-1", hours_ago=5.9)
    tub = Tub(client, batch.number)
    batch_page = f"/batches/{batch.number}"
    assert "Green malt waiting for 6 h, and nobody read how warm" in text_of(client.get(batch_page))
    fact_id = kept(tub.keep("tray", {"vessel": "tray 1", "gross": "6.3", "tare": "0.8", "gross_unit": "kg"}))
    assert "Without heat it does not dry" in text_of(client.get(f"{tub.path}?kept={fact_id}"))
    assert "nobody read how warm" not in text_of(client.get(batch_page))
