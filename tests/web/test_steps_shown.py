"""Next steps as the pages say them: when, within which span, and a way to the formula."""

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


def said(due_h: float, early_h: float, late_h: float, basis: Basis = "plan") -> str:
    due, early, late = (NOW + each * HOUR for each in (due_h, early_h, late_h))
    step = NextStep("drained", "Drain", due, early, late, "Planned.", basis)
    return step_view(step, Words(now=NOW)).when


def test_a_step_of_the_plan_is_about_then_within_its_span() -> None:
    assert said(2, 1, 4) == "about 12:30 (11:30 – 14:30)"
    assert said(2, 2, 2) == "about 12:30"


def test_what_is_foreseen_is_called_an_estimate_and_its_interval_is_said() -> None:
    assert said(2, 1, 20, "forecast") == "estimate 12:30, between 11:30 and tomorrow 06:30"
    assert said(2, 2, 2, "forecast") == "estimate 12:30"


def test_what_is_due_is_due_now_until_its_span_is_over() -> None:
    assert said(-1, -2, 1, "forecast") == "now, until 11:30"
    assert said(-3, -4, -1) == "since 09:30"


@pytest.mark.parametrize(
    ("due_h", "early_h", "late_h", "basis", "order", "told"),
    [
        (2, 1, 4, "plan", "", ("Next", "Drain by 12:30", "In time from 11:30 to 14:30.")),
        (2, 1, 4, "forecast", "", ("Next", "Drain about 12:30", "In time from 11:30 to 14:30.")),
        (-1, -2, 1, "plan", "", ("Now", "Drain", "")),
        (-3, -4, -1, "plan", "", ("Overdue since 09:30", "Drain", "")),
        (-3, -3, -3, "facts", "batch", ("Now", "Drain", "")),
    ],
)
def test_what_to_do_stands_in_one_line_with_one_time(
    due_h: float, early_h: float, late_h: float, basis: Basis, order: str, told: tuple[str, str, str]
) -> None:
    due, early, late = (NOW + each * HOUR for each in (due_h, early_h, late_h))
    step = NextStep("drained", "Drain", due, early, late, "Planned.", basis, order=order)
    view = step_view(step, Words(now=NOW))
    assert (view.heading, view.line, view.span) == told


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
def test_on_the_kiln_the_pages_say_what_to_stop_at_and_lead_to_the_formula(app: Flask, client: FlaskClient) -> None:
    listed, tub = next_of(app, client, 168)
    assert "Stop at gross" in listed
    assert "/methods#moisture.gross_to_stop_at_kg" in listed
    assert 'class="next-what"' in tub


@pytest.mark.usefixtures("morning")
def test_a_step_of_the_plan_leads_to_no_formula(app: Flask, client: FlaskClient) -> None:
    listed, _ = next_of(app, client, 100)
    assert "Turn the bed" in listed
    assert "/methods#growth" not in listed.partition("Turn the bed")[2].partition("</li>")[0]
