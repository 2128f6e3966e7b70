"""Limits: the bounds of a quantity, what it means to be outside them, and where each bound comes from."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cached_property
from itertools import pairwise
from types import MappingProxyType
from typing import Any, NamedTuple

from app.judgement.programmes.parts import RANGES, read_provenance, without_none
from app.judgement.programmes.reading import Table

LIMIT_UNITS: Mapping[str, str] = MappingProxyType(
    {
        "water_temperature.immersion": "c",
        "grain_temperature.air_rest": "c",
        "grain_temperature.germination": "c",
        "grain_temperature.stewing": "c",
        "grain_temperature.roasting": "c",
        "grain_temperature.bagging": "c",
        "air_on_temperature.withering": "c",
        "air_on_temperature.drying": "c",
        "air_on_temperature.curing": "c",
        "immersion_h": "h",
        "immersion_chitted_h": "h",
        "air_rest_h": "h",
        "stewing_h": "h",
        "turning_h": "h",
        "warm_wet_h": "h",
        "germination_d": "d",
        "cast_moisture": "wb",
        "final_moisture": "wb",
        "cast_chits": "fraction",
        "chits_h30": "fraction",
        "acrospire": "kernel_lengths",
        "roast_colour.roasting": "ebc",
    }
)
HIGH_ONLY = frozenset(
    {
        "immersion_h",
        "immersion_chitted_h",
        "air_rest_h",
        "stewing_h",
        "turning_h",
        "warm_wet_h",
        "germination_d",
    }
)
"""Hours and days are judged for being too many alone: a low bound of an older revision is kept, and not shown."""

# A bound typed in °F or as a share comes back a hair off; a reading on the bound is inside it.
TOLERANCE = 1e-9


_HOW_FAR = {"notice": "slightly", "caution": "too", "act": "far too"}


class Verdict(NamedTuple):
    """Where a value lies, how grave that is, the bound that it crossed, and where that bound comes from."""

    position: str
    severity: str | None = None
    bound: float | None = None
    mark: str = ""
    source: str = ""

    @property
    def is_fine(self) -> bool:
        return self.severity is None

    @property
    def status(self) -> str:
        return self.severity or "fine"

    @property
    def said(self) -> str:
        """How far out, and on which side."""
        return "in range" if self.severity is None else f"{_HOW_FAR[self.severity]} {self.position}"


FINE = Verdict("in")


@dataclass(frozen=True)
class Limit:
    """Bounds of a quantity, any of them open. Outside target: notice; beyond caution: caution; beyond act: act now.

    mark and source are those of the target; those of the caution and act bounds are their own where they differ.
    """

    low_act: float | None = None
    low_caution: float | None = None
    target_low: float | None = None
    target_high: float | None = None
    high_caution: float | None = None
    high_act: float | None = None
    unit: str = ""
    mark: str = "M"
    source: str = "from memory"
    caution_mark: str | None = None
    caution_source: str | None = None
    act_mark: str | None = None
    act_source: str | None = None

    def judge(self, value: float) -> Verdict:
        """A value exactly on a bound is inside it."""
        least, most = self.fine
        if least <= value <= most:
            return FINE
        for severity, low, high in reversed(self.bands()):
            if low is not None and value < low - TOLERANCE * max(1.0, abs(low)):
                return Verdict("low", severity, low, *self.origin(severity))
            if high is not None and value > high + TOLERANCE * max(1.0, abs(high)):
                return Verdict("high", severity, high, *self.origin(severity))
        return FINE

    def judge_surely(self, value: float, off: float) -> Verdict:
        """Of a value that may be off by so much: the milder verdict of both ends, fine where they differ in side."""
        low, high = self.judge(value - off), self.judge(value + off)
        if low.position != high.position:
            return FINE
        return low if low.position == "high" else high

    @cached_property
    def fine(self) -> tuple[float, float]:
        """From where to where a value is within every bound."""
        _, lows, highs = zip(*self.bands(), strict=True)
        least = max([low for low in lows if low is not None], default=-math.inf)
        return least, min([high for high in highs if high is not None], default=math.inf)

    def bands(self) -> tuple[tuple[str, float | None, float | None], ...]:
        """(severity of being outside, low, high), from the target outwards."""
        return (
            ("notice", self.target_low, self.target_high),
            ("caution", self.low_caution, self.high_caution),
            ("act", self.low_act, self.high_act),
        )

    def is_told_by(self, value: float, half_width: float) -> bool:
        """Whether a figure so unsure tells inside from outside: its interval has room in the target, or misses it."""
        least = -math.inf if self.target_low is None else self.target_low
        most = math.inf if self.target_high is None else self.target_high
        has_room = 2.0 * half_width <= most - least + TOLERANCE
        return has_room or value + half_width < least or most < value - half_width

    def origin(self, severity: str) -> tuple[str, str]:
        """(mark, source) of the bounds of that severity."""
        own = {"caution": (self.caution_mark, self.caution_source), "act": (self.act_mark, self.act_source)}
        mark, source = own.get(severity, (None, None))
        return (mark, source or "") if mark else (self.mark, self.source)

    def scaled(self, factor: float, why: str) -> Limit:
        """The same limit with every bound times the factor, and the reason added to its sources."""
        bounds = ("low_act", "low_caution", "target_low", "target_high", "high_caution", "high_act")
        changed: dict[str, Any] = {
            name: value * factor for name in bounds if (value := getattr(self, name)) is not None
        }
        sources = ("source", "caution_source", "act_source")
        changed |= {name: f"{text}; {why}" for name in sources if (text := getattr(self, name))}
        return replace(self, **changed)

    def to_dict(self) -> dict[str, Any]:
        content: dict[str, Any] = {"unit": self.unit}
        for name, (severity, low, high) in zip(_BANDS, self.bands(), strict=True):
            mark, source = self.origin(severity)
            if low is not None or high is not None:
                content[name] = without_none({"low": low, "high": high, "mark": mark, "source": source})
        return content


_BANDS = ("target", "caution", "act")


def read_limit(key: str, table: Table) -> Limit:
    """A limit from its table: unit, and up to three bands, each with low, high, mark and source."""
    unit = LIMIT_UNITS.get(key, "")
    if not unit:
        table.say("", f"“{key}” is not a known limit. Known are: {', '.join(sorted(LIMIT_UNITS))}.")
    if table.text("unit", is_required=False) not in ("", unit):
        table.say("unit", f"this limit is in “{unit}”.")
    bands = {name: Table(table.take(name), table.at(name), table.problems) for name in _BANDS if table.has(name)}
    read = {name: _read_band(band, RANGES.get(unit, (-1e9, 1e9))) for name, band in bands.items()}
    for name in _BANDS:
        table.take(name)
    table.close()
    if not read:
        table.say("", "a limit needs at least one of target, caution and act.")
        return Limit(unit=unit)
    nothing = (None, None, None, None)
    target, caution, act = (read.get(name, nothing) for name in _BANDS)
    first = next(iter(read.values()))
    limit = Limit(
        low_act=act[0], low_caution=caution[0], target_low=target[0],
        target_high=target[1], high_caution=caution[1], high_act=act[1],
        unit=unit, mark=target[2] or first[2] or "", source=target[3] or first[3] or "",
        caution_mark=caution[2], caution_source=caution[3], act_mark=act[2], act_source=act[3],
    )  # fmt: skip
    _check_order(limit, table)
    return limit


def _read_band(band: Table, allowed: tuple[float, float]) -> tuple[float | None, float | None, str, str]:
    low, high = band.optional_number("low", *allowed), band.optional_number("high", *allowed)
    if not band.has("low") and not band.has("high"):
        band.say("", "give a low or a high bound, or leave the band out.")
    mark, source = read_provenance(band)
    band.close()
    return low, high, mark, source


def _check_order(limit: Limit, table: Table) -> None:
    inner = [("target/low", limit.target_low), ("target/high", limit.target_high)]
    ladder = [
        ("act/low", limit.low_act), ("caution/low", limit.low_caution), *inner,
        ("caution/high", limit.high_caution), ("act/high", limit.high_act),
    ]  # fmt: skip
    given = [(name, value) for name, value in ladder if value is not None]
    for (below, smaller), (above, larger) in pairwise(given):
        if smaller > larger:
            table.say(above, f"{larger:g} is below {below.replace('/', ' ')} ({smaller:g}); it must not be.")
