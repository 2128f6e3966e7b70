"""The parts of a programme beside its limits: steps, kiln ceiling, settings; each number with its mark and source."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from itertools import pairwise
from types import MappingProxyType
from typing import Any

from app.judgement.programmes.reading import Table

MARKS: Mapping[str, str] = MappingProxyType(
    {
        "P": "published",
        "T": "published, read at second hand",
        "D": "derived",
        "C": "common practice",
        "M": "from memory",
        "H": "the house's own",
    }
)
SPEAKS_FOR_ITSELF = frozenset({"C", "M", "H"})
STAGES = ("charged", "immersion", "air_rest", "germination", "stewing", "kilning", "cooling")
PHASES = ("withering", "drying", "curing", "roasting")
RANGES: Mapping[str, tuple[float, float]] = MappingProxyType(
    {
        "c": (-10.0, 300.0),
        "h": (0.0, 1000.0),
        "d": (0.0, 60.0),
        "wb": (0.0, 1.0),
        "fraction": (0.0, 1.0),
        "kernel_lengths": (0.0, 5.0),
        "ebc": (0.0, 3000.0),
        "ppm": (0.0, 1_000_000.0),
        "ratio": (0.1, 10.0),
    }
)
SETTING_UNITS: Mapping[str, str] = MappingProxyType(
    {
        "immersion_q10": "ratio",
        "immersion_reference_c": "c",
        "immersion_aerated_factor": "ratio",
        "immersion_chitted_from": "fraction",
        "withering_until_wb": "wb",
        "drying_until_wb": "wb",
        "charge_moisture_wb": "wb",
        "steep_loss": "fraction",
        "respiration_loss": "fraction",
        "rootlet_loss": "fraction",
        "roast_loss": "fraction",
        "roast_loss_dark": "fraction",
        "roast_dark_from_c": "c",
    }
)


def provenance(mark: str, source: str) -> str:
    """Where a number comes from, in words fit for a screen: "published: Young …", "from memory"."""
    word = MARKS.get(mark, mark)
    return source if source.startswith(word) else f"{word}: {source}" if source else word


def read_provenance(table: Table) -> tuple[str, str]:
    """Mark and source. Without a source only memory, common practice and the house's own may stand: they say so."""
    mark = table.text("mark", choices=MARKS)
    source = table.text("source", is_required=False)
    if not source and mark in SPEAKS_FOR_ITSELF:
        source = MARKS[mark]
    elif not source:
        table.say("source", "a number with this mark needs its source named.")
    return mark, source


def without_none(content: Mapping[str, Any]) -> dict[str, Any]:
    return {name: value for name, value in content.items() if value is not None}


@dataclass(frozen=True)
class Step:
    """One planned step. What follows note, mark and source is what the grain should be like, or meet, at its end.

    phase: which part of the kilning it is. moisture_wb, chitted_fraction and acrospire are those at the end of the
    step; water_c, grain_c and air_on_c those that hold during it.
    """

    stage: str
    hours: float
    hours_low: float
    hours_high: float
    note: str = ""
    mark: str = "M"
    source: str = "from memory"
    phase: str | None = None
    water_c: float | None = None
    grain_c: float | None = None
    air_on_c: float | None = None
    moisture_wb: float | None = None
    chitted_fraction: float | None = None
    acrospire: float | None = None

    def to_dict(self) -> dict[str, Any]:
        return without_none({name: value for name, value in vars(self).items() if value != ""})


_STEP_NUMBERS = {
    "water_c": "c", "grain_c": "c", "air_on_c": "c",
    "moisture_wb": "wb", "chitted_fraction": "fraction", "acrospire": "kernel_lengths",
}  # fmt: skip


def read_step(table: Table) -> Step:
    hours = table.number("hours", *RANGES["h"])
    low, high = (table.optional_number(name, *RANGES["h"]) for name in ("hours_low", "hours_high"))
    low, high = hours if low is None else low, hours if high is None else high
    if low > hours:
        table.say("hours_low", f"{low:g} is more than the {hours:g} hours planned.")
    if high < hours:
        table.say("hours_high", f"{high:g} is less than the {hours:g} hours planned.")
    stage = table.text("stage", choices=STAGES)
    phase = table.text("phase", is_required=False, choices=PHASES) or None
    if (phase is None) == (stage == "kilning"):
        table.say("phase", f"a step on the kiln, and no other, has one of the phases {', '.join(PHASES)}.")
    numbers = {name: table.optional_number(name, *RANGES[unit]) for name, unit in _STEP_NUMBERS.items()}
    note = table.text("note", is_required=False)
    mark, source = read_provenance(table)
    table.close()
    return Step(stage, hours, low, high, note, mark, source, phase, **numbers)


@dataclass(frozen=True)
class CeilingStep:
    """The hottest the grain may be while its moisture is above the edge, and not above that of the step before."""

    moisture_above_wb: float
    grain_c: float
    mark: str = "M"
    source: str = "from memory"

    def to_dict(self) -> dict[str, Any]:
        return dict(vars(self))


def read_ceiling(tables: list[Table]) -> tuple[CeilingStep, ...]:
    """The ceiling's steps, from the wettest to the last, whose edge is 0; an empty list is no ceiling at all."""
    steps = []
    for table in tables:
        edge, grain_c = table.number("moisture_above_wb", *RANGES["wb"]), table.number("grain_c", *RANGES["c"])
        steps.append(CeilingStep(edge, grain_c, *read_provenance(table)))
        table.close()
    for table, (wetter, drier) in zip(tables[1:], pairwise(steps), strict=True):
        if drier.moisture_above_wb >= wetter.moisture_above_wb:
            table.say("moisture_above_wb", "the edges must fall, from the wettest step to the driest.")
        if drier.grain_c < wetter.grain_c:
            table.say("grain_c", "drier grain bears more heat, not less: this must not be below the step before.")
    if steps and steps[-1].moisture_above_wb != 0.0:
        tables[-1].say("moisture_above_wb", "the last step must reach down to 0.")
    return tuple(steps)


@dataclass(frozen=True)
class Setting:
    """One number that a rule or a forecast works with."""

    value: float
    mark: str = "M"
    source: str = "from memory"

    def to_dict(self) -> dict[str, Any]:
        return dict(vars(self))


def read_setting(key: str, table: Table) -> Setting:
    if key not in SETTING_UNITS:
        table.say("", f"“{key}” is not a known setting. Known are: {', '.join(sorted(SETTING_UNITS))}.")
    value = table.number("value", *RANGES[SETTING_UNITS.get(key, "ppm")])
    mark, source = read_provenance(table)
    table.close()
    return Setting(value, mark, source)
