"""What the forecasts of a batch cost, beside reading its records: judged cold, warm, and with a fit that was kept."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import Any

from app.judgement.flags import evaluate
from app.judgement.forecasts import forecast
from app.judgement.history.build import history_from_records
from app.judgement.history.history import History
from app.judgement.programmes.programme import load_builtin
from app.judgement.steps.next_steps import next_steps
from tests.benchmarks.conftest import Figures, medians
from tests.judgement.plan_run import plan_story

START = datetime(2026, 3, 1, 6, 0, tzinfo=UTC)
FACTS = 300
ON_KILN_H = 174.0
WITHIN_S = 0.025


def long_batch() -> tuple[list[dict[str, Any]], datetime]:
    """A batch late on the kiln, where all three forecasts have been at work; readings added to make up the number."""
    told = plan_story(load_builtin()["barley_pale"], START)
    zero = history_from_records(told).starts_at
    assert zero is not None
    now = zero + timedelta(hours=ON_KILN_H)
    records = [each for each in told if "record" in each or datetime.fromisoformat(each["earliest_at"]) <= now]
    reading = next(each for each in records if each.get("kind") == "grain_temperature")
    while len(records) < FACTS:
        at = (zero + timedelta(hours=50.0, minutes=31.0 * (len(records) - 100))).isoformat()
        records.append(reading | {"id": f"more-{len(records)}", "earliest_at": at, "latest_at": at})
    return records, now


def test_all_forecasts_of_a_batch_of_300_facts_cost_no_more_than_reading_it_a_few_times(
    is_short: bool, slack: float, figures: Figures
) -> None:
    records, now = long_batch()
    kept = forecast.fit(history_from_records(records))

    def read() -> History:
        return history_from_records(records)

    def cold() -> None:
        forecast.evaluate(forecast.fit(read()), now)

    def warm() -> None:
        forecast.evaluate(forecast.fit(read(), kept), now)

    def again() -> None:
        forecast.evaluate(kept, now)

    reading_s, cold_s, warm_s, again_s = medians(7 if is_short else 20, read, cold, warm, again)
    figures.say(
        f"{len(records)} records: read {reading_s * 1e3:.1f} ms; all forecasts beside it, cold "
        f"{(cold_s - reading_s) * 1e3:.1f} ms, warm {(warm_s - reading_s) * 1e3:.1f} ms, kept {again_s * 1e3:.1f} ms"
    )
    assert cold_s - reading_s <= 5.0 * slack * reading_s
    assert again_s <= 0.6 * slack * (cold_s - reading_s)


def test_flags_forecasts_and_next_steps_of_a_batch_of_300_facts_take_a_blink(
    is_short: bool, slack: float, figures: Figures
) -> None:
    records, now = long_batch()
    fits = forecast.Fits()
    forecast.fit(fits.lend(history_from_records(records)))

    def read() -> History:
        return fits.lend(history_from_records(records))

    def judged() -> None:
        history = read()
        evaluate(history, now)
        forecast.forecast_at(history, now)
        next_steps(history, now)

    reading_s, judged_s = medians(7 if is_short else 20, read, judged)
    figures.say(
        f"{len(records)} records, a fit that was kept: flags, forecasts and next steps "
        f"{(judged_s - reading_s) * 1e3:.1f} ms beside reading"
    )
    assert judged_s - reading_s <= WITHIN_S * slack


def test_flags_forecasts_and_next_steps_of_300_facts_are_judged_at_once(
    is_short: bool, slack: float, figures: Figures
) -> None:
    records, now = long_batch()
    fits = forecast.Fits()

    def judge(history: History) -> None:
        evaluate(history, now)
        forecast.forecast_at(history, now)
        next_steps(history, now)

    def read() -> History:
        return history_from_records(records)

    def cold() -> None:
        judge(read())

    def kept() -> None:
        judge(fits.lend(read()))

    kept()
    reading_s, cold_s, kept_s = medians(7 if is_short else 20, read, cold, kept)
    cold_ms, kept_ms = (1e3 * (each - reading_s) for each in (cold_s, kept_s))
    figures.say(
        f"flags, forecasts and next steps of {len(records)} records: {cold_ms:.0f} ms cold (≤ 80), "
        f"{kept_ms:.0f} ms with a kept fit (≤ 25)"
    )
    assert cold_ms <= 80.0 * slack
    assert kept_ms <= 25.0 * slack
