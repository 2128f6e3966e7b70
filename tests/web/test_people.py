"""Who is at the screen, in which units they read, and the dim screen of the night."""

from __future__ import annotations

import pytest
from flask import Flask
from flask.testing import FlaskClient

from app.store.engine import read_session
from app.store.people import list_people
from tests.pages import forms_of


def people(app: Flask) -> list[tuple[str, str]]:
    with read_session(app.extensions["engine"]) as session:
        return [(person.name, person.units) for person in list_people(session)]


def form(client: FlaskClient, action: str):
    return next(each for each in forms_of(client.get("/people").text) if each.action == action)


def add(client: FlaskClient, name: str, units: str = "metric"):
    return client.post("/people", data=form(client, "/people").filled(name=name, units=units))


def masthead(client: FlaskClient) -> str:
    return client.get("/people").text.split('class="whoami"')[1].split("</a>")[0]


def test_somebody_is_added_and_sits_down_at_this_screen(app, client):
    answer = add(client, "Anna", "us")
    assert answer.status_code == 303
    assert people(app) == [("Anna", "us")]
    assert "Anna" in masthead(client)
    assert "US customary" in masthead(client)


def test_the_choice_outlives_the_browser_window(client):
    add(client, "Anna")
    cookie = client.get_cookie("chitbook")
    assert cookie.max_age is not None or cookie.expires is not None


def test_nobody_yet_is_told_what_to_do(client):
    assert "Add yourself below" in client.get("/people").text


def test_another_person_takes_the_screen(client):
    add(client, "Anna", "us")
    add(client, "Ben")
    assert "Ben" in masthead(client)
    choose = form(client, "/people/choose")
    anna = next(value for _, name, value in choose.buttons if name == "person" and value)
    client.post("/people/choose", data=choose.values | {"person": anna})
    assert "Anna" in masthead(client)
    assert "US customary" in masthead(client)


def test_nobody_in_particular_can_be_at_the_screen(client):
    add(client, "Anna")
    client.post("/people/choose", data={"person": ""})
    assert "Anna" not in masthead(client)


def test_an_unknown_person_changes_nothing(client):
    add(client, "Anna")
    page = client.post("/people/choose", data={"person": "nobody-here"}, follow_redirects=True).text
    assert "not known here" in page
    assert "Anna" in masthead(client)


@pytest.mark.parametrize(
    ("name", "words"),
    [("", "Give a name"), ("x" * 81, "at most 80"), ("Anna", "somebody called “Anna” already")],
)
def test_a_name_that_will_not_do_is_refused_at_its_field(app, client, name, words):
    add(client, "Anna")
    answer = add(client, name)
    assert answer.status_code == 422
    place = answer.text.index('id="name-wrong"')
    assert words in answer.text[place : place + 200]
    assert people(app) == [("Anna", "metric")]


def test_units_that_do_not_exist_are_refused(app, client):
    answer = client.post("/people", data={"id": "p", "name": "Anna", "units": "cubits"})
    assert answer.status_code == 422
    assert "Choose metric or US" in answer.text
    assert people(app) == []
    assert client.post("/people/units", data={"units": "cubits"}).status_code == 422


def test_a_double_press_adds_one_person(app, client):
    values = form(client, "/people").filled(name="Anna")
    for _ in range(2):
        assert client.post("/people", data=values).status_code == 303
    assert people(app) == [("Anna", "metric")]


def test_units_are_kept_with_the_person(app, client):
    add(client, "Anna")
    client.post("/people/units", data={"units": "us"})
    assert people(app) == [("Anna", "us")]
    other_screen = app.test_client()
    choose = form(other_screen, "/people/choose")
    anna = next(value for _, name, value in choose.buttons if name == "person" and value)
    other_screen.post("/people/choose", data={"person": anna})
    assert "US customary" in masthead(other_screen)


def test_without_a_person_units_belong_to_the_screen(app, client):
    client.post("/people/units", data={"units": "us"})
    assert "US customary" in masthead(client)
    assert "US customary" not in masthead(app.test_client())


def test_the_screen_is_dimmed_and_lit_again(client):
    assert 'data-theme="night"' not in client.get("/people").text
    client.post("/people/theme", data={"theme": "night"})
    assert 'data-theme="night"' in client.get("/people").text
    client.post("/people/theme", data={"theme": ""})
    assert 'data-theme="night"' not in client.get("/people").text


def test_the_way_back_leads_to_the_page_one_came_from(client):
    answer = client.post("/people/theme", data={"theme": "night", "back": "/lots"})
    assert answer.location == "/lots"


@pytest.mark.parametrize("back", ["https://elsewhere.example/", "//elsewhere.example", "/\\elsewhere.example", "lots"])
def test_the_way_back_never_leads_elsewhere(client, back):
    answer = client.post("/people/theme", data={"theme": "night", "back": back})
    assert answer.location == "/people"
