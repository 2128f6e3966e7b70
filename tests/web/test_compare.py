"""Comparing two to six batches; the choice stands in the address."""

from __future__ import annotations

import math
import re
from collections.abc import Iterator
from itertools import product

import pytest
from flask import Flask
from flask.testing import FlaskClient
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import binomtest

from app.judgement.grain.counts import counted_share
from app.judgement.measures.batch import Measure
from app.judgement.measures.comparison import compare_sides, rows_of
from app.judgement.wording import Words
from app.operations.people import SYSTEMS
from app.store.engine import write_session
from app.web.compare.page import side_row, table_row
from tests.pages import forms_of
from tests.stories import add_fact, add_story, statements
from tests.writing import LOT, add_batch, add_lot, charge

pytestmark = pytest.mark.usefixtures("morning")


def add(app: Flask, *hours: float, **more: object) -> None:
    with write_session(app.extensions["engine"]) as session:
        for each in hours:
            add_story(session, hours_ago=each, **more)


def test_two_batches_are_laid_side_by_side(app: Flask, client: FlaskClient):
    add(app, 400, 700)
    page = client.get("/compare?batch=1&batch=2").text
    assert "Compared: 1, 2" in page
    assert page.count('class="ribbon"') == 4
    assert "data-chart" in page
    assert "Batch 1</th>" in page
    assert re.search(r"Malting loss, dry\b.*</th>\s*<td class=\"n\"[^>]*>.*?10\.0\xa0±", page)
    assert "n = 2; the same" in page


def test_batches_that_differ_are_said_to(app: Flask, client: FlaskClient):
    with write_session(app.extensions["engine"]) as session:
        add_story(session, hours_ago=400)
        add_story(session, hours_ago=400, key="barley_diastatic")
    page = client.get("/compare?batch=1&batch=2").text
    row = page[page.index('<th scope="row">Moisture of the malt') :].split("</tr>")[0]
    assert "a clear difference, its 95 % interval leaves out 0" in row
    # 5.7 % against 4.5 % of the two plans.
    assert "1.2\xa0±" in row


def malt_row(client: FlaskClient, query: str) -> str:
    page = client.get(f"/compare?batch={query}").text.replace("\xa0", " ")
    return page[page.index('<th scope="row">Moisture of the malt') :].split("</tr>")[0]


def test_a_difference_is_shown_where_its_own_interval_leaves_out_nought_though_the_two_overlap(
    app: Flask, client: FlaskClient
):
    with write_session(app.extensions["engine"]) as session:
        for percent, hours in ((4.50, 400), (5.35, 700)):
            batch = add_story(session, hours_ago=hours, kinds={"steep_on", "drained", "cast", "loaded", "heat_off"})
            tested = {"value": percent / 100.0}
            add_fact(session, batch, "moisture_test", tested, id=f"t{percent}", hours_ago=0.5, method="oven")
    row = malt_row(client, "1,2")
    values = [tuple(map(float, each)) for each in re.findall(r"([\d.]+) ± ([\d.]+) %(?!\s*came)", row)]
    (low, low_reach), (high, high_reach), (apart, reach) = values
    assert low + low_reach > high - high_reach
    assert apart > reach
    assert "a clear difference, its 95 % interval leaves out 0" in row


RANGES = st.lists(
    st.tuples(st.integers(0, 3000), st.integers(1, 300)).map(lambda pair: (pair[0] / 10_000, pair[1] / 10_000)),
    min_size=2,
    max_size=6,
)


@given(
    RANGES, st.sampled_from(["wb", "fraction", "kg", "c", "kernel_lengths", "colour"]), st.sampled_from(sorted(SYSTEMS))
)
def test_the_verdict_is_that_of_the_interval_that_stands_beside_it(
    values: list[tuple[float, float]], unit: str, system: str
):
    columns = [[Measure("cast_moisture", "Moisture", unit, value, reach)] for value, reach in values]
    (row,) = rows_of(columns)
    shown = table_row(row, Words(system))
    apart, _, reach = shown.spread.replace("\xa0", " ").partition(" ± ")
    if "the same" in shown.statement:
        assert float(apart) == 0.0
    else:
        assert ("a clear difference" in shown.statement) is (float(apart) > float(reach.split()[0]))
        assert ("no difference shown" in shown.statement) is (float(apart) <= float(reach.split()[0]))


@given(st.tuples(*2 * [st.lists(st.integers(1, 3000).map(lambda n: n / 10_000), min_size=3, max_size=5)]))
def test_so_it_is_where_lots_are_compared(sides: tuple[list[float], list[float]]):
    columns = [[[Measure("malting_loss", "Loss", "fraction", value)] for value in side] for side in sides]
    (row,) = compare_sides(*columns)
    *_, apart, said = side_row(row, Words())
    difference, _, reach = apart.replace("\xa0", " ").replace("\u2212", "-").partition(" ± ")
    if reach:
        assert ("a clear difference" in said) is (abs(float(difference)) > float(reach.split()[0]))


def pairs_of_counts() -> Iterator[tuple[int, int, int, int]]:
    """Two counts of 20 to 200 kernels, the first share the higher."""
    for n, other_n in product((20, 50, 100, 200), repeat=2):
        for found, other in product(range(0, n + 1, n // 20), range(0, other_n + 1, other_n // 20)):
            if found / n > other / other_n:
                yield found, n, other, other_n


def wilson(found: int, n: int) -> tuple[float, float, float]:
    interval = binomtest(found, n).proportion_ci(method="wilson")
    return found / n, interval.low, interval.high


def test_no_two_shares_are_told_apart_or_held_alike_against_newcombes_interval_of_their_difference():
    wrong, wilsons = [], {(each, n): wilson(each, n) for n in (20, 50, 100, 200) for each in range(n + 1)}
    for found, n, other, other_n in pairs_of_counts():
        (high, low_of_high, high_of_high), (low, low_of_low, high_of_low) = wilsons[found, n], wilsons[other, other_n]
        ends = (
            high - low - math.hypot(high - low_of_high, high_of_low - low),
            high - low + math.hypot(high_of_high - high, low - low_of_low),
        )
        columns = [[share(found, n)], [share(other, other_n)]]
        row = table_row(rows_of(columns)[0], Words())
        is_clear = "a clear difference" in row.statement
        shown = re.search(r"\((−?[\d.]+) to (−?[\d.]+) %\)| ± ", row.spread.replace("\xa0", " "))
        assert shown, row.spread
        if is_clear is not (ends[0] > 1e-9) or (shown[1] and is_clear is not (float(shown[1].replace("−", "-")) > 0)):
            wrong.append((found, n, other, other_n, row.spread, row.statement))
        if shown[1]:
            assert float(shown[2]) / 100 == pytest.approx(ends[1], abs=0.0051)
    assert wrong == []


def share(found: int, n: int) -> Measure:
    counted = counted_share(found, n)
    return Measure(
        "cast_chits", "Chits", "fraction", counted.share, counted.half_width, n, low=counted.low, high=counted.high
    )


def test_on_a_phone_each_measure_is_a_slip_whose_values_name_their_batch(app: Flask, client: FlaskClient):
    add(app, 400, 700)
    page = client.get("/compare?batch=1&batch=2").text
    table = page[page.index('<table class="measures slips">') :].split("</table>")[0]
    for row in table.split("<tr>")[2:]:
        assert re.findall(r'data-label="([^"]+)"', row) == ["Batch 1", "Batch 2", "Difference"]


def test_hours_have_no_number_beside_them_and_without_script_the_table_is_pointed_to(app: Flask, client: FlaskClient):
    add(app, 400, 700)
    page = client.get("/compare?batch=1&batch=2").text
    hours = [
        row
        for row in page.split("<tr>")
        if re.search(r'data-label="Batch 1"><div><span[^>]*><a [^>]+>[\d.]+\xa0h<', row)
    ]
    assert hours
    assert not [row for row in hours if "n = " in row]
    assert "the measures stand in the table below" in page


def test_the_form_sends_the_choice_as_an_address(app: Flask, client: FlaskClient):
    add(app, 400, 700, 900)
    (form,) = [each for each in forms_of(client.get("/compare?batch=2").text) if each.action == "/compare"]
    assert form.choices["batch"] == ["3", "2", "1"]
    assert form.values["batch"] == "2"
    assert "Compared: 3, 1" in client.get("/compare?batch=3&batch=1").text
    assert "Compared: 3, 1" in client.get("/compare?batch=3,+1").text


@pytest.mark.parametrize(
    ("query", "said"),
    [
        ("batch=1", "One batch alone can’t be compared"),
        ("batch=1&batch=1", "One batch alone can’t be compared"),
        ("batch=1&batch=99", "There is no batch 99."),
        ("batch=1&batch=two", "There is no batch two."),
        ("batch=" + "+".join(map(str, range(1, 8))), "7 batches are too many"),
    ],
)
def test_what_cannot_be_compared_is_said_and_the_choice_kept(app: Flask, client: FlaskClient, query: str, said: str):
    add(app, *(400 + place for place in range(7)), kinds={"steep_on"})
    answer = client.get(f"/compare?{query}")
    assert answer.status_code == 200
    assert said in answer.text
    assert "data-chart" not in answer.text
    assert 'value="1" id="pick-1" checked' in answer.text


def test_without_a_choice_batches_are_offered(app: Flask, client: FlaskClient):
    add(app, 400, 700)
    page = client.get("/compare").text
    assert "Choose two to six batches" in page
    assert 'class="notice' not in page


def test_an_empty_house_is_told_what_to_do(client: FlaskClient):
    page = client.get("/compare").text
    assert "No batches to compare yet" in page
    assert 'href="/batches/new"' in page


def test_the_batches_of_a_lot_are_compared_from_its_page(app: Flask, client: FlaskClient):
    with write_session(app.extensions["engine"]) as session:
        add_batch(session)
        add_batch(session, "batch-2", charge(id="charge-2"))
    add(app, 400)
    page = client.get(f"/compare?lot={LOT}").text
    assert "Compared: 2, 1" in page
    assert page.count("of this lot") == 2


def test_a_lot_with_one_batch_says_so(app: Flask, client: FlaskClient):
    with write_session(app.extensions["engine"]) as session:
        add_batch(session)
    assert "has 1 batch so far" in client.get(f"/compare?lot={LOT}").text


def test_three_batches_a_side_let_the_lots_be_compared(app: Flask, client: FlaskClient):
    with write_session(app.extensions["engine"]) as session:
        add_lot(session)
        add_lot(session, "lot-2", "Hill")
        for place, (lot, kg) in enumerate(
            zip(3 * [LOT] + 3 * ["lot-2"], (25, 25.2, 24.9, 30, 30.1, 29.9), strict=True)
        ):
            add_batch(session, f"b{place}", charge(id=f"c{place}", lot=lot, as_is=str(kg)))
    page = client.get("/compare?batch=1,2,3,4,5,6").text
    assert "Field by the river against Hill" in page
    # (25 + 25.2 + 24.9) / 3 less (30 + 30.1 + 29.9) / 3 is 4.967 kg below 0.
    assert re.search(r"−4\.97\xa0±\xa00\.\d+\xa0kg", page)
    assert "n = 3 and 3: a clear difference" in page


def test_one_batch_a_side_is_too_few_for_a_verdict_on_the_lots(app: Flask, client: FlaskClient):
    add(app, 400, 700)
    assert "n = 1 and 1: too few for a verdict on the lots" in client.get("/compare?batch=1,2").text


def test_batches_of_one_lot_are_not_set_against_another(app: Flask, client: FlaskClient):
    with write_session(app.extensions["engine"]) as session:
        add_batch(session)
        add_batch(session, "batch-2", charge(id="charge-2"))
    assert " against " not in client.get("/compare?batch=1,2").text


def test_an_unknown_lot_is_not_found(client: FlaskClient):
    assert client.get("/compare?lot=none").status_code == 404


def test_a_batch_chosen_on_another_page_stays_chosen(app: Flask, client: FlaskClient):
    add(app, *(400 + place for place in range(22)), kinds={"steep_on"})
    page = client.get("/compare?batch=1&batch=22").text
    assert '<input type="hidden" name="batch" value="1">' in page
    assert "Already chosen, and not on this page: 1" in page
    older = client.get("/compare?batch=1&batch=22&page=2").text
    assert 'value="1" id="pick-1" checked' in older


def test_as_many_statements_for_six_batches_as_for_two(app: Flask, client: FlaskClient):
    add(app, *(400 + 30 * place for place in range(6)), kinds={"steep_on", "drained", "cast"})
    counts = []
    for query in ("batch=1&batch=2", "&".join(f"batch={number}" for number in range(1, 7))):
        # The first time the facts are read, which takes one more.
        client.get(f"/compare?{query}")
        with statements(app) as seen:
            assert client.get(f"/compare?{query}").status_code == 200
        counts.append(len(seen))
    assert counts[0] == counts[1] <= 14
