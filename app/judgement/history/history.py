"""The story of one batch, ready to compute on: its standing facts in order of time."""

from __future__ import annotations

import bisect
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime
from functools import cached_property
from typing import Any, TypeVar

from app.judgement.facts.kinds import RANK
from app.judgement.facts.shapes import (
    Answer,
    Fact,
    Part,
    Reading,
    Remark,
    Result,
    StageChange,
    Subject,
    Weighing,
    Withdrawal,
)
from app.judgement.history.calibrations import calibration_at, is_corrected
from app.judgement.history.superseding import Chain, chains
from app.judgement.programmes.programme import Programme

Shape = TypeVar("Shape", bound=Fact)
Derived = TypeVar("Derived")
UNWRITTEN = datetime.min.replace(tzinfo=UTC)
WETS = ("steep_on", "water_changed", "skimmings")
WHOLE_CHARGE_SHARE = 0.9
"""Skimmings out of at least this much of the charge are those of the charge, and not of a sample of it."""


def by_place(readings: Iterable[Reading]) -> dict[str | None, list[Reading]]:
    """The readings of each place, in their order."""
    grouped: dict[str | None, list[Reading]] = {}
    for reading in readings:
        grouped.setdefault(reading.place, []).append(reading)
    return grouped


def hours_between(first: datetime, last: datetime) -> float:
    return (last - first).total_seconds() / 3600.0


@dataclass(frozen=True)
class LotInfo:
    """A lot as a batch needs to know it. facts: those about the lot itself, standing ones only."""

    id: str
    name: str
    species: str
    variety: str = ""
    facts: tuple[Fact, ...] = ()
    harvest: str = ""

    @property
    def declaration(self) -> Remark | None:
        """The last declaration that the lot is untreated and for food; one that says otherwise is none."""
        declared = [fact for fact in self.facts if isinstance(fact, Remark) and fact.kind == "declaration"]
        if not declared or any(declared[-1].findings.get(aspect) != "yes" for aspect in ("untreated", "for_food")):
            return None
        return declared[-1]

    def moisture_fact(self, moment: datetime) -> Fact | None:
        """The last fact before the moment that tells the lot's moisture: a test, or the intake's own figure."""
        telling = [
            fact
            for fact in self.facts
            if fact.at <= moment
            and (
                (isinstance(fact, Result) and fact.kind == "moisture_test")
                or (isinstance(fact, Weighing) and fact.kind == "intake" and fact.moisture_wb is not None)
            )
        ]
        return telling[-1] if telling else None


@dataclass(frozen=True)
class BatchInfo:
    """What a batch is called, and the programme revision it began with."""

    id: str
    number: int = 0
    title: str = ""
    species: str = "barley"
    vessel: str = ""
    programme: str | None = None
    created_at: datetime | None = None


@dataclass(frozen=True)
class History:
    """One batch. facts: standing facts by (time, rank of kind, id); chains: everything ever said, with corrections.

    is_set_aside: it can't be judged (`guard.judged`), and has no facts that anything could be worked out from.
    fits: the `forecasts.kept.Fits` in which fits of this batch outlive this History; None where they need not.
    """

    batch: BatchInfo
    facts: tuple[Fact, ...]
    chains: tuple[Chain, ...] = ()
    programmes: Mapping[str, Programme] = field(default_factory=dict)
    lots: Mapping[str, LotInfo] = field(default_factory=dict)
    instruments: tuple[Fact, ...] = ()
    prior: Mapping[str, Any] | None = None
    is_set_aside: bool = False
    fits: Any = field(default=None, compare=False)

    @classmethod
    def build(
        cls,
        batch: BatchInfo,
        facts: Iterable[Fact],
        *,
        programmes: Mapping[str, Programme] | None = None,
        lots: Iterable[LotInfo] = (),
        instruments: Iterable[Fact] = (),
        prior: Mapping[str, Any] | None = None,
    ) -> History:
        """Settle corrections, apply calibrations, and order: any order of the same facts gives the same History."""
        settled = sorted(chains(facts), key=_first_order)
        calibrations = tuple(in_order(chains(instruments)))
        has_corrections = bool([chain for chain in settled if len(chain.facts) > 1])
        ordered = in_order(settled) if has_corrections else standing(settled)
        return cls(
            batch=batch,
            facts=tuple(_corrected(fact, calibrations) for fact in ordered) if calibrations else tuple(ordered),
            chains=tuple(settled),
            programmes=programmes or {},
            lots={lot.id: lot for lot in lots},
            instruments=calibrations,
            prior=prior,
        )

    def with_facts(self, facts: tuple[Fact, ...]) -> History:
        """The batch as these of its facts tell it. Fits to them are kept nowhere: they are not the batch's own."""
        return replace(self, facts=facts, fits=None)

    def set_aside(self) -> History:
        """The batch with everything that was said, and nothing to judge: of its lots only who declared them."""
        lots = {key: replace(lot, facts=tuple(fact for fact in lot.facts if fact.kind == "declaration"))
                for key, lot in self.lots.items()}  # fmt: skip
        return replace(self, facts=(), lots=lots, instruments=(), prior=None, is_set_aside=True, fits=None)

    def of_kind(self, *kinds: str) -> tuple[Fact, ...]:
        if len(kinds) == 1:
            return self._by_kind.get(kinds[0], ())
        return tuple([fact for fact in self.facts if fact.kind in kinds])

    def of_shape(self, shape: type[Shape], *kinds: str) -> tuple[Shape, ...]:
        """The facts of one shape, typed; of the given kinds only where any are given."""
        key = (shape, kinds)
        if key not in self._by_shape:
            source = self.of_kind(*kinds) if kinds else self.facts
            self._by_shape[key] = tuple([fact for fact in source if isinstance(fact, shape)])
        facts: tuple[Shape, ...] = self._by_shape[key]
        return facts

    @cached_property
    def _by_shape(self) -> dict[Any, Any]:
        return {}

    def readings(self, *kinds: str) -> tuple[Reading, ...]:
        return self.of_shape(Reading, *kinds)

    def by_id(self, fact_id: str) -> Fact | None:
        return self._by_id.get(fact_id)

    def root_id(self, fact_id: str) -> str:
        """The id of the first fact of the chain in which this one stands."""
        return self._roots.get(fact_id, fact_id)

    def once(self, compute: Callable[[History], Derived]) -> Derived:
        """compute(self), worked out at the first call and remembered with this History, which never changes."""
        if compute not in self._derived:
            self._derived[compute] = compute(self)
        derived: Derived = self._derived[compute]
        return derived

    def remember(self, compute: Callable[[History], Any], value: Any) -> None:
        """What `once(compute)` is to answer, where somebody knows it already."""
        self._derived.setdefault(compute, value)

    @cached_property
    def _derived(self) -> dict[Callable[[History], Any], Any]:
        return {}

    @property
    def answers(self) -> tuple[Answer, ...]:
        return self.of_shape(Answer)

    @cached_property
    def first_water_at(self) -> datetime | None:
        """Hour 0 of the malthouse clock: the first water, whichever fact brings it."""
        charged_kg = sum(part.as_is_kg for part in self.charges)
        wet = [fact.at for fact in self.of_kind(*WETS) if brings_first_water(fact, charged_kg)]
        return min(wet) if wet else None

    @cached_property
    def starts_at(self) -> datetime | None:
        """Hour 0, or before any water (and for a roast) the first fact of the batch."""
        if self.first_water_at is not None:
            return self.first_water_at
        changes = [fact.at for fact in self.facts if isinstance(fact, StageChange | Part)]
        return min(changes) if changes else (self.facts[0].at if self.facts else None)

    def hours(self, moments: Iterable[datetime]) -> list[float]:
        """Hours of the malthouse clock, of many moments at once."""
        zero = self.starts_at
        return [0.0 if zero is None else hours_between(zero, moment) for moment in moments]

    def hour(self, moment: datetime) -> float:
        """Hours of the malthouse clock; negative before first water."""
        if self.starts_at is None:
            return 0.0
        return hours_between(self.starts_at, moment)

    def programme_at(self, moment: datetime) -> Programme | None:
        """The revision that held then: the one charged with, or that of the last programme change before."""
        digest = self.batch.programme
        for change in self._programme_changes:
            if change.at <= moment and change.programme:
                digest = change.programme
        return self.programmes.get(digest or "")

    @cached_property
    def _programme_changes(self) -> tuple[StageChange, ...]:
        return self.of_shape(StageChange, "programme_change")

    @property
    def programme(self) -> Programme | None:
        """The revision that holds after the last fact."""
        return self.programme_at(self.facts[-1].at) if self.facts else self.programmes.get(self.batch.programme or "")

    @cached_property
    def charges(self) -> tuple[Part, ...]:
        """What came into the batch: from lots, from other batches, from packs."""
        return tuple(part for part in self.of_shape(Part) if part.target == Subject("batch", self.batch.id))

    @cached_property
    def departures(self) -> tuple[Part, ...]:
        """What was split off, merged away or packed."""
        return tuple(part for part in self.of_shape(Part) if part.source == Subject("batch", self.batch.id))

    @property
    def species(self) -> tuple[str, ...]:
        """Of the batch, and of each lot that went into it."""
        return tuple(dict.fromkeys((self.batch.species, *(lot.species for lot in self.lots.values()))))

    @cached_property
    def undeclared_lots(self) -> tuple[LotInfo, ...]:
        """The lots in this batch that no named person declared untreated and for food: the batch is held."""
        return tuple(lot for lot in self.lots.values() if lot.declaration is None)

    def last_before(self, moment: datetime, facts: Sequence[Shape]) -> Shape | None:
        """The last of these ordered facts that is not after the moment."""
        place = bisect.bisect_right([fact.at for fact in facts], moment)
        return facts[place - 1] if place else None

    def last_of_kind(self, kind: str, before: datetime) -> Fact | None:
        """The last fact of a kind that is earlier than a moment."""
        place = bisect.bisect_left(self._times_by_kind.get(kind, ()), before)
        return self._by_kind[kind][place - 1] if place else None

    @cached_property
    def _times_by_kind(self) -> dict[str, list[datetime]]:
        return {kind: [fact.at for fact in facts] for kind, facts in self._by_kind.items()}

    @cached_property
    def _by_kind(self) -> dict[str, tuple[Fact, ...]]:
        grouped: dict[str, list[Fact]] = {}
        for fact in self.facts:
            grouped.setdefault(fact.kind, []).append(fact)
        return {kind: tuple(facts) for kind, facts in grouped.items()}

    @cached_property
    def _by_id(self) -> dict[str, Fact]:
        return {fact.id: fact for fact in self.facts}

    @cached_property
    def _roots(self) -> dict[str, str]:
        return {fact.id: chain.root_id for chain in self.chains for fact in chain.facts}


def standing(settled: Iterable[Chain]) -> list[Fact]:
    """The facts that hold, of these chains."""
    return [chain.facts[-1] for chain in settled if not isinstance(chain.facts[-1], Withdrawal)]


def in_order(settled: Iterable[Chain]) -> list[Fact]:
    """The facts that hold, in the order of the story. A correction counts as written when its original was: correcting
    the first of two readings of one minute does not make it the last word.
    """
    return standing(sorted(settled, key=_last_order))


def order(fact: Fact) -> tuple[datetime, int, datetime, str]:
    """The order of the story: by time, then by the rank of the kind, then by when it was written, then by id; never by
    arrival. Of two readings of one minute the one written later is the last word."""
    return (fact.at, RANK[fact.kind], fact.written_at or UNWRITTEN, fact.id)


def _first_order(chain: Chain) -> tuple[datetime, int, datetime, str]:
    return order(chain.facts[0])


def _last_order(chain: Chain) -> tuple[datetime, int, datetime, str]:
    first, last = chain.facts[0], chain.facts[-1]
    return (last.at, RANK[last.kind], first.written_at or UNWRITTEN, last.id)


def brings_first_water(fact: Fact, charged_kg: float = 0.0) -> bool:
    """A steep, a wash, or a float test of the whole charge: the clock of a batch starts with any of them."""
    if fact.kind in ("steep_on", "water_changed"):
        return True
    if not isinstance(fact, Weighing) or fact.kind != "skimmings":
        return False
    return fact.of_kg is None or (charged_kg > 0.0 and fact.of_kg >= WHOLE_CHARGE_SHARE * charged_kg)


def _corrected(fact: Fact, calibrations: Sequence[Fact]) -> Fact:
    """The reading with its instrument's calibration added, from the date to the date; what was read stays in typed."""
    if not isinstance(fact, Reading) or not fact.instrument or not is_corrected(fact.kind):
        return fact
    calibration = calibration_at(calibrations, fact.instrument, fact.at)
    offset = calibration.amount if calibration is not None else None
    if not offset:
        return fact
    moved = {
        name: value + offset for name in ("value", "lowest", "highest") if (value := getattr(fact, name)) is not None
    }
    return replace(fact, correction=offset, **moved)
