"""Charging a batch from one or more lots."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from html import unescape
from typing import Any

import pytest
from flask import Flask
from flask.testing import FlaskClient
from sqlalchemy import select
from sqlalchemy.orm import Session
from werkzeug.test import TestResponse

from app import ports
from app.judgement.history.history import History
from app.judgement.programmes.programme import load_builtin
from app.operations.facts import record_fact
from app.operations.lots import create_lot
from app.store.batches import Batch
from app.store.engine import read_session, write_session
from app.store.history import get_history
from app.store.lots import get_lot
from tests.pages import PageForm, forms_of, insisting, value_shown
from tests.writing import LOT, NOW, PROGRAMME, add_lot, count_facts, iso, taken_in

WHEAT = "lot-wheat"


@pytest.fixture(autouse=True)
def lot(app: Flask, morning: None) -> None:
    with write_session(app.extensions["engine"]) as session:
        add_lot(session)


@pytest.fixture
def wheat(app: Flask) -> None:
    with write_session(app.extensions["engine"]) as session:
        intake = taken_in(WHEAT, id="intake-wheat", typed={"net": "50"})
        create_lot(session, lot_id=WHEAT, name="Croft wheat", species="wheat", now=NOW, facts=[intake])


def blank(client: FlaskClient, lot: str = LOT) -> PageForm:
    return next(form for form in forms_of(client.get(f"/batches/new?lot={lot}").text) if form.action == "/batches/new")


def send(client: FlaskClient, lot: str = LOT, **changes: str) -> TestResponse:
    return client.post("/batches/new", data=blank(client, lot).filled(**{"as_is_0": "25", **changes}))


def looked_up(app: Flask) -> tuple[list[Batch], list[History]]:
    with read_session(app.extensions["engine"]) as session:
        batches = list(session.scalars(select(Batch).order_by(Batch.number)))
        return batches, [get_history(session, batch.id) for batch in batches]


def counted(app: Flask) -> tuple[int, int]:
    with read_session(app.extensions["engine"]) as session:
        return len(list(session.scalars(select(Batch.id)))), count_facts(session)


def refused(answer: TestResponse, app: Flask, *said: str) -> None:
    """Refused with these words, and nothing of it kept."""
    assert answer.status_code == 422
    for text in said:
        assert text in unescape(answer.text)
    assert counted(app) == (0, 1)


def test_a_lot_is_charged_and_leads_to_the_tub(app: Flask, client: FlaskClient):
    answer = send(client, vessel="tub 2", title="spring pale")
    assert answer.status_code == 303
    assert answer.location == "/batches/1/tub"
    (batch,), (history,) = looked_up(app)
    assert (batch.vessel, batch.title, batch.species) == ("tub 2", "spring pale", "barley")
    (part,) = history.charges
    assert part.source.id == LOT
    assert part.as_is_kg == 25.0
    assert part.moisture_wb == pytest.approx(0.13)
    assert part.at == NOW
    assert "Batch 1 has begun" in client.get(answer.location).text


def test_the_form_comes_with_the_lots_moisture_and_a_programme_for_its_grain(client: FlaskClient):
    form = blank(client)
    assert form.values["moisture_0"] == "13.0"
    assert form.values["known_0"] == "lot"
    assert form.values["programme"] in {each.digest for each in load_builtin().values() if "barley" in each.species}
    assert form.values["programme"] != load_builtin()["roasted"].digest


def test_a_decimal_comma_is_read(app: Flask, client: FlaskClient):
    send(client, as_is_0="1,5", moisture_0="12,5")
    part = looked_up(app)[1][0].charges[0]
    assert (part.as_is_kg, part.moisture_wb) == pytest.approx((1.5, 0.125))


def test_pounds_are_kept_as_kilograms(app: Flask, client: FlaskClient):
    send(client, as_is_0="10", as_is_unit_0="lb")
    # NIST SP 811: one pound is 0.453 592 37 kg.
    assert looked_up(app)[1][0].charges[0].as_is_kg == pytest.approx(4.5359237)


def test_sent_twice_it_is_one_batch(app: Flask, client: FlaskClient):
    values = blank(client).filled(as_is_0="25")
    first, second = (client.post("/batches/new", data=values) for _ in range(2))
    assert first.location == second.location == "/batches/1/tub"
    assert counted(app) == (1, 2)
    assert "That is batch 1 already" in client.get(second.location).text


def test_two_lots_go_into_one_batch_of_the_larger_ones_grain(app: Flask, client: FlaskClient, wheat: None):
    answer = send(client, **{"source_1": f"lot:{WHEAT}", "as_is_1": "40", "moisture_1": "14", "known_1": "measured"})
    assert answer.status_code == 303
    (batch,), (history,) = looked_up(app)
    assert batch.species == "wheat"
    assert sorted(part.as_is_kg for part in history.charges) == [25.0, 40.0]


def test_an_empty_moisture_is_the_lots_last(app: Flask, client: FlaskClient):
    send(client, moisture_0="", known_0="lot")
    part = looked_up(app)[1][0].charges[0]
    assert part.moisture_wb == pytest.approx(0.13)
    assert part.method == "lot"


def test_with_several_lots_one_is_chosen_first(client: FlaskClient, wheat: None):
    page = client.get("/batches/new").text
    assert f"/batches/new?lot={LOT}" in page
    assert f"/batches/new?lot={WHEAT}" in page
    assert "500.0 kg left" in page


def test_programmes_for_the_grain_come_first(client: FlaskClient, wheat: None):
    page = client.get(f"/batches/new?lot={WHEAT}").text
    others = page.index("Programmes for other grain")
    assert page.index("Wheat, base malt") < others < page.index("Barley, pale base malt")


def test_the_programmes_for_a_grain_lie_together_by_what_they_are_for(client: FlaskClient):
    page = client.get(f"/batches/new?lot={LOT}").text
    places = [page.index(f"<summary>{name} <small") for name in ("Base malt", "For its enzymes", "In a kitchen")]
    assert places == sorted(places)
    assert places[0] < page.index("Vienna malt") < places[1] < page.index("Barley, distilling malt") < places[2]
    fold = page[: places[0]].rpartition("<details")[2]
    assert " open" in fold
    assert page.count("<details open>") == 1


def test_of_a_grain_that_no_programme_is_for_the_plain_pale_malt_is_offered(app: Flask, client: FlaskClient):
    with write_session(app.extensions["engine"]) as session:
        get_lot(session, LOT).species = "amaranth"
    assert blank(client).values["programme"] == load_builtin()["barley_pale"].digest


def test_the_programme_used_last_for_a_grain_is_offered(client: FlaskClient):
    dark = load_builtin()["barley_dark"].digest
    send(client, programme=dark)
    assert blank(client).values["programme"] == dark


def test_an_undeclared_lot_is_charged_but_said_to_be_held(app: Flask, client: FlaskClient):
    assert "Held: not declared" in client.get(f"/batches/new?lot={LOT}").text
    answer = send(client)
    assert answer.status_code == 303
    assert "Held" in client.get(answer.location).text


def test_a_declared_lot_is_not_said_to_be_held(app: Flask, client: FlaskClient):
    with write_session(app.extensions["engine"]) as session:
        typed = {"untreated": "yes", "for_food": "yes", "by": "Mary", "ground": "her letter"}
        about = {"type": "lot", "id": LOT}
        record_fact(
            session, {"id": "d", "kind": "declaration", "subject": about, "at": iso(NOW), "typed": typed}, now=NOW
        )
    assert "Held" not in client.get(f"/batches/new?lot={LOT}").text


def dish(id: str, kind: str, typed: dict[str, str], days_ago: float = 1.0, **more: Any) -> dict[str, Any]:
    at = iso(NOW - timedelta(days=days_ago))
    return {"id": id, "kind": kind, "subject": {"type": "lot", "id": LOT}, "at": at, "typed": typed} | more


def grew(number: int, water: str = "4ml", days_ago: float = 1.0) -> dict[str, Any]:
    typed = {"looked_at": "100", "day_1": "0", "day_2": str(number), "day_3": "0"}
    return dish(f"dish-{water}", "germination_test", typed, days_ago, method=water)


def asleep() -> dict[str, Any]:
    return dish("peroxide", "capacity_test", {"looked_at": "200", "not_germinated": "2"})


@pytest.mark.parametrize(
    ("tests", "shape", "verdict", "why"),
    [
        (
            [],
            "◆",
            "not tested",
            "Not tested yet: lay out 100 kernels on 4 mL of water and count for three days which grow.",
        ),
        ([grew(98)], "●", "fit", "98 % of 100 grew in three days in 4 mL: at least the 95 % asked"),
        ([grew(90)], "▲", "weak", "90 % of 100 grew in three days in 4 mL: below the 95 % asked"),
        ([grew(60)], "■", "unfit", "60 % of 100 grew in three days in 4 mL: below the 95 % asked"),
        (
            [grew(80), asleep()],
            "▲",
            "wait and retest: dormant",
            "99 % are alive, 19 points (12 to 28) more than grew: asleep",
        ),
        ([grew(98), grew(50, "8ml")], "▲", "water sensitive", "Water costs it 48 points (37 to 58)"),
        # By Newcombe 98 and 60 of 100 are 28 to 48 points apart: 30, from where on it counts, lies between.
        ([grew(98), grew(60, "8ml")], "▲", "can’t tell: may be water sensitive", "Water costs it 38 points (28 to 48)"),
        ([grew(98, days_ago=90)], "◆", "fit", "The test is 90 days old: test again before you charge."),
    ],
)
def test_the_lots_verdict_and_why_stand_beside_it(
    app: Flask, client: FlaskClient, tests: list[dict[str, Any]], shape: str, verdict: str, why: str
):
    with write_session(app.extensions["engine"]) as session:
        for record in tests:
            record_fact(session, record, now=NOW)
    page = unescape(client.get(f"/batches/new?lot={LOT}").text).replace("\u00a0", " ")
    said = page[page.index('<form class="stack begin"') :]
    assert f'aria-hidden="true">{shape}</span> {verdict}</span> ' in said
    assert why in said
    assert f'href="/lots/{LOT}#alive"' in said


def test_the_verdict_stands_in_the_choice_of_lots_and_of_further_lots_too(client: FlaskClient, wheat: None):
    assert client.get("/batches/new").text.count(" left · not tested") == 2
    further = unescape(client.get(f"/batches/new?lot={LOT}").text).split('name="source_1"')[1].split("</select>")[0]
    assert "Croft wheat · wheat · 50.00 kg left · not tested" in further.replace("\u00a0", " ")


def test_more_than_is_in_stock_is_asked_about_and_kept_when_insisted_on(app: Flask, client: FlaskClient):
    asked = send(client, as_is_0="600")
    refused(asked, app, "500.0 kg left", "600.0 kg", "Keep it so")
    assert client.post("/batches/new", data=insisting(asked.text)).status_code == 303
    assert looked_up(app)[1][0].charges[0].as_is_kg == 600.0


def test_changed_after_the_question_it_is_asked_about_anew(app: Flask, client: FlaskClient):
    asked = send(client, as_is_0="600")
    again = client.post("/batches/new", data=insisting(asked.text, as_is_0="2000"))
    refused(again, app, "500.0 kg left", "2000 kg", "Keep it so")


def test_enter_is_no_answer_to_the_question(app: Flask, client: FlaskClient):
    form = next(form for form in forms_of(send(client, as_is_0="600").text) if form.action == "/batches/new")
    default = form.buttons[0]
    assert default[1] is None
    refused(client.post("/batches/new", data=form.values), app, "500.0 kg left")


def test_a_time_to_come_is_asked_about(app: Flask, client: FlaskClient):
    refused(send(client, when="at", at="2026-03-15T09:30"), app, "still to come")


def test_a_time_of_that_day_is_read_in_the_houses_zone(app: Flask, client: FlaskClient):
    send(client, when="at", at="2026-03-14T07:15")
    # Dublin is on UTC until 29 March 2026.
    assert looked_up(app)[1][0].charges[0].at.isoformat() == "2026-03-14T07:15:00+00:00"


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({"as_is_0": ""}, "Say how much goes in"),
        ({"as_is_0": "lots"}, "is not a number"),
        ({"as_is_0": "-3"}, "can't be below"),
        ({"as_is_0": "0"}, "Nothing goes in"),
        ({"moisture_0": "113"}, "can't be above"),
        ({"moisture_0": "wet"}, "is not a number"),
        ({"moisture_0": "", "known_0": "measured"}, "Moisture is missing"),
        ({"when": "at", "at": "soon"}, "not a date and time"),
        ({"title": "x" * 81}, "At most 80 characters"),
        ({"as_is_1": "3"}, "Choose where it comes from"),
    ],
)
def test_what_cannot_be_read_is_named_and_kept_on_the_page(
    app: Flask, client: FlaskClient, changes: dict[str, str], said: str
):
    answer = send(client, **changes)
    refused(answer, app, said)
    for name, value in changes.items():
        assert value_shown(answer.text, name) == value


def test_without_a_programme_nothing_begins(app: Flask, client: FlaskClient):
    values = blank(client).filled(as_is_0="25")
    del values["programme"]
    refused(client.post("/batches/new", data=values), app, "Choose the programme")


def test_a_made_up_programme_is_refused(app: Flask, client: FlaskClient):
    values = blank(client).filled(as_is_0="25") | {"programme": "f" * 64}
    refused(client.post("/batches/new", data=values), app, "Choose the programme")


def test_the_same_lot_twice_is_refused(app: Flask, client: FlaskClient):
    refused(send(client, **{"source_1": f"lot:{LOT}", "as_is_1": "3", "moisture_1": "13"}), app, "named twice")


def test_a_lot_that_is_not_there_is_not_found(app: Flask, client: FlaskClient):
    assert client.get("/batches/new?lot=none").status_code == 404
    values = blank(client).filled(as_is_0="25") | {"source_0": "lot:none"}
    assert client.post("/batches/new", data=values).status_code == 400
    assert counted(app) == (0, 1)


def test_a_second_lot_that_is_not_there_is_refused_and_nothing_is_left(app: Flask, client: FlaskClient):
    values = blank(client).filled(as_is_0="25") | {"source_1": "lot:none", "as_is_1": "2", "moisture_1": "12"}
    refused(client.post("/batches/new", data=values), app, "There is no such lot here")


def test_an_empty_house_is_told_to_take_a_lot_in(app: Flask, client: FlaskClient, session: Session):
    from sqlalchemy import text

    for table in ("fact_weighing", "fact", "lot"):
        session.execute(text(f"DELETE FROM {table}"))
    session.commit()
    page = client.get("/batches/new").text
    assert "No lot yet" in page
    assert 'href="/lots/new"' in page


def test_the_plan_of_a_programme_is_drawn(client: FlaskClient):
    page: Any = client.get(f"/batches/new?lot={LOT}").text
    assert "Plan of Barley, pale base malt: immersion 6 h, air rest 14 h" in page
    assert PROGRAMME in page


def test_a_house_without_malt_has_nothing_to_roast(client: FlaskClient):
    page = client.get("/batches/roast").text
    assert "No finished malt yet" in page
    assert "<form" not in page


@pytest.mark.parametrize(("which", "hour"), [("first", 0), ("second", 1)])
def test_a_time_that_came_twice_that_night_asks_which_one(
    app: Flask, client: FlaskClient, monkeypatch: pytest.MonkeyPatch, which: str, hour: int
):
    monkeypatch.setattr(ports, "now", lambda: datetime(2026, 10, 25, 9, 0, tzinfo=UTC))
    answer = send(client, when="at", at="2026-10-25T01:30")
    refused(answer, app, "this time came twice")
    again = next(form for form in forms_of(answer.text) if form.action == "/batches/new")
    assert client.post("/batches/new", data=again.filled(fold=which)).status_code == 303
    assert looked_up(app)[1][0].charges[0].at == datetime(2026, 10, 25, hour, 30, tzinfo=UTC)


def test_grain_that_is_charged_before_its_lot_was_taken_in_is_asked_about(app: Flask, client: FlaskClient):
    answer = send(client, when="at", at=f"{NOW - timedelta(days=300):%Y-%m-%dT%H:%M}")
    refused(answer, app, "was taken in (")
    assert client.post("/batches/new", data=insisting(answer.text)).status_code == 303


def looked_at(app: Flask, number: int, finds: dict[str, Any], **more: Any) -> None:
    with write_session(app.extensions["engine"]) as session:
        batch = session.scalars(select(Batch).where(Batch.number == number)).one()
        about = {"type": "batch", "id": batch.id}
        record_fact(session, {"kind": "inspection", "subject": about, "at": iso(NOW), "values": finds} | more, now=NOW)


@pytest.mark.parametrize(
    ("finds", "is_asked"),
    [
        ({"findings": {"mould": "no", "ergot": "yes"}}, True),
        ({"findings": {"mould": "no"}, "ergot_kg": 0.002}, True),
        ({"findings": {"mould": "no", "ergot": "no"}}, False),
    ],
)
def test_a_lot_of_which_a_batch_held_ergot_is_charged_again_only_when_insisted_on(
    app: Flask, client: FlaskClient, finds: dict[str, Any], is_asked: bool
):
    send(client)
    looked_at(app, 1, finds, id="look-1")
    answer = send(client)
    assert answer.status_code == (422 if is_asked else 303)
    said = "Ergot was found in batch 1 of Field by the river: look through a sample, and weigh what you find."
    assert (said in unescape(answer.text)) is is_asked
    if is_asked:
        assert client.post("/batches/new", data=insisting(answer.text)).status_code == 303


def test_ergot_that_was_struck_out_is_asked_about_no_more(app: Flask, client: FlaskClient):
    send(client)
    looked_at(app, 1, {"findings": {"mould": "no", "ergot": "yes"}}, id="look-1")
    looked_at(app, 1, {}, id="struck-1", kind="withdrawal", supersedes_id="look-1")
    assert send(client).status_code == 303
