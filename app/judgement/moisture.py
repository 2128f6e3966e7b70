"""The moisture of a batch: from every weighing and test, with its uncertainty, and an estimate between them."""

from __future__ import annotations

import bisect
import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from app.judgement.facts import Fact, Part, Result, Weighing
from app.judgement.history import History
from app.judgement.losses import LOSS_RELATIVE_SD, losses_between, losses_by
from app.judgement.stages import all_stages, stage_at
from app.science import moisture as science
from app.science import units

MEASURED_MOISTURE_SD = 0.001
ASSUMED_MOISTURE_SD = science.UNMEASURED_MOISTURE_HALF_WIDTH / 2
TEST_SD = {"oven_grain": 0.0015, "oven_malt": 0.0015, "oven_two_stage": 0.003, "kitchen_oven": 0.0025, "meter": 0.0025}
UNKNOWN_WAY = science.FilmCorrection(0.75, 1.25)
"""A weighing that doesn't say whether it was blotted: between the two ways, and wide enough to hold both."""

DRIFT_PER_H = {"immersion": 0.006, "air_rest": 0.003, "germination": 0.0005, "kilning": 0.02, "stewing": 0.005}
"""How fast moisture may wander unseen, from memory: widens the estimate with the time since the last weighing."""

SAME_MOMENT = timedelta(minutes=15)


@dataclass(frozen=True)
class MoistureSample:
    """One determination. basis: in words, how it was come by. is_local: of one tray or place, not of the whole."""

    at: datetime
    moisture_wb: float
    sd: float
    fact: Fact
    basis: str
    place: str | None = None

    @property
    def half_width(self) -> float:
        return 2.0 * self.sd


@dataclass(frozen=True)
class Estimate:
    """Moisture at a moment. is_estimate: nothing was weighed just then. since_h: hours from the last determination."""

    moisture_wb: float
    sd: float
    is_estimate: bool
    since_h: float = 0.0
    sample: MoistureSample | None = None

    @property
    def half_width(self) -> float:
        return 2.0 * self.sd

    @property
    def upper(self) -> float:
        return min(self.moisture_wb + self.half_width, 0.999)


@dataclass(frozen=True)
class Charged:
    """What went into the batch: mass as it was, its moisture, and how sure that is."""

    as_is_kg: float
    moisture_wb: float
    moisture_sd: float
    at: datetime

    @property
    def dry_kg(self) -> float:
        return self.as_is_kg * (1.0 - self.moisture_wb)


def charged(history: History, until: datetime | None = None) -> Charged | None:
    """All that was charged up to a moment, as one mass at one moisture; None before any charge."""
    parts = [part for part in _first_charges(history) if until is None or part.at <= until]
    mass = sum(part.as_is_kg for part in parts)
    if not parts or mass <= 0.0:
        return None
    sd = math.sqrt(sum((part.as_is_kg / mass * _charge_moisture_sd(part)) ** 2 for part in parts))
    return Charged(mass, 1.0 - sum(part.dry_kg for part in parts) / mass, sd, parts[0].at)


def samples(history: History) -> tuple[MoistureSample, ...]:
    """Every determination of the batch's moisture, in order of time."""
    return history.once(_samples)


def moisture_at(history: History, at: datetime) -> Estimate | None:
    """The moisture at a moment: a determination, or an estimate between and after them; None before any is known.

    Between determinations it runs straight; after the last it holds. The interval widens with the distance in time.
    """
    known = history.once(_merged)
    begun = bisect.bisect_right([each.at for each in known], at)
    if not begun:
        return None
    before = known[begun - 1]
    since_h = (at - before.at).total_seconds() / 3600.0
    if at - before.at <= SAME_MOMENT:
        return Estimate(before.moisture_wb, before.sd, False, since_h, before)
    drift = DRIFT_PER_H.get(_stage_name(history, at), 0.0005)
    if begun == len(known):
        return Estimate(before.moisture_wb, math.hypot(before.sd, drift * since_h / 2), True, since_h, before)
    after = known[begun]
    span_h = (after.at - before.at).total_seconds() / 3600.0
    share = since_h / span_h
    value = before.moisture_wb + share * (after.moisture_wb - before.moisture_wb)
    own = math.hypot((1 - share) * before.sd, share * after.sd)
    nearest_h = min(since_h, span_h - since_h)
    return Estimate(value, math.hypot(own, drift * nearest_h / 2), True, since_h, before)


def dry_loss(history: History, at: datetime) -> float:
    """The fraction of the charge's dry matter gone with steep water and breath by a moment: an estimate."""
    return losses_by(history, at).total


def removed_dry_kg(history: History, until: datetime) -> float:
    """Dry matter taken out of the charge by a moment: skimmings, samples, losses, and what was split off."""
    gone = sum(part.dry_kg for part in history.departures if part.at <= until and part.kind in ("split", "merge"))
    start = charged(history)
    for weighing in history.of_shape(Weighing, "skimmings", "loss"):
        if (
            (start is None or start.at <= weighing.at)
            and weighing.at <= until
            and is_of_whole_charge(history, weighing)
        ):
            gone += dry_kg_of(history, weighing)
    return gone


def is_of_whole_charge(history: History, weighing: Weighing) -> bool:
    """Whether this came out of the charge itself, and not out of a smaller sample that was looked through."""
    start = charged(history)
    return weighing.of_kg is None or start is None or weighing.of_kg >= 0.9 * start.as_is_kg


def dry_kg_of(history: History, weighing: Weighing) -> float:
    """The dry matter in skimmings or a loss: dried ones at the charge's own moisture, wet ones at that of then."""
    start = charged(history)
    own = start.moisture_wb if start else 0.12
    if weighing.moisture_wb is not None:
        return weighing.net_kg * (1.0 - weighing.moisture_wb)
    if weighing.method == "dried":
        return weighing.net_kg * (1.0 - own)
    return weighing.net_kg * (1.0 - _wet_moisture(history, weighing, own))


def scale_step_kg(weighed: Weighing | Part) -> float:
    """The step of the scale as the typed digits show it; a thousandth of the mass where they are not known."""
    for name in ("gross", "net", "as_is"):
        text, unit = weighed.typed.get(name, "").strip(), weighed.typed.get(f"{name}_unit", "kg")
        if text and unit in {known.key for known in units.units_of("mass")}:
            decimals = len(text.replace(",", ".").partition(".")[2])
            return float(units.difference_to_si(10.0**-decimals, unit))
    return abs(weighed.as_is_kg if isinstance(weighed, Part) else weighed.net_kg) * 0.001


def _samples(history: History) -> tuple[MoistureSample, ...]:
    found: list[MoistureSample] = []
    start = charged(history)
    if start is not None:
        found.append(
            MoistureSample(start.at, start.moisture_wb, start.moisture_sd, _first_charges(history)[0], "charged")
        )
    for fact in history.facts:
        sample = _sample_of(history, fact, found)
        if sample is not None:
            found.append(sample)
    return tuple(sorted(found, key=lambda sample: sample.at))


def _sample_of(history: History, fact: Fact, before: Sequence[MoistureSample]) -> MoistureSample | None:
    if isinstance(fact, Result) and fact.kind == "moisture_test":
        return MoistureSample(fact.at, fact.value, TEST_SD.get(fact.method or "", 0.0025), fact, "tested", fact.place)
    if not isinstance(fact, Weighing):
        return None
    if fact.kind == "outturn" and fact.moisture_wb is not None:
        return MoistureSample(fact.at, fact.moisture_wb, ASSUMED_MOISTURE_SD, fact, "outturn")
    try:
        if fact.kind == "test_bag":
            return _bag_sample(history, fact)
        if fact.kind == "charge_weighing":
            return _charge_sample(history, fact)
        if fact.kind == "tray":
            return _tray_sample(history, fact, before)
    except ValueError:
        # Lighter than its own dry matter: no moisture at all. A flag asks about the tare; here there is no sample.
        return None
    return None


def _bag_sample(history: History, weighing: Weighing) -> MoistureSample | None:
    starts = [each for each in history.of_shape(Weighing, "test_bag_start") if each.vessel == weighing.vessel]
    start = history.last_before(weighing.at, starts)
    if start is None:
        return None
    whole = charged(history)
    moisture_wb = start.moisture_wb if start.moisture_wb is not None else (whole.moisture_wb if whole else None)
    if moisture_wb is None:
        return None
    sd = (
        MEASURED_MOISTURE_SD if start.moisture_wb is not None else (whole.moisture_sd if whole else ASSUMED_MOISTURE_SD)
    )
    return _from_mass(
        history, weighing, net_of(weighing, start), start.net_kg, scale_step_kg(start), moisture_wb, sd, start.at
    )


def net_of(weighing: Weighing, start: Weighing) -> float:
    """Net mass of a bag or tray weighed gross only: its own tare from the start is taken off."""
    if weighing.tare_kg is None and weighing.gross_kg is not None and weighing.net_kg == weighing.gross_kg:
        return weighing.gross_kg - (start.tare_kg or 0.0)
    return weighing.net_kg


def _charge_sample(history: History, weighing: Weighing) -> MoistureSample | None:
    whole = charged(history, weighing.at)
    if whole is None:
        return None
    removed = removed_dry_kg(history, weighing.at)
    initial = float(science.initial_mass_after_removal_kg(whole.as_is_kg, whole.moisture_wb, removed))
    return _from_mass(
        history, weighing, weighing.net_kg, initial, 0.002 * initial, whole.moisture_wb, whole.moisture_sd, whole.at
    )


def _from_mass(
    history: History,
    weighing: Weighing,
    net: float,
    initial: float,
    step: float,
    moisture_wb: float,
    moisture_sd: float,
    since: datetime,
) -> MoistureSample:
    film = science.FILM_CORRECTIONS.get(weighing.method or "", UNKNOWN_WAY)
    loss = losses_between(history, since, weighing.at).total
    value, sd = science.moisture_wb_with_sd(
        net,
        initial,
        moisture_wb,
        loss,
        mass_sd_kg=science.resolution_sd(scale_step_kg(weighing)),
        initial_mass_sd_kg=science.resolution_sd(step),
        initial_moisture_sd=moisture_sd,
        dry_loss_sd=LOSS_RELATIVE_SD * loss,
        film_points=film.points,
        film_sd_points=film.sd_points,
    )
    where = weighing.vessel or ("whole charge" if weighing.kind == "charge_weighing" else None)
    return MoistureSample(weighing.at, value, sd, weighing, weighing.kind, where)


def _tray_sample(history: History, weighing: Weighing, before: Sequence[MoistureSample]) -> MoistureSample | None:
    """A tray's moisture from its own first weighing of this load, at the moisture that the grain had then."""
    start = tray_start(history, weighing)
    if start is None or start is weighing:
        return None
    loaded = [each for each in before if each.at <= start.at and each.fact.kind != "tray"]
    if not loaded:
        return None
    last = loaded[-1]
    net = net_of(weighing, start)
    value, sd = science.moisture_wb_with_sd(
        net,
        net_of(start, start),
        last.moisture_wb,
        mass_sd_kg=science.resolution_sd(scale_step_kg(weighing)),
        initial_mass_sd_kg=science.resolution_sd(scale_step_kg(start)),
        initial_moisture_sd=last.sd,
        dry_loss_sd=0.0,
    )
    return MoistureSample(weighing.at, value, sd, weighing, "tray", weighing.vessel)


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


def _merged(history: History) -> tuple[MoistureSample, ...]:
    """Determinations within a quarter of an hour of one another, as one: their weighted mean, their spread counted."""
    groups: list[list[MoistureSample]] = []
    for sample in samples(history):
        if groups and sample.at - groups[-1][0].at <= SAME_MOMENT and groups[-1][0].basis == sample.basis:
            groups[-1].append(sample)
        else:
            groups.append([sample])
    return tuple(_mean(group) for group in groups)


def _mean(group: Sequence[MoistureSample]) -> MoistureSample:
    if len(group) == 1:
        return group[0]
    weights = [1.0 / max(each.sd, 1e-4) ** 2 for each in group]
    value = sum(weight * each.moisture_wb for weight, each in zip(weights, group, strict=True)) / sum(weights)
    spread = math.sqrt(sum((each.moisture_wb - value) ** 2 for each in group) / (len(group) - 1))
    sd = math.hypot(1.0 / math.sqrt(sum(weights)), spread / math.sqrt(len(group)))
    return MoistureSample(group[0].at, value, sd, group[-1].fact, group[0].basis, None)


def _first_charges(history: History) -> list[Part]:
    own = list(history.charges)
    if own and own[0].kind in ("split", "merge"):
        return own
    return own or [part for part in history.of_shape(Part) if part.kind == "charge"]


def _charge_moisture_sd(part: Part) -> float:
    return MEASURED_MOISTURE_SD if part.method == "measured" else ASSUMED_MOISTURE_SD


def _wet_moisture(history: History, weighing: Weighing, own: float) -> float:
    """Skimmings and samples are taken while samples are still being worked out: only earlier tests may be asked."""
    if weighing.kind == "skimmings":
        return 0.30 if weighing.method == "drained" else 0.25
    stage = stage_at(all_stages(history), weighing.at)
    by_stage = {"immersion": 0.35, "air_rest": 0.38, "germination": 0.44, "stewing": 0.44, "kilning": 0.25}
    return by_stage.get(stage.name, own) if stage else own


def _stage_name(history: History, at: datetime) -> str:
    stage = stage_at(all_stages(history), at)
    return stage.name if stage else "charged"
