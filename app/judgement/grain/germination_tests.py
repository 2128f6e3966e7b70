"""The germination tests of a lot: dishes counted day by day, put together by water, and what their counts can tell."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from functools import cached_property

from app.judgement.facts.shapes import Fact, Tally
from app.science import germination
from app.science.proportions import (
    Agreement,
    exact_interval,
    newcombe_interval,
    replicates_agree,
    separates,
    wilson_interval,
)

DAYS = ("day_1", "day_2", "day_3")
SAME_TEST = timedelta(hours=24)
"""Dishes counted out within a day of each other are of one test (the house's rule)."""

SAME_TIME = timedelta(days=7)
"""A lot hardly wakes within a week: dishes of the other water that near are held beside these (the house's rule)."""

AS_ALIVE_FOR = timedelta(days=60)
"""How long a test holds, and how near a capacity test must be to a germination test to tell its dormancy."""


def is_counted_out(dish: Tally) -> bool:
    """Whether it was looked at on all three days, or every kernel had grown before."""
    return all(day in dish.counts for day in DAYS) or sum(dish.counts.values()) == dish.looked_at


@dataclass(frozen=True)
class Plates:
    """The dishes of one test in one amount of water, counted out, taken together. n: kernels truly laid out."""

    dishes: tuple[Tally, ...]

    @property
    def at(self) -> datetime:
        return self.dishes[-1].at

    @property
    def n(self) -> int:
        return sum(dish.looked_at for dish in self.dishes)

    @property
    def daily(self) -> list[int]:
        return [sum(dish.counts.get(day, 0) for dish in self.dishes) for day in DAYS]

    @property
    def grown(self) -> int:
        return sum(self.daily)

    @property
    def energy_percent(self) -> float:
        return germination.germinative_energy(self.daily, self.n)

    @property
    def index(self) -> float | None:
        """The germination index; None where nothing grew."""
        return germination.germination_index(self.daily) if self.grown else None

    @cached_property
    def shown_percent(self) -> tuple[float, float]:
        """The 95 % interval to show (Wilson)."""
        low, high = wilson_interval(float(self.grown), float(self.n))
        return 100.0 * low, 100.0 * high

    @cached_property
    def exact_percent(self) -> tuple[float, float]:
        """The 95 % interval to accept or hold by (Clopper–Pearson)."""
        low, high = exact_interval(float(self.grown), float(self.n))
        return 100.0 * low, 100.0 * high

    @cached_property
    def agreement(self) -> Agreement | None:
        """Whether the dishes differ by no more than chance; None of a single one."""
        if len(self.dishes) < 2:
            return None
        grown = [sum(dish.counts.get(day, 0) for day in DAYS) for dish in self.dishes]
        return replicates_agree(grown, [dish.looked_at for dish in self.dishes])

    def can_separate(self, first: float, second: float) -> bool:
        """Whether so many kernels can tell two lots apart that are truly this good (fractions)."""
        return separates(self.n, first, second)


@dataclass(frozen=True)
class Capacity:
    """The share of kernels that are alive, woken with peroxide."""

    fact: Tally

    @property
    def at(self) -> datetime:
        return self.fact.at

    @property
    def n(self) -> int:
        return self.fact.looked_at

    @property
    def percent(self) -> float:
        return germination.germination_capacity(self.fact.counts.get("not_germinated", 0), self.n)

    @property
    def alive(self) -> int:
        return self.n - self.fact.counts.get("not_germinated", 0)

    @property
    def shown_percent(self) -> tuple[float, float]:
        low, high = wilson_interval(float(self.alive), float(self.n))
        return 100.0 * low, 100.0 * high


@dataclass(frozen=True)
class Points:
    """A difference of two shares in points, with its 95 % interval (Newcombe)."""

    value: float
    low: float
    high: float

    @property
    def words(self) -> str:
        return f"{self.value:.0f} points ({self.low:.0f} to {self.high:.0f})"

    def can_tell(self, limit: float) -> bool:
        """Whether the interval lies on one side of a limit."""
        return self.low >= limit or self.high < limit


def _points(value: float, first: int, first_n: int, second: int, second_n: int) -> Points:
    low, high = newcombe_interval(first, first_n, second, second_n)
    return Points(value, 100.0 * low, 100.0 * high)


@dataclass(frozen=True)
class LotTests:
    """What is known of a lot's life at a moment. running: dishes laid out and not counted out yet."""

    four: Plates | None = None
    eight: Plates | None = None
    capacity: Capacity | None = None
    running: tuple[Tally, ...] = ()

    @cached_property
    def water_sensitivity(self) -> Points | None:
        four, eight = self.four, self.eight
        if four is None or eight is None:
            return None
        value = germination.water_sensitivity(four.daily, four.n, eight.daily, eight.n)
        return _points(value, four.grown, four.n, eight.grown, eight.n)

    @cached_property
    def dormancy(self) -> Points | None:
        four, capacity = self.four, self.capacity
        if four is None or capacity is None:
            return None
        value = germination.dormancy(capacity.percent, four.energy_percent)
        return _points(value, capacity.alive, capacity.n, four.grown, four.n)


def lot_tests(facts: Iterable[Fact], at: datetime) -> LotTests:
    """The last test of a lot up to a moment, out of the standing facts about it in order of time."""
    tallies = [fact for fact in facts if isinstance(fact, Tally) and fact.quality == "measured" and fact.at <= at]
    dishes = [fact for fact in tallies if fact.kind == "germination_test"]
    four, eight = (last_plates([dish for dish in dishes if dish.method == water]) for water in ("4ml", "8ml"))
    if four is None or eight is None or abs(four.at - eight.at) > SAME_TIME:
        eight = None
    steeped = [Capacity(fact) for fact in tallies if fact.kind == "capacity_test"]
    near = [each for each in steeped if four is None or abs(each.at - four.at) <= AS_ALIVE_FOR]
    running = tuple(dish for dish in dishes if not is_counted_out(dish) and at - dish.at <= SAME_TIME)
    return LotTests(four, eight, near[-1] if near else None, running)


def last_plates(dishes: Sequence[Tally]) -> Plates | None:
    """The dishes of the last test among these, which are in order of time."""
    counted = [dish for dish in dishes if is_counted_out(dish)]
    if not counted:
        return None
    first = len(counted) - 1
    while first and counted[first].at - counted[first - 1].at <= SAME_TEST:
        first -= 1
    return Plates(tuple(counted[first:]))
