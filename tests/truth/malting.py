"""A batch under way: the grain goes its way in short steps, and a person comes by, acts by the programme, and notes.

Of the app there is only the programme, as a person reads it.
"""

from __future__ import annotations

from collections.abc import Sequence
from copy import deepcopy
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

import numpy as np

from app.judgement.programmes.programme import Programme
from tests.truth.faults import Tweaks
from tests.truth.floor import Bed, Kernels
from tests.truth.grains import Grain
from tests.truth.kiln import Column, Kiln
from tests.truth.people import STAGES, WIPED, Notebook, Person
from tests.truth.steep import Steep

BEDS = {"kitchen": ("",), "floor": ("",), "two_bed": ("bed A", "bed B")}
STAGE_OF = {
    "steep_on": "immersion", "drained": "air_rest", "cast": "germination", "stew_on": "stewing", "loaded": "kilning",
    "heat_on": "kilning", "heat_off": "cooling", "stripped": "cooling", "finished": "finished",
}  # fmt: skip
STEP_H = 0.1


LAYERS_OF_TRAY = 3
LEFT_IN_H = 120


@dataclass
class Truth:
    """How it really was, by hours from first water; moistures are the water in the grain, not what clings to it."""

    tweaks: Tweaks
    hours: list[float] = field(default_factory=list)
    rows: list[tuple[float, float, float, float, float]] = field(default_factory=list)
    layers: list[list[float]] = field(default_factory=list)
    places: list[dict[str, float]] = field(default_factory=list)
    events: list[tuple[float, str, str]] = field(default_factory=list)
    slips: set[str] = field(default_factory=set)
    planned_cast_h: float = 0.0
    had_it_stayed: list[tuple[float, float]] = field(default_factory=list)
    target_wb: float = 0.0

    def _at(self, hour: float, column: int) -> float:
        return float(np.interp(hour, self.hours, [row[column] for row in self.rows]))

    def moisture(self, hour: float) -> float:
        """Mean by mass, wet basis."""
        return self._at(hour, 0)

    def growth(self, hour: float) -> float:
        """The mean acrospire as a share of the kernel's length, over all kernels, the dead ones too."""
        return self._at(hour, 1)

    def overgrown(self, hour: float) -> float:
        return self._at(hour, 2)

    def chitted(self, hour: float) -> float:
        return self._at(hour, 3)

    def dry_kg(self, hour: float) -> float:
        return self._at(hour, 4)

    def layer_moistures(self, hour: float) -> list[float]:
        """Wet basis, from where the air comes in; on trays, one tray after the other."""
        return self.layers[self.index(hour)]

    def wettest_tray(self, hour: float) -> float:
        """Mean of the wettest of the trays, wet basis, as a scale sees it: each of three layers of like dry matter."""
        dry_basis = [each / (1.0 - each) for each in self.layer_moistures(hour)]
        trays = [sum(dry_basis[start : start + LAYERS_OF_TRAY]) / LAYERS_OF_TRAY
                 for start in range(0, len(dry_basis), LAYERS_OF_TRAY)]  # fmt: skip
        return max(trays) / (1.0 + max(trays))

    def grain_temperature(self, hour: float, place: str = "middle") -> float:
        """At a place: top, middle, bottom, corner, after the bed's name where there are two; else the nearest known."""
        found = self.places[self.index(hour)]
        return found.get(place, found.get(place.split(" ")[-1], found["middle"]))

    def index(self, hour: float) -> int:
        return min(len(self.hours) - 1, max(0, int(np.searchsorted(self.hours, hour - 1e-9))))

    def first_after(self, kind: str, hour: float) -> float:
        """When something of that kind next was done, or the end."""
        return next((at for at, each, _ in self.events if each == kind and at > hour), self.hours[-1])

    def _first(self, kind: str) -> float:
        return self.first_after(kind, -1.0)

    @property
    def cast_h(self) -> float:
        return self._first("cast")

    @property
    def loaded_h(self) -> float:
        return self._first("loaded")

    @property
    def heat_on_h(self) -> float:
        return self._first("heat_on")

    def below_h(self, wb: float) -> float:
        """When on the kiln the mean first came to a moisture, or the end."""
        start = self.loaded_h
        pairs = zip(self.hours, self.rows, strict=True)
        return next((hour for hour, row in pairs if hour > start and row[0] <= wb), self.hours[-1])

    @property
    def dry_h(self) -> float | None:
        """When the mean came to the programme's moisture of the malt; None where it never did."""
        hour = self.below_h(self.target_wb)
        return hour if self.moisture(hour) <= self.target_wb else None

    @property
    def spans(self) -> list[tuple[str, float, float]]:
        """Each stage with its true beginning and end; a pause lies within its stage."""
        marks = [(at, STAGE_OF[kind]) for at, kind, _ in self.events if kind in STAGE_OF]
        merged = [mark for n, mark in enumerate(marks) if n == 0 or marks[n - 1][1] != mark[1]]
        ends = [at for at, _ in merged[1:]] + [self.hours[-1]]
        return [(stage, at, end) for (at, stage), end in zip(merged, ends, strict=True) if stage != "finished"]

    def stage(self, hour: float) -> str:
        return next((stage for stage, start, end in reversed(self.spans) if start <= hour <= end), "")


class Malting:
    """A batch under way: the world moves in short steps, and the person comes by."""

    def __init__(
        self, rng: np.random.Generator, grain: Grain, setting: str, person: Person, tweaks: Tweaks,
        programme: Programme, hour_zero: datetime,
    ) -> None:  # fmt: skip
        self.rng, self.grain, self.setting, self.person = rng, grain, setting, person
        self.tweaks, self.programme = tweaks, programme
        self.is_kitchen = setting == "kitchen"
        self.note = Notebook(person, rng, hour_zero, self.is_kitchen, tweaks.probe_k)
        self.hour = 0.0
        self.room_c = rng.uniform(13.0, 15.5) if self.is_kitchen else rng.uniform(10.0, 12.5)
        kilograms = {"kitchen": (1.6, 5.0), "floor": (60.0, 250.0), "two_bed": (250.0, 700.0)}[setting]
        self.charge_kg = round(float(rng.uniform(*kilograms)), 1)
        self.steep = Steep(grain)
        self.kernels = Kernels(grain, rng, tweaks.growth)
        self.beds: list[Bed] = []
        self.dry_0 = self.charge_kg * (1.0 - grain.charged_wb)
        self.truth = Truth(tweaks)
        self.tub_c = self.room_c
        self.typed_wb = grain.charged_wb
        self.bags_weighed = 0
        self.last_bag_wb: float | None = None
        self.asks_oven = bool(rng.random() < 0.5)
        self.has_bag = person.has_measures
        # A person with a coarse scale takes a large bag. A bag is like the tub to half a point.
        self.bag_kg = (1.0 if person.step_kg else 0.4) if self.is_kitchen else (2.0 if person.step_kg else 0.5)
        self.bag_db = float(rng.normal(0.0, 0.006))
        self.bag_tare = round(float(rng.uniform(0.02, 0.04)), 3)

    # What is common to all stages.

    def clock(self, hour: float | None = None) -> float:
        return (7.0 + (self.hour if hour is None else hour)) % 24.0

    def air_c(self) -> float:
        swing = 0.6 if self.is_kitchen else 1.2
        return self.room_c + swing * float(np.sin(2.0 * np.pi * (self.clock() - 9.0) / 24.0))

    def did(self, kind: str, place: str = "", hour: float | None = None, **envelope: Any) -> None:
        at = self.hour if hour is None else hour
        self.truth.events.append((at, kind, place))
        if kind in STAGES or kind in ("turned",):
            extra = {"place": place} if place else {}
            self.note.write(at, kind, None, **extra, **envelope)

    def look(self, db: float, layers: Sequence[float], places: dict[str, float], dry_kg: float) -> None:
        """The truth of the moment."""
        kernels = [bed.kernels for bed in self.beds] or [self.kernels]
        means = [sum(each) / len(kernels) for each in zip(*(one.state() for one in kernels), strict=True)]
        self.truth.hours.append(self.hour)
        self.truth.rows.append((db / (1.0 + db), means[0], means[1], means[2], dry_kg))
        self.truth.layers.append([each / (1.0 + each) for each in layers])
        self.truth.places.append(places)

    # The lot and the charge.

    def charge(self) -> None:
        write, rng = self.note.write, self.rng
        lot = {"type": "lot", "id": "lot-1"}
        intake = 50.0 if self.charge_kg <= 50.0 else 1000.0
        write(-72.0, "intake", {"net_kg": intake, "moisture_wb": round(self.grain.charged_wb, 3)}, subject=lot)
        says = ("no", "no") if self.tweaks.is_treated else ("yes", "yes")
        findings = {"untreated": says[0], "for_food": says[1], "by": "A. Farmer", "ground": "delivery note 7"}
        write(-48.0, "declaration", {"findings": findings}, must=True, subject=lot)
        method = "measured" if self.person.has_measures else "assumed"
        measured = round(self.grain.charged_wb + float(rng.normal(0.0, 0.004)), 3)
        self.typed_wb = measured if self.person.has_measures else 0.12
        kilograms = self.note.scaled(self.charge_kg, 0.01 if self.is_kitchen else 0.5)
        into = {"source": lot, "target": {"type": "batch", "id": "batch-1"}}
        write(-0.4, "charge", into | {"as_is_kg": kilograms, "moisture_wb": self.typed_wb}, method=method)
        if self.has_bag:
            more = {"vessel": "bag 1", "moisture_wb": self.typed_wb}
            self.note.weigh(-0.2, "test_bag_start", self.bag_kg, 0.001, self.bag_tare, more=more, must=True)

    def bag(self, must: bool = False) -> float:
        """The bag weighed; the moisture that the person reckons from it."""
        x = self.bed_db() if self.beds else self.steep.water_db
        # What clings is weighed along, as far as it was not wiped off; one allows for the usual share of it.
        method = "blotted" if self.beds else self.person.wipes
        clings = self.grain.clinging_db if self.steep.is_under_water else self.steep.film_db
        left = 0.0 if self.beds else clings * float(self.rng.uniform(*WIPED[method]))
        allowed = 0.0 if self.beds else 0.075 * sum(WIPED[method]) / 2.0
        dry = self.bag_kg * (1.0 - self.grain.charged_wb) * (1.0 - self.lost())
        net = dry * (1.0 + x + self.bag_db + left)
        slip = self.tweaks.bag_slip_kg if self.bags_weighed == 2 else 0.0
        number = len(self.note.records)
        shown = self.note.weigh(self.hour, "test_bag", net + slip, 0.001, self.bag_tare, more={"vessel": "bag 1"},
                                method=method, must=must or bool(slip))  # fmt: skip
        if slip:
            self.truth.slips.add(f"fact-{number:04d}")
        self.bags_weighed += 1
        # One allows for what the programme says is leached and breathed away by then.
        breathed = 0.055 * min(1.0, self.spent("cast") / 120.0) if self.beds else 0.0
        typed_dry = self.bag_kg * (1.0 - self.typed_wb) * (0.992 - breathed)
        self.last_bag_wb = 1.0 - typed_dry / max(shown - slip - allowed * typed_dry, typed_dry)
        return self.last_bag_wb

    def lost(self) -> float:
        if not self.beds:
            return self.steep.leached
        return 1.0 - sum(bed.dry_kg for bed in self.beds) / self.dry_0

    def inspect(self, **findings: str) -> None:
        told = {"mould": "no", "smell": "clean"} | findings
        self.note.write(self.hour, "inspection", {"findings": told}, must=len(findings) > 0)

    # The steep.

    def _steep_on(self, hours: float) -> None:
        under = self.steep.is_under_water
        end = self.hour + hours
        while self.hour < end - 1e-9:
            step = min(STEP_H, end - self.hour)
            drift = 1.0 - np.exp(-step / ((10.0 if self.is_kitchen else 45.0) if under else 7.0))
            warmed = 0.0 if under else 2.5 * self.kernels.busy
            # The tub stands where it is not too cold.
            self.tub_c += (max(self.air_c(), 13.5) + warmed - self.tub_c) * drift
            self.steep.advance(step, self.tub_c)
            x = self.steep.water_db
            self.kernels.advance(step, self.tub_c, x / (1.0 + x), 0.55 if under else 1.0)
            self.hour += step
            dry = self.dry_0 * (1.0 - self.steep.leached)
            self.look(x, [x], {"middle": self.tub_c}, dry)

    def soak(self) -> None:
        steps = [step for step in self.programme.steps if step.stage in ("immersion", "air_rest")]
        for number, step in enumerate(steps):
            if step.stage == "immersion":
                self._immersion(number, step, is_last=number == len(steps) - 1)
            else:
                self._rest(number, step)

    def _immersion(self, number: int, step: Any, is_last: bool) -> None:
        note = self.note
        self.tub_c = step.water_c + float(self.rng.uniform(-1.0, 1.5))
        if self.tweaks.water_c and number == 2:
            self.tub_c = self.tweaks.water_c
        self.did("steep_on", method="still")
        self.steep.immerse()
        self._steep_on(0.1)
        warm = bool(self.tweaks.water_c and number == 2)
        note.read(self.hour, "water_temperature", self.tub_c, must=warm)
        if number == 0:
            note.read(self.hour + 0.05, "water_temperature", self.tub_c, "probe 2", must=bool(self.tweaks.probe_k))
        if self.tweaks.gas_ppm and number == 2:
            note.write(self.hour, "co2_room", {"value": round(self.tweaks.gas_ppm, -2)}, must=True)
        self._steep_on(0.5 * step.hours)
        note.read(self.hour, "water_temperature", self.tub_c)
        foul = self.tweaks.is_foul and number >= 2
        self.inspect(steep="gassy", smell="sour") if foul else self.inspect(steep="clear")
        self._steep_on(0.5 * step.hours - 0.1)
        while True:
            wb = self.bag() if self.has_bag else step.moisture_wb
            spent = step.hours_high - self.spent("steep_on")
            if wb >= step.moisture_wb - 0.004 or spent < 0.4:
                break
            self._steep_on(min(1.0, spent))
        if not is_last:
            self.did("drained")
            self.steep.drain()
            return
        self.truth.planned_cast_h = self.hour
        self.truth.had_it_stayed = self._had_it_stayed()
        if self.tweaks.last_steep_extra_h:
            for _ in range(3):
                self._steep_on(self.tweaks.last_steep_extra_h / 3.0)
                if self.has_bag:
                    self.bag(must=True)

    def _had_it_stayed(self) -> list[tuple[float, float]]:
        """What the moisture would have been, hour by hour, if nobody had ended the last immersion."""
        steep, found = deepcopy(self.steep), []
        for hours in range(LEFT_IN_H):
            found.append((self.hour + hours, steep.water_db / (1.0 + steep.water_db)))
            steep.advance(1.0, self.tub_c)
        return found

    def spent(self, kind: str) -> float:
        """Hours since something was last done."""
        return self.hour - max(at for at, each, _ in self.truth.events if each == kind)

    def _rest(self, number: int, step: Any) -> None:
        """Until a civil hour within what the programme allows, nearest to its plan."""
        ends = np.arange(step.hours_low, step.hours_high + 0.01, 0.25)
        civil = [hours for hours in ends if 6.5 <= self.clock(self.hour + hours) <= 22.5]
        hours = float(min(civil, key=lambda each: abs(each - step.hours)))
        self._steep_on(0.45 * hours)
        if 6.0 < self.clock() < 23.5:
            self.note.read(self.hour, "grain_temperature", self.tub_c, place="middle")
            self.note.read(self.hour, "air_temperature", self.air_c(), "probe 2")
        self._steep_on(0.55 * hours)
        self.note.read(self.hour, "grain_temperature", self.tub_c, place="middle")
        if self.has_bag and self.rng.random() < 0.7:
            self.bag()
        if number >= 3:
            self.note.count_chits(self.hour, self.kernels)

    # The floor.

    def bed_db(self) -> float:
        return sum(bed.mean_db * bed.dry_kg for bed in self.beds) / sum(bed.dry_kg for bed in self.beds)

    def cast(self) -> None:
        self.did("cast")
        names = BEDS[self.setting]
        dry = self.dry_0 * (1.0 - self.steep.leached) / len(names)
        depth = 0.05 if self.is_kitchen else float(self.rng.uniform(0.11, 0.15))
        self.names = names
        for number, _ in enumerate(names):
            kernels = self.kernels if number == 0 else Kernels(self.grain, self.rng, self.tweaks.growth)
            kernels.clock, kernels.length = self.kernels.clock, self.kernels.length.copy()
            deep = depth * (1.0 + 0.10 * number)
            bed = Bed.cast(kernels, dry, self.steep.water_db, self.tub_c, deep, self.is_kitchen)
            # Of the film a third goes in within the day, the rest dries off or drains.
            bed.film_db = self.grain.clinging_db
            self.beds.append(bed)
        if not self.is_kitchen:
            self.note.write(self.hour + 0.1, "bed_depth", {"value": round(depth, 2)})
        self.note.count_chits(self.hour, self.kernels)

    def grow(self) -> None:
        step = next(each for each in self.programme.steps if each.stage == "germination")
        start = self.hour
        last, daily = 0.0, 0.15
        goal = step.acrospire - 0.05
        while True:
            self._floor_until_visit()
            spent = self.hour - start
            morning = self.clock() < 10.0
            grown = last
            self._visit(step, spent, morning)
            if morning and self.person.has_measures:
                grown = self.note.count_growth(self.hour, self.beds[0].kernels, 100)
                daily, last = max(0.05, grown - last), grown
            extra = self.tweaks.germination_extra_h
            if not morning or spent < (step.hours + extra if extra else 0.8 * step.hours_low):
                continue
            by_plan = spent > step.hours - 14.0 + extra
            ripe = grown >= goal - 0.45 * daily if self.person.has_measures else by_plan
            if ripe or spent > step.hours_high - 20.0 + extra:
                return

    def _floor_until_visit(self) -> None:
        visits = self.person.visits
        clock = self.clock() + 1e-6
        wait = min((visit - clock - 1.0) % 24.0 + 1.0 for visit in visits)
        self._bed_on(wait + float(self.rng.uniform(-0.3, 0.3)))

    def _bed_on(self, hours: float) -> None:
        end = self.hour + hours
        corner = self.tweaks.corner_from_h
        while self.hour < end - 1e-9:
            short = min(0.5, end - self.hour)
            for bed in self.beds:
                if corner is not None and self.hour > self.truth.cast_h + corner:
                    bed.corner_k = min(self.tweaks.corner_k, bed.corner_k + 1.5 * short)
                bed.advance(short, self.air_c())
            self.hour += short
            self._look_at_beds()

    def _look_at_beds(self) -> None:
        places = dict(self.beds[0].places())
        for name, bed in zip(self.names, self.beds, strict=True):
            places |= {f"{name} {place}".strip(): value for place, value in bed.places().items()}
        layers = [float(x) for bed in self.beds for x in bed.water_db]
        self.look(self.bed_db(), layers, places, sum(bed.dry_kg for bed in self.beds))

    def _visit(self, step: Any, spent: float, morning: bool) -> None:
        note, rng = self.note, self.rng
        if spent < 2.0:
            return
        for name, bed in zip(self.names, self.beds, strict=True):
            middle = f"{name} middle".strip()
            shown = note.read(self.hour, "grain_temperature", bed.places()["middle"], place=middle)
            if bed.corner_k:
                corner = f"{name} corner".strip()
                note.read(self.hour + 0.05, "grain_temperature", bed.places()["corner"], place=corner, must=True)
            self.did("turned", name, self.hour + 0.2)
            bed.turn(self.air_c(), 0.55 if shown > step.grain_c + 2.0 else 0.3)
            # Thinner when it is warm, deeper when it is cool.
            over = shown - step.grain_c + (0.7 if spent < 60.0 else 0.0)
            change = 0.65 if over > 3.0 else 0.8 if over > 1.0 else 1.12 if over < -1.2 else 1.0
            bed.depth_m = float(np.clip(bed.depth_m * change, 0.03 if self.is_kitchen else 0.06, 0.28))
        note.read(self.hour + 0.1, "air_temperature", self.air_c(), "probe 2")
        if morning:
            sick = self.tweaks.mould_from_h is not None and spent > self.tweaks.mould_from_h
            self.inspect(mould="yes", smell="musty") if sick else self.inspect()
            if self.has_bag:
                wb = self.bag()
                short = step.moisture_wb - 0.006 - wb
                if short > 0.0 and spent < 0.75 * step.hours:
                    kilograms = sum(bed.dry_kg for bed in self.beds) * (short + 0.01) / (1.0 - step.moisture_wb) ** 2
                    litres = float(f"{kilograms:.2g}")
                    for bed in self.beds:
                        bed.sprinkle(litres / len(self.beds))
                    self.truth.events.append((self.hour + 0.15, "sprinkled", ""))
                    note.write(self.hour + 0.15, "sprinkled", {"amount": litres / 1000.0})
        if rng.random() < 0.15:
            note.write(self.hour + 0.1, "co2_room", {"value": round(float(rng.uniform(500, 1500)), -1)})

    # The kiln.

    def load(self) -> None:
        rng, grain = self.rng, self.grain
        self._bed_on(0.6)
        if any(step.stage == "stewing" for step in self.programme.steps):
            self._stew()
        db, dry = self.bed_db(), sum(bed.dry_kg for bed in self.beds)
        self.bed_dry = dry
        at_c = float(np.mean([bed.mean_c for bed in self.beds]))
        self.did("loaded")
        second = self.tweaks.second_load_after_h is not None
        if self.is_kitchen:
            self.trays = max(2 if second else 1, round(dry * (1.0 + db) / 1.9))
            area = float(rng.uniform(0.15, 0.2))
            columns = [
                Column.loaded(grain, dry / self.trays / area, LAYERS_OF_TRAY, db, at_c) for _ in range(self.trays)
            ]
            # An oven's fan blows over and through a tray; a part of the air goes round again: M, so that the hours of
            # the kitchen's programmes come out.
            flow = float(rng.uniform(0.045, 0.085))
            flows = [flow * float(rng.uniform(0.88, 1.12)) for _ in columns]
            self.tray_dry = [dry / self.trays] * self.trays
            self.tray_off = [0.0] * self.trays
            self.kiln = Kiln(columns, flows, float(rng.uniform(18.0, 22.0)), float(rng.uniform(0.35, 0.55)),
                             float(rng.uniform(0.2, 0.5)), ramp_k_per_h=120.0, ripple_k=1.5)  # fmt: skip
            self.tare = round(float(rng.uniform(0.35, 0.7)), 3)
        else:
            # So much air (M) that it takes most of a day: 22 h (AMBA 2002, P), 24–48 h (Companion 2011, P).
            depth, flow = float(rng.uniform(0.26, 0.34)), float(rng.uniform(0.10, 0.24))
            kilograms = grain.green_kg_m3 * depth
            columns = [Column.loaded(grain, kilograms, 10, db, at_c)]
            self.trays = 2
            large = 3.5 if self.person.step_kg else 1.0
            self.tray_dry = [large * float(rng.uniform(0.5, 1.0)) for _ in range(2)]
            # A tray is a sleeve of mesh through the bed's whole depth: like the bed to half a point.
            self.tray_off = [float(rng.normal(0.0, 0.006)) for _ in range(2)]
            self.kiln = Kiln(columns, [flow], self.room_c, float(rng.uniform(0.6, 0.85)),
                             ramp_k_per_h=float(rng.uniform(25.0, 50.0)), ripple_k=0.7)  # fmt: skip
            self.tare = round(float(rng.uniform(0.15, 0.3)), 2)
            self.note.write(self.hour, "bed_depth", {"value": round(depth, 2)})
        self.waiting: list[Column] = []
        if second:
            if self.is_kitchen:
                half = len(columns) // 2
                self.waiting, self.kiln.columns = columns[half:], columns[:half]
                self.spare = flows[half:]
                self.kiln.flow_m2 = flows[:half]
            else:
                columns[0].dry_kg_m2 *= 0.5
                for name in ("shell_db", "core_db", "temperature", "hardened"):
                    setattr(columns[0], name, getattr(columns[0], name)[:5])
                self.waiting = [Column.loaded(grain, columns[0].dry_kg_m2, 5, db, at_c)]
        self.tray_starts: dict[int, float] = {}
        self.weigh_trays(0.05)

    def _stew(self) -> None:
        """Wet, covered and hot, before the air goes through."""
        step = next(each for each in self.programme.steps if each.stage == "stewing")
        goal = self.tweaks.stew_c or step.grain_c
        self.did("stew_on")
        end = self.hour + (6.0 if self.tweaks.stew_c else step.hours + 1.5)
        looked = self.hour
        while self.hour < end:
            for bed in self.beds:
                bed.temperature = bed.temperature + (goal - bed.temperature) * (1.0 - np.exp(-STEP_H / 0.5))
            self.hour += STEP_H
            self._look_at_beds()
            if self.hour - looked > 0.55:
                looked = self.hour
                middle = self.beds[0].places()["middle"]
                self.note.read(self.hour, "grain_temperature", middle, "kiln probe", place="middle", must=True)

    def tray_db(self, number: int) -> float:
        columns = self.kiln.columns + self.waiting
        if self.is_kitchen:
            return columns[number].mean_db
        return max(0.0, columns[0].mean_db * (1.0 + self.tray_off[number]))

    def weigh_trays(self, later: float = 0.0) -> float | None:
        """Each tray that is on the kiln; the mean moisture as the person reckons it from where it began."""
        if not self.person.has_trays:
            return None
        shares: list[float] = []
        ready = len(self.kiln.columns) if self.is_kitchen else self.trays
        for number in range(ready):
            net = self.tray_dry[number] * (1.0 + self.tray_db(number))
            name = f"tray {number + 1}"
            first = number not in self.tray_starts
            slip = self.tweaks.tray_slip if number == 0 and not first and not self.truth.slips else ""
            if slip == "heavier":
                net = self.tray_starts[0] * float(self.rng.uniform(1.08, 1.2))
            if slip:
                self.truth.slips.add(f"fact-{len(self.note.records):04d}")
            shown = self.note.weigh(
                self.hour + later + 0.01 * number, "tray", net, 0.002 if self.is_kitchen else 0.005, self.tare,
                tared=slip != "tare", more={"vessel": name}, must=first or bool(slip),
            )  # fmt: skip
            if first:
                self.tray_starts[number] = shown
            elif not slip:
                # One knows the moisture at loading from the bag, or takes the plan's.
                green = self.last_bag_wb or 0.43
                shares.append(1.0 - self.tray_starts[number] * (1.0 - green) / max(shown, 0.01))
        return float(np.mean(shares)) if shares else None

    def whole_db(self) -> float:
        columns = self.kiln.columns + self.waiting
        kilograms = sum(column.dry_kg_m2 for column in columns)
        return sum(column.mean_db * column.dry_kg_m2 for column in columns) / kilograms

    def _dry(self, hours: float) -> None:
        end = self.hour + hours
        tweaks, kiln = self.tweaks, self.kiln
        began = self.truth.heat_on_h
        while self.hour < end - 1e-9:
            step = min(STEP_H, end - self.hour)
            spans = [each for each in (tweaks.fan_off, tweaks.paused, tweaks.power_cut) if each]
            on = self.hour - began
            kiln.has_fan = not any(start <= on < start + length for start, length in spans)
            kiln.room_c = kiln.room_c if self.is_kitchen else self.air_c()
            kiln.advance(step)
            self.hour += step
            self._look_at_kiln()

    def _look_at_kiln(self) -> None:
        columns = self.kiln.columns + self.waiting
        grain_c = columns[0].temperature
        places = {"bottom": grain_c[0], "middle": grain_c[len(grain_c) // 2], "top": grain_c[-1]}
        layers = [x for column in columns for x in column.layers_db]
        self.look(self.whole_db(), layers, places, self.bed_dry)

    def dry(self) -> None:
        steps = [step for step in self.programme.steps if step.stage == "kilning"]
        self.truth.target_wb = steps[-1].moisture_wb
        self.hour += float(self.rng.uniform(0.2, 0.5))
        self._look_at_kiln()
        self.did("heat_on")
        humidity = round(self.kiln.room_humidity + float(self.rng.normal(0.0, 0.03)), 2)
        self.note.write(self.hour + 0.01, "humidity", {"value": humidity}, place="room")
        self.kiln.is_heated = True
        plateau = self.room_c
        for number, step in enumerate(steps):
            extra = self.tweaks.withering_extra_k if number == 0 else 0.0
            is_last = number == len(steps) - 1
            self.kiln.set_c = step.air_on_c + extra
            if is_last and self.tweaks.curing_c:
                self.kiln.set_c = self.tweaks.curing_c
            self.note.write(self.hour + 0.02, "set_point", {"value": round(self.kiln.set_c)}, must=True)
            self._phase(step, is_last, plateau, urgent=self.kiln.set_c > step.air_on_c)
            plateau = min(plateau + 4.0, self.kiln.off_c) if number == 0 else plateau
        self.did("heat_off")
        self.kiln.is_heated = False

    def _phase(self, step: Any, is_last: bool, plateau: float, urgent: bool) -> None:
        start, looks = self.hour, 0
        # Without an oven to ask one dries on a little, to be safe.
        margin = 0.003 if self.asks_oven else 0.008
        while True:
            gap = self.person.kiln_gap_h * (0.75 if self.is_kitchen else 1.0)
            self._dry(0.7 if urgent and looks == 0 else gap * float(self.rng.uniform(0.85, 1.15)))
            looks += 1
            self._tell_breaks()
            self._second_load()
            note, kiln = self.note, self.kiln
            note.read(self.hour, "air_on_temperature", kiln.air_c, "kiln probe", must=urgent)
            if not self.is_kitchen or self.rng.random() < 0.5:
                note.read(self.hour + 0.02, "air_off_temperature", kiln.off_c, "probe 2")
            column = kiln.columns[0]
            middle = column.temperature[len(column.temperature) // 2]
            note.read(self.hour + 0.03, "grain_temperature", middle, place="middle")
            spent = self.hour - start
            reckoned = self.weigh_trays(0.05) if looks % 2 == 0 or is_last or spent > step.hours - gap else None
            if reckoned is not None:
                done = reckoned <= step.moisture_wb - (margin if is_last else 0.0)
                # Half of them ask the oven before they let the fire out; all do, where it takes longer than planned.
                if is_last and ((done and self.asks_oven) or spent > step.hours_high):
                    done = self._tested() <= step.moisture_wb + 0.003
            elif self.person.has_trays:
                done = False
            elif is_last:
                done = spent >= step.hours and self._tested() <= step.moisture_wb + 0.004
            elif step.phase == "withering":
                # Air-off leaves its plateau: the wet front is through.
                done = spent >= step.hours and kiln.off_c > plateau + 0.5 * (kiln.on_c - plateau)
            else:
                done = spent >= step.hours
            scorching = is_last and self.tweaks.curing_c is not None and spent < 2.0
            if (done and not scorching) or spent > 2.6 * step.hours_high:
                return

    def _tested(self) -> float:
        """A sample in the kitchen oven: half a point uncertain."""
        db = self.whole_db()
        shown = round(max(0.005, float(db / (1.0 + db)) + float(self.rng.normal(0.0, 0.004))), 3)
        self.note.write(self.hour + 0.1, "moisture_test", {"value": shown}, method="kitchen_oven", must=True)
        return shown

    def _tell_breaks(self) -> None:
        """A pause and a power cut are written when they are over, each at its hour."""
        done = {kind for _, kind, _ in self.truth.events}
        if self.tweaks.paused and "paused" not in done:
            at = self.truth.heat_on_h + self.tweaks.paused[0]
            end = at + self.tweaks.paused[1]
            if self.hour >= at:
                self.did("paused", hour=at)
                self._dry(max(0.0, end - self.hour))
                self.did("resumed", hour=end)
        if self.tweaks.power_cut and "interruption" not in done:
            at = self.truth.heat_on_h + self.tweaks.power_cut[0]
            end = at + self.tweaks.power_cut[1]
            if self.hour >= at:
                self._dry(max(0.0, end + 0.2 - self.hour))
                self.truth.events.append((at, "interruption", ""))
                told = {"what": "the power was cut", "until_at": self.note.moment(end).isoformat()}
                written = (self.note.moment(end + 0.1)).isoformat()
                self.note.write(at, "interruption", told, must=True, written_at=written, received_at=written)

    def _second_load(self) -> None:
        after = self.tweaks.second_load_after_h
        if not self.waiting or after is None or self.hour < self.truth.heat_on_h + after:
            return
        self.did("loaded")
        if self.is_kitchen:
            self.kiln.columns = self.kiln.columns + self.waiting
            self.kiln.flow_m2 = self.kiln.flow_m2 + self.spare
        else:
            column, on_top = self.kiln.columns[0], self.waiting[0]
            column.dry_kg_m2 += on_top.dry_kg_m2
            for name in ("shell_db", "core_db", "temperature", "hardened"):
                setattr(column, name, getattr(column, name) + getattr(on_top, name))
        self.waiting = []
        self.weigh_trays(0.03)

    def cool(self) -> None:
        self._dry(1.0)
        while max(self.kiln.columns[0].temperature) > 31.0 and self.spent("heat_off") < 5.0:
            self._dry(0.5)
        note = self.note
        column = self.kiln.columns[0]
        note.read(self.hour, "grain_temperature", column.temperature[-1], place="middle")
        self.did("stripped")
        if self.person.has_measures:
            self._tested()
        if self.tweaks.curing_c:
            self.inspect(smell="off")
        self.hour += 1.0
        self._look_at_kiln()
        dry, db = self.bed_dry, self.whole_db()
        step_kg = 0.005 if self.is_kitchen else 0.1
        culms = 0.035 * dry * (1.0 + db)
        note.weigh(self.hour - 0.3, "culms", culms, step_kg, 0.0)
        note.weigh(self.hour - 0.1, "outturn", 0.962 * dry * (1.0 + db), step_kg, 0.0)
        self.did("finished")
