"""The kinds of fact: for each its shape, words, what it may be about, and its fields."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType

from app.judgement.facts import SHAPES, Fact
from app.judgement.fields import (
    Choice,
    Count,
    FieldSpec,
    Lengths,
    Moment,
    Quantity,
    Reference,
    Text,
)

Fields = Mapping[str, FieldSpec]
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
BLOTTED_OR_DRIED = (("drained", "drained"), ("blotted", "blotted"), ("dried", "dried"))


@dataclass(frozen=True)
class Kind:
    """One kind of fact. stage: the stage that it starts; methods: ways of doing it that change what it means."""

    name: str
    shape_name: str
    word: str
    subjects: frozenset[str]
    fields: Fields = field(default_factory=dict)
    stage: str | None = None
    methods: tuple[tuple[str, str], ...] = ()
    has_place: bool = False
    has_instrument: bool = False

    @property
    def shape(self) -> type[Fact]:
        return SHAPES[self.shape_name]


def _stage(name: str, word: str, stage: str | None, **options: object) -> Kind:
    return Kind(name, "stage", word, BATCH, stage=stage, **options)  # type: ignore[arg-type]  # passes Kind's own fields


def _reading(
    name: str, word: str, dimension: str, low: float, high: float, *, subjects: frozenset[str] = BATCH
) -> Kind:
    def part(target: str, words: str, required: bool) -> Quantity:
        shared = "" if target == "value" else "value"
        return Quantity(
            word=words, target=target, dimension=dimension, low=low, high=high, required=required, unit_of=shared
        )

    fields = {
        "value": part("value", word, True),
        "lowest": part("lowest", "Lowest since the last look", False),
        "highest": part("highest", "Highest since the last look", False),
    }
    return Kind(name, "reading", word, subjects, fields, has_place=True, has_instrument=True)


def _mass(word: str, target: str, *, required: bool = False, low: float = 0.0, unit_of: str = "") -> Quantity:
    return Quantity(
        word=word, target=target, dimension="mass", low=low, high=1_000_000.0, required=required, unit_of=unit_of
    )


def _moisture(word: str = "Moisture", *, required: bool = False) -> Quantity:
    return Quantity(word=word, target="moisture_wb", dimension="moisture", low=0.0, high=0.999, required=required)


def _weighing(
    name: str,
    word: str,
    *,
    subjects: frozenset[str] = BATCH,
    methods: tuple[tuple[str, str], ...] = (),
    vessel: str | None = None,
    extra: Fields | None = None,
    low: float = 0.0,
) -> Kind:
    fields: dict[str, FieldSpec] = {}
    if vessel:
        fields["vessel"] = Text(word=vessel, target="vessel", max_length=40)
    fields["gross"] = _mass("Gross", "gross_kg", low=low)
    fields["tare"] = _mass("Tare", "tare_kg", unit_of="gross")
    fields["net"] = _mass("Net", "net_kg", low=low, unit_of="gross")
    fields.update(extra or {})
    return Kind(name, "weighing", word, subjects, fields, methods=methods, has_place=not vessel, has_instrument=True)


def _tally(
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
) -> Kind:
    fields: dict[str, FieldSpec] = {"looked_at": Count(word=looked_at, target="looked_at", low=1, required=needs)}
    for key, words in classes.items():
        fields[key] = Count(word=words, target=f"counts.{key}", required=False)
    if lengths:
        fields["lengths"] = Lengths(word="Lengths", target="lengths", required=False)
    return Kind(name, "tally", word, subjects, fields, methods=methods, has_place=has_place)


def _part(name: str, word: str, sources: frozenset[str], targets: frozenset[str], stage: str | None = None) -> Kind:
    fields = {
        "source": Reference(word="From", target="source", types=sources),
        "target": Reference(word="Into", target="target", types=targets),
        "as_is": _mass("Weight as it is", "as_is_kg", required=True),
        "moisture": _moisture(required=True),
    }
    return Kind(name, "part", word, ANY, fields, stage=stage, methods=MOISTURE_KNOWN)


def _result(
    name: str,
    word: str,
    value: Quantity,
    methods: tuple[tuple[str, str], ...] = (),
    *,
    beside: Fields | None = None,
    subjects: frozenset[str] = MALT | LOT,
) -> Kind:
    return Kind(name, "result", word, subjects, {"value": value, **(beside or {})}, methods=methods)


def _beside(
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


def _value(word: str, dimension: str, *, low: float = 0.0, high: float, help: str = "") -> Quantity:
    return Quantity(word=word, target="value", dimension=dimension, low=low, high=high, help=help, has_minus=False)


def _action(name: str, word: str, fields: Fields | None = None, *, subjects: frozenset[str] = BATCH) -> Kind:
    return Kind(name, "action", word, subjects, fields or {}, has_place=True)


def _choice(word: str, aspect: str, *options: tuple[str, str], required: bool = False) -> Choice:
    return Choice(word=word, target=f"findings.{aspect}", options=options, required=required)


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
WATERS = (("4ml", "4 mL of water"), ("8ml", "8 mL of water"))
DAY_CLASSES = MappingProxyType({"day_1": "Grown at 24 h", "day_2": "New at 48 h", "day_3": "New at 72 h"})
SIEVED_BY = (("weight", "weighed, g"), ("percent", "per cent by weight"), ("count", "kernels counted"))
YES_NO = (("yes", "yes"), ("no", "no"), ("not_sure", "not sure"))
TEMPERATURE = ("temperature", -60.0, 600.0)

_ALL = (
    _part("charge", "Charged", LOT, BATCH, stage="charged"),
    _stage("steep_on", "Steep on", "immersion", methods=(("still", "still water"), ("blown", "blown air"))),
    _stage("drained", "Drained", "air_rest"),
    _stage("cast", "Cast", "germination"),
    _stage("stew_on", "Stewing", "stewing"),
    _stage("loaded", "Loaded on the kiln", "kilning"),
    _stage("heat_on", "Heat on", "kilning"),
    _stage("heat_off", "Heat off", "cooling"),
    _stage("stripped", "Stripped", "cooling"),
    _stage("finished", "Finished", "finished"),
    _stage("abandoned", "Abandoned", "abandoned"),
    _stage("paused", "Paused", None),
    _stage("resumed", "Resumed", None),
    Kind(
        "programme_change",
        "stage",
        "Programme changed",
        BATCH,
        {"programme": Text(word="Programme", target="programme")},
    ),
    _reading("water_temperature", "Water temperature", "temperature", -5.0, 100.0),
    _reading("grain_temperature", "Grain temperature", *TEMPERATURE),
    _reading("air_temperature", "Air temperature", *TEMPERATURE),
    _reading("air_on_temperature", "Air-on temperature", *TEMPERATURE),
    _reading("air_off_temperature", "Air-off temperature", *TEMPERATURE),
    _reading("set_point", "Set point", *TEMPERATURE),
    _reading("humidity", "Humidity", "humidity", 0.0, 1.0),
    _reading("ph", "pH", "ph", 0.0, 14.0),
    _reading("co2_bed", "CO₂ in the bed", "co2", 0.0, 1_000_000.0),
    _reading("co2_room", "CO₂ in the room", "co2", 0.0, 1_000_000.0, subjects=BATCH | frozenset({"house"})),
    _reading("bed_depth", "Bed depth", "length", 0.0, 20.0),
    _reading("air_flow", "Air flow", "air_flow", 0.0, 1000.0),
    _weighing("test_bag_start", "Test bag start", vessel="Bag", extra={"moisture": _moisture("Moisture at the start")}),
    _weighing("test_bag", "Test bag", vessel="Bag", methods=DRAINED),
    _weighing("tray", "Tray", vessel="Tray"),
    _weighing("charge_weighing", "Whole charge weighed", methods=DRAINED),
    _weighing("skimmings", "Skimmings", methods=BLOTTED_OR_DRIED, extra={"of": _mass("Out of", "of_kg")}),
    _weighing("loss", "Sample or loss", methods=(("as_is", "as the grain is"), ("dried", "dried"))),
    _weighing("culms", "Culms"),
    _weighing("outturn", "Outturn", extra={"moisture": _moisture("Moisture of the malt")}),
    _weighing("intake", "Intake", subjects=LOT, extra={"moisture": _moisture("Moisture at intake")}),
    _weighing("returned", "Returned", subjects=LOT),
    _weighing("stock_adjustment", "Stock adjustment", subjects=LOT, low=-1_000_000.0),
    _tally("float_count", "Float test", {"floated": "Floated"}),
    _tally("chit_count", "Chits", {"chitted": "Chitted"}),
    _tally("growth_count", "Growth count", {**GROWTH_CLASSES, **SET_ASIDE_CLASSES}, lengths=True, needs=False),
    _tally(
        "rub_out",
        "Rub-out",
        {"chalky": "Chalky", "pasty": "Pasty", "lumpy": "Lumpy", "hard_end": "Hard end"},
        needs=False,
    ),
    _tally("squeeze_test", "Squeeze test", {"white_core": "With a dry white core"}),
    _part("split", "Split", BATCH, BATCH),
    _part("merge", "Merged", BATCH, BATCH),
    _part("roast_charge", "Charged for roasting", frozenset({"batch", "pack"}), BATCH, stage="charged"),
    _part("pack", "Packed", BATCH, frozenset({"pack"})),
    _part("dispatch", "Dispatched", frozenset({"pack", "batch"}), frozenset({"house"})),
    _result(
        "moisture_test",
        "Moisture test",
        Quantity(word="Moisture", target="value", dimension="moisture", low=0.0, high=0.999),
        MOISTURE_METHODS,
    ),
    _result("kernel_weight", "Weight of 1000 kernels", _mass("Weight of 1000 kernels", "value", required=True)),
    _tally(
        "germination_test",
        "Germination test",
        DAY_CLASSES,
        looked_at="Kernels laid out",
        subjects=LOT,
        methods=WATERS,
        has_place=True,
    ),
    _tally(
        "capacity_test",
        "Germination capacity",
        {"not_germinated": "Not grown"},
        looked_at="Kernels steeped in peroxide",
        subjects=LOT,
    ),
    _result(
        "sieve_test",
        "Sieves",
        _value("On 2.8 mm", "number", high=1e6),
        SIEVED_BY,
        beside={
            "on_25": _beside("On 2.5 mm", "on_25", "number", high=1e6),
            "on_22": _beside("On 2.2 mm", "on_22", "number", high=1e6),
            "through": _beside("Through 2.2 mm", "through", "number", high=1e6),
        },
        subjects=LOT,
    ),
    _result(
        "malt_colour",
        "Colour",
        _value("Colour", "colour", high=3000.0),
        (("laboratory", "by a laboratory"), ("photometer", "photometer"), ("eye", "by eye, against a scale")),
        subjects=MALT,
    ),
    _result(
        "extract_mash",
        "Extract by a small mash",
        _value("Extract of the wort", "wort", high=40.0),
        beside={
            "malt": _beside("Malt mashed", "malt_kg", "mass", high=1000.0),
            "water": _beside("Water, all of it", "water_kg", "mass", high=10_000.0, unit_of="malt"),
            "moisture": _beside("Moisture of the malt", "moisture_wb", "moisture", high=0.5),
        },
        subjects=MALT,
    ),
    _result(
        "diastatic_power",
        "Diastatic power",
        _value("Diastatic power", "diastatic_power", high=1000.0),
        (("laboratory", "by a laboratory"), ("own", "measured here")),
        subjects=MALT,
    ),
    _result(
        "conversion_test",
        "Conversion test",
        _value("Until no more blue", "conversion_time", low=0.1, high=1440.0),
        beside={
            "reference": _beside("The reference malt took", "reference_min", "conversion_time", low=0.1, high=1440.0)
        },
        subjects=MALT,
    ),
    _result(
        "falling_number",
        "Falling number",
        _value("Falling number", "falling_number", low=62.0, high=2000.0),
        beside={
            "share": _beside("Malt flour in the blend", "malt_share", "fraction", high=1.0, required=False),
            "flour": _beside("The flour alone", "flour_s", "falling_number", low=62.0, high=2000.0, required=False),
        },
        subjects=MALT,
    ),
    _action("turned", "Turned"),
    _action(
        "sprinkled",
        "Sprinkled",
        {
            "amount": Quantity(
                word="Water", target="amount", dimension="volume", low=0.0, high=100_000.0, required=False
            )
        },
    ),
    _action("water_changed", "Water changed"),
    _action(
        "aerated",
        "Aerated",
        {"amount": Quantity(word="For", target="amount", dimension="duration", low=0.0, high=1000.0, required=False)},
    ),
    _action("addition", "Addition", {"what": Text(word="What and how much", target="what")}),
    _action(
        "interruption",
        "Interruption",
        {
            "what": Text(word="What happened", target="what"),
            "until": Moment(word="Until", target="until_at", required=False),
        },
    ),
    _action(
        "cleaned",
        "Cleaned",
        {"what": Text(word="What was done", target="what", required=False)},
        subjects=frozenset({"vessel", "house"}),
    ),
    _action(
        "calibrated",
        "Calibrated",
        {
            "amount": Quantity(
                word="Add to its readings",
                target="amount",
                dimension="temperature",
                low=-100.0,
                high=100.0,
                is_difference=True,
            ),
            "until": Moment(word="Until", target="until_at", required=False),
        },
        subjects=frozenset({"instrument"}),
    ),
    Kind(
        "inspection",
        "remark",
        "Look & smell",
        BATCH | LOT,
        {
            "mould": _choice("Mould", "mould", *YES_NO, required=True),
            "smell": _choice(
                "Smell",
                "smell",
                ("clean", "clean, like cucumber or straw"),
                ("sour", "sour"),
                ("musty", "musty"),
                ("off", "otherwise off"),
                ("not_sure", "not sure"),
            ),
            "steep": _choice("Steep water", "steep", ("clear", "clear"), ("foaming", "foaming"), ("gassy", "gassy")),
            "matting": _choice(
                "Rootlets", "matting", ("none", "loose"), ("strands", "knit in strands"), ("felted", "felted")
            ),
            "ergot": _mass("Ergot found", "ergot_kg"),
            "text": Text(word="In words", target="text", required=False, max_length=2000),
        },
        has_place=True,
    ),
    Kind(
        "declaration",
        "remark",
        "Declared untreated, for food",
        LOT,
        {
            "untreated": _choice("Untreated", "untreated", *YES_NO, required=True),
            "for_food": _choice("For food", "for_food", *YES_NO, required=True),
            "by": Text(word="Declared by", target="findings.by", max_length=100),
            "ground": Text(word="On what ground", target="findings.ground", max_length=500),
        },
    ),
    Kind("note", "remark", "Note", ANY, {"text": Text(word="Note", target="text", max_length=5000)}),
    Kind(
        "flag_answer",
        "answer",
        "Answer to a flag",
        BATCH,
        {
            "rule": Text(word="Rule", target="rule", max_length=60),
            "episode": Text(word="Episode", target="episode_id", max_length=60),
            "answer": Choice(
                word="Answer",
                target="answer",
                options=(
                    ("seen", "seen"),
                    ("acted_on", "acted on"),
                    ("false_alarm", "false alarm"),
                    ("leaving", "leaving it until"),
                ),
            ),
            "severity": Choice(
                word="Severity",
                target="severity",
                options=(("notice", "notice"), ("caution", "caution"), ("act", "act now")),
            ),
            "until": Moment(word="Until", target="until_at", required=False),
        },
    ),
    Kind(
        "withdrawal",
        "withdrawal",
        "Struck out",
        ANY,
        {"reason": Text(word="Reason", target="reason", required=False, max_length=500)},
    ),
)

MALT_TESTS = (
    "moisture_test",
    "malt_colour",
    "extract_mash",
    "diastatic_power",
    "conversion_test",
    "falling_number",
    "kernel_weight",
)
"""What one finds out about malt, as a rule after the batch has ended."""

KINDS: Mapping[str, Kind] = MappingProxyType({kind.name: kind for kind in _ALL})
RANK: Mapping[str, int] = MappingProxyType({name: rank for rank, name in enumerate(KINDS)})
STAGE_KINDS: Mapping[str, str] = MappingProxyType({kind.name: kind.stage for kind in _ALL if kind.stage})
