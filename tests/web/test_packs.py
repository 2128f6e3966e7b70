"""Sacks and jars: the list of them, and the page of one."""

from __future__ import annotations

import pytest
from flask import Flask
from flask.testing import FlaskClient
from sqlalchemy.orm import Session

from app.judgement.facts.shapes import Subject
from app.operations.facts import record_fact, withdraw_fact
from app.store.batches import Batch
from app.store.engine import write_session
from app.store.facts import find_fact, list_facts_about
from app.store.packs import get_pack, load_pack_stories
from tests.stories import add_story, statements
from tests.writing import NOW, entry, fill_jar, iso

pytestmark = pytest.mark.usefixtures("morning")


def typed(kg: str) -> dict[str, str]:
    return {"as_is": kg, "as_is_unit": "kg", "moisture": "4.5", "moisture_unit": "percent"}


def fill(app: Flask, batch: Batch, pack_id: str = "jar-3", kg: str = "2.5", name: str = "Jar 3") -> None:
    with write_session(app.extensions["engine"]) as session:
        fill_jar(session, pack_id, batch=batch.id, name=name, as_is=kg)


def finished(app: Flask, hours_ago: float = 400, *, is_declared: bool = True) -> Batch:
    with write_session(app.extensions["engine"]) as session:
        return add_story(session, hours_ago=hours_ago, is_declared=is_declared)


def charge_for_roast(session: Session, roast: Batch) -> None:
    """One kilogram of the jar goes into a batch."""
    values = {"source": "pack:jar-3", "target": f"batch:{roast.id}", "as_is_kg": 1.0, "moisture_wb": 0.045}
    about = {"type": "batch", "id": roast.id}
    record_fact(
        session, {"id": "r", "kind": "roast_charge", "subject": about, "at": iso(NOW), "values": values}, now=NOW
    )


@pytest.fixture
def jar(app: Flask) -> Batch:
    batch = finished(app)
    fill(app, batch)
    return batch


def test_the_list_tells_from_which_batch_each_came_and_what_is_left(client: FlaskClient, jar: Batch):
    page = client.get("/packs").text
    assert '<a href="/packs/jar-3">Jar 3</a>' in page
    assert '<a href="/batches/1">batch 1</a>' in page
    assert "2500\u00a0g" in page
    assert "14 Mar 2026" in page
    assert "4.5\u00a0%" in page
    assert "declared" in page


def test_the_page_tells_what_it_is_made_of_and_by_which_plan(client: FlaskClient, jar: Batch):
    page = client.get("/packs/jar-3").text
    assert "barley" in page
    assert f'href="/programmes/{jar.programme}"' in page
    assert "declared untreated, for food" in page
    assert "Packed from" in page
    assert "Anna" in page


def test_the_page_says_that_malt_is_not_ready_to_eat_and_holds_gluten(client: FlaskClient, jar: Batch):
    page = client.get("/packs/jar-3").text
    assert "not a ready-to-eat food" in page
    assert "hold gluten" in page


def test_the_batch_leads_to_its_packs_and_the_list_of_batches_to_all(client: FlaskClient, jar: Batch):
    assert 'href="/packs/jar-3"' in client.get("/batches/1").text
    assert 'href="/packs"' in client.get("/batches").text


def test_what_was_roasted_of_it_is_no_longer_left_and_leads_to_the_roast(app: Flask, client: FlaskClient, jar: Batch):
    with write_session(app.extensions["engine"]) as session:
        other = add_story(session, hours_ago=30)
        charge_for_roast(session, other)
    page = client.get("/packs/jar-3").text
    assert "1500\u00a0g" in page
    assert 'Roasted in <a href="/batches/2">' in page
    assert 'href="/batches/roast?from=pack:jar-3"' in page


def test_malt_of_grain_that_nobody_declared_is_held_loudly(app: Flask, client: FlaskClient):
    fill(app, finished(app, is_declared=False))
    page = client.get("/packs/jar-3").text
    assert "Held: no label and no malt sheet" in page
    assert 'href="/packs/jar-3/label"' not in page
    assert "■" in client.get("/packs").text


def test_a_roast_of_held_malt_is_held_too(app: Flask, client: FlaskClient):
    fill(app, finished(app, is_declared=False))
    with write_session(app.extensions["engine"]) as session:
        # A batch of nothing but the held jar: its own lot is not known until the jar's is.
        roast = add_story(session, hours_ago=30)
        charged = next(each for each in list_facts_about(session, Subject("batch", roast.id)) if each.kind == "charge")
        withdraw_fact(session, charged, new_id="w", now=NOW)
        charge_for_roast(session, roast)
    fill(app, roast, "amber", "0.8", "Amber")
    assert "Held: no label" in client.get("/packs/amber").text


def test_a_filling_that_was_struck_out_leaves_an_empty_pack_that_is_not_offered_for_a_roast(
    app: Flask, client: FlaskClient, jar: Batch
):
    with write_session(app.extensions["engine"]) as session:
        filling = find_fact(session, "filled-jar-3")
        assert filling is not None
        withdraw_fact(session, filling, new_id="w", now=NOW, reason="that was jar 4", entered_by="Mary")
    page = client.get("/packs/jar-3").text
    assert "its filling was struck out" in page
    assert "struck out by Mary: that was jar 4" in page
    assert "Dispatch</a>" not in page
    assert "pack:jar-3" not in client.get("/batches/roast").text


def test_a_test_of_the_malt_in_it_tells_its_moisture(app: Flask, client: FlaskClient, jar: Batch):
    about = {"type": "pack", "id": "jar-3"}
    with write_session(app.extensions["engine"]) as session:
        record = {"id": "t", "kind": "moisture_test", "subject": about, "at": iso(NOW), "values": {"value": 0.062}}
        record_fact(session, record, now=NOW)
    assert "6.2\u00a0%" in client.get("/packs/jar-3").text
    assert "tested 14 Mar 2026" in client.get("/packs").text


def test_a_dispatch_can_be_corrected_and_leads_back_to_the_pack(app: Flask, client: FlaskClient, jar: Batch):
    with write_session(app.extensions["engine"]) as session:
        typed = {"source": "pack:jar-3", "target": "house:house", "as_is": "1", "moisture": "4.5"}
        about = {"type": "pack", "id": "jar-3"}
        record_fact(session, entry("dispatch", typed, id="d") | {"subject": about}, now=NOW)
    answer = client.post("/facts/d/withdraw", data={"id": "w", "reason": "not gone"})
    assert answer.location == "/packs/jar-3"
    with write_session(app.extensions["engine"]) as session:
        story = load_pack_stories(session, [get_pack(session, "jar-3")])[0]
    assert [fact.kind for fact in story.standing] == ["pack"]


def test_a_house_without_packs_says_where_they_come_from(client: FlaskClient):
    assert "No packs yet" in client.get("/packs").text
    assert "No packs this far back" in client.get("/packs?page=3").text


def test_a_pack_that_is_not_there_is_not_found(client: FlaskClient):
    for path in ("/packs/none", "/packs/none/dispatch", "/packs/none/label"):
        assert client.get(path).status_code == 404


def test_words_of_people_are_no_markup(app: Flask, client: FlaskClient, jar: Batch):
    fill(app, jar, "bad", "1", "<b>Jar</b>")
    for path in ("/packs", "/packs/bad", "/packs/bad/label", "/packs/bad/dispatch"):
        assert "<b>Jar" not in client.get(path).text


def test_as_many_statements_for_many_as_for_few_and_never_more_than_a_page_of_them(
    app: Flask, client: FlaskClient, jar: Batch
):
    paths = ("/packs", "/packs/jar-3")
    counts = []
    for place in range(2):
        if place:
            other = finished(app, 420)
            for each in range(24):
                fill(app, (jar, other)[each % 2], f"jar-{each + 10}", "0.1", f"Jar {each + 10}")
        for path in paths:
            with statements(app) as seen:
                assert client.get(path).status_code == 200
            counts.append(len(seen))
    assert counts[:2] == counts[2:]
    assert max(counts) <= 10
    assert "/packs?page=2" in client.get("/packs").text
