"""What the home page shows."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy.orm import Session

from app.judgement import rules_version
from app.judgement.facts.shapes import Fact, Reading
from app.judgement.history.guard import judged
from app.judgement.history.history import History, in_order
from app.judgement.history.stages import all_stages, is_live
from app.judgement.history.superseding import chains
from app.judgement.measures.summary import Summary
from app.judgement.upkeep.cleaning import cleanings, has_plan_by_batch
from app.judgement.wording import Words
from app.store.batches import Batch, list_batches
from app.store.digests import list_ended
from app.store.history import load_histories
from app.store.house import HOUSE, last_emptied, list_house_facts
from app.store.lots import Lot, list_lots
from app.store.stock import list_stock_kg
from app.web.home.order import Places, order_of
from app.web.summary.batch_rows import remembered, rows_of, summary_now
from app.web.summary.glance import Glance, glance_at
from app.web.words.facts import Said
from app.web.words.grave import anything_smoulders, last_airs

PER_PAGE = 12
"""Live batches on one page: more are hardly in one house, except where digests are behind after an upgrade."""

ENDED_SHOWN = 5
LOTS_SHOWN = 8
LEAST_KG = 1e-6


def standing_facts(session: Session) -> list[Fact]:
    """What stands of what was said of the house, by time."""
    return in_order(chains(list_house_facts(session)))


@dataclass(frozen=True)
class LotLine:
    """A lot that something is left of."""

    id: str
    name: str
    about: str
    left: str
    is_overdrawn: bool


def home_context(session: Session, live_ids: Sequence[str], page: int, words: Words, places: Places) -> dict[str, Any]:
    """Live batches, what is overdue first; lots in stock; and what ended last. A fixed number of statements."""
    first = (page - 1) * PER_PAGE
    if len(live_ids) > PER_PAGE:
        live_ids = places.in_order(session, live_ids, words)
    histories = load_histories(session, live_ids[first : first + PER_PAGE]).values()
    glances, over = judged(histories, lambda begun: _going_and_over(begun, words))
    stock = {lot_id: kg for lot_id, kg in list_stock_kg(session).items() if abs(kg) > LEAST_KG}
    lots = list_lots(session, first=stock, limit=LOTS_SHOWN)
    ended = list_ended(session, rules_version(), limit=ENDED_SHOWN)
    over_rows = [(batch, over[batch.id]) for batch in list_batches(session, ids=list(over))]
    over_rows += [(batch, remembered(digest)) for batch, digest in ended]
    rows = rows_of(sorted(over_rows, key=_ended_at, reverse=True)[:ENDED_SHOWN], words)
    in_stock = [_line(lot, stock[lot.id], words) for lot in lots if lot.id in stock]
    told = standing_facts(session)
    return {
        "airs": list(_airs_now(session, told, words)),
        "to_clean": _to_clean(session, told, words),
        "live": glances,
        "page": page,
        "has_older": len(live_ids) > first + PER_PAGE,
        "lots": in_stock,
        "more_lots": len(stock) - len(in_stock),
        "has_lots": bool(lots),
        "ended": rows,
    }


def _to_clean(session: Session, told: Sequence[Fact], words: Words) -> list[str]:
    """What is overdue to be cleaned, by name."""
    assert words.now is not None
    emptied = last_emptied(session) if has_plan_by_batch(told) else {}
    overdue = [each.subject for each in cleanings(told, emptied) if each.is_overdue(words.now)]
    return ["the house" if subject == HOUSE else subject.id for subject in overdue]


def _airs_now(session: Session, told: Sequence[Fact], words: Words) -> Iterator[tuple[Said, Reading]]:
    """Of each gas the last reading in the house, where it was too much and is no older than air holds."""
    now = words.now
    assert now is not None
    for said, fact in last_airs(told, words, lambda: anything_smoulders(session, now)):
        if said.status in ("caution", "act"):
            yield said, fact


def _going_and_over(histories: Sequence[History], words: Words) -> tuple[list[Glance], dict[str, Summary]]:
    """Those that go on, the most urgent first; and those that have ended, by their ids, in short."""
    going = [history for history in histories if is_live(all_stages(history))]
    over = {history.batch.id: summary_now(history, words) for history in histories if not is_live(all_stages(history))}
    return sorted((glance_at(each, words) for each in going), key=order_of), over


def _ended_at(pair: tuple[Batch, Summary]) -> datetime:
    return pair[1].ended_at or pair[0].created_at


def _line(lot: Lot, left_kg: float, words: Words) -> LotLine:
    about = " · ".join(each for each in (lot.species, lot.harvest) if each)
    return LotLine(lot.id, lot.name, about, words.mass(left_kg) if left_kg > 0.0 else "", left_kg < 0.0)
