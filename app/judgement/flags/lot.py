"""The lot: declared as food or held, alive or not, and light corn above what this lot has shown before."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence

from app.judgement import cautions
from app.judgement.batch_at import BatchAt
from app.judgement.facts.shapes import Fact, Remark, Tally
from app.judgement.flags import wording
from app.judgement.flags.base import Flag, Message, Rule, raised
from app.judgement.grain.germination_tests import AS_ALIVE_FOR
from app.judgement.grain.lot_verdict import DORMANT, SENSITIVE, UNFIT, WEAK, LotVerdict, lot_verdict
from app.judgement.history.history import LotInfo
from app.judgement.programmes.programme import provenance

FEWEST_TESTS = 4
LEVEL = 0.95
ASK_TREATED = "Ask the seller in writing what it was treated with"
PREDICTION = (
    "derived: prediction interval for one more test, on the arcsine scale of shares, from at least four earlier ones; "
    "no published limit for a float test of raw grain was found"
)


def undeclared(batch: BatchAt) -> Iterator[Flag]:
    for lot in batch.history.undeclared_lots:
        charges = [part for part in batch.history.charges if part.source.id == lot.id]
        if not charges:
            continue
        declared = [fact for fact in lot.facts if isinstance(fact, Remark) and fact.kind == "declaration"]
        said = declared[-1].findings if declared else {}
        against = [word for aspect, word in _AGAINST.items() if said.get(aspect) in ("no", "not_sure")]
        title = f"Held: {lot.name} {' and '.join(against) if against else 'not declared untreated, for food'}"
        ask = "Is it food? Ask the seller" if said.get("untreated") == "yes" else ASK_TREATED
        # Packing waits for it anyway: it is urgent where somebody said that it is no food, or packed it all the same.
        is_act = bool(against) or any(part.kind == "pack" for part in batch.history.departures)
        yield raised(
            batch, "lot_undeclared", "act" if is_act else "caution", [*charges, *declared[-1:]],
            Message(title, "Nobody has answered for it by name that it is food: no label, no malt sheet.",
                  f"{ask}; then let a named person declare the lot."),
            "the house's rule", caution=cautions.TREATED_SEED,
        )  # fmt: skip


_AGAINST = {"untreated": "is not said to be untreated", "for_food": "is not said to be for food"}


def light_corn(batch: BatchAt) -> Iterator[Flag]:
    """More floats than this lot's own past lets one expect. Husked oats float for their air, and are never judged."""
    for lot in batch.history.lots.values():
        if len(batch.history.lots) > 1 or _is_husked_oats(lot):
            continue
        counted = [fact for fact in (*lot.facts, *batch.history.facts) if fact.kind == "float_count"]
        tests = sorted(
            [fact for fact in counted if _share(fact) is not None and fact.at <= batch.now],
            key=lambda fact: (fact.at, fact.id),
        )
        for place, test in enumerate(tests):
            if test.subject.id != batch.history.batch.id:
                continue
            past = [each for each in tests[:place] if each.method == test.method]
            flag = _light_flag(batch, test, past)
            if flag is not None:
                yield flag


def _is_husked_oats(lot: LotInfo) -> bool:
    words = f"{lot.species} {lot.variety}".lower()
    return "oat" in words and not any(each in words for each in ("naked", "hull-less", "hulless"))


def _share(fact: Fact) -> float | None:
    """The share that floated, of kernels counted: what is skimmed off by weight has no past in the lot itself."""
    if isinstance(fact, Tally) and fact.kind == "float_count":
        return fact.counts.get("floated", 0) / fact.looked_at
    return None


def expected_bounds(past: Sequence[float], kernels: int | None = None) -> tuple[float, float]:
    """The shares between which the next test lies 95 times in 100, if nothing has changed.

    kernels: of the next test, when it is a count: the chance of its drawing is a floor under the spread.
    """
    from scipy.special import stdtrit

    turned = [math.asin(math.sqrt(share)) for share in past]
    n = len(turned)
    mean = math.fsum(turned) / n
    variance = math.fsum((each - mean) ** 2 for each in turned) / (n - 1)
    variance = max(variance, 1.0 / (4.0 * kernels) if kernels else 1e-8)
    half = float(stdtrit(n - 1, 0.5 + LEVEL / 2)) * math.sqrt(variance * (1.0 + 1.0 / n))
    low, high = max(mean - half, 0.0), min(mean + half, math.pi / 2)
    return math.sin(low) ** 2, math.sin(high) ** 2


def _light_flag(batch: BatchAt, test: Fact, past: Sequence[Fact]) -> Flag | None:
    shares = [share for each in past if (share := _share(each)) is not None]
    light = _share(test)
    if len(shares) < FEWEST_TESTS or light is None:
        return None
    _, high = expected_bounds(shares, test.looked_at if isinstance(test, Tally) else None)
    if light <= high:
        return None
    title = (
        f"Light corn {wording.percent(light)}: the lot's {len(shares)} earlier tests let one expect at most "
        f"{wording.percent(high)}"
    )
    meaning = "More hollow or damaged kernels than before: insects, a badly mixed lot, or another lot's grain."
    return raised(
        batch, "light_corn", "notice", [test, *past],
        Message(title, meaning, "Look at the skimmings, stir and skim again; look for insects in the store."),
        PREDICTION, ends_at=batch.ended_at, worst=light, unit="fraction",
    )  # fmt: skip


_VERDICTS: Mapping[str, tuple[str, str, str]] = {
    DORMANT: ("lot_dormant", "caution", "Keep some back, give it longer air rests, and expect uneven growth."),
    WEAK: ("lot_weak", "caution", "Expect uneven malt of lower extract; blend it, or charge another lot."),
    UNFIT: ("lot_unfit", "act", "Don’t malt it: what does not grow, rots. Feed it, mill it, or give it back."),
    SENSITIVE: ("lot_water_sensitive", "caution", "Short steeps and long air rests: drain early, and let it breathe."),
}
_TITLES = {
    DORMANT: "is dormant",
    WEAK: "is weak",
    UNFIT: "is unfit: too little of it grows",
    SENSITIVE: "is water sensitive",
}


def germination(batch: BatchAt) -> Iterator[Flag]:
    """What the lot's germination tests up to the charge say of it; and whether the last was too old then.

    Grain that is only roasted need not be alive.
    """
    programme = batch.history.programme
    if programme is not None and programme.is_roast:
        return
    for lot in batch.history.lots.values():
        charges = [part for part in batch.history.charges if part.source.id == lot.id and part.at <= batch.now]
        if not charges:
            continue
        verdict = lot_verdict(lot, charges[0].at)
        four = verdict.tests.four
        if four is None:
            yield _untested_flag(batch, lot, charges)
            continue
        facts: list[Fact] = [*charges, *four.dishes]
        if verdict.verdict in _VERDICTS:
            yield _verdict_flag(batch, lot, facts, verdict)
        if verdict.is_old and verdict.age is not None:
            yield raised(
                batch, "lot_test_old", "notice", facts,
                Message(f"{lot.name} was last tested {verdict.age.days} days before it was charged",
                        f"A lot may wake or die in that time: a test holds for about {AS_ALIVE_FOR.days} days.",
                        "Lay out dishes now: in three days you know what this batch can do."),
                "the house's rule", ends_at=batch.ended_at, worst=verdict.age.days, unit="d",
            )  # fmt: skip


def _untested_flag(batch: BatchAt, lot: LotInfo, charges: Sequence[Fact]) -> Flag:
    """Until the batch itself shows whether it lives, or a test does."""
    shown = [fact.at for fact in batch.history.of_kind("chit_count", "growth_count")]
    tested = [fact.at for fact in lot.facts if fact.kind == "germination_test" and fact.at > charges[0].at]
    ends_at = min([*shown, *tested], default=None)
    return raised(
        batch, "lot_untested", "notice", charges,
        Message(f"{lot.name} was charged untested: nobody knows whether it is alive",
                "Grain that looks sound may be dead or asleep, and what does not grow rots in the steep.",
                "Lay out dishes now, and count chits early: by hour 30 you see what this batch can do."),
        "common practice", ends_at=ends_at or batch.ended_at,
    )  # fmt: skip


def _verdict_flag(batch: BatchAt, lot: LotInfo, facts: Sequence[Fact], verdict: LotVerdict) -> Flag:
    rule, severity, remedy = _VERDICTS[verdict.verdict]
    source = provenance(verdict.required.mark, verdict.required.source)
    if verdict.verdict == SENSITIVE:
        source = provenance("P", "30 points or more: Montana State University barley programme")
    doubt = "" if verdict.is_sure else " So few kernels leave room for chance."
    title = _TITLES[verdict.verdict] if verdict.can_tell else verdict.word
    if verdict.verdict == UNFIT and batch.history.first_water_at is not None:
        remedy = remedy.replace("Don’t malt it", "Malt no more of it")
    return raised(
        batch, rule, severity if verdict.can_tell else "notice", facts,
        Message(f"{lot.name} {title}" if verdict.can_tell else f"{lot.name}: {title}",
                " ".join(verdict.reasons) + doubt, remedy),
        source, ends_at=batch.ended_at, unit="fraction",
        worst=verdict.tests.four.energy_percent / 100.0 if verdict.tests.four else None,
    )  # fmt: skip


RULES = (
    Rule("lot_undeclared", "Lot not declared: held", undeclared),
    Rule("lot_unfit", "Lot unfit", germination),
    Rule("lot_weak", "Lot weak", germination),
    Rule("lot_dormant", "Lot dormant", germination),
    Rule("lot_water_sensitive", "Lot water sensitive", germination),
    Rule("lot_untested", "Lot not tested", germination),
    Rule("lot_test_old", "Lot not tested lately", germination),
    Rule("light_corn", "Light corn above its own past", light_corn),
)
