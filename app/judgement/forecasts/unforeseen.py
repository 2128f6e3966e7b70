"""A weighing, a moisture test or a growth count that is not what the batch led one to expect: asked about at its entry.

Farther than three standard uncertainties from the forecast as it stood just before; and in any case grain that gets
lighter under water, or heavier on the kiln. What may have slipped is offered, where it would come near the forecast.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from app.judgement.facts.fields import BadValues, Quantity
from app.judgement.facts.kinds import KINDS
from app.judgement.facts.records import values_from_typed
from app.judgement.facts.shapes import Fact, Result, Tally, Weighing
from app.judgement.forecasts import asking
from app.judgement.forecasts.band import Z80
from app.judgement.forecasts.forecast import fit
from app.judgement.forecasts.growth import count_sd
from app.judgement.forecasts.moisture import determinations
from app.judgement.forecasts.trays import LEAST_RATIO_SD
from app.judgement.forecasts.trusted import trusted
from app.judgement.grain.counts import growth_counts, growth_of
from app.judgement.grain.moisture_samples import MoistureSample, net_of, sample_of, scale_step_kg, tray_start
from app.judgement.grain.moisture_trays import is_heavier
from app.judgement.history.history import History
from app.judgement.history.stages import Stage, all_stages, stage_at
from app.judgement.slips.masses import known_tare
from app.judgement.slips.questions import Question, shown, tare_question
from app.judgement.slips.readings import other_digits, other_readings
from app.judgement.wording import METRIC, Words
from app.science import units
from app.science.moisture import resolution_sd

FAR_SDS, NEAR_SDS = 3.0, 2.0
"""Farther from the forecast is asked about; what lies nearer is offered. The house's rule."""

FIRST_COUNT_STRAYS = 2.0
"""As many times as far as the forecast says before any count, a first count may lie from it. The house's rule."""

MOST_OFFERED = 2
WEIGHED = ("test_bag", "charge_weighing", "tray")


@dataclass(frozen=True)
class _Foreseen:
    """What an entry says, and what was foreseen: kg net, share of water, or kernel lengths. sd: of both together."""

    said: float
    central: float
    sd: float

    @property
    def sds(self) -> float:
        return abs(self.said - self.central) / self.sd


def unforeseen(new: Fact, history: History, words: Words = METRIC) -> list[Question]:
    """What to ask about an entry; none where it is as foreseen, or nothing is."""
    if not isinstance(new, Weighing | Result | Tally) or new.quality not in ("measured", "estimated"):
        return []
    look = _Look(history, new)
    if look.is_as_before():
        return []
    told, turned = look.foreseen(new), look.turned(new)
    still_tared = look.tare_left_in(told)
    if still_tared is not None:
        return [still_tared]
    if turned is None and (told is None or told.sds <= FAR_SDS):
        return []
    return list(look.questions(told, turned, words))


class _Look:
    """One entry, looked at against the batch as it was known just before."""

    def __init__(self, history: History, new: Fact) -> None:
        before = tuple([fact for fact in history.facts if fact.at <= new.at and fact.id != new.supersedes_id])
        self.corrected = history.by_id(new.supersedes_id) if new.supersedes_id else None
        is_whole = len(before) == len(history.facts)
        self.new, self.history = new, trusted(history if is_whole else history.with_facts(before))
        self.hour = self.history.hour(new.at)

    def is_as_before(self) -> bool:
        """A correction of something else about an entry, whose number was meant."""
        old = self.corrected
        if isinstance(old, Tally) and isinstance(self.new, Tally):
            return (old.counts, old.lengths) == (self.new.counts, self.new.lengths)
        name = "value" if isinstance(self.new, Result) else "net_kg"
        was, now = vars(old).get(name) if old is not None else None, vars(self.new).get(name)
        return was is not None and now is not None and math.isclose(was, now, rel_tol=1e-4)

    @property
    def stage(self) -> Stage | None:
        return stage_at(all_stages(self.history), self.new.at)

    @property
    def is_steeped(self) -> bool:
        """Whether the record tells how the grain came to its water: of a hole in it nothing is foreseen."""
        told = fit(self.history).story
        return told is not None and (told.uptake is not None or self.stage is None or self.stage.name == "charged")

    def foreseen(self, fact: Fact) -> _Foreseen | None:
        if not self.is_steeped:
            return None
        if isinstance(fact, Tally):
            return self._grown(fact) if fact.kind == "growth_count" else None
        if isinstance(fact, Result):
            # Of a place on the kiln the bed tells little: it dries from the side of the air.
            is_of_layer = fact.place is not None and self.stage is not None and self.stage.name == "kilning"
            return self._tested(fact) if fact.kind == "moisture_test" and not is_of_layer else None
        if not isinstance(fact, Weighing) or fact.kind not in WEIGHED:
            return None
        return self._on_tray(fact) if fact.kind == "tray" else self._weighed(fact)

    def _grown(self, count: Tally) -> _Foreseen | None:
        fitted, grown = fit(self.history).growth, growth_of(count)
        if fitted is None or grown is None or self.hour < fitted.start_h:
            return None
        edges = fitted.band(np.array([self.hour]), in_classes=not grown.is_from_lengths)
        central, low, high = (float(each[0]) for each in edges)
        # Before a first count the figures are the species', from memory: lots stray from them by more than they say.
        stray = 1.0 if growth_counts(self.history) else FIRST_COUNT_STRAYS
        return _Foreseen(grown.mean, central, math.hypot(stray * (high - low) / (2.0 * Z80), count_sd(grown)))

    def _moisture(self) -> tuple[float, float] | None:
        value = asking.moisture(fit(self.history), self.new.at)
        if value.central is None or value.low is None or value.high is None:
            return None
        return value.central, (value.high - value.low) / (2.0 * Z80)

    def _tested(self, test: Result) -> _Foreseen | None:
        loaded = self.history.last_before(test.at, self.history.of_kind("loaded"))
        if loaded is not None and not any(each.at > loaded.at for each in determinations(self.history)):
            # Of grain on the kiln, or off it, that nobody has measured since, nothing is foreseen.
            return None
        told, sample = self._moisture(), sample_of(self.history, test)
        return _Foreseen(test.value, told[0], math.hypot(told[1], sample.sd)) if told and sample else None

    def _weighed(self, weighing: Weighing) -> _Foreseen | None:
        """In kilograms: what is lighter than its dry matter tells no moisture to compare."""
        told, sample = self._moisture(), self._near_sample(weighing)
        if told is None or sample is None:
            return None
        (wb, sd), tried = told, sample.fact
        assert isinstance(tried, Weighing)
        kilograms = tried.net_kg * (1.0 - sample.moisture_wb) / (1.0 - wb)
        return _Foreseen(self._net(weighing), kilograms, kilograms * math.hypot(sd, sample.sd) / (1.0 - wb))

    def _near_sample(self, weighing: Weighing) -> MoistureSample | None:
        """What it would tell if it weighed as much as it does, or so much more that it tells any moisture."""
        for times in (1.0, 1.5, 2.5, 5.0, 10.0):
            tried = replace(weighing, net_kg=times * self._net(weighing), gross_kg=None)
            sample = sample_of(self.history, tried)
            if sample is not None:
                return sample
        return None

    def _net(self, weighing: Weighing) -> float:
        """Weighed gross only, its own tare is taken off."""
        tare = known_tare(weighing.kind, weighing.vessel, self.history, weighing.at)
        return net_of(weighing, replace(weighing, tare_kg=tare))

    def _on_tray(self, weighing: Weighing) -> _Foreseen | None:
        told = fit(self.history).story
        run = told.drying if told is not None else None
        tray = next((each for each in run.trays if each.name == (weighing.vessel or "")), None) if run else None
        if run is None or tray is None or self.hour < run.start_h:
            return None
        (wb, sd), (loaded_wb, loaded_sd) = run.state(self.hour, tray.number), run.first_wb(tray)
        kilograms = tray.first_net_kg * (1.0 - loaded_wb) / (1.0 - wb)
        sds = (sd / (1.0 - wb), loaded_sd / (1.0 - loaded_wb), self._own_sd_kg(weighing, tray.first_net_kg) / kilograms)
        return _Foreseen(tray.net_kg(weighing), kilograms, kilograms * math.hypot(*sds))

    def _own_sd_kg(self, weighing: Weighing, first_kg: float) -> float:
        """Of a tray's weight: the step of its scale, and grain spilt or clinging."""
        alike = (*self.history.of_shape(Weighing, weighing.kind), weighing)
        return math.hypot(LEAST_RATIO_SD * first_kg, resolution_sd(scale_step_kg(weighing, alike)))

    def turned(self, fact: Fact) -> Weighing | None:
        """The weighing before, where grain has got lighter since under water, or heavier on the kiln."""
        stage = self.stage
        if not isinstance(fact, Weighing) or stage is None:
            return None
        if fact.kind == "tray" and stage.name == "kilning":
            return self._heavier(fact)
        return self._lighter(fact) if fact.kind in WEIGHED and stage.name == "immersion" else None

    def _heavier(self, tray: Weighing) -> Weighing | None:
        start, last = tray_start(self.history, tray), self._last(tray)
        alike = self.history.of_shape(Weighing, tray.kind)
        return last if start is not None and last is not None and is_heavier(tray, last, start, alike) else None

    def _lighter(self, weighing: Weighing) -> Weighing | None:
        last = self._last(weighing)
        stage = stage_at(all_stages(self.history), last.at) if last is not None else None
        is_alike = last is not None and last.method == weighing.method
        if last is None or not is_alike or stage is None or stage.name not in ("immersion", "air_rest"):
            return None
        net_kg, sample = self._net(weighing), self._near_sample(weighing)
        own = sample.own_sd / (1.0 - sample.moisture_wb) if sample is not None else 0.0
        return last if net_kg < self._net(last) * (1.0 - NEAR_SDS * math.sqrt(2.0) * own) else None

    def _last(self, weighing: Weighing) -> Weighing | None:
        mine = self.history.of_shape(Weighing, weighing.kind)
        return self.history.last_before(self.new.at, [each for each in mine if each.vessel == weighing.vessel])

    def tare_left_in(self, told: _Foreseen | None) -> Question | None:
        """A bag or tray that was weighed with its tare, and now is said to have come to so much net: where less its
        tare it is as foreseen, or nearer to it."""
        new = self.new
        if not isinstance(new, Weighing) or told is None or new.tare_kg or new.gross_kg is not None:
            return None
        mine = [each for each in self.history.of_shape(Weighing) if each.vessel == new.vessel]
        tare_kg, last = known_tare(new.kind, new.vessel, self.history, new.at), self.history.last_before(new.at, mine)
        if not tare_kg or last is None or not last.tare_kg or tare_kg >= new.net_kg:
            return None
        less = replace(told, said=told.said - tare_kg)
        is_nearer = less.sds < told.sds and told.said > told.central
        return tare_question(new, tare_kg) if is_nearer else None

    def questions(self, told: _Foreseen | None, turned: Weighing | None, words: Words) -> Iterator[Question]:
        """The likeliest slip with the question, a second one after it."""
        name, spec = self._field()
        message, as_typed = self._said(name, spec, told, turned, words)
        offered = list(self._offers(name, spec))[:MOST_OFFERED]
        if not offered:
            yield Question(name, f"{message} Is that what you {self._verb}?", {}, "", f"{as_typed}, as typed")
        for place, (changes, what) in enumerate(offered):
            asked = f"{message} Is it {what}?" if place == 0 else f"Or is it {what}?"
            yield Question(name, asked, changes, what, f"{as_typed}, as typed")

    @property
    def _verb(self) -> str:
        return "counted" if isinstance(self.new, Tally) else "read"

    def _field(self) -> tuple[str, Quantity | None]:
        """The field that the number was typed in."""
        fields = KINDS[self.new.kind].fields
        if isinstance(self.new, Tally):
            return "looked_at", None
        name = "value" if isinstance(self.new, Result) else "gross" if vars(self.new).get("gross_kg") else "net"
        spec = fields[name]
        return name, spec if isinstance(spec, Quantity) else None

    def _said(
        self, name: str, spec: Quantity | None, told: _Foreseen | None, turned: Weighing | None, words: Words
    ) -> tuple[str, str]:
        """The question without its end, and the entry as it was typed."""
        if spec is None:
            assert told is not None
            as_typed = f"Mean acrospire {told.said:.2f}"
            low, high = (f"{max(told.central + way * NEAR_SDS * told.sd, 0.0):.2f}" for way in (-1.0, 1.0))
            return f"{as_typed} is far from what was foreseen ({low} to {high}).", as_typed
        unit = spec.unit_typed(self.new.typed, name) or units.DEFAULT_UNITS["metric"][spec.dimension]
        value = float(vars(self.new)[spec.target])
        as_typed = shown(spec.dimension, value, unit, self.new.typed.get(name))
        if turned is not None:
            assert isinstance(self.new, Weighing)
            net, last = self._net(self.new), self._net(turned)
            if self.new.tare_kg == turned.tare_kg and spec.target == "gross_kg" and turned.gross_kg is not None:
                net, last = value, turned.gross_kg
            else:
                as_typed = f"{units.format_quantity(net, unit)} net"
            before = f"the {units.format_quantity(last, unit)} of {words.clock(turned.at)}"
            if net > last:
                return f"On the kiln grain gets lighter, and {as_typed} is more than {before}.", as_typed
            return f"Under water grain gets heavier, and {as_typed} is less than {before}.", as_typed
        assert told is not None
        beside = value - told.said
        low, high = (
            units.format_quantity(max(told.central + way * NEAR_SDS * told.sd, 0.0) + beside, unit)
            for way in (-1.0, 1.0)
        )
        return f"{spec.word} {as_typed} is far from what was foreseen ({low} to {high}).", as_typed

    def _offers(self, name: str, spec: Quantity | None) -> Iterator[tuple[dict[str, str], str]]:
        """What to change in what was typed so that it comes near the forecast, the likeliest first; and in words."""
        if spec is None:
            return
        for changes, what in self._ways(name, spec):
            other = self._read_again(changes)
            told = self.foreseen(other) if other is not None else None
            if other is not None and told is not None and told.sds <= NEAR_SDS and self.turned(other) is None:
                yield changes, what

    def _ways(self, name: str, spec: Quantity) -> Iterator[tuple[dict[str, str], str]]:
        new, typed = self.new, self.new.typed
        value = float(vars(new)[spec.target])
        others = list(other_readings(name, spec, typed, value))
        for other in others:
            yield dict(other.changes), shown(spec.dimension, other.value, other.unit, other.changes[name])
        if isinstance(new, Weighing):
            yield from self._other_tares(new, name, spec)
            for vessel in dict.fromkeys(each.vessel for each in self.history.of_shape(Weighing, new.kind)):
                if vessel and vessel != new.vessel:
                    yield {"vessel": vessel}, vessel
        for other in other_digits(name, spec, typed, value):
            yield dict(other.changes), shown(spec.dimension, other.value, other.unit, other.changes[name])

    def _other_tares(self, new: Weighing, name: str, spec: Quantity) -> Iterator[tuple[dict[str, str], str]]:
        """Off a scale that was set to zero with the vessel on it, though the tare was taken off once more."""
        if new.gross_kg is not None and new.tare_kg:
            unit = spec.unit_typed(new.typed, name) or "kg"
            text = new.typed.get(name) or f"{units.from_si(new.gross_kg, unit):.6g}"
            changes = {"net": text, "net_unit": unit, "gross": "", "tare": ""}
            yield changes, f"{METRIC.mass(new.gross_kg)} net, its tare taken off already"

    def _read_again(self, changes: dict[str, str]) -> Fact | None:
        kind = KINDS[self.new.kind]
        typed = {name: text for name, text in {**self.new.typed, **changes}.items() if text}
        blank: dict[str, Any] = {
            spec.target: None
            for spec in kind.fields.values()
            if "." not in spec.target and spec.target in vars(self.new)
        }
        try:
            return replace(self.new, **blank | values_from_typed(kind, typed, self.new.quality), typed=typed)
        except BadValues:
            return None
