"""The lines of the malting-loss account, each with how it was come by and how sure it is. Dry matter, kg."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import datetime

from app.judgement.facts import Fact, Part, Weighing
from app.judgement.history import History
from app.judgement.losses import LOSS_RELATIVE_SD, Losses, losses_between, rootlet_share
from app.judgement.moisture import (
    ASSUMED_MOISTURE_SD,
    MEASURED_MOISTURE_SD,
    Charged,
    dry_kg_of,
    is_of_whole_charge,
    moisture_at,
    scale_step_kg,
)
from app.judgement.rejects import is_moisture_assumed, skimmings_sd_kg
from app.science.mass_balance import dry_matter_with_sd
from app.science.moisture import resolution_sd

GUESSED_MASS_RELATIVE_SD = 0.05
GUESSED_MALT_MOISTURE = (0.05, 0.01)
ASSUMED_LOSS_MOISTURE_SD = 0.03
"""From memory: a mass that was guessed is within 10 %, malt that nobody tested at 5 ± 2 %, and the moisture of a wet
sample within 6 points of that of its stage."""

GREEN_WB = 0.15
"""What leaves a batch wetter than this is green malt, and no part of an outturn."""


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
    skim_note = "wet: at a moisture taken for them" if is_wet else ""
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
    parts: tuple[tuple[str, str, Callable[[Losses], float]], ...] = (
        ("steep", "Gone with the steep water", lambda losses: losses.steep),
        ("respiration", "Breathed away", lambda losses: losses.respiration),
        ("roast", "Driven off by the roast", lambda losses: losses.roast),
    )
    found = []
    for key, word, share in parts:
        dry_kg = _faded_kg(history, start, now, share)
        if dry_kg > 0.0:
            note = "from the programme’s figure and the hours"
            found.append(AccountLine(key, word, dry_kg, LOSS_RELATIVE_SD * dry_kg, "estimated", note))
    return tuple(found)


def _faded_kg(history: History, start: Charged, now: datetime, share: Callable[[Losses], float]) -> float:
    """Between any two moments at which grain came or went, the loss falls on what was there."""
    arrived = [(part.at, part.dry_kg) for part in history.charges if part.at <= now]
    gone = [(fact.at, -kg) for line in removal_lines(history, start, now) for fact, kg in line.parts]
    moves = sorted([*(arrived or [(start.at, start.dry_kg)]), *gone])
    first_kg = lost_kg = 0.0
    for place, (at, dry_kg) in enumerate(moves):
        first_kg += dry_kg / (1.0 - losses_between(history, start.at, at).total)
        until = moves[place + 1][0] if place + 1 < len(moves) else now
        before, after = (share(losses_between(history, start.at, moment)) for moment in (at, until))
        lost_kg += max(first_kg, 0.0) * (after - before)
    return lost_kg


def culms_line(history: History, start: Charged, now: datetime, *, has_malt: bool) -> AccountLine | None:
    """The rootlets: weighed, or once the malt is dressed and weighed without them, estimated from the growth."""
    weighed = [fact for fact in history.of_shape(Weighing, "culms") if start.at <= fact.at <= now]
    if weighed:
        moisture, sd = malt_moisture(history, start, weighed[-1].at)
        masses = [_of_weighing(each, moisture, max(sd, 0.01)) for each in weighed]
        return _line("culms", "Culms", masses, note="taken to be as dry as the malt")
    split_kg = sum(kg for line in removal_lines(history, start, now) for _, kg in line.parts)
    grown = rootlet_share(history, now) - rootlet_share(history, start.at)
    if not has_malt or grown <= 0.0:
        return None
    dry_kg = grown * max(start.dry_kg - split_kg, 0.0)
    note = "not weighed: from the programme’s figure and the hours of growth"
    return AccountLine("culms", "Culms", dry_kg, LOSS_RELATIVE_SD * dry_kg, "estimated", note)


def outturn_line(history: History, start: Charged, now: datetime) -> tuple[AccountLine | None, float]:
    """The malt, and its mass as it was weighed; what was packed stands in where no outturn was weighed."""
    weighed = [fact for fact in history.of_shape(Weighing, "outturn") if start.at <= fact.at <= now]
    if weighed:
        masses = [_of_weighing(each, *outturn_moisture(history, start, each)) for each in weighed]
        is_guess = any(each.moisture_wb is None and not is_tested(history, start, each.at) for each in weighed)
        note = "moisture not tested: taken as 5 ± 2 %" if is_guess else ""
        return _line("outturn", "Malt", masses, note=note), sum(each.net_kg for each in weighed)
    kinds = ("pack", "dispatch", "roast_charge")
    left = [part for part in history.departures if part.kind in kinds and start.at <= part.at <= now]
    if not left:
        return None, 0.0
    return _line("outturn", "Malt", [_of_part(part) for part in left], note="as packed"), sum(
        part.as_is_kg for part in left
    )


def outturn_moisture(history: History, start: Charged, weighing: Weighing) -> tuple[float, float]:
    if weighing.moisture_wb is not None:
        return weighing.moisture_wb, ASSUMED_MOISTURE_SD
    return malt_moisture(history, start, weighing.at)


def malt_moisture(history: History, start: Charged, at: datetime) -> tuple[float, float]:
    """The malt's moisture and its standard uncertainty, as last determined on or after the kiln; else 5 ± 2 %."""
    tested = is_tested(history, start, at)
    known = moisture_at(history, at) if tested else None
    return (known.moisture_wb, known.sd) if known else GUESSED_MALT_MOISTURE


def is_tested(history: History, start: Charged, at: datetime) -> bool:
    """Whether some determination tells the moisture of the dried malt, and not of the green."""
    known = moisture_at(history, at)
    if known is None or known.sample is None:
        return False
    return known.sample.moisture_wb <= GREEN_WB and known.sample.fact.kind not in ("charge", "split", "merge")


def _of_part(part: Part) -> _Mass:
    scale_sd = _scale_sd(part, scale_step_kg(part), part.as_is_kg)
    sd = MEASURED_MOISTURE_SD if part.method == "measured" else ASSUMED_MOISTURE_SD
    _, dry_sd = dry_matter_with_sd(part.as_is_kg, part.moisture_wb, scale_sd, sd)
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
    return math.hypot(resolution_sd(step_kg), guessed)


def _line(key: str, word: str, masses: Sequence[_Mass], note: str = "") -> AccountLine:
    as_is_kg = sum(each.as_is_kg for each in masses)
    return AccountLine(
        key=key,
        word=word,
        dry_kg=math.fsum(each.dry_kg for each in masses),
        sd_kg=math.hypot(*(each.dry_sd_kg for each in masses)),
        how="estimated" if any(each.fact.quality == "estimated" for each in masses) else "weighed",
        note=note,
        parts=tuple((each.fact, each.dry_kg) for each in masses),
        scale_relative_sd=math.hypot(*(each.scale_sd_kg for each in masses)) / as_is_kg if as_is_kg > 0.0 else 0.0,
    )
