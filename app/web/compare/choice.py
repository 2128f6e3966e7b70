"""Which batches an address asks for, and what to say where they can't be compared."""

from __future__ import annotations

import re
from dataclasses import dataclass

from sqlalchemy.orm import Session
from werkzeug.datastructures import MultiDict

from app.judgement.facts.shapes import Subject
from app.store.batches import Batch, list_batches
from app.store.facts import parts_between
from app.store.lots import Lot, get_lot

FEWEST, MOST = 2, 6
ASK = f"Choose {FEWEST} to {MOST} batches."


@dataclass(frozen=True)
class Choice:
    """The batches asked for, in the order of the address. wrong: why they are not compared; empty where they are."""

    batches: list[Batch]
    wrong: str = ""
    lot: Lot | None = None
    of_lot: frozenset[str] = frozenset()
    page: int = 1

    @property
    def numbers(self) -> list[int]:
        return [batch.number for batch in self.batches]

    @property
    def can_compare(self) -> bool:
        return not self.wrong and len(self.batches) >= FEWEST


def read_choice(session: Session, args: MultiDict[str, str]) -> Choice:
    """The choice of an address: ?batch=3&batch=5, or ?lot=… for the newest batches of that lot."""
    texts = [part for text in args.getlist("batch") for part in re.split(r"[\s,;]+", text) if part]
    numbers = list(dict.fromkeys(int(text) for text in texts if text.isdecimal() and len(text) < 10))
    strange = [text for text in texts if not text.isdecimal() or len(text) >= 10]
    lot = get_lot(session, args["lot"]) if args.get("lot") else None
    of_lot = _batch_ids_of(session, lot) if lot is not None else frozenset()
    page = max(args.get("page", 1, type=int), 1)
    if lot is not None and not texts:
        batches = list_batches(session, ids=sorted(of_lot))[:MOST]
        wrong = "" if len(batches) >= FEWEST else f"{lot.name} has {len(batches) or 'no'} batch so far. {ASK}"
        return Choice(batches, wrong, lot, of_lot, page)
    by_number = (
        {batch.number: batch for batch in list_batches(session, numbers=numbers[: 10 * MOST])} if numbers else {}
    )
    missing = [*strange, *(str(number) for number in numbers if number not in by_number)]
    batches = [by_number[number] for number in numbers if number in by_number]
    return Choice(batches, _wrong(batches, missing), lot, of_lot, page)


def _batch_ids_of(session: Session, lot: Lot) -> frozenset[str]:
    parts = parts_between(session, [Subject("lot", lot.id)])
    return frozenset(part.target.id for part in parts if part.source.id == lot.id and part.target.type == "batch")


def _wrong(batches: list[Batch], missing: list[str]) -> str:
    if missing:
        return f"There is no batch {', '.join(missing)}. {ASK}"
    if len(batches) == 1:
        return f"One batch alone can’t be compared: choose at least one other beside batch {batches[0].number}."
    if len(batches) > MOST:
        return f"{len(batches)} batches are too many to tell apart on one chart: choose at most {MOST}."
    return ""
