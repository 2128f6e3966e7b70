"""Lots and kilns that never were, by other laws than those that are fitted: what a forecast must stand up to.

Uptake by Peleg, with a film that dries off the grain in the rests; growth by a logistic curve, counted in classes out
of a hundred kernels; drying layer by layer, with a tail that drags. Every figure is drawn from a fixed seed. Each is
given as records, with the programme that a maltster of such grain would choose; some keep its hours, most do not.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, datetime, timedelta
from typing import Any

import numpy as np

from app.judgement.programmes.programme import load_builtin
from app.science.growth import BARLEY_BASE_C

ZERO = datetime(2026, 1, 5, 6, 0, tzinfo=UTC)
BATCH = {"type": "batch", "id": "made-up"}
LOT = {"type": "lot", "id": "lot"}
Record = dict[str, Any]
PROGRAMME = "barley_pale"
"""The built-in programme for ordinary malt of barley. Nobody has a batch without a programme."""

SCHEDULES = (
    ((6.0, True), (14.0, False), (6.0, True), (14.0, False), (2.0, True)),
    ((8.0, True), (16.0, False), (8.0, True), (16.0, False), (4.0, True)),
    ((5.0, True), (12.0, False), (4.0, True), (12.0, False), (2.0, True)),
    ((48.0, True),),
)


class Book:
    """Records, written by the hour."""

    def __init__(self, programme: str = PROGRAMME) -> None:
        digest = load_builtin()[programme].digest
        self.records: list[Record] = [{"record": "batch", "id": BATCH["id"], "number": 1, "programme": digest}]

    def say(self, hour: float, kind: str, values: Record | None = None, **envelope: Any) -> None:
        at = (ZERO + timedelta(hours=float(hour))).isoformat()
        fact_id = f"fact-{len(self.records):04d}"
        self.records.append(
            {"id": fact_id, "kind": kind, "subject": BATCH, "at": at, "values": values or {}} | envelope
        )

    def charge(self, moisture_wb: float) -> None:
        ends = {"source": LOT, "target": BATCH}
        self.say(-0.5, "charge", ends | {"as_is_kg": 50.0, "moisture_wb": moisture_wb}, method="measured")


def published_steep(
    hours: Sequence[float], gain_percent: Sequence[float], programme: str = PROGRAMME, moisture_wb: float = 0.12
) -> list[Record]:
    """A steep without a rest of which the weight gain was published, weighed as a bag of 50 g."""
    book = Book(programme)
    book.charge(moisture_wb)
    book.say(-0.1, "test_bag_start", {"vessel": "bag", "net_kg": 0.05, "moisture_wb": moisture_wb})
    book.say(0.0, "steep_on")
    for hour, gain in zip(hours, gain_percent, strict=True):
        book.say(hour, "test_bag", {"vessel": "bag", "net_kg": 0.05 * (1.0 + gain / 100.0)}, method="blotted")
    return book.records


def steep(seed: int) -> list[Record]:
    """A steep with rests; Peleg with k1 over more than twofold, and a film that is used up in each rest."""
    rng = np.random.default_rng([1, seed])
    schedule = SCHEDULES[seed % len(SCHEDULES)]
    k1, k2 = 11.0 * np.exp(rng.normal(0.0, 0.35)), 1.25 * np.exp(rng.normal(0.0, 0.12))
    energy, water_c, film_h = rng.uniform(30.0, 52.0), rng.uniform(10.0, 20.0), rng.uniform(1.5, 5.0)
    share = rng.uniform(0.05, 0.2)
    initial = rng.uniform(0.11, 0.14)
    book = Book()
    book.charge(initial)
    book.say(-0.1, "test_bag_start", {"vessel": "bag", "net_kg": 0.5, "moisture_wb": initial})
    factor = np.exp(energy * 1000.0 / 8.314 * (1.0 / 288.15 - 1.0 / (water_c + 273.15)))
    hour = effective = 0.0
    for lasts, is_wet in schedule:
        book.say(hour, "steep_on" if is_wet else "drained")
        read = "water_temperature" if is_wet else "grain_temperature"
        for at in (0.3, lasts - 0.3):
            book.say(hour + at, read, {"value": round(water_c + rng.normal(0.0, 0.3), 1)}, place="middle")
        for at in np.arange(5.0, lasts, 5.0) if lasts > 20.0 else (lasts / 2.0, lasts - 0.1):
            wet = at if is_wet else film_h * (1.0 - np.exp(-at / film_h)) * 0.6 + share * at
            time = effective + wet * factor
            moisture_db = initial / (1.0 - initial) + time / (k1 + k2 * time)
            net = 0.5 * (1.0 - initial) * (1.0 - 0.01 * (hour + at) / 48.0) * (1.0 + moisture_db)
            net *= 1.0 + rng.normal(0.0, 0.0025)
            book.say(hour + at, "test_bag", {"vessel": "bag", "net_kg": round(net, 3)}, method="blotted")
        effective += (lasts if is_wet else film_h * (1.0 - np.exp(-lasts / film_h)) * 0.6 + share * lasts) * factor
        hour += lasts
    book.say(hour, "cast")
    return book.records


def floor(seed: int) -> list[Record]:
    """A bed that grows by a logistic curve in thermal time, counted once a day, a hundred kernels in classes."""
    rng = np.random.default_rng([2, seed])
    book = Book()
    book.charge(0.12)
    book.say(0.0, "steep_on")
    book.say(40.0, "cast")
    half, slope, longest = 62.0 * np.exp(rng.normal(0.0, 0.22)), rng.uniform(20.0, 28.0), rng.uniform(1.0, 1.15)
    spread = rng.uniform(0.08, 0.16)
    grain_c, warmth = rng.uniform(13.0, 18.0), 0.0
    for place in range(1, 49):
        now_c = grain_c + rng.normal(0.0, 0.7)
        warmth += (now_c - BARLEY_BASE_C) * 3.0 / 24.0
        book.say(40.0 + 3.0 * place, "grain_temperature", {"value": round(now_c, 1)}, place="middle")
        if place % 8 == 0:
            mean = longest / (1.0 + np.exp((half - warmth) / slope))
            lengths = np.clip(rng.normal(mean, spread, 100), 0.0, 1.4)
            edges = np.histogram(lengths, (0.0, 0.25, 0.5, 0.75, 1.0, 2.0))[0]
            names = ("to_quarter", "quarter_to_half", "half_to_three_quarters", "three_quarters_to_full", "over")
            counts = {name: int(each) for name, each in zip(names, edges, strict=True) if each}
            book.say(40.0 + 3.0 * place, "growth_count", {"looked_at": 100, "counts": counts})
    return book.records


def kiln(seed: int) -> list[Record]:
    """A bed of ten layers: each takes what the air still carries, and gives by a law that drags as it dries."""
    rng = np.random.default_rng([3, seed])
    book = Book()
    book.charge(0.12)
    book.say(0.0, "steep_on")
    book.say(40.0, "cast")
    green = rng.uniform(0.40, 0.45)
    book.say(159.0, "moisture_test", {"value": round(green, 3)}, method="oven_two_stage")
    book.say(160.0, "loaded")
    book.say(160.1, "heat_on")
    capacity = 0.10 * np.exp(rng.normal(0.0, 0.4))
    rate = 0.45 * np.exp(rng.normal(0.0, 0.35))
    drag, floor_db = rng.uniform(0.1, 0.5), rng.uniform(0.02, 0.04)
    layers = np.full(10, green / (1.0 - green))
    true_start = layers.mean() * (1.0 + rng.normal(0.0, 0.005))
    layers *= true_start / layers.mean()
    nets = [2.0]
    book.say(160.05, "tray", {"vessel": "tray 1", "gross_kg": 3.2, "tare_kg": 1.2, "net_kg": 2.0})
    steps, hour = 60, 160.1
    for place in range(1, 19):
        elapsed = hour - 160.1
        air_c = (52.0 if elapsed < 6.0 else 62.0 if elapsed < 11.0 else 72.0) + rng.normal(0.0, 0.6)
        book.say(hour + 0.05, "air_on_temperature", {"value": round(air_c, 1)}, place="air-on")
        for _ in range(steps):
            left = capacity * (air_c - 20.0) / 35.0 * 10.0
            for layer in range(10):
                free = max(layers[layer] - floor_db, 0.0)
                pull = rate * np.exp(-4426.0 * (1.0 / (air_c + 273.0) - 1.0 / 328.0)) * free * (free + 1e-9) ** drag
                gone = min(pull, left * 0.5)
                layers[layer] -= gone / steps
                left -= gone
        hour += 1.0
        if place % 2 == 0:
            net = 2.0 * (1.0 + layers.mean()) / (1.0 + true_start) * (1.0 + rng.normal(0.0, 0.0015))
            nets.append(net)
            values = {"vessel": "tray 1", "gross_kg": round(net + 1.2, 3), "tare_kg": 1.2, "net_kg": round(net, 3)}
            book.say(hour, "tray", values)
    return book.records
