"""Short stories of a batch, told in hours from first water, and what the rules say of them."""

from __future__ import annotations

from copy import deepcopy
from datetime import UTC, datetime, timedelta
from functools import cache
from typing import Any

from app.judgement.flags import Flag, evaluate
from app.judgement.history.build import history_from_records
from app.judgement.history.history import History
from app.judgement.programmes.programme import Programme

HOUR_ZERO = datetime(2026, 3, 2, 6, 0, tzinfo=UTC)
MARK = {"mark": "M", "source": "from memory"}


def _band(low: float | None = None, high: float | None = None) -> dict[str, Any]:
    return {name: value for name, value in (("low", low), ("high", high)) if value is not None} | MARK


def _limit(target: tuple[Any, Any], caution: tuple[Any, Any], act: tuple[Any, Any] = (None, None)) -> dict[str, Any]:
    bands = {"target": target, "caution": caution, "act": act}
    return {name: _band(*band) for name, band in bands.items() if band != (None, None)}


def _step(stage: str, hours: float, **more: Any) -> dict[str, Any]:
    return {"stage": stage, "hours": hours, **more, **MARK}


CONTENT: dict[str, Any] = {
    "key": "test_malt",
    "name": "Test malt",
    "species": ["barley"],
    "purpose": "base",
    "scale": "floor",
    "husked": True,
    "steps": [
        _step("immersion", 6, water_c=14, moisture_wb=0.32, chitted_fraction=0),
        _step("air_rest", 14, grain_c=15, moisture_wb=0.34, chitted_fraction=0.2),
        _step("immersion", 6, water_c=14, moisture_wb=0.44, chitted_fraction=0.85),
        _step("germination", 120, grain_c=15, moisture_wb=0.43, acrospire=0.75),
        _step("kilning", 5, phase="withering", grain_c=25, air_on_c=52, moisture_wb=0.22),
        _step("kilning", 5, phase="drying", grain_c=45, air_on_c=62, moisture_wb=0.1),
        _step("kilning", 4, phase="curing", grain_c=78, air_on_c=82, moisture_wb=0.045),
        _step("cooling", 1, grain_c=28),
    ],
    "limits": {
        "water_temperature.immersion": _limit((12, 18), (8, 20), (None, 24)),
        "immersion_h": _limit((4, 8), (None, 10), (None, 14)),
        "immersion_chitted_h": _limit((None, 3), (None, 4), (None, 6)),
        "air_rest_h": _limit((6, 20), (None, 24), (None, 36)),
        "grain_temperature.air_rest": _limit((8, 20), (5, 22), (None, 25)),
        "chits_h30": _limit((None, None), (0.2, None)),
        "cast_chits": _limit((0.8, None), (0.7, None)),
        "cast_moisture": _limit((0.42, 0.46), (0.40, 0.48), (None, 0.5)),
        "grain_temperature.germination": _limit((12, 18), (10, 20), (None, 25)),
        "germination_d": _limit((4, 6), (3, 7), (None, 9)),
        "acrospire": _limit((0.7, 0.8), (0.6, 0.9), (None, 1)),
        "air_on_temperature.withering": _limit((50, 55), (None, 62), (None, 70)),
        "air_on_temperature.drying": _limit((50, 65), (None, 72), (None, 80)),
        "air_on_temperature.curing": _limit((60, 85), (None, 90), (None, 100)),
        "final_moisture": _limit((0.04, 0.05), (None, 0.06), (None, 0.08)),
        "turning_h": _limit((None, None), (None, 10), (None, 14)),
        "warm_wet_h": _limit((None, None), (None, 6), (None, 12)),
        "grain_temperature.bagging": _limit((None, 30), (None, 35)),
    },
    "ceiling": [
        {"moisture_above_wb": 0.25, "grain_c": 50, **MARK},
        {"moisture_above_wb": 0.12, "grain_c": 60, **MARK},
        {"moisture_above_wb": 0.08, "grain_c": 76, **MARK},
        {"moisture_above_wb": 0.0, "grain_c": 86, **MARK},
    ],
    "settings": {
        "immersion_q10": {"value": 2, **MARK},
        "immersion_reference_c": {"value": 16, **MARK},
        "immersion_aerated_factor": {"value": 1.5, **MARK},
        "immersion_chitted_from": {"value": 0.3, **MARK},
        "withering_until_wb": {"value": 0.25, **MARK},
        "drying_until_wb": {"value": 0.12, **MARK},
        "charge_moisture_wb": {"value": 0.12, **MARK},
    },
}
STEWED: dict[str, Any] = CONTENT | {
    "key": "test_caramel",
    "purpose": "caramel",
    "ceiling": [],
    "limits": CONTENT["limits"]
    | {
        "grain_temperature.stewing": _limit((60, 72), (55, 75), (None, 80)),
        "stewing_h": _limit((1, 3), (None, 4), (None, 6)),
    },
}
ROASTED: dict[str, Any] = CONTENT | {
    "key": "test_roast",
    "purpose": "roasted",
    "ceiling": [],
    "steps": [_step("kilning", 1, phase="roasting", grain_c=150, moisture_wb=0.03), _step("cooling", 1, grain_c=28)],
    "limits": {
        "grain_temperature.roasting": _limit((None, 220), (None, 225), (None, 230)),
        "grain_temperature.bagging": _limit((None, 30), (None, 35)),
    },
}


@cache
def programme_named(key: str) -> Programme:
    contents = {"base": CONTENT, "stewed": STEWED, "roasted": ROASTED}
    return Programme.from_dict(deepcopy(contents[key]))


LOT_TEST = (
    {
        "id": "lot-test",
        "kind": "germination_test",
        "subject": {"type": "lot", "id": "l1"},
        "at": (HOUR_ZERO - timedelta(hours=40)).isoformat(),
        "method": "4ml",
        "place": "dish 1",
        "values": {"looked_at": 100, "counts": {"day_1": 60, "day_2": 36, "day_3": 3}},
    },
)


class Story:
    """Facts about batch b1, written down one after the other; ids are f1, f2 ... in the order of writing."""

    def __init__(self, programme: str = "base", species: str = "barley") -> None:
        self.programme = programme_named(programme)
        self.species = species
        self.records: list[dict[str, Any]] = []
        self.is_lot_tested = True

    def tell(self, hour: float, kind: str, values: dict[str, Any] | None = None, **envelope: Any) -> str:
        at = HOUR_ZERO + timedelta(hours=hour)
        number = f"f{len(self.records) + 1}"
        subject = envelope.pop("subject", ("batch", "b1"))
        self.records.append(
            {
                "id": number,
                "kind": kind,
                "subject": {"type": subject[0], "id": subject[1]},
                "earliest_at": at.isoformat(),
                "latest_at": at.isoformat(),
                "person": "Anna",
                "values": values or {},
                **envelope,
            }
        )
        return number

    def read(self, hour: float, kind: str, value: float, **envelope: Any) -> str:
        return self.tell(hour, kind, {"value": value}, **envelope)

    def grain(self, hour: float, value: float, place: str | None = None) -> str:
        return self.read(hour, "grain_temperature", value, place=place)

    def declare(self, untreated: str = "yes", for_food: str = "yes") -> Story:
        findings = {"untreated": untreated, "for_food": for_food, "by": "Anna", "ground": "letter"}
        self.tell(-30, "declaration", {"findings": findings}, subject=("lot", "l1"))
        return self

    def charge(self, kilograms: float = 20.0, hour: float = -0.5) -> Story:
        part = {"as_is_kg": kilograms, "moisture_wb": 0.12, "dry_kg": kilograms * 0.88}
        ends = {"source": {"type": "lot", "id": "l1"}, "target": {"type": "batch", "id": "b1"}}
        self.tell(hour, "charge", ends | part, method="measured")
        return self

    def begin(self) -> Story:
        """Declared, charged, and under water from hour 0."""
        self.declare().charge().tell(0, "steep_on", method="still")
        return self

    def grow(self, cast_hour: float = 40.0) -> Story:
        """Steeped without a fault, cast at 44 %."""
        self.begin()
        self.tell(6, "drained")
        self.grain(13, 15.0)
        self.tell(20, "steep_on", method="still")
        self.tell(26, "drained")
        self.grain(33, 15.0)
        self.bag_start()
        self.bag(cast_hour - 0.2, 0.44)
        self.tell(cast_hour, "cast")
        return self

    def kiln(self, hour: float = 160.0, moisture_wb: float = 0.44) -> Story:
        """Grown, turned in time, and loaded at a known moisture."""
        self.grow()
        for turn in range(48, int(hour), 8):
            self.tell(turn, "turned")
        self.grain(hour - 1, 15.0)
        self.tell(hour, "loaded")
        self.tell(hour, "moisture_test", {"value": moisture_wb}, method="oven_two_stage")
        self.tell(hour + 0.1, "heat_on")
        return self

    def bag_start(self, hour: float = -0.25, net_kg: float = 0.5, vessel: str = "bag 1") -> str:
        values = {"vessel": vessel, "gross_kg": net_kg + 0.03, "tare_kg": 0.03, "net_kg": net_kg, "moisture_wb": 0.12}
        return self.tell(hour, "test_bag_start", values)

    def bag(self, hour: float, moisture_wb: float, vessel: str = "bag 1", start_kg: float = 0.5) -> str:
        """A bag blotted and weighed at that moisture, the first hundredth of its dry matter gone."""
        net = start_kg * 0.88 * 0.99 / (1.0 - moisture_wb)
        values = {"vessel": vessel, "gross_kg": net + 0.03, "tare_kg": 0.03, "net_kg": net}
        return self.tell(hour, "test_bag", values, method="blotted")

    def chits(self, hour: float, chitted: int, looked_at: int = 100) -> str:
        return self.tell(hour, "chit_count", {"looked_at": looked_at, "counts": {"chitted": chitted}})

    def growth(self, hour: float, *counts: int) -> str:
        names = ("to_quarter", "quarter_to_half", "half_to_three_quarters", "three_quarters_to_full", "over")
        tally = dict(zip(names, counts, strict=True))
        return self.tell(hour, "growth_count", {"looked_at": sum(counts), "counts": tally})

    def look(self, hour: float, *, place: str | None = None, ergot_kg: float | None = None, **findings: str) -> str:
        values: dict[str, Any] = {"findings": {"mould": "no", **findings}}
        if ergot_kg is not None:
            values["ergot_kg"] = ergot_kg
        return self.tell(hour, "inspection", values, place=place)

    def tray(self, hour: float, net_kg: float, vessel: str = "tray 1") -> str:
        return self.tell(hour, "tray", {"vessel": vessel, "gross_kg": net_kg + 1, "tare_kg": 1, "net_kg": net_kg})

    def answer(
        self, hour: float, rule: str, episode: str, answer: str, severity: str, until_hour: float | None = None
    ) -> str:
        values = {"rule": rule, "episode_id": episode, "answer": answer, "severity": severity}
        if until_hour is not None:
            values["until_at"] = moment(until_hour).isoformat()
        return self.tell(hour, "flag_answer", values)

    def _lot_test(self) -> tuple[dict[str, Any], ...]:
        """A test that speaks well, where the story tells of none."""
        is_told = any(record["kind"] == "germination_test" for record in self.records)
        return LOT_TEST if self.is_lot_tested and not is_told else ()

    def all_records(self) -> list[dict[str, Any]]:
        batch = {"record": "batch", "id": "b1", "species": self.species, "programme": self.programme.digest}
        lot = {"record": "lot", "id": "l1", "name": "Hill field", "species": self.species}
        return [batch, lot, *self._lot_test(), *self.records]

    def history(self) -> History:
        return history_from_records(self.all_records(), {self.programme.digest: self.programme})

    def flags(self, hour: float, rule: str | None = None) -> list[Flag]:
        """What is flagged at an hour, by one rule or by all."""
        found = evaluate(self.history(), moment(hour))
        return [flag for flag in found if rule is None or flag.rule == rule]

    def flag(self, hour: float, rule: str) -> Flag:
        found = self.flags(hour, rule)
        assert len(found) == 1, [flag.title for flag in found]
        return found[0]


def moment(hour: float) -> datetime:
    return HOUR_ZERO + timedelta(hours=hour)


def hour_of(at: datetime | None) -> float | None:
    return None if at is None else round((at - HOUR_ZERO).total_seconds() / 3600.0, 3)
