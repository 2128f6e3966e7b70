"""When it was: chips, clock times of the house, spans, nights on which the clocks change, and unlikely times."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest
from flask import Flask

from app import ports
from app.judgement.facts.shapes import Action
from tests.pages import Tub, insisting, tub_form
from tests.writing import NOW, entry, iso

from .keeping import asked, facts_of, kept, said, text_of, the_fact, wrong_fields


@pytest.mark.parametrize(("chip", "minutes"), [("now", 0), ("m5", 5), ("m15", 15), ("m60", 60)])
def test_a_chip_says_how_long_ago_it_was(app: Flask, tub: Tub, chip: str, minutes: int) -> None:
    kept(tub.keep("turned", when=chip))
    fact = the_fact(app)
    assert (fact.at, fact.clock) == (NOW - timedelta(minutes=minutes), "now")


def test_a_typed_time_is_read_in_the_zone_of_the_house(app: Flask, tub: Tub, monkeypatch: pytest.MonkeyPatch) -> None:
    summer = datetime(2026, 7, 1, 12, 0, tzinfo=UTC)
    monkeypatch.setattr(ports, "now", lambda: summer)
    kept(tub.keep("turned", when="at", at="2026-07-01T12:30"))
    fact = the_fact(app)
    assert (fact.at, fact.clock) == (datetime(2026, 7, 1, 11, 30, tzinfo=UTC), "typed")


def test_the_end_of_an_interruption_is_read_in_the_zone_of_the_house(
    app: Flask, tub: Tub, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(ports, "now", lambda: datetime(2026, 7, 1, 12, 0, tzinfo=UTC))
    kept(tub.keep("interruption", {"what": "a cut", "until": "2026-07-01T12:30"}))
    fact = the_fact(app)
    assert isinstance(fact, Action)
    assert fact.until_at == datetime(2026, 7, 1, 11, 30, tzinfo=UTC)


def test_some_time_in_the_night_is_kept_as_a_span(app: Flask, tub: Tub) -> None:
    kept(tub.keep("turned", when="between", earliest="2026-03-14T08:00", latest="2026-03-14T09:00"))
    fact = the_fact(app)
    assert (fact.earliest_at.hour, fact.latest_at.hour, fact.is_range) == (8, 9, True)


@pytest.mark.parametrize(
    ("common", "said"),
    [
        ({"when": "at", "at": "half past nine"}, "not a date and time"),
        ({"when": "at", "at": ""}, "not a date and time"),
        ({"when": "at", "at": "9999-99-99T00:00"}, "not a date and time"),
        ({"when": "between", "earliest": "2026-03-14T09:00", "latest": "2026-03-14T08:00"}, "end is before"),
        ({"when": "between", "earliest": "2026-03-14T09:00", "latest": ""}, "not a date and time"),
    ],
)
def test_a_time_that_is_none_is_said(app: Flask, tub: Tub, common: dict[str, str], said: str) -> None:
    answer = tub.keep("turned", **common)
    assert answer.status_code == 422
    assert wrong_fields(answer) == {"when"}
    assert said in text_of(answer)
    assert facts_of(app) == []


def test_a_chip_that_is_none_of_the_page_s_is_refused(app: Flask, tub: Tub) -> None:
    answer = tub.send("turned", tub.values("turned") | {"when": "whenever"})
    assert answer.status_code == 422
    assert wrong_fields(answer) == {"when"}
    assert facts_of(app) == []


@pytest.mark.parametrize(
    ("at", "question"),
    [("2026-03-14T12:00", "is still to come"), ("2026-03-13T12:00", "is before the batch began")],
)
def test_an_unlikely_time_is_asked_about_and_kept_when_insisted_on(
    app: Flask, tub: Tub, at: str, question: str
) -> None:
    answer = tub.keep("turned", when="at", at=at)
    assert question in asked(answer)
    assert facts_of(app) == []
    again = tub_form(answer.text)
    assert (again.values["when"], again.values["at"]) == ("at", at)
    insist = next(button for button in again.buttons if button[1] == "insist")
    kept(tub.client.post(insist[0], data=again.values | {"insist": str(insist[2])}))
    assert the_fact(app).at.isoformat() == f"{at}:00+00:00"


def test_a_clock_a_few_minutes_ahead_is_not_asked_about(app: Flask, tub: Tub) -> None:
    kept(tub.keep("turned", when="at", at="2026-03-14T09:34"))


@pytest.mark.parametrize("end", ["finished", "abandoned"])
def test_an_entry_after_the_end_is_asked_about_and_a_note_is_not(app: Flask, tub: Tub, end: str) -> None:
    said(app, entry(end, id="end-1", at=iso(NOW - timedelta(minutes=30))))
    answer = tub.keep("turned")
    assert f"The batch was {end}" in asked(answer)
    kept(tub.send("turned", insisting(answer.text)))
    kept(tub.keep("note", {"text": "Into jar 7."}))
    assert {fact.kind for fact in facts_of(app)} == {end, "turned", "note"}


def test_the_hour_that_was_left_out_is_refused(app: Flask, tub: Tub, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(ports, "now", lambda: datetime(2026, 3, 29, 9, 0, tzinfo=UTC))
    answer = tub.keep("turned", when="at", at="2026-03-29T01:30")
    assert "put forward that night" in text_of(answer)
    assert wrong_fields(answer) == {"when"}
    assert facts_of(app) == []


@pytest.mark.parametrize(("which", "hour"), [("first", 0), ("second", 1)])
def test_the_hour_that_came_twice_asks_which_one(
    app: Flask, tub: Tub, monkeypatch: pytest.MonkeyPatch, which: str, hour: int
) -> None:
    monkeypatch.setattr(ports, "now", lambda: datetime(2026, 10, 25, 9, 0, tzinfo=UTC))
    answer = tub.keep("turned", when="at", at="2026-10-25T01:30")
    assert answer.status_code == 422
    assert "this time came twice" in text_of(answer)
    assert facts_of(app) == []
    kept(tub.send("turned", tub_form(answer.text).filled(fold=which)))
    assert the_fact(app).at == datetime(2026, 10, 25, hour, 30, tzinfo=UTC)
