"""Where grain may come from: lots with their stock, batches, and packs of malt."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import NamedTuple

from sqlalchemy.orm import Session

from app.judgement.grain.lot_verdict import UNTESTED, lot_verdict
from app.judgement.grain.stock import pack_ledger, stock_ledger
from app.judgement.history.guard import UNJUDGED, judged, judged_alone
from app.judgement.history.history import BatchInfo, History, LotInfo
from app.judgement.history.stages import WORDS as STAGE_WORDS
from app.judgement.history.stages import all_stages
from app.judgement.malt.holds import against, against_lot
from app.judgement.measures.left import Left, left
from app.judgement.wording import Words
from app.store.batches import Batch, list_batches
from app.store.digests import BatchDigest, get_digests
from app.store.history import info_of, load_histories
from app.store.lots import list_lots, load_lot_stories
from app.store.packs import PackStory, get_pack, list_packs, load_pack_stories
from app.store.stock import list_stock_kg
from app.web.summary.batch_rows import is_fresh, remembered
from app.web.words.facts import Said
from app.web.words.figures import unbroken_figures

LEAST_LEFT_KG = 1e-6
CHOICES = 60
"""As many sources as one still looks through; older ones are reached from their own pages."""


LOTS_OFFERED = 20
"""As many lots at a time; any other is found by its name."""


@dataclass(frozen=True)
class Source:
    """Something grain comes out of. left_kg: as it is, None where it isn't known. moisture_wb: the last one known.

    alive: of a lot, whether it is, and by which test. against: what stands against it as food, in words. since: when
    grain first came into a lot or a pack.
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
    since: datetime | None = None

    @property
    def id(self) -> str:
        return self.reference.partition(":")[2]


def lot_sources(session: Session, words: Words, *, like: str = "", wanted: Collection[str] = ()) -> list[Source]:
    """The lots that something is left of, the newest first, then the others; at most so many as one looks through.

    like: words that each holds. wanted: the ids of lots that are among them in any case.
    """
    left = {lot_id for lot_id, kg in list_stock_kg(session).items() if kg > LEAST_LEFT_KG}
    lots = list_lots(session, first=left, like=like, limit=LOTS_OFFERED)
    missing = set(wanted) - {lot.id for lot in lots}
    stories = load_lot_stories(session, lots + (list_lots(session, ids=missing) if missing else []))
    sources = [
        _lot_source(story.info, stock_ledger(story.facts, story.lot.id, words.now).balance_kg, words)
        for story in stories
    ]
    return sorted(sources, key=lambda source: (source.left_kg or 0.0) <= 0.0)


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
        since=min((fact.at for fact in lot.facts if fact.kind == "intake"), default=None),
    )


def _alive(lot: LotInfo, now: datetime) -> Said:
    """The verdict on the lot, and why, in a line. Untested grain may be dead: here, where it is charged, a notice."""
    verdict = lot_verdict(lot, now)
    status = "notice" if verdict.verdict == UNTESTED else verdict.status
    return Said(status, verdict.word, unbroken_figures(verdict.reason))


def batch_source(history: History, words: Words) -> Source:
    """A batch as a source: what should still be in it, and how moist it is now."""
    return judged_alone(history, lambda each: _batch_source(each, words))


def _batch_source(history: History, words: Words) -> Source:
    assert words.now is not None
    begun = all_stages(history)
    place = begun[-1].word if begun else UNJUDGED if history.is_set_aside else ""
    found = _source_of(history.batch, left(history, words.now), place, words)
    return replace(found, history=history)


def ended_sources(session: Session, ended: Sequence[tuple[Batch, BatchDigest]], words: Words) -> list[Source]:
    """Batches that have ended as sources, by what is remembered of them; without it, by their facts."""
    lefts = _remembered(digest for _, digest in ended)
    histories = load_histories(session, [batch.id for batch, _ in ended if batch.id not in lefts])
    return [
        batch_source(histories[batch.id], words)
        if batch.id in histories
        else _source_of(info_of(batch), lefts[batch.id], STAGE_WORDS[digest.stage], words)
        for batch, digest in ended
    ]


def _remembered(digests: Iterable[BatchDigest]) -> dict[str, Left]:
    """What is left of batches, by their digests."""
    return {digest.batch_id: known for digest in digests if (known := remembered(digest).left) is not None}


def _source_of(batch: BatchInfo, found: Left, place: str, words: Words) -> Source:
    number = f"Batch {batch.number}"
    name = f"{number}, {batch.title}" if batch.title else number
    held = "held" if not found.is_declared or found.against else ""
    return Source(
        f"batch:{batch.id}",
        name,
        batch.species,
        " · ".join(each for each in (name, batch.species, place, held) if each),
        found.as_is_kg,
        found.moisture_wb if found.is_told else None,
        found.moisture_said(words.percent),
        not found.is_declared,
        against=found.against,
    )


def pack_sources(session: Session, histories: Mapping[str, History], words: Words) -> list[Source]:
    """The packs that something is left in, the newest first, with the species of the batch that filled them.

    histories: those that were loaded already.
    """
    assert words.now is not None
    stories = load_pack_stories(session, list_packs(session, limit=CHOICES))
    stories = [story for story in stories if pack_ledger(story.facts, story.pack.id).balance_kg > LEAST_LEFT_KG]
    filled_by = sorted({batch_id for story in stories for batch_id in story.batch_ids})
    behind = _behind(session, filled_by, histories, words.now)
    species = {batch_id: each.species for batch_id, each in behind.items()}
    return [
        pack_source(story, species, words, *_held([behind[each] for each in story.batch_ids if each in behind]))
        for story in stories
    ]


class _Behind(NamedTuple):
    """A batch that filled a pack. is_held: nobody declared its grain or knows it."""

    species: str
    is_held: bool
    against: str


def _behind(session: Session, batch_ids: list[str], known: Mapping[str, History], now: datetime) -> dict[str, _Behind]:
    """By what is remembered of these batches; of those that go on or were changed since, by their facts."""
    batches = {batch.id: batch for batch in list_batches(session, ids=batch_ids)} if batch_ids else {}
    found = {}
    for batch_id, digest in get_digests(session, batch_ids).items():
        left_of_it = remembered(digest).left if is_fresh(batches[batch_id], digest) else None
        if left_of_it is not None:
            is_held = not (left_of_it.is_declared and left_of_it.is_known)
            found[batch_id] = _Behind(batches[batch_id].species, is_held, left_of_it.against)
    others = [each for each in batch_ids if each not in found]
    histories = {**load_histories(session, [other for other in others if other not in known]), **known}
    for history in (histories[other] for other in others):
        is_held = bool(history.undeclared_lots) or not history.lots
        found[history.batch.id] = _Behind(history.batch.species, is_held, _against([history], now))
    return found


def _held(behind: Sequence[_Behind]) -> tuple[bool, str]:
    """Whether nobody declared its grain or knows it; and what stands against it as food."""
    return not behind or any(each.is_held for each in behind), " ".join(each.against for each in behind if each.against)


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
    since, reference = story.fillings[0].at if story.fillings else None, f"pack:{story.pack.id}"
    return Source(reference, name, kind, line, left, moisture, said, is_held, against=against, since=since)


def pack_against(session: Session, pack_id: str, now: datetime) -> str:
    """What stands against the malt of a pack as food, in words."""
    (story,) = load_pack_stories(session, [get_pack(session, pack_id)])
    histories = load_histories(session, story.batch_ids)
    return _against(histories.values(), now)
