"""Next steps as the pages say them: when, in one time, and a way to the formula."""

from __future__ import annotations

import re
from datetime import UTC, datetime, timedelta
from html import unescape

import pytest
from flask import Flask
from flask.testing import FlaskClient

from app.judgement.steps.next_steps import NextStep
from app.judgement.steps.step import Basis
from app.judgement.wording import Words
from app.store.engine import write_session
from app.web.summary.glance import step_view
from tests.stories import add_fact, add_story

NOW = datetime(2026, 3, 14, 10, 30, tzinfo=UTC)
HOUR = timedelta(hours=1)


@pytest.mark.parametrize(
    ("due_h", "early_h", "late_h", "basis", "order", "told"),
    [
        (2, 1, 4, "plan", "", ("Next", "Drain by 12:30")),
        (2, 1, 4, "forecast", "", ("Next", "Drain about 12:30")),
        (-1, -2, 1, "plan", "", ("Now", "Drain")),
        (-3, -4, -1, "plan", "", ("Overdue since 07:30", "Drain")),
        (-3, -3, -3, "facts", "batch", ("Now", "Drain")),
    ],
)
def test_what_to_do_stands_in_one_line_with_one_time(
    due_h: float, early_h: float, late_h: float, basis: Basis, order: str, told: tuple[str, str]
) -> None:
    due, early, late = (NOW + each * HOUR for each in (due_h, early_h, late_h))
    step = NextStep("drained", "Drain", due, early, late, "Planned.", basis, order=order)
    view = step_view(step, Words(now=NOW))
    assert (view.heading, view.line) == told


def test_overdue_counts_from_the_time_that_was_said_before() -> None:
    step = NextStep("turned", "Turn the bed", NOW, NOW - 2 * HOUR, NOW + 2 * HOUR, "It vents.")
    before, after = (step_view(step, Words(now=NOW + hours * HOUR)) for hours in (-1, 3))
    assert (before.line, after.heading) == ("Turn the bed by 10:30", "Overdue since 10:30")


@pytest.mark.usefixtures("morning")
def test_neither_page_says_a_second_time_for_what_comes_next(app: Flask, client: FlaskClient) -> None:
    listed, tub = next_of(app, client, 100)
    first = tub.partition('class="next')[2].partition("</section>")[0]
    for said in (first, *re.findall(r"<li>.*?</li>", listed, re.S)):
        assert len(re.findall(r"\d\d:\d\d", re.sub(r"<p.*|data-due=\S+", "", unescape(said)))) <= 1, said
    assert not re.search("[Ii]n time from", tub + listed)


@pytest.mark.usefixtures("morning")
@pytest.mark.parametrize("path", ["/", "/batches/1/tub"])
def test_what_must_be_done_at_once_is_the_one_thing_said_first(app: Flask, client: FlaskClient, path: str) -> None:
    with write_session(app.extensions["engine"]) as session:
        batch = add_story(session, hours_ago=100)
        add_fact(session, batch, "co2_room", {"value": 20_000.0}, id="gas", hours_ago=0.2)
    page = unescape(client.get(path).text)
    assert re.findall(r'<section class="next next--act".*?<strong class="next-what">(.*?)</strong>', page, re.S) == [
        "Leave now, open everything, and don't go in alone"
    ]
    assert "Turn the bed" not in page.partition('class="next')[0]


def next_of(app: Flask, client: FlaskClient, hours_ago: float) -> tuple[str, str]:
    """What comes next on the batch's page, and on the tub's."""
    with write_session(app.extensions["engine"]) as session:
        add_story(session, hours_ago=hours_ago)
    page, tub = client.get("/batches/1").text, client.get("/batches/1/tub").text
    return page.partition("<h2>Next</h2>")[2].partition("</section>")[0], tub


@pytest.mark.usefixtures("morning")
def test_on_the_kiln_the_pages_say_what_to_stop_at_and_lead_to_how_that_came_about(
    app: Flask, client: FlaskClient
) -> None:
    listed, tub = next_of(app, client, 168)
    assert "Stop at gross" in listed
    assert 'href="/batches/1/how/step.tray"' in listed
    assert 'class="next-what"' in tub


@pytest.mark.usefixtures("morning")
def test_a_step_of_the_plan_is_explained_by_the_plan_alone(app: Flask, client: FlaskClient) -> None:
    listed, _ = next_of(app, client, 100)
    assert "Turn the bed" in listed
    assert 'class="how"' not in listed.partition("Turn the bed")[2].partition("</li>")[0]
