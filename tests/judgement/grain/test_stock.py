"""The stock ledger of a lot."""

import pytest

from app.judgement.facts.records import fact_from_record
from app.judgement.facts.shapes import Part
from app.judgement.grain.stock import pack_ledger, stock_ledger
from tests.judgement.story import LOT, Story, at


def facts(story):
    return [fact_from_record(record) for record in story.records]


def in_stock():
    story = Story()
    story.say(0.0, "intake", {"net_kg": 500.0}, subject=LOT, person="Anna", entered_by="Ben")
    story.charge(120.0, 0.12, hour=24.0)
    story.say(30.0, "stock_adjustment", {"net_kg": -4.5}, subject=LOT, note="mice")
    story.say(48.0, "returned", {"net_kg": 20.0}, subject=LOT)
    return story


def test_the_balance_runs_from_line_to_line():
    ledger = stock_ledger(facts(in_stock()), "lot-1")
    assert [line.change_kg for line in ledger.lines] == [500.0, -120.0, -4.5, 20.0]
    assert [line.balance_kg for line in ledger.lines] == pytest.approx([500.0, 380.0, 375.5, 395.5])
    assert [line.word for line in ledger.lines] == ["received", "charged", "adjusted", "returned"]
    assert ledger.balance_kg == pytest.approx(395.5)


def test_the_totals_add_up_to_the_balance():
    ledger = stock_ledger(facts(in_stock()), "lot-1")
    totals = (ledger.received_kg, -ledger.charged_kg, ledger.adjusted_kg, ledger.returned_kg)
    assert totals == (500.0, -120.0, -4.5, 20.0)
    assert sum(totals) == pytest.approx(ledger.balance_kg)


def test_each_line_tells_who_when_where_to_and_why():
    received, charged, adjusted, _ = stock_ledger(facts(in_stock()), "lot-1").lines
    assert (received.person, received.entered_by, received.at) == ("Anna", "Ben", at(0.0))
    assert charged.batch == ("batch", "batch-1")
    assert (adjusted.note, adjusted.batch) == ("mice", None)


def test_arrival_in_any_order_gives_the_same_ledger():
    told = facts(in_stock())
    assert stock_ledger(reversed(told), "lot-1") == stock_ledger(told, "lot-1")


def test_a_struck_out_charge_gives_its_grain_back():
    story = in_stock()
    story.withdraw(50.0, "fact-001")
    assert stock_ledger(facts(story), "lot-1").balance_kg == pytest.approx(515.5)


def test_a_charge_corrected_to_another_lot_leaves_this_one():
    story = in_stock()
    story.charge(120.0, 0.12, hour=24.0, lot="lot-2", supersedes_id="fact-001")
    told = facts(story)
    assert stock_ledger(told, "lot-1").balance_kg == pytest.approx(515.5)
    assert stock_ledger(told, "lot-2").balance_kg == pytest.approx(-120.0)


def test_more_taken_than_there_was_is_told_even_when_it_is_made_good_later():
    story = Story()
    story.charge(10.0, 0.12, hour=1.0)
    story.say(2.0, "intake", {"net_kg": 500.0}, subject=LOT)
    ledger = stock_ledger(facts(story), "lot-1")
    assert ledger.is_overdrawn
    assert ledger.balance_kg == pytest.approx(490.0)


def test_facts_of_other_lots_and_of_the_batch_change_nothing():
    story = in_stock()
    story.say(1.0, "intake", {"net_kg": 50.0}, subject={"type": "lot", "id": "lot-2"})
    story.say(25.0, "steep_on")
    story.split(60.0, 30.0, 0.44)
    told = facts(story)
    assert any(isinstance(fact, Part) and fact.kind == "split" for fact in told)
    assert stock_ledger(told, "lot-1").balance_kg == pytest.approx(395.5)


def test_what_is_later_than_now_has_no_say():
    assert stock_ledger(facts(in_stock()), "lot-1", now=at(29.0)).balance_kg == pytest.approx(380.0)


def test_an_empty_ledger_holds_nothing():
    ledger = stock_ledger([], "lot-1")
    assert (ledger.lines, ledger.balance_kg, ledger.is_overdrawn) == ((), 0.0, False)


PACK = {"type": "pack", "id": "pack-1"}
BATCH = {"type": "batch", "id": "batch-1"}


def moved(story, hour, kind, source, target, as_is_kg, **more):
    values = {"source": source, "target": target, "as_is_kg": as_is_kg, "moisture_wb": more.pop("moisture_wb", 0.04)}
    return story.say(hour, kind, values, **more)


def in_a_sack():
    story = Story()
    moved(story, 0.0, "pack", BATCH, PACK, 10.0, id="filled")
    moved(story, 24.0, "roast_charge", PACK, {"type": "batch", "id": "batch-2"}, 2.0)
    moved(story, 48.0, "dispatch", PACK, {"type": "house", "id": "house"}, 3.5, id="gone", subject=PACK, note="Mill")
    return story


def test_what_is_left_in_a_pack_is_what_was_packed_less_what_was_roasted_and_dispatched():
    ledger = pack_ledger(facts(in_a_sack()), "pack-1")
    assert (ledger.packed_kg, ledger.roasted_kg, ledger.dispatched_kg) == (10.0, 2.0, 3.5)
    assert ledger.balance_kg == pytest.approx(10.0 - 2.0 - 3.5)
    assert [line.word for line in ledger.lines] == ["packed", "roasted", "dispatched"]
    assert [line.batch for line in ledger.lines] == [("batch", "batch-1"), ("batch", "batch-2"), None]


def test_a_struck_out_dispatch_comes_back_into_the_pack():
    story = in_a_sack()
    story.withdraw(50.0, "gone", subject=PACK)
    assert pack_ledger(facts(story), "pack-1").balance_kg == pytest.approx(8.0)


def test_a_pack_whose_filling_was_struck_out_is_overdrawn_by_what_left_it():
    story = in_a_sack()
    story.withdraw(50.0, "filled")
    ledger = pack_ledger(facts(story), "pack-1")
    assert ledger.balance_kg == pytest.approx(-5.5)
    assert ledger.is_overdrawn
    assert ledger.moisture_wb is None


def test_the_moisture_of_a_pack_filled_twice_is_that_of_both_together():
    story = Story()
    moved(story, 0.0, "pack", BATCH, PACK, 6.0, moisture_wb=0.04)
    moved(story, 1.0, "pack", BATCH, PACK, 2.0, moisture_wb=0.08)
    # 0.24 kg and 0.16 kg of water in 8 kg.
    assert pack_ledger(facts(story), "pack-1").moisture_wb == pytest.approx(0.05)


def test_other_packs_and_later_days_have_no_say_in_a_pack():
    story = in_a_sack()
    moved(story, 1.0, "pack", BATCH, {"type": "pack", "id": "pack-2"}, 4.0)
    assert pack_ledger(facts(story), "pack-1", now=at(30.0)).balance_kg == pytest.approx(8.0)
    assert pack_ledger([], "pack-1").balance_kg == 0.0
