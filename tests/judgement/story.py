"""The records of a batch, written as one would tell them: at which hour, what, with which figures."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from typing import Any

from app.judgement.history.build import history_from_records
from app.judgement.history.history import History

ZERO = datetime(2026, 1, 5, 6, 0, tzinfo=UTC)
Record = dict[str, Any]
LOT = {"type": "lot", "id": "lot-1"}
BATCH = {"type": "batch", "id": "batch-1"}


def at(hour: float) -> datetime:
    """The moment of an hour of the story."""
    return ZERO + timedelta(hours=hour)


def iso(hour: float) -> str:
    return at(hour).isoformat()


@dataclass
class Story:
    """Records of one batch, told in any order. programme: the key of a built-in one."""

    programme: str | None = None
    records: list[Record] = field(default_factory=list)

    def say(self, hour: float, kind: str, values: Mapping[str, Any] | None = None, **envelope: Any) -> str:
        """Write one fact down, and give its id."""
        fact_id = envelope.pop("id", f"fact-{len(self.records):03d}")
        self.records.append(
            {"id": fact_id, "kind": kind, "subject": BATCH, "at": iso(hour), "values": dict(values or {})} | envelope
        )
        return str(fact_id)

    def charge(self, as_is_kg: float, moisture_wb: float, hour: float = 0.0, lot: str = "lot-1", **more: Any) -> str:
        values = {
            "source": {"type": "lot", "id": lot},
            "target": BATCH,
            "as_is_kg": as_is_kg,
            "moisture_wb": moisture_wb,
        }
        return self.say(hour, "charge", values, **({"method": "measured"} | more))

    def split(self, hour: float, as_is_kg: float, moisture_wb: float, **more: Any) -> str:
        other = {"type": "batch", "id": "batch-2"}
        values = {"source": BATCH, "target": other, "as_is_kg": as_is_kg, "moisture_wb": moisture_wb}
        return self.say(hour, "split", values, **({"method": "measured"} | more))

    def bag(self, hour: float, net_kg: float, method: str | None = "blotted", **more: Any) -> str:
        return self.say(hour, "test_bag", {"vessel": "bag 1", "net_kg": net_kg}, method=method, **more)

    def bag_start(self, hour: float, net_kg: float, moisture_wb: float | None = None, **more: Any) -> str:
        values: Record = {"vessel": "bag 1", "net_kg": net_kg}
        if moisture_wb is not None:
            values["moisture_wb"] = moisture_wb
        return self.say(hour, "test_bag_start", values, **more)

    def withdraw(self, hour: float, target: str, **envelope: Any) -> str:
        return self.say(hour, "withdrawal", {"reason": "a slip"}, supersedes_id=target, **envelope)

    def history(self, records: Iterable[Record] | None = None) -> History:
        batch: Record = {"record": "batch", "id": BATCH["id"], "number": 1}
        if self.programme is not None:
            from app.judgement.programmes.programme import load_builtin

            batch["programme"] = load_builtin()[self.programme].digest
        return history_from_records([batch, *(self.records if records is None else records)])
