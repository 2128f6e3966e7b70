"""Logging beside the tub, through the form that the page shows: every kind works, and what is wrong is said."""

from __future__ import annotations

import re
from datetime import timedelta

import pytest
from flask import Flask
from flask.testing import FlaskClient

from app import ports
from app.judgement.facts.kinds import KINDS
from app.judgement.facts.records import values_from_typed
from app.judgement.facts.shapes import Fact, Reading, Tally, Weighing
from app.judgement.programmes.programme import load_builtin
from app.store.engine import read_session, write_session
from app.store.facts import find_fact
from app.web.tub.tiles import BY_STAGE, ROAST_ALONE, tub_kinds
from tests.examples import EXAMPLES
from tests.pages import Tub, forms_of, insisting, tub_form
from tests.writing import BATCH, LOT, NOW, Opened, add_batch, entry, iso

from .keeping import asked, facts_of, kept, said, text_of, the_fact, wrong_fields

STAGE_STARTS = {
    "immersion": "steep_on",
    "air_rest": "drained",
    "germination": "cast",
    "stewing": "stew_on",
    "kilning": "loaded",
    "cooling": "heat_off",
}
ON_THE_KILN = frozenset({"set_point"})


def begin_stage(app: Flask, kind: str) -> None:
    """Bring the batch to a stage at which one logs such a thing."""
    stages = [stage for stage, kinds in BY_STAGE.items() if kind in kinds and stage in STAGE_STARTS]
    # A look asks of each stage what makes sense there; the example is one at the bed.
    stages = ["germination"] if kind == "inspection" else stages
    if kind in ROAST_ALONE:
        amber = {"programme": load_builtin()["amber"].digest}
        said(app, entry("programme_change", amber, id="amber", at=iso(NOW - timedelta(hours=2))))
        stages = ["kilning"]
    stage = "kilning" if kind in ON_THE_KILN else (stages or ["charged"])[0]
    if stage in STAGE_STARTS:
        said(app, entry(STAGE_STARTS[stage], id="stage-1", at=iso(NOW - timedelta(hours=1))))


@pytest.mark.parametrize("kind", tub_kinds())
def test_it_works(app: Flask, tub: Tub, kind: str) -> None:
    begin_stage(app, kind)
    fact_id = kept(tub.keep(kind, dict(EXAMPLES[kind])))
    with read_session(app.extensions["engine"]) as session:
        fact = find_fact(session, fact_id)
    assert fact is not None
    assert (fact.kind, fact.subject, fact.at, fact.clock) == (kind, ("batch", BATCH), NOW, "now")
    expected = values_from_typed(KINDS[kind], EXAMPLES[kind])
    assert {name: getattr(fact, name) for name in expected} == expected
    page = tub.client.get(f"{tub.path}?kept={fact_id}")
    assert page.status_code == 200
    assert "Saved" in text_of(page)
    assert f"/facts/{fact_id}/withdraw" in page.text


@pytest.mark.parametrize("kind", tub_kinds())
def test_an_entry_of_each_kind_can_be_corrected_as_it_stands(app: Flask, tub: Tub, kind: str) -> None:
    begin_stage(app, kind)
    fact_id = kept(tub.keep(kind, dict(EXAMPLES[kind])))
    page = tub.client.get(f"/facts/{fact_id}/correct")
    assert page.status_code == 200
    form = next(each for each in forms_of(page.text) if "when" in each.choices)
    answer = tub.client.post(form.action, data=form.values)
    assert answer.status_code == 303, text_of(answer)
    before, after = _both(app, fact_id)
    expected = values_from_typed(KINDS[kind], EXAMPLES[kind])
    assert {name: getattr(after, name) for name in expected} == expected
    assert (after.at, after.method, after.place) == (before.at, before.method, before.place)


def _both(app: Flask, fact_id: str) -> tuple[Fact, Fact]:
    from app.store.facts import find_superseder

    with read_session(app.extensions["engine"]) as session:
        before, after = find_fact(session, fact_id), find_superseder(session, fact_id)
    assert before is not None
    assert after is not None
    return before, after


@pytest.mark.parametrize(
    ("kind", "own", "field"),
    [
        ("water_temperature", {"value": "twelve"}, "value"),
        ("water_temperature", {"value": "1.234,5"}, "value"),
        ("water_temperature", {"value": ""}, "value"),
        ("water_temperature", {"value": "700"}, "value"),
        ("test_bag", {"gross": "-430"}, "gross"),
        ("test_bag", {"gross": ""}, "gross"),
        ("test_bag", {"gross": "12", "tare": "430"}, "tare"),
        ("test_bag", {"gross": "400", "net": "430"}, "net"),
        ("skimmings", {"net": "-1"}, "net"),
        ("moisture_test", {"value": "101"}, "value"),
        ("moisture_test", {"value": "-1"}, "value"),
        ("test_bag_start", {"gross": "312", "moisture": "130"}, "moisture"),
        ("chit_count", {"looked_at": "100", "chitted": "101"}, "looked_at"),
        ("chit_count", {"looked_at": "100", "chitted": "4.5"}, "chitted"),
        ("chit_count", {"looked_at": "0", "chitted": "0"}, "looked_at"),
        ("growth_count", {"to_quarter": "-2"}, "to_quarter"),
        ("growth_count", {"lengths": "0.5 very long"}, "lengths"),
        ("addition", {"what": ""}, "what"),
        ("addition", {"what": "w" * 201}, "what"),
        ("note", {"text": ""}, "text"),
        ("interruption", {"what": "a cut", "until": "soon"}, "until"),
        ("inspection", {}, "mould"),
    ],
)
def test_what_is_wrong_is_said_at_its_field_and_what_was_typed_stays(
    app: Flask, tub: Tub, kind: str, own: dict[str, str], field: str
) -> None:
    values = tub.values(kind, own)
    answer = tub.send(kind, values)
    assert answer.status_code == 422
    assert wrong_fields(answer) == {field}
    assert "Not kept yet" in text_of(answer)
    shown = tub_form(answer.text)
    assert {name: shown.values[f"{kind}-{name}"] for name in own} == own
    assert shown.values["id"] == values["id"]
    assert f'id="{kind}"' in answer.text
    assert facts_of(app) == []


def test_a_note_or_name_that_is_too_long_is_said_at_its_field(app: Flask, tub: Tub) -> None:
    values = tub.values("turned", note="n" * 5001, person="p" * 81, place="p" * 61, instrument="i" * 61)
    assert wrong_fields(tub.send("turned", values)) == {"note", "person", "place", "instrument"}
    assert facts_of(app) == []


@pytest.mark.parametrize("typed", ["12,5", "12.5", " 12,5 ", "12.50"])
def test_comma_and_point_are_the_same_number(app: Flask, tub: Tub, typed: str) -> None:
    kept(tub.keep("water_temperature", {"value": typed}))
    assert the_fact(app).value == 12.5


def test_a_unit_that_is_chosen_counts(app: Flask, tub: Tub) -> None:
    kept(tub.keep("water_temperature", {"value": "54.5", "value_unit": "f"}))
    assert the_fact(app).value == pytest.approx(12.5)


def test_the_tare_of_a_bag_is_in_the_unit_of_its_gross_weight(app: Flask, tub: Tub) -> None:
    kept(tub.keep("test_bag_start", {"gross": "312", "tare": "12", "gross_unit": "g"}))
    fact = the_fact(app)
    assert isinstance(fact, Weighing)
    assert (fact.gross_kg, fact.tare_kg, fact.net_kg) == pytest.approx((0.312, 0.012, 0.3))


def test_what_a_bag_weighs_empty_is_remembered_for_the_next_weighing(app: Flask, tub: Tub) -> None:
    kept(tub.keep("test_bag_start", {"vessel": "blue bag", "gross": "312", "tare": "12", "gross_unit": "g"}))
    values = tub.form().values
    remembered = [values[f"test_bag-{name}"] for name in ("vessel", "tare", "gross_unit")]
    assert remembered == ["blue bag", "12", "g"]


def test_a_look_without_a_number_is_kept_when_it_is_said_to_be_one(app: Flask, tub: Tub) -> None:
    kept(tub.keep("grain_temperature", quality="all_well"))
    fact = the_fact(app)
    assert isinstance(fact, Reading)
    assert (fact.value, fact.quality) == (None, "all_well")


def test_growth_may_be_given_as_lengths(app: Flask, tub: Tub) -> None:
    kept(tub.keep("growth_count", {"lengths": "0,5 0.75\n1"}))
    fact = the_fact(app)
    assert isinstance(fact, Tally)
    assert (fact.lengths, fact.looked_at) == ((0.5, 0.75, 1.0), 3)


def test_an_unknown_batch_is_not_found(client: FlaskClient, batch: Opened) -> None:
    for answer in (client.get("/batches/77/tub"), client.post("/batches/77/tub/turned", data={"id": "t1"})):
        assert answer.status_code == 404
        assert "There is no batch 77" in text_of(answer)


@pytest.mark.parametrize("kind", ["brewed", "charge", "withdrawal", "intake"])
def test_what_is_not_logged_at_the_tub_is_not_found(app: Flask, tub: Tub, kind: str) -> None:
    assert tub.send(kind, tub.values("turned")).status_code == 404
    assert facts_of(app) == []


def test_a_double_post_is_stored_once(app: Flask, tub: Tub) -> None:
    values = tub.values("water_temperature", {"value": "12"})
    first, second = (tub.send("water_temperature", values) for _ in range(2))
    assert kept(first) == kept(second) == the_fact(app).id
    assert "it was here already" in text_of(tub.client.get(str(second.location)))
    assert "it was here already" not in text_of(tub.client.get(str(first.location)))


def test_a_double_post_a_minute_later_is_still_the_same(app: Flask, tub: Tub, monkeypatch: pytest.MonkeyPatch) -> None:
    values = tub.values("water_temperature", {"value": "12"})
    kept(tub.send("water_temperature", values))
    monkeypatch.setattr(ports, "now", lambda: NOW + timedelta(minutes=1))
    kept(tub.send("water_temperature", values))
    assert the_fact(app).at == NOW


def test_the_same_id_with_other_content_shows_what_was_kept_and_opens_the_correction(app: Flask, tub: Tub) -> None:
    values = tub.values("water_temperature", {"value": "12"})
    fact_id = kept(tub.send("water_temperature", values))
    answer = tub.send("water_temperature", values | {"water_temperature-value": "13"})
    assert answer.status_code == 422
    assert "This entry was kept already, with other values: Water temperature 12" in text_of(answer)
    assert f"/facts/{fact_id}/correct" in answer.text
    assert the_fact(app).value == 12.0
    assert tub.client.get(f"/facts/{fact_id}/correct").status_code == 200


def test_a_post_without_its_id_is_not_kept(app: Flask, tub: Tub) -> None:
    answer = tub.send("turned", tub.values("turned", id=""))
    assert answer.status_code == 422
    assert "The id is missing" in text_of(answer)
    assert facts_of(app) == []


def test_somebody_read_it_somewhere_with_something(app: Flask, tub: Tub) -> None:
    more = {"place": "top", "instrument": "probe 2", "person": "Nora", "note": "steady", "quality": "estimated"}
    kept(tub.keep("grain_temperature", {"value": "15"}, **more))
    fact = the_fact(app)
    assert {name: getattr(fact, name) for name in more} == more


def test_149_degrees_celsius_is_asked_about_and_fahrenheit_is_one_tap_away(app: Flask, tub: Tub) -> None:
    said(app, entry("loaded", id="loaded-1", at=iso(NOW - timedelta(hours=1))))
    answer = tub.keep("air_on_temperature", {"value": "149", "value_unit": "c"})
    assert "149" in asked(answer)
    assert [fact.kind for fact in facts_of(app)] == ["loaded"]
    form = tub_form(answer.text)
    other = next(button for button in form.buttons if (button[2] or "").startswith("alternative"))
    kept(tub.client.post(other[0], data=form.values | {"insist": str(other[2])}))
    fact = facts_of(app)[-1]
    assert isinstance(fact, Reading)
    assert fact.value == pytest.approx(65.0)
    assert fact.typed["value_unit"] == "f"


def test_149_degrees_celsius_is_kept_and_marked_as_meant_when_insisted_on(app: Flask, tub: Tub) -> None:
    from app.judgement.slips.questions import is_insisted

    said(app, entry("loaded", id="loaded-1", at=iso(NOW - timedelta(hours=1))))
    answer = tub.keep("air_on_temperature", {"value": "149", "value_unit": "c"})
    kept(tub.send("air_on_temperature", insisting(answer.text)))
    fact = facts_of(app)[-1]
    assert isinstance(fact, Reading)
    assert fact.value == 149.0
    assert is_insisted(fact)


def test_another_value_than_the_one_insisted_on_is_asked_about_anew(app: Flask, tub: Tub) -> None:
    said(app, entry("loaded", id="loaded-1", at=iso(NOW - timedelta(hours=1))))
    answer = tub.keep("air_on_temperature", {"value": "149", "value_unit": "c"})
    changed = {"air_on_temperature-value": "158"}
    assert "158" in asked(tub.send("air_on_temperature", insisting(answer.text, **changed)))
    assert [fact.kind for fact in facts_of(app)] == ["loaded"]


@pytest.mark.parametrize("insist", ["1", "alternative", "alternative9", "alternativeX", "alternative-1", "perhaps"])
def test_a_button_that_the_page_does_not_have_keeps_nothing(app: Flask, tub: Tub, insist: str) -> None:
    values = tub.values("turned", when="at", at="2026-03-14T12:00")
    assert "is still to come" in asked(tub.send("turned", values, insist=insist))
    assert facts_of(app) == []


def test_a_kept_entry_of_another_batch_is_not_shown_as_this_one_s(app: Flask, tub: Tub) -> None:
    from tests.writing import OTHER, charge

    with write_session(app.extensions["engine"]) as session:
        add_batch(session, OTHER, charge(id="charge-other"))
    said(app, entry("turned", id="turned-other", batch=OTHER))
    page = tub.client.get(f"{tub.path}?kept=turned-other")
    assert page.status_code == 200
    assert "Saved" not in text_of(page)


def test_undo_strikes_out_what_was_just_kept_and_comes_back_to_the_tub(app: Flask, tub: Tub) -> None:
    page = tub.client.get(str(tub.keep("turned").location))
    undo = next(form for form in forms_of(page.text) if form.action.endswith("/withdraw"))
    answer = tub.client.post(undo.action, data=undo.values)
    assert (answer.status_code, answer.location) == (303, tub.path)
    assert facts_of(app) == []
    assert "struck out" in text_of(tub.client.get(tub.path))


def test_the_first_weighing_of_a_tray_is_called_its_start(app: Flask, tub: Tub) -> None:
    said(app, entry("loaded", id="loaded-1", at=iso(NOW - timedelta(hours=1))))
    answer = tub.keep("tray", {"gross": "6.8", "tare": "0.8", "gross_unit": "kg"})
    page = text_of(tub.client.get(f"{tub.path}?kept={kept(answer)}"))
    assert "Tray’s start kept" in page
    assert "check the tare" not in page


def test_a_reading_just_kept_is_told_as_its_instrument_is_corrected(app: Flask, tub: Tub) -> None:
    about = {"type": "instrument", "id": "probe 2"}
    calibrated = entry("calibrated", {"amount": "-2", "amount_unit": "c"}, id="c1", at=iso(NOW - timedelta(hours=1)))
    said(app, calibrated | {"subject": about})
    fact_id = kept(tub.keep("grain_temperature", {"value": "17"}, instrument="probe 2"))
    page = text_of(tub.client.get(f"{tub.path}?kept={fact_id}"))
    assert "Grain temperature 15.0 °C" in page
    assert "Corrected by -2.0 °C for its instrument" in page


def test_an_open_question_is_not_kept_and_back_offers_to_drop_it_or_keep_it_as_typed(app: Flask, tub: Tub) -> None:
    begin_stage(app, "grain_temperature")
    answer = tub.keep("grain_temperature", {"value": "59"})
    asked(answer)
    screen = answer.text.partition('id="grain_temperature"')[2].partition('class="keep"')[0]
    assert '<a class="back" href="#asked">' in screen
    question = screen.partition('id="asked"')[2]
    assert "Drop it, or keep it as typed?" in question
    assert "59 °C (138.2 °F), as typed" in question
    assert f'href="{tub.path}">Drop it</a>' in question
    assert "notice--fine" not in answer.text
    assert [fact.kind for fact in facts_of(app) if fact.kind == "grain_temperature"] == []


@pytest.mark.parametrize("ids", [("z-first", "a-last"), ("a-first", "z-last")])
def test_of_two_readings_of_one_minute_the_one_written_last_is_shown(
    app: Flask, tub: Tub, ids: tuple[str, str]
) -> None:
    begin_stage(app, "water_temperature")
    at = (NOW - timedelta(minutes=5)).strftime("%Y-%m-%dT%H:%M")
    for place, (fact_id, value) in enumerate(zip(ids, ("13", "14"), strict=True)):
        written = iso(NOW - timedelta(minutes=4 - place))
        reading = entry("water_temperature", {"value": value, "value_unit": "c"}, id=fact_id, at=f"{at}+00:00")
        said(app, reading | {"written_at": written})
    assert facts_of(app)[-1].id == ids[1]
    page = text_of(tub.client.get(tub.path))
    assert "Water temperature 14.0 °C, 5 min ago" in page
    assert page.index("Water temperature 14.0 °C") < page.index("Water temperature 13.0 °C")


def test_whether_a_declared_lot_is_food_is_asked_no_more(app: Flask, tub: Tub) -> None:
    doubt = "Ask in writing what this grain was treated with"
    assert doubt in text_of(tub.client.get(tub.path))
    declared = entry("declaration", dict(EXAMPLES["declaration"]), id="declared-1", at=iso(NOW - timedelta(hours=1)))
    said(app, declared | {"subject": {"type": "lot", "id": LOT}})
    assert doubt not in text_of(tub.client.get(tub.path))


def test_every_unit_is_said_by_a_sign_or_a_word(client: FlaskClient, tub: Tub) -> None:
    pages = [client.get(path).text for path in (tub.path, "/lots/new", f"/batches/new?lot={LOT}")]
    units = [text for page in pages for text in re.findall(r"<option[^>]*>([^<]*)</option>", page)]
    assert "kg" in units
    chosen = [text for page in pages for text in re.findall(r'<option [^>]*value="fraction"[^>]*>([^<]*)<', page)]
    assert set(chosen) == {"of 1"}
    assert not {"", "–"} & {text.strip() for text in units} - {"–" for page in pages if 'value="">–' in page}


@pytest.mark.parametrize("kind", ["tray", "test_bag"])
def test_a_bag_or_tray_says_what_is_taken_off_where_its_tare_is_left_empty(tub: Tub, kind: str) -> None:
    screen = tub.client.get(tub.path).text.partition(f'id="{kind}"')[2].partition('class="keep"')[0]
    assert "Tare empty: as at its start." in screen
