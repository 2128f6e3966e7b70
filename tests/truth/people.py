"""What a person writes down: six kinds of people, their instruments' errors, and their records in the project's form.

Everybody malts sensibly by the programme; they differ in when they come by, what they measure and what they write.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from types import MappingProxyType
from typing import Any

import numpy as np

from tests.truth.floor import KERNELS, Kernels

Record = dict[str, Any]
STAGES = frozenset(
    {"steep_on", "drained", "cast", "stew_on", "loaded", "heat_on", "heat_off", "stripped", "finished", "paused",
     "resumed"}
)  # fmt: skip
WIPED = {"blotted": (0.07, 0.25), "spun": (0.2, 0.4), "drained": (0.65, 1.0)}
"""The share of the clinging water that is weighed along: M."""
CLASSES = ("to_quarter", "quarter_to_half", "half_to_three_quarters", "three_quarters_to_full", "over")


@dataclass(frozen=True)
class Person:
    """visits: hours of the day at which the floor is looked at; kiln_gap_h: between two looks at the kiln.

    skips: the share of readings that is not written down. step_kg: the smallest step of any scale here, where coarser
    than what one has for the weight. is_late: all is entered days after. has_measures: more than stages is written.
    wipes: how the bag is freed of water before it is weighed.
    """

    name: str
    visits: tuple[float, ...] = (7.0, 13.5, 18.5, 23.0)
    kiln_gap_h: float = 1.5
    skips: float = 0.0
    step_kg: float = 0.0
    has_trays: bool = True
    has_measures: bool = True
    wipes: str = "blotted"
    is_late: bool = False


PEOPLE: Mapping[str, Person] = MappingProxyType(
    {
        "careful": Person("careful"),
        "sloppy": Person("sloppy", visits=(8.0, 18.0), kiln_gap_h=2.6, skips=1.0 / 3.0, wipes="drained"),
        "late": Person("late", is_late=True),
        "no_trays": Person("no_trays", has_trays=False),
        "no_small_scale": Person("no_small_scale", step_kg=0.05, wipes="spun"),
        "newcomer": Person("newcomer", visits=(7.5, 14.0, 21.0), has_trays=False, has_measures=False),
    }
)


@dataclass
class Notebook:
    """The records of one batch, as they are written. Hours count from first water."""

    person: Person
    rng: np.random.Generator
    hour_zero: datetime
    is_kitchen: bool
    probe_k: float = 0.0
    records: list[Record] = field(default_factory=list)
    bias: dict[str, float] = field(default_factory=dict)

    def __post_init__(self) -> None:
        spread = 0.5 if self.is_kitchen else 0.3
        self.bias = {name: float(self.rng.normal(0.0, spread)) for name in ("probe 1", "probe 2", "kiln probe")}
        # One compares one's probes once, and throws out a bad one.
        self.bias = {name: float(np.clip(bias, -0.8, 0.8)) for name, bias in self.bias.items()}
        self.bias["probe 1"] += self.probe_k

    def moment(self, hour: float) -> datetime:
        return self.hour_zero + timedelta(minutes=round(hour * 60.0))

    def hour(self, moment: datetime) -> float:
        return (moment - self.hour_zero).total_seconds() / 3600.0

    def write(
        self, hour: float, kind: str, values: Record | None = None, *, must: bool = False, **envelope: Any
    ) -> bool:
        """One fact, unless this person leaves it out. must: written by everybody who writes such things at all."""
        is_stage = kind in STAGES or kind in ("charge", "intake")
        if not is_stage and not self.person.has_measures:
            return False
        if not is_stage and not must and self.rng.random() < self.person.skips:
            return False
        at = self.moment(hour)
        written = at + timedelta(minutes=2)
        record: Record = {
            "id": f"fact-{len(self.records):04d}",
            "kind": kind,
            "subject": {"type": "batch", "id": "batch-1"},
            "at": at.isoformat(),
            "written_at": written.isoformat(),
            "received_at": (written + timedelta(seconds=20)).isoformat(),
            "clock": "typed" if self.person.is_late else "now",
            "person": "Anna",
            "values": values or {},
        }
        self.records.append(record | envelope)
        return True

    def read(self, hour: float, kind: str, value: float, instrument: str = "probe 1", **envelope: Any) -> float:
        """A temperature off a probe with its bias and its noise, in tenths; what it showed."""
        shown = round(float(value) + self.bias[instrument] + float(self.rng.normal(0.0, 0.2)), 1)
        self.write(hour, kind, {"value": shown}, instrument=instrument, **envelope)
        return shown

    def scaled(self, kilograms: float, step_kg: float) -> float:
        """What the scale shows: its step, and half a step of unrest."""
        step = max(step_kg, self.person.step_kg)
        return round(max(0.0, round((kilograms + float(self.rng.normal(0.0, 0.3 * step))) / step) * step), 4)

    def weigh(
        self, hour: float, kind: str, net_kg: float, step_kg: float, tare_kg: float, *, tared: bool = True,
        more: Record | None = None, **envelope: Any,
    ) -> float:  # fmt: skip
        """Gross and tare off the scale; the net that was written. Not tared: the vessel is weighed with the grain."""
        gross, tare = self.scaled(net_kg + tare_kg, step_kg), self.scaled(tare_kg, step_kg)
        values: Record = {"gross_kg": gross, "tare_kg": tare} if tared else {"net_kg": gross}
        typed = {"gross" if tared else "net": f"{gross:g}"}
        self.write(hour, kind, values | (more or {}), typed=typed, **envelope)
        return gross - tare if tared else gross

    def count_chits(self, hour: float, kernels: Kernels, looked_at: int = 100) -> float:
        chitted = int(self.rng.binomial(looked_at, kernels.state()[2]))
        self.write(hour, "chit_count", {"looked_at": looked_at, "counts": {"chitted": chitted}})
        return chitted / looked_at

    def count_growth(self, hour: float, kernels: Kernels, looked_at: int = 50) -> float:
        """Kernels drawn and sorted into quarters, each misjudged a little; the mean as one reckons it oneself."""
        drawn = kernels.length[self.rng.integers(0, KERNELS, looked_at)]
        seen = np.maximum(0.0, drawn + self.rng.normal(0.0, 0.03, looked_at))
        place = np.digitize(seen, [0.25, 0.5, 0.75, 1.0])
        counts = {name: int(np.sum(place == number)) for number, name in enumerate(CLASSES)}
        self.write(hour, "growth_count", {"looked_at": looked_at, "counts": counts})
        return float(np.clip(seen, 0.0, 1.1).mean())

    def delivered(self, end_h: float) -> list[Record]:
        """The records in order of their hours. Who is late types them in a few evenings, days after."""
        records = sorted(self.records, key=lambda record: str(record["at"]))
        if not self.person.is_late:
            return records
        evenings = [61.0, 133.0, 181.0, end_h + 37.0]
        for number, record in enumerate(records):
            hour = self.hour(datetime.fromisoformat(record["at"]))
            evening = next((each for each in evenings if each >= hour + 20.0), evenings[-1])
            told = (self.moment(evening) + timedelta(seconds=20 * number)).isoformat()
            record |= {"written_at": told, "received_at": told}
        return records


def first_water(seed: int) -> datetime:
    """Seven in the morning of some day of a winter."""
    return datetime(2026, 1, 5, 7, 0, tzinfo=UTC) + timedelta(days=seed % 60)
