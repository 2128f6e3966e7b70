"""Another unit, or a slip of the pen? Asked before an entry is kept; what the person insists on is kept as it is."""

from __future__ import annotations

import math
import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from app.judgement.facts.fields import Quantity
from app.judgement.facts.kind_parts import Plausible
from app.judgement.facts.kinds import KINDS
from app.judgement.facts.shapes import Fact, Reading, Tally, Weighing
from app.judgement.history.history import History
from app.judgement.history.stages import all_stages, by_section, sections, stage_at
from app.judgement.programmes.programme import Programme
from app.judgement.slips.masses import can_weigh, expected_masses, known_tare
from app.judgement.slips.plausible import plausible, plausible_range
from app.judgement.slips.readings import Other, other_readings
from app.judgement.wording import METRIC
from app.science import units

__all__ = ["INSISTED", "Question", "is_insisted", "looks_like_a_slip", "plausible_range", "questions", "slips"]

INSISTED = "insisted"
"""The key in `typed` by which an entry says that its writer was asked and meant it."""

LAST_TELLS, AIR_TELLS = timedelta(hours=12), timedelta(minutes=30)
JUMP_C = {"kilning": 25.0, "stewing": 25.0, "cooling": 40.0}
JUMP_ELSEWHERE_C = 12.0
FALLEN_C, RISEN_C = 15.0, 6.0
"""From memory: from one look to the next a temperature jumps no further, unless something happened. The other unit is
offered where it lies this near to the last look: grain that is heated may well rise fast, but hardly falls."""

AS_SET_C, OVER_AIR_C = 10.0, 3.0
"""From memory: so near to what it is set to, air is as it should be; and so little over its air a probe may show grain.
"""

_GROUPED = re.compile(r"[1-9]\d{0,2},\d{3}")
DECIMAL = "The comma is a decimal mark"
FEW_KERNELS = 10
USUAL_KERNELS = 100


@dataclass(frozen=True)
class Question:
    """Asked before keeping. alternative: what to change in what was typed; empty where one can only insist or mend.

    can_be: whether it can be so as it was typed; where it can't, nobody can insist on it.
    """

    field: str
    message: str
    alternative: dict[str, str]
    alternative_words: str
    as_typed_words: str
    can_be: bool = True


def questions(fact: Fact, history: History | None, programme: Programme | None, at: datetime) -> list[Question]:
    """What to ask about an entry; none for an ordinary one."""
    kind, values = KINDS[fact.kind], vars(fact)
    look = _Look(fact, history, programme, at)
    asked = list(_thousands(fact)) if fact.typed else []
    taken = [question.field for question in asked]
    for name, spec in kind.fields.items():
        value = values.get(spec.target)
        if value is None or name in taken or (spec.target == "net_kg" and values.get("gross_kg") is not None):
            continue
        if isinstance(spec, Quantity) and spec.target != "tare_kg" and isinstance(value, int | float):
            found = look.ask(name, spec, float(value))
            asked += [found] if found else []
    if kind.shape is Tally:
        asked += list(_few_kernels(values, history, at))
    return asked


def _thousands(fact: Fact) -> Iterator[Question]:
    """A comma before three digits: who writes 1,500 for 1500 would be understood as 1.5."""
    if not any("," in str(text) for text in fact.typed.values()):
        return
    for name, spec in KINDS[fact.kind].fields.items():
        text = str(fact.typed.get(name) or "").strip()
        if not isinstance(spec, Quantity) or getattr(fact, spec.target, None) is None or not _GROUPED.fullmatch(text):
            continue
        whole, decimal = text.replace(",", ""), f"{units.parse_number(text):g}"
        yield Question(name, f"{spec.word} {text}: is it {whole}, or {decimal}?", {name: whole}, whole, DECIMAL)


def slips(history: History) -> tuple[Fact, ...]:
    """The facts that were kept unasked, as one waiting in a phone is, and look like another unit or a slip."""
    ordinary = _ordinary(history)
    asked = [fact for fact in history.facts if isinstance(fact, Reading | Weighing | Tally) and fact.id not in ordinary]
    return tuple([each for each in asked if looks_like_a_slip(each, history)])


def _ordinary(history: History) -> set[str]:
    """The ids of readings that can be no slip. Most are such, and every page looks at all of them."""
    found: set[str] = set()
    told = sections(history, all_stages(history))
    for kind in {reading.kind for reading in history.readings()}:
        before: Reading | None = None
        for section, inside in by_section(told, history.readings(kind)):
            stage = section.stage.name if section.stage is not None else "charged"
            expected = plausible(kind, stage, section.programme)
            low, high = expected.possible if expected is not None else (-math.inf, math.inf)
            jump_c = _jump_c(stage, section.programme)
            for each in inside:
                value, last = each.value, before.value if before is not None else None
                is_possible = value is None or low <= value <= high
                is_near = value is None or last is None or abs(value - last) <= jump_c
                # Of several at one time it is the one before them all that tells whether any jumps.
                is_alone = before is None or before.at < each.at
                if is_possible and is_near and is_alone:
                    found.add(each.id)
                before = each
    return found


def looks_like_a_slip(fact: Fact, history: History) -> list[Question]:
    """What would have been asked about a fact that was kept unasked, as one waiting in a phone is."""
    if not isinstance(fact, Reading | Weighing | Tally) or (is_insisted(fact) and not isinstance(fact, Weighing)):
        return []
    asked = questions(fact, history, history.programme_at(fact.at), fact.at)
    asked = [each for each in asked if not (is_insisted(fact) and each.can_be)]
    if not asked:
        return []
    # Without its tare a bag or tray is understood all the same: the one it started with is taken off.
    # And a mark that can be read in two ways was read in one when it was kept.
    return [each for each in asked if "tare" not in each.alternative and each.as_typed_words != DECIMAL]


def is_insisted(fact: Fact) -> bool:
    return fact.typed.get(INSISTED) == "1"


class _Look:
    """One entry, looked at against what is usual and what came before it."""

    def __init__(self, fact: Fact, history: History | None, programme: Programme | None, at: datetime) -> None:
        self.fact, self.kind, self.values, self.typed = fact, fact.kind, vars(fact), fact.typed
        self.history, self.programme, self.at = history, programme, at
        self.stages = all_stages(history) if history is not None else []
        stage = stage_at(self.stages, at)
        self.stage = stage.name if stage else "charged"
        self.since = stage.starts_at if stage else None
        self.most_kg = can_weigh(self.kind, self.values, history, at) if isinstance(fact, Weighing) else math.inf

    def ask(self, name: str, spec: Quantity, value: float) -> Question | None:
        expected = self._expected(spec)
        last = self._last_c() if spec.target == "value" else None
        if expected is None or (expected.possible.holds(value) and not self._jumps(value, last)):
            return None
        if last is not None and expected.possible.holds(value) and self._is_heated(value, last):
            return None
        forgotten = self._forgotten_tare(spec, expected)
        if forgotten is not None:
            return forgotten
        others = list(other_readings(name, spec, self.typed, value))
        if last is not None and expected.possible.holds(value):
            reach_c = FALLEN_C if value < last else RISEN_C
            likelier = [other for other in others if abs(other.value - last) <= reach_c]
        else:
            likelier = [other for other in others if expected.usual.holds(other.value)]
        if likelier:
            return self._question(name, spec, value, expected, likelier[0])
        return None if expected.wild.holds(value) else self._question(name, spec, value, expected, None)

    def _expected(self, spec: Quantity) -> Plausible | None:
        if spec.dimension == "mass" and spec.target != "value":
            masses = expected_masses(self.kind, self.values, self.history, self.programme, self.at)
            return masses.get(spec.target) if masses else None
        return plausible(self.kind, self.stage, self.programme, spec.target)

    def _last_c(self) -> float | None:
        """The last temperature of this kind in this stage, if it still tells anything."""
        if self.history is None or KINDS[self.kind].dimension != "temperature":
            return None
        last = self.history.last_of_kind(self.kind, self.at)
        if not isinstance(last, Reading) or self.at - last.at > LAST_TELLS:
            return None
        if self.since is not None and last.at >= self.since:
            return last.value
        stage = stage_at(self.stages, last.at)
        return last.value if stage is not None and stage.name == self.stage else None

    def _jumps(self, value: float, last: float | None) -> bool:
        return last is not None and abs(value - last) > _jump_c(self.stage, self.programme)

    def _is_heated(self, value: float, last: float) -> bool:
        """Whether the kiln rose to it since the last look: air to what it is set to, grain and air-off with the air."""
        if self.stage not in ("kilning", "stewing") or self.history is None or value < last:
            return False
        heat = self.history.last_of_kind(
            "set_point" if self.kind == "air_on_temperature" else "air_on_temperature", self.at
        )
        if not isinstance(heat, Reading) or heat.value is None or self.since is None or heat.at < self.since:
            return False
        if self.kind == "air_on_temperature":
            return abs(value - heat.value) <= AS_SET_C
        before = self.history.last_of_kind(self.kind, self.at)
        has_risen = before is not None and before.at <= heat.at and self.at - heat.at <= AIR_TELLS
        return has_risen and -_jump_c(self.stage, self.programme) <= value - heat.value <= OVER_AIR_C

    def _forgotten_tare(self, spec: Quantity, expected: Plausible) -> Question | None:
        if spec.target not in ("gross_kg", "net_kg") or self.values.get("tare_kg"):
            return None
        tare_kg = known_tare(self.kind, self.values.get("vessel"), self.history, self.at)
        net_kg = float(self.values.get("net_kg") or 0.0)
        if not tare_kg or net_kg <= expected.possible.high or not expected.usual.holds(net_kg - tare_kg):
            return None
        return tare_question(self.fact, tare_kg)

    def _question(self, name: str, spec: Quantity, value: float, expected: Plausible, other: Other | None) -> Question:
        as_typed = shown(spec.dimension, value, spec.unit_typed(self.typed, name), self.typed.get(name))
        low, high = (shown(spec.dimension, bound, "") for bound in expected.possible)
        side = "less than" if value < expected.possible.low else "more than"
        if expected.possible.holds(value):
            message = f"{spec.word} {as_typed} is far from the last one."
        else:
            message = f"{spec.word} {as_typed} is {side} one expects here ({low} to {high})."
        can_be = spec.target not in ("gross_kg", "net_kg") or self.values["net_kg"] <= self.most_kg
        if other is None:
            asked = "Is that what you read?" if can_be else "Look at the number and its unit, or correct the charge."
            return Question(name, f"{message} {asked}", {}, "", f"{as_typed}, as typed", can_be)
        words = shown(spec.dimension, other.value, other.unit, other.changes[name])
        return Question(name, f"{message} Is it {words}?", dict(other.changes), words, f"{as_typed}, as typed", can_be)


def tare_question(fact: Fact, tare_kg: float) -> Question:
    """Whether a bag or tray that was weighed without a tare has it still in its weight."""
    assert isinstance(fact, Weighing)
    name = "net" if fact.gross_kg is None else "gross"
    spec = KINDS[fact.kind].fields[name]
    unit = spec.unit_typed(fact.typed, name) or "kg"
    weighed = str(fact.typed.get(name) or f"{units.from_si(fact.net_kg, unit):.6g}")
    tare = f"{units.from_si(tare_kg, unit):.6g}"
    return Question(
        name,
        f"Is the tare still in it? {fact.vessel or 'This vessel'} weighed {METRIC.mass(tare_kg)} by itself before.",
        {"gross": weighed, "gross_unit": unit, "net": "", "tare": tare, "tare_unit": unit},
        f"take off {METRIC.mass(tare_kg)}: {METRIC.mass(fact.net_kg - tare_kg)} net",
        f"{METRIC.mass(fact.net_kg)} net, as typed",
    )


def _jump_c(stage: str, programme: Programme | None) -> float:
    is_roast = programme is not None and programme.is_roast
    return 120.0 if is_roast else JUMP_C.get(stage, JUMP_ELSEWHERE_C)


def shown(dimension: str, value: float, unit: str, text: str | None = None) -> str:
    """The number as it was typed, and in the other unit where a slip between the two is likely."""
    unit_keys = {each.key for each in units.units_of(dimension)}
    if dimension == "mass" and unit not in unit_keys:
        return METRIC.mass(value)
    key = unit if unit in unit_keys else units.DEFAULT_UNITS["metric"][dimension]
    own = units.format_quantity(value, key)
    text = f"{text.strip()} {units.UNITS[key].symbol}".strip() if text else own
    if dimension == "temperature" and unit in unit_keys:
        return f"{text} ({units.format_quantity(value, 'c' if key == 'f' else 'f')})"
    if dimension == "mass" and METRIC.mass(value) not in (text, own):
        return f"{text} ({METRIC.mass(value)})"
    return text


def _few_kernels(values: Mapping[str, Any], history: History | None, at: datetime) -> Iterator[Question]:
    """A count of very few kernels, where a hundred were counted before: was the number looked at left short?"""
    looked_at = values.get("looked_at")
    if not isinstance(looked_at, int) or looked_at >= FEW_KERNELS or values.get("lengths") or history is None:
        return
    counted = sum(values.get("counts", {}).values())
    before = [tally for tally in history.of_shape(Tally) if tally.at < at and tally.looked_at >= USUAL_KERNELS]
    if before and counted <= USUAL_KERNELS:
        usual = before[-1].looked_at
        yield Question(
            "looked_at",
            f"Only {looked_at} kernels looked at, where {usual} were before. Is it {usual}?",
            {"looked_at": str(usual)},
            f"{counted} of {usual}",
            f"{counted} of {looked_at}, as typed",
        )
