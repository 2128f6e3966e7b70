"""Programmes: the list, one revision, and editing a copy."""

from __future__ import annotations

from datetime import UTC, datetime
from html import unescape

import pytest
from flask import Flask
from flask.testing import FlaskClient
from werkzeug.test import TestResponse

from app.judgement.programmes.changes import flattened
from app.judgement.programmes.parts import SETTING_UNITS
from app.judgement.programmes.programme import LIMIT_UNITS, Programme, load_builtin
from app.judgement.programmes.sources import cited, marked, published, tally
from app.operations.programmes import revise_programme
from app.store.engine import read_session, write_session
from app.store.programmes import ProgrammeRevision, get_programme, get_revision, list_offered
from app.web.words.programmes import LIMIT_WORDS, SETTING_WORDS, unit_at
from tests.pages import PageForm, forms_of
from tests.writing import add_batch

PALE = load_builtin()["barley_pale"]
EDIT = f"/programmes/{PALE.digest}/edit"


pytestmark = pytest.mark.usefixtures("morning")


def form(client: FlaskClient, path: str = EDIT) -> PageForm:
    return next(each for each in forms_of(client.get(path).text) if each.action == path)


def edit(client: FlaskClient, changes: dict[str, str], path: str = EDIT) -> TestResponse:
    return client.post(path, data=form(client, path).filled(**changes))


def made(app: Flask, answer: TestResponse) -> Programme:
    assert answer.status_code == 303, unescape(answer.text)
    with read_session(app.extensions["engine"]) as session:
        return get_programme(session, answer.location.rpartition("/")[2])


def revisions(app: Flask) -> int:
    with read_session(app.extensions["engine"]) as session:
        return session.query(ProgrammeRevision).count()


def wrong_at(answer: TestResponse, path: str) -> str:
    place = answer.text.index(f'id="{path.replace("/", "-").replace(".", "-")}-wrong"')
    return unescape(answer.text[place : place + 300].split("</p>")[0])


def test_every_programme_on_offer_is_listed_with_its_plan(client):
    page = unescape(client.get("/programmes").text)
    for programme in load_builtin().values():
        assert programme.name in page
        assert f"/programmes/{programme.digest}" in page
    assert page.count('class="ribbon"') == len(load_builtin())


def test_the_list_is_by_grain_and_shows_first_what_the_house_uses(app, client):
    page = unescape(client.get("/programmes").text)
    names = [
        "Barley",
        "Wheat and its kin",
        "Rye",
        "Oats",
        "Grain without gluten of its own",
        "Roasts, of finished malt",
    ]
    places = [page.index(f"<h2>{name} <small") for name in names]
    assert places == sorted(places)
    assert places[4] < page.index("Quinoa malt") < places[5]
    roasts = [page.index(f">{name}</a>") for name in ("Amber malt", "Brown malt", "Chocolate malt", "Black malt")]
    assert roasts == sorted(roasts)
    assert page.count('<details class="sheet" open>') == 1
    with write_session(app.extensions["engine"]) as session:
        add_batch(session).programme = load_builtin()["rye"].digest
    assert unescape(client.get("/programmes").text).count('<details class="sheet" open>') == 2


def test_the_page_tells_how_much_is_published_and_names_the_sources_in_full(client):
    page = unescape(client.get(f"/programmes/{PALE.digest}").text)
    part = page.split("Where its numbers come from")[1].split("</section>")[0]
    counts = tally(PALE)
    assert f"{published(counts)} of {len(marked(PALE))} are published; {counts['D']} are derived, mostly" in part
    for name, source in cited(PALE):
        assert name in part
        assert source in part
    assert "on oats" not in part


def test_a_low_bound_of_an_older_revision_that_nothing_judges_is_neither_shown_nor_asked_for(app, client):
    limit = {"limits/immersion_h/target/low": 4.0, "limits/immersion_h/target/high": 8.5}
    with write_session(app.extensions["engine"]) as session:
        older = revise_programme(session, PALE, limit, now=datetime(2026, 3, 1, tzinfo=UTC))
    assert older.limit("immersion_h").target_low == 4.0
    page = unescape(client.get(f"/programmes/{older.digest}").text).replace("\u00a0", " ")
    row = page.split("One immersion</th>")[1].split("</tr>")[0]
    assert "up to 8.5 h" in row
    assert "4 to" not in row
    assert "limits-immersion_h-target-low" not in client.get(f"/programmes/{older.digest}/edit").text


@pytest.mark.parametrize("programme", load_builtin().values(), ids=lambda each: each.key)
def test_every_programme_can_be_shown_and_edited(client, programme):
    page = client.get(f"/programmes/{programme.digest}")
    assert page.status_code == 200
    assert all(caution in unescape(page.text) for caution in programme.cautions)
    assert client.get(f"/programmes/{programme.digest}/edit").status_code == 200


def test_every_limit_and_setting_has_words():
    assert set(LIMIT_WORDS) == set(LIMIT_UNITS)
    assert set(SETTING_WORDS) == set(SETTING_UNITS)


@pytest.mark.parametrize("programme", load_builtin().values(), ids=lambda each: each.key)
def test_the_form_has_every_number_of_the_programme(client, programme):
    fields = form(client, f"/programmes/{programme.digest}/edit").values
    numbers = {
        path
        for path, value in flattened(programme.to_dict()).items()
        if isinstance(value, int | float) and not isinstance(value, bool)
    }
    fixed = {f"ceiling/{len(programme.ceiling) - 1}/moisture_above_wb"} if programme.ceiling else set()
    assert numbers - fixed <= set(fields)


def test_each_number_stands_with_its_source(client):
    page = unescape(client.get(f"/programmes/{PALE.digest}").text).replace("\u00a0", " ")
    assert "42 to 46 %" in page
    assert "Evans, Shen & Brookes 2024" in page
    assert "from memory" in page


def test_the_ceiling_is_drawn_and_told(client):
    page = unescape(client.get(f"/programmes/{PALE.digest}").text).replace("\u00a0", " ")
    assert "The hottest that the grain may be: above 25 %: 50 °C; 12 % to 25 %: 62 °C" in page
    assert "122.0 °F" in page


def test_batches_that_go_by_it_are_named(app, client):
    with write_session(app.extensions["engine"]) as session:
        number = add_batch(session).number
    assert f'href="/batches/{number}"' in client.get(f"/programmes/{PALE.digest}").text
    other = load_builtin()["rye"].digest
    assert f'href="/batches/{number}"' not in client.get(f"/programmes/{other}").text


def test_a_changed_number_makes_a_revision_marked_as_the_houses_own(app, client):
    new = made(app, edit(client, {"limits/cast_moisture/target/high": "45,5"}))
    assert new.parent == PALE.digest
    limit = new.limits["cast_moisture"]
    assert limit.target_high == pytest.approx(0.455)
    assert limit.mark == "H"
    assert "Evans" in limit.source


def test_the_new_revision_is_offered_and_the_old_one_stays(app, client):
    new = made(app, edit(client, {"name": "Our pale"}))
    with read_session(app.extensions["engine"]) as session:
        offered = {revision.digest for revision in list_offered(session)}
        assert get_revision(session, PALE.digest).name == PALE.name
    assert new.digest in offered
    assert PALE.digest not in offered


def test_what_changed_is_shown_in_words_and_numbers(client):
    answer = edit(client, {"limits/cast_moisture/target/high": "45.5", "steps/0/hours": "5", "name": "Our pale"})
    page = unescape(client.get(answer.location).text).replace("\u00a0", " ")
    changes = page.split("What changed")[1].split("</section>")[0]
    assert "Moisture at cast: target, at most" in changes
    assert "46 %" in changes
    assert "45.5 %" in changes
    assert "Step 1, immersion: hours planned" in changes
    assert "Our pale" in changes
    assert changes.count("<tr>") == 4


def test_the_old_revision_points_to_the_newer_one(client):
    answer = edit(client, {"name": "Our pale"})
    page = client.get(f"/programmes/{PALE.digest}").text
    assert "A newer revision was made from this one" in page
    assert answer.location in page
    assert answer.location + "/edit" in client.get(EDIT).text


def test_saving_without_a_change_keeps_nothing_new(app, client):
    before = revisions(app)
    answer = client.post(EDIT, data=form(client).values, follow_redirects=True)
    assert "Nothing was changed" in answer.text
    assert revisions(app) == before


@pytest.mark.parametrize("programme", load_builtin().values(), ids=lambda each: each.key)
def test_in_fahrenheit_nothing_shifts_by_being_shown(app, client, programme):
    client.post("/people/units", data={"units": "us"})
    before, path = revisions(app), f"/programmes/{programme.digest}/edit"
    answer = client.post(path, data=form(client, path).values)
    assert answer.location == f"/programmes/{programme.digest}"
    assert revisions(app) == before


def test_a_temperature_is_typed_in_the_readers_unit(app, client):
    client.post("/people/units", data={"units": "us"})
    assert form(client).values["ceiling/0/grain_c"] == "122"
    new = made(app, edit(client, {"ceiling/0/grain_c": "118.4"}))
    assert new.ceiling[0].grain_c == pytest.approx(48.0)


def test_a_double_press_makes_one_revision(app, client):
    before, values = revisions(app), form(client).filled(name="Our pale")
    first, second = (client.post(EDIT, data=values) for _ in range(2))
    assert first.location == second.location
    assert revisions(app) == before + 1


def test_a_new_bound_can_be_given_and_an_old_one_taken_away(app, client):
    new = made(app, edit(client, {"limits/cast_chits/act/low": "50", "limits/turning_h/target/high": ""}))
    assert new.limits["cast_chits"].low_act == pytest.approx(0.5)
    assert new.limits["cast_chits"].act_mark == "H"
    assert new.limits["turning_h"].target_high is None
    assert new.limits["turning_h"].high_caution == PALE.limits["turning_h"].high_caution


def test_a_source_goes_with_the_number_that_was_changed(app, client):
    changes = {"limits/acrospire/target/low": "0.72", "source/limits/acrospire": "our own sixty batches"}
    new = made(app, edit(client, changes))
    limit = new.limits["acrospire"]
    assert (limit.mark, limit.source) == ("H", "our own sixty batches")
    assert limit.act_source == PALE.limits["acrospire"].act_source or limit.act_mark is None


def test_a_source_without_a_changed_number_is_asked_about(app, client):
    before = revisions(app)
    answer = edit(client, {"source/limits/acrospire": "our own sixty batches"})
    assert answer.status_code == 422
    assert "No number beside it was changed" in answer.text
    assert revisions(app) == before


@pytest.mark.parametrize(
    ("path", "typed", "words"),
    [
        ("limits/cast_moisture/target/high", "wet", "not a number"),
        ("limits/cast_moisture/target/high", "460", "from 0 to 100 %"),
        ("limits/cast_moisture/caution/high", "45", "45 % is below target high (46 %)"),
        ("steps/0/hours", "", "A number is needed"),
        ("steps/0/hours_high", "5", "5 is less than the 6 hours planned"),
        ("ceiling/1/grain_c", "45", "Drier grain bears more heat"),
        ("ceiling/1/moisture_above_wb", "30", "The edges must fall"),
        ("settings/immersion_q10/value", "0", "from 0.1 to 10"),
    ],
)
def test_what_cannot_stand_is_told_at_its_field_and_nothing_is_kept(app, client, path, typed, words):
    before = revisions(app)
    answer = edit(client, {path: typed, "note": "Kept as typed"})
    assert answer.status_code == 422
    assert words in wrong_at(answer, path).replace("\u00a0", " ")
    assert "Kept as typed" in answer.text
    assert revisions(app) == before


def test_a_crossed_bound_is_told_in_the_readers_unit(client):
    client.post("/people/units", data={"units": "us"})
    answer = edit(client, {"limits/water_temperature.immersion/caution/high": "60"})
    said = wrong_at(answer, "limits/water_temperature.immersion/caution/high").replace("\u00a0", " ")
    assert "60 °F is below target high (64.4 °F)" in said


def test_a_programme_needs_a_name(client):
    answer = edit(client, {"name": "  "})
    assert answer.status_code == 422
    assert "Give a name" in wrong_at(answer, "name")


def test_an_unknown_programme_is_not_found(client):
    for path in ("/programmes/nothing", "/programmes/nothing/edit"):
        assert client.get(path).status_code == 404


def test_only_numbers_have_a_unit():
    assert unit_at("limits/cast_moisture/target/high") == "wb"
    assert unit_at("steps/3/note") is None
    assert unit_at("name") is None
