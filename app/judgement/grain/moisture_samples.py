"""What tells a batch's moisture by itself: bags, the whole charge, tests, the outturn; each with its uncertainty."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import NamedTuple

from app.judgement.facts.shapes import Fact, Part, Result, Weighing
from app.judgement.grain.charges import (
    ASSUMED_MOISTURE_SD,
    MEASURED_MOISTURE_SD,
    Charged,
    charged,
    common_step_kg,
    dry_kg_of,
    first_charges,
    grain_at,
    is_of_whole_charge,
    removed_dry_kg,
    scale_step_kg,
    together,
)
from app.judgement.grain.losses import losses_between, losses_by
from app.judgement.history.history import History, hours_between
from app.judgement.history.stages import all_stages
from app.science import moisture as science

__all__ = [
    "ASSUMED_MOISTURE_SD",
    "MEASURED_MOISTURE_SD",
    "TEST_SD",
    "Charged",
    "MoistureSample",
    "charged",
    "determined",
    "dry_kg_of",
    "dry_loss",
    "is_of_whole_charge",
    "merged",
    "net_of",
    "removed_dry_kg",
    "sample_of",
    "scale_step_kg",
    "tray_start",
    "tray_step_kg",
]

TEST_SD = {"oven_grain": 0.0015, "oven_malt": 0.0015, "oven_two_stage": 0.003, "kitchen_oven": 0.0025, "meter": 0.0025}
UNKNOWN_WAY = science.FilmCorrection(0.75, 1.25)
"""A weighing that doesn't say whether it was blotted: between the two ways, and wide enough to hold both."""

BAG_LIKE_SD = 0.002
"""How far a bag of grain is as moist as the tub that it hangs in, from memory."""

SCALE_SD = 0.5
"""Of a scale in use, in steps: it may be off by a whole one (OIML R 76-1, 3.5.2: twice the ± 0.5 e that is allowed when
it is verified, for weights up to 500 e, from memory), taken as 95 %."""

APART_SDS = 4.0
LEAST_APART = 0.02
"""What a film of water, a spill or a tray set down askew may come to, of the grain's weight. From memory."""

FILM_LASTS_H = 6.0
"""Of the film of water on drained grain so many hours leave a third: the rest is drawn in or dries off. From memory."""

SAME_MOMENT = timedelta(minutes=15)


@dataclass(frozen=True)
class MoistureSample:
    """One determination. basis: how it was come by; place: the tray, bag or place that it is of, where it is of one.

    others: where it is the mean of several, the facts of the others that are in it. shared_sd: the part of sd that all
    weighings against the same start have alike, and that no number of them makes smaller.
    """

    at: datetime
    moisture_wb: float
    sd: float
    fact: Fact
    basis: str
    place: str | None = None
    others: tuple[Fact, ...] = ()
    shared_sd: float = 0.0

    @property
    def own_sd(self) -> float:
        """The part of sd that is this determination's alone."""
        return math.sqrt(max(self.sd**2 - self.shared_sd**2, 0.0))

    @property
    def facts(self) -> tuple[Fact, ...]:
        return (self.fact, *self.others)

    @property
    def together(self) -> str:
        """Said after it, where it is the mean of several."""
        return f", mean of {len(self.facts)}" if self.others else ""

    @property
    def half_width(self) -> float:
        return 2.0 * self.sd


class Against(NamedTuple):
    """A weighing that tells moisture, and what it is held against: the grain's first mass and moisture, since when.

    steps: of the scale, kg, of the first mass and of this one.
    """

    net_kg: float
    first_kg: float
    moisture_wb: float
    moisture_sd: float
    since: datetime
    first_step_kg: float
    step_kg: float
    start: Weighing | None = None


def determined(history: History) -> tuple[MoistureSample, ...]:
    """Every determination but those by trays, in order of time. A tray's needs the moisture that it was loaded with."""
    return history.once(_determined)


def dry_loss(history: History, at: datetime) -> float:
    """The fraction of the charge's dry matter gone with steep water and breath by a moment: an estimate."""
    return losses_by(history, at).total


def merged(
    told: Iterable[MoistureSample], key: Callable[[MoistureSample], object] = lambda sample: sample.basis
) -> tuple[MoistureSample, ...]:
    """Ordered samples, those of one key within a quarter of an hour of the first as one."""
    groups: list[list[MoistureSample]] = []
    last: dict[object, list[MoistureSample]] = {}
    for sample in told:
        group = last.get(key(sample))
        if group is not None and sample.at - group[0].at <= SAME_MOMENT:
            group.append(sample)
        else:
            last[key(sample)] = group = [sample]
            groups.append(group)
    return tuple(_mean(group) for group in groups)


def _mean(group: Sequence[MoistureSample]) -> MoistureSample:
    """Their weighted mean, their spread counted; whichever of them has the first id."""
    if len(group) == 1:
        return group[0]
    first, *others = sorted(group, key=lambda each: (each.at, each.moisture_wb, each.sd))
    weights = [1.0 / max(each.sd, 1e-4) ** 2 for each in group]
    value = math.fsum(weight * each.moisture_wb for weight, each in zip(weights, group, strict=True)) / math.fsum(
        weights
    )
    spread = math.sqrt(math.fsum((each.moisture_wb - value) ** 2 for each in group) / (len(group) - 1))
    whole, pairs = math.fsum(weights), list(zip(weights, group, strict=True))
    own = math.hypot(*(weight * sample.own_sd for weight, sample in pairs)) / whole
    shared = math.fsum(weight * sample.shared_sd for weight, sample in pairs) / whole
    sd = math.hypot(own, spread / math.sqrt(len(group)), shared)
    place = first.place if all(other.place == first.place for other in others) else None
    facts = tuple(other.fact for other in others)
    return MoistureSample(first.at, value, sd, first.fact, first.basis, place, facts, shared)


def _determined(history: History) -> tuple[MoistureSample, ...]:
    samples = [_charged_sample(parts) for parts in first_charges(history)]
    for fact in [each for each in history.facts if isinstance(each, Result | Weighing)]:
        sample = _sample_of(history, fact, samples)
        if sample is not None:
            samples.append(sample)
    return tuple(sorted(samples, key=lambda sample: sample.at))


def _charged_sample(parts: Sequence[Part]) -> MoistureSample:
    start = together(parts)
    return MoistureSample(start.at, start.moisture_wb, start.moisture_sd, parts[0], "charged")


def sample_of(history: History, fact: Fact) -> MoistureSample | None:
    """What one more weighing or test would tell of the batch by itself; None where that is no moisture."""
    return _sample_of(history, fact, determined(history))


def _sample_of(history: History, fact: Fact, before: Sequence[MoistureSample]) -> MoistureSample | None:
    if isinstance(fact, Result) and fact.kind == "moisture_test":
        return MoistureSample(fact.at, fact.value, TEST_SD.get(fact.method or "", 0.0025), fact, "tested", fact.place)
    if not isinstance(fact, Weighing) or fact.quality == "over_range":
        return None
    if fact.kind == "outturn" and fact.moisture_wb is not None:
        return MoistureSample(fact.at, fact.moisture_wb, ASSUMED_MOISTURE_SD, fact, "outturn")
    try:
        against = _against(history, fact, before)
        return None if against is None else _from_mass(history, fact, against)
    except ValueError:
        # Lighter than its own dry matter: no moisture at all. A flag asks about the tare; here there is no sample.
        return None


def against_of(history: History, weighing: Weighing) -> Against | None:
    """What a bag or the whole charge is held against; None where there is nothing."""
    return _against(history, weighing, determined(history))


def _against(history: History, weighing: Weighing, before: Sequence[MoistureSample]) -> Against | None:
    if weighing.kind == "test_bag":
        return _bag(history, weighing, before)
    return _whole_charge(history, weighing) if weighing.kind == "charge_weighing" else None


def _bag(history: History, weighing: Weighing, before: Sequence[MoistureSample]) -> Against | None:
    starts = [each for each in history.of_shape(Weighing, "test_bag_start") if each.vessel == weighing.vessel]
    start = history.last_before(weighing.at, starts)
    if start is None:
        return None
    began = _bag_began(history, start, before)
    if began is None:
        return None
    # A bag is often filled to a round weight: what it comes to in water is not of anybody's choosing.
    weighings = [each for each in history.of_shape(Weighing, "test_bag") if each.vessel == weighing.vessel]
    step, own = (scale_step_kg(each, weighings) * _with_its_tare(each) for each in (start, weighing))
    return Against(net_of(weighing, start), start.net_kg, *began, start.at, step, own, start)


def _bag_began(history: History, start: Weighing, before: Sequence[MoistureSample]) -> tuple[float, float] | None:
    """The moisture that the grain went into the bag with: its own, or where it went in wet, that of the batch then."""
    if start.moisture_wb is not None:
        return start.moisture_wb, MEASURED_MOISTURE_SD
    first_water_at = history.first_water_at
    starts = [each for each in before if each.at <= start.at]
    if starts and first_water_at is not None and first_water_at + SAME_MOMENT < start.at:
        last = max(starts, key=lambda sample: sample.at)
        return last.moisture_wb, last.sd
    whole = grain_at(history, start.at)
    return (whole.moisture_wb, whole.moisture_sd) if whole else None


def _with_its_tare(weighing: Weighing) -> float:
    """Two readings of the scale make a net weight, where the bag was weighed by itself too."""
    return math.sqrt(2.0) if weighing.tare_kg is not None else 1.0


def tray_step_kg(history: History, weighing: Weighing) -> float:
    """The step of a tray's scale, as all that lay on it shows that; for a net weight, of both readings."""
    return (history.once(_step_of_trays) or scale_step_kg(weighing)) * _with_its_tare(weighing)


def _step_of_trays(history: History) -> float | None:
    return common_step_kg(history.of_shape(Weighing, "tray"))


def net_of(weighing: Weighing, start: Weighing) -> float:
    """Net mass of a bag or tray weighed gross only: its own tare from the start is taken off."""
    if weighing.tare_kg is None and weighing.gross_kg is not None and weighing.net_kg == weighing.gross_kg:
        return weighing.gross_kg - (start.tare_kg or 0.0)
    return weighing.net_kg


def _whole_charge(history: History, weighing: Weighing) -> Against | None:
    whole = grain_at(history, weighing.at)
    if whole is None:
        return None
    removed = removed_dry_kg(history, weighing.at)
    initial = float(science.initial_mass_after_removal_kg(whole.as_is_kg, whole.moisture_wb, removed))
    step = scale_step_kg(weighing)
    return Against(weighing.net_kg, initial, whole.moisture_wb, whole.moisture_sd, whole.at, 0.002 * initial, step)


def film_of(weighing: Weighing) -> science.FilmCorrection:
    """What the film of water adds to a weighing, by how the grain was made ready."""
    return science.FILM_CORRECTIONS.get(weighing.method or "", UNKNOWN_WAY)


def _from_mass(history: History, weighing: Weighing, against: Against) -> MoistureSample:
    film, clings = film_of(weighing), film_left(history, weighing.at)
    loss = losses_between(history, against.since, weighing.at)
    # Who wipes, wipes much alike each time: half of what the film may come to is the same in all, from memory.
    film_sd = clings * film.sd_points / math.sqrt(2.0)
    value, shared_sd = science.moisture_wb_with_sd(
        against.net_kg,
        against.first_kg,
        against.moisture_wb,
        loss.total,
        mass_sd_kg=0.0,
        initial_mass_sd_kg=SCALE_SD * against.first_step_kg,
        initial_moisture_sd=against.moisture_sd,
        dry_loss_sd=loss.sd,
        film_points=clings * film.points,
        film_sd_points=film_sd,
    )
    own_sd = math.hypot((1.0 - value) * SCALE_SD * against.step_kg / against.net_kg, film_sd / 100.0)
    shared_sd = math.hypot(shared_sd, BAG_LIKE_SD if weighing.kind == "test_bag" else 0.0)
    where = weighing.vessel or ("whole charge" if weighing.kind == "charge_weighing" else None)
    sd = math.hypot(own_sd, shared_sd)
    return MoistureSample(weighing.at, value, sd, weighing, weighing.kind, where, shared_sd=shared_sd)


def apart_kg(one: Weighing, other: Weighing, first: Weighing, alike: Sequence[Weighing] = ()) -> float:
    """So far two weighings of one vessel may be apart by the scale and the hand. first: of its grain."""
    scale_kg = SCALE_SD * math.hypot(*(scale_step_kg(each, alike) * _with_its_tare(each) for each in (one, other)))
    return max(APART_SDS * scale_kg, LEAST_APART * net_of(first, first))


def film_left(history: History, at: datetime) -> float:
    """How much of the film of water is still on the grain: all in the water, and fading since it was last wet."""
    since = [stage.ends_at for stage in all_stages(history) if stage.name == "immersion" and stage.starts_at < at]
    wet = [at if end is None else min(end, at) for end in since]
    wet += [spray.at for spray in history.of_kind("sprinkled") if spray.at <= at]
    return math.exp(-hours_between(max(wet), at) / FILM_LASTS_H) if wet else 1.0


def tray_start(history: History, weighing: Weighing) -> Weighing | None:
    """The first weighing of this tray since the grain was last loaded."""
    loads = [fact.at for fact in history.of_kind("loaded", "heat_on") if fact.at <= weighing.at]
    since = max((at for at in loads if _is_load(history, at)), default=None)
    mine = [
        each
        for each in history.of_shape(Weighing, "tray")
        if each.vessel == weighing.vessel and (since is None or each.at >= since - SAME_MOMENT * 4)
    ]
    return mine[0] if mine else None


def _is_load(history: History, at: datetime) -> bool:
    return any(fact.at == at for fact in history.of_kind("loaded")) or not history.of_kind("loaded")
