"""A batch that runs exactly to its plan, as records: what a faithful maltster would have written down.

`plan_records` gives facts in the record format; `plan_story` puts the records of the batch and its lot before them, so
that history_from_records reads the whole. Everything follows from the programme alone: no chance, no clock.
"""

from __future__ import annotations

import math
import uuid
from bisect import bisect_right
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import Any

from app.judgement.programmes.programme import Programme, Step

NAMESPACE = uuid.UUID("5b0f6c1e-3c0e-4d0a-9a53-6f6c27a3f7d1")
BEFORE_WATER_H = 0.5
GREEN_TRAY_KG, TRAY_TARE_KG = 2.0, 1.2
BAG_KG, BAG_TARE_KG = 0.5, 0.03
KERNELS = 100

Record = dict[str, Any]


@dataclass
class Run:
    """The records written so far; hours are those of the plan."""

    programme: Programme
    hour_zero: datetime
    charge_kg: float
    batch_id: str
    source_id: str
    records: list[Record] = field(default_factory=list)

    def write(self, hour: float, kind: str, values: Record | None = None, **envelope: Any) -> None:
        at = (self.hour_zero + timedelta(seconds=round(hour * 3600))).strftime("%Y-%m-%dT%H:%M:%SZ")
        record = {
            "id": str(uuid.uuid5(NAMESPACE, f"{self.batch_id} {len(self.records)} {kind} {at}")),
            "v": 1,
            "kind": kind,
            "subject": {"type": "batch", "id": self.batch_id},
            "earliest_at": at,
            "latest_at": at,
            "clock": "typed",
            "person": "Anna",
            "values": values or {},
        }
        self.records.append(record | envelope)

    def read(self, hour: float, kind: str, value: float, instrument: str, place: str = "middle") -> None:
        # A reading that never moves is a sign of a dead probe: this one breathes, within half a degree.
        self.write(
            hour, kind, {"value": round(value + 0.4 * math.sin(1.7 * hour), 1)}, instrument=instrument, place=place
        )

    def setting(self, key: str) -> float:
        return self.programme.setting(key) or 0.0

    @property
    def charge_moisture_wb(self) -> float:
        return self.setting("charge_moisture_wb")

    @property
    def dry_kg(self) -> float:
        return self.charge_kg * (1.0 - self.charge_moisture_wb)

    def planned(self, quantity: str, hour: float) -> float:
        """The plan's value at the hour, on the straight line between the ends of its steps."""
        points = self.programme.planned_curve(quantity)
        place = bisect_right([at for at, _ in points], hour)
        if place == 0 or place == len(points):
            return points[min(place, len(points) - 1)][1]
        (from_h, start), (to_h, end) = points[place - 1], points[place]
        return start + (end - start) * (hour - from_h) / (to_h - from_h)

    def timed_steps(self) -> Iterator[tuple[float, Step, Step | None]]:
        """(hour it begins, step, the step before)."""
        hour, before = 0.0, None
        for step in self.programme.steps:
            yield hour, step, before
            hour, before = hour + step.hours, step


def plan_story(programme: Programme, start_at: datetime, charge_kg: float = 20.0) -> list[Record]:
    """The whole story: the batch, its lot with a declaration, and every fact."""
    run = _run(programme, start_at, charge_kg)
    batch = {
        "record": "batch",
        "id": run.batch_id,
        "number": 1,
        "title": f"{programme.name}, to plan",
        "species": programme.species[0],
        "programme": programme.digest,
    }
    if programme.purpose == "roasted":
        return [batch, *plan_records(programme, start_at, charge_kg)]
    lot = {"record": "lot", "id": run.source_id, "name": "Lot of the plan", "species": programme.species[0]}
    return [batch, lot, *plan_records(programme, start_at, charge_kg)]


def plan_records(programme: Programme, start_at: datetime, charge_kg: float = 20.0) -> list[Record]:
    """Every fact of a batch charged at start_at and run exactly to its plan, in order of time."""
    run = _run(programme, start_at, charge_kg)
    if programme.purpose == "roasted":
        _charge_roast(run)
    else:
        _declare_and_charge(run)
    for hour, step, before in run.timed_steps():
        _STEPS[step.stage](run, hour, step, before)
    return sorted(run.records, key=lambda record: record["earliest_at"])


def _run(programme: Programme, start_at: datetime, charge_kg: float) -> Run:
    lead_in = timedelta(hours=0.0 if programme.is_roast else BEFORE_WATER_H)
    name = f"{programme.digest} {start_at.isoformat()}"
    batch_id, source_id = (str(uuid.uuid5(NAMESPACE, f"{noun} {name}")) for noun in ("batch", "source"))
    return Run(programme, start_at + lead_in, charge_kg, batch_id, source_id)


def _declare_and_charge(run: Run) -> None:
    lot = {"type": "lot", "id": run.source_id}
    findings = {"untreated": "yes", "for_food": "yes", "by": "Anna", "ground": "letter of the grower"}
    run.write(-48.0, "declaration", {"findings": findings}, subject=lot)
    run.write(-47.0, "moisture_test", {"value": run.charge_moisture_wb}, subject=lot, method="oven_grain")
    grown = {"looked_at": 100, "counts": {"day_1": 60, "day_2": 36, "day_3": 3}}
    for dish in ("dish 1", "dish 2"):
        run.write(-46.0, "germination_test", grown, subject=lot, method="4ml", place=dish)
    batch = {"type": "batch", "id": run.batch_id}
    part = {"as_is_kg": run.charge_kg, "moisture_wb": run.charge_moisture_wb, "dry_kg": run.dry_kg}
    charged_h = 0.0 if run.programme.is_roast else -BEFORE_WATER_H
    run.write(charged_h, "charge", {"source": lot, "target": batch, **part}, method="measured")
    if run.programme.is_roast:
        return
    bag = {"vessel": "bag 1", "gross_kg": BAG_KG + BAG_TARE_KG, "tare_kg": BAG_TARE_KG, "net_kg": BAG_KG}
    run.write(-0.25, "test_bag_start", bag | {"moisture_wb": run.charge_moisture_wb}, instrument="scale 1")


def _charge_roast(run: Run) -> None:
    ends = {"source": {"type": "pack", "id": run.source_id}, "target": {"type": "batch", "id": run.batch_id}}
    part = {"as_is_kg": run.charge_kg, "moisture_wb": run.charge_moisture_wb, "dry_kg": run.dry_kg}
    run.write(0.0, "roast_charge", ends | part, method="measured")


def _nothing(run: Run, start_h: float, step: Step, before: Step | None) -> None:
    """The charge was written before its hour."""


def _immerse(run: Run, start_h: float, step: Step, before: Step | None) -> None:
    run.write(start_h, "steep_on", method="still")
    end_h = start_h + step.hours
    run.read(start_h + 0.2, "water_temperature", step.water_c or 0.0, "thermometer 1")
    run.read(end_h - 0.2, "water_temperature", step.water_c or 0.0, "thermometer 1")
    if step.moisture_wb is not None:
        _weigh_bag(run, end_h - 0.1)
    if step.chitted_fraction:
        _count_chits(run, end_h - 0.15)
    _count_chits_at_30(run, start_h, end_h)


def _rest(run: Run, start_h: float, step: Step, before: Step | None) -> None:
    end_h = start_h + step.hours
    run.write(start_h, "drained")
    run.write(start_h + 0.1, "inspection", {"findings": {"mould": "no", "smell": "clean", "steep": "clear"}})
    for hour in _spread(start_h + 0.5, end_h - 0.3, 4.0):
        run.read(hour, "grain_temperature", step.grain_c or 0.0, "thermometer 1")
    _weigh_bag(run, end_h - 0.1)
    _count_chits(run, end_h - 0.15)
    _count_chits_at_30(run, start_h, end_h)


def _weigh_bag(run: Run, hour: float) -> None:
    net = BAG_KG * (1.0 - run.charge_moisture_wb) / (1.0 - run.planned("moisture_wb", hour))
    values = {"vessel": "bag 1", "gross_kg": net + BAG_TARE_KG, "tare_kg": BAG_TARE_KG, "net_kg": net}
    run.write(hour, "test_bag", values, method="blotted", instrument="scale 1")


def _count_chits(run: Run, hour: float) -> None:
    chitted = round(KERNELS * run.planned("chitted_fraction", hour))
    run.write(hour, "chit_count", {"looked_at": KERNELS, "counts": {"chitted": chitted}})


def _count_chits_at_30(run: Run, start_h: float, end_h: float) -> None:
    if start_h < 30.0 <= end_h - 0.5:
        _count_chits(run, 30.0)


def _germinate(run: Run, start_h: float, step: Step, before: Step | None) -> None:
    end_h = start_h + step.hours
    run.write(start_h, "cast")
    for hour in _spread(start_h + 0.5, end_h - 0.4, 6.0):
        run.read(hour, "grain_temperature", step.grain_c or 0.0, "thermometer 1")
    for hour in _spread(start_h + 6.0, end_h - 2.0, 8.0):
        run.write(hour, "turned")
    for day in range(1, int(step.hours // 24.0) + 1):
        if start_h + 24.0 * day < end_h - 6.0:
            _look_at_growth(run, start_h + 24.0 * day)
    _look_at_growth(run, end_h - 0.5)
    if run.programme.purpose != "chit":
        run.write(end_h - 0.45, "rub_out", {"looked_at": 20, "counts": {"chalky": 19, "pasty": 1}})


def _look_at_growth(run: Run, hour: float) -> None:
    run.write(hour, "inspection", {"findings": {"mould": "no", "smell": "clean", "matting": "none"}})
    mean = run.planned("acrospire", hour)
    if not run.programme.husked:
        lengths = [round(max(0.0, mean + 0.005 * (place - 9.5)), 4) for place in range(20)]
        run.write(hour, "growth_count", {"looked_at": len(lengths), "counts": {}, "lengths": lengths})
    else:
        run.write(hour, "growth_count", {"looked_at": KERNELS, "counts": growth_classes(mean, KERNELS)})


def growth_classes(mean: float, kernels: int) -> dict[str, int]:
    """A count in two neighbouring classes whose mean, by the middles of the classes, is the one given."""
    names = ("to_quarter", "quarter_to_half", "half_to_three_quarters", "three_quarters_to_full")
    above = min(max((mean - 0.125) / 0.25, 0.0), 3.0)
    lower = min(int(above), 2)
    upper_share = above - lower
    counts = {names[lower]: kernels - round(kernels * upper_share), names[lower + 1]: round(kernels * upper_share)}
    return {name: count for name, count in counts.items() if count}


def _stew(run: Run, start_h: float, step: Step, before: Step | None) -> None:
    run.write(start_h, "stew_on")
    for hour in _spread(start_h + 0.3, start_h + step.hours - 0.1, 0.5):
        run.read(hour, "grain_temperature", step.grain_c or 0.0, "probe 1")


def _kiln(run: Run, start_h: float, step: Step, before: Step | None) -> None:
    end_h = start_h + step.hours
    is_roast = run.programme.is_roast
    if before is None or before.stage != "kilning":
        _load(run, start_h, is_roast)
    ramp_h = min(1.0, step.hours / 2.0)
    begins_c = before.grain_c if before is not None and before.grain_c is not None else 20.0
    for hour in [start_h + ramp_h / 2.0, *_spread(start_h + ramp_h, end_h - 0.05, 1.0)]:
        share = min(1.0, (hour - start_h) / ramp_h)
        run.read(hour, "grain_temperature", begins_c + share * ((step.grain_c or 0.0) - begins_c), "probe 1")
        if step.air_on_c is not None and hour > start_h + 0.3:
            run.read(hour, "air_on_temperature", step.air_on_c, "probe 2", "air-on")
    if is_roast:
        run.write(end_h - 0.1, "roast_colour", {"what": "lighter"})
    else:
        # Between weighings the moisture is a guess that widens: near the ceiling a careful hand weighs every hour.
        for hour in _spread(start_h + 1.0, end_h - 0.05, 1.0 if step.phase == "curing" else 2.0):
            _weigh_tray(run, hour)


def _load(run: Run, hour: float, is_roast: bool) -> None:
    if is_roast:
        run.write(hour, "heat_on")
        return
    run.write(hour, "loaded")
    run.write(hour, "moisture_test", {"value": run.planned("moisture_wb", hour)}, method="oven_two_stage")
    _weigh_tray(run, hour + 0.1, green_h=hour + 0.1)
    run.write(hour + 0.2, "heat_on")


def _weigh_tray(run: Run, hour: float, green_h: float | None = None) -> None:
    loaded_h = next(stage.start_h for stage in run.programme.planned_stages() if stage.stage == "kilning")
    green_kg = min(GREEN_TRAY_KG, run.charge_kg)
    dry_kg = green_kg * (1.0 - run.planned("moisture_wb", loaded_h))
    # The first weighing is of the tray as it was loaded: the plan counts drying from there.
    net = green_kg if green_h is not None else dry_kg / (1.0 - run.planned("moisture_wb", hour))
    values = {"vessel": "tray 1", "gross_kg": net + TRAY_TARE_KG, "tare_kg": TRAY_TARE_KG, "net_kg": net}
    run.write(hour, "tray", values, instrument="scale 1")


def _cool(run: Run, start_h: float, step: Step, before: Step | None) -> None:
    end_h = start_h + step.hours
    begins_c, ends_c = (before.grain_c if before and before.grain_c else 60.0), step.grain_c or 25.0
    run.write(start_h, "heat_off")
    for hour in _spread(start_h + 0.25, end_h - 0.05, 0.5):
        run.read(hour, "grain_temperature", begins_c + (ends_c - begins_c) * (hour - start_h) / step.hours, "probe 1")
    run.write(end_h, "stripped")
    _finish(run, end_h)


def _finish(run: Run, hour: float) -> None:
    final_wb = run.programme.planned_curve("moisture_wb")[-1][1]
    hottest_c = max(step.grain_c or 0.0 for step in run.programme.steps)
    is_dark = run.programme.is_roast and hottest_c >= run.setting("roast_dark_from_c")
    roast = "roast_loss_dark" if is_dark else "roast_loss"
    losses = ("steep_loss", "respiration_loss", "rootlet_loss", roast)
    malt_kg = run.dry_kg * (1.0 - sum(run.setting(name) for name in losses)) / (1.0 - final_wb)
    if run.setting("rootlet_loss"):
        run.write(hour + 1.0, "culms", {"net_kg": run.dry_kg * run.setting("rootlet_loss") / (1.0 - final_wb)})
    run.write(hour + 1.25, "moisture_test", {"value": final_wb}, method="oven_malt")
    run.write(hour + 1.5, "outturn", {"net_kg": malt_kg, "moisture_wb": final_wb}, instrument="scale 2")
    run.write(hour + 2.0, "finished")


def _spread(start_h: float, end_h: float, at_most_h: float) -> list[float]:
    """Hours from start to end, both of them, evenly and no further apart than at_most_h."""
    if end_h <= start_h:
        return [start_h]
    gaps = max(1, math.ceil((end_h - start_h) / at_most_h - 1e-9))
    return [start_h + (end_h - start_h) * place / gaps for place in range(gaps + 1)]


_STEPS = {
    "charged": _nothing,
    "immersion": _immerse,
    "air_rest": _rest,
    "germination": _germinate,
    "stewing": _stew,
    "kilning": _kiln,
    "cooling": _cool,
}
