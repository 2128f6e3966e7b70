"""Batches side by side. The difference between lots is checked against scipy's Welch test."""

import pytest
from scipy.stats import ttest_ind

from app.judgement.history.build import history_from_records
from app.judgement.measures.batch import KEYS, Measure
from app.judgement.measures.comparison import CLEAR, NOT_SHOWN, compare_lots, compare_sides, comparison_table, rows_of
from app.judgement.programmes.programme import load_builtin
from tests.judgement.plan_run import plan_story
from tests.judgement.story import ZERO, Story, at


def batch(loss, lot="lot-1", number=1):
    """A batch of 100 kg that lost this share of its dry matter, and nothing else is known of it."""
    story = Story()
    story.charge(100.0, 0.12, lot=lot)
    story.say(10, "outturn", {"net_kg": 88.0 * (1 - loss) / 0.95, "moisture_wb": 0.05})
    return story.history()


def row(key, *cells):
    (found,) = rows_of([[cell] if cell else [] for cell in cells])
    assert found.key == key
    return found


def moisture(value, half_width=None):
    return Measure("cast_moisture", "Moisture at cast", "wb", value, half_width)


def test_rows_come_in_the_order_of_the_measures_and_cells_in_that_of_the_batches():
    histories = [batch(0.10), batch(0.12)]
    rows = comparison_table(histories, at(20))
    assert [each.key for each in rows] == [key for key in KEYS if key in {row.key for row in rows}]
    losses = next(each for each in rows if each.key == "malting_loss")
    assert [cell.value for cell in losses.cells] == pytest.approx([0.10, 0.12])
    assert losses.spread == pytest.approx(0.02)


def test_a_measure_that_no_batch_has_is_no_row():
    assert "acrospire" not in {each.key for each in comparison_table([batch(0.1), batch(0.1)], at(20))}


def test_a_difference_is_clear_where_its_own_interval_leaves_out_nought():
    found = row("cast_moisture", moisture(0.44, 0.01), moisture(0.4545, 0.01))
    assert found.ends == pytest.approx((0.0145 - 2**0.5 * 0.01, 0.0145 + 2**0.5 * 0.01))
    assert found.statement == CLEAR
    assert row("cast_moisture", moisture(0.44, 0.01), moisture(0.454, 0.01)).statement == NOT_SHOWN


def test_a_total_that_still_runs_is_not_set_against_a_finished_one():
    key = KEYS[0]
    done, running = Measure(key, "Kiln", "h", 30.0), Measure(key, "Kiln", "h", 4.0, note="so far")
    found = row(key, done, running)
    assert found.spread is None
    assert "still runs" in found.statement
    assert row(key, done, done).spread == 0.0


def test_the_ends_of_several_lie_apart_by_chance_more_often_than_two():
    cells = [moisture(0.44, 0.01), moisture(0.4545, 0.01), moisture(0.445, 0.01)]
    found = row("cast_moisture", *cells)
    assert (found.ends[1] - found.ends[0]) / 2 == pytest.approx(1.1955 * 2**0.5 * 0.01, rel=1e-3)
    assert found.statement == f"between the highest and the lowest {NOT_SHOWN}"
    assert row("cast_moisture", *cells, moisture(0.47, 0.01)).statement == CLEAR


def test_without_intervals_nothing_is_said_of_the_difference():
    for second in (None, 0.0):
        found = row("cast_moisture", moisture(0.42, second), moisture(0.45, 0.01))
        assert (found.statement, found.ends) == ("", None)
        assert found.spread == pytest.approx(0.03)


def test_a_batch_that_lacks_a_measure_has_an_empty_cell_and_the_row_says_how_many_have_it():
    found = row("cast_moisture", moisture(0.44, 0.01), None)
    assert [cell.is_known for cell in found.cells] == [True, False]
    assert (found.n_known, found.spread) == (1, None)


def test_flags_are_counted_for_the_batch_they_belong_to():
    programme = load_builtin()["barley_pale"]
    history = history_from_records(plan_story(programme, ZERO))
    rows = comparison_table([history], at(500), {history.batch.id: []})
    assert {each.key: each.cells[0].value for each in rows if each.key.startswith("flags")} == {
        "flags_notice": 0.0,
        "flags_caution": 0.0,
        "flags_act": 0.0,
    }


def losses(found):
    return next(each for each in found if each.key == "malting_loss")


def test_lots_are_compared_with_the_interval_of_welch():
    first, second = (0.08, 0.09, 0.085, 0.1), (0.12, 0.11, 0.13)
    histories = [batch(loss) for loss in first] + [batch(loss, "lot-2") for loss in second]
    found = losses(compare_lots(histories, at(20))[(("lot-1",), ("lot-2",))])
    expected = ttest_ind(first, second, equal_var=False)
    interval = expected.confidence_interval(0.95)
    assert found.difference.ends == pytest.approx((interval.low, interval.high))
    assert (found.difference.n_first, found.difference.n_second) == (4, 3)
    assert found.has_verdict
    assert "clear difference" in found.statement


def test_fewer_than_three_a_side_get_no_verdict_however_far_apart():
    histories = [batch(0.05), batch(0.05), batch(0.05), batch(0.20, "lot-2"), batch(0.20, "lot-2")]
    found = losses(compare_lots(histories, at(20))[(("lot-1",), ("lot-2",))])
    assert not found.has_verdict
    assert "n = 3 and 2" in found.statement
    assert found.difference.difference == pytest.approx(-0.15)


def test_only_batches_that_have_the_measure_count_for_it():
    side = [[moisture(0.44, 0.01)], [moisture(0.45, 0.01)], [Measure("cast_moisture", "", "wb")]]
    (found,) = compare_sides(side, [[moisture(0.43, 0.01)]])
    assert (found.difference.n_first, found.difference.n_second) == (2, 1)


def test_a_batch_of_two_lots_stands_on_a_side_of_its_own():
    story = Story()
    story.charge(50.0, 0.12)
    story.charge(50.0, 0.12, lot="lot-2")
    assert list(compare_lots([batch(0.1), story.history()], at(20))) == [(("lot-1",), ("lot-1", "lot-2"))]
