"""What the house says of a simulated batch, look by look, and what was so.

A look gets the record as it was at its moment and nothing told later, of any kind. The truth is the simulator's, which
shares no code and no formula with what is looked at.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta

from app.judgement.batch_at import BatchAt, batch_at
from app.judgement.facts.records import fact_from_record
from app.judgement.flags import evaluate
from app.judgement.forecasts.band import Value, When
from app.judgement.forecasts.moisture import determinations
from app.judgement.grain.counts import growth_counts
from app.judgement.programmes.programme import load_builtin
from app.judgement.steps.next_steps import next_steps
from tests.benchmarks.known_by import known_by, told_at
from tests.truth.run import Run

SOON, LATER = timedelta(minutes=2), timedelta(hours=3)
PARTS = {"immersion": "steep", "air_rest": "steep", "germination": "floor", "kilning": "kiln"}


@dataclass(frozen=True)
class Claim:
    """A quantity as it was said with its 80 % interval, and as it was; moments in hours of the batch.

    seen: how many determinations of it were known. naive: what was determined last. left: for a moment, how many hours
    off it truly was.
    """

    quantity: str
    seen: int
    central: float
    low: float
    high: float
    truth: float
    naive: float | None = None
    left: float | None = None

    @property
    def held(self) -> bool:
        return self.low <= self.truth <= self.high


@dataclass(frozen=True)
class Raised:
    """A flag that stood at a look. is_true: whether the truth bears it out; None where the simulator can't say."""

    rule: str
    severity: str
    title: str
    is_true: bool | None


@dataclass(frozen=True)
class Look:
    """One look at a batch, at an hour from its first water. steps: the entries that it was told to make next."""

    batch: str
    person: str
    fault: str | None
    in_time: bool
    hour: float
    flags: tuple[Raised, ...]
    steps: tuple[str, ...]
    claims: tuple[Claim, ...]


def name_of(run: Run) -> str:
    fault = f", {run.fault.name}" if run.fault else ""
    return f"{run.which} {run.grain} {run.setting} {run.person} {run.seed}{fault}"


def looks(run: Run, at_most: int) -> Iterator[Look]:
    """Looks just after an entry and three hours later, spread evenly over those that there could be.

    Where a fault was planted, over those at which it shows and can still be mended.
    """
    moments = moments_of(run)
    if run.fault is not None:
        first, last = (
            run.hour_zero + timedelta(hours=hour) for hour in (run.fault.starts_h, run.fault.mendable_until_h)
        )
        moments = [moment for moment in moments if first <= moment <= last]
    count = min(at_most, len(moments))
    for place in range(count):
        yield look_at(run, moments[round(place * (len(moments) - 1) / max(count - 1, 1))])


def moments_of(run: Run) -> list[datetime]:
    """Those at which somebody may look: until the last entry was made."""
    told = {told_at(fact_from_record(each)) for each in run.records if each.get("record", "fact") == "fact"}
    return sorted({each + wait for each in told for wait in (SOON, LATER) if each + wait <= max(told) + SOON})


def look_at(run: Run, moment: datetime) -> Look:
    """What is said of the batch at a moment."""
    history = known_by(run.records, moment)
    hour = (moment - run.hour_zero).total_seconds() / 3600.0
    # What has just ended, as by heat that was taken off, still stands on the page.
    flags = evaluate(history, moment)
    standing = [flag for flag in flags if flag.ends_at is None or flag.ends_at > moment - LATER]
    fault = run.fault
    return Look(
        batch=name_of(run),
        person=run.person,
        fault=fault.name if fault else None,
        in_time=fault is not None and fault.starts_h <= hour <= fault.mendable_until_h,
        hour=hour,
        flags=tuple(Raised(flag.rule, flag.severity, flag.title, is_true(run, flag.rule, hour)) for flag in standing),
        steps=tuple(step.what for step in next_steps(history, moment)),
        claims=tuple(claims(run, batch_at(history, moment), hour)),
    )


def is_true(run: Run, rule: str, hour: float) -> bool | None:
    """Whether it is so, by the simulator alone."""
    truth = run.truth
    since = [at for at, kind, _ in truth.events if kind in ("turned", "cast") and at <= hour]
    match rule:
        case "turning_due" | "warm_and_wet" if since and truth.stage(hour) == "germination":
            return hour - max(since) > TURNED_WITHIN_H
        case "silent":
            return run.person in ("newcomer", "sloppy")
        case "lot_undeclared" | "lot_untested" | "lot_test_old":
            return True
        case "oversteeped":
            return truth.moisture(min(hour, truth.cast_h)) > _high(run, "cast_moisture")
        case "past_target":
            return truth.overgrown(hour) > OVERGROWN_SHARE
        case "long_under_water":
            return any(stage == "immersion" and start <= hour <= end for stage, start, end in truth.spans)
    return None


TURNED_WITHIN_H, OVERGROWN_SHARE = 10.0, 0.15
"""Later than the programmes want a bed turned; and more than the published share that does no harm (CMBTC 2012)."""


def _high(run: Run, key: str) -> float:
    limit = load_builtin()[run.programme].limit(key)
    return math.inf if limit is None or limit.high_caution is None else limit.high_caution


def claims(run: Run, batch: BatchAt, hour: float) -> Iterator[Claim]:
    """All that is said with an interval, and what was so; nothing where nobody has told yet what stage it is in."""
    if batch.stage is None or not batch.is_live or batch.stage.name != run.truth.stage(hour):
        return
    stage, told, truth = batch.stage.name, batch.forecast, run.truth
    moist = [each.moisture_wb for each in determinations(batch.history) if each.basis != "charged"]
    grown = [each.mean for each in growth_counts(batch.history)]
    if stage in PARTS:
        yield from _value(f"moisture, {PARTS[stage]}", told.moisture, truth.moisture(hour), moist)
    if told.acrospire is not None:
        yield from _value("growth", told.acrospire, truth.growth(hour), grown)
    yield from _moment("hours to the end of growth", told.grown, _grown_h(run), run, hour, len(grown))
    dry = told.kiln.dry if told.kiln else None
    yield from _moment("hours to dry", dry, _dry_h(run), run, hour, len(moist))
    yield from _moment("hours to the cast, by the plan", told.cast_by_plan, _cast_h(run), run, hour, len(moist))


def _value(quantity: str, value: Value, truth: float, seen: list[float]) -> Iterator[Claim]:
    if value.central is not None and value.low is not None and value.high is not None:
        yield Claim(quantity, len(seen), value.central, value.low, value.high, truth, seen[-1] if seen else None)


def _moment(
    quantity: str, when: When | None, truth_h: float | None, run: Run, hour: float, seen: int
) -> Iterator[Claim]:
    """Only of what is still to come: a moment that is past is no forecast."""
    if when is None or when.central is None or truth_h is None or truth_h <= hour:
        return

    def hours(moment: datetime) -> float:
        return (moment - run.hour_zero).total_seconds() / 3600.0

    low = hour if when.low is None else hours(when.low)
    high = math.inf if when.high is None else hours(when.high)
    yield Claim(quantity, seen, hours(when.central), low, high, truth_h, left=truth_h - hour)


def _dry_h(run: Run) -> float | None:
    """When the wettest tray was dry enough; of a bed, its mean. The target is the middle of the programme's."""
    truth, target = run.truth, _middle(run, "final_moisture")
    is_trays = run.setting == "kitchen"

    def moisture(hour: float) -> float:
        return max(truth.layer_moistures(hour)) if is_trays else truth.moisture(hour)

    return _first(run, lambda hour: hour > truth.heat_on_h and moisture(hour) <= (target or 0.0))


def _grown_h(run: Run) -> float | None:
    target = _middle(run, "acrospire")
    return _first(run, lambda hour: target is not None and run.truth.growth(hour) >= target)


def _cast_h(run: Run) -> float | None:
    target = _middle(run, "cast_moisture")
    return _first(
        run, lambda hour: target is not None and hour <= run.truth.cast_h and run.truth.moisture(hour) >= target
    )


def _first(run: Run, is_so: Callable[[float], bool]) -> float | None:
    return next((hour for hour in run.truth.hours if is_so(hour)), None)


def _middle(run: Run, key: str) -> float | None:
    limit = load_builtin()[run.programme].limit(key)
    if limit is None or limit.target_low is None or limit.target_high is None:
        return None
    return (limit.target_low + limit.target_high) / 2.0
