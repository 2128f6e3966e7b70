"""A note can be written from every tub page, by one tile."""

import re

import pytest
from flask import Flask
from flask.testing import FlaskClient

from app.store.engine import write_session
from tests.stories import add_story


@pytest.mark.parametrize("hours_ago", [50, 1500])
def test_a_tub_has_one_tile_for_notes_whether_it_runs_or_is_finished(
    app: Flask, client: FlaskClient, morning: None, hours_ago: int
):
    with write_session(app.extensions["engine"]) as session:
        add_story(session, hours_ago=hours_ago)
    page = client.get("/batches/1/tub").text
    first_tiles = page[page.index('aria-label="Record"') :].split("</nav>")[0]
    assert len(re.findall(r'<a class="tile[^"]*" href="#note"', first_tiles)) == 1
