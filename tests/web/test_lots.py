"""The list of lots, taking one in, and the page of one lot."""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta

import pytest
from flask.testing import FlaskClient
from sqlalchemy.orm import Session

from app.judgement.programmes.programme import load_builtin
from app.judgement.slips.questions import INSISTED
from app.operations.facts import record_fact, withdraw_fact
from app.store.facts import find_fact
from app.store.lots import get_lot, list_lots, load_lot_stories
from tests.pages import PageForm, forms_of
from tests.stories import statements
from tests.writing import LOT, NOW, PROGRAMME, add_batch, add_lot, charge, count_facts, iso

DECLARED = {"untreated": "yes", "for_food": "yes", "by": "Mary Keane", "ground": "her letter of 3 March"}


pytestmark = pytest.mark.usefixtures("morning")


def new_form(client: FlaskClient) -> PageForm:
    return next(form for form in forms_of(client.get("/lots/new").text) if form.action == "/lots/new")


def test_every_grain_that_a_programme_is_for_can_be_chosen(client):
    page = client.get("/lots/new").text
    for species in {each for programme in load_builtin().values() for each in programme.species}:
        assert f'value="{species}"' in page
    assert page.index('value="oats"') < page.index('value="spelt"') < page.index('value="other"')


def sent(client: FlaskClient, **changes: str) -> dict[str, str]:
    return new_form(client).filled(**{"name": "River field", "species": "barley", "gross": "25", **changes})


def only_lot(session: Session):
    story = load_lot_stories(session, list_lots(session))[0]
    # The writing session of a test holds the lock that the next request needs.
    session.rollback()
    return story


def about_lot(kind: str, typed: dict[str, str], *, id: str, **more):
    return {"id": id, "kind": kind, "subject": {"type": "lot", "id": LOT}, "at": iso(NOW), "typed": typed} | more


def test_a_lot_is_taken_in_with_its_weight_and_moisture(client, session):
    answer = client.post(
        "/lots/new",
        data=sent(client, gross="520", tare="20", moisture="13.5", moisture_known="meter", variety="Irina"),
        follow_redirects=True,
    )
    assert "500.0\u00a0kg" in answer.text
    assert "13.5\u00a0±\u00a00.5\u00a0%" in answer.text
    story = only_lot(session)
    assert (story.lot.name, story.lot.variety) == ("River field", "Irina")
    assert {fact.kind: fact.method for fact in story.info.facts} == {"intake": None, "moisture_test": "meter"}


def test_an_empty_house_says_what_to_do_first(client):
    page = client.get("/lots").text
    assert "No lots yet" in page
    assert 'href="/lots/new"' in page


def test_the_list_tells_stock_declaration_and_batches(client, session):
    add_batch(session)
    session.commit()
    page = client.get("/lots").text
    assert "Field by the river" in page
    assert "475.0\u00a0kg" in page
    assert "not declared: held" in page


def test_a_decimal_comma_is_read_as_a_point(client, session):
    client.post("/lots/new", data=sent(client, gross="1,5"))
    assert only_lot(session).info.facts[0].net_kg == pytest.approx(1.5)


def test_a_double_press_takes_the_lot_in_once(client, session):
    values = sent(client, **DECLARED)
    first, second = (client.post("/lots/new", data=values) for _ in range(2))
    assert first.status_code == second.status_code == 303
    assert first.location == second.location
    assert count_facts(session) == 2


def test_the_same_form_sent_again_with_another_name_changes_nothing(client, session):
    values = sent(client)
    client.post("/lots/new", data=values)
    page = client.post("/lots/new", data=values | {"name": "Hill field"}, follow_redirects=True).text
    assert "kept already, as River field" in page
    assert [lot.name for lot in list_lots(session)] == ["River field"]


def test_pounds_are_stored_as_kilograms(client, session):
    client.post("/people/units", data={"units": "us"})
    form = new_form(client)
    assert form.values["gross_unit"] == "lb"
    client.post("/lots/new", data=form.filled(name="River field", species="rye", gross="100"))
    assert only_lot(session).info.facts[0].net_kg == pytest.approx(45.359237)


def test_a_lot_is_declared_when_that_is_said_whenever_it_came_in(client, session, morning):
    day = (NOW - timedelta(days=20)).date().isoformat()
    assert take_in(client, sent(client, received_on=day, **DECLARED)).status_code == 303
    story = only_lot(session)
    told = {fact.kind: (fact.at, fact.clock) for fact in story.info.facts}
    assert told["declaration"] == (NOW, "now")
    assert told["intake"][0] < NOW - timedelta(days=19)


def test_a_lot_declared_at_once_holds_nothing(client, session):
    page = client.post("/lots/new", data=sent(client, **DECLARED), follow_redirects=True).text
    assert "declared untreated, for food" in page
    assert "Held" not in page
    assert only_lot(session).info.declaration is not None


def test_a_lot_without_declaration_is_held_loudly(client):
    page = client.post("/lots/new", data=sent(client), follow_redirects=True).text
    assert "Held: batches of this lot" in page
    assert "has no colour proves nothing" in page


def test_a_lot_not_surely_untreated_is_held(client):
    page = client.post(
        "/lots/new", data=sent(client, **DECLARED | {"untreated": "not_sure"}), follow_redirects=True
    ).text
    assert "Not said to be untreated: held" in page


def test_another_grain_is_named(client, session):
    client.post("/lots/new", data=sent(client, species="other", other_species="Spelt"))
    assert only_lot(session).lot.species == "spelt"


def test_a_lot_that_came_in_last_week_is_dated_then(client, session):
    client.post("/lots/new", data=sent(client, received_on="2026-03-07"))
    at = only_lot(session).info.facts[0].at
    assert (at.date().isoformat(), at.hour) == ("2026-03-07", 12)


@pytest.mark.parametrize(
    ("changes", "field", "words"),
    [
        ({"name": " "}, "name", "needs a name"),
        ({"gross": "many"}, "gross", "not a number"),
        ({"gross": "-3"}, "gross", "can&#39;t be below"),
        ({"gross": ""}, "gross", "Give the gross weight"),
        ({"gross": "20", "net": "25"}, "net", "more than the gross"),
        ({"gross": "20", "tare": "25"}, "tare", "more than the gross"),
        ({"moisture": "101", "moisture_known": "said"}, "moisture", "can&#39;t be above"),
        ({"moisture": "12"}, "moisture_known", "Say how the moisture is known"),
        ({"species": "other"}, "other_species", "which grain"),
        ({"received_on": "2026-03-15"}, "received_on", "still to come"),
        ({"received_on": "last week"}, "received_on", "not a date"),
        ({"untreated": "yes"}, "by", "Say who declares it"),
    ],
)
def test_what_is_wrong_is_told_at_its_field_and_nothing_is_stored(client, session, changes, field, words):
    answer = client.post("/lots/new", data=sent(client, variety="Irina", **changes))
    assert answer.status_code == 422
    assert 'value="Irina"' in answer.text
    place = answer.text.index(f'id="{field}-wrong"')
    assert words in answer.text[place : place + 300]
    assert list_lots(session) == []
    assert count_facts(session) == 0


def asked(answer) -> str:
    """The words of the question that a refused form came back with."""
    assert answer.status_code == 422
    return answer.text.split("Before it is taken in")[1].split("</section>")[0].replace("\u00a0", " ")


def pressed(answer, choice: str, **changes: str) -> dict[str, str]:
    """What the button of a question sends: "1" for as typed, "alternative" for the first other reading."""
    form = next(each for each in forms_of(answer.text) if each.action == "/lots/new")
    value = next(value for _, name, value in form.buttons if name == "insist" and value.startswith(choice))
    return form.filled(**changes) | {"insist": value}


def take_in(client: FlaskClient, values: dict[str, str], **more: str):
    return client.post("/lots/new", data=values | more)


def test_a_slip_in_the_moisture_is_asked_about_and_put_right_with_one_press(client, session):
    values = sent(client, moisture="0.13", moisture_unit="percent", moisture_known="said")
    answer = take_in(client, values)
    words = asked(answer)
    assert "Moisture at intake 0.13 % is less than one expects here" in words
    assert "Is it 0.13?" in words
    assert list_lots(session) == []
    session.rollback()
    assert take_in(client, pressed(answer, "alternative")).status_code == 303
    (intake,) = only_lot(session).info.facts
    assert intake.moisture_wb == pytest.approx(0.13)
    assert INSISTED not in intake.typed


def test_a_moisture_that_was_measured_is_asked_about_too(client, session):
    values = sent(client, moisture="0.13", moisture_unit="percent", moisture_known="oven_grain")
    answer = take_in(client, values)
    assert take_in(client, pressed(answer, "alternative")).status_code == 303
    tests = [fact for fact in only_lot(session).info.facts if fact.kind == "moisture_test"]
    assert [fact.value for fact in tests] == [pytest.approx(0.13)]


@pytest.mark.parametrize("known", ["said", "oven_grain"])
def test_grain_wetter_than_any_that_lies_in_store_is_asked_about(client, session, known):
    values = sent(client, species="wheat", moisture="60", moisture_unit="percent", moisture_known=known)
    assert "60 % is more than one expects here" in asked(take_in(client, values))
    assert list_lots(session) == []


def test_grams_for_kilograms_are_asked_about_in_whichever_field_they_stand(client, session):
    for weights in ({"gross": "0.025", "net": ""}, {"gross": "", "net": "0.025"}):
        values = sent(client, gross_unit="kg", **weights)
        assert "less than one expects here" in asked(take_in(client, values))
    assert list_lots(session) == []


def test_pounds_are_asked_about_as_pounds(client):
    assert "lb" in asked(take_in(client, sent(client, gross="", net="0.05", gross_unit="lb")))


def test_what_somebody_insists_on_is_kept_and_known_to_be_meant(client, session):
    values = sent(client, gross="0.025", moisture="0.15", moisture_unit="percent", moisture_known="said")
    answer = take_in(client, values)
    assert asked(answer).count("<p>") == 2
    assert "All as typed" in asked(answer)
    assert take_in(client, pressed(answer, "1")).status_code == 303
    (intake,) = only_lot(session).info.facts
    assert intake.net_kg == pytest.approx(0.025)
    assert intake.typed[INSISTED] == "1"


def test_of_two_slips_the_second_is_asked_about_once_the_first_was_put_right(client, session):
    values = sent(client, gross="0.025", gross_unit="kg", moisture="0.13", moisture_known="said")
    both = take_in(client, values)
    assert asked(both).count("<p>") == 2
    assert asked(take_in(client, pressed(both, "alternative"))).count("<p>") == 1
    assert list_lots(session) == []


def test_changed_after_the_question_it_is_asked_about_anew(client, session):
    answer = take_in(client, sent(client, gross="0.025"))
    asked(take_in(client, pressed(answer, "1", gross="0.026")))
    assert list_lots(session) == []


def test_enter_is_no_answer_to_the_question(client, session):
    answer = take_in(client, sent(client, gross="0.025"))
    form = next(each for each in forms_of(answer.text) if each.action == "/lots/new")
    assert form.buttons[0][1] is None
    asked(take_in(client, form.values))
    assert list_lots(session) == []


def test_an_ordinary_lot_is_not_asked_about(client):
    for more in ({"moisture": "13"}, {"gross": "28000"}, {"gross": "0.5", "moisture": "9.5"}):
        assert take_in(client, sent(client, name=str(more), moisture_known="said", **more)).status_code == 303


def test_a_name_that_is_taken_is_refused_and_leaves_no_fact(client, session):
    client.post("/lots/new", data=sent(client))
    facts = count_facts(session)
    session.rollback()
    answer = client.post("/lots/new", data=sent(client, **DECLARED))
    assert answer.status_code == 422
    assert "There is a lot called “River field” already" in answer.text
    assert count_facts(session) == facts


def test_an_unknown_lot_is_not_found(client):
    answer = client.get("/lots/nothing")
    assert answer.status_code == 404
    assert "There is no lot nothing" in answer.text


def test_the_ledger_runs_from_intake_to_charge(client, session):
    batch = add_batch(session)
    session.commit()
    page = client.get(f"/lots/{LOT}").text
    assert f'<a href="/batches/{batch.number}">batch {batch.number}</a>' in page
    assert "+500.0\u00a0kg" in page
    assert "−25.00\u00a0kg" in page
    assert "Received 500.0\u00a0kg, charged 25.00\u00a0kg" in page


def test_more_charged_than_received_is_said(client, session):
    add_lot(session)
    add_batch(session, "batch-1", charge(as_is="600"))
    session.commit()
    page = client.get(f"/lots/{LOT}").text
    assert "−100.0\u00a0kg" in page
    assert "overdrawn" in page


def test_a_struck_out_charge_gives_its_grain_back(client, session):
    add_batch(session)
    withdraw_fact(session, find_fact(session, "charge-batch-1"), new_id="w", now=NOW, reason="another tub")
    session.commit()
    page = client.get(f"/lots/{LOT}").text
    assert "charged" not in page.split("As it was weighed")[0].split("Received 500.0\u00a0kg")[1]
    assert "struck out by nobody named: another tub" in page


def test_corrections_stay_to_be_read(client, session):
    add_lot(session)
    record_fact(session, about_lot("note", {"text": "Weevils"}, id="n1", person="Anna"), now=NOW)
    record_fact(session, about_lot("note", {"text": "Moths"}, id="n2", person="Ben", supersedes_id="n1"), now=NOW)
    session.commit()
    page = client.get(f"/lots/{LOT}").text
    assert '<span class="struck">Weevils</span>' in page
    assert "corrected by Ben" in page
    assert "Moths" in page


def test_a_float_test_is_held_against_the_lots_own_past(client, session):
    add_lot(session)
    for place, floated in enumerate((4, 5, 6, 5, 25)):
        at = iso(NOW - timedelta(days=8 - place))
        typed = {"looked_at": "100", "floated": str(floated)}
        record_fact(session, about_lot("float_count", typed, id=f"f{place}", at=at), now=NOW)
    session.commit()
    page = client.get(f"/lots/{LOT}").text
    assert page.count("more than is usual for it") == 1
    assert "25 of 100 kernels floated" in page


def test_words_of_people_are_no_markup(client, session):
    client.post("/lots/new", data=sent(client, name="<b>River</b>", supplier="<script>x</script>"))
    page = client.get("/lots").text + client.get(f"/lots/{only_lot(session).lot.id}").text
    assert "<b>River" not in page
    assert "<script>x" not in page


@pytest.mark.parametrize(
    "path", ["/lots", f"/lots/{LOT}", "/programmes", f"/programmes/{PROGRAMME}", "/people", "/data"]
)
def test_the_number_of_statements_does_not_grow_with_what_is_kept(app, client, session, path):
    def asked() -> int:
        with statements(app) as seen:
            assert client.get(path).status_code == 200
        return len(seen)

    add_batch(session)
    session.commit()
    few = asked()
    fill(session, lambda place: f"more-{place}")
    assert asked() == few


def fill(session: Session, name: Callable[[int], str]) -> None:
    for place in range(12):
        add_lot(session, f"lot-{name(place)}", name(place))
        add_batch(session, name(place), charge(id=f"charge-{place}"))
    session.commit()
    assert get_lot(session, LOT)


def test_the_form_of_a_lot_says_up_front_what_is_needed(client):
    page = client.get("/lots/new").text
    assert "A weight is needed: gross, or net alone." in page
    assert "A declaration needs both answers, a name and its ground." in page
    for name in ("gross", "net", "by", "ground"):
        label = page[page.index(f'<label for="{name}">') :].split("</label>")[0]
        assert "optional" not in label
