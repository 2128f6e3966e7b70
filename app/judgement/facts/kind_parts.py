"""What a kind of fact is, and how the kinds of each shape are put together. The kinds themselves are in kinds.py."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import NamedTuple, TypedDict, Unpack

from app.judgement.facts.fields import (
    Choice,
    Count,
    FieldSpec,
    Lengths,
    Quantity,
    Reference,
    Text,
)
from app.judgement.facts.shapes import SHAPES, Fact

Fields = Mapping[str, FieldSpec]
IN_GRAIN = frozenset({"lot", "charged"})
"""Where raw grain is looked at: in store, and charged."""
BATCH = frozenset({"batch"})
LOT = frozenset({"lot"})
MALT = frozenset({"batch", "pack"})
ANY = frozenset({"batch", "lot", "pack", "vessel", "instrument", "house"})
QUALITIES = (
    ("measured", "measured"),
    ("estimated", "estimated"),
    ("over_range", "over range"),
    ("not_possible", "could not reach it"),
    ("all_well", "looked, all well"),
)
VALUELESS_QUALITIES = frozenset({"over_range", "not_possible", "all_well"})
DRAINED = (("blotted", "blotted dry"), ("drained", "drained, not blotted"), ("spun", "spun"))
TEMPERATURE_CURVE, MOISTURE_POINT, ENTRY, UNMARKED = "temperature", "moisture", "entry", ""
BLOTTED_OR_DRIED = (("drained", "drained"), ("blotted", "blotted"), ("dried", "dried"))


class Span(NamedTuple):
    """From low to high, both included."""

    low: float
    high: float

    def holds(self, value: float) -> bool:
        slack = 1e-9 * max(1.0, abs(value))
        return self.low - slack <= value <= self.high + slack

    def wider(self, below: float, above: float) -> Span:
        return Span(self.low - below, self.high + above)


class Plausible(NamedTuple):
    """usual: a value that needs no second look; possible: outside it one asks, if another reading of it is usual;
    wild: outside it one asks in any case."""

    usual: Span
    possible: Span
    wild: Span


class About(TypedDict, total=False):
    """What the other rooms and layers ask of a kind: see Kind, whose fields these are."""

    plausible: Plausible | str
    moisture_as: str
    formula: str
    tub_group: str
    tub_order: int
    mark: str
    teller: str


@dataclass(frozen=True)
class Kind:
    """One kind of fact. stage: the stage that it starts; methods: ways of doing it that change what it means.

    has_usual_method: whether the first of them may be taken for granted until somebody says otherwise. has_instrument:
    whether its number is read off one, whose correction then is added to a temperature.

    plausible: what its value is usually like, SI, or the name of the rule in slips/plausible.py that says so by stage
    and programme; moisture_as: the stage whose moisture its grain has, where that is not the batch's own stage.
    formula: how its number is come by, as chapter.function of app.science; empty where it is as it was read.
    tub_group: the group of the tub page that offers it, empty for none; tub_order: the lower the earlier in there.
    mark: where it stands on the chart of a batch: a curve of the temperature panel, a point of the moisture panel,
    an entry of the strip above them, or nowhere. teller: the name by which meaning.py or malt/tests.py tells of it.
    """

    name: str
    shape_name: str
    word: str
    subjects: frozenset[str]
    fields: Fields = field(default_factory=dict)
    stage: str | None = None
    methods: tuple[tuple[str, str], ...] = ()
    has_usual_method: bool = True
    has_place: bool = False
    has_instrument: bool = False
    plausible: Plausible | str | None = None
    moisture_as: str = ""
    formula: str = ""
    tub_group: str = ""
    tub_order: int = 0
    mark: str = ENTRY
    teller: str = ""

    @property
    def dimension(self) -> str:
        """Of what its number is: of the value of a reading or result, or the amount of an action; empty for none."""
        spec = self.fields.get("value") or self.fields.get("amount")
        return spec.dimension if isinstance(spec, Quantity) else ""

    @property
    def shape(self) -> type[Fact]:
        return SHAPES[self.shape_name]


def _at_the_tub(group: str, subjects: frozenset[str], about: About) -> About:
    """What can be about a batch is offered at the tub, in the group of its shape where no other is named."""
    return {"tub_group": group if subjects >= BATCH else "", **about}


def stage(
    name: str, word: str, stage: str | None, methods: tuple[tuple[str, str], ...] = (), **about: Unpack[About]
) -> Kind:
    about = {"tub_group": "stages", "mark": UNMARKED, "teller": "stage", **about}
    return Kind(name, "stage", word, BATCH, stage=stage, methods=methods, **about)


def reading(
    name: str,
    word: str,
    dimension: str,
    low: float,
    high: float,
    *,
    subjects: frozenset[str] = BATCH,
    has_instrument: bool = True,
    **about: Unpack[About],
) -> Kind:
    def number(target: str, words: str, required: bool) -> Quantity:
        shared = "" if target == "value" else "value"
        return Quantity(
            word=words, target=target, dimension=dimension, low=low, high=high, required=required, unit_of=shared
        )

    fields = {
        "value": number("value", word, True),
        "lowest": number("lowest", "Lowest", False),
        "highest": number("highest", "Highest", False),
    }
    about = _at_the_tub("air", subjects, {"teller": "reading", **about})
    return Kind(name, "reading", word, subjects, fields, has_place=True, has_instrument=has_instrument, **about)


def temperature(
    name: str,
    word: str,
    low: float = -60.0,
    high: float = 600.0,
    *,
    has_instrument: bool = True,
    **about: Unpack[About],
) -> Kind:
    about = {"mark": TEMPERATURE_CURVE, **about}
    return reading(name, word, "temperature", low, high, has_instrument=has_instrument, **about)


def mass(
    word: str,
    target: str,
    *,
    required: bool = False,
    low: float = 0.0,
    unit_of: str = "",
    at: frozenset[str] | None = None,
) -> Quantity:
    return Quantity(
        word=word,
        target=target,
        dimension="mass",
        low=low,
        high=1_000_000.0,
        required=required,
        unit_of=unit_of,
        asked_at=at,
    )


def moisture(word: str = "Moisture", *, required: bool = False) -> Quantity:
    return Quantity(word=word, target="moisture_wb", dimension="moisture", low=0.0, high=0.999, required=required)


def weighing(
    name: str,
    word: str,
    *,
    subjects: frozenset[str] = BATCH,
    methods: tuple[tuple[str, str], ...] = (),
    vessel: str | None = None,
    extra: Fields | None = None,
    low: float = 0.0,
    **about: Unpack[About],
) -> Kind:
    about = _at_the_tub("weights", subjects, about)
    fields: dict[str, FieldSpec] = {}
    if vessel:
        fields["vessel"] = Text(word=vessel, target="vessel", max_length=40)
    fields["gross"] = mass("Gross", "gross_kg", low=low)
    fields["tare"] = mass("Tare", "tare_kg", unit_of="gross")
    fields["net"] = mass("Net", "net_kg", low=low, unit_of="gross")
    fields.update(extra or {})
    return Kind(
        name,
        "weighing",
        word,
        subjects,
        fields,
        methods=methods,
        has_place=not vessel,
        has_instrument=True,
        **about,
    )


def tally(
    name: str,
    word: str,
    classes: Mapping[str, str],
    *,
    lengths: bool = False,
    needs: bool = True,
    looked_at: str = "Kernels looked at",
    subjects: frozenset[str] = BATCH | LOT,
    methods: tuple[tuple[str, str], ...] = (),
    has_place: bool = False,
    **about: Unpack[About],
) -> Kind:
    about = _at_the_tub("counts", subjects, about)
    fields: dict[str, FieldSpec] = {"looked_at": Count(word=looked_at, target="looked_at", low=1, required=needs)}
    for key, words in classes.items():
        fields[key] = Count(word=words, target=f"counts.{key}", required=False)
    if lengths:
        fields["lengths"] = Lengths(word="Lengths", target="lengths", required=False)
    return Kind(name, "tally", word, subjects, fields, methods=methods, has_place=has_place, **about)


def part(
    name: str,
    word: str,
    sources: frozenset[str],
    targets: frozenset[str],
    stage: str | None = None,
    **about: Unpack[About],
) -> Kind:
    fields = {
        "source": Reference(word="From", target="source", types=sources),
        "target": Reference(word="Into", target="target", types=targets),
        "as_is": mass("Weight as it is", "as_is_kg", required=True),
        "moisture": moisture(required=True),
    }
    about = {"mark": UNMARKED, **about}
    return Kind(name, "part", word, ANY, fields, stage=stage, methods=MOISTURE_KNOWN, **about)


def result(
    name: str,
    word: str,
    value: Quantity,
    methods: tuple[tuple[str, str], ...] = (),
    *,
    beside: Fields | None = None,
    subjects: frozenset[str] = MALT | LOT,
    has_usual_method: bool = True,
    **about: Unpack[About],
) -> Kind:
    fields = {"value": value, **(beside or {})}
    return Kind(name, "result", word, subjects, fields, methods=methods, has_usual_method=has_usual_method, **about)


def beside(
    word: str,
    target: str,
    dimension: str,
    *,
    high: float,
    low: float = 0.0,
    required: bool = True,
    unit_of: str = "",
    help: str = "",
) -> Quantity:
    """A quantity that is measured beside the value of a result."""
    return Quantity(
        word=word,
        target=f"beside.{target}",
        dimension=dimension,
        low=low,
        high=high,
        required=required,
        unit_of=unit_of,
        help=help,
    )


def value(word: str, dimension: str, *, low: float = 0.0, high: float, help: str = "") -> Quantity:
    return Quantity(word=word, target="value", dimension=dimension, low=low, high=high, help=help, has_minus=False)


def analysis(
    name: str,
    word: str,
    figures: Mapping[str, Quantity],
    methods: tuple[tuple[str, str], ...],
    *,
    subjects: frozenset[str],
) -> Kind:
    return Kind(
        name,
        "analysis",
        word,
        subjects,
        figures,
        methods=methods,
        has_usual_method=False,
        has_place=True,
        mark=UNMARKED,
    )


def figure(word: str, target: str, dimension: str, *, high: float) -> Quantity:
    """One figure of an analysis."""
    return Quantity(
        word=word, target=f"found.{target}", dimension=dimension, low=0.0, high=high, required=False, has_minus=False
    )


def check(name: str, word: str, dimension: str, high: float) -> Kind:
    """An instrument held against something that is known."""
    shown = value("It shows", dimension, high=high)
    known = beside("It should show", "known", dimension, high=high, unit_of="value")
    about: About = {"mark": UNMARKED}
    return result(name, word, shown, beside={"known": known}, subjects=frozenset({"instrument"}), **about)


def action(
    name: str,
    word: str,
    fields: Fields | None = None,
    *,
    subjects: frozenset[str] = BATCH,
    **about: Unpack[About],
) -> Kind:
    about = _at_the_tub("done", subjects, about)
    return Kind(name, "action", word, subjects, fields or {}, has_place=True, **about)


def choice(
    word: str,
    aspect: str,
    *options: tuple[str, str],
    required: bool = False,
    clean: str = "",
    at: frozenset[str] | None = None,
    moot_by: tuple[str, ...] = (),
) -> Choice:
    target = f"findings.{aspect}"
    return Choice(
        word=word, target=target, options=options, required=required, clean=clean, asked_at=at, moot_by=moot_by
    )


GROWTH_CLASSES = MappingProxyType(
    {
        "to_quarter": "to ¼",
        "quarter_to_half": "¼ – ½",
        "half_to_three_quarters": "½ – ¾",
        "three_quarters_to_full": "¾ – 1",
        "over": "over 1",
    }
)
SET_ASIDE_CLASSES = MappingProxyType({"broken": "broken", "mouldy": "mouldy", "not_sure": "not sure"})
MOISTURE_KNOWN = (("measured", "measured"), ("lot", "from the lot"), ("assumed", "assumed"))
MOISTURE_METHODS = (
    ("oven_grain", "oven, raw grain (ISO 712)"),
    ("oven_malt", "oven, malt (EBC 4.2)"),
    ("oven_two_stage", "oven, two stages (green malt)"),
    ("kitchen_oven", "kitchen oven"),
    ("meter", "moisture meter"),
)
MALT_MOISTURE_METHODS = ("oven_malt", "kitchen_oven", "meter")
"""Those that are for malt that is done."""
WATERS = (("4ml", "4 mL of water"), ("8ml", "8 mL of water"))
DAY_CLASSES = MappingProxyType({"day_1": "Grown at 24 h", "day_2": "New at 48 h", "day_3": "New at 72 h"})
SIEVED_BY = (("weight", "weighed, g"), ("percent", "per cent by weight"), ("count", "kernels counted"))
YES_NO = (("yes", "yes"), ("no", "no"), ("not_sure", "not sure"))
