"""Whole batches, from the seed alone: the records as history_from_records takes them, and the truth beside them."""

from __future__ import annotations

import zlib
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime
from itertools import product

import numpy as np

from app.judgement.programmes.programme import load_builtin
from tests.truth.faults import ALL_GRAINS, ALL_SETTINGS, FAULTS, Planted, Tweaks
from tests.truth.grains import draw
from tests.truth.malting import Malting, Truth
from tests.truth.people import PEOPLE, Record, first_water

PROGRAMMES = {
    ("barley", "kitchen"): ("kitchen_barley",),
    ("barley", "floor"): ("barley_pale", "barley_diastatic", "barley_dark"),
    ("barley", "two_bed"): ("barley_pale", "barley_diastatic"),
    ("wheat", "kitchen"): ("kitchen_wheat",),
    ("wheat", "floor"): ("wheat_base", "wheat_diastatic"),
    ("wheat", "two_bed"): ("wheat_base",),
}
SEEDS = {"first": 1000, "second": 500_000}
NORMAL_SEEDS, FAULTY_SEEDS = 3, 10


@dataclass
class Run:
    """One batch: what was written, and what was so. fault: None too where nothing that was written shows it."""

    seed: int
    grain: str
    setting: str
    person: str
    which: str
    programme: str
    records: list[Record]
    truth: Truth
    hour_zero: datetime
    fault: Planted | None = None

    def told_h(self, record: Record) -> float:
        """When the house had a fact, in hours from first water."""
        times = [datetime.fromisoformat(str(record[key])) for key in ("at", "received_at")]
        until = record["values"].get("until_at")
        times += [datetime.fromisoformat(str(until))] if until else []
        return (max(times) - self.hour_zero).total_seconds() / 3600.0


def batch(seed: int, grain: str, setting: str, person: str, fault: str | None = None, which: str = "first") -> Run:
    """One batch from lot to malt. which: the first or the second set of grains and seeds."""
    name = f"{which}/{grain}/{setting}/{person}/{fault}"
    rng = np.random.default_rng([SEEDS[which] + seed, zlib.crc32(name.encode())])
    planted = FAULTS[fault] if fault else None
    tweaks = planted.plant(rng) if planted else Tweaks()
    keys = PROGRAMMES.get((grain, setting), (grain,))
    key = (planted.programme if planted else "") or keys[seed % len(keys)]
    programme = load_builtin()[key]
    hour_zero = first_water(seed)
    malting = Malting(rng, draw(grain, which, rng), setting, PEOPLE[person], tweaks, programme, hour_zero)
    for stage in ("charge", "soak", "cast", "grow", "load", "dry", "cool"):
        getattr(malting, stage)()
    facts = malting.note.delivered(malting.hour)
    about: list[Record] = [
        {"record": "batch", "id": "batch-1", "number": 1, "species": grain, "programme": programme.digest},
        {"record": "lot", "id": "lot-1", "name": f"{grain} of the bench", "species": grain},
    ]
    run = Run(seed, grain, setting, person, which, key, about + facts, malting.truth, hour_zero)
    if planted:
        truth = malting.truth
        hours = [
            (run.told_h(record), record)
            for record in facts
            if planted.shows(record, malting.note.hour(datetime.fromisoformat(str(record["at"]))), truth)
        ]
        if hours:
            starts, shown_by = min(hour for hour, _ in hours), frozenset(record["id"] for _, record in hours)
            run.fault = Planted(planted.name, starts, planted.until(starts, truth), shown_by, tweaks)
    return run


def normal_batches(which: str = "first") -> Iterator[Run]:
    """Every grain at every setting by every kind of person, three times: 216."""
    for seed, grain, setting, person in product(range(NORMAL_SEEDS), ALL_GRAINS, ALL_SETTINGS, PEOPLE):
        yield batch(seed, grain, setting, person, which=which)


def faulty_batches(which: str = "first") -> Iterator[Run]:
    """Every fault ten times, over the grains, settings and people by whom it can be seen."""
    for fault in FAULTS.values():
        for seed in range(FAULTY_SEEDS):
            yield batch(seed, *who(seed, fault.name), fault.name, which)


def normal_sample(which: str = "first") -> Iterator[Run]:
    """A few of the normal ones: each grain, each setting, each kind of person at least once."""
    for number, person in enumerate(PEOPLE):
        grain, setting = ALL_GRAINS[number % 4], ALL_SETTINGS[number % 3]
        yield batch(0, grain, setting, person, which=which)


def faulty_sample(which: str = "first") -> Iterator[Run]:
    """One of each fault."""
    for number, fault in enumerate(FAULTS):
        yield batch(number % FAULTY_SEEDS, *who(number % FAULTY_SEEDS, fault), fault, which)


def who(seed: int, name: str) -> tuple[str, str, str]:
    fault = FAULTS[name]
    grain = fault.grains[seed % len(fault.grains)]
    setting = fault.settings[seed // 2 % len(fault.settings)]
    return grain, setting, fault.people[seed % len(fault.people)]
