"""What one does at each stage, the likeliest first; and everything else, in groups."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from operator import attrgetter
from types import MappingProxyType
from typing import Protocol

from app.judgement.facts.kinds import KINDS
from app.judgement.facts.shapes import Fact, Reading, Tally, Weighing
from app.judgement.history.history import History, hours_between
from app.judgement.wording import Words

BY_STAGE: dict[str, tuple[str, ...]] = {
    "charged": ("steep_on", "skimmings", "float_count", "test_bag_start", "water_temperature", "inspection"),
    "immersion": (
        "drained",
        "water_temperature",
        "test_bag",
        "skimmings",
        "chit_count",
        "inspection",
        "water_changed",
        "aerated",
    ),
    "air_rest": (
        "steep_on",
        "cast",
        "test_bag",
        "grain_temperature",
        "chit_count",
        "turned",
        "sprinkled",
        "inspection",
    ),
    "germination": (
        "turned",
        "grain_temperature",
        "growth_count",
        "rub_out",
        "sprinkled",
        "inspection",
        "loaded",
        "charge_weighing",
    ),
    "stewing": ("grain_temperature", "air_on_temperature", "loaded", "heat_on", "inspection"),
    "kilning": (
        "grain_temperature",
        "tray",
        "air_on_temperature",
        "air_off_temperature",
        "turned",
        "heat_off",
        "heat_on",
        "humidity",
    ),
    "cooling": ("grain_temperature", "stripped", "culms", "outturn", "moisture_test", "finished"),
    "finished": ("moisture_test", "kernel_weight", "note"),
    "abandoned": ("note",),
}

OF_A_ROAST: Mapping[str, tuple[str, ...]] = MappingProxyType(
    {
        "charged": ("heat_on", "grain_temperature", "roast_colour", "inspection"),
        "kilning": ("roast_colour", "grain_temperature", "inspection", "turned", "heat_off", "heat_on"),
        "cooling": ("grain_temperature", "roast_colour", "inspection", "stripped", "outturn", "finished"),
    }
)
"""It is pulled by colour, temperature and smell, and was never wet."""

ROAST_ALONE = frozenset({"roast_colour"})
NEVER_IN_A_ROAST = frozenset(
    {
        *("steep_on", "drained", "cast", "stew_on", "loaded", "water_temperature", "water_changed", "aerated"),
        *("test_bag_start", "test_bag", "skimmings", "float_count", "chit_count", "squeeze_test", "growth_count"),
        *("rub_out", "sprinkled", "tray", "culms"),
    }
)

GROUPS: Mapping[str, str] = MappingProxyType(
    {
        "stages": "Stages",
        "air": "Temperature and air",
        "weights": "Weights",
        "counts": "Counts",
        "done": "Done and seen",
    }
)


def tub_groups(history: History | None = None) -> list[tuple[str, list[str]]]:
    """The groups in which the tub page offers everything, to this batch where one is given: title, kinds in order."""
    left_out: frozenset[str] = frozenset()
    if history is not None:
        left_out = NEVER_IN_A_ROAST if _is_roast(history) else ROAST_ALONE
    kinds = sorted((kind for name, kind in KINDS.items() if name not in left_out), key=attrgetter("tub_order"))
    return [(title, [kind.name for kind in kinds if kind.tub_group == group]) for group, title in GROUPS.items()]


def tub_kinds(history: History | None = None) -> list[str]:
    """Every kind that the tub page offers."""
    return [name for _, names in tub_groups(history) for name in names]


def _is_roast(history: History) -> bool:
    return history.programme is not None and history.programme.is_roast


class Due(Protocol):
    """A step that is due: which entry records it."""

    @property
    def kind(self) -> str: ...


@dataclass(frozen=True)
class Tile:
    """One way into an entry: kind, words, and what was said there last."""

    kind: str
    word: str
    hint: str
    is_first: bool = False


def tiles_for(history: History, stage: str, steps: Sequence[Due], words: Words) -> list[Tile]:
    """The tiles of this stage; what is due next stands first."""
    of_stage = BY_STAGE.get(stage, BY_STAGE["charged"])
    names = list(OF_A_ROAST.get(stage, of_stage) if _is_roast(history) else of_stage)
    due = steps[0].kind if steps else None
    if due in tub_kinds(history):
        names = [due, *(name for name in names if name != due)]
    return [Tile(name, KINDS[name].word, last_hint(history, name, words), name == due) for name in names]


def last_hint(history: History, kind: str, words: Words) -> str:
    """What was last said of this kind, and how long ago."""
    facts = history.of_kind(kind)
    if not facts or words.now is None:
        return ""
    fact = facts[-1]
    ago = f"{words.span(hours_between(fact.at, words.now))} ago"
    value = value_words(fact, words)
    return f"{value}, {ago}" if value else ago


def value_words(fact: Fact, words: Words) -> str:
    """The number of a fact, in the reader's units; empty where it has none."""
    if isinstance(fact, Reading) and fact.value is not None:
        return words.quantity(KINDS[fact.kind].dimension, fact.value)
    if isinstance(fact, Weighing):
        return words.mass(fact.gross_kg if fact.gross_kg is not None else fact.net_kg)
    if isinstance(fact, Tally) and len(fact.counts) == 1:
        return f"{next(iter(fact.counts.values()))} of {fact.looked_at}"
    return ""
