"""What the pages about packs show: the list, one sack or jar with what it is and what went out of it, and its label."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from markupsafe import Markup

from app.judgement import cautions
from app.judgement.facts.shapes import Fact, Result
from app.judgement.grain.stock import PackLedger, pack_ledger
from app.judgement.history.history import History, LotInfo
from app.judgement.malt.claims import CLAIMS, claimed, unproven, without
from app.judgement.malt.dryness import UNTOLD, is_untold
from app.judgement.malt.holds import Hold, hold
from app.judgement.wording import Words
from app.science import units
from app.store.batches import Batch
from app.store.packs import PackStory
from app.web.assets.qr import qr_svg
from app.web.packs.tested import label_tests, tested
from app.web.words.fact_rows import fact_rows
from app.web.words.facts import Said, who_words
from app.web.words.figures import unbroken

LEAST_LEFT_KG = 1e-6
CAUTIONS = (cautions.RAW_SPROUT, cautions.GLUTEN)


@dataclass(frozen=True)
class PackRow:
    """A pack as the list shows it, and its page in short. batches: those that filled it."""

    id: str
    name: str
    code: str
    batches: tuple[Batch, ...]
    about: str
    left: str
    packed: str
    packed_at: datetime | None
    packed_by: str
    moisture: str
    moisture_note: str
    state: Said
    is_held: bool
    is_declarable: bool
    is_empty: bool
    is_overdrawn: bool


@dataclass(frozen=True)
class Label:
    """What stands on the label of a pack. pack: its code in signs; code: the same as a drawing that opens the address.

    missing: what its name or its programme says and nothing shows, and what would show it; and a moisture that is not
    known. A lot keeps its own name.
    """

    name: str
    grain: str
    programme: str
    packed: str
    moisture: str
    batches: str
    pack: str
    net: str
    lots: str
    maker: str
    tests: tuple[str, ...]
    texts: tuple[str, ...]
    address: str
    code: Markup
    missing: tuple[str, ...]


@dataclass(frozen=True)
class Behind:
    """What stands behind some packs: the Histories of the batches that filled them, and every batch they name."""

    histories: Mapping[str, History]
    batches: Mapping[str, Batch]

    def of(self, story: PackStory) -> list[History]:
        return [self.histories[batch_id] for batch_id in story.batch_ids if batch_id in self.histories]


def pack_row(story: PackStory, behind: Behind, words: Words) -> PackRow:
    """A pack in short."""
    ledger, own = pack_ledger(story.facts, story.pack.id, words.now), behind.of(story)
    moisture, note = _moisture(story, ledger, own, words)
    held = pack_hold(own, words)
    return PackRow(
        id=story.pack.id,
        name=story.pack.name,
        code=story.pack.code,
        batches=tuple(behind.batches[batch_id] for batch_id in story.batch_ids),
        about=" · ".join(dict.fromkeys(each for history in own for each in (history.batch.species, _plan(history)))),
        left=mass_words(ledger, words)(ledger.balance_kg),
        packed=mass_words(ledger, words)(ledger.packed_kg),
        packed_at=story.fillings[-1].at if story.fillings else None,
        packed_by=(story.fillings[-1].person or "") if story.fillings else "",
        moisture=moisture,
        moisture_note=note,
        state=_state(held),
        is_held=held.is_held,
        is_declarable=held.declarable,
        is_empty=ledger.balance_kg <= LEAST_LEFT_KG,
        is_overdrawn=ledger.is_overdrawn,
    )


def pack_hold(histories: Sequence[History], words: Words) -> Hold:
    """What keeps it in the house now."""
    assert words.now is not None
    return hold(histories, words.now)


def _state(held: Hold) -> Said:
    if held.is_held:
        return Said("act", "held", " ".join(held.reasons))
    return Said("fine", "declared", "Its grain is declared untreated and for food.")


def _plan(history: History) -> str:
    return history.programme.name if history.programme else ""


def _moisture(story: PackStory, ledger: PackLedger, own: Sequence[History], words: Words) -> tuple[str, str]:
    """The moisture known last, and how: a test of the pack, or that of what was packed. Empty where nothing told it."""
    assert words.now is not None
    tests = [fact for fact in story.standing if isinstance(fact, Result) and fact.kind == "moisture_test"]
    if tests:
        return unbroken(words.percent(tests[-1].value)), f"tested {words.date(tests[-1].at)}"
    if ledger.moisture_wb is None:
        return "", "not known"
    is_assumed = all(each.method == "assumed" for each in story.fillings)
    if is_assumed and any(is_untold(history, words.now) for history in own):
        return "", UNTOLD
    return unbroken(words.percent(ledger.moisture_wb)), "as it was packed"


def mass_words(ledger: PackLedger, words: Words) -> Any:
    """How to say the masses of one pack: all of them in the unit that suits the largest."""
    largest = max((abs(line.balance_kg) for line in ledger.lines), default=0.0)
    unit = units.preferred_mass_unit(largest, words.system)
    return lambda mass_kg: unbroken(units.format_quantity(mass_kg, unit))


def pack_context(story: PackStory, behind: Behind, words: Words) -> dict[str, Any]:
    """Everything that the page of a pack asks for."""
    ledger, own = pack_ledger(story.facts, story.pack.id, words.now), behind.of(story)
    plans = [history.programme for history in own if history.programme is not None]
    return {
        "pack": pack_row(story, behind, words),
        "lots": list({lot.id: lot for history in own for lot in history.lots.values()}.values()),
        "tested": tested(own, words),
        "programmes": list({plan.digest: plan for plan in plans}.values()),
        "lines": _lines(ledger, behind.batches, words),
        "rows": [row for chain in reversed(story.chains) for row in fact_rows(chain, words)],
        "cautions": (*cautions.for_species(species_of(own)), *CAUTIONS),
    }


def _lines(ledger: PackLedger, batches: Mapping[str, Batch], words: Words) -> list[dict[str, Any]]:
    """The ledger's lines, the newest first."""
    mass = mass_words(ledger, words)
    return [
        {
            "word": line.word.capitalize(),
            "batch": batches.get(line.batch.id) if line.batch else None,
            "way": "from" if line.change_kg > 0.0 else "in",
            "note": line.note,
            "at": line.at,
            "who": who_words(line.fact),
            "change": ("+" if line.change_kg > 0.0 else "") + mass(line.change_kg),
            "balance": mass(line.balance_kg),
            "is_overdrawn": line.is_overdrawn,
        }
        for line in reversed(ledger.lines)
    ]


def other_batch_ids(facts: Sequence[Fact]) -> list[str]:
    """The ids of the batches that parts of these facts name."""
    ends = [getattr(fact, end, None) for fact in facts for end in ("source", "target")]
    return list(dict.fromkeys(end.id for end in ends if end is not None and end.type == "batch"))


def pack_label(row: PackRow, histories: Sequence[History], species: Sequence[str], words: Words, address: str) -> Label:
    """The label of a pack that isn't held. species: all that the house malts; address: what its code opens."""
    own = species_of(histories)
    numbers = ", ".join(str(batch.number) for batch in row.batches)
    programme = ", ".join(dict.fromkeys(_plan(history) for history in histories))
    not_shown = unproven(histories)
    made = claimed(f"{row.name} {programme}", not_shown)
    return Label(
        name=without(row.name, not_shown) or f"Batch {numbers}",
        grain=", ".join(sorted(own)),
        programme=without(programme, not_shown),
        packed=words.date(row.packed_at) if row.packed_at else "",
        moisture=row.moisture,
        batches=numbers,
        pack=row.code,
        net=row.packed,
        lots=", ".join(dict.fromkeys(_lot(lot) for history in histories for lot in history.lots.values())),
        maker=row.packed_by,
        tests=label_tests(histories, words),
        texts=cautions.label_texts(own, species),
        address=address,
        code=qr_svg(address, f"Opens pack {row.code}"),
        missing=(
            *(f"“{key}”: {CLAIMS[key].missing}" for key in made),
            *((f"Moisture {row.moisture_note}",) if not row.moisture else ()),
        ),
    )


def _lot(lot: LotInfo) -> str:
    return f"{lot.name}, harvest {lot.harvest}" if lot.harvest else lot.name


def species_of(histories: Sequence[History]) -> set[str]:
    return {each for history in histories for each in history.species}
