"""Where grain may come from: lots with their stock, batches, and packs of malt."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime

from sqlalchemy.orm import Session

from app.judgement.forecasts.moisture import moisture_at
from app.judgement.grain.lot_verdict import UNTESTED, lot_verdict
from app.judgement.grain.stock import pack_ledger, stock_ledger
from app.judgement.history.guard import UNJUDGED, judged, judged_alone
from app.judgement.history.history import History, LotInfo
from app.judgement.history.stages import ENDED, all_stages
from app.judgement.malt.holds import against, against_lot
from app.judgement.measures.account import account
from app.judgement.wording import Words
from app.store.history import load_histories
from app.store.lots import list_lots, load_lot_stories
from app.store.packs import PackStory, get_pack, list_packs, load_pack_stories
from app.web.words.facts import Said
from app.web.words.figures import unbroken_figures

LEAST_LEFT_KG = 1e-6
CHOICES = 60
"""As many sources as one still looks through; older ones are reached from their own pages."""


@dataclass(frozen=True)
class Source:
    """Something grain comes out of. left_kg: as it is, None where it isn't known. moisture_wb: the last one known.

    alive: of a lot, whether it is, and by which test. against: what stands against it as food, in words.
    """

    reference: str
    name: str
    species: str
    line: str
    left_kg: float | None = None
    moisture_wb: float | None = None
    moisture_words: str = ""
    is_held: bool = False
    history: History | None = None
    alive: Said | None = None
    against: str = ""

    @property
    def id(self) -> str:
        return self.reference.partition(":")[2]


def lot_sources(session: Session, words: Words) -> list[Source]:
    """Every lot, the newest first; those with nothing left come last."""
    stories = load_lot_stories(session, list_lots(session))
    found = [
        _lot_source(story.info, stock_ledger(story.facts, story.lot.id, words.now).balance_kg, words)
        for story in stories
    ]
    return sorted(found, key=lambda source: (source.left_kg or 0.0) <= 0.0)


def _lot_source(lot: LotInfo, left_kg: float, words: Words) -> Source:
    assert words.now is not None
    told = lot.moisture_fact(words.now)
    moisture = getattr(told, "value", None) if told is not None else None
    if told is not None and moisture is None:
        moisture = getattr(told, "moisture_wb", None)
    said = f"{words.percent(moisture)} on {words.date(told.at)}" if told is not None and moisture is not None else ""
    is_held = lot.declaration is None
    alive = _alive(lot, words.now)
    line = f"{lot.name} · {lot.species} · {words.mass(left_kg)} left · {alive.text}"
    line += " · not declared" if is_held else ""
    return Source(
        f"lot:{lot.id}",
        lot.name,
        lot.species,
        line,
        left_kg,
        moisture,
        said,
        is_held,
        alive=alive,
        against=against_lot(lot, words.now),
    )


def _alive(lot: LotInfo, now: datetime) -> Said:
    """The verdict on the lot, and why, in a line. Untested grain may be dead: here, where it is charged, a notice."""
    found = lot_verdict(lot, now)
    status = "notice" if found.verdict == UNTESTED else found.status
    return Said(status, found.word, unbroken_figures(found.reason))


def batch_source(history: History, words: Words) -> Source:
    """A batch as a source: what should still be in it, and how moist it is now."""
    return judged_alone(history, lambda each: _batch_source(each, words))


def _batch_source(history: History, words: Words) -> Source:
    assert words.now is not None
    moisture = moisture_at(history, until_when(history, words.now))
    number = f"Batch {history.batch.number}"
    name = f"{number}, {history.batch.title}" if history.batch.title else number
    left = left_as_is_kg(history, words)
    begun = all_stages(history)
    stands_against = against(history, words.now)
    held = "held" if history.undeclared_lots or stands_against else ""
    place = begun[-1].word if begun else UNJUDGED if history.is_set_aside else ""
    line = " · ".join(each for each in (name, history.batch.species, place, held) if each)
    said = ""
    if moisture is not None:
        about = "about " if moisture.is_estimate else ""
        said = moisture.said(lambda value, half: f"{about}{words.percent(value, half)}")
    return Source(
        f"batch:{history.batch.id}",
        name,
        history.batch.species,
        line,
        left,
        moisture.moisture_wb if moisture is not None and moisture.is_told else None,
        said,
        bool(history.undeclared_lots),
        history,
        against=stands_against,
    )


def until_when(history: History, now: datetime) -> datetime:
    """Until when its moisture is reckoned: malt that is done keeps it, as far as one knows."""
    begun = all_stages(history)
    return begun[-1].starts_at if begun and begun[-1].name in ENDED else now


def left_as_is_kg(history: History, words: Words) -> float | None:
    """What should still be in a batch: its malt less what was packed or taken, or its dry matter at its moisture."""
    assert words.now is not None
    found = account(history, words.now)
    moisture = moisture_at(history, until_when(history, words.now))
    if found.outturn_as_is_kg is not None:
        weighed = max((fact.at for fact in history.of_kind("outturn")), default=words.now)
        gone = sum(part.as_is_kg for part in history.departures if part.at >= weighed)
        return max(found.outturn_as_is_kg - gone, 0.0)
    if found.left_dry_kg is None or moisture is None or not moisture.is_told:
        return None
    return found.left_dry_kg / (1.0 - moisture.moisture_wb)


def pack_sources(session: Session, known: Mapping[str, History], words: Words) -> list[Source]:
    """The packs that something is left in, the newest first, with the species of the batch that filled them.

    known: Histories that were loaded already; those of other batches are loaded here.
    """
    assert words.now is not None
    stories = load_pack_stories(session, list_packs(session, limit=CHOICES))
    stories = [story for story in stories if pack_ledger(story.facts, story.pack.id).balance_kg > LEAST_LEFT_KG]
    filled_by = {batch_id for story in stories for batch_id in story.batch_ids}
    histories = {**known, **load_histories(session, sorted(filled_by - known.keys()))}
    species = {batch_id: history.batch.species for batch_id, history in histories.items()}
    return [pack_source(story, species, words, *_held(story, histories, words.now)) for story in stories]


def _held(story: PackStory, histories: Mapping[str, History], now: datetime) -> tuple[bool, str]:
    """Whether nobody declared its grain or knows it; and what stands against it as food."""
    behind = [histories[batch_id] for batch_id in story.batch_ids if batch_id in histories]
    is_undeclared = not behind or any(history.undeclared_lots or not history.lots for history in behind)
    return is_undeclared, _against(behind, now)


def _against(histories: Iterable[History], now: datetime) -> str:
    """What stands against the grain of these batches as food, in words."""
    return judged(histories, lambda each: " ".join(words for history in each if (words := against(history, now))))


def pack_source(
    story: PackStory, species: Mapping[str, str], words: Words, is_held: bool = False, against: str = ""
) -> Source:
    """A pack as a source. species: that of each batch, by its id."""
    ledger = pack_ledger(story.facts, story.pack.id)
    name, left, moisture = story.pack.name, ledger.balance_kg, ledger.moisture_wb
    kind = next((species[batch_id] for batch_id in story.batch_ids if batch_id in species), "barley")
    said = words.percent(moisture) if moisture is not None else ""
    line = f"{name} · {kind} · {words.mass(left)} left{' · held' if is_held or against else ''}"
    return Source(f"pack:{story.pack.id}", name, kind, line, left, moisture, said, is_held, against=against)


def pack_against(session: Session, pack_id: str, now: datetime) -> str:
    """What stands against the malt of a pack as food, in words."""
    (story,) = load_pack_stories(session, [get_pack(session, pack_id)])
    histories = load_histories(session, story.batch_ids)
    return _against(histories.values(), now)
