"""The demo malthouse: what its files tell, and that it is told the same way each time."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping
from datetime import UTC, datetime, timedelta
from itertools import pairwise
from pathlib import Path
from shutil import copy
from zoneinfo import ZoneInfo

import pytest
from sqlalchemy import Engine, select

from app.exchange.demo import demo_id, load_demo
from app.exchange.records import export_records
from app.judgement.facts.kinds import KINDS
from app.judgement.facts.shapes import Answer, Reading
from app.judgement.flags import evaluate
from app.judgement.flags.answers import answered, leftover_answers
from app.judgement.forecasts.moisture import samples
from app.judgement.grain.counts import growth_counts
from app.judgement.grain.stock import stock_ledger
from app.judgement.history.history import History
from app.judgement.history.stages import stages
from app.judgement.measures.account import account
from app.store.batches import Batch
from app.store.digests import list_digests
from app.store.engine import make_engine, read_session, write_session
from app.store.history import load_histories
from app.store.lots import list_lots, load_lot_stories
from app.store.people import list_people

NOW = datetime(2026, 3, 14, 10, 30, 12, 345678, tzinfo=UTC)
FINISHED = (1, 2, 3, 4, 5, 6)
LIVE = (7, 8)
FROM_GRAIN = (1, 2, 5, 6)

# What each story is meant to show: rule -> gravest severity. Whatever is not named here must not be flagged.
EXPECTED: Mapping[int, Mapping[str, str]] = {
    1: {"long_under_water": "caution", "few_chits_at_cast": "notice", "growth_uneven": "notice"},
    2: {},
    3: {},
    4: {},
    5: {
        "slow_chit": "caution",
        "few_chits_at_cast": "caution",
        "ergot": "caution",
        "not_sure": "caution",
        "light_corn": "notice",
        "lot_test_old": "notice",
        "stage_overdue": "notice",
    },
    6: {"over_ceiling": "act", "out_of_limits": "notice"},
    7: {"out_of_limits": "caution"},
    8: {"lot_undeclared": "caution", "lot_untested": "notice"},
}


def demo_engine(migrated: Path, folder: Path, now: datetime) -> Engine:
    folder.mkdir()
    copy(migrated, folder / "chitbook.sqlite")
    engine = make_engine(f"sqlite:///{folder / 'chitbook.sqlite'}")
    with write_session(engine) as session:
        load_demo(session, now)
    return engine


def exported(engine: Engine) -> list[str]:
    with read_session(engine) as session:
        return [json.dumps(record, sort_keys=True) for record in export_records(session)]


@pytest.fixture(scope="module")
def engine(migrated_file: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Engine]:
    engine = demo_engine(migrated_file, tmp_path_factory.mktemp("demo") / "data", NOW)
    yield engine
    engine.dispose()


@pytest.fixture(scope="module")
def histories(engine: Engine) -> dict[int, History]:
    with read_session(engine) as session:
        ids = list(session.scalars(select(Batch.id)))
        return {history.batch.number: history for history in load_histories(session, ids).values()}


def test_the_same_moment_gives_the_same_records(engine: Engine, migrated_file: Path, tmp_path: Path) -> None:
    again = demo_engine(migrated_file, tmp_path / "again", NOW)
    assert exported(again) == exported(engine)
    again.dispose()


def test_another_moment_moves_the_live_batches_along_to_the_minute(
    histories: dict[int, History], migrated_file: Path, tmp_path: Path
) -> None:
    later = NOW + timedelta(days=100, hours=7, minutes=11)
    other = demo_engine(migrated_file, tmp_path / "other", later)
    with read_session(other) as session:
        moved = load_histories(session, [histories[number].batch.id for number in LIVE])
    other.dispose()
    for number in LIVE:
        was, then = histories[number], moved[histories[number].batch.id]
        assert [fact.at - was.facts[0].at for fact in was.facts] == [fact.at - then.facts[0].at for fact in then.facts]
        assert then.facts[-1].at - was.facts[-1].at == later - NOW


def test_times_of_day_are_those_of_the_zone_of_the_moment(migrated_file: Path, tmp_path: Path) -> None:
    zone = ZoneInfo("America/Denver")
    other = demo_engine(migrated_file, tmp_path / "other", NOW.astimezone(zone))
    with read_session(other) as session:
        batch_id = demo_id("batch", "2")
        started = load_histories(session, [batch_id])[batch_id].starts_at
    other.dispose()
    assert started is not None
    assert started.astimezone(zone).strftime("%H:%M") == "08:00"


def test_nothing_is_of_the_future_and_nothing_came_before_its_batch(histories: dict[int, History]) -> None:
    for history in histories.values():
        assert max(fact.latest_at for fact in history.facts) <= NOW
        assert history.chains[0].facts[0].at >= NOW - timedelta(days=400)


def test_six_are_finished_one_germinates_and_one_is_in_its_first_air_rest(histories: dict[int, History]) -> None:
    last = {number: stages(history, NOW)[-1] for number, history in histories.items()}
    assert {number: stage.name for number, stage in last.items()} == {
        **dict.fromkeys(FINISHED, "finished"),
        7: "germination",
        8: "air_rest",
    }
    assert last[8].ordinal == 1
    for number in LIVE:
        assert NOW - histories[number].facts[-1].at < timedelta(hours=1)


@pytest.mark.parametrize("number", EXPECTED)
def test_each_story_raises_the_flags_it_is_told_for_and_no_others(histories: dict[int, History], number: int) -> None:
    found: dict[str, str] = {}
    for flag in evaluate(histories[number], NOW):
        # The gravest come first.
        found.setdefault(flag.rule, flag.severity)
    assert found == EXPECTED[number]


def test_every_answer_holds_for_a_flag(histories: dict[int, History]) -> None:
    given = 0
    for history in histories.values():
        flags = evaluate(history, NOW)
        assert leftover_answers(history, flags, NOW) == []
        answers = [judged.answer for judged in answered(history, flags, NOW) if judged.answer is not None]
        assert len(answers) == len(history.of_shape(Answer))
        given += len(answers)
    assert given >= 5


def test_what_asks_for_something_now_is_on_the_live_batches_only(histories: dict[int, History]) -> None:
    open_rules = {
        number: [each.flag.rule for each in answered(history, evaluate(history, NOW), NOW) if each.is_open]
        for number, history in histories.items()
    }
    assert {number: rules for number, rules in open_rules.items() if rules} == {
        7: ["out_of_limits"],
        8: ["lot_undeclared"],
    }


def test_steeping_grain_takes_up_water_and_never_loses_it(histories: dict[int, History]) -> None:
    for number in (1, 2, 5, 6, 7, 8):
        bags = [sample.moisture_wb for sample in samples(histories[number]) if sample.basis == "test_bag"]
        assert len(bags) >= 5
        assert all(later >= earlier - 0.003 for earlier, later in pairwise(bags)), number


def test_grain_is_cast_green_and_comes_off_the_kiln_dry(histories: dict[int, History]) -> None:
    for number in FROM_GRAIN:
        history = histories[number]
        cast_at = history.of_kind("cast")[0].at
        at_cast = [sample for sample in samples(history) if sample.at <= cast_at][-1]
        assert 0.42 <= at_cast.moisture_wb <= 0.46
        assert 0.035 <= samples(history)[-1].moisture_wb <= 0.06


def test_trays_only_dry_on_the_kiln(histories: dict[int, History]) -> None:
    for number in (1, 2, 3, 5, 6):
        by_tray: dict[str | None, list[float]] = {}
        for sample in samples(histories[number]):
            if sample.basis == "tray":
                by_tray.setdefault(sample.place, []).append(sample.moisture_wb)
        assert by_tray
        for moistures in by_tray.values():
            assert all(later <= earlier + 0.002 for earlier, later in pairwise(moistures)), number


def test_the_malting_loss_of_whole_batches_is_that_of_a_floor_malting(histories: dict[int, History]) -> None:
    for number in FROM_GRAIN:
        found = account(histories[number], NOW)
        assert found.malting_loss is not None
        assert 0.08 <= found.malting_loss.value <= 0.13
        assert found.remainder_share is not None
        assert abs(found.remainder_share.value) < 0.02


def test_the_live_batch_has_grown_every_day_and_is_not_there_yet(histories: dict[int, History]) -> None:
    history = histories[7]
    means = [count.mean for count in growth_counts(history)]
    assert len(means) == 3
    assert all(later > earlier for earlier, later in pairwise(means))
    programme = history.programme
    assert programme is not None
    assert means[-1] < (programme.limits["acrospire"].target_low or 0.0)


def test_the_probe_that_lied_is_read_corrected_and_kept_as_typed(histories: dict[int, History]) -> None:
    probe = [each for each in histories[6].readings("grain_temperature") if each.instrument == "probe 2"]
    assert len(probe) > 100
    for reading in probe:
        assert reading.value is not None
        assert reading.correction == pytest.approx(-3.0)
        assert float(reading.typed["value"]) == pytest.approx(reading.value + 3.0)


def test_corrected_the_middle_probe_lies_between_the_others_while_the_bed_dries(histories: dict[int, History]) -> None:
    loaded_at = histories[6].of_kind("loaded")[0].at
    by_time: dict[datetime, dict[str | None, float]] = {}
    for reading in histories[6].readings("grain_temperature"):
        if reading.device == "kiln logger" and timedelta(hours=2) <= reading.at - loaded_at <= timedelta(hours=13):
            assert reading.value is not None
            by_time.setdefault(reading.at, {})[reading.place] = reading.value
    assert len(by_time) == 67
    assert all(values["top"] < values["middle"] < values["bottom"] for values in by_time.values())


def test_a_correction_and_a_withdrawal_took_their_place(histories: dict[int, History]) -> None:
    chains = [chain for history in histories.values() for chain in history.chains if len(chain.facts) > 1]
    struck = [chain for chain in chains if chain.standing is None]
    corrected = [chain for chain in chains if chain.standing is not None]
    assert len(struck) >= 2
    assert len(corrected) >= 1
    assert {chain.facts[0].kind for chain in corrected} == {"test_bag"}


def test_the_record_shows_the_facts_of_a_malthouses_life(histories: dict[int, History]) -> None:
    facts = [fact for history in histories.values() for fact in history.facts]
    told = {fact.kind for fact in facts}
    assert {"split", "roast_charge", "pack", "sprinkled", "interruption", "programme_change", "rub_out", "loss"} <= told
    assert any(fact.is_range for fact in facts)
    assert any(fact.person != fact.entered_by for fact in facts)
    assert any(fact.quality == "estimated" for fact in facts)
    assert any(isinstance(fact, Reading) and fact.lowest is not None for fact in facts)
    assert {fact.person for fact in facts if fact.kind == "note"} >= {"Tamsin", "Rurik", "Calder"}
    trays = {getattr(fact, "vessel", None): fact for fact in histories[2].of_kind("tray")}
    assert len({getattr(fact, "tare_kg", None) for fact in trays.values()}) == 5


def test_one_person_types_in_us_units(engine: Engine, histories: dict[int, History]) -> None:
    with read_session(engine) as session:
        systems = {person.name: person.units for person in list_people(session)}
    assert systems == {"Tamsin": "metric", "Rurik": "metric", "Calder": "us"}
    typed = {
        fact.typed["value_unit"]
        for history in histories.values()
        for fact in history.readings("grain_temperature")
        if fact.person == "Calder"
    }
    assert typed == {"f"}


def test_every_lot_has_stock_left_and_one_waits_for_its_declaration(engine: Engine) -> None:
    with read_session(engine) as session:
        stories = load_lot_stories(session, list_lots(session))
        assert {story.lot.name: story.info.declaration is not None for story in stories} == {
            "Long Field barley": True,
            "Low Ings wheat": True,
            "Stackyard rye": True,
            "Far Marsh wheat": False,
        }
        ledgers = {story.lot.name: stock_ledger(story.facts, story.lot.id, NOW) for story in stories}
    assert all(ledger.balance_kg > 0.0 and not ledger.is_overdrawn for ledger in ledgers.values())
    words = {line.word for line in ledgers["Long Field barley"].lines}
    assert words == {"received", "charged", "adjusted", "returned"}


def test_only_the_probes_make_a_batch_long(histories: dict[int, History]) -> None:
    for history in histories.values():
        own = [fact for fact in history.facts if fact.subject.id == history.batch.id and not fact.device]
        assert len(own) <= 250


def test_the_digests_are_ready(engine: Engine) -> None:
    with read_session(engine) as session:
        digests = list_digests(session, limit=20)
    assert {batch.number: digest.is_live for batch, digest in digests if digest is not None} == {
        **dict.fromkeys(FINISHED, False),
        **dict.fromkeys(LIVE, True),
    }
    assert all(digest is not None and digest.seq == batch.last_seq for batch, digest in digests)


def test_every_quantity_in_the_files_is_typed_with_its_unit(histories: dict[int, History]) -> None:
    for history in histories.values():
        for fact in history.facts:
            fields = KINDS[fact.kind].fields
            for name in fact.typed:
                if getattr(fields.get(name), "dimension", "ph") != "ph":
                    assert f"{name}_unit" in fact.typed
