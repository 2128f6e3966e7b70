"""The screen dimmed for the night: one press from the tub and back, and nothing bright left on it."""

from __future__ import annotations

import pytest
from flask.testing import FlaskClient

from tests.pages import Tub, forms_of
from tests.web.test_look import SHEETS, colours, luminance

GROUNDS = ("paper", "sheet", "wash", "fine-wash", "notice-wash", "caution-wash", "act-wash")


def press(client: FlaskClient, path: str) -> None:
    (form,) = [form for form in forms_of(client.get(path).text) if form.action == "/people/theme"]
    assert client.post(form.action, data=form.values).location == path


@pytest.mark.parametrize("place", ["tub", "home"])
def test_one_press_dims_the_screen_and_one_lights_it_again(client: FlaskClient, tub: Tub, place: str) -> None:
    path = tub.path if place == "tub" else "/"
    press(client, path)
    assert '<html lang="en" data-theme="night">' in client.get(path).text
    press(client, path)
    assert '<html lang="en">' in client.get(path).text


def test_the_browser_s_own_frame_is_dimmed_too(client: FlaskClient, tub: Tub) -> None:
    assert client.get(tub.path).text.count('name="theme-color"') == 2
    press(client, tub.path)
    page = client.get(tub.path).text
    assert page.count('name="theme-color"') == 1
    frame = page.partition('name="theme-color" content="#')[2][:6]
    assert max(bytes.fromhex(frame)) <= 4


def test_a_dimmed_screen_is_nearly_black_and_its_words_give_little_light() -> None:
    night, dark = colours("night"), colours("dark")
    assert all(luminance(night[ground]) < 0.005 for ground in GROUNDS)
    assert luminance(night["ink"]) < 0.3 < luminance(dark["ink"])


def test_nothing_on_a_dimmed_screen_is_blue_or_green() -> None:
    """Rods see red worst: hues from red to yellow only, but for the faint green of growth and of what is fine."""
    hues = {name: hue for name, (_, chroma, hue) in colours("night").items() if chroma > 0.02}
    assert {name for name, hue in hues.items() if not 25 <= hue <= 110} == set()


def test_what_is_filled_with_ink_by_day_is_not_filled_at_night() -> None:
    everything = "".join(sheet.read_text(encoding="utf-8") for sheet in SHEETS)
    night = everything[everything.index('[data-theme="night"] {') :].partition("}")[0]
    assert "--filled: var(--wash);" in night
    for rule in (".button--first {", ".tile--first {"):
        assert "background: var(--filled)" in everything.partition(rule)[2].partition("}")[0]
