"""One batch that can't be judged: it shows its entries with the way to correct them, and takes no other down."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import replace
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from flask import Flask
from flask.testing import FlaskClient

from app import create_app, ports
from app.config import Settings
from app.exchange.records import export_records
from app.judgement import flags
from app.judgement.batch_at import BatchAt
from app.judgement.facts.kinds import KINDS, STAGE_KINDS
from app.judgement.flags.base import Flag
from app.judgement.history.history import History
from app.operations.digests import rebuild
from app.store.batches import Batch
from app.store.digests import get_digests
from app.store.engine import read_session
from tests.pages import Tub, forms_of, tub_form
from tests.stories import add_story
from tests.web.keeping import write
from tests.writing import NOW, Opened, add_batch, entry, fill_jar, store_unasked

from .keeping import facts_of, kept, text_of, wrong_fields

pytestmark = pytest.mark.usefixtures("morning")
FIRST_DAY, LAST_DAY = "0001-01-01T00:00:00Z", "9999-12-31T23:59:59Z"
STAGES = tuple(name for name in STAGE_KINDS if KINDS[name].shape_name == "stage")
LISTS = ("/", "/batches", "/compare", "/lots", "/packs", "/packs/jar-1", "/packs/jar-1/label", "/packs/jar-1/sheet")
CHOOSERS = ("/batches/new", "/batches/roast", "/batches/1/merge", "/batches/2/merge", "/batches/2/split")
OF_ONE = ("", "/tub", "/ahead", "/power-cut", "/tests", "/tests/extract_mash", "/programme", "/split", "/pack")


@pytest.fixture
def house(app: Flask) -> Batch:
    """Batch 1 grows; batch 2 too, a day later; the jar was filled from batch 1."""
    with write(app) as session:
        first = add_story(session, hours_ago=150, title="spring")
        add_story(session, hours_ago=126, title="beside it")
        fill_jar(session, "jar-1", batch=first.id, name="Jar 1", as_is="1", moisture="40")
        session.expunge(first)
        return first


def raises_for_batch_1(batch: BatchAt) -> Iterator[Flag]:
    if batch.history.batch.number == 1:
        raise OverflowError("date value out of range")
    return iter(())


@pytest.fixture
def unruly(house: Batch, monkeypatch: pytest.MonkeyPatch) -> Batch:
    """One rule raises for the first batch."""
    monkeypatch.setattr(flags, "_CHECKS", (*flags._CHECKS, raises_for_batch_1))
    return house


@pytest.fixture
def unjudgeable(house: Batch, monkeypatch: pytest.MonkeyPatch) -> Batch:
    """Whatever asks for the facts of the first batch by their shape raises, as an error in its midst would."""
    of_shape = History.of_shape

    def raising(history: History, shape: Any, *kinds: str) -> Any:
        if history.batch.number == 1 and history.facts:
            raise OverflowError("date value out of range")
        return of_shape(history, shape, *kinds)

    monkeypatch.setattr(History, "of_shape", raising)
    return house


def paths() -> list[str]:
    own = [f"/batches/1{page}" for page in OF_ONE]
    return [*LISTS, *CHOOSERS, *own, "/compare?batch=1&batch=2", "/compare?batch=2&batch=1"]


def all_open(client: FlaskClient, batch: Batch) -> None:
    for path in (*paths(), f"/sync/batches/{batch.id}"):
        answer = client.get(path)
        assert answer.status_code == 200, path


@pytest.mark.parametrize("at", [FIRST_DAY, "0202-03-14T09:00:00Z", "1900-03-14T09:00:00Z", LAST_DAY])
@pytest.mark.parametrize("kind", ["steep_on", "drained", "cast", "stew_on", "loaded", "heat_on", "heat_off"])
def test_no_page_falls_for_a_stage_of_an_impossible_time(
    app: Flask, client: FlaskClient, house: Batch, kind: str, at: str
) -> None:
    with write(app) as session:
        store_unasked(session, entry(kind, id="bad-1", batch=house.id, at=at))
    all_open(client, house)
    assert client.get("/facts/bad-1/correct").status_code == 200


@pytest.mark.parametrize("zone", ["America/New_York", "Pacific/Auckland"])
@pytest.mark.parametrize("at", [FIRST_DAY, LAST_DAY])
def test_nor_on_the_last_days_of_the_calendar_in_any_zone(
    settings: Settings, zone: str, at: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(ports, "now", lambda: NOW)
    app = create_app(replace(settings, zone=ZoneInfo(zone)))
    with write(app) as session:
        batch = add_batch(session)
        kinds = ("loaded", "turned", "water_temperature", "note")
        typed = {"water_temperature": {"value": "12"}, "note": {"text": "x"}}
        store_unasked(session, *(entry(kind, typed.get(kind), id=f"bad-{kind}", at=at) for kind in kinds))
        store_unasked(session, {**entry("note", {"text": "x"}, id="house-1", at=at), "subject": _about("house")})
        store_unasked(session, {**entry("moisture_test", {"value": "13"}, id="lot-1", at=at), "subject": _about("lot")})
        number = batch.number
    client = app.test_client()
    own = [f"/batches/{number}{page}" for page in OF_ONE]
    changed = [f"/facts/bad-{kind}/correct" for kind in kinds]
    for path in ("/", "/batches", "/lots", "/lots/lot-1", "/house", "/batches/new?lot=lot-1", *own, *changed):
        assert client.get(path).status_code == 200, path
    app.extensions["engine"].dispose()


def _about(what: str) -> dict[str, str]:
    return {"type": what, "id": {"house": "house", "lot": "lot-1"}[what]}


def test_no_page_falls_for_a_rule_that_raises(client: FlaskClient, unruly: Batch) -> None:
    all_open(client, unruly)


def test_nor_where_nothing_of_a_batch_can_be_worked_out(client: FlaskClient, unjudgeable: Batch) -> None:
    all_open(client, unjudgeable)
    to_correct = re.findall(r'href="(/facts/[^"]+/correct)"', client.get("/batches/1").text)
    assert [client.get(path).status_code for path in to_correct[:3]] == [200, 200, 200]


def test_home_says_so_of_that_batch_and_judges_the_other(client: FlaskClient, unjudgeable: Batch) -> None:
    page = client.get("/").text
    first, other = (re.search(rf'<article[^>]*"batch-{n}".*?</article>', page, re.S).group() for n in (1, 2))
    assert "can’t be judged" in first
    assert "Correct an entry" in first
    assert "all within limits" not in first
    assert "can’t be judged" not in other
    assert "germination" in other


def test_the_list_and_the_comparison_name_it(client: FlaskClient, unjudgeable: Batch) -> None:
    for path in ("/batches", "/compare?batch=1&batch=2"):
        assert client.get(path).text.count("can’t be judged") >= 1


@pytest.mark.parametrize("page", ["", "/ahead", "/power-cut"])
def test_the_pages_of_the_batch_show_its_entries_to_be_corrected(
    client: FlaskClient, unjudgeable: Batch, page: str
) -> None:
    answer = client.get(f"/batches/1{page}")
    assert "This batch can’t be judged" in answer.text
    assert "As long as you like" not in answer.text
    assert len(re.findall(r'href="/facts/[^"]+/correct"', answer.text)) > 10


def test_at_the_tub_one_goes_on_recording(app: Flask, client: FlaskClient, unjudgeable: Batch) -> None:
    tub = Tub(client, 1)
    page = client.get(tub.path).text
    assert "can’t be judged" in page
    assert "not steeped yet" not in page
    assert "How long can I sleep?" not in page
    for kind, own in (("turned", {}), ("moisture_test", {"value": "20", "method": "meter"})):
        kept(answer := tub.keep(kind, own))
        assert "Kept. The batch can’t be judged" in client.get(str(answer.location)).text
        assert kind in {fact.kind for fact in facts_of(app, unjudgeable.id)}


def test_its_malt_is_held(client: FlaskClient, unjudgeable: Batch) -> None:
    assert "whether it is food is not known" in client.get("/packs/jar-1").text
    assert "Batch 1 can’t be judged" in text_of(client.get("/packs/jar-1/label"))


def test_the_calendar_tells_the_steps_of_the_other(client: FlaskClient, unjudgeable: Batch) -> None:
    form = next(each for each in forms_of(client.get("/calendar").text) if each.action == "/calendar")
    made = client.post("/calendar", data=form.filled(name="phone"))
    feed = client.get(re.search(r"/calendar/[\w-]{43}\.ics", made.text).group()).text
    assert "SUMMARY:Batch 1: Correct an entry" in feed
    assert "SUMMARY:Batch 2: Turn" in feed


def test_digests_are_rebuilt_for_the_others_and_the_record_is_exported(app: Flask, unjudgeable: Batch) -> None:
    with write(app) as session:
        assert rebuild(session, NOW) == 2
        digests = get_digests(session, [unjudgeable.id])
        assert digests[unjudgeable.id].is_live
    with read_session(app.extensions["engine"]) as session:
        assert sum(record["record"] == "fact" for record in export_records(session)) > 20


def test_why_it_failed_is_logged(client: FlaskClient, unjudgeable: Batch, caplog: pytest.LogCaptureFixture) -> None:
    client.get("/")
    assert "date value out of range" in caplog.text
    assert "batch 1" in caplog.text


def test_what_is_wrong_for_everybody_is_not_hidden(
    client: FlaskClient, app: Flask, house: Batch, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A page that is broken whatever it shows answers as any broken page does."""
    app.config.update(PROPAGATE_EXCEPTIONS=False)
    monkeypatch.setattr("app.web.home.page.glance_at", lambda *_: 1 / 0)
    assert client.get("/").status_code == 500


# The way back, by the pages alone.


def test_the_entry_that_is_named_is_corrected_and_the_batch_judged_again(
    app: Flask, client: FlaskClient, house: Batch
) -> None:
    with write(app) as session:
        store_unasked(session, entry("loaded", id="bad-1", batch=house.id, at=FIRST_DAY))
    page = client.get("/batches/1").text
    assert "This can’t be right" in page
    assert page.partition("This can’t be right")[2].partition("</ul>")[0].count("/correct") == 1
    assert 'href="/facts/bad-1/correct"' in page
    form = next(each for each in forms_of(client.get("/facts/bad-1/correct").text) if "when" in each.choices)
    wrong = client.post("/facts/bad-1/correct", data=form.filled(when="at", at="0202-03-14T09:00"))
    assert (wrong.status_code, wrong_fields(wrong)) == (422, {"when"})
    right = client.post("/facts/bad-1/correct", data=form.filled(when="at", at="2026-03-14T09:00"))
    assert right.status_code == 303, text_of(right)
    assert "can’t be judged" not in client.get("/batches/1").text


def test_or_struck_out(app: Flask, client: FlaskClient, house: Batch) -> None:
    with write(app) as session:
        store_unasked(session, entry("cast", id="bad-1", batch=house.id, at=FIRST_DAY))
    assert client.post("/facts/bad-1/withdraw").status_code == 303
    assert "can’t be judged" not in client.get("/batches/1").text


# Typed at the tub.


@pytest.mark.parametrize("at", ["0001-01-01T00:00", "0202-03-14T09:00", "2026-01-14T09:00", "2026-04-14T09:00"])
@pytest.mark.parametrize("kind", STAGES)
def test_a_stage_of_an_impossible_time_is_refused_at_its_field(app: Flask, tub: Tub, kind: str, at: str) -> None:
    answer = tub.keep(kind, when="at", at=at, note="as typed")
    assert (answer.status_code, wrong_fields(answer)) == (422, {"when"})
    assert "Keep it so" not in answer.text
    sent = tub_form(answer.text).values
    assert (sent["at"], sent["note"]) == (at, "as typed")
    assert facts_of(app) == []


@pytest.mark.parametrize("at", ["0001-01-01T00:00", "9999-12-31T23:59"])
def test_so_is_one_that_no_zone_has(settings: Settings, at: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(ports, "now", lambda: NOW)
    for zone in ("America/New_York", "Asia/Tokyo"):
        app = create_app(replace(settings, zone=ZoneInfo(zone)))
        app.config.update(WTF_CSRF_ENABLED=False)
        with write(app) as session:
            number = add_batch(session).number
        answer = Tub(app.test_client(), number).keep("loaded", when="at", at=at)
        assert (answer.status_code, wrong_fields(answer)) == (422, {"when"})
        app.extensions["engine"].dispose()


def test_a_charge_in_a_year_of_three_digits_is_refused_and_one_years_ago_asked_about(
    app: Flask, client: FlaskClient, batch: Opened
) -> None:
    form = next(each for each in forms_of(client.get("/batches/new?lot=lot-1").text) if "as_is_0" in each.values)
    for at, said in (("0202-03-14T09:00", "a digit missing"), ("2024-03-14T09:00", "more than a year ago")):
        answer = client.post("/batches/new", data=form.filled(as_is_0="25", when="at", at=at))
        assert answer.status_code == 422
        assert said in text_of(answer)
        assert 'value="25"' in answer.text


def test_a_lot_is_not_taken_in_before_it_was_harvested(client: FlaskClient) -> None:
    form = next(each for each in forms_of(client.get("/lots/new").text) if "received_on" in each.values)
    told = {"name": "River", "species": "barley", "net": "100", "harvest": "2025"}
    for day, said in (("0202-03-01", "a digit missing"), ("2015-09-01", "before the lot was harvested (2025)")):
        answer = client.post("/lots/new", data=form.filled(**told, received_on=day))
        assert (answer.status_code, wrong_fields(answer)) == (422, {"received_on"})
        assert said in text_of(answer)
    assert client.post("/lots/new", data=form.filled(**told, received_on="2025-09-01")).status_code == 303


def test_grain_doesn_t_leave_a_batch_before_it_came(app: Flask, client: FlaskClient, batch: Opened) -> None:
    form = next(each for each in forms_of(client.get("/batches/1/split").text) if "as_is_0" in each.values)
    answer = client.post(
        "/batches/1/split", data=form.filled(as_is_0="2", moisture_0="13", when="at", at="2025-12-01T09:00")
    )  # fmt: skip
    assert (answer.status_code, wrong_fields(answer)) == (422, {"when"})
    assert "before the batch was charged" in text_of(answer)
    assert client.get("/batches/2").status_code == 404
