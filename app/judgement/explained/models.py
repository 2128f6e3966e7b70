"""Fitted curves with their values put in: the steep, the growth, the kiln, and grain that only lies there."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import replace
from datetime import datetime

import numpy as np

from app.judgement.explained.explanation import Explanation, Line, Model, Share, Term
from app.judgement.forecasts.bed import BED, grain_of, law_of
from app.judgement.forecasts.course import Stretch
from app.judgement.forecasts.drying import DryingFit
from app.judgement.forecasts.green import Law
from app.judgement.forecasts.growth import BASE_C, LONGEST, SLOWS_OVER, SOFTLY_C_D, GrowthFit
from app.judgement.forecasts.hold import DRIFT_PER_H, Hold
from app.judgement.forecasts.moisture import Estimate
from app.judgement.forecasts.trays import Determined
from app.judgement.forecasts.uptake import AT_ONCE_DB, AT_ONCE_H, UptakeFit, weibull_of, weighed_in_steep
from app.judgement.grain.counts import GrowthCount, growth_counts
from app.judgement.grain.moisture_samples import MoistureSample
from app.judgement.history.history import History
from app.judgement.wording import Words
from app.science.fitting import Posterior

LAST = 4
UPTAKE, GROWTH, DRYING = "uptake.weibull_gain", "growth.thermal_time_c_d", "kiln_bed.moisture_after_db"
STRAYS = "how far its own weighings pull the curve there"
OF_CURVE = "the curve: its parameters, and how far grain strays from any"


def of_law(history: History, law: Law, at: datetime, words: Words, estimate: Estimate) -> Explanation:
    """The moisture at a moment, by what tells it then."""
    hour, about = history.hour(at), (estimate.moisture_wb, estimate.half_width)
    if isinstance(law, UptakeFit):
        return of_uptake(history, law, hour, words, about)
    if isinstance(law, DryingFit):
        return of_drying(history, law, hour, words, about)
    assert isinstance(law, Hold)
    return _of_hold(history, law, hour, words, about)


def of_uptake(
    history: History,
    fit: UptakeFit,
    hour: float,
    words: Words,
    about: tuple[float, float] | None = None,
    course: Sequence[Stretch] | None = None,
) -> Explanation:
    """Moisture in the steep at an hour; along another course than the logged one, where given."""
    moisture = float(fit.band(np.array([hour]), course)[0][0])
    gain, scale_h, shape = weibull_of(fit.posterior.parameters)
    wet_h, start = fit.effective_h(hour, course), fit.initial_wb
    skins = AT_ONCE_DB * -math.expm1(-wet_h / AT_ONCE_H)
    plain_gain = skins + (gain - AT_ONCE_DB) * -math.expm1(-((wet_h / scale_h) ** shape))
    held = moisture / (1.0 - moisture)
    strays = held - start / (1.0 - start) - plain_gain
    terms = (
        Term("M₀", "moisture as it went into the water", words.percent(start), start, facts=history.charges),
        Term(
            "t",
            f"hours under water that count: of 15 °C, an air rest as {fit.air_share:.2f}",
            f"{wet_h:.1f} h",
            wet_h,
            "h",
        ),
        Term("q", "of it what the skins take at once", f"{skins:.3f} kg/kg", skins, mark="M"),
        Term("a", "gain in the end, fitted", f"{gain:.3f} kg/kg", gain),
        Term("β", "its scale, fitted", f"{scale_h:.1f} h", scale_h, "h"),
        Term("α", "its shape, fitted", f"{shape:.2f}", shape),
        Term("r", STRAYS, f"{strays:+.4f} kg/kg", strays),
    )
    lines = (
        Line("X", "M₀ / (1 − M₀) + q + (a − q) × (1 − exp(−(t / β)^α)) + r", held, said=f"{held:.3f} kg/kg"),
        Line("M", "X / (1 + X)", moisture, said=_said(moisture, about, words)),
    )
    zero = history.first_water_at
    weighed = weighed_in_steep(history, zero, fit.end_h) if zero is not None else []
    model = Model(
        "a Weibull curve in hours under water, dry basis",
        (
            _log("gain in the end, a", "kg/kg", fit.posterior, 0),
            _log("scale, β", "h", fit.posterior, 1),
            _log("shape, α", "", fit.posterior, 2),
            _bare("what an hour of air rest counts", "", fit.posterior, 3),
            _bare("activation energy", "kJ/mol", fit.posterior, 4),
            _bare("how much more an hour counts that begins anew after a rest", "", fit.posterior, 5),
        ),
        fit.weighings,
        _off(history, weighed, lambda each: float(fit.band(np.array([each]))[0][0]), words),
    )
    return _fitted(UPTAKE, moisture, about, terms, lines, model)


def of_growth(history: History, fit: GrowthFit, hour: float) -> Explanation:
    """The mean acrospire at an hour."""
    length = float(fit.band(np.array([hour]))[0][0])
    log_rate, lag = fit.posterior.parameters.tolist()
    warmth, rate = float(fit.thermal_time(np.array([hour]))[0]), math.exp(log_rate)
    grown = rate * SOFTLY_C_D * float(np.logaddexp(0.0, (warmth - lag) / SOFTLY_C_D))
    slowed = LONGEST - SLOWS_OVER * float(np.logaddexp(0.0, (LONGEST - grown) / SLOWS_OVER))
    until = math.inf if fit.end_h is None else fit.end_h + 2.0
    counts = [each for each in growth_counts(history) if fit.start_h <= history.hour(each.at) <= until]
    terms = (
        Term("θ", f"warmth over {BASE_C:g} °C since the cast".replace("-", "−"), f"{warmth:.1f} °C·d", warmth, "°C·d"),
        Term("θ₀", "lag, fitted", f"{lag:.1f} °C·d", lag, "°C·d"),
        Term("g", "growth, fitted", f"{rate:.5f} kernel lengths per °C·d", rate),
        Term("k", "how softly it sets in", f"{SOFTLY_C_D:g} °C·d", SOFTLY_C_D, "°C·d", mark="M"),
        Term("l₁", "no mean comes longer", f"{LONGEST:g} kernel lengths", LONGEST, mark="M"),
        Term("s", "and it slows over", f"{SLOWS_OVER:g}", SLOWS_OVER, mark="M"),
        Term("r", "how far its own counts pull the curve there", f"{length - slowed:+.4f}", length - slowed),
    )
    lines = (
        Line("y", "g × k × ln(1 + exp((θ − θ₀) / k))", grown, said=f"{grown:.3f}"),
        Line("l", "l₁ − s × ln(1 + exp((l₁ − y) / s)) + r", length, said=f"{length:.2f} kernel lengths"),
    )
    model = Model(
        "a lag, then growth in step with warmth",
        (_log("growth, g", "per °C·d", fit.posterior, 0), _bare("lag, θ₀", "°C·d", fit.posterior, 1)),
        fit.counts,
        tuple(_off_growth(history, fit, each) for each in counts[-LAST:]),
    )
    facts = tuple(each.fact for each in counts)
    return Explanation(GROWTH, "kernel_lengths", length, terms, lines, model=model, others=facts)


def _off_growth(history: History, fit: GrowthFit, each: GrowthCount) -> tuple[str, str, str]:
    hour = history.hour(each.at)
    foreseen = float(fit.band(np.array([hour]), in_classes=not each.is_from_lengths)[0][0])
    return f"hour {hour:.0f}", f"{each.mean:.2f} of {each.n}", f"{each.mean - foreseen:+.3f}"


def of_drying(
    history: History,
    fit: DryingFit,
    hour: float,
    words: Words,
    about: tuple[float, float] | None = None,
    tray: int = BED,
) -> Explanation:
    """Moisture on the kiln at an hour, of the bed or of a tray."""
    moisture = float(fit.band(np.array([hour]), tray)[0][0])
    air, grain = fit.air.at(hour), grain_of(fit.posterior.parameters)
    law = law_of(air, grain)
    held, loaded = moisture / (1.0 - moisture), fit.loaded_wb
    damp = words.percent(air.relative_humidity, decimals=0)
    of_air = f"in the air of then, {words.temperature(air.temperature_c)} at {damp}"
    terms = (
        Term("X", "kg water per kg dry, by the law below", f"{held:.4f}", held),
        Term("M₀", "as it was loaded", words.percent(loaded[0], 2.0 * loaded[1]), loaded[0]),
        Term("c", f"while the air is full, {of_air}", f"{law.constant:.4f} kg/kg an hour", law.constant),
        Term("b", "left to go at the break", f"{law.turn:.3f} kg/kg", law.turn),
        Term("n", "how the tail drags", f"{law.drag:.2f}", law.drag),
        Term("Xₑ", "where it ends in that air", f"{law.equilibrium:.4f} kg/kg", law.equilibrium, mark="T"),
    )
    lines = (Line("M", "X / (1 + X)", moisture, said=_said(moisture, about, words)),)
    model = Model(
        "an even rate c while the air is full; from b above Xₑ on the slower the drier, dX/dt = −k (X − Xₑ)¹⁺ⁿ",
        (
            _log("rate while the air is full, in air of 55 °C", "kg/kg an hour", fit.posterior, 0),
            _log("left to go at the break, in that air", "kg/kg", fit.posterior, 1),
            _bare("drag of the tail, n", "", fit.posterior, 2),
            _bare("equilibrium above the table’s", "kg/kg", fit.posterior, 3),
            _bare("as loaded", "kg/kg", fit.posterior, 4),
        ),
        len(fit.known),
        tuple(_off_bed(fit, each, words) for each in fit.known[-LAST:]),
    )
    weighed = {each.id: each for tray_of in fit.trays for each in (tray_of.first, tray_of.last)}
    return replace(_fitted(DRYING, moisture, about, terms, lines, model), others=tuple(weighed.values()))


def _off_bed(fit: DryingFit, each: Determined, words: Words) -> tuple[str, str, str]:
    place = next((tray.name for tray in fit.trays if tray.number == each.tray), "") or "the bed"
    foreseen = float(fit.posterior.predict(np.array([[each.hour], [each.start_h], [float(each.tray)]]))[0][0])
    is_weight = not math.isnan(each.start_h)
    shown = f"{each.value:.3f} of its first weight" if is_weight else words.percent(each.value / (1.0 + each.value))
    return f"hour {each.hour:.1f}, {place}", shown, f"{each.value - foreseen:+.4f}"


def _of_hold(history: History, hold: Hold, hour: float, words: Words, about: tuple[float, float] | None) -> Explanation:
    moisture = hold.state(hour)[0]
    since = max(hour - hold.start_h, 0.0)
    drift = DRIFT_PER_H[0] if hold.drifts else 0.0
    pulled = moisture - hold.start_wb - drift * since
    terms = (
        Term(
            "M₀",
            f"as it was at hour {hold.start_h:.1f}",
            words.percent(hold.start_wb, 2.0 * hold.start_sd),
            hold.start_wb,
        ),
        Term("t", "hours since", f"{since:.1f} h", since, "h"),
        Term("d", "drift an hour", f"{100.0 * drift:+.3f} points", drift, mark="M"),
        Term("r", "sprays since, and what was weighed or tested since", f"{100.0 * pulled:+.2f} points", pulled),
    )
    lines = (Line("M", "M₀ + d × t + r", moisture, said=_said(moisture, about, words)),)
    told = list(zip(hold.hours.tolist(), hold.values.tolist(), strict=True))[-LAST:]
    off = [(at, value, 100.0 * (value - hold.state(at)[0])) for at, value in told]
    last = tuple((f"hour {at:.0f}", words.percent(value), f"{points:+.2f} points") for at, value, points in off)
    model = Model("held as it was, drifting slowly", (), len(hold.values), last)
    return _fitted("moisture.moisture_wb_with_sd", moisture, about, terms, lines, model)


def _fitted(
    method: str,
    moisture: float,
    about: tuple[float, float] | None,
    terms: tuple[Term, ...],
    lines: tuple[Line, ...],
    model: Model,
) -> Explanation:
    half_width = about[1] if about is not None else None
    shares = (Share(OF_CURVE, half_width),) if half_width is not None else ()
    return Explanation(method, "wb", moisture, terms, lines, shares, model=model, half_width=half_width)


def _said(moisture: float, about: tuple[float, float] | None, words: Words) -> str:
    return words.percent(moisture, about[1] if about is not None else None)


def _off(
    history: History, weighed: Sequence[MoistureSample], curve: Callable[[float], float], words: Words
) -> tuple[tuple[str, str, str], ...]:
    """The last determinations with what they lie off the curve."""
    hours = [(history.hour(each.at), each) for each in weighed[-LAST:]]
    return tuple(
        (
            f"hour {hour:.1f}",
            words.percent(each.moisture_wb, each.half_width),
            f"{100.0 * (each.moisture_wb - curve(hour)):+.2f} points",
        )
        for hour, each in hours
    )


def _log(name: str, unit: str, posterior: Posterior, place: int) -> tuple[str, str]:
    """A parameter that was fitted as a logarithm, with its 95 % range."""
    middle, sd = float(posterior.parameters[place]), math.sqrt(float(posterior.covariance[place, place]))
    low, central, high = (math.exp(middle + z * sd) for z in (-2.0, 0.0, 2.0))
    return name, f"{central:.3g} ({low:.3g} to {high:.3g}) {unit}".rstrip()


def _bare(name: str, unit: str, posterior: Posterior, place: int) -> tuple[str, str]:
    middle, sd = float(posterior.parameters[place]), math.sqrt(float(posterior.covariance[place, place]))
    return name, f"{middle:.3g} ± {2.0 * sd:.2g} {unit}".rstrip().replace("-", "−")
