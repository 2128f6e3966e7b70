"""The grain that came into a batch, and what was taken out of it before it was malt, in dry matter."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from app.judgement.facts.shapes import Part, Weighing
from app.judgement.grain.losses import losses_between
from app.judgement.history.history import WHOLE_CHARGE_SHARE, History
from app.judgement.history.stages import all_stages, stage_at
from app.science import moisture as science
from app.science import units

MEASURED_MOISTURE_SD = science.UNMEASURED_MOISTURE_HALF_WIDTH / 2
"""Measured by nobody says what: as a meter or a kitchen oven does."""

ASSUMED_MOISTURE_SD = MEASURED_MOISTURE_SD
"""Told with a weighing, and not how it is known."""

GUESSED_MOISTURE_SD = 0.01
"""Assumed, and never tested: grain in store lies within about 2 points of what one takes it for. Common practice."""
RAW_GRAIN_WB = 0.12
GREEN_WB = 0.2
WET_SKIMMINGS_WB = {"drained": 0.30}
BLOTTED_SKIMMINGS_WB = 0.25
STAGE_WB = {
    "immersion": 0.35,
    "air_rest": 0.38,
    "germination": 0.44,
    "stewing": 0.44,
    "kilning": 0.25,
    "cooling": 0.05,
    "finished": 0.05,
}
"""From memory: the moisture of grain that nobody tested, by its stage; of skimmings, by how they were made ready."""

COARSEST_STEP = 0.005
"""Who types "5 kg" left the noughts away: a scale shows steps of a two-hundredth of what lies on it, or finer. Common
practice; a weight that was guessed is said to be estimated."""

FEWEST_TO_TELL, CHANCE = 3, 0.05

ONE_CHARGE = timedelta(hours=24)
ALIKE_WB = 0.1
"""Grain that comes in within a day, about as wet as the first, is one charge; what comes in later is added to it."""


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
    if until is None:
        return history.once(_all_charged)
    return _together([part for part in _own_or_inherited(history) if part.at <= until])


def _all_charged(history: History) -> Charged | None:
    return _together(_own_or_inherited(history))


def first_charges(history: History) -> tuple[tuple[Part, ...], ...]:
    """What the story of this grain began with, and where it was split off or merged, what the batch began with."""
    groups = (_first(inherited(history)), _first(history.charges))
    return tuple(group for group in groups if group)


def grain_at(history: History, moment: datetime) -> Charged | None:
    """What a weighing of that moment goes back to: the charge of the batch, or before it, of the one it came from."""
    own = [part for part in history.charges if part.at <= moment]
    earlier = [part for part in inherited(history) if part.at <= moment]
    return _together(own or earlier or list(_first(_own_or_inherited(history))))


def inherited(history: History) -> tuple[Part, ...]:
    """The charges of the batches that this one was split off or merged from."""
    ours = {part.id for part in (*history.charges, *history.departures)}
    return tuple(part for part in history.of_shape(Part) if part.id not in ours)


def _own_or_inherited(history: History) -> tuple[Part, ...]:
    return history.charges or inherited(history)


def _first(parts: Sequence[Part]) -> tuple[Part, ...]:
    return tuple(
        part
        for part in parts
        if part.at - parts[0].at <= ONE_CHARGE and abs(part.moisture_wb - parts[0].moisture_wb) <= ALIKE_WB
    )


def together(parts: Sequence[Part]) -> Charged:
    """Parts, at least one, as one mass at one moisture."""
    whole = _together(parts)
    assert whole is not None
    return whole


def _together(parts: Sequence[Part]) -> Charged | None:
    mass = sum(part.as_is_kg for part in parts)
    if not parts or mass <= 0.0:
        return None
    sd = math.sqrt(sum((part.as_is_kg / mass * part_moisture_sd(part)) ** 2 for part in parts))
    return Charged(mass, 1.0 - sum(part.dry_kg for part in parts) / mass, sd, parts[0].at)


def part_moisture_sd(part: Part) -> float:
    """How sure the moisture is that a part was moved at, by how it is known."""
    is_guess = part.kind == "charge" and part.method == "assumed"
    return GUESSED_MOISTURE_SD if is_guess else MEASURED_MOISTURE_SD


def removed_dry_kg(history: History, until: datetime) -> float:
    """First dry matter of what was taken out by a moment: skimmings, samples, losses, and what was split off.

    What is taken out late has lost some of its dry matter already: it counts with what it was charged with.
    """
    start = grain_at(history, until)
    gone = [(part.at, part.dry_kg) for part in history.departures if part.kind in ("split", "merge")]
    for weighing in history.of_shape(Weighing, "skimmings", "loss"):
        if is_of_whole_charge(history, weighing):
            gone.append((weighing.at, dry_kg_of(history, weighing)))
    since = start.at if start else None
    return sum(
        kg / (1.0 - losses_between(history, since or at, at).total)
        for at, kg in gone
        if at <= until and (since is None or since <= at)
    )


def is_of_whole_charge(history: History, weighing: Weighing) -> bool:
    """Whether this came out of the charge itself, and not out of a smaller sample that was looked through."""
    start = charged(history)
    return weighing.of_kg is None or start is None or weighing.of_kg >= WHOLE_CHARGE_SHARE * start.as_is_kg


def dry_kg_of(history: History, weighing: Weighing) -> float:
    """The dry matter in skimmings or a loss: dried ones at the charge's own moisture, wet ones at that of then."""
    if weighing.moisture_wb is not None:
        return weighing.net_kg * (1.0 - weighing.moisture_wb)
    start = grain_at(history, weighing.at)
    own = start.moisture_wb if start else RAW_GRAIN_WB
    if weighing.method == "dried":
        return weighing.net_kg * (1.0 - (own if own <= GREEN_WB else RAW_GRAIN_WB))
    return weighing.net_kg * (1.0 - _wet_moisture(history, weighing, own))


def _wet_moisture(history: History, weighing: Weighing, own: float) -> float:
    """Skimmings and samples are taken while samples are still being worked out: only the stage may be asked."""
    if weighing.kind == "skimmings":
        return WET_SKIMMINGS_WB.get(weighing.method or "", BLOTTED_SKIMMINGS_WB)
    stage = stage_at(all_stages(history), weighing.at)
    return STAGE_WB.get(stage.name, own) if stage else own


def scale_step_kg(weighed: Weighing | Part, alike: Sequence[Weighing] = ()) -> float:
    """The step of the scale as the typed digits show it, but no coarser than a scale for such a mass is.

    A thousandth of the mass where the digits are not known. alike: all that was weighed on that scale; where every one,
    with its tare, is a multiple of more than the last digit, as by chance not one in twenty times, the step is that.
    """
    mass_kg = abs(weighed.as_is_kg if isinstance(weighed, Part) else weighed.net_kg)
    typed_kg = _typed_step_kg(weighed)
    if typed_kg is None:
        return 0.001 * mass_kg
    return common_step_kg(alike) or min(typed_kg, COARSEST_STEP * mass_kg)


def common_step_kg(alike: Sequence[Weighing]) -> float | None:
    """Of which all that was weighed on one scale is a multiple, where that is more than the last digit typed."""
    finest_kg = min((step for each in alike if (step := _typed_step_kg(each)) is not None), default=None)
    if finest_kg is None:
        return None
    steps = {round(kg / finest_kg) for each in alike for kg in _shown_kg(each)}
    common = math.gcd(*steps) if len(steps) >= FEWEST_TO_TELL else 1
    return finest_kg * common if common > 1 and common ** (1 - len(steps)) < CHANCE else None


def _typed_step_kg(weighed: Weighing | Part) -> float | None:
    for name in ("gross", "net", "as_is"):
        text, unit = weighed.typed.get(name, "").strip(), weighed.typed.get(f"{name}_unit", "kg")
        if text and unit in {mass.key for mass in units.units_of("mass")}:
            decimals = len(text.replace(",", ".").partition(".")[2])
            return float(units.difference_to_si(10.0**-decimals, unit))
    return None


def _shown_kg(weighing: Weighing) -> list[float]:
    """What the scale showed: the gross weight and the tare, where they were weighed; else the net."""
    if weighing.gross_kg is None:
        return [weighing.net_kg]
    return [weighing.gross_kg, *([weighing.tare_kg] if weighing.tare_kg else [])]
