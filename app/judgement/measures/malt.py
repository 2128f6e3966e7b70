"""Measures of the kiln and of the malt."""

from __future__ import annotations

import math

from app.judgement.batch_at import BatchAt
from app.judgement.facts.shapes import Weighing
from app.judgement.forecasts.moisture import charged
from app.judgement.malt.dryness import malt_moisture, outturn_moisture
from app.judgement.measures.account import Account, Figure, account_of
from app.judgement.measures.account_lines import AccountLine
from app.judgement.measures.measure import Measure, hours_in, judged
from app.judgement.measures.steep import highest_measure
from app.judgement.watch.exposure import kiln_exposure


def malt_measures(batch: BatchAt) -> list[Measure]:
    account, hours = batch.once(account_of), hours_in(batch, "kilning")
    note = "has not begun" if hours is None else "so far" if batch.is_in("kilning") else ""
    return [
        Measure("kiln_h", "On the kiln", "h", hours, n=len(batch.stages_named("kilning")) or None, note=note),
        highest_measure(batch, "kiln_grain_max", "Grain on the kiln, hottest", "kilning"),
        *_above_ceiling(batch),
        judged(batch, _final_moisture(batch), "final_moisture"),
        _outturn(account),
        _figure("yield_as_is", "Yield as is", account.yield_as_is, account),
        _figure("malting_loss", "Malting loss, dry", account.malting_loss, account),
        _culms(account),
    ]


def _above_ceiling(batch: BatchAt) -> list[Measure]:
    """At the hottest place."""
    hours = ("hours_above_ceiling", "Above the ceiling")
    degree_hours = ("degree_hours_above_ceiling", "Above the ceiling, degree-hours")
    exposure = kiln_exposure(batch.history, batch.now)
    if exposure is None:
        note = "no grain temperature under a ceiling" if batch.stages_named("kilning") else "has not begun"
        return [Measure(*hours, "h", note=note), Measure(*degree_hours, "c_h", note=note)]
    n = len(exposure.readings)
    note = f"of {exposure.measured_hours:.1f} h measured" + (f", {exposure.place}" if exposure.place else "")
    return [
        Measure(*hours, "h", exposure.hours, n=n, is_estimate=True, note=note),
        Measure(*degree_hours, "c_h", exposure.degree_hours, n=n, is_estimate=True, note=note),
    ]


def _final_moisture(batch: BatchAt) -> Measure:
    """Of the malt as it was weighed, or as last determined after the kiln."""
    key, word = "final_moisture", "Moisture of the malt"
    start = charged(batch.history, batch.now)
    if start is None or not batch.stages_named("kilning") or batch.is_in("kilning"):
        return Measure(key, word, "wb", note="not dried yet")
    weighed = [fact for fact in batch.history.of_shape(Weighing, "outturn") if start.at <= fact.at <= batch.now]
    moistures = [(each, outturn_moisture(batch.history, each, batch.now)) for each in weighed if each.net_kg > 0.0]
    tested = [(each.net_kg, malt) for each, malt in moistures if malt.is_tested]
    if tested:
        mass = sum(kg for kg, _ in tested)
        value = sum(kg * malt.moisture_wb for kg, malt in tested) / mass
        sd = math.hypot(*(kg * malt.sd for kg, malt in tested)) / mass
        return Measure(key, word, "wb", value, 2.0 * sd, len(tested))
    malt = malt_moisture(batch.history, batch.now, batch.now)
    if not malt.is_tested:
        return Measure(key, word, "wb", note="not tested")
    return Measure(key, word, "wb", malt.moisture_wb, 2.0 * malt.sd, is_estimate=True, note="as last determined")


def _outturn(account: Account) -> Measure:
    line = account.line("outturn")
    kg = account.outturn_as_is_kg
    if line is None or kg is None:
        return Measure("outturn_kg", "Outturn", "kg", note="not weighed yet")
    reach = 2.0 * line.scale_relative_sd * kg
    return Measure("outturn_kg", "Outturn", "kg", kg, reach, len(line.parts), line.is_estimate, line.note)


def _figure(key: str, word: str, figure: Figure | None, account: Account) -> Measure:
    if figure is None:
        note = "the charge was no raw grain" if account.is_complete else "the malt is not weighed yet"
        return Measure(key, word, "fraction", note=note)
    lines: tuple[AccountLine | None, ...] = (account.charge, account.line("outturn"))
    is_estimate = any(line is not None and line.is_estimate for line in lines)
    return Measure(key, word, "fraction", figure.value, figure.half_width, is_estimate=is_estimate)


def _culms(account: Account) -> Measure:
    line = account.line("culms")
    share = account.share_of(line) if line is not None else None
    if line is None or share is None:
        return Measure("culms_share", "Culms, of the dry charge", "fraction", note="not weighed yet")
    return Measure(
        "culms_share", "Culms, of the dry charge", "fraction", share.value, share.half_width, None, line.is_estimate,
        line.note,
    )  # fmt: skip
