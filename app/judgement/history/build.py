"""From facts to Histories: one way for the store, for a file's records, and for tests."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime
from typing import Any

from app.judgement.facts.fields import BadValues
from app.judgement.facts.records import fact_from_record
from app.judgement.facts.shapes import Answer, Fact, Part, Subject, Withdrawal
from app.judgement.history.history import BatchInfo, History, LotInfo, in_order, standing
from app.judgement.history.superseding import chains
from app.judgement.programmes.programme import Programme, load_builtin

LEARNED = "fitted"
"""The key of a batch's measures record under which the forecasts keep what they learned of it."""

MOST_TAUGHT = 10
"""Earlier batches of a lot that its next one learns from: what was malted last tells the most of the grain as it is."""


@dataclass(frozen=True)
class Taught:
    """What an ended batch taught of a lot that it was charged from: its measures record."""

    lot_id: str
    batch_id: str
    ended_at: datetime
    record: Mapping[str, Any]


@dataclass(frozen=True)
class Pool:
    """Facts by what they are about; parts, and what corrects a part, by each of its ends."""

    about: Mapping[Subject, Sequence[Fact]]
    instruments: Sequence[Fact]

    @classmethod
    def read(cls, facts: Iterable[Fact]) -> Pool:
        facts, about = list(facts), dict[Subject, list[Fact]]()
        ends = {fact.id: {fact.source, fact.target} for fact in facts if isinstance(fact, Part)}
        for fact in facts:
            # A part may be struck out by a fact that is about its other end.
            for subject in {fact.subject} | ends.get(fact.id, set()) | ends.get(fact.supersedes_id or "", set()):
                about.setdefault(subject, []).append(fact)
        return cls(about, [fact for fact in facts if fact.subject.type == "instrument"])

    def chained(self, subject: Subject) -> Sequence[Fact]:
        """The facts about a subject, and those that supersede them."""
        return self.about.get(subject, [])


@dataclass(frozen=True)
class Known:
    """What Histories are made of. lots: by id, their facts not yet among them."""

    pool: Pool
    lots: Mapping[str, LotInfo] = field(default_factory=dict)
    programmes: Mapping[str, Programme] = field(default_factory=dict)
    taught: Sequence[Taught] = ()


def build_history(batch: BatchInfo, known: Known) -> History:
    """The History of a batch, with what happened to its grain before it was split off or merged."""
    pool, own = known.pool, Subject("batch", batch.id)
    lot_ids = sorted(_lot_ids(own, pool, set()))
    return History.build(
        batch,
        [*pool.chained(own), *_inherited(own, pool, {own})],
        programmes=known.programmes,
        lots=[_with_facts(known.lots[lot_id], pool) for lot_id in lot_ids if lot_id in known.lots],
        instruments=pool.instruments,
        prior=_prior(batch, lot_ids, known.taught),
    )


def history_from_records(
    records: Iterable[Mapping[str, Any]], programmes: Mapping[str, Programme] | None = None
) -> History:
    """The History of the one batch that records are about, in the format of sync and export.

    Beside facts there may be one record with `"record": "batch"` (id, number, title, species, programme), and any with
    `"record": "lot"` or `"record": "programme"`. Where the batch has no record of its own, it is the one that the facts
    are about. Built-in programmes are known unless others are given. BadValues names what can't be read.
    """
    by_type: dict[str, list[Mapping[str, Any]]] = {}
    for record in records:
        by_type.setdefault(str(record.get("record", "fact")), []).append(record)
    facts = [fact_from_record(record) for record in by_type.get("fact", ())]
    own = (Programme.from_dict(record["content"]) for record in by_type.get("programme", ()))
    given = load_builtin().values() if programmes is None else programmes.values()
    lots = {source: LotInfo(source, source, "barley") for source in _lots_named(facts)}
    lots |= {str(record["id"]): _lot_of(record) for record in by_type.get("lot", ())}
    known = Known(Pool.read(facts), lots, {programme.digest: programme for programme in (*given, *own)})
    return build_history(_batch_of(by_type.get("batch", ()), facts), known)


def priors_from_measures(records: Iterable[Mapping[str, Any]]) -> dict[str, list[Mapping[str, Any]]]:
    """What the measures records of a lot's earlier batches say to its next one: `History.prior`.

    Records that hold nothing learned (made before there were forecasts) are left out.
    """
    told: dict[str, list[Mapping[str, Any]]] = {}
    for record in records:
        for name, learned in (record.get(LEARNED) or {}).items():
            told.setdefault(name, []).append(learned)
    return told


def _prior(batch: BatchInfo, lot_ids: Sequence[str], taught: Sequence[Taught]) -> dict[str, list[Mapping[str, Any]]]:
    """What the lot's earlier batches taught: the last of those that had ended when this one was opened."""
    # Grain of several lots together is like none of them.
    if len(lot_ids) != 1 or batch.created_at is None:
        return {}
    others = (lesson for lesson in taught if lesson.lot_id == lot_ids[0] and lesson.batch_id != batch.id)
    ended = [lesson.record for lesson in others if lesson.ended_at <= batch.created_at]
    return priors_from_measures(ended[-MOST_TAUGHT:])


def _sources(subject: Subject, pool: Pool) -> list[Part]:
    """The standing parts that came into a subject, the largest first."""
    about_parts = [fact for fact in pool.chained(subject) if isinstance(fact, Part | Withdrawal)]
    parts = [fact for fact in standing(chains(about_parts)) if isinstance(fact, Part)]
    return sorted((part for part in parts if part.target == subject), key=lambda part: -part.dry_kg)


def _inherited(subject: Subject, pool: Pool, seen: set[Subject]) -> list[Fact]:
    """What happened to the grain before it was split off or merged: told by the largest of the batches it came from."""
    origin = next((part for part in _sources(subject, pool) if part.kind in ("split", "merge")), None)
    if origin is None or origin.source in seen:
        return []
    seen.add(origin.source)
    before = [
        fact
        for fact in pool.chained(origin.source)
        if fact.subject == origin.source
        and fact.at <= origin.at
        and not isinstance(fact, Answer)
        and not (isinstance(fact, Part) and fact.source == origin.source)
    ]
    return before + _inherited(origin.source, pool, seen)


def _lot_ids(subject: Subject, pool: Pool, seen: set[Subject]) -> set[str]:
    if subject in seen:
        return set()
    seen.add(subject)
    ids: set[str] = set()
    for part in _sources(subject, pool):
        ids |= {part.source.id} if part.source.type == "lot" else _lot_ids(part.source, pool, seen)
    return ids


def _with_facts(lot: LotInfo, pool: Pool) -> LotInfo:
    facts = [fact for fact in pool.chained(Subject("lot", lot.id)) if fact.subject.type == "lot"]
    return replace(lot, facts=tuple(in_order(chains(facts))))


def _batch_of(records: Sequence[Mapping[str, Any]], facts: Sequence[Fact]) -> BatchInfo:
    if len(records) > 1:
        raise BadValues({"record": "These records are about more than one batch."})
    if records:
        names = ("id", "number", "title", "species", "vessel", "programme")
        return BatchInfo(**{name: records[0][name] for name in names if records[0].get(name) is not None})
    about = {fact.subject.id for fact in facts if fact.subject.type == "batch"}
    if len(about) != 1:
        raise BadValues({"subject": f"These records are about {len(about)} batches, not one."})
    return BatchInfo(id=about.pop())


def _lots_named(facts: Iterable[Fact]) -> set[str]:
    return {fact.source.id for fact in facts if isinstance(fact, Part) and fact.source.type == "lot"}


def _lot_of(record: Mapping[str, Any]) -> LotInfo:
    told = {name: str(record.get(name) or "") for name in ("id", "name", "species", "variety", "harvest")}
    return LotInfo(
        told["id"], told["name"] or told["id"], told["species"] or "barley", told["variety"], harvest=told["harvest"]
    )
