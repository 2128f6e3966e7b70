"""A batch run exactly to its plan keeps every limit of its own programme."""

from datetime import UTC, datetime, timedelta
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.judgement.facts.kind_parts import GROWTH_CLASSES
from app.judgement.facts.shapes import Reading
from app.judgement.history.build import history_from_records
from app.judgement.history.history import History
from app.judgement.history.stages import stage_at, stages
from app.judgement.programmes.programme import Programme, load_builtin
from tests.judgement.plan_run import growth_classes, plan_records, plan_story

START = datetime(2025, 3, 1, 8, 0, tzinfo=UTC)
BUILTIN = load_builtin()
MALTED = [key for key, programme in BUILTIN.items() if not programme.is_roast]
every_programme = pytest.mark.parametrize("key", sorted(BUILTIN))
every_malted = pytest.mark.parametrize("key", sorted(MALTED))


def story(key: str) -> tuple[Programme, History]:
    return BUILTIN[key], history_from_records(plan_story(BUILTIN[key], START))


@every_programme
def test_a_run_to_plan_passes_the_planned_stages_in_their_hours(key):
    programme, history = story(key)
    passed = [
        stage for stage in stages(history, START + timedelta(days=60)) if stage.name not in ("charged", "finished")
    ]
    planned = [row for row in programme.planned_stages() if row.stage != "charged"]
    assert [stage.name for stage in passed] == [row.stage for row in planned]
    for stage, row in list(zip(passed, planned, strict=True))[:-1]:
        assert stage.hours(START) == pytest.approx(row.end_h - row.start_h, abs=0.01)


@every_programme
def test_a_run_to_plan_is_the_same_each_time_and_in_order(key):
    records = plan_records(BUILTIN[key], START)
    assert records == plan_records(BUILTIN[key], START)
    assert len({record["id"] for record in records}) == len(records)
    assert [record["earliest_at"] for record in records] == sorted(record["earliest_at"] for record in records)


def planned_moisture(programme: Programme, history: History, at: datetime) -> float:
    curve = programme.planned_curve("moisture_wb")
    hour = history.hour(at)
    before = [point for point in curve if point[0] <= hour][-1]
    after = [point for point in curve if point[0] >= hour][:1] or [before]
    share = 0.0 if after[0][0] == before[0] else (hour - before[0]) / (after[0][0] - before[0])
    return before[1] + share * (after[0][1] - before[1])


@every_programme
def test_no_reading_of_a_run_to_plan_is_out_of_its_limits(key):
    programme, history = story(key)
    passed = stages(history, START + timedelta(days=60))
    judged = 0
    for reading in history.of_shape(Reading):
        stage = stage_at(passed, reading.at)
        limit = programme.limit_for(reading.kind, stage.name, planned_moisture(programme, history, reading.at))
        if limit is not None:
            judged += 1
            assert limit.judge(reading.value).is_fine, (reading.kind, history.hour(reading.at), reading.value)
    assert judged >= 3


@every_programme
def test_every_planned_step_and_end_is_inside_the_limits_of_its_programme(key):
    programme = BUILTIN[key]
    hour, chitted = 0.0, 0.0
    for step in programme.steps:
        if step.stage == "immersion":
            limit = programme.immersion_limit(step.water_c, chitted)
            assert limit.judge(step.hours).is_fine, (hour, step.hours)
            assert limit.judge(step.hours_high).severity in (None, "notice")
        if step.stage == "air_rest":
            assert programme.limit("air_rest_h").judge(step.hours).is_fine
        if step.stage == "germination":
            assert programme.limit("germination_d").judge(step.hours / 24.0).is_fine
            assert programme.limit("acrospire").judge(step.acrospire).is_fine
            assert programme.limit("cast_chits").judge(chitted).is_fine
        if step.stage == "stewing":
            assert programme.limit("stewing_h").judge(step.hours).is_fine
        hour, chitted = hour + step.hours, step.chitted_fraction or chitted


@every_malted
def test_at_cast_a_plan_has_its_moisture_and_at_hour_thirty_its_chits(key):
    programme, history = story(key)
    cast = history.of_kind("cast")[0]
    assert programme.limit("cast_moisture").judge(planned_moisture(programme, history, cast.at)).is_fine
    counts = [fact for fact in history.of_kind("chit_count") if history.hour(fact.at) >= 30]
    # Grain that is cast sooner is not judged by its chits of hour 30.
    assert bool(counts) == (programme.limit("chits_h30") is not None)
    if counts:
        assert programme.limit("chits_h30").judge(counts[0].counts["chitted"] / counts[0].looked_at).is_fine


@every_malted
def test_the_grain_of_a_plan_stays_under_its_ceiling_with_two_points_to_spare(key):
    programme, history = story(key)
    loaded = history.of_kind("loaded")[0].at
    for reading in history.readings("grain_temperature"):
        ceiling = programme.ceiling_c(planned_moisture(programme, history, reading.at) + 0.02)
        if reading.at > loaded and ceiling is not None:
            assert reading.value <= ceiling, (history.hour(reading.at), reading.value, ceiling)


@every_malted
def test_the_grain_of_a_plan_is_never_hotter_than_the_air_that_heats_it(key):
    _, history = story(key)
    heat_off = history.of_kind("heat_off")[0].at
    for reading in history.readings("grain_temperature"):
        air = history.last_before(reading.at, history.readings("air_on_temperature"))
        if air is not None and reading.at < heat_off:
            assert reading.value < air.value


@every_malted
def test_a_plan_is_not_warm_and_wet_for_too_long(key):
    programme, history = story(key)
    readings = history.readings("grain_temperature")
    hours = 0.0
    passed = stages(history, START + timedelta(days=60))
    for reading, following in pairwise(readings):
        stage = stage_at(passed, reading.at).name
        wanted = programme.limits.get(f"grain_temperature.{stage}") if stage in ("air_rest", "germination") else None
        warm_c = max(22, wanted.target_high) if wanted else 22
        is_warm = warm_c <= reading.value <= 48 or warm_c <= following.value <= 48
        if is_warm and planned_moisture(programme, history, reading.at) > 0.25:
            hours += (following.at - reading.at).total_seconds() / 3600
    assert (hours == 0) == (programme.purpose == "caramel")
    assert programme.limit("warm_wet_h").judge(hours).is_fine


@every_malted
def test_a_plan_is_turned_and_looked_at_often_enough(key):
    programme, history = story(key)
    cast, loaded = history.of_kind("cast")[0].at, history.of_kind("loaded")[0].at
    turned = [cast, *(fact.at for fact in history.of_kind("turned")), loaded]
    gaps_h = [(after - before).total_seconds() / 3600 for before, after in pairwise(turned)]
    assert programme.limit("turning_h").judge(max(gaps_h)).is_fine
    looked = [reading.at for reading in history.of_shape(Reading)]
    assert max(b - a for a, b in pairwise(looked)) < timedelta(hours=12)


@every_malted
def test_the_weights_of_a_plan_give_its_dry_matter_back(key):
    programme, history = story(key)
    charge, outturn = history.charges[0], history.of_kind("outturn")[0]
    kept = outturn.net_kg * (1 - outturn.moisture_wb) / charge.dry_kg
    lost = sum(programme.setting(name) for name in ("steep_loss", "respiration_loss", "rootlet_loss"))
    assert kept == pytest.approx(1 - lost, abs=1e-9)
    trays = history.of_kind("tray")
    green = history.of_kind("moisture_test")[0].value
    dried = 1 - trays[0].net_kg * (1 - green) / trays[-1].net_kg
    assert dried == pytest.approx(programme.planned_curve("moisture_wb")[-1][1], abs=0.002)


def test_a_small_kitchen_charge_runs_to_plan_as_well():
    history = history_from_records(plan_story(BUILTIN["kitchen_wheat"], START, charge_kg=0.8))
    assert history.charges[0].as_is_kg == 0.8
    assert max(fact.net_kg for fact in history.of_kind("tray")) <= 0.8


@given(st.floats(0.125, 0.875))
def test_growth_classes_have_the_mean_asked_for(mean):
    middles = dict(zip(GROWTH_CLASSES, (0.125, 0.375, 0.625, 0.875), strict=False))
    counts = growth_classes(mean, 1000)
    assert sum(counts.values()) == 1000
    assert sum(middles[name] * count for name, count in counts.items()) / 1000 == pytest.approx(mean, abs=2e-4)
