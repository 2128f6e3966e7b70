"""Workings of the lot: is it alive, how fast, how sure is a count, and do dishes agree."""

from __future__ import annotations

from app.science import germination, mass_balance, proportions
from app.web.workings.asking import choice, count, mass, number, row, share
from app.web.workings.asking import moisture as moist
from app.web.workings.working import Given, Outcome, Values, interval, percent, plain, working

SPECIES = (("barley", "barley"), ("wheat", "wheat"), ("rye", "rye"), ("oats", "oats"))
BY_CHANCE = "The interval is Wilson’s, 95 %: what chance leaves open with so few kernels."


@working(
    key="germinative-energy",
    group="lot",
    title="Does it grow, and does it drown?",
    question="I counted what grew in 4 mL and in 8 mL of water: what are germinative energy and water sensitivity?",
    asks={
        "species": choice("Grain", *SPECIES),
        "counts_4": row("Newly grown at 24, 48 and 72 h in 4 mL", "28 45 27", 0.0, 10_000.0),
        "kernels_4": count("Kernels laid out in 4 mL", "100", low=1),
        "counts_8": row("Newly grown at 24, 48 and 72 h in 8 mL", "54 38 3", 0.0, 10_000.0, optional=True),
        "kernels_8": count("Kernels laid out in 8 mL", "100", low=1),
    },
    methods=(
        "germination.germinative_energy",
        "germination.water_sensitivity",
        "germination.water_sensitivity_band",
        "germination.is_water_sensitive",
        "proportions.newcombe_interval",
        "germination.germination_index",
        "proportions.wilson_interval",
    ),
    limits="Counts are of kernels newly grown at each look, not running totals; give the true number laid out. One "
    "dish of 100 cannot tell 95 % from 98 %. It does not tell sleeping grain from dead: that takes the capacity.",
)
def germinative_energy(g: Given) -> Outcome:
    energy = germination.germinative_energy(g["counts_4"], g["kernels_4"])
    grown = sum(g["counts_4"][:3])
    low, high = proportions.wilson_interval(grown, g["kernels_4"])
    asked = germination.GERMINATIVE_ENERGY_REQUIRED[g["species"]]
    is_enough = energy >= asked.at_least_percent
    word = f"{'at least' if is_enough else 'under'} the {asked.at_least_percent:g} % asked for"
    sums = " + ".join(f"{each:g}" for each in g["counts_4"][:3])
    return Outcome(
        "Germinative energy, 4 mL",
        percent(g, energy / 100.0, decimals=1),
        ("100 (n₂₄ + n₄₈ + n₇₂) / N", f"100 × ({sums}) / {g['kernels_4']} = {energy:.2f} %"),
        (("95 % interval", interval(low, high)), *_index(g["counts_4"], "4 mL"), *_in_8_ml(g, energy)),
        note=f"{BY_CHANCE} Asked for by {asked.source}.",
        status="fine" if is_enough else "caution",
        word=word,
    )


def _in_8_ml(g: Given, energy: float) -> tuple[tuple[str, ...], ...]:
    if g["counts_8"] is None:
        return ()
    wet = germination.germinative_energy(g["counts_8"], g["kernels_8"])
    points = germination.water_sensitivity(g["counts_4"], g["kernels_4"], g["counts_8"], g["kernels_8"])
    grown, grown_8 = (sum(g[counts][:3]) for counts in ("counts_4", "counts_8"))
    low, high = proportions.wilson_interval(grown_8, g["kernels_8"])
    lowest, highest = (
        100 * end for end in proportions.newcombe_interval(grown, g["kernels_4"], grown_8, g["kernels_8"])
    )
    limit = germination.WATER_SENSITIVE_FROM_POINTS
    is_fine, is_sensitive = highest < limit, lowest >= limit
    rows = (
        ("Germinative energy, 8 mL", percent(g, wet / 100.0, decimals=1), f"95 % interval {interval(low, high)}"),
        (
            "Water sensitivity",
            plain(points, "points", decimals=1),
            f"{energy:.1f} − {wet:.1f}: {germination.water_sensitivity_band(points)}; "
            f"95 % interval {plain(lowest, decimals=0)} to {plain(highest, decimals=0)}",
            "fine" if is_fine else "caution" if is_sensitive else "notice",
            "not water sensitive" if is_fine else "short steeps, long air rests" if is_sensitive else "can’t tell",
        ),
    )
    return (*rows, *_index(g["counts_8"], "8 mL"))


def _index(counts: tuple[float, ...], where: str) -> tuple[tuple[str, ...], ...]:
    """Where not one kernel grew, there is no speed to tell."""
    if sum(counts) <= 0:
        return ()
    return ((f"Germination index, {where}", plain(germination.germination_index(counts), decimals=6)),)


@working(
    key="speed-of-germination",
    group="lot",
    title="How fast and how evenly does it grow?",
    question="How fast did it grow, and how much at once?",
    asks={
        "times": row("Times of the looks", "1 2 3 4 5 6 7 8 9 10 11 12 13 14", 0.0, 10_000.0),
        "counts": row("Newly grown at each", "0 0 0 0 4 17 10 7 1 0 1 0 0 0", 0.0, 10_000.0),
        "unit": choice("Times are in", ("d", "days"), ("h", "hours")),
    },
    methods=(
        "germination.t50",
        "germination.mean_time",
        "germination.mean_rate",
        "germination.time_variance",
        "germination.synchrony",
        "germination.uncertainty",
        "germination.uniformity",
    ),
    limits="Only of those that grew: a dead kernel is neither slow nor late. The two ways of T50 differ by little, and "
    "only numbers of the same way may be compared.",
)
def speed_of_germination(g: Given) -> Outcome:
    times, counts, unit = g["times"], g["counts"], g["unit"]
    middle = germination.mean_time(times, counts)
    parts = " + ".join(f"{n:g} × {t:g}" for n, t in zip(counts, times, strict=True) if n)
    rows = [("T50, as by Farooq 2005", plain(germination.t50(times, counts), unit, decimals=6))]
    rows += [("T50, as by Coolbear 1984", plain(germination.t50(times, counts, "coolbear"), unit, decimals=6))]
    rows += [("Uncertainty", plain(germination.uncertainty(times, counts), "bit", decimals=6))]
    if middle > 0:
        rows += [("Mean rate", plain(germination.mean_rate(times, counts), f"1/{unit}", decimals=6))]
    if sum(counts) >= 2:
        rows += [("Variance", plain(germination.time_variance(times, counts), f"{unit}²", decimals=6))]
        rows += [("Synchrony", plain(germination.synchrony(times, counts), decimals=6))]
    even = germination.uniformity(times, counts)
    rows += [("Uniformity", plain(even, f"1/{unit}²", decimals=6) if even < 1e12 else "all at once")]
    return Outcome(
        "Mean time to grow",
        plain(middle, unit, decimals=3),
        ("Σ n t / Σ n", f"({parts}) / {sum(counts):g} = {middle:.3f} {unit}"),
        tuple(rows),
        note="",
    )


@working(
    key="capacity-and-dormancy",
    group="lot",
    title="Is it dead, or asleep?",
    question="How much of the grain is alive (germination capacity), and how much of that is dormant?",
    asks={
        "species": choice("Grain", *SPECIES),
        "dead": count("Kernels that did not grow in peroxide", "6"),
        "kernels": count("Kernels steeped", "200", low=1),
        "energy": number("Germinative energy in 4 mL", "81", "%", 0, 100, optional=True),
    },
    methods=("germination.germination_capacity", "germination.dormancy", "proportions.wilson_interval"),
    limits="Peroxide wakes what sleeps; it does not say when the lot will wake by itself. Retest in two weeks.",
)
def capacity_and_dormancy(g: Given) -> Outcome:
    capacity = germination.germination_capacity(g["dead"], g["kernels"])
    low, high = proportions.wilson_interval(g["kernels"] - g["dead"], g["kernels"])
    asked = germination.GERMINATION_CAPACITY_REQUIRED[g["species"]]
    rows = [("95 % interval", interval(low, high))]
    if g["energy"] is not None:
        rows.append(("Dormancy", plain(germination.dormancy(capacity, g["energy"]), "points", decimals=1)))
    numbers = f"100 × ({g['kernels']} − {g['dead']}) / {g['kernels']} = {capacity:.2f} %"
    is_enough = capacity >= asked.at_least_percent
    return Outcome(
        "Germination capacity",
        percent(g, capacity / 100.0, decimals=1),
        ("100 (N − not grown) / N; dormancy = capacity − energy", numbers),
        tuple(rows),
        note=f"{BY_CHANCE} Asked for by {asked.source}.",
        status="fine" if is_enough else "caution",
        word=f"{'at least' if is_enough else 'under'} the {asked.at_least_percent:g} % asked for",
    )


@working(
    key="how-sure-is-a-count",
    group="lot",
    title="How sure is a count?",
    question="So many of those I looked at. What share of the whole lot may that be?",
    asks={
        "found": count("Found", "95"),
        "kernels": count("Looked at", "100", low=1),
        "next": count("The next dish will hold", "100", low=1, high=2000),
    },
    methods=("proportions.wilson_interval", "proportions.exact_interval", "proportions.prediction_range"),
    limits="Only chance is in it, and only if the kernels were taken blindly from the whole lot.",
)
def how_sure_is_a_count(g: Given) -> Outcome:
    low, high = proportions.wilson_interval(g["found"], g["kernels"])
    exact = proportions.exact_interval(g["found"], g["kernels"])
    ahead = proportions.prediction_range(g["found"], g["kernels"], g["next"])
    value = g["found"] / g["kernels"]
    return Outcome(
        "Share",
        percent(g, value, decimals=2),
        ("x / n", f"{g['found']} / {g['kernels']} = {100 * value:.2f} %"),
        (
            ("95 % interval to show (Wilson)", interval(low, high)),
            ("To accept or hold a lot by (exact)", interval(*exact)),
            (f"The next {g['next']} may well show", f"{ahead[0]} to {ahead[1]}"),
        ),
        note=BY_CHANCE,
    )


@working(
    key="kernels-to-look-at",
    group="lot",
    title="How many kernels must I look at?",
    question="Some kernels may be mouldy, split, ergot or of another grain. How many must I see, to find that?",
    asks={
        "share": share("To find a fault that so many have", "1", 0.0001, 0.99),
        "confidence": share("How sure I want to be", "95", 0.5, 0.9999),
        "looked": count("Looked at already, none found", "100", low=1, high=100_000),
    },
    methods=("proportions.kernels_to_find", "proportions.most_when_none_found"),
    limits="Only if the kernels are taken blindly from the whole lot, top, middle and bottom: a fault that lies in one "
    "corner is missed by any number from another. None found is never none there.",
)
def kernels_to_look_at(g: Given) -> Outcome:
    needed = proportions.kernels_to_find(g["share"], g["confidence"])
    most = proportions.most_when_none_found(g["looked"], g["confidence"])
    numbers = f"ln(1 − {g.say('confidence')}) / ln(1 − {g.say('share')}), rounded up = {needed}"
    return Outcome(
        "Look at",
        f"{needed}\u00a0kernels",
        ("ln(1 − sure) / ln(1 − share)", numbers),
        ((f"Not one in {g['looked']}: at the most", percent(g, most, decimals=2), f"{g.say('confidence')} sure"),),
        note="One found says it is there; how much of it there is, a count with its interval says.",
    )


@working(
    key="can-a-dish-tell-them-apart",
    group="lot",
    title="Can one dish tell two lots apart?",
    question="Is a dish of so many kernels enough to tell one quality from the other?",
    asks={
        "kernels": count("Kernels in the dish", "100", low=1, high=5000),
        "first": share("One share", "95"),
        "second": share("The other", "98"),
    },
    methods=("proportions.separates", "proportions.binomial_range"),
    limits="Both ranges hold what chance allows in 95 of 100 dishes; the lots must be well mixed.",
)
def can_a_dish_tell_them_apart(g: Given) -> Outcome:
    is_enough = proportions.separates(g["kernels"], g["first"], g["second"])
    ranges = [proportions.binomial_range(g[key], g["kernels"]) for key in ("first", "second")]
    said = [f"{low} to {high} of {g['kernels']}" for low, high in ranges]
    return Outcome(
        "One dish of so many",
        "tells them apart" if is_enough else "cannot tell them apart",
        ("the ranges that chance allows have no count in common", f"{said[0]} and {said[1]}"),
        ((f"A lot of {g.say('first')} shows", said[0]), (f"A lot of {g.say('second')} shows", said[1])),
        note="",
        status="fine" if is_enough else "caution",
        word="enough" if is_enough else "count more kernels",
    )


@working(
    key="do-the-dishes-agree",
    group="lot",
    title="Do the dishes agree?",
    question="My dishes of one lot differ. Is that chance, or was something wrong?",
    asks={
        "found": row("Grown in each dish", "98 96 92 94", 0.0, 2000.0, fewest=2),
        "kernels": row("Kernels in each; one number if all alike", "100", 1.0, 2000.0),
    },
    methods=("proportions.replicates_agree", "proportions.ista_tolerated_range", "proportions.tolerated_range"),
    limits="Dishes that agree may still all be wrong: too warm, too wet, too dry.",
)
def do_the_dishes_agree(g: Given) -> Outcome:
    counts = [_whole(each) for each in g["found"]]
    kernels = [_whole(each) for each in g["kernels"]]
    kernels = kernels * len(counts) if len(kernels) == 1 else kernels
    agreement = proportions.replicates_agree(counts, kernels)
    numbers = f"{agreement.range_points:.2f} against {agreement.tolerated_points:.2f} points"
    return Outcome(
        "The dishes",
        "agree" if agreement.agrees else "do not agree",
        ("highest − lowest against what chance allows", numbers),
        (
            ("Mean", plain(agreement.mean_percent, "%", decimals=2)),
            ("Apart", plain(agreement.range_points, "points", decimals=2)),
            ("Chance allows", plain(agreement.tolerated_points, "points", decimals=2), agreement.rule),
        ),
        note="",
        status="fine" if agreement.agrees else "caution",
        word="one test" if agreement.agrees else "do the test again",
    )


def _whole(value: float) -> int:
    if value != int(value):
        raise ValueError(f"Kernels are counted whole: {value:g} is not.")
    return int(value)


@working(
    key="floated-off",
    group="lot",
    title="How much floated off?",
    question="How much of the grain floated, reckoned dry?",
    asks={
        "skimmed": mass("Skimmed off, as weighed", "1.1", zero=True),
        "skimmed_moisture": moist("Moisture of that", "20"),
        "charge": mass("Grain put in, skimmings included", "100"),
        "moisture": moist("Moisture of the grain", "12"),
    },
    methods=("mass_balance.skimmings_share",),
    limits="Light corn, not dead corn: what floats holds air. Says nothing of oats. No published limit for raw grain "
    "was found: compare it with this lot’s own past.",
)
def floated_off(g: Given) -> Outcome:
    def value(v: Values) -> float:
        return mass_balance.skimmings_share(v["skimmed"], v["skimmed_moisture"], v["charge"], v["moisture"])

    numbers = (
        f"{g.say('skimmed')} × (1 − {g.say('skimmed_moisture')}) / ({g.say('charge')} × (1 − {g.say('moisture')}))"
    )
    answer = percent(g, value(g.values), g.half_width(value))
    formula = ("m (1 − M) / (m₀ (1 − M₀))", f"{numbers} = {percent(g, value(g.values), decimals=3)}")
    return Outcome("Floated off, of the dry matter", answer, formula)
