"""Records of one batch, put together as a History."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from app.judgement.facts.fields import BadValues
from app.judgement.facts.records import fact_from_record
from app.judgement.facts.shapes import Fact, Part, Subject
from app.judgement.history.history import BatchInfo, History, LotInfo, order, standing
from app.judgement.history.superseding import chains
from app.judgement.programmes.programme import Programme, load_builtin


def assemble(records: Sequence[Mapping[str, Any]], programmes: Mapping[str, Programme] | None = None) -> History:
    """The History of the one batch that records are about; built-in programmes are known unless others are given."""
    known = dict(programmes) if programmes is not None else {each.digest: each for each in load_builtin().values()}
    by_type: dict[str, list[Mapping[str, Any]]] = {"fact": [], "lot": [], "batch": [], "programme": []}
    for record in records:
        by_type.setdefault(str(record.get("record", "fact")), []).append(record)
    for record in by_type["programme"]:
        programme = Programme.from_dict(record["content"])
        known[programme.digest] = programme
    facts = [fact_from_record(record) for record in by_type["fact"]]
    batch = _batch(by_type["batch"], facts)
    mine = _touching(Subject("batch", batch.id), facts)
    return History.build(
        batch,
        mine,
        programmes=known,
        lots=_lots(by_type["lot"], facts, mine),
        instruments=[fact for fact in facts if fact.subject.type == "instrument"],
    )


def _touching(about: Subject, facts: Sequence[Fact]) -> list[Fact]:
    """The facts about the batch, the parts into and out of it, and what corrects them, whatever that is about."""
    mine = {
        fact.id
        for fact in facts
        if fact.subject == about or (isinstance(fact, Part) and about in (fact.source, fact.target))
    }
    reached = 0
    while len(mine) > reached:
        reached = len(mine)
        mine |= {fact.id for fact in facts if fact.supersedes_id in mine}
    return [fact for fact in facts if fact.id in mine]


def _batch(records: Sequence[Mapping[str, Any]], facts: Sequence[Fact]) -> BatchInfo:
    if len(records) > 1:
        raise BadValues({"record": "These records are about more than one batch."})
    if records:
        names = ("id", "number", "title", "species", "vessel", "programme")
        return BatchInfo(**{name: records[0][name] for name in names if records[0].get(name) is not None})
    about = {fact.subject.id for fact in facts if fact.subject.type == "batch"}
    if len(about) != 1:
        raise BadValues({"subject": f"These records are about {len(about)} batches, not one."})
    return BatchInfo(id=about.pop())


def _lots(records: Sequence[Mapping[str, Any]], facts: Sequence[Fact], mine: Sequence[Fact]) -> list[LotInfo]:
    own = {str(record["id"]): record for record in records}
    parts = [fact for fact in standing(chains(mine)) if isinstance(fact, Part)]
    sources = {part.source.id for part in parts if part.source.type == "lot"}
    found = []
    for lot_id in sorted(sources):
        about = [fact for fact in facts if fact.subject == Subject("lot", lot_id)]
        record = own.get(lot_id, {})
        found.append(
            LotInfo(
                id=lot_id,
                name=str(record.get("name", lot_id)),
                species=str(record.get("species", "barley")),
                variety=str(record.get("variety", "")),
                facts=tuple(sorted(standing(chains(about)), key=order)),
            )
        )
    return found
