"""Entries of times at which they can't have happened: refused with the field, and nothing of them stored."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest
from flask import Flask
from flask.testing import FlaskClient

from app.judgement.facts.kinds import KINDS, STAGE_KINDS
from app.store.engine import read_session, write_session
from app.store.facts import find_fact
from app.store.history import get_history
from tests.writing import BATCH, LOT, NOW, Record, charge, count_facts, entry, iso, store_unasked, struck, water

from .conftest import Phone

STAGES = tuple(name for name in STAGE_KINDS if KINDS[name].shape_name == "stage")
CHARGED = NOW - timedelta(hours=2)
PAGES = ("/", "/batches", "/batches/1", "/batches/1/tub", "/batches/1/ahead", "/lots", f"/lots/{LOT}", "/house")
FIRST_DAY, LAST_DAY = "0001-01-01T00:00:00Z", "9999-12-31T23:59:59Z"


def facts_stored(app: Flask) -> int:
    with read_session(app.extensions["engine"]) as session:
        return count_facts(session)


def refused(app: Flask, phone: Phone, record: Record, field: str) -> str:
    """The message at the one field that is wrong; nothing was stored."""
    before = facts_stored(app)
    answer = phone.send_one(record)
    assert (answer["status"], set(answer["errors"])) == (422, {field})
    assert facts_stored(app) == before
    return str(answer["errors"][field])


def house_opens(client: FlaskClient) -> None:
    for path in PAGES:
        assert client.get(path).status_code == 200, path


@pytest.mark.parametrize("at", [FIRST_DAY, "0202-03-14T09:00:00Z", "1899-12-31T23:00:00Z", "2025-03-14T09:00:00Z"])
@pytest.mark.parametrize("kind", STAGES)
def test_no_stage_begins_long_before_the_charge(
    app: Flask, client: FlaskClient, phone: Phone, kind: str, at: str
) -> None:
    refused(app, phone, entry(kind, id="early-1", at=at), "earliest_at")
    house_opens(client)


@pytest.mark.parametrize("at", [LAST_DAY, "2027-03-14T09:00:00Z", iso(NOW + timedelta(hours=49))])
@pytest.mark.parametrize("kind", STAGES)
def test_no_stage_begins_that_is_still_to_come(
    app: Flask, client: FlaskClient, phone: Phone, kind: str, at: str
) -> None:
    assert "ahead of the clock here" in refused(app, phone, entry(kind, id="late-1", at=at), "latest_at")
    house_opens(client)


@pytest.mark.parametrize("hours", [-29 * 24, -3, 47])
def test_what_is_only_unlikely_is_kept(phone: Phone, hours: int) -> None:
    at = iso(NOW + timedelta(hours=hours))
    assert phone.send_one(entry("turned", id="turned-1", at=at))["status"] == 201


@pytest.mark.parametrize("is_asked", [True, False])
def test_nobody_is_asked_whether_an_impossible_time_is_meant(client: FlaskClient, phone: Phone, is_asked: bool) -> None:
    record = water(at="0202-03-14T09:00:00Z")
    body = {"entries": [record]} | ({"ask": "water-1"} if is_asked else {})
    (answer,) = client.post("/sync/facts", json=body).get_json()["answers"]
    assert "a digit missing" in answer["errors"]["earliest_at"]
    assert "questions" not in answer


def test_a_span_that_begins_in_no_year_is_refused(app: Flask, phone: Phone) -> None:
    refused(app, phone, entry("turned", id="t-1", earliest_at=FIRST_DAY, latest_at=iso(NOW)), "earliest_at")


@pytest.mark.parametrize(("offset_s", "field"), [(-9e9, "earliest_at"), (9e9, "latest_at")])
def test_the_bound_holds_after_the_clock_was_put_right(app: Flask, phone: Phone, offset_s: float, field: str) -> None:
    refused(app, phone, water(clock="now", clock_offset_s=offset_s), field)


@pytest.mark.parametrize(("at", "offset_s"), [(FIRST_DAY, -60.0), (LAST_DAY, 60.0)])
def test_a_clock_put_right_out_of_the_calendar_is_refused_though_its_writer_may_be_asked(
    client: FlaskClient, phone: Phone, at: str, offset_s: float
) -> None:
    record = water(at=at, clock="now", clock_offset_s=offset_s)
    answer = client.post("/sync/facts", json={"entries": [record], "ask": "water-1"})
    assert answer.status_code == 200
    assert set(answer.get_json()["answers"][0]["errors"]) == {"clock_offset_s"}


def test_a_phone_whose_clock_is_a_year_off_is_put_right_and_kept(phone: Phone) -> None:
    off = timedelta(days=365)
    record = water(at=iso(NOW + off), clock="now", clock_offset_s=-off.total_seconds())
    assert phone.send_one(record)["status"] == 201


@pytest.mark.parametrize("until", [FIRST_DAY, LAST_DAY])
def test_an_end_in_no_calendar_is_refused(app: Flask, client: FlaskClient, phone: Phone, until: str) -> None:
    refused(app, phone, entry("interruption", {"what": "a cut", "until": until}, id="cut-1"), "until")
    house_opens(client)


def test_the_charge_bounds_and_may_itself_be_put_right(app: Flask, phone: Phone) -> None:
    """Charged with the day of typing, and steeped seven weeks before: first the charge is corrected, then it fits."""
    steeped = entry("steep_on", id="steep-1", at=iso(NOW - timedelta(days=49)))
    assert "first correct the charge" in refused(app, phone, steeped, "earliest_at")
    right = {**charge(id="charge-2"), "at": iso(NOW - timedelta(days=50)), "supersedes_id": f"charge-{BATCH}"}
    right["typed"] |= {"target": f"batch:{BATCH}"}
    right["subject"] = {"type": "batch", "id": BATCH}
    refused(app, phone, right | {"at": "0202-01-01T00:00:00Z"}, "earliest_at")
    assert phone.send_one(right)["status"] == 201
    assert phone.send_one(steeped)["status"] == 201


def test_what_was_kept_of_an_impossible_time_is_corrected_or_struck_out(app: Flask, phone: Phone) -> None:
    with write_session(app.extensions["engine"]) as session:
        store_unasked(
            session, entry("loaded", id="bad-1", at=FIRST_DAY), entry("heat_on", id="bad-2", at=FIRST_DAY)
        )  # fmt: skip
    still = entry("loaded", id="bad-3", at="0202-01-01T00:00:00Z", supersedes_id="bad-1")
    refused(app, phone, still, "earliest_at")
    assert phone.send_one(entry("loaded", id="good-1", supersedes_id="bad-1"))["status"] == 201
    assert phone.send_one(struck("bad-2"))["status"] == 201
    with read_session(app.extensions["engine"]) as session:
        assert [fact.id for fact in get_history(session, BATCH).of_kind("loaded", "heat_on")] == ["good-1"]


def test_a_repeat_of_what_was_kept_before_the_bound_is_still_a_repeat(app: Flask, phone: Phone) -> None:
    record = entry("loaded", id="bad-1", at=FIRST_DAY)
    with write_session(app.extensions["engine"]) as session:
        store_unasked(session, record)
    assert phone.send_one(record)["status"] == 200


@pytest.mark.parametrize("kind", ["moisture_test", "intake", "stock_adjustment"])
@pytest.mark.parametrize(("at", "field"), [(FIRST_DAY, "earliest_at"), (LAST_DAY, "latest_at")])
def test_a_lot_s_facts_are_bounded_by_the_calendar(
    app: Flask, client: FlaskClient, phone: Phone, kind: str, at: str, field: str
) -> None:
    typed = {"value": "13"} if kind == "moisture_test" else {"net": "5"}
    refused(app, phone, {**entry(kind, typed, id="lot-said", at=at), "subject": {"type": "lot", "id": LOT}}, field)
    house_opens(client)


def test_so_are_those_of_an_instrument(app: Flask, client: FlaskClient, phone: Phone) -> None:
    record = entry("calibrated", {"amount": "1", "amount_unit": "c"}, id="cal-1", at=FIRST_DAY)
    refused(app, phone, {**record, "subject": {"type": "instrument", "id": "probe"}}, "earliest_at")
    house_opens(client)


def test_a_refusal_takes_no_other_entry_with_it(app: Flask, phone: Phone) -> None:
    answers = phone.send(entry("cast", id="bad-1", at=FIRST_DAY), water())
    assert [each["status"] for each in answers] == [422, 201]
    with read_session(app.extensions["engine"]) as session:
        found = find_fact(session, "water-1")
        assert found is not None
        assert found.at == datetime(2026, 3, 14, 9, 30, tzinfo=UTC)
