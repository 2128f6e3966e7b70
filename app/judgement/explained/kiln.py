"""What the kiln card says, with its values put in."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

from app.judgement.explained.explanation import Asked, Explanation, Line, Share, Term
from app.judgement.explained.measures import EXPLAINED as MEASURES
from app.judgement.explained.measures import Explain
from app.judgement.explained.models import of_drying
from app.judgement.explained.moisture import of_sample
from app.judgement.forecasts.asking import KilnForecast
from app.judgement.forecasts.band import When
from app.judgement.forecasts.bed import BED
from app.judgement.forecasts.drying import DryingFit
from app.judgement.forecasts.moisture import edge_wb
from app.judgement.watch.kiln_card import KilnCard, kiln_card
from app.science.drying import HALF_WIDTH_WB

CEILING = "programmes"
WANTED = "the middle of the programme’s target"
STOP, BREAK = "moisture.gross_to_stop_at_kg", "kiln_bed.break_point_db"


def _card(asked: Asked) -> KilnCard | None:
    return kiln_card(asked.batch.whole, asked.batch.now)


def ceiling(asked: Asked) -> Explanation | None:
    """The programme's step at the wettest that the grain may be."""
    card, words = _card(asked), asked.words
    if card is None:
        return None
    if card.floor is not None and card.floor.low_caution is not None:
        bound = card.floor.low_caution
        term = Term(
            "T₀",
            "the programme’s least",
            words.temperature(bound),
            bound,
            "°C",
            mark=card.floor.mark,
            source=card.floor.source,
        )
        return Explanation(CEILING, "c", bound, (term,))
    now = card.ceiling
    if now is None:
        return Explanation(CEILING, "c", None, notes=("This programme sets no ceiling.",))
    step = now.following if asked.name == "next" else now.step
    if step is None:
        return Explanation(CEILING, "c", None, notes=("The programme’s last step holds: none is hotter.",))
    told = now.told
    edge = f"above {words.percent(step.moisture_above_wb, decimals=1)}"
    terms = [
        Term(
            "",
            f"the programme’s ceiling {edge}",
            words.temperature(step.grain_c),
            step.grain_c,
            "°C",
            mark=step.mark,
            source=step.source,
        )
    ]
    lines: tuple[Line, ...] = ()
    if told is None:
        notes = ("Its moisture is not known: the ceiling is that of wet grain.",)
    else:
        facts = told.sample.facts if told.sample is not None else ()
        middle = told.where_wettest_wb
        name = "moisture now, in the wettest tray" if told.wettest_wb else "moisture now"
        terms.append(Term("M", name, words.percent(middle, told.half_width), middle, facts=facts))
        which = "M"
        if not told.is_known:
            which, edge_now = "W", edge_wb(told)
            more = edge_now - middle
            terms.append(Term("u", "nine times in ten no wetter than by", f"{100.0 * more:.1f} points", more))
            lines = (Line("W", "M + u", edge_now, said=words.percent(edge_now, decimals=1)),)
        notes = (f"Step {now.place} of {now.steps} holds at {which}: wetter grain bears less heat.",)
    return Explanation(CEILING, "c", step.grain_c, tuple(terms), lines, notes=notes)


def dry(asked: Asked) -> Explanation | None:
    """What was determined, where that says that it is dry; else when the curve comes there."""
    card = _card(asked)
    if card is None or card.forecast is None:
        return None
    if card.dry is not None and card.dry.state != "open" and card.dry.sample is not None:
        told = of_sample(asked.batch.history, card.dry.sample, asked.words)
        return replace(told, unit="", value=None)
    return of_when(asked, card.forecast.dry)


def of_when(asked: Asked, when: When, tray: int | None = None) -> Explanation | None:
    """When the drying curve comes to a moisture; where it does not, as it stands now."""
    batch, drying = asked.batch, asked.batch.fitted.drying
    if drying is None:
        return None
    at = when.central if when.central is not None else batch.now
    shown = of_drying(
        batch.history, drying, batch.fitted.hour(at), asked.words, tray=drying.wettest_tray if tray is None else tray
    )
    return timed(asked, shown, when)


def timed(asked: Asked, shown: Explanation, when: When) -> Explanation:
    """A curve at the moment at which it comes to its target."""
    words = asked.words
    notes: tuple[str, ...] = (when.reason,) if when.reason else ()
    if when.central is not None:
        notes = (f"The curve comes to its target at {words.around(when.central)}: these are its values then.", *notes)
        if when.low is not None:
            until = words.around(when.high) if when.high is not None else "much later"
            notes += (f"Four times in five between {words.around(when.low)} and {until}.",)
    return replace(shown, unit="moment", value=when.central, notes=notes, shares=(), half_width=None)


def stop(asked: Asked) -> Explanation | None:
    card, drying = _card(asked), asked.batch.fitted.drying
    if card is None or card.forecast is None or drying is None:
        return None
    return _stop(asked, card.forecast, drying, asked.name or (card.first_stop.tray if card.first_stop else ""))


def _stop(asked: Asked, forecast: KilnForecast, drying: DryingFit, name: str) -> Explanation | None:
    words = asked.words
    found = next((each for each in forecast.stop_at if each.tray == name), None)
    tray = next((each for each in drying.trays if each.name == name), None)
    if found is None or tray is None:
        return None
    moisture, sd = drying.first_wb(tray)
    terms = (
        Term("b", "tray or basket, empty", words.mass(tray.tare_kg), tray.tare_kg, "kg", (tray.first,)),
        Term(
            "m₀",
            "its grain as it was weighed first, net",
            words.mass(tray.first_net_kg),
            tray.first_net_kg,
            "kg",
            (tray.first,),
        ),
        Term("M₀", "its moisture then", words.percent(moisture, 2.0 * sd), moisture),
        Term(
            "M₁",
            WANTED,
            words.percent(forecast.target_wb),
            forecast.target_wb,
            mark=_target_mark(asked),
        ),
    )
    said = words.mass(found.gross_kg, found.half_width_kg)
    line = Line("G", "b + m₀ × (1 − M₀) / (1 − M₁)", found.gross_kg, "kg", said)
    shares = (Share("the moisture that it was loaded with", found.half_width_kg),)
    return Explanation(STOP, "kg", found.gross_kg, terms, (line,), shares, half_width=found.half_width_kg)


def _target_mark(asked: Asked) -> str:
    limit = asked.batch.programme.limit("final_moisture") if asked.batch.programme else None
    return limit.mark if limit is not None else "M"


def _wettest(asked: Asked) -> Explanation | None:
    drying = asked.batch.fitted.drying
    if drying is None or drying.wettest_tray == BED:
        return None
    hour = asked.batch.fitted.hour(asked.batch.now)
    about = drying.state(hour, drying.wettest_tray)
    return of_drying(asked.batch.history, drying, hour, asked.words, (about[0], 2.0 * about[1]), drying.wettest_tray)


def _least(asked: Asked) -> Explanation | None:
    card, drying, words = _card(asked), asked.batch.fitted.drying, asked.words
    if card is None or card.forecast is None or drying is None:
        return None
    last, least = drying.air.pieces[-1], card.forecast.equilibrium
    more = float(drying.posterior.parameters[3])
    held = max(last.equilibrium_db + more, 0.0)
    damp = words.percent(last.relative_humidity, decimals=0)
    terms = (
        Term(
            "Xₑ",
            f"the table’s for malt in air of {words.temperature(last.temperature_c)} at {damp}",
            f"{last.equilibrium_db:.4f} kg/kg",
            last.equilibrium_db,
            mark="T",
        ),
        Term("e", "what its own weighings put on top", f"{more:+.4f} kg/kg", more),
    )
    said = words.percent(least.moisture_wb, least.half_width)
    lines = (
        Line("X", "Xₑ + e", held, said=f"{held:.4f} kg/kg"),
        Line("M", "X / (1 + X)", least.moisture_wb, said=said),
    )
    shares = (Share("published tables for one grain lie that far apart", HALF_WIDTH_WB),)
    return Explanation(
        "sorption.equilibrium_moisture_wb", "wb", least.moisture_wb, terms, lines, shares, half_width=least.half_width
    )


def _work(asked: Asked) -> Explanation | None:
    card, drying, words = _card(asked), asked.batch.fitted.drying, asked.words
    dry_kg, now = asked.batch.fitted.dry_kg, asked.batch.forecast.moisture
    if card is None or card.forecast is None or card.forecast.work is None or drying is None:
        return None
    assert dry_kg is not None
    assert now.central is not None
    work, target = card.forecast.work, card.forecast.target_wb
    terms = [
        Term("D", "dry matter in the batch", words.mass(dry_kg), dry_kg, "kg", asked.batch.history.charges),
        Term("M", "moisture now", words.percent(now.central), now.central),
        Term(
            "M₁",
            WANTED,
            words.percent(target),
            target,
            mark=_target_mark(asked),
        ),
    ]
    lines = [Line("W", "D × (M / (1 − M) − M₁ / (1 − M₁))", work.water_kg, "kg", words.mass(work.water_kg))]
    if work.water_kg > 0.0:
        per_kg = work.heat_mj / work.water_kg
        air = drying.air.at(asked.batch.fitted.hour(asked.batch.now))
        what = f"heat for a kg of water, at the least, in air of {words.temperature(air.temperature_c)}"
        terms.append(Term("h", what, f"{per_kg:.2f} MJ", per_kg, "MJ", mark="D"))
        lines.append(Line("Q", "W × h", work.heat_mj, "MJ", f"{work.heat_mj:.1f} MJ"))
    return Explanation(
        "humid_air.drying_duty", "kg" if work.water_kg > 0.0 else "", work.water_kg or None, tuple(terms), tuple(lines)
    )


def _break(asked: Asked) -> Explanation | None:
    card, words, drying = _card(asked), asked.words, asked.batch.fitted.drying
    if card is None or card.forecast is None or drying is None:
        return None
    broke = card.forecast.broke
    if broke is None:
        shown = of_when(asked, card.forecast.break_due, BED)
        return None if shown is None else replace(shown, method=BREAK)
    if broke.basis == "air_off":
        how = "From then on the air lost less than half of what it had lost in the bed while it dried steadily."
    else:
        how = (
            f"From then on {broke.tray or 'the tray'} lost less in an hour than half of what it had lost while steady."
        )
    shown = of_drying(asked.batch.history, drying, asked.batch.fitted.hour(broke.at), words)
    probe = asked.batch.history.readings("air_off_temperature") if broke.basis == "air_off" else shown.others
    return Explanation(
        BREAK, "moment", broke.at, shown.terms, shown.lines, notes=(how,), model=shown.model, others=tuple(probe)
    )


def _above(asked: Asked) -> Explanation | None:
    """Hours and degree-hours in one figure."""
    shown = MEASURES["hours_above_ceiling"](asked)
    return None if shown is None else replace(shown, unit="", value=None)


KILN: Mapping[str, Explain] = {
    "above": _above,
    "ceiling": ceiling,
    "dry": dry,
    "wettest": _wettest,
    "least": _least,
    "work": _work,
    "break": _break,
}


def _of_card(asked: Asked) -> Explanation | None:
    family, _, name = asked.name.partition(".")
    explain = KILN.get(family)
    return explain(asked._replace(name=name)) if explain is not None else None


EXPLAINED: Mapping[str, Explain] = {"kiln": _of_card, "stop": stop}
