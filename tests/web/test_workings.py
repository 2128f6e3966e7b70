"""Workings: each calculation typed through its real form, against published values; what can't be taken is said."""

from __future__ import annotations

import html
import re
import shutil
from collections.abc import Iterator
from pathlib import Path
from urllib.parse import urlencode
from zoneinfo import ZoneInfo

import pytest
from flask.testing import FlaskClient
from hypothesis import given, settings
from hypothesis import strategies as st
from werkzeug.test import TestResponse

from app import create_app
from app.config import Settings
from app.folder import ensure_secret
from app.science.handbook import methods
from app.web.workings.registry import GROUPS, WORKINGS, Working
from tests.pages import PageForm, forms_of

EVERY = list(WORKINGS.values())


@pytest.fixture(scope="module")
def client(tmp_path_factory: pytest.TempPathFactory, migrated_file: Path) -> Iterator[FlaskClient]:
    """One server for all: these pages store nothing."""
    folder = tmp_path_factory.mktemp("workings")
    shutil.copy(migrated_file, folder / "chitbook.sqlite")
    ensure_secret(folder / "secret")
    app = create_app(Settings(data_dir=folder, zone=ZoneInfo("Europe/Dublin")))
    app.config.update(TESTING=True, WTF_CSRF_ENABLED=False)
    yield app.test_client()
    app.extensions["engine"].dispose()


def form_of(client: FlaskClient, key: str) -> PageForm:
    page = client.get(f"/workings/{key}")
    assert page.status_code == 200
    (form,) = [each for each in forms_of(page.text) if each.action == f"/workings/{key}"]
    return form


def work(client: FlaskClient, key: str, **typed: str) -> TestResponse:
    """The form as it stands, with some fields typed over, sent as a browser sends it."""
    return client.get(f"/workings/{key}?{urlencode(form_of(client, key).filled(**typed))}")


def words_of(page: str) -> str:
    """The words of the result as a reader sees them."""
    (result,) = re.findall(r'<section class="sheet stack stack--tight outcome".*?</section>', page, re.DOTALL)
    return " ".join(html.unescape(re.sub(r"<[^>]+>", " ", result)).replace("\xa0", " ").split())


CHECKS = [
    # The balance the other way round: 829.3 kg of malt from a tonne.
    ("grain-for-malt", {"malt": "829.3", "cleaning": "0"}, "Grain 1000 ± 33 kg"),
    # By hand: 19.1 dry / 0.87 / 0.88 / 0.99 and / 0.93: 24.36 ± 0.84.
    ("grain-for-malt", {"malt": "20.00"}, "Grain 24.4 ± 0.8 kg"),
    # By hand: (15 + 30 × 0.30 + 2 + 5 × 15 + 4 × 0.80) / 20.
    ("cost-per-kilogram", {}, "Each kg 5.21"),
    ("cost-per-kilogram", {}, "Without your own work 1.46"),
    # Owens 2001, p. 193: a tonne of barley lies at 2.0 to 2.18 m³ once steeped.
    ("tub-size", {"mass": "1000", "weight": "69"}, "Grain when it has drunk 1989 to 2469 L"),
    # The same volumes by hand: 2469 × 1.1 × 1.1; 2469 × 1.1 − 1000 / 1.25.
    ("tub-size", {"mass": "1000", "weight": "69"}, "Tub, at the least 2988 L"),
    ("tub-size", {"mass": "1000", "weight": "69"}, "at the most 1916 L"),
    # Canadian Grain Commission: barley, −0.3063 + 0.2089 × 330 g in half a litre.
    ("hectolitre-weight", {"mass": "660"}, "would show 68.6 kg/hL"),
    ("hectolitre-weight", {"mass": "660.0", "volume": "1.000"}, "= 66.0 kg/hL"),
    # Conservation of dry matter, by hand: (160 - 88)/160; with 1 % lost (160 - 87.12)/160.
    (
        "moisture-from-weight",
        {"mass": "160.000", "initial": "100.000", "moisture": "12.0000", "loss": "1.000"},
        "45.550 %",
    ),
    ("moisture-from-weight", {"mass": "160.0", "initial": "100.0"}, "(160.0 kg − 100.0 kg × (1 − 12 %) × (1 − 0 %))"),
    # The film of drained grain, 1.5 ± 1 points, from memory.
    (
        "moisture-from-weight",
        {"moisture": "12.000", "mass": "160.000", "initial": "100.000", "way": "drained"},
        "43.5 ± 1.0 %",
    ),
    ("target-weight", {"initial": "100.000", "moisture": "12.0000", "target": "43.0000"}, "= 154.4 kg"),
    (
        "target-weight",
        {"initial": "1000.00", "initial_unit": "g", "moisture": "12.0000", "target": "46.0000"},
        "1629.63",
    ),
    ("water-to-spray", {"mass": "160", "moisture": "44", "target": "45"}, "= 2909 g"),
    (
        "tray-stop-weight",
        {"tare": "500.00", "loaded": "1000.00", "moisture": "44.0000", "target": "4.5000"},
        "Stop at gross 1086.39",
    ),
    ("surface-film", {"moisture": "45", "film": "1"}, "0.545 points"),
    ("oven-moisture", {"wet": "5.000", "dry": "4.775"}, "= 4.500 %"),
    ("oven-moisture", {"wet": "100", "dry": "90", "first": "38"}, "= 44.200 %"),
    ("mixed-moisture", {"masses": "60; 40", "moistures": "12, 14"}, "12.80 %"),
    ("wet-and-dry-basis", {"value": "45", "basis": "wb"}, "81.818 %"),
    ("wet-and-dry-basis", {"value": "100", "basis": "db"}, "50.000 %"),
    ("start-weight-after-skimming", {"initial": "100", "removed": "3"}, "97.0"),
    # Counts published by K. Kunze, BarleyGermination-KK; EBC Analytica 3.6 and 3.7.
    ("germinative-energy", {"counts_4": "28 45 27", "counts_8": "54 38 3"}, "Germination index, 4 mL 5.025126"),
    ("germinative-energy", {"counts_4": "28 45 27", "counts_8": "54 38 3"}, "Germination index, 8 mL 6.834532"),
    ("germinative-energy", {"counts_4": "28 45 27", "counts_8": "54 38 3"}, "Water sensitivity 5.0 points"),
    # The published vector of the germinationmetrics package.
    ("speed-of-germination", {}, "T50, as by Farooq 2005 5.941176 d"),
    ("speed-of-germination", {}, "T50, as by Coolbear 1984 5.970588 d"),
    ("speed-of-germination", {}, "Mean time to grow 6.700 d"),
    ("speed-of-germination", {}, "Variance 1.446154"),
    ("speed-of-germination", {}, "Uncertainty 2.062987 bit"),
    ("speed-of-germination", {}, "Synchrony 0.266667"),
    ("speed-of-germination", {}, "Uniformity 0.709220"),
    ("capacity-and-dormancy", {"dead": "6", "kernels": "200", "energy": "81"}, "Dormancy 16.0 points"),
    # scipy's proportion intervals.
    ("how-sure-is-a-count", {"found": "95", "kernels": "100"}, "(Wilson) 88.82 – 97.85 %"),
    ("how-sure-is-a-count", {"found": "95", "kernels": "100"}, "(exact) 88.72 – 98.36 %"),
    ("how-sure-is-a-count", {"found": "490", "kernels": "500"}, "(Wilson) 96.36 – 98.91 %"),
    # Eypasch et al. 1995, the rule of three, exactly: 1 − 0.05^(1/100).
    ("kernels-to-look-at", {"share": "1", "looked": "100"}, "Look at 299 kernels"),
    ("kernels-to-look-at", {"share": "1", "looked": "100"}, "at the most 2.95 %"),
    ("can-a-dish-tell-them-apart", {"kernels": "100"}, "cannot tell them apart"),
    ("can-a-dish-tell-them-apart", {"kernels": "1500"}, "tells them apart"),
    # ISTA Rules, table 5B, from memory: mean 95 tolerates 9.
    ("do-the-dishes-agree", {"found": "98 96 92 94"}, "Chance allows 9.00 points"),
    ("do-the-dishes-agree", {"found": "99 98 96 87"}, "do not agree"),
    ("floated-off", {"skimmed": "1.1", "skimmed_moisture": "20", "charge": "100", "moisture": "12"}, "1.000 %"),
    # Grouped mean of the EBC classes.
    ("mean-acrospire", {"overgrown_as": "1.0"}, "= 0.81375"),
    ("mean-acrospire", {"overgrown_as": "1.125"}, "= 0.82000"),
    ("mean-acrospire", {}, "Can truly lie between 0.695 and 0.945"),
    # Onion, base 2.5 °C, 80 °C·d: published.
    ("thermal-time", {"temperatures": "22.5", "hours": "96", "base": "2.5"}, "80.00 °C·d"),
    ("thermal-time", {"temperatures": "7.5", "hours": "384", "base": "2.5"}, "80.00 °C·d"),
    ("heat-of-respiration", {"mass": "1000", "moisture": "12", "burnt": "5"}, "Heat 211 ±"),
    # CoolProp's moist air and a heat balance (tests/science/test_ventilation.py): 1937 W × 734 / 1.94.
    ("air-to-cool-the-bed", {"mass": "1000", "humidity": "100"}, "Heat of the bed 1937 W"),
    (
        "air-to-cool-the-bed",
        {"mass": "1000.00", "humidity": "100", "air": "12.000", "bed": "15.000", "loss": "1.1000"},
        "733 ± 13 m³/h",
    ),
    # By hand: 880 × 0.011 / 24 × 1.629 kg/h = 353 L/h at 15 °C, 420 + 0.353 / (0.3 × 40).
    ("air-in-the-room", {"mass": "1000"}, "353 L/h"),
    ("air-in-the-room", {"mass": "1000", "hours": "1000"}, "Carbon dioxide by then 29800 ppm"),
    ("air-in-the-room", {"mass": "1000", "hours": "1000"}, "stay out"),
    ("air-in-the-room", {"mass": "1000", "changes": "0", "hours": "0.6"}, "air it before you work there"),
    # Ergun's law lies between (tests/science/test_ventilation.py): 60 Pa × 2 × 1.5 and × 1.5².
    ("pressure-under-a-bed", {}, "Under the other bed 180 to 270 Pa"),
    # Storage of Cereal Grains, 5th ed.: durum at 25 % RH; soft wheat at 32.2 °C and 50 %. Malt: López et al. 1997.
    ("driest-the-air-makes-it", {"grain": "durum", "temperature": "10", "humidity": "25"}, "8.0 ± 1.0 %"),
    ("driest-the-air-makes-it", {"grain": "soft_wheat", "temperature": "32.2", "humidity": "50"}, "10.8 ± 1.0 %"),
    ("driest-the-air-makes-it", {"grain": "malt", "temperature": "20", "humidity": "65"}, "12.2 ± 1.0 %"),
    # ASHRAE Fundamentals 2017, chapter 1, example 1.
    ("what-the-air-holds", {"temperature": "40", "humidity": "14"}, "Wet bulb 20.0"),
    ("what-the-air-holds", {"temperature": "40", "humidity": "14", "altitude": "500"}, "95461 Pa"),
    ("two-thermometers", {"temperature": "40", "wet": "20"}, "Relative humidity 14.0"),
    ("two-thermometers", {"temperature": "40", "wet": "20"}, "Heat content 56.7 kJ/kg"),
    ("what-drying-takes", {}, "3.32 MJ, 76.6 m³"),
    ("what-drying-takes", {}, "12.29 g/kg"),
    ("what-drying-takes", {}, "Hours at the least 12.5 h"),
    ("how-long-on-the-kiln", {}, "9.17 h"),
    # A product sheet: 5.5 h at 84 °C for 3 h at 90 °C; twice the time for 6 °C less, by boiling wort.
    ("curing-for-dms", {"hours": "3", "temperature": "90", "other": "84"}, "Cure for 5.5 to 6.2 h"),
    # O'Callaghan et al. 1971 at 50 °C.
    ("germination-lost-by-drying", {"layer": "50"}, "0.0001559 per s"),
    # Half-lives of Marc et al. 1983 at 65 °C, from memory.
    ("enzyme-survival", {"enzyme": "alpha_amylase", "hours": "0 1"}, "71.7 min"),
    ("enzyme-survival", {"enzyme": "beta_amylase", "hours": "0 1"}, "4.2 min"),
    ("hours-above-a-ceiling", {"hours": "0 2", "temperatures": "50 70", "ceiling": "60"}, "Degree-hours 5.00 °C h"),
    ("dry-loss", {"initial": "42", "moisture": "15", "final": "32", "final_moisture": "2"}, "12.157 %"),
    ("mass-balance", {}, "829.3 kg"),
    ("mass-balance", {}, "Green malt 1496 kg"),
    ("mass-balance", {}, "Water to drive off 634.4 kg"),
    # The definition of EBC Analytica 4.5.1 and ASBC Malt-4; a small mash of 50 g in 250 g.
    ("extract", {"plato": "8.600", "moisture": "4.500", "malt": "50.000", "water": "400.00"}, "Extract, dry 79.26"),
    ("extract", {"plato": "8.60", "moisture": "4.5", "malt": "50", "water": "400"}, "= 75.70 %"),
    ("extract", {"plato": "14.000", "moisture": "5.000", "malt": "50.000", "water": "250.00"}, "Extract, dry 86.5"),
    # The ASBC polynomial, from memory.
    ("plato-and-gravity", {"value": "1.080", "scale": "sg"}, "19.331 °P"),
    ("plato-and-gravity", {"value": "9.994", "scale": "plato"}, "Specific gravity 1.0400"),
    ("plato-and-gravity", {"value": "10.4", "scale": "brix"}, "10.000 °P"),
    # The common conversion of EBC and ASBC.
    ("lintner-and-windisch-kolbach", {"value": "250", "unit": "wk"}, "= 76.0"),
    ("lintner-and-windisch-kolbach", {"value": "76", "unit": "l"}, "= 250.0"),
    ("colour-units", {"value": "10", "unit": "lovibond"}, "= 25.19 EBC"),
    ("colour-units", {"value": "10", "unit": "srm"}, "= 19.70 EBC"),
    ("colour-units", {"value": "25.1884", "unit": "ebc"}, "°Lovibond 10.00"),
    ("unmalted-share", {"power": "140", "needed": "35"}, "75.00 %"),
    ("grist", {"masses": "60 40", "values": "100 0"}, "60.00"),
    ("kolbach-and-protein", {"soluble": "0.70", "total": "1.75"}, "40.00 %"),
    ("kitchen-conversion", {"minutes": "10", "reference": "20"}, "2.00"),
    # Falling numbers of 400 and 220 s half and half: published as 279.
    ("falling-number-of-a-blend", {"numbers": "400 220", "shares": "1 1"}, "Falling number 278.8 s"),
    # The trial blend gives its own share back.
    ("dose-of-malt-flour", {"trial": "300", "trial_share": "0.2", "target": "300"}, "= 0.200 %"),
    # NDSU Extension 2009 and 2019; the rice of the viabilitymetrics package.
    ("how-long-it-keeps", {"moisture": "14", "temperature": "70", "temperature_unit": "f"}, "Keeps 89 to 175 d"),
    ("how-long-it-keeps", {"moisture": "14", "temperature": "60", "temperature_unit": "f"}, "Keeps 169 to 430 d"),
    ("how-long-it-keeps", {"purpose": "quality", "moisture": "16", "temperature": "10"}, "Keeps 230 d"),
    ("storage-life-used", {"days": "15", "lives": "30", "now": "270"}, "135.0 d"),
    ("viability", {"species": "rice", "initial": "98.0000", "moisture": "10.0000", "temperature": "5.0000"}, "97.648"),
    # Biosystems Engineering, table 11.2; the balance as scipy's solve_ivp steps it (tests/science/test_sacks.py).
    ("malt-in-its-sack", {}, "Stays dry enough 12 to 24 months"),
    ("malt-in-its-sack", {}, "In days 358 to 715 d"),
    ("malt-in-its-sack", {}, "film 3.9 to 7.9 g/(m² d)"),
    ("malt-in-its-sack", {"humidity": "20"}, "ten years and more"),
    # By hand: 25 × (6 − 4.5) / 94.
    ("malt-in-its-sack", {}, "weighs more by 398.9 g"),
    # NIST/SEMATECH e-Handbook 6.3.2.2.
    ("control-chart", {}, "Usual is 45.8159 to 55.8041"),
    ("control-chart", {}, "Mean moving range 1.8778"),
    ("two-groups", {"first": "3 4 5", "second": "1 2"}, "too few to say"),
]


@pytest.mark.parametrize(("key", "typed", "expected"), CHECKS)
def test_a_published_value_comes_out(key: str, typed: dict[str, str], expected: str, client: FlaskClient) -> None:
    page = work(client, key, **typed)
    assert page.status_code == 200
    assert expected in words_of(page.text)


ROUNDED = [
    # Storage of Cereal Grains, 5th ed.: durum of 8.0 % at 10 °C is in balance with 25 %.
    ("air-in-the-jar", {"grain": "durum", "temperature": "10", "moisture": "8.0"}, 25.0, 0.5),
    # Sasaki & Kanzaki 1972 print 5 %.
    ("germination-lost-by-drying", {"depression": "19.2", "initial": "30"}, 5.0, 0.1),
    ("germination-lost-by-drying", {"depression": "15.2", "initial": "70"}, 5.0, 0.1),
    # A half-life of β-amylase at 65 °C is 4.2 min, from memory.
    ("enzyme-survival", {"enzyme": "beta_amylase", "hours": "0 0.07"}, 50.0, 0.5),
    # Common conversion of a laboratory: 76.0 °L.
    ("lintner-and-windisch-kolbach", {"value": "250", "unit": "wk"}, 76.0, 0.01),
]


@pytest.mark.parametrize(("key", "typed", "expected", "near"), ROUNDED)
def test_a_value_published_in_round_numbers_comes_out(
    key: str, typed: dict[str, str], expected: float, near: float, client: FlaskClient
) -> None:
    found = re.search(r"^[^\d]*([\d.]+)", words_of(work(client, key, **typed).text))
    assert found is not None
    assert float(found[1]) == pytest.approx(expected, abs=near)


def test_every_working_has_a_check() -> None:
    assert {key for key, *_ in (*CHECKS, *ROUNDED)} == set(WORKINGS)


@pytest.mark.parametrize("working", EVERY, ids=lambda each: each.key)
def test_a_working_says_where_it_comes_from_and_where_it_ends(working: Working, client: FlaskClient) -> None:
    page = work(client, working.key).text
    assert working.methods
    assert set(working.methods) <= set(methods())
    for anchor in working.methods:
        assert f'href="/methods/{anchor.partition(".")[0]}#{anchor}"' in page
    assert html.escape(working.limits, quote=False).replace("'", "&#39;") in page
    assert 'class="formula"' in page
    assert not re.search(r">\s*None", page)


@pytest.mark.parametrize("working", EVERY, ids=lambda each: each.key)
def test_a_working_stands_in_the_list_under_its_group(working: Working, client: FlaskClient) -> None:
    page = client.get("/workings").text
    assert f'href="/workings/{working.key}"' in page
    assert html.escape(GROUPS[working.group]) in page


@pytest.mark.parametrize("working", EVERY, ids=lambda each: each.key)
def test_a_working_is_found_by_what_one_would_ask(working: Working) -> None:
    assert working.title.endswith("?")
    assert len(working.title) <= 45


def test_the_list_leads_to_each_of_its_groups(client: FlaskClient) -> None:
    page = client.get("/workings").text
    for title in GROUPS.values():
        (number,) = re.findall(rf'<a href="#(group-\d+)">{re.escape(html.escape(title))}</a>', page)
        assert f'<h2 id="{number}">{html.escape(title)}</h2>' in page


@pytest.mark.parametrize("working", EVERY, ids=lambda each: each.key)
def test_the_example_works_in_us_units_too(working: Working, client: FlaskClient) -> None:
    client = client.application.test_client()
    client.post("/people/units", data={"units": "us"})
    form = form_of(client, working.key)
    answer = client.get(f"/workings/{working.key}?{urlencode(form.values)}")
    assert answer.status_code == 200
    masses = {value for name, value in form.values.items() if name.endswith("_unit")}
    assert masses <= {"lb", "oz", "g", "f", "cfm", "gal", "in"}
    assert not re.search(r"\d\s(°C|kg)(?![/\w])", words_of(answer.text).replace("°C·d", "").replace("t = 5 °C", ""))


FIELDS = [(each.key, name) for each in EVERY for name in each.asks]


@pytest.mark.parametrize(("key", "name"), FIELDS)
def test_what_is_no_number_is_said_at_its_field_and_kept(key: str, name: str, client: FlaskClient) -> None:
    typed = form_of(client, key).values | {name: "warm<b>"}
    answer = client.get(f"/workings/{key}?{urlencode(typed)}")
    assert answer.status_code == 422
    assert "Not worked out yet" in answer.text
    assert f'id="{name}-wrong"' in answer.text
    assert "warm<b>" not in answer.text
    (form,) = [each for each in forms_of(answer.text) if each.action == f"/workings/{key}"]
    others = {other: value for other, value in typed.items() if other != name}
    assert {other: form.values[other] for other in others} == others
    if WORKINGS[key].asks[name].filled["metric"] not in form.choices.get(name, ()):
        assert form.values[name] == "warm<b>"


@pytest.mark.parametrize(("key", "name"), FIELDS)
def test_a_field_left_empty_is_named_or_may_be(key: str, name: str, client: FlaskClient) -> None:
    ask = WORKINGS[key].asks[name]
    answer = client.get(f"/workings/{key}?{urlencode(form_of(client, key).values | {name: ''})}")
    if ask.spec.required:
        assert answer.status_code == 422
        assert html.escape(f"{ask.spec.word} is missing.").replace("&#x27;", "&#39;") in answer.text
    else:
        assert answer.status_code == 200


IMPOSSIBLE = [
    ("moisture-from-weight", {"mass": "10"}, "less than the dry matter"),
    ("moisture-from-weight", {"mass": "-3"}, "can&#39;t be below"),
    ("wet-and-dry-basis", {"value": "120", "basis": "wb"}, "stays below 100 %"),
    ("oven-moisture", {"wet": "4", "dry": "5"}, "heavier after the oven"),
    ("tub-size", {"target": "10"}, "must not be below"),
    ("hectolitre-weight", {"mass": "60"}, "at least 100"),
    ("mixed-moisture", {"masses": "60 40", "moistures": "12"}, "one moisture for each mass"),
    ("start-weight-after-skimming", {"removed": "150"}, "at least 0"),
    ("germinative-energy", {"counts_4": "60 50 20"}, "only 100 were laid out"),
    ("speed-of-germination", {"times": "3 2 1", "counts": "1 1 1"}, "must rise"),
    ("speed-of-germination", {"times": "1 2", "counts": "0 0"}, "Not one kernel grew"),
    ("how-sure-is-a-count", {"found": "101"}, "More were found"),
    ("kernels-to-look-at", {"share": "0"}, "can&#39;t be below"),
    ("do-the-dishes-agree", {"found": "98.5 96"}, "counted whole"),
    ("mean-acrospire", dict.fromkeys(("to_quarter", "quarter_to_half"), "0") | {"over": "4.5"}, "whole number"),
    ("thermal-time", {"temperatures": "10 12", "hours": "5"}, "one time for each temperature"),
    ("air-to-cool-the-bed", {"air": "16", "bed": "14"}, "cools no such bed"),
    ("two-thermometers", {"temperature": "20", "wet": "25"}, "not be above the dry bulb"),
    ("what-drying-takes", {"air_on": "10"}, "at least 15"),
    ("what-drying-takes", {"target": "60"}, "at least 0.6"),
    ("how-long-on-the-kiln", {"target": "3"}, "never gets that dry"),
    ("curing-for-dms", {"other": "60"}, "can&#39;t be below"),
    ("enzyme-survival", {"moisture": "10"}, "can&#39;t be below"),
    ("enzyme-survival", {"temperatures": "65 80"}, "each must be from"),
    ("mass-balance", {"malt_moisture": "60"}, "moister than the green malt"),
    ("extract", {"plato": "38"}, "more than the malt"),
    ("plato-and-gravity", {"value": "1.5", "scale": "sg"}, "at most 1.179"),
    ("cost-per-kilogram", {"wage": "-1"}, "must be from 0"),
    ("kolbach-and-protein", {"soluble": "2"}, "at most 1.75"),
    ("falling-number-of-a-blend", {"numbers": "62 300"}, "each must be from"),
    ("dose-of-malt-flour", {"trial": "450"}, "lower falling number"),
    ("dose-of-malt-flour", {"target": "500"}, "lies outside"),
    ("how-long-it-keeps", {"moisture": "25"}, "at most 17"),
    ("malt-in-its-sack", {"moisture": "7"}, "moister than the limit"),
    ("control-chart", {"values": "5"}, "from 2 to 60 numbers"),
]


@pytest.mark.parametrize(("key", "typed", "said"), IMPOSSIBLE)
def test_numbers_that_can_not_be_are_refused_in_words(
    key: str, typed: dict[str, str], said: str, client: FlaskClient
) -> None:
    answer = work(client, key, **typed)
    assert answer.status_code == 422
    assert said in answer.text
    assert "outcome" not in answer.text


def test_a_unit_that_does_not_fit_is_refused(client: FlaskClient) -> None:
    values = form_of(client, "target-weight").values | {"initial_unit": "c"}
    answer = client.get(f"/workings/target-weight?{urlencode(values)}")
    assert answer.status_code == 422
    assert "can&#39;t be given in" in answer.text


def test_an_unknown_working_is_not_there(client: FlaskClient) -> None:
    assert client.get("/workings/perpetual-motion").status_code == 404


def test_without_numbers_the_form_stands_there_with_an_example(client: FlaskClient) -> None:
    page = client.get("/workings/target-weight?utm=1").text
    assert "put in your own" in page
    assert 'class="formula"' not in page


def test_a_decimal_comma_and_a_minus_sign_are_read(client: FlaskClient) -> None:
    page = work(client, "plato-and-gravity", value="1,040", scale="sg").text
    assert "1,040: 9.994 °P" in words_of(page)
    assert "From" not in words_of(work(client, "air-in-the-jar", temperature="\u22125").text)


def test_more_digits_typed_make_a_narrower_interval(client: FlaskClient) -> None:
    coarse = words_of(work(client, "target-weight", initial="100", moisture="12", target="45").text)
    fine = words_of(work(client, "target-weight", initial="100.0", moisture="12.0", target="45.0").text)
    widths = [float(re.search(r"± ([\d.]+) kg", text)[1]) for text in (coarse, fine)]
    assert widths[0] / widths[1] == pytest.approx(10, rel=0.15)


def test_flour_for_sale_and_malt_flour_bear_their_caution(client: FlaskClient) -> None:
    page = work(client, "dose-of-malt-flour", target="180").text
    assert "21 CFR 137.105" in page
    assert "bake or boil it" in page.lower()
    assert "above 0.75 %: not to be sold as flour in the US" in words_of(page)


def test_no_diastatic_power_is_shown_that_was_not_measured(client: FlaskClient) -> None:
    for working in EVERY:
        result = words_of(work(client, working.key).text)
        if re.search(r"°WK|°L\b|diastatic power", result, re.IGNORECASE):
            asked = [ask.spec.word for ask in working.asks.values()]
            assert any("as measured" in word for word in asked), working.key


def test_a_wet_heat_outside_its_range_gets_no_answer(client: FlaskClient) -> None:
    answer = work(client, "enzyme-survival", temperatures="65 75.1")
    assert answer.status_code == 422
    assert "Left of the enzyme" not in answer.text


ODD = st.one_of(
    st.floats(allow_nan=True, allow_infinity=True).map(repr),
    st.floats(-1e3, 1e3).map(lambda each: f"{each:.6f}"),
    st.integers(-10, 200).map(str),
    st.lists(st.floats(-5, 500), max_size=6).map(lambda row: " ".join(f"{each:.2f}" for each in row)),
    st.sampled_from(["", "0", "1e308", "100", "kg", "c", "percent_db", "None", "\x00", "٣", "1 2 3", "½", "0,00"]),
    st.text(max_size=8),
)


@settings(max_examples=25, deadline=None)
@given(data=st.data())
@pytest.mark.parametrize("working", EVERY, ids=lambda each: each.key)
def test_whatever_stands_in_the_address_is_answered_or_refused(
    working: Working, client: FlaskClient, data: st.DataObject
) -> None:
    """Some fields as the example has them, some odd, some missing; never anything broken."""
    example = form_of(client, working.key).values
    kept = {name: value for name, value in example.items() if data.draw(st.integers(0, 9)) > 0}
    odd = data.draw(st.dictionaries(st.sampled_from(sorted(example)), ODD, max_size=3))
    answer = client.get(f"/workings/{working.key}?{urlencode(kept | odd)}")
    assert answer.status_code in (200, 422)
    if 'id="result"' in answer.text:
        assert not {"nan", "inf"} & set(words_of(answer.text).split())
