"""What is left of each lot, and what left each batch, gathered by the database: for lists, which show no movement."""

from __future__ import annotations

from sqlalchemy import func, select, union_all
from sqlalchemy.orm import Session

from app.store.facts import PART, SHAPE_TABLES, fact, stands

_WEIGHING = SHAPE_TABLES["weighing"]
_WEIGHED = ("intake", "returned", "stock_adjustment")


def list_stock_kg(session: Session) -> dict[str, float]:
    """Kilograms left by the id of each lot that anything was weighed into or charged from. One statement."""
    weighed = (
        select(fact.c.subject_id.label("lot_id"), _WEIGHING.c.net_kg.label("change_kg"))
        .join(_WEIGHING, _WEIGHING.c.fact_seq == fact.c.seq)
        .where(fact.c.subject_type == "lot", fact.c.kind.in_(_WEIGHED), *stands())
    )
    gone = (
        select(PART.c.source_id.label("lot_id"), (-PART.c.as_is_kg).label("change_kg"))
        .join(fact, PART.c.fact_seq == fact.c.seq)
        .where(PART.c.source_type == "lot", *stands())
    )
    moves = union_all(weighed, gone).subquery()
    rows = session.execute(select(moves.c.lot_id, func.sum(moves.c.change_kg)).group_by(moves.c.lot_id))
    return {lot_id: float(kg) for lot_id, kg in rows}
