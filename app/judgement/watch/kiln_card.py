"""What a maltster acts on at the kiln: how hot the grain may be now, when it is dry, and what the scale shows then."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta

from app.judgement.batch_at import BatchAt, batch_at
from app.judgement.facts.shapes import Reading
from app.judgement.forecasts.air import KilnAir
from app.judgement.forecasts.bed import BED
from app.judgement.forecasts.course import is_usable
from app.judgement.forecasts.drying import DryingFit
from app.judgement.forecasts.forecast import Fit, KilnForecast, StopAt
from app.judgement.forecasts.moisture import Estimate, judged_wb
from app.judgement.history.history import History
from app.judgement.history.kiln_runs import fired_at, run_at
from app.judgement.history.stages import Stage
from app.judgement.history.told_late import told_until
from app.judgement.malt.dry_enough import Dryness, dryness
from app.judgement.programmes.parts import CeilingStep
from app.judgement.programmes.programme import Limit, Programme
from app.judgement.watch.exposure import KilnExposure, is_over, kiln_exposure
from app.judgement.watch.kiln import RECENT
from app.judgement.watch.layers import as_read
from app.judgement.watch.watch import Gap

AT_HEAT = ("stewing", "kilning", "cooling")
STILL_HOT_C = 30.0
"""Malt off the heat is hot until it may be bagged: common practice."""

PROBE_READINGS = 3
"""Fewer readings of the air above the bed tell no break point."""

NO_MOISTURE = Gap("moisture", "How moist the grain is, and so its ceiling", "weigh a tray, or test it", "tray")
NO_GRAIN = Gap("grain", "Whether the grain is over its ceiling", "take the grain’s temperature", "grain_temperature")
NO_TRAY = Gap("tray", "What the scale shows when it is dry enough", "weigh a tray at loading, or one now", "tray")
NO_AIR = Gap(
    "air", "How hot the air is: the plan’s is taken", "log the air before the grain (air-on)", "air_on_temperature"
)
NO_HUMIDITY = Gap("humidity", "How damp the air is: the usual is taken", "log the humidity", "humidity")
NO_DRY = Gap("dry", "How much water is still to go", "say what was charged, and how moist it was", "charge_weighing")


@dataclass(frozen=True)
class CeilingNow:
    """The step of the programme's ceiling that holds at the moisture it is judged by, and the one after it.

    place: which step, from 1, of how many. moisture: None where nothing ever told it.
    """

    step: CeilingStep
    following: CeilingStep | None
    place: int
    steps: int
    moisture: Estimate | None

    @property
    def told(self) -> Estimate | None:
        """The moisture, where anything tells it; else the step is that of wet grain."""
        return self.moisture if self.moisture is not None and self.moisture.is_told else None

    @property
    def is_next_likely(self) -> bool:
        """Little is known, and its middle is in a drier step: a weighing may allow more heat."""
        return (
            self.following is not None
            and self.told is not None
            and (self.told.where_wettest_wb <= self.step.moisture_above_wb)
        )


@dataclass(frozen=True)
class Hottest:
    """The last reading of the grain where it is hottest. is_over: hotter than its ceiling."""

    place: str
    value_c: float
    at: datetime
    is_over: bool


@dataclass(frozen=True)
class Wettest:
    tray: str
    moisture_wb: float
    half_width: float


@dataclass(frozen=True)
class KilnCard:
    """A part is None where it does not apply, or where nothing tells it: gaps then say what to record.

    floor: of a stewing, in place of a ceiling. dry: what was determined says of it. has_probe: the air above the bed is
    read often enough to tell the break.
    """

    stage: str
    is_fired: bool
    has_ceiling: bool
    ceiling: CeilingNow | None
    floor: Limit | None
    hottest: Hottest | None
    exposure: KilnExposure | None
    wettest: Wettest | None
    forecast: KilnForecast | None
    dry: Dryness | None
    air: KilnAir | None
    has_probe: bool
    gaps: tuple[Gap, ...]

    @property
    def first_stop(self) -> StopAt | None:
        """The tray to stop by: the wettest, or the one with most water to lose."""
        stops = self.forecast.stop_at if self.forecast else ()
        wettest = self.wettest.tray if self.wettest else ""
        return max(stops, key=lambda each: (each.tray == wettest, each.still_to_go_kg, each.tray), default=None)

    @property
    def other_stops(self) -> tuple[StopAt, ...]:
        return tuple(each for each in (self.forecast.stop_at if self.forecast else ()) if each is not self.first_stop)


def kiln_card(history: History, now: datetime) -> KilnCard | None:
    """None outside of stewing and kiln, once malt is cold, and where the programme says nothing of its heat."""
    return batch_at(history, now).once(_kiln_card)


def _kiln_card(batch: BatchAt) -> KilnCard | None:
    history, now, stage, programme = batch.history, batch.now, batch.stage, batch.programme
    if stage is None or programme is None or stage.name not in AT_HEAT:
        return None
    if stage.name == "cooling" and not _is_hot(history, stage, now):
        return None
    fitted = batch.fitted
    forecast = batch.forecast.kiln if stage.name == "kilning" else None
    floor = programme.limit("grain_temperature.stewing") if stage.name == "stewing" else None
    has_ceiling = bool(programme.ceiling) and stage.name != "stewing"
    if not (has_ceiling or floor or forecast):
        return None
    # How far it has dried since the entry to which somebody has caught up, nobody knows.
    moisture = batch.moisture if told_until(history, now) is None else None
    ceiling = _ceiling_now(programme, moisture) if has_ceiling else None
    run = run_at(history, now)
    drying = fitted.drying if forecast is not None else None
    hottest = _hottest(history, stage, now, programme if has_ceiling else None)
    return KilnCard(
        stage=stage.name,
        is_fired=stage.name != "kilning" or fired_at(history, stage, now) is not None,
        has_ceiling=has_ceiling,
        ceiling=ceiling,
        floor=floor,
        hottest=hottest,
        exposure=kiln_exposure(history, now) if has_ceiling else None,
        wettest=_wettest(fitted, drying, now),
        forecast=forecast,
        dry=dryness(history, run.stage, programme) if forecast and run else None,
        air=drying.air if drying is not None else None,
        has_probe=_probe_readings(history, stage, now) >= PROBE_READINGS,
        # Off the heat nobody asks any more how much of it the grain bears.
        gaps=()
        if stage.name == "cooling"
        else tuple(_gaps(moisture is None or not moisture.is_told, hottest, forecast, drying)),
    )


def _ceiling_now(programme: Programme, moisture: Estimate | None) -> CeilingNow:
    steps, judged = programme.ceiling, judged_wb(moisture)
    place = next((at for at, each in enumerate(steps) if judged > each.moisture_above_wb), len(steps) - 1)
    following = steps[place + 1] if place + 1 < len(steps) else None
    return CeilingNow(steps[place], following, place + 1, len(steps), moisture)


def _inside(
    history: History, stage: Stage, now: datetime, *kinds: str, within: timedelta | None = None
) -> list[Reading]:
    since = stage.starts_at if within is None else max(stage.starts_at, now - within)
    return [reading for reading in history.readings(*kinds) if is_usable(reading) and since <= reading.at <= now]


def _hottest(history: History, stage: Stage, now: datetime, programme: Programme | None) -> Hottest | None:
    """Where a layer is over its own ceiling that one; else the hottest. programme: where it has a ceiling."""
    last = {each.place or "": each for each in _inside(history, stage, now, "grain_temperature", within=RECENT)}
    ceilings = (
        {}
        if programme is None
        else {each.id: programme.ceiling_c(as_read(history, each, now)) for each in last.values()}
    )
    read = [
        Hottest(
            each.place or "",
            each.value,
            each.at,
            (limit := ceilings.get(each.id)) is not None and is_over(each.value, limit),
        )
        for each in last.values()
        if each.value is not None
    ]
    return max(read, key=lambda each: (each.is_over, each.value_c, each.at), default=None)


def _is_hot(history: History, stage: Stage, now: datetime) -> bool:
    read = _inside(history, stage, now, "grain_temperature", "air_on_temperature", "air_off_temperature", within=RECENT)
    return bool(read) and (read[-1].value or 0.0) > STILL_HOT_C


def _probe_readings(history: History, stage: Stage, now: datetime) -> int:
    return len(_inside(history, stage, now, "air_off_temperature"))


def _wettest(fitted: Fit, drying: DryingFit | None, now: datetime) -> Wettest | None:
    """None where there is one tray, or none: then nothing tells the one place from the other."""
    if drying is None or drying.wettest_tray == BED:
        return None
    moisture_wb, sd = drying.state(fitted.hour(now), drying.wettest_tray)
    return Wettest(drying.trays[drying.wettest_tray].name, moisture_wb, 2.0 * sd)


def _gaps(
    lacks_moisture: bool, hottest: Hottest | None, forecast: KilnForecast | None, drying: DryingFit | None
) -> list[Gap]:
    gaps = [NO_MOISTURE] if lacks_moisture else []
    gaps += [NO_GRAIN] if hottest is None else []
    if forecast is None or drying is None:
        return gaps
    air = drying.air
    is_damp_known = air.is_humidity_measured or air.is_room_humidity_read
    gaps += [] if forecast.stop_at or lacks_moisture else [NO_TRAY]
    gaps += [] if air.is_measured else [NO_AIR]
    gaps += [] if is_damp_known else [NO_HUMIDITY]
    return gaps if forecast.work is not None else [*gaps, NO_DRY]
