"""A moisture with its values put in: as it was weighed or tested, or read from the curve between and after."""

from __future__ import annotations

import math
from datetime import datetime

from app.judgement.explained.explanation import Explanation, Line, Share, Term, numbered
from app.judgement.explained.models import of_law
from app.judgement.facts.kinds import KINDS
from app.judgement.facts.shapes import Part, Weighing
from app.judgement.forecasts.forecast import fit
from app.judgement.forecasts.moisture import MoistureSample, loaded_with, moisture_at, samples
from app.judgement.forecasts.trusted import trusted
from app.judgement.grain.charges import first_charges, part_moisture_sd
from app.judgement.grain.losses import losses_between
from app.judgement.grain.moisture_samples import BAG_LIKE_SD, SCALE_SD, Against, against_of, film_left, film_of
from app.judgement.grain.moisture_trays import tray_against
from app.judgement.history.history import History
from app.judgement.wording import Words
from app.science import moisture as science

BY_WEIGHT = "1 − m₀ × (1 − M₀) × (1 − L) / m − f"
BY_TRAY = "1 − m₀ × (1 − M₀) / m"
OF_SCALE = "the scale, at this weighing"
OF_SCALE_FIRST = "the scale, at the first weighing"
OF_START = "the moisture to begin with"


def of_moment(history: History, at: datetime, words: Words) -> Explanation | None:
    """The moisture of a batch at a moment; None where nothing tells it."""
    history = trusted(history)
    estimate = moisture_at(history, at)
    if estimate is None or estimate.sample is None:
        return None
    if not estimate.is_estimate:
        return of_sample(history, estimate.sample, words)
    story = fit(history).story
    law = story.law_at(history.hour(at)) if story is not None else None
    if law is None:
        return None
    if not estimate.is_told:
        why = (
            "Nothing was weighed or tested since it was loaded: by the air’s plan alone it may be anything in between."
        )
        return Explanation("kiln_bed.moisture_after_db", "wb", None, notes=(why,), at=at, others=estimate.sample.facts)
    return of_law(history, law, at, words, estimate)


def of_sample(history: History, sample: MoistureSample, words: Words) -> Explanation:
    """One determination, or the mean of several made together."""
    if sample.others:
        return _of_mean(history, sample, words)
    if isinstance(sample.fact, Weighing) and sample.basis in ("test_bag", "charge_weighing", "tray"):
        loaded = loaded_with(history) if sample.basis == "tray" else None
        is_tray = loaded is not None
        against = tray_against(history, sample.fact, loaded) if loaded else against_of(history, sample.fact)
        if against is not None:
            return _by_tray(history, sample, against, words) if is_tray else _by_weight(history, sample, against, words)
    return _as_told(history, sample, words)


def _masses(history: History, weighing: Weighing, against: Against, words: Words) -> list[Term]:
    start = against.start
    charges = tuple(part for part in history.charges if part.at <= weighing.at)
    first = "the charge, less what was taken out since" if start is None else "the grain as it was weighed first"
    # How moist a bag was is told with it, or with the charge; a tray's is what the batch had come to.
    told = (start,) if start is not None and start.moisture_wb is not None else ()
    moisture = told or (charges if weighing.kind != "tray" else ())
    return [
        Term("m", "the grain now, net", words.mass(against.net_kg), against.net_kg, "kg", (weighing,)),
        Term("m₀", first, words.mass(against.first_kg), against.first_kg, "kg", charges if start is None else (start,)),
        Term("M₀", "its moisture then", words.percent(against.moisture_wb), against.moisture_wb, facts=moisture),
    ]


def _by_weight(history: History, sample: MoistureSample, against: Against, words: Words) -> Explanation:
    weighing = sample.fact
    assert isinstance(weighing, Weighing)
    loss, film = losses_between(history, against.since, weighing.at), film_of(weighing)
    clings = film_left(history, weighing.at)
    terms = _masses(history, weighing, against, words)
    said, by = words.percent(loss.total, 2.0 * loss.sd), "the programme’s figures and the hours"
    terms.append(Term("L", "dry matter gone with water and breath", said, loss.total, mark="M", source=by))
    way = dict(KINDS[weighing.kind].methods).get(weighing.method or "", "not said how it was made ready")
    points = clings * film.points
    faded = "" if clings == 1.0 else f"; {100.0 * clings:.0f} % of it is left since it was last wet"
    what = f"the film of water on it, {way}{faded}"
    terms.append(Term("f", what, f"{points:.2g} points", points / 100.0, mark="M"))
    formula = BY_WEIGHT if points else BY_WEIGHT.removesuffix(" − f")
    shares = [
        Share(OF_SCALE, 2.0 * (1.0 - sample.moisture_wb) * SCALE_SD * against.step_kg / against.net_kg, "M"),
        Share("the film of water", 2.0 * clings * film.sd_points / 100.0, film.mark),
        Share(OF_SCALE_FIRST, _reach(against, loss.total, initial_mass_sd_kg=SCALE_SD * against.first_step_kg), "M"),
        Share(OF_START, _reach(against, loss.total, initial_moisture_sd=against.moisture_sd)),
        Share("the dry matter lost", _reach(against, loss.total, dry_loss_sd=loss.sd), "M"),
    ]
    if weighing.kind == "test_bag":
        shares.append(Share("the bag being like the tub", 2.0 * BAG_LIKE_SD, "M"))
    return _told("moisture.moisture_wb_with_sd", sample, formula, terms, shares, words)


def _by_tray(history: History, sample: MoistureSample, against: Against, words: Words) -> Explanation:
    weighing = sample.fact
    assert isinstance(weighing, Weighing)
    now_sd, first_sd = SCALE_SD * against.step_kg, SCALE_SD * against.first_step_kg
    shares = [
        Share(OF_SCALE, _reach(against, 0.0, mass_sd_kg=now_sd), "M"),
        Share(OF_SCALE_FIRST, _reach(against, 0.0, initial_mass_sd_kg=first_sd), "M"),
        Share("the moisture that it was loaded with", _reach(against, 0.0, initial_moisture_sd=against.moisture_sd)),
    ]
    terms = _masses(history, weighing, against, words)
    return _told("moisture.tray_moisture_wb", sample, BY_TRAY, terms, shares, words)


def _reach(against: Against, dry_loss: float, **sd: float) -> float:
    """What one standard uncertainty alone makes of the moisture, as 95 % half-width."""
    none = dict.fromkeys(("mass_sd_kg", "initial_mass_sd_kg", "initial_moisture_sd", "dry_loss_sd"), 0.0)
    of = science.moisture_wb_with_sd
    return 2.0 * of(against.net_kg, against.first_kg, against.moisture_wb, dry_loss, **(none | sd))[1]


def _told(
    method: str, sample: MoistureSample, formula: str, terms: list[Term], shares: list[Share], words: Words
) -> Explanation:
    said = words.percent(sample.moisture_wb, sample.half_width)
    return Explanation(
        method,
        "wb",
        sample.moisture_wb,
        tuple(terms),
        (Line("M", formula, sample.moisture_wb, said=said),),
        tuple(shares),
        half_width=sample.half_width,
        at=sample.at,
    )


def _of_mean(history: History, sample: MoistureSample, words: Words) -> Explanation:
    """Of several together: each counts by how sure it is."""
    alone = [each for each in samples(history) if each.fact.id in {fact.id for fact in sample.facts}]
    terms, ups, downs = [], [], []
    for place, each in enumerate(alone, 1):
        weight, value = numbered("w", place), numbered("M", place)
        sure = 1.0 / max(each.sd, 1e-4) ** 2 / 1e4
        terms.append(
            Term(
                value,
                each.place or "one of them",
                words.percent(each.moisture_wb, each.half_width),
                each.moisture_wb,
                "",
                (each.fact,),
            )
        )
        terms.append(Term(weight, "its weight, 1 / (100 u)²", f"u = {100.0 * each.sd:.2f} points", sure))
        ups.append(f"{weight} × {value}")
        downs.append(weight)
    formula = f"({' + '.join(ups)}) / ({' + '.join(downs)})"
    others = math.sqrt(max(sample.sd**2 - sample.shared_sd**2, 0.0))
    shares = [
        Share("each by itself, and how far they lie apart", 2.0 * others),
        Share("what they have alike: their start, and the way of weighing", 2.0 * sample.shared_sd),
    ]
    return _told(_method_of(sample), sample, formula, terms, shares, words)


def _as_told(history: History, sample: MoistureSample, words: Words) -> Explanation:
    """As it was tested, or told with a weighing or a charge."""
    fact = sample.fact
    said = words.percent(sample.moisture_wb)
    if isinstance(fact, Part):
        return _of_charge(history, fact, sample, words)
    way = dict(KINDS[fact.kind].methods).get(fact.method or "", "")
    what = f"tested, {way}" if way else "as it was tested or told"
    share = Share(
        "the way of testing" if sample.basis == "tested" else "that nobody said how it is known", sample.half_width, "M"
    )
    term = Term("M₁", what, said, sample.moisture_wb, "", (fact,))
    return _told(_method_of(sample), sample, "M₁", [term], [share], words)


def _of_charge(history: History, fact: Part, sample: MoistureSample, words: Words) -> Explanation:
    parts = next((group for group in first_charges(history) if fact in group), (fact,))
    mass = sum(part.as_is_kg for part in parts)
    terms, ups, downs, shares = [], [], [], []
    for place, part in enumerate(parts, 1):
        kg, wb = numbered("m", place), numbered("M", place)
        terms.append(Term(kg, "charged", words.mass(part.as_is_kg), part.as_is_kg, "kg", (part,)))
        terms.append(Term(wb, "its moisture", words.percent(part.moisture_wb), part.moisture_wb, "", (part,)))
        ups.append(f"{kg} × {wb}")
        downs.append(kg)
        how = "the moisture of it, assumed" if part.method == "assumed" else "the moisture of it, as it was told"
        mark = "C" if part.method == "assumed" else "M"
        shares.append(Share(how, 2.0 * part.as_is_kg / mass * part_moisture_sd(part), mark))
    formula = f"({' + '.join(ups)}) / ({' + '.join(downs)})"
    return _told("moisture.blended_moisture_wb", sample, formula, terms, shares, words)


def _method_of(sample: MoistureSample) -> str:
    by_basis = {
        "tested": "moisture_methods.oven_moisture_wb",
        "tray": "moisture.tray_moisture_wb",
        "outturn": "readings",
    }
    return by_basis.get(sample.basis, "moisture.moisture_wb_with_sd")
