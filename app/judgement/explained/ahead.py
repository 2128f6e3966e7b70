"""What is foreseen, with its values put in: outlooks, next steps, what may go past its limit, and one more day."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from datetime import datetime, timedelta

from app.judgement.ahead.one_more_day import DAY, one_more_day
from app.judgement.ahead.power_cut import power_cut
from app.judgement.ahead.sleep import sleep
from app.judgement.explained.explanation import SHOWN_FACTS, Asked, Explanation, Line, Share, Term
from app.judgement.explained.kiln import EXPLAINED as KILN
from app.judgement.explained.kiln import of_when, timed
from app.judgement.explained.measures import Explain
from app.judgement.explained.models import GROWTH, UPTAKE, of_growth, of_uptake
from app.judgement.facts.shapes import Reading
from app.judgement.forecasts.band import When
from app.judgement.forecasts.course import course_to_plan
from app.judgement.steps.next_steps import ranked
from app.judgement.steps.step import NextStep
from app.judgement.watch.bed_ahead import beds_ahead
from app.judgement.watch.watch import Clock, Slope, Watch
from app.judgement.wording import Words
from app.science.moisture import water_to_reach_kg

TO_LIMIT = "left_alone.hours_to_limit"


def _outlook(asked: Asked) -> Explanation | None:
    forecast = asked.batch.forecast
    if asked.name in ("cast", "cast_by_plan"):
        when = forecast.cast if asked.name == "cast" else forecast.cast_by_plan
        return None if when is None else _steeped(asked, when, is_by_plan=asked.name == "cast_by_plan")
    if asked.name == "acrospire" and forecast.acrospire is not None:
        return _grown(asked, asked.batch.now)
    if asked.name == "grown" and forecast.grown is not None:
        return _grown_when(asked, forecast.grown)
    return None


def _steeped(asked: Asked, when: When, *, is_by_plan: bool = False) -> Explanation | None:
    fitted = asked.batch.fitted
    uptake = fitted.story.uptake if fitted.story is not None else None
    if uptake is None:
        return None
    course = None
    if is_by_plan and fitted.programme is not None:
        course = course_to_plan(uptake.course, fitted.programme, fitted.steep_ordinal, fitted.hour(asked.batch.now))
    at = when.central if when.central is not None else asked.batch.now
    return timed(asked, of_uptake(asked.batch.history, uptake, fitted.hour(at), asked.words, course=course), when)


def _grown(asked: Asked, at: datetime) -> Explanation | None:
    fitted = asked.batch.fitted
    return None if fitted.growth is None else of_growth(asked.batch.history, fitted.growth, fitted.hour(at))


def _grown_when(asked: Asked, when: When) -> Explanation | None:
    shown = _grown(asked, when.central if when.central is not None else asked.batch.now)
    return None if shown is None else timed(asked, shown, when)


def _step(asked: Asked) -> Explanation | None:
    """A next step, by the formula that it comes from."""
    todo = ranked(asked.batch.whole, asked.batch.now, asked.words).steps
    found = next((each for each in todo if each.kind == asked.name and each.method), None)
    if found is None:
        return None
    shown = _by_method(asked, found)
    if shown is None:
        return None
    value = None if found.is_due(asked.batch.now) else shown.value
    return replace(shown, value=value, notes=shown.notes)


def _by_method(asked: Asked, step: NextStep) -> Explanation | None:
    when = When(step.due_at, step.earliest_at, step.latest_at, 0.0)
    if step.method == UPTAKE:
        shown = _steeped(asked, when)
    elif step.method == GROWTH:
        shown = _grown_when(asked, when)
    elif step.method == TO_LIMIT:
        return _turn(asked, step)
    elif step.method == "moisture.water_to_reach_kg":
        return _spray(asked, step)
    elif step.method == "moisture.gross_to_stop_at_kg":
        shown = KILN["stop"](asked._replace(name=""))
        return None if shown is None else replace(shown, unit="", value=None)
    elif step.method == "enzymes.hours_and_degree_hours_above":
        shown = KILN["kiln"](asked._replace(name="ceiling"))
        return None if shown is None else replace(shown, unit="", value=None)
    else:
        shown = of_when(asked, when)
    spans = ("Due then; in time as long as moisture or growth is within its target.",)
    return None if shown is None else replace(shown, method=step.method or shown.method, value=step.due_at, notes=spans)


def _turn(asked: Asked, step: NextStep) -> Explanation | None:
    """Before the first of the bed's places comes to its limit."""
    programme = asked.batch.programme
    limit = programme.limit("grain_temperature.germination") if programme is not None else None
    high_c = limit.high_caution if limit is not None else None
    beds = beds_ahead(asked.batch)
    if high_c is None or not beds:
        return None
    bed = min(beds, key=lambda each: each.reaches(high_c) or each.last_at)
    slope = _by_slope(asked.words, Slope(bed.line, high_c, bed.readings[-1]), facts=bed.readings)
    return replace(slope, unit="moment", value=step.due_at)


def _spray(asked: Asked, step: NextStep) -> Explanation | None:
    batch, words = asked.batch, asked.words
    dry_kg, target, moisture = batch.fitted.dry_kg, batch.fitted.target("cast_moisture"), batch.moisture
    if dry_kg is None or target is None or moisture is None or not 0.0 <= moisture.moisture_wb < target:
        return Explanation("moisture.water_to_reach_kg", "moment", step.due_at)
    now = moisture.moisture_wb
    water = float(water_to_reach_kg(dry_kg / (1.0 - now), now, target))
    facts = moisture.sample.facts if moisture.sample is not None else ()
    limit = batch.programme.limit("cast_moisture") if batch.programme else None
    terms = (
        Term("D", "dry matter in the bed", words.mass(dry_kg), dry_kg, "kg", batch.history.charges),
        Term("M", "moisture now", words.percent(now, moisture.half_width), now, facts=facts),
        Term("M₁", "target", words.percent(target), target, mark=limit.mark if limit else "M"),
    )
    line = Line("W", "D / (1 − M) × (M₁ − M) / (1 − M₁)", water, "kg", words.mass(float(f"{water:.2g}")))
    return Explanation("moisture.water_to_reach_kg", "moment", step.due_at, terms, (line,))


def _watch(asked: Asked) -> Explanation | None:
    night = sleep(asked.batch.whole, asked.batch.now, asked.words)
    key, _, place = asked.name.partition(".")
    found = [each for each in night.watches if each.key == key]
    at = int(place) if place.isdigit() else 0
    return of_watch(asked, found[at]) if at < len(found) else None


def _power(asked: Asked) -> Explanation | None:
    first = power_cut(asked.batch.whole, asked.batch.now, asked.words).first
    return of_watch(asked, first) if first is not None else None


def of_watch(asked: Asked, watch: Watch) -> Explanation | None:
    """By the clock, by a line through readings, or by a forecast."""
    shown = _watched(asked, watch)
    if shown is None:
        return None
    value = watch.safe_at if watch.safe_at > asked.batch.now else None
    return replace(shown, method=watch.method, unit="moment", value=value, notes=(*shown.notes, f"By {watch.basis}."))


def _watched(asked: Asked, watch: Watch) -> Explanation | None:
    words, by = asked.words, watch.by
    if isinstance(by, Clock):
        return _by_clock(words, watch, by)
    if isinstance(by, Slope):
        read = asked.batch.history.readings(by.last.kind)
        facts = tuple(each for each in read if each.place == by.last.place and each.at <= by.last.at)
        return _by_slope(words, by, facts[-SHOWN_FACTS:])
    when = When(watch.likely_at, watch.safe_at, None, 0.0)
    if watch.method == UPTAKE:
        shown = _steeped(asked, when)
    elif watch.method == GROWTH:
        shown = _grown_when(asked, when)
    else:
        shown = of_when(asked, when)
    soonest = f"“From” is the near edge, about 95 times in 100 no sooner: {words.around(watch.safe_at, is_floor=True)}."
    return None if shown is None else replace(shown, notes=(soonest,))


def _by_clock(words: Words, watch: Watch, by: Clock) -> Explanation:
    since = f"{watch.why.partition(';')[0]}"
    terms = (
        Term("t₀", since, words.clock(by.since), 0.0, "h"),
        Term("H", "at most", words.span(by.wanted_h), by.wanted_h, "h", mark="M"),
    )
    line = Line("t", "t₀ + H", by.wanted_h, "h", words.clock(by.since + timedelta(hours=by.wanted_h)))
    notes = (f"Out of range after {words.span(by.longest_h)}.",)
    return Explanation("hours", "moment", watch.safe_at, terms, (line,), notes=notes)


def _by_slope(words: Words, slope: Slope, facts: tuple[Reading, ...]) -> Explanation:
    line, limit_c = slope.line, slope.limit_c
    terms = (
        Term(
            "T",
            f"where the line stands at {words.clock(slope.last.at)}",
            words.temperature(line.level_c, 2.0 * line.level_sd),
            line.level_c,
            "°C",
            facts,
        ),
        Term(
            "v",
            "how fast it goes, °C an hour",
            f"{line.per_h:+.2f} ± {2.0 * line.per_h_sd:.2f}",
            line.per_h,
            "",
            facts,
        ),
        Term("T₁", "its limit", words.temperature(limit_c), limit_c, "°C", mark="M"),
    )
    rise = limit_c - line.level_c
    notes = ("The soonest is with the line 95 % high in place and pace; warm grain quickens as it warms.",)
    if rise * line.per_h <= 0.0:
        return Explanation(TO_LIMIT, "moment", None, terms, notes=notes)
    hours = rise / line.per_h
    at = slope.last.at + timedelta(hours=hours)
    lines = (Line("t", "(T₁ − T) / v", hours, "h", f"{words.span(hours)}, {words.at(at)}"),)
    return Explanation(TO_LIMIT, "moment", at, terms, lines, notes=notes)


def _day(asked: Asked) -> Explanation | None:
    day, words = one_more_day(asked.batch.whole, asked.batch.now), asked.words
    if day is None:
        return None
    if asked.name == "acrospire":
        return _grown(asked, asked.batch.now + DAY)
    if asked.name == "cost" and day.cost is not None:
        cost = day.cost
        breath, rootlets = cost.respired_kg / cost.dry_kg, cost.rootlets_kg / cost.dry_kg
        terms = (
            Term(
                "D",
                "dry matter in the batch now",
                words.mass(cost.dry_kg),
                cost.dry_kg,
                "kg",
                asked.batch.history.charges,
            ),
            Term(
                "a", "breathed in a day, by the programme’s figure", words.percent(breath, decimals=2), breath, mark="M"
            ),
            Term(
                "b",
                "into rootlets in a day, by the programme’s figure",
                words.percent(rootlets, decimals=2),
                rootlets,
                mark="M",
            ),
        )
        said = words.mass(cost.lost_kg, cost.half_width_kg)
        line = Line("C", "D × (a + b)", cost.lost_kg, "kg", said)
        shares = (Share("each is taken as ± half of itself, and both together", cost.half_width_kg, "M"),)
        return Explanation(
            "left_alone.dry_matter_lost_kg_with_sd",
            "kg",
            cost.lost_kg,
            terms,
            (line,),
            shares,
            half_width=cost.half_width_kg,
        )
    if asked.name == "overgrown" and day.overgrown is not None and day.counted is not None and day.gain is not None:
        counted, then = day.counted, day.overgrown.then
        assert then.central is not None
        both = (
            Term(
                "",
                f"longer than the kernel at the last count of {counted.n}",
                words.percent(counted.overgrown.share, decimals=0),
                counted.overgrown.share,
                facts=(counted.fact,),
            ),
            Term("", "what the mean grows in the day", f"{day.gain:.2f} kernel lengths", day.gain),
        )
        notes = ("The whole count is moved along with its mean; that all grow alike is common practice.",)
        return Explanation("left_alone.overgrown_after", "fraction", then.central, both, notes=notes)
    return None


EXPLAINED: Mapping[str, Explain] = {
    "outlook": _outlook,
    "step": _step,
    "watch": _watch,
    "power": _power,
    "day": _day,
}
