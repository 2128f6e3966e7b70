"""What the pages about lots show: the list, one lot with its ledger and tests, and the form of an entry about it."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from werkzeug.datastructures import MultiDict

from app import ports
from app.judgement import cautions
from app.judgement.facts.kinds import KINDS
from app.judgement.facts.shapes import Part, Remark, Tally, Weighing
from app.judgement.grain.stock import StockLedger, stock_ledger
from app.judgement.wording import Words
from app.science import units
from app.store.batches import Batch
from app.store.lots import Lot, LotStory
from app.web.entries.forms import EntryForm, entry_form
from app.web.entries.times import local_text
from app.web.entries.units_typed import split_unit, unit_key
from app.web.lots.life import life_context, life_words
from app.web.lots.saying import declaration_of, stock_words, verdict
from app.web.request.moment import zone
from app.web.words.fact_rows import fact_rows
from app.web.words.facts import Said, moisture_words, way_words, who_words
from app.web.words.figures import unbroken
from app.web.words.grave import look_words

LOT_KINDS = (
    "moisture_test",
    "germination_test",
    "capacity_test",
    "float_count",
    "sieve_test",
    "inspection",
    "declaration",
    "stock_adjustment",
    "intake",
    "returned",
    "kernel_weight",
    "note",
)
TESTS = frozenset(
    {"moisture_test", "float_count", "inspection", "kernel_weight", "sieve_test", "chit_count", "growth_count"}
)
SHOWN_BATCHES = 6
MASSES = [unit.key for unit in units.units_of("mass")]


@dataclass(frozen=True)
class LotRow:
    """A lot as the list shows it."""

    lot: Lot
    grain: str
    stock: str
    is_overdrawn: bool
    moisture: str
    moisture_note: str
    declaration: Said
    alive: Said
    batches: int


def grain_words(lot: Lot) -> str:
    return " · ".join(part for part in (lot.species, lot.variety, lot.harvest and f"harvest {lot.harvest}") if part)


def lot_row(story: LotStory, words: Words) -> LotRow:
    ledger = stock_ledger(story.facts, story.lot.id, words.now)
    moisture, note = latest_moisture(story, words)
    return LotRow(
        lot=story.lot,
        grain=grain_words(story.lot),
        stock=stock_words(ledger, words)(ledger.balance_kg),
        is_overdrawn=ledger.is_overdrawn,
        moisture=moisture,
        moisture_note=note,
        declaration=declaration_of(story, words),
        alive=life_words(story.info, words),
        batches=len({part.target.id for part in story.charges}),
    )


def latest_moisture(story: LotStory, words: Words) -> tuple[str, str]:
    """The moisture known last, and since when and how; empty where nothing tells it."""
    assert words.now is not None
    fact = story.info.moisture_fact(words.now)
    if fact is None:
        return "", "not known yet"
    way = way_words(fact) if fact.kind == "moisture_test" else "as told at intake"
    return moisture_words(fact, words), f"{words.date(fact.at)}, {way}" if way else words.date(fact.at)


def lot_context(story: LotStory, batches: Sequence[Batch], words: Words) -> dict[str, Any]:
    """What the page of a lot shows beside the rows of its batches."""
    ledger = stock_ledger(story.facts, story.lot.id, words.now)
    moisture, note = latest_moisture(story, words)
    rows = [row for chain in reversed(story.chains) for row in fact_rows(chain, words)]
    return {
        "lot": story.lot,
        "grain": grain_words(story.lot),
        "declaration": declaration_of(story, words),
        "is_declared": story.info.declaration is not None,
        "treated_seed": cautions.TREATED_SEED,
        "of_grain": cautions.for_species([story.lot.species]),
        "moisture": moisture,
        "moisture_note": note,
        "stock": stock_words(ledger, words)(ledger.balance_kg),
        "is_overdrawn": ledger.is_overdrawn,
        "lines": ledger_lines(ledger, {batch.id: batch for batch in batches}, words),
        "totals": ledger_totals(ledger, words),
        "alarm": _alarm(story),
        "tests": [(row, verdict(story, row.fact)) for row in rows if row.fact.kind in TESTS and not row.struck],
        "batches": batches,
        "charged": charged_words(story, words),
        "rows": rows,
        "kinds": lot_kinds(story),
        **life_context(story.info, words),
    }


def charged_words(story: LotStory, words: Words) -> dict[str, str]:
    """How much of the lot went into each batch, by the batch's id."""
    masses: dict[str, float] = {}
    for part in story.charges:
        masses[part.target.id] = masses.get(part.target.id, 0.0) + part.as_is_kg
    return {batch_id: unbroken(words.mass(mass_kg)) for batch_id, mass_kg in masses.items()}


def lot_kinds(story: LotStory) -> list[tuple[str, str, bool]]:
    """(address, words, is likeliest) of what can be done with a lot, the next step first: to declare it, to test
    whether it lives, to charge it.
    """
    own = f"/lots/{story.lot.id}"
    paths = {"germination_test": "germination"}
    told = {name: (f"{own}/{paths.get(name, f'entries/{name}')}", KINDS[name].word) for name in LOT_KINDS}
    told["charge"] = (f"/batches/new?lot={story.lot.id}", "Charge a batch from it")
    first = _next_of(story)
    names = dict.fromkeys((first, "charge", *told))
    return [(*told[name], name == first) for name in names]


def _next_of(story: LotStory) -> str:
    if story.info.declaration is None:
        return "declaration"
    is_tested = any(fact.kind == "germination_test" for fact in story.info.facts)
    return "charge" if is_tested else "germination_test"


def _alarm(story: LotStory) -> Said | None:
    """What the last inspection found, where that can hurt somebody."""
    looked = [fact for fact in story.info.facts if isinstance(fact, Remark) and fact.kind == "inspection"]
    said = look_words(looked[-1], story.taken_in_kg) if looked else None
    return said if said is not None and said.status in ("act", "caution") else None


def ledger_lines(ledger: StockLedger, batches: Mapping[str, Batch], words: Words) -> list[dict[str, Any]]:
    """The ledger's lines, the newest first."""
    mass = stock_words(ledger, words)
    return [
        {
            "at": line.at,
            "word": line.word,
            "batch": batches.get(line.batch.id) if line.batch else None,
            "change": ("+" if line.change_kg > 0 else "") + mass(line.change_kg),
            "balance": mass(line.balance_kg),
            "who": who_words(line.fact),
            "note": line.note,
            "is_overdrawn": line.is_overdrawn,
            "is_estimate": line.is_estimate,
        }
        for line in reversed(ledger.lines)
    ]


def ledger_totals(ledger: StockLedger, words: Words) -> list[tuple[str, str]]:
    """The sums of the ledger, those that are nothing left out."""
    mass = stock_words(ledger, words)
    totals = (
        ("Received", ledger.received_kg),
        ("charged", ledger.charged_kg),
        ("adjusted", ledger.adjusted_kg),
        ("returned", ledger.returned_kg),
    )
    return [(word, mass(mass_kg)) for word, mass_kg in totals if mass_kg]


def lot_form(kind: str, story: LotStory, formdata: Any, words: Words, way: str = "") -> EntryForm:
    """The form of one entry about the lot: what was sent, or blank with what was used last.

    way: of an adjustment, "out" where the weight typed was taken out: a phone's number pad has no minus.
    """
    assert words.now is not None
    if formdata is not None and kind == "stock_adjustment" and way == "out":
        formdata = taken_out(formdata)
    clock = local_text(words.now, zone())
    defaults = {"id": ports.new_id(), "at": clock, "earliest": clock, "latest": clock, **_used_last(kind, story)}
    return entry_form(kind, formdata, system=words.system, zone=zone(), now=words.now, **defaults)


def _used_last(kind: str, story: LotStory) -> dict[str, str]:
    facts = [fact for fact in story.info.facts if fact.kind == kind]
    if not facts:
        usual = {"float_count": "100", "germination_test": "100", "capacity_test": "200"}
        return {"looked_at": usual[kind]} if kind in usual else {}
    last = facts[-1]
    kept = {name: text for name, text in last.typed.items() if name.endswith("_unit")}
    kept |= {name: getattr(last, name) for name in ("method", "instrument") if getattr(last, name)}
    if isinstance(last, Tally):
        kept["looked_at"] = str(last.looked_at)
    if isinstance(last, Weighing) and "tare" in last.typed:
        kept["tare"] = last.typed["tare"]
    return kept


def taken_out(formdata: MultiDict[str, str]) -> MultiDict[str, str]:
    """What was sent, with the weight below 0; a gross weight with a tare becomes its net weight."""
    sent = MultiDict(formdata)
    try:
        if sent.get("tare", "").strip():
            (gross, unit), (tare, tare_unit) = split_unit(sent.get("gross", "")), split_unit(sent["tare"])
            if tare_unit and unit_key(tare_unit, MASSES) != unit_key(unit or sent.get("gross_unit", ""), MASSES):
                raise ValueError("Gross and tare are not in one unit.")
            net = units.parse_number(gross) - units.parse_number(tare)
            sent["net"], sent["gross"], sent["tare"] = f"{net:.10g} {unit}".strip(), "", ""
    except ValueError:
        return sent
    for name in ("gross", "net"):
        if sent.get(name, "").strip() and sent[name].strip()[0] not in "-−+":
            sent[name] = f"-{sent[name].strip()}"
    return sent


def parts_target_ids(parts: Iterable[Part]) -> list[str]:
    """The batches that parts went into, the last first, each once."""
    return list(dict.fromkeys(part.target.id for part in reversed(list(parts))))
