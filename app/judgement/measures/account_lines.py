"""The lines of the malting-loss account, each with how it was come by and how sure it is. Dry matter, kg."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import datetime

from app.judgement.facts.shapes import Fact, Part, Weighing
from app.judgement.forecasts.moisture import (
    ASSUMED_MOISTURE_SD,
    Charged,
    dry_kg_of,
    is_of_whole_charge,
    scale_step_kg,
)
from app.judgement.grain.charges import part_moisture_sd
from app.judgement.grain.losses import RELATIVE_SD, losses_by, rootlet_share
from app.judgement.history.history import History
from app.judgement.malt.dryness import GREEN_WB, malt_moisture, outturn_moisture
from app.judgement.measures.rejects import is_moisture_assumed, skimmings_sd_kg
from app.science.mass_balance import dry_matter_with_sd
from app.science.moisture import resolution_sd

SCALE_RELATIVE_SD = 0.001
"""How true a scale is, whatever digits it shows or a bag has printed on it, as a share of what was weighed: one of
class III may be off in use by one of its steps up to 500 of them, by two up to 2000 and by three beyond (OIML R 76-1,
from memory). In the moisture of a bag or tray it has no part: both weighings are off alike.
"""
GUESSED_MASS_RELATIVE_SD = 0.05
ASSUMED_LOSS_MOISTURE_SD = 0.03
CULMS_MOISTURE_SD = 0.01
"""From memory: a mass that was guessed is within 10 %, the moisture of a wet sample within 6 points of that of its
stage, that of culms within 2 points of the malt's."""

FADING = {
    "steep": "Steep loss",
    "respiration": "Respiration",
    "roast": "Roast loss",
}


@dataclass(frozen=True)
class AccountLine:
    """One line. how: weighed or estimated. parts: (fact, its dry kg). scale_relative_sd: of the mass as it was."""

    key: str
    word: str
    dry_kg: float
    sd_kg: float
    how: str
    note: str = ""
    parts: tuple[tuple[Fact, float], ...] = ()
    scale_relative_sd: float = 0.0

    @property
    def half_width_kg(self) -> float:
        return 2.0 * self.sd_kg

    @property
    def is_estimate(self) -> bool:
        return self.how == "estimated"

    @property
    def facts(self) -> tuple[Fact, ...]:
        return tuple(fact for fact, _ in self.parts)


Line = AccountLine


@dataclass(frozen=True)
class _Mass:
    """One weighing or part, as dry matter with what it adds to the uncertainty of its line."""

    fact: Fact
    as_is_kg: float
    scale_sd_kg: float
    dry_kg: float
    dry_sd_kg: float


def charge_line(history: History, start: Charged, now: datetime) -> AccountLine:
    """What went in, from every lot and batch together."""
    arrived = [part for part in history.charges if part.at <= now] or [
        part for part in history.of_shape(Part, "charge") if part.at <= now
    ]
    return _line("charge", "Charged", [_of_part(part) for part in arrived])


def removal_lines(history: History, start: Charged, now: datetime) -> tuple[AccountLine, ...]:
    """Skimmings, samples and losses, and what was split off; only those that there are."""
    since = [fact for fact in history.facts if start.at <= fact.at <= now]
    taken = [fact for fact in since if isinstance(fact, Weighing) and is_of_whole_charge(history, fact)]
    skimmed = [_of_skimmings(history, start, fact) for fact in taken if fact.kind == "skimmings"]
    lost = [_of_loss(history, start, fact) for fact in taken if fact.kind == "loss"]
    split = [_of_part(part) for part in green_departures(history, now)]
    is_wet = any(is_moisture_assumed(each) for each in taken if each.kind == "skimmings")
    skim_note = "wet; moisture assumed" if is_wet else ""
    lines = (
        _line("skimmings", "Skimmed off", skimmed, note=skim_note) if skimmed else None,
        _line("samples", "Samples and losses", lost) if lost else None,
        _line("split_off", "Split off", split) if split else None,
    )
    return tuple(line for line in lines if line is not None)


def green_departures(history: History, now: datetime) -> tuple[Part, ...]:
    """What left for other batches before there was malt: what is split from malt already weighed is part of that."""
    weighed = [fact.at for fact in history.of_kind("outturn") if fact.at <= now]
    return tuple(
        part
        for part in history.departures
        if part.kind in ("split", "merge")
        and part.at <= now
        and (part.moisture_wb > GREEN_WB or not weighed or part.at < weighed[0])
    )


def fading_lines(history: History, start: Charged, now: datetime) -> tuple[AccountLine, ...]:
    """What went with the steep water, the breath and the roast: estimated on the grain that was there at each hour."""
    lines = []
    for key, word in FADING.items():

        def share(at: datetime, key: str = key) -> float:
            return float(getattr(losses_by(history, at), key))

        dry_kg = _faded_kg(history, start, now, share)
        if dry_kg > 0.0:
            note = "from the programme’s figure and the hours"
            lines.append(AccountLine(key, word, dry_kg, RELATIVE_SD[key] * dry_kg, "estimated", note))
    return tuple(lines)


def _faded_kg(history: History, start: Charged, now: datetime, share: Callable[[datetime], float]) -> float:
    """Between any two moments at which grain came or went, the loss falls on what was there.

    share: what was lost by a moment, of the first dry matter of grain that had been there from the beginning.
    """
    first_kg = lost_kg = 0.0
    moves = _moves(history, start, now)
    for place, (at, moved_kg) in enumerate(moves):
        first_kg += moved_kg
        until = moves[place + 1][0] if place + 1 < len(moves) else now
        lost_kg += max(first_kg, 0.0) * (share(until) - share(at))
    return lost_kg


def _moves(history: History, start: Charged, now: datetime) -> list[tuple[datetime, float]]:
    """What came and, below 0, what went, each with the dry matter that it had when its story began; by time."""
    arrived = [(part.at, part.dry_kg) for part in history.charges if part.at <= now]
    gone = [(fact.at, -kg) for line in removal_lines(history, start, now) for fact, kg in line.parts]
    moves = sorted([*(arrived or [(start.at, start.dry_kg)]), *gone])
    return [(at, dry_kg / (1.0 - losses_by(history, at).total)) for at, dry_kg in moves]


def culms_line(history: History, start: Charged, now: datetime, *, has_malt: bool) -> AccountLine | None:
    """The rootlets: weighed, or once the malt is dressed and weighed without them, estimated from the growth."""
    weighed = [fact for fact in history.of_shape(Weighing, "culms") if start.at <= fact.at <= now]
    if weighed:
        malt = malt_moisture(history, weighed[-1].at, now)
        masses = [_of_weighing(each, malt.moisture_wb, max(malt.sd, CULMS_MOISTURE_SD)) for each in weighed]
        return _line("culms", "Culms", masses, note="taken to be as dry as the malt")
    # Rootlets leave with the grain they are on: what was split off took its own, what is here brought them along.
    dry_kg = rootlet_share(history, now) * sum(kg for _, kg in _moves(history, start, now))
    if not has_malt or dry_kg <= 0.0:
        return None
    note = "not weighed: from the programme’s figure and the hours of growth"
    return AccountLine("culms", "Culms", dry_kg, RELATIVE_SD["rootlet"] * dry_kg, "estimated", note)


def outturn_line(history: History, start: Charged, now: datetime) -> tuple[AccountLine | None, float]:
    """The malt, and its mass as it was weighed; what was packed stands in where no outturn was weighed."""
    weighed = [fact for fact in history.of_shape(Weighing, "outturn") if start.at <= fact.at <= now]
    if weighed:
        moistures = [outturn_moisture(history, each, now) for each in weighed]
        masses = [_of_weighing(each, *moisture[:2]) for each, moisture in zip(weighed, moistures, strict=True)]
        note = "" if all(moisture.is_tested for moisture in moistures) else "moisture not tested: taken as 5 ± 2 %"
        return _line("outturn", "Malt", masses, note=note), sum(each.net_kg for each in weighed)
    kinds = ("pack", "dispatch", "roast_charge")
    left = [part for part in history.departures if part.kind in kinds and start.at <= part.at <= now]
    if not left:
        return None, 0.0
    return _line("outturn", "Malt", [_of_part(part) for part in left], note="as packed"), sum(
        part.as_is_kg for part in left
    )


def _of_part(part: Part) -> _Mass:
    scale_sd = _scale_sd(part, scale_step_kg(part), part.as_is_kg)
    _, dry_sd = dry_matter_with_sd(part.as_is_kg, part.moisture_wb, scale_sd, part_moisture_sd(part))
    return _Mass(part, part.as_is_kg, scale_sd, part.dry_kg, dry_sd)


def _of_weighing(weighing: Weighing, moisture_wb: float, moisture_sd: float) -> _Mass:
    scale_sd = _scale_sd(weighing, scale_step_kg(weighing), weighing.net_kg)
    dry, sd = dry_matter_with_sd(weighing.net_kg, moisture_wb, scale_sd, moisture_sd)
    return _Mass(weighing, weighing.net_kg, scale_sd, dry, sd)


def _of_skimmings(history: History, start: Charged, weighing: Weighing) -> _Mass:
    scale_sd = _scale_sd(weighing, scale_step_kg(weighing), weighing.net_kg)
    sd = math.hypot(skimmings_sd_kg(start, weighing), scale_sd)
    return _Mass(weighing, weighing.net_kg, scale_sd, dry_kg_of(history, weighing), sd)


def _of_loss(history: History, start: Charged, weighing: Weighing) -> _Mass:
    scale_sd = _scale_sd(weighing, scale_step_kg(weighing), weighing.net_kg)
    moisture_sd = ASSUMED_LOSS_MOISTURE_SD if weighing.method != "dried" else start.moisture_sd
    if weighing.moisture_wb is not None:
        moisture_sd = ASSUMED_MOISTURE_SD
    sd = math.hypot(scale_sd, weighing.net_kg * moisture_sd)
    return _Mass(weighing, weighing.net_kg, scale_sd, dry_kg_of(history, weighing), sd)


def _scale_sd(fact: Fact, step_kg: float, mass_kg: float) -> float:
    guessed = GUESSED_MASS_RELATIVE_SD * mass_kg if fact.quality == "estimated" else 0.0
    return math.hypot(resolution_sd(step_kg), SCALE_RELATIVE_SD * mass_kg, guessed)


def _line(key: str, word: str, masses: Sequence[_Mass], note: str = "") -> AccountLine:
    as_is_kg = sum(mass.as_is_kg for mass in masses)
    return AccountLine(
        key=key,
        word=word,
        dry_kg=math.fsum(mass.dry_kg for mass in masses),
        sd_kg=math.hypot(*(mass.dry_sd_kg for mass in masses)),
        how="estimated" if any(mass.fact.quality == "estimated" for mass in masses) else "weighed",
        note=note,
        parts=tuple((mass.fact, mass.dry_kg) for mass in masses),
        scale_relative_sd=math.hypot(*(mass.scale_sd_kg for mass in masses)) / as_is_kg if as_is_kg > 0.0 else 0.0,
    )
