"""Giving a batch another programme on its way."""

from __future__ import annotations

import pytest
from flask import Flask
from flask.testing import FlaskClient

from app.judgement.flags import evaluate
from app.judgement.programmes.programme import load_builtin
from app.judgement.wording import METRIC, Words
from app.operations.programmes import revise_programme
from app.store.batches import list_batches
from app.store.engine import read_session, write_session
from app.store.facts import find_fact
from app.store.history import get_history
from app.web.words.programme_changes import plan_differences
from tests.pages import forms_of
from tests.stories import add_fact, add_story
from tests.writing import NOW

PALE, DIASTATIC, CARAMEL = (load_builtin()[key] for key in ("barley_pale", "barley_diastatic", "caramel"))
GRAIN = "limits/grain_temperature.germination"


@pytest.fixture
def path(app: Flask) -> str:
    with write_session(app.extensions["engine"]) as session:
        return f"/batches/{add_story(session, hours_ago=60).number}/programme"


def send(client: FlaskClient, path: str, **changes: str):
    form = next(form for form in forms_of(client.get(path).text) if form.action == path)
    return client.post(path, data=form.filled(**changes))


def batch_id(app: Flask) -> str:
    with read_session(app.extensions["engine"]) as session:
        return list_batches(session)[0].id


def row_of(client: FlaskClient, fact_id: str) -> str:
    page = client.get("/batches/1").text
    return " ".join(page[page.index(f'id="fact-{fact_id}"') :].partition("</tr>")[0].split())


def test_it_works_and_earlier_readings_stay_judged_by_the_earlier_programme(
    app: Flask, client: FlaskClient, path: str
) -> None:
    answer = send(client, path, programme=DIASTATIC.digest)
    assert answer.status_code == 303
    with read_session(app.extensions["engine"]) as session:
        history = get_history(session, batch_id(app))
    change = history.of_kind("programme_change")[0]
    first = history.facts[0].at
    assert history.programme_at(first) == PALE
    assert history.programme_at(change.at) == DIASTATIC
    page = client.get(path.removesuffix("/programme")).text
    assert DIASTATIC.name in page


def test_the_programme_it_follows_already_is_not_offered(client: FlaskClient, path: str) -> None:
    page = client.get(path).text
    assert f'value="{PALE.digest}"' not in page
    assert f'value="{DIASTATIC.digest}"' in page


def test_none_chosen_is_named_at_its_field(app: Flask, client: FlaskClient, path: str) -> None:
    answer = send(client, path)
    assert answer.status_code == 422
    assert "Programme is missing." in answer.text


def test_an_unknown_programme_is_refused(app: Flask, client: FlaskClient, path: str) -> None:
    form = next(form for form in forms_of(client.get(path).text) if form.action == path)
    answer = client.post(path, data=form.filled() | {"programme": "0" * 64})
    assert answer.status_code == 422
    assert "no such programme" in answer.text


def test_sent_twice_it_is_kept_once(app: Flask, client: FlaskClient, path: str) -> None:
    form = next(form for form in forms_of(client.get(path).text) if form.action == path)
    sent = form.filled(programme=DIASTATIC.digest)
    assert [client.post(path, data=sent).status_code for _ in range(2)] == [303, 303]
    with read_session(app.extensions["engine"]) as session:
        assert find_fact(session, sent["id"]) is not None
        assert len(get_history(session, batch_id(app)).of_kind("programme_change")) == 1


def test_an_unknown_batch_is_not_found(client: FlaskClient) -> None:
    assert client.get("/batches/99/programme").status_code == 404


@pytest.mark.usefixtures("morning")
def test_a_reading_is_judged_by_the_programme_of_its_time(app: Flask, client: FlaskClient) -> None:
    with write_session(app.extensions["engine"]) as session:
        batch = add_story(session, hours_ago=100)
        cool = {f"{GRAIN}/target/high": 15.5, f"{GRAIN}/caution/high": 16.0, f"{GRAIN}/act/high": 17.0}
        cooler = revise_programme(session, PALE, cool, now=NOW)
        for hours_ago, name in ((9, "before"), (2, "after")):
            add_fact(session, batch, "grain_temperature", {"value": 17.5}, id=name, hours_ago=hours_ago)
    sent = {"programme": cooler.digest, "when": "at", "at": "2026-03-14T04:30"}
    assert send(client, "/batches/1/programme", **sent).status_code == 303
    with read_session(app.extensions["engine"]) as session:
        flags = evaluate(get_history(session, batch.id), NOW)
    out = {fact_id for flag in flags if flag.rule == "out_of_limits" for fact_id in flag.fact_ids}
    assert out == {"after"}


def test_the_record_says_from_what_to_what(app: Flask, client: FlaskClient, path: str) -> None:
    form = next(form for form in forms_of(client.get(path).text) if form.action == path)
    client.post(path, data=form.filled(programme=DIASTATIC.digest, note="the baker asked"))
    row = row_of(client, form.values["id"])
    assert f"from {PALE.name} to {DIASTATIC.name}" in row
    assert "the baker asked" in row


def test_two_revisions_of_one_name_are_told_apart(app: Flask, client: FlaskClient, path: str) -> None:
    with write_session(app.extensions["engine"]) as session:
        revised = revise_programme(session, PALE, {f"{GRAIN}/target/high": 16.0}, now=NOW)
    form = next(form for form in forms_of(client.get(path).text) if form.action == path)
    client.post(path, data=form.filled(programme=revised.digest))
    row = row_of(client, form.values["id"])
    assert f"from {PALE.name} ({PALE.digest[:7]}) to {PALE.name} ({revised.digest[:7]})" in row


def test_what_would_differ_is_shown_before_one_chooses(client: FlaskClient, path: str) -> None:
    page = client.get(path).text
    assert "What would differ" in page
    rows = page.partition("What would differ")[2]
    assert CARAMEL.name in rows
    assert "Stewing" in rows


def test_differences_are_told_by_stage_and_by_limit_and_never_twice() -> None:
    rows = {row.name: (row.old, row.new) for row in plan_differences(PALE, CARAMEL, METRIC)}
    # The plans: 5 days of germination against 5.5, no stewing against two hours.
    assert rows["Germination"] == ("120\u00a0h", "132\u00a0h")
    assert rows["Stewing"] == ("", "2\u00a0h")
    said = ("0.7 to 0.8 of the kernel", "0.75 to 0.95 of the kernel")
    assert rows["Mean acrospire: target"] == tuple(each.replace(" ", "\u00a0") for each in said)
    assert plan_differences(PALE, PALE, METRIC) == []


def test_differences_are_told_in_the_readers_unit() -> None:
    rows = {row.name: row.new for row in plan_differences(PALE, CARAMEL, Words("us"))}
    # 90 to 140 °C.
    assert rows["Air-on while curing: target"] == "194 to 284 °F".replace(" ", "\u00a0")


@pytest.mark.usefixtures("morning")
def test_after_its_end_it_is_asked_about(app: Flask, client: FlaskClient) -> None:
    with write_session(app.extensions["engine"]) as session:
        add_story(session, hours_ago=400)
    answer = send(client, "/batches/1/programme", programme=DIASTATIC.digest)
    assert answer.status_code == 422
    assert "The batch was finished" in answer.text
    assert "Other programme" not in client.get("/batches/1").text


def test_its_correction_keeps_the_programme_and_says_how_to_choose_another(client: FlaskClient, path: str) -> None:
    form = next(form for form in forms_of(client.get(path).text) if form.action == path)
    client.post(path, data=form.filled(programme=DIASTATIC.digest))
    page = client.get(f"/facts/{form.values['id']}/correct").text
    assert "The programme stays as it is" in page
    sheet = next(each for each in forms_of(page) if "when" in each.choices)
    assert sheet.values["programme"] == DIASTATIC.digest
    assert client.post(sheet.action, data=sheet.filled(note="said late")).status_code == 303
    assert f"to {DIASTATIC.name}" in client.get("/batches/1").text
