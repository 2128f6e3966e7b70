"""What one entry tells, with its values put in: a moisture, a count, a test; and of any other, how it was come by."""

from __future__ import annotations

from app.judgement.explained.explanation import Explanation, Line, Term
from app.judgement.explained.measures import METHOD_OF_TEST, of_growth_count, of_share, of_test
from app.judgement.explained.moisture import of_sample
from app.judgement.facts.kinds import KINDS
from app.judgement.facts.shapes import Fact, Part, Reading, Result, Tally, Weighing
from app.judgement.forecasts.moisture import determination_of
from app.judgement.grain.counts import counted_share, growth_of
from app.judgement.history.history import History
from app.judgement.wording import Words

SHAPES = {
    "reading": "readings",
    "weighing": "weights",
    "part": "weights",
    "tally": "counts",
    "result": "readings",
    "analysis": "readings",
    "action": "hours",
    "stage": "hours",
    "remark": "flags",
    "answer": "flags",
    "withdrawal": "readings",
}
"""Where entries of a shape lead that have no formula of their own."""


def method_of(kind: str) -> str:
    """The formula of a kind, or the section on entries of its shape."""
    known = KINDS[kind]
    return known.formula or SHAPES[known.shape_name]


def of_fact(fact: Fact, history: History | None, words: Words) -> Explanation:
    """history: of the batch that it is about, where it is about one."""
    sample = determination_of(history, fact) if history is not None else None
    if history is not None and sample is not None:
        return of_sample(history, sample, words)
    if isinstance(fact, Tally):
        return _of_tally(fact, words)
    if isinstance(fact, Result) and fact.kind in METHOD_OF_TEST:
        return _of_test(fact, words)
    if isinstance(fact, Weighing):
        return _of_weighing(fact, words)
    if isinstance(fact, Part):
        return _of_part(fact, words)
    if isinstance(fact, Reading) and fact.value is not None and fact.correction:
        return _of_reading(fact, words)
    return Explanation(method_of(fact.kind), "", None, others=(fact,))


def _of_tally(fact: Tally, words: Words) -> Explanation:
    grown = growth_of(fact) if fact.kind == "growth_count" else None
    if grown is not None:
        return of_growth_count(grown)
    if len(fact.counts) == 1 and fact.looked_at:
        ((_, found),) = fact.counts.items()
        return of_share(counted_share(found, fact.looked_at), (fact,), "found among them", words)
    return Explanation(method_of(fact.kind), "", None, others=(fact,))


def _of_test(fact: Result, words: Words) -> Explanation:
    term = of_test(fact, words)
    line = Line("y", "x", term.value, said=term.said)
    if fact.kind == "extract_mash":
        return _of_mash(fact, term)
    if fact.kind == "conversion_test":
        terms = (
            Term(
                "t₀",
                "the reference malt took",
                words.quantity("conversion_time", fact.beside["reference_min"]),
                fact.beside["reference_min"],
                "min",
                (fact,),
            ),
            Term("t", "this malt took", words.quantity("conversion_time", fact.value), fact.value, "min", (fact,)),
        )
        line = Line("P", "t₀ / t", term.value, said=f"{term.value:.2f}")
        return Explanation(METHOD_OF_TEST[fact.kind], "ratio", term.value, terms, (line,))
    return Explanation(METHOD_OF_TEST[fact.kind], "", None, (term,), (line,))


def _of_mash(fact: Result, term: Term) -> Explanation:
    beside = fact.beside
    moisture = 100.0 * beside["moisture_wb"]
    terms = (
        Term("P", "extract in the wort", f"{fact.value:.2f} °P", fact.value, facts=(fact,)),
        Term("M", "moisture of the malt, %", f"{moisture:.1f} %", moisture, facts=(fact,)),
        Term("W", "water", f"{1000.0 * beside['water_kg']:.0f} g", 1000.0 * beside["water_kg"], "g", (fact,)),
        Term("m", "malt", f"{1000.0 * beside['malt_kg']:.1f} g", 1000.0 * beside["malt_kg"], "g", (fact,)),
    )
    as_is = fact.value * (moisture + 100.0 * beside["water_kg"] / beside["malt_kg"]) / (100.0 - fact.value)
    lines = (
        Line("E", "P × (M + 100 × W / m) / (100 − P)", as_is, said=f"{as_is:.1f} % of the malt as it is"),
        Line("E₁", "100 × E / (100 − M) / 100", term.value, said=f"{term.said} of the dry malt"),
    )
    return Explanation(METHOD_OF_TEST[fact.kind], "fraction", term.value, terms, lines)


def _of_weighing(fact: Weighing, words: Words) -> Explanation:
    method = method_of(fact.kind)
    if fact.gross_kg is None or not fact.tare_kg:
        return Explanation(method, "", None, others=(fact,))
    terms = (
        Term("G", "gross", words.mass(fact.gross_kg), fact.gross_kg, "kg", (fact,)),
        Term("T", "tare", words.mass(fact.tare_kg), fact.tare_kg, "kg", (fact,)),
    )
    return Explanation(method, "", None, terms, (Line("m", "G − T", fact.net_kg, "kg", words.mass(fact.net_kg)),))


def _of_part(fact: Part, words: Words) -> Explanation:
    terms = (
        Term("m", "as it is", words.mass(fact.as_is_kg), fact.as_is_kg, "kg", (fact,)),
        Term("M", "its moisture", words.percent(fact.moisture_wb), fact.moisture_wb, facts=(fact,)),
    )
    line = Line("D", "m × (1 − M)", fact.dry_kg, "kg", f"{words.mass(fact.dry_kg)} of dry matter")
    return Explanation(method_of(fact.kind), "", None, terms, (line,))


def _of_reading(fact: Reading, words: Words) -> Explanation:
    assert fact.value is not None
    spec = next(iter(KINDS[fact.kind].fields.values()))
    dimension = getattr(spec, "dimension", "")
    read = fact.value - fact.correction
    said = words.quantity(dimension, read) if dimension else f"{read:g}"
    terms = (
        Term("v", "as the instrument showed it", said, read, facts=(fact,)),
        Term("c", "its correction, by its last calibration", f"{fact.correction:+.2f}", fact.correction),
    )
    shown = words.quantity(dimension, fact.value) if dimension else f"{fact.value:g}"
    return Explanation("readings", "", None, terms, (Line("V", "v + c", fact.value, said=shown),))
