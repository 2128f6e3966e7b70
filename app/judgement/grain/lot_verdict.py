"""Is the lot alive? A verdict from its germination tests, with reasons, and with what so few kernels cannot tell."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta
from functools import cached_property

from app.judgement.grain.germination_tests import AS_ALIVE_FOR, LotTests, Plates, Points, lot_tests
from app.judgement.grain.lot_storage import StorageUse, storage_use
from app.judgement.history.history import LotInfo
from app.science import germination
from app.science.germination import Requirement

UNFIT_BELOW_POINTS = 10.0
"""A lot that lacks more than this to what is asked is no malting grain: common practice, an editable default."""

DORMANT_FROM_POINTS = 5.0
"""From this dormancy on the rest is said to sleep. Common practice."""

CAN_T_TELL = "so few kernels can’t tell whether it is"

ANY_OTHER = Requirement(95.0, "common practice, an editable default", "C")
FIT, DORMANT, WEAK, SENSITIVE, UNFIT, UNTESTED = "fit", "dormant", "weak", "water_sensitive", "unfit", "not_tested"
WORDS = {
    FIT: "fit",
    DORMANT: "wait and retest: dormant",
    WEAK: "weak",
    SENSITIVE: "water sensitive",
    UNFIT: "unfit",
    UNTESTED: "not tested",
}
MAY_BE = {DORMANT: "can’t tell: may be dormant, retest", SENSITIVE: "can’t tell: may be water sensitive"}
"""The words where the interval of what decides it spans its limit."""

STATUS = {FIT: "fine", DORMANT: "caution", WEAK: "caution", SENSITIVE: "caution", UNFIT: "act", UNTESTED: "none"}


@dataclass(frozen=True)
class LotVerdict:
    """verdict: one of WORDS. What takes longer than the verdict itself is worked out when it is asked for."""

    verdict: str
    required: Requirement
    tests: LotTests
    lot: LotInfo
    at: datetime

    @property
    def word(self) -> str:
        return WORDS[self.verdict] if self.can_tell else MAY_BE[self.verdict]

    @property
    def can_tell(self) -> bool:
        """Whether the interval of what decides it, a difference of two shares, lies beyond its limit."""
        decides = {
            SENSITIVE: (self.tests.water_sensitivity, germination.WATER_SENSITIVE_FROM_POINTS),
            DORMANT: (self.tests.dormancy, DORMANT_FROM_POINTS),
        }
        points, limit = decides.get(self.verdict, (None, 0.0))
        return points is None or points.can_tell(limit)

    @property
    def status(self) -> str:
        """fine, notice, caution, act or none: an old test that spoke well, or dishes that disagree, are a notice."""
        is_doubtful = self.is_old or not _do_agree(self.tests.four)
        return "notice" if self.verdict == FIT and is_doubtful else STATUS[self.verdict]

    @property
    def age(self) -> timedelta | None:
        return self.at - self.tests.four.at if self.tests.four is not None else None

    @property
    def is_old(self) -> bool:
        return self.age is not None and self.age > AS_ALIVE_FOR

    @cached_property
    def is_sure(self) -> bool:
        """Whether chance alone does not explain it: the dishes agree, and their exact interval, which holds the lot's
        true share, lies on one side of what is asked.
        """
        four = self.tests.four
        return four is not None and _do_agree(four) and not self._is_astride(four)

    @cached_property
    def reasons(self) -> tuple[str, ...]:
        four = self.tests.four
        if four is None:
            return _untested(self.tests)
        old = f"The test is {self.age.days} days old: test again before you charge." if self.age and self.is_old else ""
        return (*_reasons(four, self.tests, self.required, self.verdict), *([old] if old else []))

    @property
    def reason(self) -> str:
        """The one reason that decides, for a line; and that the test is old, where it is."""
        *found, old = (*self.reasons, "") if not self.is_old else self.reasons
        decides = found[{DORMANT: 1, SENSITIVE: -1}.get(self.verdict, 0)]
        return f"{decides} {old}".strip()

    @cached_property
    def limits(self) -> tuple[str, ...]:
        """What these dishes can't tell."""
        four = self.tests.four
        if four is None:
            return ()
        astride = (
            f"Chance alone may have put it on this side of {self.required.at_least_percent:g} %: more dishes make sure."
        )
        return (*_limits(four, self.tests), *([astride] if self._is_astride(four) else []))

    @cached_property
    def storage(self) -> StorageUse | None:
        return storage_use(self.lot, self.at)

    def _is_astride(self, four: Plates) -> bool:
        low, high = four.exact_percent
        return low < self.required.at_least_percent <= high


def energy_required(species: str) -> Requirement:
    """What is asked of the germinative energy of a species, by whom."""
    return germination.GERMINATIVE_ENERGY_REQUIRED.get(species, ANY_OTHER)


def lot_verdict(lot: LotInfo, at: datetime, required: Requirement | None = None) -> LotVerdict:
    """The verdict on a lot by what is known of it at a moment."""
    asked = required or energy_required(lot.species)
    tests = lot_tests(lot.facts, at)
    verdict = _verdict(tests.four, tests, asked) if tests.four is not None else UNTESTED
    return LotVerdict(verdict, asked, tests, lot, at)


def _untested(tests: LotTests) -> tuple[str, ...]:
    if tests.running:
        return ("Dishes are laid out and not counted to the third day yet.",)
    return ("Not tested yet: lay out 100 kernels on 4 mL of water and count for three days which grow.",)


def _verdict(four: Plates, tests: LotTests, asked: Requirement) -> str:
    energy, wanted = four.energy_percent, asked.at_least_percent
    if energy >= wanted:
        sensitivity = tests.water_sensitivity
        return SENSITIVE if sensitivity is not None and germination.is_water_sensitive(sensitivity.value) else FIT
    asleep = tests.dormancy.value if tests.dormancy is not None else 0.0
    if tests.capacity is not None and tests.capacity.percent >= wanted and asleep >= DORMANT_FROM_POINTS:
        return DORMANT
    alive = max(energy, tests.capacity.percent) if tests.capacity is not None else energy
    return WEAK if alive >= wanted - UNFIT_BELOW_POINTS else UNFIT


def _do_agree(plates: Plates | None) -> bool:
    return plates is None or plates.agreement is None or plates.agreement.agrees


def _reasons(four: Plates, tests: LotTests, asked: Requirement, verdict: str) -> Iterator[str]:
    wanted = f"{asked.at_least_percent:g} % asked"
    side = "at least the" if four.energy_percent >= asked.at_least_percent else "below the"
    yield f"{_percent(four.energy_percent)} of {four.n} grew in three days in 4 mL: {side} {wanted} ({asked.source})."
    yield from _capacity_reasons(tests, verdict)
    sensitivity = tests.water_sensitivity
    if sensitivity is not None:
        rests = " Give it short steeps and long air rests." if sensitivity.value > 25.0 else ""
        yield f"Water costs it {sensitivity.words}: {sensitivity_said(sensitivity)}.{rests}"


def sensitivity_said(found: Points) -> str:
    """What a water sensitivity comes to, by its whole interval; and that it spans the limit, where it does."""
    limit = germination.WATER_SENSITIVE_FROM_POINTS
    if not found.can_tell(limit):
        return f"{CAN_T_TELL} water sensitive ({limit:.0f} and more)"
    lowest, highest = (germination.water_sensitivity_band(end) for end in (found.low, found.high))
    return f"{lowest if lowest == highest else f'{lowest} to {highest}'} water sensitivity"


def dormancy_said(found: Points) -> str:
    """Whether the rest sleeps, by the whole interval."""
    if not found.can_tell(DORMANT_FROM_POINTS):
        return f"{CAN_T_TELL} asleep ({DORMANT_FROM_POINTS:.0f} and more)"
    return "asleep" if found.low >= DORMANT_FROM_POINTS else "not asleep"


def _capacity_reasons(tests: LotTests, verdict: str) -> Iterator[str]:
    if tests.capacity is None:
        if verdict in (WEAK, UNFIT):
            yield "Whether the rest is dead or asleep, a capacity test in peroxide tells."
        return
    alive, more = f"{_percent(tests.capacity.percent)} are alive", tests.dormancy
    if verdict not in (DORMANT, WEAK, UNFIT) or more is None:
        yield f"{alive}."
        return
    sleeping = f"{alive}, {more.words} more than grew: {dormancy_said(more)}"
    yield f"{sleeping}; {'wait some weeks, and test again' if verdict == DORMANT else 'the dead will not wake'}."


def _limits(four: Plates, tests: LotTests) -> Iterator[str]:
    low, high = four.exact_percent
    dishes = "One dish" if len(four.dishes) == 1 else f"{len(four.dishes)} dishes"
    yield f"{dishes}, {four.n} kernels: the lot's true share lies between {low:.1f} and {high:.1f} % (exact, 95 %)."
    if not four.can_separate(0.95, 0.98):
        yield f"{four.n} kernels cannot tell a lot at 95 % from one at 98 %."
    for plates, water in ((four, "4 mL"), (tests.eight, "8 mL")):
        agreement = plates.agreement if plates is not None else None
        if agreement is not None:
            verb = "agree" if agreement.agrees else "do not agree: lay them out again"
            yield (
                f"The dishes in {water} {verb} (apart {agreement.range_points:.1f} points, up to "
                f"{agreement.tolerated_points:.1f} by chance: {agreement.rule})."
            )
    if tests.eight is None:
        yield "Without dishes in 8 mL its water sensitivity is not known."


def _percent(value: float) -> str:
    return f"{value:.0f} %" if value == round(value) else f"{value:.1f} %"
