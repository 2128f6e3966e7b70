"""The calendar feed as text: read back by the library, and byte by byte where RFC 5545 [P] asks for bytes."""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from icalendar import Calendar, Event

from app.exchange.calendar import DatedWords, calendar
from app.judgement.history.history import History
from app.judgement.steps.next_steps import NextStep
from tests.judgement.story import Story, at, iso

DUBLIN = ZoneInfo("Europe/Dublin")
HOUSE = "https://malthouse.example/"


def steeped() -> Story:
    """Charged, under water for three hours, drained."""
    story = Story("barley_pale")
    story.charge(25.0, 0.13, received_at=iso(0.0), seq=1)
    story.say(0.5, "steep_on", received_at=iso(0.5), seq=2)
    story.say(6.5, "drained", received_at=iso(6.6), seq=3)
    return story


def written(history: History, hour: float, **more: Any) -> bytes:
    words = DatedWords("metric", DUBLIN, at(hour))
    return calendar([history], words, **({"name": "Malthouse", "address": HOUSE} | more))


def read(text: bytes) -> list[Event]:
    return [each for each in Calendar.from_ical(text).walk("VEVENT") if isinstance(each, Event)]


def by_uid(history: History, hour: float) -> dict[str, Event]:
    found = read(written(history, hour))
    uids = {str(event["uid"]): event for event in found}
    assert len(uids) == len(found), "two entries of one name"
    return uids


def of_kind(events: dict[str, Event], kind: str) -> tuple[str, datetime]:
    uid = next(uid for uid in events if uid.startswith(f"{kind}."))
    return uid, events[uid].decoded("dtstart")


def with_steps(monkeypatch: pytest.MonkeyPatch, *steps: NextStep) -> None:
    monkeypatch.setattr("app.exchange.calendar.next_steps", lambda *_: list(steps))


def step(due_h: float, what: str = "Turn the bed", why: str = "It vents.", kind: str = "turned") -> NextStep:
    return NextStep(kind, what, at(due_h), at(due_h - 2), at(due_h + 4), why)


def test_the_calendar_has_what_the_standard_asks_of_it() -> None:
    """RFC 5545 3.6: PRODID and VERSION once each; RFC 7986 5.1 and 5.7: NAME, REFRESH-INTERVAL."""
    text = written(steeped().history(), 8.0)
    lines = text.split(b"\r\n")
    assert lines[0] == b"BEGIN:VCALENDAR"
    assert lines[-2:] == [b"END:VCALENDAR", b""]
    for needed in (b"VERSION:2.0", b"CALSCALE:GREGORIAN", b"NAME:Malthouse", b"X-WR-CALNAME:Malthouse"):
        assert lines.count(needed) == 1
    assert b"REFRESH-INTERVAL;VALUE=DURATION:PT15M" in lines
    assert b"X-PUBLISHED-TTL:PT15M" in lines
    assert sum(line.startswith(b"PRODID:") for line in lines) == 1


def test_every_entry_has_what_the_standard_asks_of_it() -> None:
    """RFC 5545 3.6.1: UID and DTSTAMP are required, DTSTART too; each at most once, and DTEND after DTSTART."""
    events = read(written(steeped().history(), 8.0))
    assert len(events) >= 2
    for event in events:
        for name in ("uid", "dtstamp", "dtstart", "dtend", "summary", "description", "sequence", "last-modified"):
            assert event.get(name) is not None, name
            assert not isinstance(event[name], list), name
        assert event.decoded("dtstart") < event.decoded("dtend")
        assert event.errors == []


def test_times_are_written_in_utc() -> None:
    text = written(steeped().history(), 8.0).decode()
    times = [line for line in text.split("\r\n") if line.startswith(("DTSTART", "DTEND", "DTSTAMP", "LAST-MODIFIED"))]
    assert times
    assert all(line.endswith("Z") and "TZID" not in line for line in times)


def test_what_is_read_back_is_what_was_said(monkeypatch: pytest.MonkeyPatch) -> None:
    history = replace(steeped().history(), batch=replace(steeped().history().batch, number=14, vessel="Tub; 2, left"))
    with_steps(monkeypatch, step(20, "Turn, gently; now\\then", "First line\nsecond: “quoted”, a,b;c"))
    (event,) = read(written(history, 8.0))
    assert str(event["summary"]) == "Batch 14: Turn, gently; now\\then"
    assert str(event["location"]) == "Tub; 2, left"
    told = str(event["description"]).split("\n")
    assert told[:2] == ["First line", "second: “quoted”, a,b;c"]
    assert told[-1] == str(event["url"]) == f"{HOUSE}batches/14/tub"
    assert event.decoded("dtstart") == at(20)
    assert event.decoded("dtend") == at(20) + timedelta(minutes=15)
    assert event.decoded("dtstamp") == at(8)


def test_no_line_is_longer_than_75_octets_and_no_letter_is_cut(monkeypatch: pytest.MonkeyPatch) -> None:
    """RFC 5545 3.1: lines of at most 75 octets without the line break; a fold may not part a UTF-8 sequence."""
    why = "Größe 44,6 ± 0,7 % — 大麦が発芽した。🌾🌾🌾 " * 12
    with_steps(monkeypatch, step(20, "Wenden 🌾" * 12, why))
    text = written(steeped().history(), 8.0)
    assert any(line.startswith(b" ") for line in text.split(b"\r\n"))
    for line in text.split(b"\r\n"):
        assert len(line) <= 75
        line.decode("utf-8")
    (event,) = read(text)
    assert why.strip() in str(event["description"])


def test_a_step_keeps_its_name_while_time_goes_on_and_readings_come() -> None:
    story = steeped()
    before = by_uid(story.history(), 8.0)
    story.say(8.5, "water_temperature", {"value": 14.0}, received_at=iso(8.6), seq=4)
    after = by_uid(story.history(), 9.0)
    stage = next(uid for uid in before if uid.startswith("steep_on."))
    assert stage in after
    assert after[stage].decoded("dtstart") == before[stage].decoded("dtstart")
    assert (before[stage]["sequence"], after[stage]["sequence"]) == (3, 4)
    assert after[stage].decoded("last-modified") == at(8.6).replace(microsecond=0)


def test_a_step_that_was_done_gives_its_name_to_none() -> None:
    story = steeped()
    first, due = of_kind(by_uid(story.history(), 8.0), "grain_temperature")
    story.say(9.0, "grain_temperature", {"value": 15.0})
    later = by_uid(story.history(), 9.5)
    second, next_due = of_kind(later, "grain_temperature")
    assert first not in later
    assert second != first
    assert next_due > due


def test_a_correction_moves_the_entry_and_adds_none() -> None:
    story = steeped()
    read_id = story.say(9.0, "grain_temperature", {"value": 15.0})
    before = by_uid(story.history(), 10.0)
    story.say(9.75, "grain_temperature", {"value": 15.0}, supersedes_id=read_id)
    after = by_uid(story.history(), 10.0)
    uid, due = of_kind(before, "grain_temperature")
    assert of_kind(after, "grain_temperature") == (uid, due + timedelta(minutes=45))
    assert after.keys() == before.keys()


def test_a_step_that_is_put_off_keeps_its_name(monkeypatch: pytest.MonkeyPatch) -> None:
    history = steeped().history()
    with_steps(monkeypatch, step(20))
    before = of_kind(by_uid(history, 8.0), "turned")
    with_steps(monkeypatch, step(23))
    assert of_kind(by_uid(history, 8.0), "turned") == (before[0], at(23))


def test_two_steps_of_one_kind_have_two_names(monkeypatch: pytest.MonkeyPatch) -> None:
    with_steps(monkeypatch, step(20, "Weigh tray 1", kind="tray"), step(21, "Weigh tray 2", kind="tray"))
    assert len(by_uid(steeped().history(), 8.0)) == 2


def test_what_is_due_now_does_not_move_with_every_reading_of_the_feed() -> None:
    story = Story("barley_pale")
    story.charge(25.0, 0.13)
    (first,) = by_uid(story.history(), 2.0).values()
    (second,) = by_uid(story.history(), 5.0).values()
    assert first["uid"] == second["uid"]
    assert first.decoded("dtstart") == second.decoded("dtstart") == at(0.0)


def test_a_batch_that_ended_is_in_no_calendar() -> None:
    story = steeped()
    story.say(7.0, "abandoned")
    assert read(written(story.history(), 8.0)) == []
    assert b"END:VCALENDAR" in written(story.history(), 8.0)


def test_batches_that_were_told_alike_have_names_of_their_own() -> None:
    """A batch split off inherits the facts of the other: what both follow is one and the same fact."""
    one = steeped().history()
    other = replace(one, batch=replace(one.batch, id="batch-2", number=2))
    words = DatedWords("metric", DUBLIN, at(8.0))
    uids = [str(each["uid"]) for each in read(calendar([one, other], words, name="M", address=HOUSE))]
    assert len(uids) == len(set(uids)) > 2


def test_an_alarm_rings_when_the_step_is_due_and_only_where_it_was_asked_for() -> None:
    """RFC 5545 3.6.6: a DISPLAY alarm needs ACTION, DESCRIPTION and TRIGGER."""
    history = steeped().history()
    assert all(event.walk("VALARM") == [] for event in read(written(history, 8.0)))
    for event in read(written(history, 8.0, has_alarms=True)):
        (alarm,) = event.walk("VALARM")
        assert str(alarm["action"]) == "DISPLAY"
        assert str(alarm["description"]) == str(event["summary"])
        assert alarm.decoded("trigger") == timedelta(0)


def test_the_text_tells_one_time_and_that_a_step_is_overdue(monkeypatch: pytest.MonkeyPatch) -> None:
    with_steps(monkeypatch, step(20))
    (early,) = read(written(steeped().history(), 8.0))
    (late,) = read(written(steeped().history(), 25.0))
    assert not re.search(r"\d\d:\d\d|Overdue", str(early["description"]))
    assert re.findall(r"Overdue since (.*)\.", str(late["description"])) == [
        f"{late.decoded('dtstart'):Tue 6 Jan %H:%M}"
    ]


def test_no_words_are_relative_to_the_day_they_were_written_on() -> None:
    words = DatedWords("metric", DUBLIN, datetime(2026, 7, 1, 20, 0, tzinfo=UTC))
    half_past = datetime(2026, 7, 1, 20, 30, tzinfo=UTC)
    said = [words.clock(half_past + timedelta(hours=hours)) for hours in (-24, 0, 5, 24)]
    assert said == ["Tue 30 Jun 21:30", "Wed 1 Jul 21:30", "Thu 2 Jul 02:30", "Thu 2 Jul 21:30"]


def test_what_is_foreseen_is_said_to_be_an_estimate(monkeypatch: pytest.MonkeyPatch) -> None:
    for basis, is_said in (("forecast", True), ("plan", False)):
        with_steps(monkeypatch, replace(step(20), basis=basis))
        (event,) = read(written(steeped().history(), 8.0))
        assert ("An estimate." in str(event["description"]).split("\n")) is is_said
