"""The measures of a batch with their values put in."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping

from app.judgement.batch_at import BatchAt
from app.judgement.explained.explanation import Asked, Explanation, Line, Share, Term, numbered, sum_of
from app.judgement.explained.moisture import of_moment, of_sample
from app.judgement.facts.kind_parts import GROWTH_CLASSES
from app.judgement.facts.shapes import Fact, Part, Result, Tally, Weighing
from app.judgement.flags import evaluate
from app.judgement.forecasts.moisture import charged, dry_kg_of
from app.judgement.grain.counts import OVERGROWN_AS, CountedShare, GrowthCount
from app.judgement.history.stages import Stage
from app.judgement.malt.dryness import dried_samples, last_known, outturn_moisture
from app.judgement.malt.tests import extract_of, results
from app.judgement.measures.account import Account, account_of
from app.judgement.measures.account_lines import AccountLine
from app.judgement.measures.batch import measures
from app.judgement.measures.measure import Measure, looks_over_time, readings_in
from app.judgement.measures.rejects import reject_share
from app.judgement.measures.steep import STEEPING, chits_at_cast, last_growth
from app.judgement.watch.bed_ahead import beds_of
from app.judgement.watch.exposure import kiln_exposure
from app.judgement.wording import Words

Explain = Callable[[Asked], Explanation | None]
WILSON = "proportions.wilson_interval"
BY_SCALE = "the scale: its step, and how true it is"
Z95 = 1.959963984540054


def _measure(batch: BatchAt, key: str) -> Measure:
    """As the pages have it, but for the flags."""
    return next(each for each in measures(batch.whole, batch.now, ()) if each.key == key)


def as_is_kg(fact: Fact) -> float:
    """The mass of a weighing or a part, as it was."""
    return fact.as_is_kg if isinstance(fact, Part) else fact.net_kg if isinstance(fact, Weighing) else 0.0


def _weighed(line: AccountLine, words: Words) -> list[Term]:
    return [Term("m", "weighed", words.mass(as_is_kg(fact)), as_is_kg(fact), "kg", (fact,)) for fact in line.facts]


def _mass(method: str, line: AccountLine | None, measure: Measure, words: Words) -> Explanation | None:
    if line is None or measure.value is None:
        return None
    formula, terms = sum_of("m", _weighed(line, words))
    half_width = measure.half_width or 0.0
    lines = (Line("W", formula, measure.value, "kg", words.mass(measure.value, half_width)),)
    shares = (Share(BY_SCALE, half_width, "M"),)
    return Explanation(method, "kg", measure.value, terms, lines, shares, half_width=half_width)


def _charged(asked: Asked) -> Explanation | None:
    line = asked.batch.once(account_of).charge
    return _mass("weights", line, _measure(asked.batch, "charged_kg"), asked.words)


def _outturn(asked: Asked) -> Explanation | None:
    line = asked.batch.once(account_of).line("outturn")
    return _mass("weights", line, _measure(asked.batch, "outturn_kg"), asked.words)


def of_share(share: CountedShare, facts: tuple[Fact, ...], what: str, words: Words) -> Explanation:
    """So many of so many kernels, with Wilson's interval."""
    k, n = float(share.found), float(share.n)
    terms = (
        Term("k", what, f"{share.found}", k, facts=facts),
        Term("n", "kernels looked at", f"{share.n}", n, facts=facts),
        Term("z", "for 95 times in 100", "1.96", Z95, mark="P"),
    )
    root = "z × √(k × (n − k) / n + z^2 / 4)"
    lines = (
        Line("p", "k / n", share.share, said=words.percent(share.share, decimals=1)),
        Line("low", f"(k + z^2 / 2 − {root}) / (n + z^2)", share.low, said=words.percent(share.low, decimals=1)),
        Line("high", f"(k + z^2 / 2 + {root}) / (n + z^2)", share.high, said=words.percent(share.high, decimals=1)),
    )
    note = "The interval holds what so few kernels leave open; it is lopsided near 0 and 100 %."
    return Explanation(WILSON, "fraction", share.share, terms, lines, notes=(note,))


def _rejects(asked: Asked) -> Explanation | None:
    rejected = reject_share(asked.batch.history, asked.batch.now)
    start = charged(asked.batch.history, asked.batch.now)
    if rejected is None:
        return None
    if rejected.n:
        floated = sum(fact.counts.get("floated", 0) for fact in rejected.facts if isinstance(fact, Tally))
        counted = CountedShare(floated, rejected.n, rejected.low, rejected.high)
        return of_share(counted, rejected.facts, "kernels that floated", asked.words)
    assert start is not None
    skimmed = [
        Term("d", "skimmed off, dry", asked.words.mass(dry), dry, "kg", (fact,))
        for fact in rejected.facts
        if isinstance(fact, Weighing) and (dry := dry_kg_of(asked.batch.history, fact)) is not None
    ]
    formula, terms = sum_of("d", skimmed)
    of_kg = sum(term.value for term in skimmed) / rejected.share if rejected.share else start.dry_kg
    whole = Term(
        "D", "what they were skimmed from, dry", asked.words.mass(of_kg), of_kg, "kg", asked.batch.history.charges
    )
    said = asked.words.percent(rejected.share, rejected.half_width)
    lines = (Line("s", f"({formula}) / D", rejected.share, said=said),)
    shares = (Share("the scale, and the moisture taken for wet skimmings", rejected.half_width, "M"),)
    return Explanation(
        "mass_balance.skimmings_share",
        "fraction",
        rejected.share,
        (*terms, whole),
        lines,
        shares,
        half_width=rejected.half_width,
    )


def _hours(*names: str) -> Explain:
    def explain(asked: Asked) -> Explanation | None:
        batch, words = asked.batch, asked.words
        found = batch.stages_named(*names)
        if not found:
            return None
        terms = [_stretch(batch, stage, words) for stage in found]
        formula, named = sum_of("t", terms)
        total = sum(stage.hours(batch.now) for stage in found)
        return Explanation("hours", "h", total, named, (Line("T", formula, total, "h", f"{total:.1f} h"),))

    return explain


def _stretch(batch: BatchAt, stage: Stage, words: Words) -> Term:
    ends = batch.end_of(stage)
    closing = next((each.fact_id for each in batch.stages if each.starts_at == stage.ends_at), None)
    told = (batch.history.by_id(each) for each in (stage.fact_id, closing) if each)
    until = words.clock(ends) if stage.ends_at else "now"
    said = f"{words.clock(stage.starts_at)} to {until}"
    return Term("t", stage.word, said, stage.hours(batch.now), "h", tuple(fact for fact in told if fact is not None))


def _mean(kind: str, *names: str) -> Explain:
    def explain(asked: Asked) -> Explanation | None:
        looks, words = looks_over_time(asked.batch, kind, *names), asked.words
        if not looks:
            return None
        readings = tuple(reading for look, _, _ in looks for reading in look)
        total, hours = sum(value * held for _, value, held in looks), sum(held for _, _, held in looks)
        mean = total / hours
        terms = (
            Term(
                "S",
                f"each of {len(looks)} looks times the hours nearest to it, added up",
                f"{total:.1f} °C·h",
                total,
                "°C·h",
                readings,
            ),
            Term("t", "those hours", f"{hours:.1f} h", hours, "h"),
        )
        line = Line("T", "S / t", mean, "°C", words.temperature(mean))
        return Explanation("means", "c", mean, terms, (line,))

    return explain


def _hottest(*names: str) -> Explain:
    def explain(asked: Asked) -> Explanation | None:
        readings = [each for group in readings_in(asked.batch, "grain_temperature", *names) for each in group]
        read = [(value, each) for each in readings for value in (each.value, each.highest) if value is not None]
        if not read:
            return None
        value, reading = max(read, key=lambda pair: pair[0])
        said = asked.words.temperature(value)
        term = Term("", f"the highest of {len(readings)} readings", said, value, "°C", (reading,))
        return Explanation("means", "c", value, (term,))

    return explain


def _turns(asked: Asked) -> Explanation | None:
    batch = asked.batch
    grown = batch.stages_named("germination")
    measure = _measure(batch, "turns")
    if not grown or measure.value is None:
        return None
    turns: list[Fact] = []
    for stage in grown:
        beds = beds_of(batch.history, stage, batch.end_of(stage))
        least = min(([turn for turn in bed.turns if turn.kind == "turned"] for bed in beds), key=len)
        turns += least
    terms = (Term("n", "turnings entered while it grew", f"{len(turns)}", float(len(turns)), facts=tuple(turns)),)
    note = ("Of several beds that which was turned least.",) if len(beds) > 1 else ()
    return Explanation("hours", "count", measure.value, terms if turns else (), notes=note)


def _cast_moisture(asked: Asked) -> Explanation | None:
    casts = asked.batch.stages_named("germination")
    return of_moment(asked.batch.history, casts[0].starts_at, asked.words) if casts else None


def _cast_chits(asked: Asked) -> Explanation | None:
    count = chits_at_cast(asked.batch)
    return None if count is None else of_share(count.shares["chitted"], (count.fact,), "chitted", asked.words)


def of_growth_count(count: GrowthCount) -> Explanation:
    """The mean of a count, by lengths or by classes."""
    formula, terms = _lengths(count)
    n = Term("n", "kernels with a length", f"{count.n}", float(count.n), facts=(count.fact,))
    line = Line("l", f"({formula}) / n", count.mean, said=f"{count.mean:.2f} kernel lengths")
    way = (
        "so few were counted"
        if count.is_from_lengths
        else "so few were counted, and classes hide where in them they lie"
    )
    return Explanation(
        "growth.mean_acrospire_with_sd",
        "kernel_lengths",
        count.mean,
        (*terms, n),
        (line,),
        (Share(way, count.half_width),),
        half_width=count.half_width,
    )


def _lengths(count: GrowthCount) -> tuple[str, tuple[Term, ...]]:
    fact = count.fact
    if count.is_from_lengths:
        total = math.fsum(fact.lengths)
        return "Σl", (Term("Σl", "all lengths together", f"{total:.2f}", total, facts=(fact,)),)
    middles = (*(0.125 + 0.25 * place for place in range(4)), OVERGROWN_AS)
    terms = [
        Term(
            numbered("n", place),
            f"{word}, counted as {middle:g}",
            f"{fact.counts.get(name, 0)}",
            float(fact.counts.get(name, 0)),
            facts=(fact,),
        )
        for place, ((name, word), middle) in enumerate(zip(GROWTH_CLASSES.items(), middles, strict=True), 1)
    ]
    return " + ".join(f"{middle:g} × {term.symbol}" for middle, term in zip(middles, terms, strict=True)), tuple(terms)


def _acrospire(asked: Asked) -> Explanation | None:
    count = last_growth(asked.batch)
    return None if count is None else of_growth_count(count)


def _spread(asked: Asked) -> Explanation | None:
    count = last_growth(asked.batch)
    if count is None:
        return None
    squares = count.sd**2 * (count.n - 1)
    terms = (
        Term(
            "S", f"squared distances from the mean of {count.mean:.2f}", f"{squares:.3f}", squares, facts=(count.fact,)
        ),
        Term("n", "kernels with a length", f"{count.n}", float(count.n), facts=(count.fact,)),
    )
    line = Line("s", "√(S / (n − 1))", count.sd, said=f"{count.sd:.2f} kernel lengths")
    return Explanation("growth.acrospire_sd", "kernel_lengths", count.sd, terms, (line,))


def _overgrown(asked: Asked) -> Explanation | None:
    count = last_growth(asked.batch)
    return None if count is None else of_share(count.overgrown, (count.fact,), "longer than the kernel", asked.words)


def _above(is_degrees: bool) -> Explain:
    def explain(asked: Asked) -> Explanation | None:
        words, exposure = asked.words, kiln_exposure(asked.batch.history, asked.batch.now)
        if exposure is None:
            return None
        value = exposure.degree_hours if is_degrees else exposure.hours
        spans = [
            Term(
                "E" if is_degrees else "t",
                f"{words.clock(span.starts_at)} to {words.clock(span.ends_at)}, at worst "
                f"{words.temperature(span.worst_c)} of {words.temperature(span.worst_ceiling_c)} allowed",
                f"{span.degree_hours:.1f} °C·h" if is_degrees else words.span(span.hours),
                span.degree_hours if is_degrees else span.hours,
                "°C·h" if is_degrees else "h",
            )
            for span in exposure.spans
        ]
        formula, terms = sum_of(spans[0].symbol, spans) if spans else ("", ())
        unit, said = ("°C·h", f"{value:.1f} °C·h") if is_degrees else ("h", f"{value:.1f} h")
        is_whole = spans and math.isclose(sum(each.value for each in spans), value, rel_tol=1e-3)
        notes = (
            f"Of {exposure.measured_hours:.1f} h that were measured; between readings the temperature runs straight.",
            "The ceiling is the programme’s at the likeliest moisture of the wettest tray; untold, of wet grain.",
        )
        lines = (Line("E" if is_degrees else "T", formula, value, unit, said),) if is_whole else ()
        return Explanation(
            "enzymes.hours_and_degree_hours_above",
            "c_h" if is_degrees else "h",
            value,
            terms,
            lines,
            notes=notes,
            others=exposure.readings,
        )

    return explain


def _final_moisture(asked: Asked) -> Explanation | None:
    batch, words = asked.batch, asked.words
    measure = _measure(batch, "final_moisture")
    start = charged(batch.history, batch.now)
    if measure.value is None or start is None:
        return None
    weighed = [fact for fact in batch.history.of_shape(Weighing, "outturn") if start.at <= fact.at <= batch.now]
    moistures = [(each, outturn_moisture(batch.history, each, batch.now)) for each in weighed if each.net_kg > 0.0]
    tested = [(each, malt) for each, malt in moistures if malt.is_tested]
    if not tested:
        return _last_moisture(asked)
    terms: list[Term] = []
    for place, (fact, malt) in enumerate(tested, 1):
        told = next((each.fact for each in dried_samples(batch.history) if each.moisture_wb == malt.moisture_wb), fact)
        terms.append(Term(numbered("m", place), "malt, weighed", words.mass(fact.net_kg), fact.net_kg, "kg", (fact,)))
        said = words.percent(malt.moisture_wb, 2.0 * malt.sd)
        terms.append(
            Term(numbered("M", place), "its moisture, by the surest test near it", said, malt.moisture_wb, "", (told,))
        )
    places = range(1, len(tested) + 1)
    ups = " + ".join(f"{numbered('m', place)} × {numbered('M', place)}" for place in places)
    formula = f"({ups}) / ({' + '.join(numbered('m', place) for place in places)})"
    half_width = measure.half_width or 0.0
    line = Line("M", formula, measure.value, said=words.percent(measure.value, half_width))
    return Explanation(
        "moisture_methods.oven_moisture_wb",
        "wb",
        measure.value,
        tuple(terms),
        (line,),
        (Share("the way of testing", half_width, "M"),),
        half_width=half_width,
    )


def _last_moisture(asked: Asked) -> Explanation | None:
    """As last determined after the kiln."""
    batch = asked.batch
    if last_known(batch.history, batch.now, batch.now) is not None:
        return of_moment(batch.history, batch.now, asked.words)
    later = next((each for each in dried_samples(batch.history) if each.at <= batch.now), None)
    return of_sample(batch.history, later, asked.words) if later is not None else None


def _yield(asked: Asked) -> Explanation | None:
    batch, words = asked.batch, asked.words
    found, start = batch.once(account_of), charged(batch.history, batch.now)
    malt = found.line("outturn")
    if found.yield_as_is is None or start is None or malt is None or found.charge is None:
        return None
    out = found.outturn_as_is_kg or 0.0
    figure = found.yield_as_is
    terms = (
        Term("m", "malt, as it was weighed", words.mass(out), out, "kg", malt.facts),
        Term("m₀", "charged, as it was", words.mass(start.as_is_kg), start.as_is_kg, "kg", found.charge.facts),
        _kept(found, words),
    )
    shares = (
        Share(f"{BY_SCALE}, of the malt", 2.0 * figure.value * malt.scale_relative_sd, "M"),
        Share(f"{BY_SCALE}, of the charge", 2.0 * figure.value * found.charge.scale_relative_sd, "M"),
    )
    line = Line("Y", "m / (m₀ × k)", figure.value, said=words.percent(figure.value, figure.half_width))
    return Explanation("yield", "fraction", figure.value, terms, (line,), shares, half_width=figure.half_width)


def _kept(found: Account, words: Words) -> Term:
    gone = tuple(fact for line in found.lines if line.key in ("samples", "split_off") for fact in line.facts)
    what = "share of the charge left to become malt" + ("" if gone else ": nothing was taken out of it")
    return Term("k", what, words.percent(found.kept, decimals=1), found.kept, facts=gone)


def _malting_loss(asked: Asked) -> Explanation | None:
    words, found = asked.words, asked.batch.once(account_of)
    malt, charge, figure = found.line("outturn"), found.charge, found.malting_loss
    if figure is None or malt is None or charge is None:
        return None
    terms = (
        Term("D", "malt, dry", words.mass(malt.dry_kg, malt.half_width_kg), malt.dry_kg, "kg", malt.facts),
        Term("D₀", "charged, dry", words.mass(charge.dry_kg, charge.half_width_kg), charge.dry_kg, "kg", charge.facts),
        _kept(found, words),
    )
    whole = charge.dry_kg * found.kept
    shares = (
        Share("the malt, dry: its weight and its moisture", 2.0 * malt.sd_kg / whole),
        Share("the charge, dry: its weight and its moisture", 2.0 * malt.dry_kg / whole * charge.sd_kg / charge.dry_kg),
    )
    line = Line("L", "1 − D / (D₀ × k)", figure.value, said=words.percent(figure.value, figure.half_width))
    return Explanation(
        "mass_balance.dry_loss_with_sd", "fraction", figure.value, terms, (line,), shares, half_width=figure.half_width
    )


def _tested(kind: str, method: str, unit: str) -> Explain:
    def explain(asked: Asked) -> Explanation | None:
        tests = results(asked.batch.history, kind, asked.batch.now)
        measure = _measure(asked.batch, _KEY_OF_TEST[kind])
        if not tests or measure.value is None:
            return None
        terms = [of_test(test, asked.words) for test in tests]
        formula, named = sum_of("x", terms)
        n = Term("n", "tests", f"{len(tests)}", float(len(tests)))
        line = Line("x̄", f"({formula}) / n", measure.value, said="")
        half_width = measure.half_width
        why = "how far the tests lie apart" if measure.freedom else "the instrument and the moisture of the malt"
        shares = (Share(why, half_width),) if half_width else ()
        return Explanation(method, unit, measure.value, (*named, n), (line,), shares, half_width=half_width)

    return explain


def of_test(test: Result, words: Words) -> Term:
    """One test, as its figure goes into the mean."""
    if test.kind == "extract_mash":
        figure = extract_of(test)
        said = words.percent(figure.dry, 2.0 * figure.dry_sd)
        return Term("x", f"extract of a mash of {test.value:.1f} °P", said, figure.dry, facts=(test,))
    if test.kind == "conversion_test":
        reference = test.beside["reference_min"]
        said = f"{reference:.0f} min of the reference / {test.value:.0f} min"
        return Term("x", "power against the reference", said, reference / test.value, facts=(test,))
    return Term(
        "x", "as it was tested", words.quantity(test.kind.removeprefix("malt_"), test.value), test.value, facts=(test,)
    )


_KEY_OF_TEST = {
    "malt_colour": "malt_colour",
    "extract_mash": "extract_dry",
    "diastatic_power": "diastatic_power",
    "conversion_test": "conversion",
    "falling_number": "falling_number",
}
METHOD_OF_TEST = {
    "malt_colour": "malt_analysis.ebc_from_lovibond",
    "extract_mash": "malt_analysis.extract_dry_percent",
    "diastatic_power": "malt_analysis.windisch_kolbach_from_lintner",
    "conversion_test": "malt_analysis.conversion_against_reference",
    "falling_number": "flour.liquefaction_number",
}


def _flags(severity: str) -> Explain:
    def explain(asked: Asked) -> Explanation | None:
        flags = evaluate(asked.batch.whole, asked.batch.now, asked.words)
        named = tuple(
            f"{flag.title}, {asked.words.clock(flag.starts_at)}" for flag in flags if flag.severity == severity
        )
        return Explanation("flags", "count", float(len(named)), notes=named or ("None was raised.",))

    return explain


EXPLAINED: Mapping[str, Explain] = {
    "charged_kg": _charged,
    "reject_share": _rejects,
    "steep_h": _hours(*STEEPING),
    "immersion_h": _hours("immersion"),
    "air_rest_h": _hours("air_rest"),
    "water_temperature": _mean("water_temperature", "immersion"),
    "cast_moisture": _cast_moisture,
    "cast_chits": _cast_chits,
    "germination_h": _hours("germination"),
    "germination_temperature": _mean("grain_temperature", "germination"),
    "germination_temperature_max": _hottest("germination"),
    "turns": _turns,
    "acrospire": _acrospire,
    "acrospire_spread": _spread,
    "overgrown_share": _overgrown,
    "kiln_h": _hours("kilning"),
    "kiln_grain_max": _hottest("kilning"),
    "hours_above_ceiling": _above(False),
    "degree_hours_above_ceiling": _above(True),
    "final_moisture": _final_moisture,
    "outturn_kg": _outturn,
    "yield_as_is": _yield,
    "malting_loss": _malting_loss,
    "malt_colour": _tested("malt_colour", METHOD_OF_TEST["malt_colour"], "colour"),
    "extract_dry": _tested("extract_mash", METHOD_OF_TEST["extract_mash"], "fraction"),
    "diastatic_power": _tested("diastatic_power", METHOD_OF_TEST["diastatic_power"], "diastatic_power"),
    "conversion": _tested("conversion_test", METHOD_OF_TEST["conversion_test"], "ratio"),
    "falling_number": _tested("falling_number", METHOD_OF_TEST["falling_number"], "falling_number"),
    **{f"flags_{severity}": _flags(severity) for severity in ("notice", "caution", "act")},
}
