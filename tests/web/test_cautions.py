"""Cautions: each defers to local codes and licensed practice, and stands where it matters."""

from __future__ import annotations

import re
from datetime import timedelta
from html import unescape

import pytest
from flask import Flask
from flask.testing import FlaskClient
from sqlalchemy import select

from app.judgement import cautions
from app.judgement.cautions import BY_STAGE, DEFERS, PRUSSIC_ACID, for_stage
from app.judgement.programmes.programme import load_builtin
from app.store.batches import Batch
from app.store.engine import write_session
from app.store.lots import Lot
from app.web.house.guidance import CAUTIONS as OF_HOUSE
from app.web.lots.guidance import CAUTIONS as OF_LOTS
from app.web.malt.page import CAUTIONS as OF_MALT
from app.web.packs.page import CAUTIONS as OF_PACKS
from app.web.workings.registry import WORKINGS
from tests.pages import Tub
from tests.stories import add_story
from tests.web.test_packs import fill
from tests.writing import LOT, NOW, add_lot, entry, iso

from .keeping import kept, said

ALL = {name: each for name, each in vars(cautions).items() if isinstance(each, cautions.Caution)}


def shown(client: FlaskClient, path: str) -> str:
    return " ".join(unescape(re.sub(r"<[^>]+>", " ", client.get(path).text)).split())


def care(client: FlaskClient, path: str) -> tuple[bool, str]:
    """Whether the tub's cautions stand open, and what they say."""
    found = re.search(r'<details class="[^"]*take-care"( open)?>(.*?)</details>', client.get(path).text, re.S)
    assert found is not None
    return bool(found[1]), " ".join(unescape(re.sub(r"<[^>]+>", " ", found[2])).split())


def grown_of(app: Flask, species: str, key: str = "barley_pale", hours_ago: float = 60) -> Batch:
    with write_session(app.extensions["engine"]) as session:
        batch = add_story(session, hours_ago=hours_ago, key=key)
        batch.species = species
        (lot,) = session.scalars(select(Lot))
        lot.species = species
    return batch


@pytest.mark.parametrize("name", sorted(ALL))
def test_every_caution_in_full_defers_to_local_codes_and_licensed_practice(name: str) -> None:
    assert ALL[name].text.endswith(DEFERS)


def test_every_page_that_shows_a_caution_defers_beside_it(app: Flask, client: FlaskClient, morning: None) -> None:
    batch = grown_of(app, "sorghum", hours_ago=400)
    fill(app, batch)
    with write_session(app.extensions["engine"]) as session:
        add_lot(session)
    said(app, entry("co_room", {"value": "500", "value_unit": "ppm"}, id="gas", at=iso(NOW)) | {
        "subject": {"type": "batch", "id": batch.id}
    })  # fmt: skip
    paths = [
        "/lots/new", f"/lots/{LOT}", "/batches/1", "/packs/jar-3", "/packs/jar-3/sheet",
        *(f"/lots/{LOT}/entries/{kind}" for kind in OF_LOTS),
        *(f"/house/entries/{kind}" for kind in OF_HOUSE),
        *(f"/workings/{key}" for key, working in WORKINGS.items() if working.caution),
    ]  # fmt: skip
    for path in paths:
        page = shown(client, path)
        on_it = [each for each in ALL.values() if each.about in page]
        assert on_it or "/workings/" in path, path
        assert DEFERS in page, path
        assert all(each.text in page for each in on_it), path
    for programme in load_builtin().values():
        assert DEFERS in shown(client, f"/programmes/{programme.digest}")


# --- at the tub ------------------------------------------------------------------------------------------------------


def test_the_cautions_of_a_stage_stand_open_at_its_start_and_are_folded_once_something_is_recorded(
    app: Flask, client: FlaskClient, tub: Tub
) -> None:
    said(app, entry("steep_on", id="on", at=iso(NOW - timedelta(minutes=5))))
    is_open, text = care(client, tub.path)
    assert is_open
    assert cautions.CO2.short in text
    assert DEFERS in text
    kept(tub.keep("water_temperature", {"value": "14"}))
    assert care(client, tub.path) == (False, text)


def test_a_stage_that_comes_again_has_been_read_of(app: Flask, client: FlaskClient, tub: Tub) -> None:
    for place, kind in enumerate(("steep_on", "drained", "steep_on")):
        assert place == 0 or care(client, tub.path)[0]
        said(app, entry(kind, id=f"{kind}{place}", at=iso(NOW - timedelta(minutes=9 - 2 * place))))
    assert not care(client, tub.path)[0]


@pytest.mark.parametrize(
    ("kinds", "shorts"),
    [
        ((), (cautions.TREATED_SEED, cautions.VESSELS, cautions.LIFTING, cautions.DUST)),
        (("steep_on", "cast"), (cautions.CO2, cautions.RAW_SPROUT)),
        (("loaded",), (cautions.KILN, cautions.CO, cautions.RAW_SPROUT)),
        (("stew_on",), (cautions.KILN, cautions.CO, cautions.SCALDS, cautions.RAW_SPROUT)),
        (("loaded", "heat_off"), (cautions.DUST, cautions.RAW_SPROUT)),
    ],
)
def test_each_stage_has_its_own(
    app: Flask, client: FlaskClient, tub: Tub, kinds: tuple[str, ...], shorts: tuple[cautions.Caution, ...]
) -> None:
    for place, kind in enumerate(kinds):
        said(app, entry(kind, id=kind, at=iso(NOW - timedelta(hours=9 - 4 * place))))
    text = care(client, tub.path)[1]
    assert {each.short for each in ALL.values() if each.short in text} == {each.short for each in shorts}


@pytest.mark.parametrize(
    "kinds", [(), ("steep_on",), ("steep_on", "cast"), ("stew_on",), ("loaded",), ("loaded", "heat_off")]
)
def test_the_tub_says_each_caution_once_whatever_its_entries_advise(
    app: Flask, client: FlaskClient, tub: Tub, kinds: tuple[str, ...]
) -> None:
    for place, kind in enumerate(kinds):
        said(app, entry(kind, id=kind, at=iso(NOW - timedelta(hours=9 - 4 * place))))
    page, head = shown(client, tub.path), care(client, tub.path)[1]
    said_there = [each for each in ALL.values() if each.short in head]
    assert said_there
    assert {each.key: page.count(each.short) for each in said_there} == dict.fromkeys((e.key for e in said_there), 1)


def test_every_caution_has_a_place_where_it_is_shown_and_no_place_shows_it_twice() -> None:
    stages = [for_stage(stage, purpose, ["sorghum"]) for stage in BY_STAGE for purpose in ("roasted", "smoked", "pale")]
    workings = [(working.caution,) for working in WORKINGS.values() if isinstance(working.caution, cautions.Caution)]
    places = [*stages, *OF_LOTS.values(), *OF_HOUSE.values(), *OF_MALT.values(), OF_PACKS, *workings]
    assert {each for place in places for each in place} >= set(ALL.values())
    assert all(len({each.key for each in place}) == len(place) for place in places)


def test_no_two_cautions_say_the_same() -> None:
    sentences = [text for each in ALL.values() for text in re.split(r"(?<=[.:;]) ", each.about)]
    assert len(sentences) == len(set(sentences))


@pytest.mark.parametrize(
    ("words", "caution"),
    [
        (("Salmonella", "E. coli", "Bake or boil"), cautions.RAW_SPROUT),
        (("deoxynivalenol", "T-2 and HT-2", "ochratoxin A", "your own law"), cautions.TOXIN_LIMITS),
        (("0.2 g",), cautions.ERGOT),
        (("NDMA",), cautions.KILN),
        (("Phosphine", "licensed fumigator"), cautions.PHOSPHINE),
        (("lead", "copper", "galvanised"), cautions.VESSELS),
        (("Never acid and chlorine", "Lye into water", "peroxide"), cautions.CLEANERS),
    ],
)
def test_what_hurts_is_called_by_its_name(words: tuple[str, ...], caution: cautions.Caution) -> None:
    assert all(word in caution.text for word in words)


@pytest.mark.parametrize("caution", [cautions.TOXIN_LIMITS, cautions.ERGOT, cautions.KILN])
def test_a_limit_by_law_says_when_the_law_was_looked_at_and_to_look_at_ones_own(caution: cautions.Caution) -> None:
    assert re.search(r"looked at on \d+ \w+ 20\d\d", caution.source, re.I)
    assert "look at your own law" in f"{caution.text} {caution.source}"


def test_smoke_on_malt_is_cautioned_of_where_it_is_meant_and_nowhere_else() -> None:
    assert cautions.SMOKE in cautions.for_stage("kilning", "smoked", ["barley"])
    assert cautions.SMOKE not in cautions.for_stage("kilning", "base", ["barley"])
    assert cautions.SMOKE not in cautions.for_stage("germination", "smoked", ["barley"])


# --- sorghum ---------------------------------------------------------------------------------------------------------
# Osuntogun et al. 1989, Cereal Chem. 66:87: 8–38 µg of cyanide in a gram of sorghum, 78–136 after five days of malting.


@pytest.mark.parametrize("key", ["barley_pale", "oats", "kitchen_wheat"])
@pytest.mark.parametrize("species", ["sorghum", "Red Sorghum", "jowar", "great millet", "millet"])
def test_sorghum_brings_prussic_acid_along_in_whatever_programme(
    app: Flask, client: FlaskClient, morning: None, key: str, species: str
) -> None:
    batch = grown_of(app, species, key, hours_ago=400)
    fill(app, batch)
    with write_session(app.extensions["engine"]) as session:
        (lot,) = session.scalars(select(Lot.id))
    for path in ("/batches/1", f"/lots/{lot}", "/packs/jar-3", "/packs/jar-3/sheet"):
        assert PRUSSIC_ACID.text in shown(client, path), path
    for path in ("/packs/jar-3/label", "/batches/1/tub"):
        assert PRUSSIC_ACID.short in shown(client, path), path


@pytest.mark.parametrize("species", ["barley", "oats", "rye", "buckwheat"])
def test_other_grain_brings_none(app: Flask, client: FlaskClient, morning: None, species: str) -> None:
    grown_of(app, species)
    for path in ("/batches/1", "/batches/1/tub"):
        assert "prussic" not in shown(client, path).lower()
