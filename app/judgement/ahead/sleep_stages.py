"""What may go past its limit at each stage: the clock, the bed's temperature, and what the forecasts foresee."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from datetime import datetime

from app.judgement.batch_at import batch_at
from app.judgement.facts.shapes import Remark, StageChange
from app.judgement.flags.bed import TURNING_H, WARM_WET_H, warm_since
from app.judgement.flags.keeping import CULMS_H
from app.judgement.flags.steep import chitted_since
from app.judgement.forecasts.air_plan import planned_air
from app.judgement.forecasts.forecast import time_to_acrospire, time_to_dry, time_to_moisture
from app.judgement.history.history import History
from app.judgement.history.kiln_runs import fired_at
from app.judgement.history.stages import Stage
from app.judgement.malt.dryness import too_wet
from app.judgement.programmes.programme import Programme, provenance
from app.judgement.watch.bed_ahead import Bed, is_cold_and_thin, next_to_turn
from app.judgement.watch.bed_warming import bed_watches
from app.judgement.watch.kiln import ceiling_watch, waiting_watch
from app.judgement.watch.waiting import WAITING_H, is_heat_off
from app.judgement.watch.watch import Gap, Watch, clock_watch, forecast_watch
from app.judgement.wording import Words


@dataclass
class Found:
    watches: list[Watch] = field(default_factory=list)
    gaps: list[Gap] = field(default_factory=list)

    def add(self, *watches: Watch | None) -> None:
        self.watches += [watch for watch in watches if watch is not None]


def _without(programme: Programme | None) -> Found | None:
    if programme is not None:
        return None
    return Found(gaps=[Gap("no_programme", "No limit is known", "give the batch a programme", "programme_change")])


def immersion(history: History, stage: Stage, now: datetime, words: Words) -> Found:
    programme = history.programme_at(now)
    watched = _without(programme) or Found()
    if programme is None:
        return watched
    start = history.by_id(stage.fact_id)
    is_blown = isinstance(start, StageChange) and start.method == "blown"
    read = [reading for reading in history.readings("water_temperature") if stage.starts_at <= reading.at <= now]
    values = [each.value for each in read if each.value is not None]
    water_c = sum(values) / len(values) if values else None
    since = chitted_since(batch_at(history, now), programme.setting("immersion_chitted_from"), now)
    limit = programme.immersion_limit(water_c, None, is_blown)
    watched.add(
        clock_watch("under_water", "It has been under water too long", stage.starts_at, limit, words, "In water")
    )
    if since is not None:
        chitted_at = max(since[0], stage.starts_at)
        limit = programme.immersion_limit(water_c, 1.0, is_blown)
        what = "Chitted grain has been under water too long"
        watched.add(clock_watch("chitted", what, chitted_at, limit, words, "Chitted and in water"))
    if water_c is None:
        said = "How warm the water is: warmer water shortens the time, and 16 °C is taken"
        said = said.replace("16 °C", words.temperature(programme.setting("immersion_reference_c") or 16.0))
        watched.gaps.append(Gap("water", said, "take the water’s temperature", "water_temperature"))
    changed = [fact.at for fact in history.of_kind("water_changed") if stage.starts_at <= fact.at <= now]
    _temperature(watched, history, stage, "water_temperature", [stage.starts_at, *changed], now, words)
    _cast(watched, history, programme, now, words)
    return watched


def rest(history: History, stage: Stage, now: datetime, words: Words) -> Found:
    programme = history.programme_at(now)
    watched = _without(programme) or Found()
    if programme is None:
        return watched
    what = "The air rest has gone on too long"
    watched.add(clock_watch("rest", what, stage.starts_at, programme.limit("air_rest_h"), words, "Resting"))
    _temperature(
        watched, history, stage, "grain_temperature", _turns(stage, next_to_turn(history, stage, now)), now, words
    )
    _cast(watched, history, programme, now, words)
    watched.add(_warm_and_wet(history, programme, now, words))
    return watched


def floor(history: History, stage: Stage, now: datetime, words: Words) -> Found:
    programme = history.programme_at(now)
    watched = _without(programme) or Found()
    if programme is None:
        return watched
    bed = next_to_turn(history, stage, now)
    turns = _turns(stage, bed)
    _temperature(watched, history, stage, "grain_temperature", turns, now, words)
    watched.add(None if is_cold_and_thin(history, now, bed.key) else _turning(history, programme, turns, now, words))
    what, limit = "It has been on the floor too long", programme.limit("germination_d")
    watched.add(clock_watch("days", what, stage.starts_at, limit, words, "On the floor", hours_each=24.0))
    grown = programme.limit("acrospire")
    if grown is not None and grown.target_high is not None:
        when, source = time_to_acrospire(history, grown.target_high, now), provenance(grown.mark, grown.source)
        of = "" if grown.target_high == 1.0 else f"{grown.target_high:g} of "
        what = f"The acrospire passes {of}the kernel’s length"
        why = "It grows on at the temperature it has"
        watched.add(forecast_watch("acrospire", what, when, now, why, source, "growth.thermal_time_c_d"))
    watched.add(_warm_and_wet(history, programme, now, words))
    return watched


def stew(history: History, stage: Stage, now: datetime, words: Words) -> Found:
    programme = history.programme_at(now)
    limit = programme.limit("stewing_h") if programme else None
    watched = Found()
    watched.add(clock_watch("stew", "It has been stewed too long", stage.starts_at, limit, words, "Stewing"))
    return watched


def kiln(history: History, stage: Stage, now: datetime, words: Words) -> Found:
    programme = history.programme_at(now)
    watched = _without(programme) or Found()
    if programme is None:
        return watched
    watched.add(waiting_watch(history, now, words))
    watched.add(_warm_and_wet(history, programme, now, words))
    if is_heat_off(history, now):
        return watched
    watched.add(ceiling_watch(history, programme, stage, now, words))
    final = programme.limit("final_moisture")
    if fired_at(history, stage, now) is None or programme.is_roast:
        return watched
    if final is not None and final.target_low is not None:
        what = f"The malt is drier than {words.percent(final.target_low, decimals=1)}"
        when, source = time_to_dry(history, final.target_low, now), provenance(final.mark, final.source)
        why = "The air goes on as planned" if planned_air(programme) else "The air left as it is"
        watched.add(forecast_watch("dry", what, when, now, why, source, "kiln_bed.drying_time_h"))
    return watched


def malt(history: History, stage: Stage, now: datetime, words: Words) -> Found:
    watched = Found()
    programme = history.programme_at(now)
    if too_wet(history, now) is not None:
        what = "Grain too wet to keep has waited too long for its heat"
        watched.add(clock_watch("waiting", what, stage.starts_at, WAITING_H, words, "Off the heat, wet"))
        return watched
    rubbed = [fact for fact in history.of_kind("culms") if fact.at >= stage.starts_at]
    if programme is not None and not programme.is_roast and not rubbed:
        what = "The culms have been left on too long"
        watched.add(clock_watch("culms", what, stage.starts_at, CULMS_H, words, "Off the heat"))
    return watched


def _temperature(
    watched: Found, history: History, stage: Stage, kind: str, turned: list[datetime], now: datetime, words: Words
) -> None:
    programme = history.programme_at(now)
    limit = programme.limit(f"{kind}.{stage.name}") if programme else None
    if limit is None:
        return
    watches, gaps = bed_watches(history, stage, kind, limit, turned, now, words)
    watched.watches += watches
    # Water follows its room and gets warm slowly: that it was read once doesn't keep anybody awake.
    watched.gaps += [gap for gap in gaps if kind == "grain_temperature"]


def _cast(watched: Found, history: History, programme: Programme, now: datetime, words: Words) -> None:
    limit = programme.limit("cast_moisture")
    if limit is None or limit.target_high is None:
        return
    what = f"The grain takes up more than {words.percent(limit.target_high, decimals=0)}"
    when, source = time_to_moisture(history, limit.target_high, now), provenance(limit.mark, limit.source)
    watched.add(
        forecast_watch("moisture", what, when, now, "Left as it is, it goes on taking up water", source, UPTAKE)
    )


UPTAKE = "uptake.weibull_gain"


def _turns(stage: Stage, bed: Bed) -> list[datetime]:
    return [stage.starts_at, *(turn.at for turn in bed.turns if turn.kind == "turned")]


def _turning(
    history: History, programme: Programme, turns: list[datetime], now: datetime, words: Words
) -> Watch | None:
    since = "Not turned" if len(turns) > 1 else "Cast and not turned"
    limit = programme.limit("turning_h") or TURNING_H
    watch = clock_watch("turning", "The bed has to be turned", turns[-1], limit, words, since)
    looks = [remark for remark in history.of_shape(Remark, "inspection") if turns[-1] <= remark.at <= now]
    knit = [look for look in looks if look.findings.get("matting") in ("strands", "felted")]
    if watch is None or not knit:
        return watch
    why = f"The rootlets were knitting at {words.clock(knit[0].at)}: turn it before you go, then ask again"
    return replace(watch, safe_at=min(knit[0].at, watch.safe_at), why=why)


def _warm_and_wet(history: History, programme: Programme, now: datetime, words: Words) -> Watch | None:
    """Since when it is warm and wet, as the flag has it."""
    since = warm_since(batch_at(history, now))
    if since is None:
        return None
    limit = programme.limit("warm_wet_h") or WARM_WET_H
    what = "It has been warm and wet too long"
    return clock_watch("warm_and_wet", what, since, limit, words, "Warm and wet")
