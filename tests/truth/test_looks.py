"""A small part of the bench of truth, in every run: what holds of each single look, whatever the batch."""

from __future__ import annotations

from datetime import timedelta

import pytest

from app.judgement.batch_at import batch_at
from app.judgement.facts.records import fact_from_record
from app.judgement.flags import RULES
from app.judgement.flags.growing import stalled
from app.judgement.forecasts.forecast import moisture_value
from tests.benchmarks.known_by import known_by, told_at
from tests.truth.faults import FAULTS
from tests.truth.looks import Look, has_stalled, looks, moments_of
from tests.truth.page import TELLS, missed_of
from tests.truth.run import batch, faulty_sample, normal_sample

FEW = 6
SAYS_NOTHING = {"inspection", "turned", "co2_room", "chit_count", "growth_count", "bed_depth"}
EDGES = ("low", "central", "high")
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
    assert {claim.quantity for claim in said} >= {"moisture, steep", "moisture, floor", "moisture, kiln", "growth"}
    assert [claim for claim in said if claim.is_absurd] == []


def test_no_moisture_jumps_at_an_entry_that_says_nothing_of_it() -> None:
    jumps, looked_at = [], 0
    for run in normal_sample():
        silent = [each for each in run.records if each.get("kind") in SAYS_NOTHING]
        for record in silent[:: max(len(silent) // FEW, 1)]:
            moment = told_at(fact_from_record(record))
            after = known_by(run.records, moment)
            before = after.with_facts(tuple(fact for fact in after.facts if fact.id != record["id"]))
            said = [moisture_value(each, moment) for each in (before, after)]
            looked_at += 1
            if any(abs((getattr(said[0], edge) or 0.0) - (getattr(said[1], edge) or 0.0)) > 0.001 for edge in EDGES):
                jumps.append((run.person, record["kind"], said))
    assert looked_at > 20
    assert jumps == []


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
    told = {fault: missed for fault, _, _, missed in missed_of(faulty)}
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
