"""What is known of a lot's life, with its values put in."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from datetime import datetime

from app.judgement.explained.explanation import Explanation, Line, Term, numbered
from app.judgement.explained.measures import Z95
from app.judgement.grain.germination_tests import LotTests, Plates, Points
from app.judgement.grain.lot_verdict import lot_verdict
from app.judgement.history.history import LotInfo
from app.judgement.wording import Words
from app.science.proportions import wilson_interval

ExplainLot = Callable[[LotInfo, datetime, Words], Explanation | None]
ROOT = "z × √(k × (n − k) / n + z^2 / 4)"
NEWCOMBE = "The interval of a difference is Newcombe’s: of both shares’ own intervals."


def _interval(grown: float, n: float, words: Words) -> tuple[Line, ...]:
    low, high = wilson_interval(grown, n)
    return (
        Line("low", f"(k + z^2 / 2 − {ROOT}) / (n + z^2)", float(low), said=words.percent(float(low), decimals=1)),
        Line("high", f"(k + z^2 / 2 + {ROOT}) / (n + z^2)", float(high), said=words.percent(float(high), decimals=1)),
    )


def _shown(method: str, grown: float, terms: tuple[Term, ...], n: float, words: Words) -> Explanation:
    z = Term("z", "for 95 times in 100", "1.96", Z95, mark="P")
    share = Line("p", "k / n", grown / n, said=words.percent(grown / n, decimals=1))
    return Explanation(method, "percent", 100.0 * grown / n, (*terms, z), (share, *_interval(grown, n, words)))


def _of_plates(plates: Plates, words: Words) -> Explanation:
    days = " + ".join(f"{each}" for each in plates.daily)
    dishes = f"in {len(plates.dishes)} dishes" if len(plates.dishes) > 1 else "in the dish"
    terms = (
        Term("k", "grown in three days", f"{days} = {plates.grown}", float(plates.grown), facts=plates.dishes),
        Term("n", f"kernels laid out {dishes}", f"{plates.n}", float(plates.n), facts=plates.dishes),
    )
    return _shown("germination.germinative_energy", float(plates.grown), terms, float(plates.n), words)


def _tests(lot: LotInfo, now: datetime) -> LotTests:
    return lot_verdict(lot, now).tests


def _energy(is_eight: bool) -> ExplainLot:
    def explain(lot: LotInfo, now: datetime, words: Words) -> Explanation | None:
        plates = _tests(lot, now).eight if is_eight else _tests(lot, now).four
        return None if plates is None else _of_plates(plates, words)

    return explain


def _index(is_eight: bool) -> ExplainLot:
    def explain(lot: LotInfo, now: datetime, words: Words) -> Explanation | None:
        plates = _tests(lot, now).eight if is_eight else _tests(lot, now).four
        if plates is None or plates.index is None:
            return None
        terms = tuple(
            Term(numbered("x", day), f"newly grown on day {day}", f"{count}", float(count), facts=plates.dishes)
            for day, count in enumerate(plates.daily, 1)
        )
        line = Line("I", "10 × (x₁ + x₂ + x₃) / (x₁ + 2 × x₂ + 3 × x₃)", plates.index, said=f"{plates.index:.2f}")
        return Explanation("germination.germination_index", "number", plates.index, terms, (line,))

    return explain


def _capacity(lot: LotInfo, now: datetime, words: Words) -> Explanation | None:
    capacity = _tests(lot, now).capacity
    if capacity is None:
        return None
    facts = (capacity.fact,)
    terms = (
        Term("k", "alive, woken with peroxide", f"{capacity.alive}", float(capacity.alive), facts=facts),
        Term("n", "kernels looked at", f"{capacity.n}", float(capacity.n), facts=facts),
    )
    return _shown("germination.germination_capacity", float(capacity.alive), terms, float(capacity.n), words)


def _sensitivity(lot: LotInfo, now: datetime, words: Words) -> Explanation | None:
    tests = _tests(lot, now)
    if tests.four is None or tests.eight is None or tests.water_sensitivity is None:
        return None
    terms = (
        Term(
            "E₄",
            "energy in 4 mL, %",
            f"{tests.four.energy_percent:.1f} %",
            tests.four.energy_percent,
            facts=tests.four.dishes,
        ),
        Term(
            "E₈",
            "energy in 8 mL, %",
            f"{tests.eight.energy_percent:.1f} %",
            tests.eight.energy_percent,
            facts=tests.eight.dishes,
        ),
    )
    return _difference("germination.water_sensitivity", "E₄ − E₈", terms, tests.water_sensitivity)


def _dormancy(lot: LotInfo, now: datetime, words: Words) -> Explanation | None:
    tests = _tests(lot, now)
    if tests.four is None or tests.capacity is None or tests.dormancy is None:
        return None
    terms = (
        Term(
            "C", "capacity, %", f"{tests.capacity.percent:.1f} %", tests.capacity.percent, facts=(tests.capacity.fact,)
        ),
        Term(
            "E₄",
            "energy in 4 mL, %",
            f"{tests.four.energy_percent:.1f} %",
            tests.four.energy_percent,
            facts=tests.four.dishes,
        ),
    )
    return _difference("germination.dormancy", "C − E₄", terms, tests.dormancy)


def _difference(method: str, formula: str, terms: tuple[Term, ...], points: Points) -> Explanation:
    line = Line("S", formula, points.value, said=points.words)
    return Explanation(method, "points", points.value, terms, (line,), notes=(NEWCOMBE,))


def _life(symbol: str, place: int, days: float, way: str) -> Term:
    what = ", ".join(part for part in ("how long it keeps so", way) if part)
    return Term(numbered(symbol, place), what, f"{days:.0f} d", days, "d", mark="D")


def _used(symbol: str, life: str, used: float, periods: int, words: Words) -> Line:
    formula = " + ".join(f"{numbered('t', place)} / {numbered(life, place)}" for place in range(1, periods + 1))
    return Line(symbol, formula, used, said=words.percent(used, decimals=0))


def _storage(lot: LotInfo, now: datetime, words: Words) -> Explanation | None:
    use = lot_verdict(lot, now).storage
    if use is None:
        return None
    terms: list[Term] = []
    is_bracket = use.used[0] != use.used[1]
    for place, period in enumerate(use.periods, 1):
        days, at = f"{period.days:.0f} d", words.percent(period.moisture_wb)
        terms.append(Term(numbered("t", place), f"days in the store, at {at}", days, period.days, "d"))
        terms.append(_life("H", place, period.life.high_days, "by the method that gives most" if is_bracket else ""))
        if is_bracket:
            terms.append(_life("h", place, period.life.low_days, "by the one that gives least"))
    warm = Term(
        "",
        "how warm the store is: nobody measured it",
        words.temperature(use.temperature_c),
        use.temperature_c,
        "°C",
        mark="M",
    )
    told = tuple(fact for fact in lot.facts if fact.at <= now and fact.kind in ("moisture_test", "intake"))
    lines = [_used("U", "H", use.used[0], len(use.periods), words)]
    if is_bracket:
        lines.append(_used("u", "h", use.used[1], len(use.periods), words))
    notes = () if use.is_moisture_known else ("Before its moisture was first known the first one is taken.",)
    return Explanation(
        "storage_life.fraction_used", "fraction", use.used[0], (*terms, warm), tuple(lines), notes=notes, others=told
    )


EXPLAINED: Mapping[str, ExplainLot] = {
    "energy_4ml": _energy(is_eight=False),
    "energy_8ml": _energy(is_eight=True),
    "index_4ml": _index(is_eight=False),
    "index_8ml": _index(is_eight=True),
    "water_sensitivity": _sensitivity,
    "capacity": _capacity,
    "dormancy": _dormancy,
    "storage": _storage,
}
