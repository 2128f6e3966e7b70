"""The bench of truth, whole, and its tables as docs/methods.md shows them: `python docs/make_methods.py --truth`.

Two sets of batches, of other seeds and other parameters: nothing of the project was tuned while looking at the second.
"""

from __future__ import annotations

import math
import os
import statistics
from collections import defaultdict
from collections.abc import Iterable, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from functools import partial
from itertools import product

from tests.truth.faults import ALL_GRAINS, ALL_SETTINGS, FAULTS
from tests.truth.looks import Claim, Look, looks
from tests.truth.people import PEOPLE
from tests.truth.run import FAULTY_SEEDS, NORMAL_SEEDS, batch, who

SETS = ("first", "second")
LOOKS, MOST_SEEN = 8, 5
TELLS = {
    "fan_failure": ("air_fell",),
    "pause": ("heap_waiting",),
    "power_cut": ("heap_waiting",),
    "probe_off": ("lying", "slip"),
    "bag_wrong": ("slip", "out_of_row", "lighter_than_dry"),
    "tray_heavier": ("slip", "out_of_row", "lighter_than_dry"),
    "tare_forgotten": ("slip", "out_of_row", "lighter_than_dry"),
    "water_too_warm": ("out_of_limits",),
    "oversteeped": ("oversteeped", "chitted_under_water", "long_under_water"),
    "hot_corner": ("out_of_limits", "top_to_bottom", "bed_limit_ahead"),
    "mould": ("mould",),
    "slow_lot": ("slow_chit", "few_chits_at_cast", "growth_stalled", "not_in_reach"),
    "overgrown": ("past_target",),
    "case_hardened": ("over_ceiling", "out_of_limits"),
    "scorched": ("over_ceiling", "out_of_limits", "slip"),
    "stewing_stuck": ("cool_stew",),
    "two_loads": ("strange_order",),
    "gas_in_room": ("room_air",),
    "foul_water": ("spoiling",),
    "treated_lot": ("lot_undeclared", "lot_unfit"),
}
"""By fault, the rules that tell a person of it, where they name an entry in which it is seen."""

HEAT_BACK = "Fan, then heat on again, and say so"
STOOD_STILL = ("pause", "power_cut")
"""The step that tells of a heat that stood still, where somebody wrote down that it did."""


@dataclass(frozen=True)
class Result:
    """All looks at one set."""

    which: str
    normal: Sequence[Look]
    faulty: Sequence[Look]


def results(at_most: int = LOOKS, seeds: int = NORMAL_SEEDS, faulty_seeds: int = FAULTY_SEEDS) -> list[Result]:
    """Every batch of both sets, on all cores: some minutes."""
    with ProcessPoolExecutor(os.cpu_count()) as pool:
        return [
            Result(which, _all(pool, _normal(which, seeds), at_most), _all(pool, _faulty(which, faulty_seeds), at_most))
            for which in SETS
        ]


Recipe = tuple[int, str, str, str, str | None, str]


def _normal(which: str, seeds: int) -> list[Recipe]:
    every = product(range(seeds), ALL_GRAINS, ALL_SETTINGS, PEOPLE)
    return [(seed, grain, setting, person, None, which) for seed, grain, setting, person in every]


def _faulty(which: str, seeds: int) -> list[Recipe]:
    return [(seed, *who(seed, fault), fault, which) for fault in FAULTS for seed in range(seeds)]


def _all(pool: ProcessPoolExecutor, recipes: Sequence[Recipe], at_most: int) -> list[Look]:
    told = pool.map(partial(_looked_at, at_most=at_most), recipes, chunksize=4)
    return [look for seen in told for look in seen]


def _looked_at(recipe: Recipe, at_most: int) -> list[Look]:
    run = batch(*recipe)
    return [] if recipe[4] and run.fault is None else list(looks(run, at_most))


def page_part(told: Iterable[Result], made_of: str) -> str:
    """The tables, in Markdown. made_of: the day and the commit."""
    parts = [INTRODUCTION.format(made_of=made_of)]
    for result in told:
        parts += _part(result)
    return "\n".join(parts)


INTRODUCTION = """\
Made of batches that never were: a simulator in `tests/truth/`, which shares no code and no formula with the program,
steeps, grows and dries barley, wheat, rye and oats in a kitchen, on a floor and in two beds, and six kinds of people
write down what they see of it. Each look gets what the record held then. {made_of}; written by
`python docs/make_methods.py --truth`.

Errors and widths are in points of moisture, hundredths of a kernel length, or hours; "last" is the error of taking the
last determination for what is so now; "endless" counts intervals without an upper end. A flag is false where the
simulator knows that it is not so; where it can't say, the flag counts as raised only."""


def _part(result: Result) -> list[str]:
    parts = ["", f"### The {result.which} set: {_count(result.normal)} normal batches", ""]
    parts += ["| what | seen | looks | mean error | last | in the 80 % interval | mean width | endless |"]
    parts += ["|---|---|---|---|---|---|---|---|"]
    groups: dict[tuple[str, int], list[Claim]] = defaultdict(list)
    for look in result.normal:
        for claim in look.claims:
            groups[claim.quantity, min(claim.seen, MOST_SEEN)].append(claim)
    parts += [_row(quantity, seen, group) for (quantity, seen), group in sorted(groups.items())]
    absurd = sum(claim.is_absurd for look in (*result.normal, *result.faulty) for claim in look.claims)
    parts += ["", f"Intervals that say what can't be, as wetter than it was loaded: {absurd}."]
    parts += ["", "| flag | severity | batches in which it stood | of these false |", "|---|---|---|---|"]
    parts += [f"| {rule} | {severity} | {len(all_of)} | {false} |" for rule, severity, all_of, false in _flags(result)]
    parts += ["", "| planted fault | batches | asked about when entered | missed |", "|---|---|---|---|"]
    return parts + [f"| {' | '.join(map(str, row))} |" for row in missed_of(result.faulty)]


def _row(quantity: str, seen: int, claims: Sequence[Claim]) -> str:
    scale = 1.0 if quantity.startswith("hours") else 100.0
    widths = [claim.high - claim.low for claim in claims if math.isfinite(claim.high)]
    naive = [abs(claim.naive - claim.truth) for claim in claims if claim.naive is not None]
    error = scale * statistics.fmean(abs(claim.central - claim.truth) for claim in claims)
    last = f"{scale * statistics.fmean(naive):.2f}" if naive else ""
    share = 100.0 * sum(claim.held for claim in claims) / len(claims)
    width = f"{scale * statistics.fmean(widths):.2f}" if widths else ""
    more = "+" if seen == MOST_SEEN else ""
    ends = len(claims) - len(widths)
    return f"| {quantity} | {seen}{more} | {len(claims)} | {error:.2f} | {last} | {share:.0f} % | {width} | {ends} |"


def _flags(result: Result) -> list[tuple[str, str, set[str], int]]:
    stood: dict[tuple[str, str], set[str]] = defaultdict(set)
    false: dict[tuple[str, str], set[str]] = defaultdict(set)
    for look in result.normal:
        for flag in look.flags:
            if flag.severity != "notice":
                stood[flag.rule, flag.severity].add(look.batch)
                if flag.is_true is False:
                    false[flag.rule, flag.severity].add(look.batch)
    rows = [(rule, severity, names, len(false[rule, severity])) for (rule, severity), names in stood.items()]
    return sorted(rows, key=lambda row: (-len(row[2]), row[0], row[1]))


def missed_of(faulty: Sequence[Look]) -> list[tuple[str, int, int, int]]:
    """Of each fault, in how many batches it could have been told in time, in how many of them the entry that first
    showed it was asked about, and in how many no flag told it.

    A flag tells of it that names an entry in which it is seen. A batch that nobody looked at in time is none.
    """
    told: dict[tuple[str, str], bool] = {}
    asked = {(look.fault, look.batch) for look in faulty if look.in_time and look.is_asked}
    for look in faulty:
        if look.fault is not None and look.in_time:
            says = any(flag.rule in TELLS[look.fault] and flag.is_of_fault for flag in look.flags)
            says = says or (look.fault in STOOD_STILL and HEAT_BACK in look.steps)
            told[look.fault, look.batch] = told.get((look.fault, look.batch), False) or says
    by_fault: dict[str, list[bool]] = defaultdict(list)
    for (fault, _), was_told in told.items():
        by_fault[fault].append(was_told)
    return [
        (fault, len(all_of), sum(name == fault for name, _ in asked), all_of.count(False))
        for fault, all_of in sorted(by_fault.items())
    ]


def _count(all_of: Sequence[Look]) -> int:
    return len({look.batch for look in all_of})
