"""Roasting finished malt, from its batch or from a pack."""

from __future__ import annotations

import re
from datetime import timedelta

import pytest
from flask import Flask
from flask.testing import FlaskClient
from sqlalchemy import select
from werkzeug.test import TestResponse

from app.judgement.history.stages import all_stages
from app.judgement.measures.summary import LEFT
from app.judgement.programmes.programme import load_builtin
from app.operations.digests import refresh_digests
from app.operations.facts import record_fact
from app.store.batches import get_batch
from app.store.digests import get_digests
from app.store.engine import read_session, write_session
from app.store.history import get_history
from app.store.packs import Pack
from tests.pages import PageForm, forms_of
from tests.stories import add_story, statements
from tests.writing import NOW, count_facts, fill_jar, iso

AMBER = load_builtin()["amber"].digest


@pytest.fixture(autouse=True)
def finished(app: Flask, morning: None) -> str:
    with write_session(app.extensions["engine"]) as session:
        return add_story(session, hours_ago=400, title="spring").id


def blank(client: FlaskClient, source: str) -> PageForm:
    page = client.get(f"/batches/roast?from={source}").text
    return next(form for form in forms_of(page) if form.action == "/batches/roast")


def send(client: FlaskClient, source: str, **changes: str) -> TestResponse:
    return client.post("/batches/roast", data=blank(client, source).filled(**{"as_is_0": "2", **changes}))


def history_of(app: Flask, number: int):
    with read_session(app.extensions["engine"]) as session:
        return get_history(session, get_batch(session, number).id)


def a_jar(app: Flask, client: FlaskClient) -> str:
    form = next(each for each in forms_of(client.get("/batches/1/pack").text) if each.action == "/batches/1/pack")
    client.post("/batches/1/pack", data=form.filled(name="Jar 3", as_is_0="5"))
    with read_session(app.extensions["engine"]) as session:
        return str(session.scalars(select(Pack.id)).one())


def test_malt_of_a_finished_batch_is_roasted(app: Flask, client: FlaskClient, finished: str):
    answer = send(client, f"batch:{finished}")
    assert answer.location == "/batches/2/tub"
    roast = history_of(app, 2)
    assert roast.programme is not None
    assert roast.programme.digest == AMBER
    (part,) = roast.charges
    assert (part.kind, part.source.id, part.as_is_kg) == ("roast_charge", finished, 2.0)
    # The plan ends at 4.5 %.
    assert part.moisture_wb == pytest.approx(0.045, abs=0.001)
    assert all_stages(roast)[-1].name == "charged"


def test_malt_of_a_jar_is_roasted(app: Flask, client: FlaskClient):
    jar = a_jar(app, client)
    answer = send(client, f"pack:{jar}")
    assert answer.status_code == 303
    assert history_of(app, 2).charges[0].source.id == jar
    assert history_of(app, 2).batch.species == "barley"


def test_without_a_source_one_is_chosen_first(app: Flask, client: FlaskClient, finished: str):
    jar = a_jar(app, client)
    page = client.get("/batches/roast").text
    assert f"from=batch:{finished}" in page
    assert f"from=pack:{jar}" in page


def test_a_batch_still_growing_is_not_offered(client: FlaskClient, app: Flask):
    with write_session(app.extensions["engine"]) as session:
        add_story(session, hours_ago=30, title="growing")
    page = client.get("/batches/roast").text
    assert "spring" in page
    assert "growing" not in page


def test_more_than_the_jar_holds_is_asked_about(app: Flask, client: FlaskClient):
    jar = a_jar(app, client)
    answer = send(client, f"pack:{jar}", as_is_0="9")
    assert answer.status_code == 422
    assert "Jar 3 has 5.000 kg left" in answer.text
    assert client.get("/batches/2").status_code == 404


def test_bad_input_is_named_and_nothing_is_kept(app: Flask, client: FlaskClient, finished: str):
    with read_session(app.extensions["engine"]) as session:
        before = count_facts(session)
    answer = send(client, f"batch:{finished}", as_is_0="some")
    assert answer.status_code == 422
    assert "is not a number" in answer.text
    with read_session(app.extensions["engine"]) as session:
        assert count_facts(session) == before


def test_an_unknown_source_is_not_found(client: FlaskClient):
    assert client.get("/batches/roast?from=batch:none").status_code == 404
    assert client.post("/batches/roast", data={"source_0": "pack:none"}).status_code == 400


def choices(client: FlaskClient) -> str:
    return client.get("/batches/roast").text.replace("\u00a0", " ")


def test_a_jar_whose_grain_nobody_declared_is_said_to_be_held(app: Flask, client: FlaskClient):
    jar = a_jar(app, client)
    assert "held" not in choices(client)
    assert "Held:" not in client.get(f"/batches/roast?from=pack:{jar}").text
    with write_session(app.extensions["engine"]) as session:
        batch = add_story(session, hours_ago=500, title="undeclared", is_declared=False)
        fill_jar(session, "jar-9", batch=batch.id, name="Jar 9", as_is="2")
    assert re.search(r"Jar 9 · barley · [\d.]+ k?g left · held", choices(client))
    assert re.search(r"Jar 3 · barley · [\d.]+ k?g left(?! · held)", choices(client))
    assert "Held: its grain is not declared" in client.get("/batches/roast?from=pack:jar-9").text


def test_a_jar_of_mouldy_malt_is_said_to_be_held(app: Flask, client: FlaskClient, finished: str):
    jar = a_jar(app, client)
    with write_session(app.extensions["engine"]) as session:
        seen = {"id": "mould", "kind": "inspection", "subject": {"type": "batch", "id": finished}}
        record_fact(session, seen | {"at": iso(NOW - timedelta(hours=30)), "typed": {"mould": "yes"}}, now=NOW)
    assert "5.000 kg left · held" in choices(client)
    assert "Held: no food" in client.get(f"/batches/roast?from=pack:{jar}").text


def test_as_many_statements_for_many_jars_as_for_one(app: Flask, client: FlaskClient, finished: str):
    def asked() -> int:
        with statements(app) as seen:
            assert client.get("/batches/roast").status_code == 200
        return len(seen)

    a_jar(app, client)
    one = asked()
    with write_session(app.extensions["engine"]) as session:
        for number in range(4, 9):
            fill_jar(session, f"j{number}", batch=finished, name=f"Jar {number}", as_is="1")
        refresh_digests(session, [finished], NOW)
    assert asked() == one


def offered(client: FlaskClient) -> str:
    return client.get("/batches/roast").text.partition("<h1>")[2]


def test_the_choice_is_the_same_by_what_is_remembered_as_by_the_facts(app: Flask, client: FlaskClient, finished: str):
    a_jar(app, client)
    remembered = offered(client)
    with write_session(app.extensions["engine"]) as session:
        digest = get_digests(session, [finished])[finished]
        assert LEFT in digest.measures
        digest.measures = {key: value for key, value in digest.measures.items() if key != LEFT}
    assert offered(client) == remembered


def test_malt_whose_roast_is_struck_out_is_offered_again(app: Flask, client: FlaskClient, finished: str):
    a_jar(app, client)
    source = f"from=batch:{finished}"
    assert source in offered(client)
    with read_session(app.extensions["engine"]) as session:
        left_kg = get_digests(session, [finished])[finished].measures[LEFT]["as_is_kg"]
    assert send(client, f"batch:{finished}", as_is_0=repr(left_kg)).status_code == 303
    assert source not in offered(client)
    (part,) = history_of(app, 2).charges
    assert client.post(f"/facts/{part.id}/withdraw").status_code == 303
    assert source in offered(client)
