"""What the facts about a lot say, in the reader's words; and what one that was just kept means for the lot."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from app.charts.hover import fact_words
from app.judgement import cautions
from app.judgement.facts import Fact, Part, Remark, Result, Tally, Weighing, Withdrawal
from app.judgement.flags.lot import FEWEST_TESTS, expected_bounds
from app.judgement.growth import counted_share
from app.judgement.kind_parts import YES_NO
from app.judgement.kinds import KINDS
from app.judgement.moisture import TEST_SD
from app.judgement.rejects import float_tests
from app.judgement.sieves import sieve_shares
from app.judgement.stock import StockLedger, stock_ledger
from app.judgement.wording import Words
from app.science import units
from app.store.lots import LotStory

ANSWERS = dict(YES_NO)
UNKNOWN_TEST_SD = max(TEST_SD.values())


@dataclass(frozen=True)
class Said:
    """A judgement in a word, with more beside it."""

    status: str
    text: str
    detail: str = ""


def unbroken(text: str) -> str:
    """A quantity with a true minus, and which no line break parts from its unit."""
    return text.replace(" ", "\u00a0").replace("-", "−")


def stock_words(ledger: StockLedger, words: Words) -> Callable[[float], str]:
    """How to say the masses of one ledger: all of them in the unit that suits the largest."""
    unit = units.preferred_mass_unit(max((abs(line.balance_kg) for line in ledger.lines), default=0.0), words.system)
    return lambda mass_kg: unbroken(units.format_quantity(mass_kg, unit))


def value_words(fact: Fact, words: Words) -> str:
    """What a fact says beside its kind; may be nothing."""
    if isinstance(fact, Weighing):
        return _weighing_words(fact, words)
    if isinstance(fact, Result) and fact.kind == "moisture_test":
        return moisture_words(fact, words)
    if isinstance(fact, Tally) and fact.kind == "float_count":
        return _float_words(fact, words)
    if isinstance(fact, Result) and fact.kind == "sieve_test":
        return _sieve_words(fact, words)
    if isinstance(fact, Tally) and fact.kind == "germination_test":
        return _dish_words(fact)
    if isinstance(fact, Remark):
        return _remark_words(fact, words)
    if isinstance(fact, Part):
        return f"{unbroken(words.mass(fact.as_is_kg))} at {unbroken(words.percent(fact.moisture_wb))}"
    if isinstance(fact, Withdrawal):
        return fact.reason or ""
    return fact_words(fact, words.system)


def way_words(fact: Fact) -> str:
    """How it was come by: method and quality where they say something."""
    kind = KINDS[fact.kind]
    parts = [dict(kind.methods).get(fact.method or "", fact.method or "")]
    parts += [fact.quality.replace("_", " ")] if fact.quality != "measured" else []
    return ", ".join(part for part in parts if part)


def who_words(fact: Fact) -> str:
    said, typed = fact.person, fact.entered_by
    if said and typed and said != typed:
        return f"{said}, typed by {typed}"
    return said or typed or "nobody named"


def moisture_words(fact: Fact, words: Words) -> str:
    """The moisture that a test or an intake tells: with its interval where the way of testing is known."""
    if isinstance(fact, Result):
        return unbroken(words.percent(fact.value, 2.0 * TEST_SD.get(fact.method or "", UNKNOWN_TEST_SD)))
    if isinstance(fact, Weighing) and fact.moisture_wb is not None:
        return unbroken(words.percent(fact.moisture_wb))
    return ""


def _weighing_words(fact: Weighing, words: Words) -> str:
    parts = [unbroken(words.mass(fact.net_kg))]
    if fact.gross_kg is not None and fact.tare_kg:
        parts.append(f"({unbroken(words.mass(fact.gross_kg))} less {unbroken(words.mass(fact.tare_kg))})")
    if fact.moisture_wb is not None:
        parts.append(f"at {moisture_words(fact, words)}")
    return " ".join(parts)


def _float_words(fact: Tally, words: Words) -> str:
    test = float_tests([fact])[0]
    low, high = (unbroken(words.percent(bound, decimals=1)) for bound in (test.low, test.high))
    return f"{test.way} floated: {unbroken(words.percent(test.share, decimals=1))}, between {low} and {high}"


def _sieve_words(fact: Result, words: Words) -> str:
    found = sieve_shares(fact)
    plump, on_28, on_22, through = (
        unbroken(words.percent(each, decimals=1)) for each in (found.plump, found.on_28, found.on_22, found.through)
    )
    low, high = (unbroken(words.percent(each, decimals=1)) for each in found.plump_interval or (0.0, 0.0))
    between = f" (between {low} and {high})" if found.plump_interval else ""
    return f"{plump} on 2.5 mm and above{between}, {on_28} of it on 2.8 mm; {on_22} on 2.2 mm, {through} through"


def _dish_words(fact: Tally) -> str:
    days = " + ".join(str(count) for count in fact.counts.values())
    return f"{sum(fact.counts.values())} of {fact.looked_at} grew ({days})" + (f", {fact.place}" if fact.place else "")


def _remark_words(fact: Remark, words: Words) -> str:
    if fact.kind == "declaration":
        said = {name: ANSWERS.get(fact.findings.get(name, ""), "not said") for name in ("untreated", "for_food")}
        told = f"untreated: {said['untreated']}, for food: {said['for_food']}"
        return f"{told}. By {fact.findings.get('by', '?')}: {fact.findings.get('ground', '')}"
    specs = KINDS[fact.kind].fields
    seen = []
    for aspect, found in fact.findings.items():
        options = dict(getattr(specs.get(aspect), "options", ()))
        seen.append(f"{specs[aspect].word.lower() if aspect in specs else aspect}: {options.get(found, found)}")
    if fact.ergot_kg is not None:
        seen.append(f"ergot: {unbroken(words.mass(fact.ergot_kg))}")
    return ". ".join(part for part in ("; ".join(seen), fact.text or "") if part)


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
        freed = (
            "Batches of this lot are no longer held for it." if said.status == "fine" else cautions.TREATED_SEED.text
        )
        return Said(said.status, f"{said.text[0].upper()}{said.text[1:]}.", freed)
    if isinstance(fact, Remark) and fact.kind == "inspection":
        return inspection_words(fact)
    if isinstance(fact, Tally) and fact.kind == "float_count":
        return _float_meaning(story, fact, words)
    return Said("fine", f"{KINDS[fact.kind].word}: {value_words(fact, words)}")


def inspection_words(fact: Remark) -> Said:
    """Mould and ergot are told loudly; “not sure” keeps the lot apart."""
    if fact.findings.get("mould") == "yes":
        return Said("act", "Mould: keep this lot out of the house.", cautions.MOULD.text)
    if fact.ergot_kg:
        return Said("caution", "Ergot found.", cautions.ERGOT.text)
    if fact.findings.get("smell") in ("musty", "off"):
        return Said("act", "It smells wrong: charge nothing from it.", cautions.MOULD.text)
    if "not_sure" in (fact.findings.get("mould"), fact.findings.get("smell")):
        return Said("caution", "Not sure: keep the lot apart, and look again in 6 h.", cautions.MOULD.short)
    return Said("fine", "Looks and smells sound.")


def _float_meaning(story: LotStory, fact: Tally, words: Words) -> Said:
    text = f"{_float_words(fact, words)}."
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
        return inspection_words(fact)
    if isinstance(fact, Tally) and fact.kind == "float_count":
        usual = against_its_past(story, fact)
        if usual is not None:
            return Said("fine", "usual for this lot") if usual.is_usual else Said("notice", "more than is usual for it")
    return None
