"""A small part of the bench of truth, in every run: what holds of each single look, whatever the batch."""

from __future__ import annotations

import math
from datetime import timedelta

import pytest

from app.judgement.batch_at import batch_at
from app.judgement.facts.records import fact_from_record
from app.judgement.flags import RULES
from app.judgement.flags.growing import stalled
from tests.benchmarks.known_by import known_by, told_at
from tests.truth.faults import FAULTS
from tests.truth.looks import Look, has_stalled, looks, moments_of
from tests.truth.page import TELLS, missed_of
from tests.truth.run import batch, faulty_sample, normal_sample

FEW = 6
SURE_TO_BE_TOLD = {"gas_in_room", "mould", "foul_water", "treated_lot", "scorched", "water_too_warm", "oversteeped"}


@pytest.fixture(scope="module")
def normal() -> list[Look]:
    return [look for run in normal_sample() for look in looks(run, FEW)]


@pytest.fixture(scope="module")
def faulty() -> list[Look]:
    return [look for run in faulty_sample() if run.fault is not None for look in looks(run, FEW // 2)]


def test_a_look_knows_nothing_that_was_told_later() -> None:
    for run in normal_sample():
        for moment in moments_of(run)[:: max(len(moments_of(run)) // FEW, 1)]:
            known = known_by(run.records, moment)
            assert all(told_at(fact) <= moment for fact in known.facts)
            told = [each for each in run.records if each.get("record", "fact") == "fact"]
            assert len(known.facts) <= sum(told_at(fact_from_record(each)) <= moment for each in told)


def test_every_fault_is_told_by_rules_that_there_are() -> None:
    assert set(TELLS) == set(FAULTS)
    assert {rule for rules in TELLS.values() for rule in rules} - set(RULES) == set()


def test_nothing_absurd_is_said(normal: list[Look], faulty: list[Look]) -> None:
    said = [claim for look in (*normal, *faulty) for claim in look.claims]
    assert len(said) > 100
    for claim in said:
        assert claim.low <= claim.central <= claim.high, claim
        if claim.quantity.startswith("moisture"):
            assert claim.low >= 0.0, claim
            assert claim.high < 0.65, claim
        if claim.quantity == "growth":
            assert claim.low >= 0.0, claim
            assert claim.high < 3.0, claim
        assert not math.isnan(claim.central), claim


def test_who_writes_down_what_is_asked_is_told_no_falsehood_to_act_on_at_once(normal: list[Look]) -> None:
    careful = [look for look in normal if look.person in ("careful", "no_trays", "no_small_scale")]
    assert careful
    false = [
        (look.batch, look.hour, flag.title)
        for look in careful
        for flag in look.flags
        if flag.severity == "act" and flag.is_true is False
    ]
    assert false == []


def test_nobody_is_told_to_do_two_things_that_go_against_each_other(normal: list[Look], faulty: list[Look]) -> None:
    assert [(look.batch, look.hour, look.against) for look in (*normal, *faulty) if look.against] == []


def test_what_can_hurt_or_spoil_is_told_in_time(faulty: list[Look]) -> None:
    told = {fault: missed for fault, _, missed in missed_of(faulty)}
    assert {fault for fault in SURE_TO_BE_TOLD if told.get(fault) != 0} == set()


def test_growth_is_said_to_have_stalled_only_where_it_did(normal: list[Look], faulty: list[Look]) -> None:
    said = [(look, flag) for look in (*normal, *faulty) for flag in look.flags if flag.rule == "growth_stalled"]
    assert [(look.batch, look.hour, flag.title) for look, flag in said if not flag.is_true] == []
    # Oats grow a tenth of a kernel on their second day, all of it in the shortest class.
    for run in (batch(0, "oats", "floor", "careful"), batch(0, "wheat", "two_bed", "careful")):
        hours = [run.truth.cast_h + day for day in (36.0, 60.0, 84.0)]
        looked = [run.hour_zero + timedelta(hours=hour) for hour in hours]
        assert [flag.title for now in looked for flag in stalled(batch_at(known_by(run.records, now), now))] == []
    # The simulator knows a lot at half its pace from one that grows as planned.
    slow, usual = (batch(4, "barley", "floor", "careful", fault) for fault in ("slow_lot", None))
    assert [has_stalled(run, run.truth.cast_h + 40.0, run.truth.cast_h + 90.0) for run in (slow, usual)] == [
        True,
        False,
    ]
