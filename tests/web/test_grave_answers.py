"""What harms somebody is the first thing that an answer says, and “clean” is said only where nothing said is amiss."""

from __future__ import annotations

import re
from datetime import timedelta
from html import unescape
from itertools import product

import pytest
from flask import Flask
from flask.testing import FlaskClient
from werkzeug.test import TestResponse

from app.judgement.facts.fields import Choice, Quantity, Text
from app.judgement.facts.kinds import KINDS
from app.judgement.malt import looks
from app.judgement.programmes.programme import load_builtin
from app.operations.batches import open_batch
from app.store.engine import write_session
from tests.pages import Tub, forms_of, insisting
from tests.writing import BATCH, LOT, NOW, Opened, add_lot, arrival, charge, entry, iso

from .keeping import kept, said, text_of

LEAVE = "Leave now, open everything, and don't go in alone."


def answer_of(html: str) -> tuple[str, str, str]:
    """The answer's status, its first line, and all that it says after it."""
    found = re.search(r'<section class="notice notice--(\w+)" aria-label="What it means">(.*?)</section>', html, re.S)
    assert found is not None
    first, _, rest = found[2].partition("</p>")
    plain = [" ".join(unescape(re.sub(r"<[^>]+>", " ", part)).split()) for part in (first, rest)]
    return found[1], plain[0][2:], plain[1]


def answered(tub: Tub, kind: str, own: dict[str, str], **common: str) -> tuple[str, str, str]:
    answer = tub.keep(kind, own, **common)
    if answer.status_code == 422:
        answer = tub.send(kind, insisting(answer.text))
    return answer_of(tub.client.get(f"{tub.path}?kept={kept(answer)}").text)


def answered_elsewhere(app: Flask, tub: Tub, own: dict[str, str]) -> tuple[str, str, str]:
    """A look as a phone sends it that drew its page at another stage."""
    said(app, entry("inspection", own, id="look", at=iso(NOW)))
    return answer_of(tub.client.get(f"{tub.path}?kept=look").text)


def ppm(value: str) -> dict[str, str]:
    return {"value": value, "value_unit": "ppm"}


# --- gas -------------------------------------------------------------------------------------------------------------
# GB EH40 (second-hand): carbon dioxide 5000 ppm over 8 h, 15 000 ppm over 15 min.


def test_gas_in_the_room_is_answered_with_what_to_do_and_that_it_is_saved_comes_after(tub: Tub) -> None:
    status, first, rest = answered(tub, "co2_room", ppm("20000"))
    assert (status, first) == ("act", LEAVE)
    assert rest.startswith("CO₂ in the room 20000 ppm, above 15000 ppm.")
    assert "Saved." in rest


@pytest.mark.parametrize(("typed", "unit"), [("2", "percent_co2"), ("250000", "ppm"), ("15001", "ppm")])
def test_gas_is_gas_in_any_unit_and_however_much(tub: Tub, typed: str, unit: str) -> None:
    assert answered(tub, "co2_room", {"value": typed, "value_unit": unit})[:2] == ("act", LEAVE)


def test_less_gas_asks_for_air(tub: Tub) -> None:
    status, first, rest = answered(tub, "co2_room", ppm("6000"))
    assert (status, first) == ("caution", "Open doors and windows before you stay.")
    assert rest.startswith("CO₂ in the room 6000 ppm, above 5000 ppm.")


def test_little_gas_asks_for_nothing(tub: Tub) -> None:
    assert answered(tub, "co2_room", ppm("800"))[0] == "none"


def test_more_gas_than_the_meter_can_show_is_gas(tub: Tub) -> None:
    status, first, rest = answered(tub, "co2_room", {"value": ""}, quality="over_range")
    assert (status, first) == ("act", LEAVE)
    assert "more than the meter can show" in rest


# Directive 2004/37/EC, Annex III, as amended by 2022/431: carbon monoxide 20 ppm over 8 h, 100 ppm short-term.
OUT = "Out now, everybody. Fuel off from outside; nobody goes back in."


@pytest.mark.parametrize(
    ("value", "status", "first"),
    [
        ("20", "none", "CO in the room 20 ppm"),
        ("21", "caution", "Fuel off, open doors and windows, and go out until it is gone."),
        ("100", "caution", "Fuel off, open doors and windows, and go out until it is gone."),
        ("101", "act", OUT),
        ("1500", "act", OUT),
    ],
)
def test_carbon_monoxide_is_answered_with_what_to_do(tub: Tub, value: str, status: str, first: str) -> None:
    assert answered(tub, "co_room", ppm(value))[:2] == (status, first)


def test_carbon_monoxide_beyond_the_meter_is_answered_with_what_to_do(tub: Tub) -> None:
    status, first, rest = answered(tub, "co_room", {"value": ""}, quality="over_range")
    assert (status, first) == ("act", OUT)
    assert rest.startswith("CO in the room: more than the meter can show.")


@pytest.mark.parametrize("kind", ["co2_room", "co_room"])
def test_the_most_gas_since_the_last_look_counts_though_it_is_less_now(tub: Tub, kind: str) -> None:
    assert answered(tub, kind, {**ppm("500" if kind == "co2_room" else "5"), "highest": "20000"})[0] == "act"


def test_one_gas_is_not_ended_by_a_reading_of_the_other(tub: Tub) -> None:
    kept(tub.keep("co_room", ppm("150"), when="m15"))
    kept(tub.keep("co2_room", ppm("600")))
    assert OUT in tub.client.get(tub.path).text


def test_gas_is_the_remedy_at_home_and_on_the_tub_after_it_is_opened_anew(tub: Tub) -> None:
    kept(tub.keep("co_room", ppm("150")))
    for path in ("/", tub.path):
        page = text_of(tub.client.get(path))
        assert OUT in page, path


def test_gas_seen_a_second_time_is_answered_as_the_first(tub: Tub) -> None:
    answered(tub, "co2_room", ppm("20000"), when="m15")
    assert answered(tub, "co2_room", ppm("19000"))[:2] == ("act", LEAVE)


def test_a_reading_is_answered_for_itself_and_not_for_what_was_worse_before(tub: Tub) -> None:
    answered(tub, "co2_room", ppm("20000"), when="m15")
    status, first, rest = answered(tub, "co2_room", ppm("6000"))
    assert (status, first) == ("caution", "Open doors and windows before you stay.")
    assert rest.startswith("CO₂ in the room 6000 ppm, above 5000 ppm.")


def test_gas_of_which_a_later_reading_says_that_it_is_gone_sends_nobody_out(tub: Tub) -> None:
    answered(tub, "co2_room", ppm("600"))
    assert answered(tub, "co2_room", ppm("20000"), when="m60")[0] == "none"


def test_gas_told_by_a_phone_whose_clock_is_ahead_is_gas(app: Flask, tub: Tub) -> None:
    said(app, entry("co2_room", ppm("20000"), id="ahead", at=iso(NOW + timedelta(minutes=3))))
    assert answer_of(tub.client.get(f"{tub.path}?kept=ahead").text)[:2] == ("act", LEAVE)


def test_gas_that_was_sent_unasked_and_looks_like_a_slip_is_gas_until_somebody_says_otherwise(
    app: Flask, tub: Tub
) -> None:
    said(app, entry("co2_room", ppm("250000"), id="unasked", at=iso(NOW)))
    assert answer_of(tub.client.get(f"{tub.path}?kept=unasked").text)[:2] == ("act", LEAVE)


def test_the_sync_answers_gas_with_what_to_do(tub: Tub) -> None:
    record = entry("co2_room", ppm("20000"), id="gas", at=iso(NOW))
    (answer,) = tub.client.post("/sync/facts", json={"entries": [record]}).json["answers"]
    assert (answer["status"], answer["meaning"]["status"], answer["meaning"]["text"]) == (201, "act", LEAVE)


@pytest.mark.parametrize("changes", [{"value": "20000"}, {"value": "", "quality": "over_range"}])
@pytest.mark.parametrize(("kind", "leave"), [("co2_room", LEAVE), ("co_room", OUT)])
def test_the_room_of_the_house_is_answered_with_what_to_do(
    client: FlaskClient, morning: None, kind: str, leave: str, changes: dict[str, str]
) -> None:
    page = client.get(f"/house/entries/{kind}")
    form = next(each for each in forms_of(page.text) if "when" in each.choices)
    answer = client.post(form.action, data=form.filled(**changes))
    assert answer_of(client.get(str(answer.location)).text)[:2] == ("act", leave)


def test_a_reading_corrected_to_gas_is_answered_with_what_to_do(app: Flask, tub: Tub) -> None:
    first = kept(tub.keep("co2_room", ppm("800")))
    form = next(each for each in forms_of(tub.client.get(f"/facts/{first}/correct").text) if "when" in each.choices)
    answer = tub.client.post(form.action, data=form.filled(value="20000"))
    page = text_of(tub.client.get(str(answer.location)))
    assert page.index(LEAVE) < page.index("Saved. What it said before")


def test_what_is_to_be_done_at_once_is_folded_away_nowhere_at_the_tub(tub: Tub) -> None:
    """The page of another phone shows it as soon as it is renewed: in what `changes.js` puts in place."""
    kept(tub.keep("co2_room", ppm("20000")))
    live = tub.client.get(tub.path).text.partition('data-live="home"')[2]
    (to_do,) = re.findall(r'<strong class="next-what">(.*?)</strong>', live)
    assert unescape(to_do) == LEAVE.rstrip(".")
    assert live.index(to_do) < live.index("<summary>")


# --- what else harms -------------------------------------------------------------------------------------------------


def test_a_roast_near_fire_is_answered_with_what_to_do(app: Flask, client: FlaskClient, batch: Opened) -> None:
    about = {"batch_id": "roast", "species": "barley", "programme": load_builtin()["roasted"].digest}
    with write_session(app.extensions["engine"]) as session:
        tub = Tub(
            client, open_batch(session, parts=[arrival(charge(id="for-roast"), "roast")], now=NOW, **about).number
        )
    kept(tub.keep("heat_on", when="m60"))
    status, first, rest = answered(tub, "grain_temperature", {"value": "235", "value_unit": "c"})
    assert status == "act"
    assert first.startswith("Heat off now")
    assert "cool air" not in first
    assert "Grain temperature 235" in rest


def test_what_was_hotter_since_the_last_look_counts_though_it_is_in_range_now(app: Flask, tub: Tub) -> None:
    said(app, entry("steep_on", id="on", at=iso(NOW - timedelta(hours=12))))
    said(app, entry("cast", id="cast", at=iso(NOW - timedelta(hours=8))))
    assert answered(tub, "grain_temperature", {"value": "15"}, when="m60")[0] == "fine"
    status, first, rest = answered(tub, "grain_temperature", {"value": "15", "highest": "29"})
    assert status == "act"
    assert first.startswith("Turn it")
    assert "29.0 °C" in rest


def test_ergot_over_its_limit_is_answered_with_what_to_do(tub: Tub) -> None:
    # 40 g in 25 kg are 1.6 g/kg; the European Union's limit for raw grain is 0.2 g/kg.
    status, first, rest = answered(tub, "inspection", {"mould": "no", "ergot": "40", "ergot_unit": "g"})
    assert (status, first) == ("act", "Ergot, 1.60 g/kg of the charge: reject it")
    assert rest.startswith("Keep it from food and feed.")


def test_ergot_found_in_two_looks_is_reckoned_together(tub: Tub) -> None:
    # 4 g in 25 kg are 0.16 g/kg, and 8 g 0.32.
    found = {"mould": "no", "ergot": "4", "ergot_unit": "g"}
    assert answered(tub, "inspection", found, when="m15")[0] == "caution"
    assert answered(tub, "inspection", found)[:2] == ("act", "Ergot, 0.32 g/kg of the charge: reject it")


def test_all_that_is_amiss_in_one_look_is_said_the_gravest_first(app: Flask, tub: Tub) -> None:
    own = {"mould": "yes", "smell": "sour", "matting": "felted", "ergot": "40", "ergot_unit": "g"}
    status, first, rest = answered_elsewhere(app, tub, own)
    assert (status, first) == ("act", "Mould: don’t turn, sniff or shake it")
    assert "reject it" in rest
    assert "turn it now" not in rest


@pytest.mark.parametrize("stage", ["immersion", "air_rest", "kilning"])
@pytest.mark.parametrize(
    "beside",
    [
        *({"smell": smell} for smell in ("sour", "not_sure")),
        *({"slime": "slimy"}, {"colour": "brown"}, {"steep": "foaming"}, {"steep": "gassy"}),
        *({"insects": "live"}, {"insects": "dead"}, {"sprouted": "many"}, {"ergot": "1", "ergot_unit": "g"}),
    ],
)
def test_beside_mould_nothing_else_is_to_be_done_with_the_grain(
    app: Flask, tub: Tub, beside: dict[str, str], stage: str
) -> None:
    brought_to(app, stage)
    alone = answered_elsewhere(app, tub, {"mould": "yes"})
    said(app, entry("inspection", {"mould": "yes", **beside}, id="both", at=iso(NOW)))
    status, first, rest = answer_of(tub.client.get(f"{tub.path}?kept=both").text)
    assert (status, first) == alone[:2] == ("act", "Mould: don’t turn, sniff or shake it")
    assert rest.startswith(alone[2].removesuffix(" Saved. Undo"))
    more = rest.removeprefix(alone[2].removesuffix(" Saved. Undo"))
    assert ":" not in more.replace(looks.AIR_FIRST, "")
    assert len(more) > len(" Saved. Undo")
    assert (looks.AIR_FIRST in more) == ("steep" in beside)


def test_mouldy_grain_that_smells_sour_in_its_steep_is_not_rinsed(app: Flask, tub: Tub) -> None:
    brought_to(app, "immersion")
    said(app, entry("inspection", {"mould": "yes"}, id="mould", at=iso(NOW - timedelta(hours=1))))
    assert "rinse" not in " ".join(answered_elsewhere(app, tub, {"mould": "no", "smell": "sour"}))


@pytest.mark.parametrize("stage", ["charged", "immersion", "air_rest", "germination"])
@pytest.mark.parametrize("found", ["foaming", "gassy"])
def test_only_what_is_under_water_is_to_be_drained_now(app: Flask, tub: Tub, found: str, stage: str) -> None:
    kinds = {"charged": (), "immersion": ("steep_on",), "air_rest": ("steep_on", "drained")}
    for place, kind in enumerate(kinds.get(stage, ("steep_on", "cast"))):
        said(app, entry(kind, id=kind, at=iso(NOW - timedelta(hours=9 - 4 * place))))
    status, first, rest = answered_elsewhere(app, tub, {"mould": "no", "steep": found})
    assert status == "caution"
    assert ("drain it now" in first) == (stage == "immersion")
    assert ("not under water" in first) == (stage != "immersion")
    assert "air the room" in f"{first} {rest}"


SLIMY = {"mould": "no", "text": "slimy, foam on top, smells sour"}


def test_words_about_a_batch_are_kept_and_it_is_said_that_nobody_judged_them(tub: Tub) -> None:
    status, first, rest = answered(tub, "inspection", SLIMY)
    assert (status, first) == ("none", "Look & smell kept, with your words")
    assert rest.startswith("Nobody judges words: ")
    assert "amiss" not in rest


@pytest.mark.parametrize("stage", ["charged", "air_rest", "kilning"])
def test_words_that_nobody_judged_send_one_to_no_field_that_is_not_there(app: Flask, tub: Tub, stage: str) -> None:
    brought_to(app, stage)
    _, first, rest = answered(tub, "inspection", {"mould": "no", "text": "white tips"})
    told = rest.partition("Saved.")[0].lower()
    absent = {spec.word.lower() for name, spec in LOOK.items() if name not in OFFERED[stage]} | {"foam", "froth"}
    assert first == "Look & smell kept, with your words"
    assert {word for word in absent if word in told} == set()


def test_slime_in_an_air_rest_is_answered_with_what_to_do(app: Flask, tub: Tub) -> None:
    brought_to(app, "air_rest")
    status, first, rest = answered(tub, "inspection", {"mould": "no", "slime": "slimy"})
    assert (status, first) == ("caution", "Slimy: rinse it now, and drain it")
    assert "cold potable water" in rest
    assert "cooler" in rest


@pytest.mark.parametrize("stage", ["air_rest", "germination", "cooling"])
def test_ergot_is_told_wherever_grain_is_seen(app: Flask, tub: Tub, stage: str) -> None:
    brought_to(app, stage)
    status, first, _ = answered(tub, "inspection", {"mould": "no", "horns": "yes"})
    assert (status, first) == ("caution", "Ergot: pick it all out, and weigh it")


def test_words_about_a_lot_are_kept_and_it_is_said_that_nobody_judged_them(
    app: Flask, client: FlaskClient, morning: None
) -> None:
    with write_session(app.extensions["engine"]) as session:
        add_lot(session)
    status, first, rest = look_at_lot(client, SLIMY)
    assert (status, first) == ("none", "Kept, with your words.")
    assert rest.startswith("Nobody judges words: ")


# --- “clean” ---------------------------------------------------------------------------------------------------------

LOOK = KINDS["inspection"].fields
FINE = {
    "scorch": {"none"},
    "mould": {"no"},
    "smell": {"clean"},
    "steep": {"clear"},
    "colour": {"pale"},
    "slime": {"none"},
    "matting": {"none"},
    "insects": {"none"},
    "sprouted": {"none"},
    "horns": {"no"},
    "ergot": set(),
    "text": set(),
}
"""What one can find at a look that is well: everything else that can be said is amiss, or words that nobody judges."""

STAGES = {
    "charged": (),
    "immersion": ("steep_on",),
    "air_rest": ("steep_on", "drained"),
    "germination": ("steep_on", "cast"),
    "kilning": ("loaded",),
    "cooling": ("loaded", "heat_off"),
    "finished": ("loaded", "finished"),
}
ASKED = {
    "lot": {"mould", "smell", "insects", "sprouted", "horns"},
    "charged": {"mould", "smell", "insects", "sprouted", "horns"},
    "immersion": {"mould", "smell", "steep", "colour", "slime", "horns"},
    "air_rest": {"mould", "smell", "slime", "horns"},
    "germination": {"mould", "smell", "slime", "matting", "horns"},
    "kilning": {"mould", "smell", "scorch", "horns"},
    "cooling": {"mould", "smell", "scorch", "horns"},
    "finished": {"mould", "smell", "scorch", "insects", "horns"},
}
"""By the stage, what is asked there with a choice."""


def values_of(field: str) -> list[str]:
    """All that the form of a look can say in one of its fields, a number and words standing for all such."""
    spec = LOOK[field]
    if isinstance(spec, Choice):
        return [key for key, _ in spec.options]
    assert isinstance(spec, Quantity | Text)
    return ["0.1"] if isinstance(spec, Quantity) else ["slime on the husks"]


EVERY = [(field, value) for field in LOOK for value in values_of(field)]
OFFERED = {stage: asked | {"text"} | ({"ergot"} if "horns" in asked else set()) for stage, asked in ASKED.items()}
OF_LOT = [(field, value) for field, value in EVERY if field in OFFERED["lot"]]
OF_BATCH = [(stage, field, value) for stage in STAGES for field, value in EVERY if field in OFFERED[stage]]


def clean_at(stage: str) -> dict[str, str]:
    """All that is asked at a stage, answered with what is well."""
    return {field: min(FINE[field]) for field in sorted(ASKED[stage])}


def brought_to(app: Flask, stage: str) -> None:
    for place, kind in enumerate(STAGES[stage]):
        said(app, entry(kind, id=kind, at=iso(NOW - timedelta(hours=9 - 4 * place))))


def test_the_table_names_every_finding_there_is() -> None:
    assert set(FINE) == set(LOOK)
    assert all(value in values_of(field) for field, values in FINE.items() for value in values)
    assert {field: spec.clean for field, spec in LOOK.items() if isinstance(spec, Choice)} == clean_at("lot") | {
        field: min(well) for field, well in FINE.items() if well
    }
    assert [name for name, kind in KINDS.items() if kind.shape_name == "remark"] == [
        "inspection",
        "declaration",
        "tasting",
        "note",
    ]


@pytest.mark.parametrize(("stage", "field", "value"), OF_BATCH)
def test_a_look_at_a_batch_is_clean_only_where_all_that_was_found_is_well(
    app: Flask, tub: Tub, stage: str, field: str, value: str
) -> None:
    brought_to(app, stage)
    unit = {"ergot_unit": "g"} if field == "ergot" else {}
    status, first, _ = answered(tub, "inspection", clean_at(stage) | {field: value, **unit})
    if value in FINE[field]:
        assert (status, first) == ("fine", "Looked, clean")
    else:
        assert status == ("none" if field == "text" else status)
        assert status != "fine"
        assert "clean" not in first


@pytest.mark.parametrize(("field", "value"), OF_LOT)
def test_a_look_at_a_lot_is_sound_only_where_all_that_was_found_is_well(
    app: Flask, client: FlaskClient, morning: None, field: str, value: str
) -> None:
    with write_session(app.extensions["engine"]) as session:
        add_lot(session)
    status, first, _ = look_at_lot(client, clean_at("lot") | {field: value})
    if value in FINE[field]:
        assert (status, first) == ("fine", "Looks and smells sound.")
    else:
        assert status == ("none" if field == "text" else status)
        assert status != "fine"
        assert "sound" not in first


@pytest.mark.parametrize(
    ("stage", "left"), [(stage, left) for stage in STAGES for left in sorted(ASKED[stage] - {"mould"})]
)
def test_a_look_is_not_called_clean_that_leaves_out_one_of_what_is_asked(
    app: Flask, tub: Tub, stage: str, left: str
) -> None:
    brought_to(app, stage)
    own = {field: value for field, value in clean_at(stage).items() if field != left}
    status, first, rest = answered(tub, "inspection", own)
    assert (status, first) == ("none", "Nothing amiss in what was said")
    assert rest.startswith(f"Not said: {LOOK[left].word.lower()}.")


@pytest.mark.parametrize("left", sorted(ASKED["lot"] - {"mould"}))
def test_a_look_at_a_lot_that_leaves_out_one_of_what_is_asked_is_not_called_sound(
    app: Flask, client: FlaskClient, morning: None, left: str
) -> None:
    with write_session(app.extensions["engine"]) as session:
        add_lot(session)
    own = {field: value for field, value in clean_at("lot").items() if field != left}
    status, first, rest = look_at_lot(client, own)
    assert (status, first) == ("none", "Nothing amiss in what was said.")
    assert rest.startswith(f"Not said: {LOOK[left].word.lower()}.")


@pytest.mark.parametrize("stage", STAGES)
def test_at_each_stage_only_what_makes_sense_there_is_asked(app: Flask, tub: Tub, stage: str) -> None:
    brought_to(app, stage)
    screen = tub.client.get(tub.path).text.partition('value="inspection">Keep')[0].rpartition("<h2")[2]
    assert {each for each in LOOK if f'"inspection-{each}"' in screen} - {"ergot", "text"} == ASKED[stage]
    assert ('"inspection-ergot"' in screen) == ("horns" in ASKED[stage])


@pytest.mark.parametrize("stage", ["kilning", "cooling"])
@pytest.mark.parametrize("scorch", ["scorched", "smoke"])
def test_on_the_kiln_fire_is_first_and_mould_second(app: Flask, tub: Tub, scorch: str, stage: str) -> None:
    brought_to(app, stage)
    status, first, rest = answered(tub, "inspection", {"scorch": scorch, "mould": "yes", "smell": "musty"})
    assert status == "act"
    assert first.startswith(("Smoke: heat and fuel off", "Scorched: heat off"))
    assert rest.index("Mould: don’t turn") > 0
    assert "Mould" not in rest[: rest.index("Mould: don’t turn")]


SHUT = "Out now, open nothing, and call the fire brigade."


@pytest.mark.parametrize(("kind", "value"), [("co2_room", "20000"), ("co_room", "60")])
def test_where_it_smoulders_nothing_is_opened_for_the_gas_on_any_page_or_phone(
    app: Flask, tub: Tub, kind: str, value: str
) -> None:
    brought_to(app, "kilning")
    of_phone = f"/sync/batches/{BATCH}"
    assert SHUT not in {row[3] for row in tub.client.get(of_phone).get_json()["grave"][kind]}
    kept(tub.keep("inspection", {"scorch": "smoke", "mould": "no"}, when="m15"))
    assert {row[3] for row in tub.client.get(of_phone).get_json()["grave"][kind]} == {SHUT}
    record = entry(kind, ppm(value), id="gas-1", at=iso(NOW)) | {"subject": {"type": "house", "id": "house"}}
    (answer,) = tub.client.post("/sync/facts", json={"entries": [record]}).get_json()["answers"]
    assert answer["meaning"]["text"] == SHUT
    for path in ("/house?kept=gas-1", "/house", "/"):
        page = text_of(tub.client.get(path))
        assert SHUT in page, path
        assert "open everything" not in page, path
        assert "open doors" not in page.lower(), path
    said(app, entry("inspection", {"scorch": "none", "mould": "no"}, id="cold", at=iso(NOW)))
    assert SHUT not in text_of(tub.client.get("/house"))


def test_at_the_tub_and_at_home_gas_comes_before_fire_and_fire_before_mould(app: Flask, tub: Tub) -> None:
    brought_to(app, "kilning")
    kept(tub.keep("inspection", {"scorch": "smoke", "mould": "yes"}, when="m15"))
    kept(tub.keep("co_room", ppm("150")))
    for path in (tub.path, "/"):
        page = text_of(tub.client.get(path))
        places = [page.index(title) for title in ("CO in the room 150 ppm", "Smoke, or a smell of", "Mould seen")]
        assert places == sorted(places), path


@pytest.mark.parametrize("smell", ["musty", "off"])
def test_a_bad_smell_on_the_kiln_sends_one_to_look_for_fire_first(app: Flask, tub: Tub, smell: str) -> None:
    brought_to(app, "kilning")
    status, first, rest = answered(tub, "inspection", {"mould": "no", "smell": smell})
    assert (status, first) == ("act", f"Smells {smell}: heat off, look for fire first")
    assert rest.startswith("Then for mould.")


def lot_answer(client: FlaskClient, kind: str, own: dict[str, str]) -> TestResponse:
    form = next(each for each in forms_of(client.get(f"/lots/{LOT}/entries/{kind}").text) if "when" in each.choices)
    return client.post(form.action, data=form.filled(**own))


def look_at_lot(client: FlaskClient, own: dict[str, str]) -> tuple[str, str, str]:
    return answer_of(client.get(str(lot_answer(client, "inspection", own).location)).text)


def test_more_ergot_than_a_whole_lot_may_hold_is_answered_with_what_to_do(
    app: Flask, client: FlaskClient, morning: None
) -> None:
    with write_session(app.extensions["engine"]) as session:
        add_lot(session)
    # The lot is 500 kg: 100 g are 0.2 g/kg of all of it, and whatever was looked through is less.
    assert look_at_lot(client, {"mould": "no", "ergot": "99", "ergot_unit": "g"})[0] == "caution"
    status, first, _ = look_at_lot(client, {"mould": "no", "ergot": "120", "ergot_unit": "g"})
    assert status == "act"
    assert "reject" in first


@pytest.mark.parametrize(
    ("untreated", "for_food"), [each for each in product(("yes", "no", "not_sure"), repeat=2) if each != ("yes", "yes")]
)
def test_a_lot_that_is_not_said_to_be_food_is_answered_so(
    app: Flask, client: FlaskClient, morning: None, untreated: str, for_food: str
) -> None:
    with write_session(app.extensions["engine"]) as session:
        add_lot(session)
    told = {"untreated": untreated, "for_food": for_food, "by": "Mary", "ground": "her word"}
    status, first, _ = answer_of(client.get(str(lot_answer(client, "declaration", told).location)).text)
    assert status == "act"
    assert first.startswith("No food")


@pytest.mark.parametrize(
    ("kind", "own"),
    [
        ("moisture_test", {"value": "24"}),
        ("kernel_weight", {"value": "45"}),
        ("sieve_test", {"value": "2", "on_25": "3", "on_22": "5", "through": "90"}),
        ("note", {"text": "Weevils in every sack"}),
    ],
)
def test_what_nobody_judges_is_not_called_fine(
    app: Flask, client: FlaskClient, morning: None, kind: str, own: dict[str, str]
) -> None:
    with write_session(app.extensions["engine"]) as session:
        add_lot(session)
    answer = lot_answer(client, kind, own)
    if answer.status_code == 422:
        answer = client.post(f"/lots/{LOT}/entries/{kind}", data=insisting(answer.text))
    assert answer_of(client.get(str(answer.location)).text)[0] == "none"


@pytest.mark.parametrize(("mouldy", "status"), [("0", "fine"), ("1", "caution"), ("8", "act")])
def test_a_count_in_range_is_not_fine_where_kernels_are_mouldy(app: Flask, tub: Tub, mouldy: str, status: str) -> None:
    said(app, entry("steep_on", id="on", at=iso(NOW - timedelta(hours=90))))
    said(app, entry("cast", id="cast", at=iso(NOW - timedelta(hours=70))))
    grown = {"half_to_three_quarters": "30", "three_quarters_to_full": "30"}
    assert answered(tub, "growth_count", grown | {"mouldy": mouldy})[0] == status
