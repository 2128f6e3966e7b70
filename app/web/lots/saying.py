"""What the facts about a lot mean for it: its stock, whether somebody answers for it, what was just kept."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from app.judgement import cautions
from app.judgement.facts.kinds import KINDS
from app.judgement.facts.shapes import Fact, Remark, Tally, Weighing
from app.judgement.flags.lot import FEWEST_TESTS, expected_bounds
from app.judgement.grain.counts import counted_share
from app.judgement.grain.stock import StockLedger, stock_ledger
from app.judgement.measures.rejects import float_tests
from app.judgement.wording import Words
from app.science import units
from app.store.lots import LotStory
from app.web.words.facts import Said, float_words, value_words
from app.web.words.figures import unbroken
from app.web.words.grave import look_words


def stock_words(ledger: StockLedger, words: Words) -> Callable[[float], str]:
    """How to say the masses of one ledger: all of them in the unit that suits the largest."""
    unit = units.preferred_mass_unit(max((abs(line.balance_kg) for line in ledger.lines), default=0.0), words.system)
    return lambda mass_kg: unbroken(units.format_quantity(mass_kg, unit))


def declaration_of(story: LotStory, words: Words) -> Said:
    """Whether somebody answers for the lot by name."""
    declared = [fact for fact in story.info.facts if isinstance(fact, Remark) and fact.kind == "declaration"]
    if not declared:
        return Said("act", "not declared: held", "Nobody has declared it untreated and for food.")
    last = declared[-1]
    detail = f"By {last.findings.get('by', '?')}, {words.date(last.at)}: {last.findings.get('ground', '')}"
    if story.info.declaration is not None:
        return Said("fine", "declared untreated, for food", detail)
    against = [
        word
        for aspect, word in (("untreated", "untreated"), ("for_food", "for food"))
        if last.findings.get(aspect) != "yes"
    ]
    return Said("act", f"not said to be {' and '.join(against)}: held", detail)


def kept_words(story: LotStory, fact: Fact, words: Words) -> Said:
    """What a fact that was just kept means for the lot."""
    if isinstance(fact, Weighing):
        ledger = stock_ledger(story.facts, story.lot.id)
        balance = stock_words(ledger, words)(ledger.balance_kg)
        if ledger.is_overdrawn:
            text = f"More has left this lot than came in: {balance} by the book."
            return Said("caution", text, "A weighing is missing or wrong: look through the ledger.")
        return Said("fine", f"{balance} in stock now.")
    if isinstance(fact, Remark) and fact.kind == "declaration":
        said = declaration_of(story, words)
        if said.status != "fine":
            return Said(said.status, f"No food until it is declared: {said.text}.", cautions.TREATED_SEED.text)
        return Said("fine", f"{said.text.capitalize()}.", "Batches of this lot are no longer held for it.")
    if isinstance(fact, Remark) and fact.kind == "inspection":
        return look_words(fact, story.taken_in_kg)
    if isinstance(fact, Tally) and fact.kind == "float_count":
        return _float_meaning(story, fact, words)
    return Said("none", f"{KINDS[fact.kind].word}: {value_words(fact, words)}")


def _float_meaning(story: LotStory, fact: Tally, words: Words) -> Said:
    text = f"{float_words(fact, words)}."
    if "oat" in story.lot.species:
        return Said("none", text, "Husked oats float for the air in their husk: this says nothing about them.")
    usual = against_its_past(story, fact)
    if usual is None:
        return Said("none", text, f"After {FEWEST_TESTS} tests this lot's own past says whether that is usual.")
    at_most = unbroken(words.percent(usual.at_most, decimals=1))
    verb = "Within" if usual.is_usual else "More than"
    return Said(
        "fine" if usual.is_usual else "notice",
        text,
        f"{verb} the {at_most} that {usual.tests} earlier tests let one expect.",
    )


@dataclass(frozen=True)
class Usual:
    """A float test held against the lot's earlier ones."""

    is_usual: bool
    at_most: float
    tests: int


def against_its_past(story: LotStory, fact: Tally) -> Usual | None:
    """Whether as much floated as the lot's own past lets one expect; None where too little is known for that."""
    past = [test.share for test in float_tests(story.info.facts) if test.at < fact.at]
    if "oat" in story.lot.species or len(past) < FEWEST_TESTS:
        return None
    _, high = expected_bounds(past, fact.looked_at)
    return Usual(counted_share(fact.counts.get("floated", 0), fact.looked_at).share <= high, high, len(past))


def verdict(story: LotStory, fact: Fact) -> Said | None:
    """A test or look in a word, where one can say it is well or not."""
    if isinstance(fact, Remark) and fact.kind == "inspection":
        return look_words(fact, story.taken_in_kg)
    if isinstance(fact, Tally) and fact.kind == "float_count":
        usual = against_its_past(story, fact)
        if usual is not None:
            return Said("fine", "usual for this lot") if usual.is_usual else Said("notice", "more than is usual for it")
    return None
