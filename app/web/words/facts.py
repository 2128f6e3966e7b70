"""What facts that belong to no batch say, in the reader's words: of a lot, a pack, the house."""

from __future__ import annotations

from dataclasses import dataclass

from app.charts.hover import fact_words
from app.judgement.facts.fields import Choice
from app.judgement.facts.kind_parts import YES_NO
from app.judgement.facts.kinds import KINDS
from app.judgement.facts.shapes import Fact, Part, Remark, Result, Tally, Weighing, Withdrawal
from app.judgement.forecasts.moisture import TEST_SD
from app.judgement.grain.sieves import sieve_shares
from app.judgement.measures.rejects import float_tests
from app.judgement.wording import Words
from app.web.words.figures import unbroken

ANSWERS = dict(YES_NO)
UNKNOWN_TEST_SD = max(TEST_SD.values())


@dataclass(frozen=True)
class Said:
    """A judgement in a word, with more beside it."""

    status: str
    text: str
    detail: str = ""


def value_words(fact: Fact, words: Words) -> str:
    """What a fact says beside its kind; may be nothing."""
    if isinstance(fact, Weighing):
        return _weighing_words(fact, words)
    if isinstance(fact, Result) and fact.kind == "moisture_test":
        return moisture_words(fact, words)
    if isinstance(fact, Tally) and fact.kind == "float_count":
        return float_words(fact, words)
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


def float_words(fact: Tally, words: Words) -> str:
    test = float_tests([fact])[0]
    low, high = (unbroken(words.percent(bound, decimals=1)) for bound in (test.low, test.high))
    return f"{test.way} floated: {unbroken(words.percent(test.share, decimals=1))}, between {low} and {high}"


def _sieve_words(fact: Result, words: Words) -> str:
    shares = sieve_shares(fact)
    plump, on_28, on_22, through = (
        unbroken(words.percent(each, decimals=1)) for each in (shares.plump, shares.on_28, shares.on_22, shares.through)
    )
    low, high = (unbroken(words.percent(each, decimals=1)) for each in shares.plump_interval or (0.0, 0.0))
    between = f" (between {low} and {high})" if shares.plump_interval else ""
    return f"{plump} on 2.5 mm and above{between}, {on_28} of it on 2.8 mm; {on_22} on 2.2 mm, {through} through"


def _dish_words(fact: Tally) -> str:
    days = " + ".join(str(count) for count in fact.counts.values())
    return f"{sum(fact.counts.values())} of {fact.looked_at} grew ({days})" + (f", {fact.place}" if fact.place else "")


def _remark_words(fact: Remark, words: Words) -> str:
    if fact.kind == "declaration":
        said = {name: ANSWERS.get(fact.findings.get(name, ""), "not said") for name in ("untreated", "for_food")}
        told = f"untreated: {said['untreated']}, for food: {said['for_food']}"
        return f"{told}. By {fact.findings.get('by', '?')}: {fact.findings.get('ground', '')}"
    return ". ".join(part for part in ("; ".join(findings_words(fact, words)), fact.text or "") if part)


def findings_words(fact: Remark, words: Words) -> list[str]:
    """What was found, each aspect by its name."""
    specs = {spec.target.removeprefix("findings."): spec for spec in KINDS[fact.kind].fields.values()}
    said = []
    for aspect, finding in fact.findings.items():
        spec = specs.get(aspect)
        options = dict(spec.options) if isinstance(spec, Choice) else {}
        name = spec.word if spec is not None else aspect.replace("_", " ")
        said.append(f"{name.lower()}: {options.get(finding, finding)}")
    if fact.ergot_kg is not None:
        said.append(f"weight of the ergot: {unbroken(words.mass(fact.ergot_kg))}")
    return said
