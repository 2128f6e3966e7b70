"""The kinds of fact, in one registry: for each its shape, words, what it may be about, its fields, and where it shows.

What a value is usually like is from memory [M] or from what the trade's scales and kilns are made for [C].
"""

from __future__ import annotations

from collections.abc import Mapping

from app.judgement.facts import kind_parts as make
from app.judgement.facts.fields import Choice, Moment, Quantity, Text
from app.judgement.facts.kind_parts import (
    ANY,
    BATCH,
    BLOTTED_OR_DRIED,
    DAY_CLASSES,
    DRAINED,
    GROWTH_CLASSES,
    LOT,
    MALT,
    MOISTURE_METHODS,
    MOISTURE_POINT,
    SET_ASIDE_CLASSES,
    SIEVED_BY,
    UNMARKED,
    WATERS,
    YES_NO,
    Kind,
    Plausible,
    Span,
)

_BY_WEIGHT = "moisture.moisture_wb_with_sd"
_SHARE = "proportions.wilson_interval"

_ALL = (
    make.part("charge", "Charged", LOT, BATCH, stage="charged", moisture_as="charged"),
    make.stage("steep_on", "Steep on", "immersion", methods=(("still", "still water"), ("blown", "blown air"))),
    make.stage("drained", "Drained", "air_rest"),
    make.stage("cast", "Cast", "germination"),
    make.stage("stew_on", "Stewing", "stewing"),
    make.stage("loaded", "Loaded on the kiln", "kilning"),
    make.stage("heat_on", "Heat on", "kilning"),
    make.stage("heat_off", "Heat off", "cooling"),
    make.stage("stripped", "Stripped", "cooling"),
    make.stage("finished", "Finished", "finished"),
    make.stage("abandoned", "Abandoned", "abandoned"),
    make.stage("paused", "Paused", None, tub_group="done", tub_order=1),
    make.stage("resumed", "Resumed", None, tub_group="done", tub_order=1),
    Kind(
        "programme_change",
        "stage",
        "Programme changed",
        BATCH,
        {"programme": Text(word="Programme", target="programme")},
        mark=UNMARKED,
        teller="stage",
    ),
    make.temperature(
        "water_temperature",
        "Water temperature",
        -5.0,
        100.0,
        plausible=Plausible(Span(4.0, 28.0), Span(0.0, 32.0), Span(-20.0, 72.0)),
    ),
    make.temperature("grain_temperature", "Grain temperature", plausible="grain", tub_order=-1),
    make.temperature("air_temperature", "Air temperature", plausible="room_air"),
    make.temperature("air_on_temperature", "Air-on temperature", plausible="air_on"),
    make.temperature("air_off_temperature", "Air-off temperature", plausible="air_off"),
    make.temperature("set_point", "Set point", has_instrument=False, plausible="air_on"),
    make.reading(
        "humidity",
        "Humidity",
        "humidity",
        0.0,
        1.0,
        formula="humid_air.humidity_ratio",
        plausible=Plausible(Span(0.15, 1.0), Span(0.05, 1.0), Span(0.0, 1.0)),
    ),
    make.reading("ph", "pH", "ph", 0.0, 14.0, plausible=Plausible(Span(3.5, 9.0), Span(3.0, 10.0), Span(2.0, 12.0))),
    make.reading(
        "co2_bed",
        "CO₂ in the bed",
        "co2",
        0.0,
        1_000_000.0,
        plausible=Plausible(Span(400.0, 250_000.0), Span(300.0, 400_000.0), Span(200.0, 800_000.0)),
    ),
    make.reading(
        "co2_room",
        "CO₂ in the room",
        "co2",
        0.0,
        1_000_000.0,
        subjects=BATCH | frozenset({"house"}),
        plausible=Plausible(Span(350.0, 30_000.0), Span(300.0, 60_000.0), Span(200.0, 200_000.0)),
    ),
    make.reading(
        "bed_depth",
        "Bed depth",
        "length",
        0.0,
        20.0,
        plausible=Plausible(Span(0.01, 1.2), Span(0.005, 2.0), Span(0.001, 4.0)),
    ),
    make.reading("air_flow", "Air flow", "air_flow", 0.0, 1000.0, formula="kiln_bed.evaporation_kg_per_h"),
    make.weighing(
        "test_bag_start",
        "Test bag start",
        vessel="Bag",
        extra={"moisture": make.moisture("Moisture at the start")},
        formula=_BY_WEIGHT,
        moisture_as="charged",
        tub_order=-1,
    ),
    make.weighing(
        "test_bag",
        "Test bag",
        vessel="Bag",
        methods=DRAINED,
        formula=_BY_WEIGHT,
        tub_order=-1,
        mark=MOISTURE_POINT,
        teller="moisture",
    ),
    make.weighing(
        "tray", "Tray", vessel="Tray", formula="moisture.tray_moisture_wb", mark=MOISTURE_POINT, teller="moisture"
    ),
    make.weighing(
        "charge_weighing",
        "Whole charge weighed",
        methods=DRAINED,
        formula=_BY_WEIGHT,
        tub_order=-1,
        mark=MOISTURE_POINT,
        teller="moisture",
    ),
    make.weighing(
        "skimmings",
        "Skimmings",
        methods=BLOTTED_OR_DRIED,
        extra={"of": make.mass("Out of", "of_kg")},
        formula="mass_balance.skimmings_share",
        teller="skimmings",
    ),
    make.weighing("loss", "Sample or loss", methods=(("as_is", "as the grain is"), ("dried", "dried"))),
    make.weighing("culms", "Culms", formula="mass_balance.dry_matter_with_sd"),
    make.weighing(
        "outturn",
        "Outturn",
        extra={"moisture": make.moisture("Moisture of the malt")},
        formula="yield",
        moisture_as="finished",
        teller="outturn",
    ),
    make.weighing(
        "intake", "Intake", subjects=LOT, extra={"moisture": make.moisture("Moisture at intake")}, moisture_as="charged"
    ),
    make.weighing("returned", "Returned", subjects=LOT),
    make.weighing("stock_adjustment", "Stock adjustment", subjects=LOT, low=-1_000_000.0),
    make.tally("float_count", "Float test", {"floated": "Floated"}, formula=_SHARE, teller="share"),
    make.tally("chit_count", "Chits", {"chitted": "Chitted"}, formula=_SHARE, teller="share"),
    make.tally(
        "growth_count",
        "Growth count",
        {**GROWTH_CLASSES, **SET_ASIDE_CLASSES},
        lengths=True,
        needs=False,
        formula="growth.mean_acrospire_with_sd",
        teller="growth",
    ),
    make.tally(
        "rub_out",
        "Rub-out",
        {"chalky": "Chalky", "pasty": "Pasty", "lumpy": "Lumpy", "hard_end": "Hard end"},
        needs=False,
        formula=_SHARE,
        teller="rub_out",
    ),
    make.tally("squeeze_test", "Squeeze test", {"white_core": "With a dry white core"}, formula=_SHARE, teller="share"),
    make.part("split", "Split", BATCH, BATCH),
    make.part("merge", "Merged", BATCH, BATCH),
    make.part(
        "roast_charge",
        "Charged for roasting",
        frozenset({"batch", "pack"}),
        BATCH,
        stage="charged",
        moisture_as="finished",
    ),
    make.part("pack", "Packed", BATCH, frozenset({"pack"}), moisture_as="finished"),
    make.part("dispatch", "Dispatched", frozenset({"pack", "batch"}), frozenset({"house"})),
    make.result(
        "moisture_test",
        "Moisture test",
        Quantity(word="Moisture", target="value", dimension="moisture", low=0.0, high=0.999),
        MOISTURE_METHODS,
        has_usual_method=False,
        formula="moisture_methods.oven_moisture_wb",
        plausible="moisture",
        tub_group="weights",
        mark=MOISTURE_POINT,
        teller="moisture",
    ),
    make.result(
        "kernel_weight",
        "Weight of 1000 kernels",
        make.mass("Weight of 1000 kernels", "value", required=True),
        plausible=Plausible(Span(0.02, 0.07), Span(0.01, 0.1), Span(0.005, 0.2)),
        tub_group="weights",
    ),
    make.tally(
        "germination_test",
        "Germination test",
        DAY_CLASSES,
        looked_at="Kernels laid out",
        subjects=LOT,
        methods=WATERS,
        has_place=True,
        formula="germination.germinative_energy",
    ),
    make.tally(
        "capacity_test",
        "Germination capacity",
        {"not_germinated": "Not grown"},
        looked_at="Kernels steeped in peroxide",
        subjects=LOT,
        formula="germination.germination_capacity",
    ),
    make.result(
        "sieve_test",
        "Sieves",
        make.value("On 2.8 mm", "number", high=1e6),
        SIEVED_BY,
        beside={
            "on_25": make.beside("On 2.5 mm", "on_25", "number", high=1e6),
            "on_22": make.beside("On 2.2 mm", "on_22", "number", high=1e6),
            "through": make.beside("Through 2.2 mm", "through", "number", high=1e6),
        },
        subjects=LOT,
    ),
    make.result(
        "malt_colour",
        "Colour",
        make.value("Colour", "colour", high=3000.0),
        (("laboratory", "by a laboratory"), ("photometer", "photometer"), ("eye", "by eye, against a scale")),
        subjects=MALT,
        formula="malt_analysis.ebc_from_lovibond",
        teller="colour",
    ),
    make.result(
        "extract_mash",
        "Extract by a small mash",
        make.value("Extract of the wort", "wort", high=40.0),
        beside={
            "malt": make.beside("Malt mashed", "malt_kg", "mass", high=1000.0),
            "water": make.beside("Water, all of it", "water_kg", "mass", high=10_000.0, unit_of="malt"),
            "moisture": make.beside("Moisture of the malt", "moisture_wb", "moisture", high=0.5),
        },
        subjects=MALT,
        formula="malt_analysis.extract_dry_percent",
        teller="extract",
    ),
    make.result(
        "diastatic_power",
        "Diastatic power",
        make.value("Diastatic power", "diastatic_power", high=1000.0),
        (("laboratory", "by a laboratory"), ("own", "measured here")),
        subjects=MALT,
        formula="malt_analysis.windisch_kolbach_from_lintner",
        teller="diastatic_power",
    ),
    make.result(
        "conversion_test",
        "Conversion test",
        make.value("Until no more blue", "conversion_time", low=0.1, high=1440.0),
        beside={
            "reference": make.beside(
                "The reference malt took", "reference_min", "conversion_time", low=0.1, high=1440.0
            )
        },
        subjects=MALT,
        formula="malt_analysis.conversion_against_reference",
        teller="conversion",
    ),
    make.result(
        "falling_number",
        "Falling number",
        make.value("Falling number", "falling_number", low=62.0, high=2000.0),
        beside={
            "share": make.beside("Malt flour in the blend", "malt_share", "fraction", high=1.0, required=False),
            "flour": make.beside("The flour alone", "flour_s", "falling_number", low=62.0, high=2000.0, required=False),
        },
        subjects=MALT,
        formula="flour.liquefaction_number",
        teller="falling_number",
    ),
    make.action("turned", "Turned"),
    make.action(
        "sprinkled",
        "Sprinkled",
        {
            "amount": Quantity(
                word="Water", target="amount", dimension="volume", low=0.0, high=100_000.0, required=False
            )
        },
        formula="moisture.water_to_reach_kg",
        teller="sprinkled",
    ),
    make.action("water_changed", "Water changed"),
    make.action(
        "aerated",
        "Aerated",
        {"amount": Quantity(word="For", target="amount", dimension="duration", low=0.0, high=1000.0, required=False)},
    ),
    make.action("addition", "Addition", {"what": Text(word="What and how much", target="what")}),
    make.action(
        "interruption",
        "Interruption",
        {
            "what": Text(word="What happened", target="what"),
            "until": Moment(word="Until", target="until_at", required=False),
        },
    ),
    make.action(
        "cleaned",
        "Cleaned",
        {"what": Text(word="What was done", target="what", required=False)},
        subjects=frozenset({"vessel", "house"}),
    ),
    make.action(
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
            "mould": make.choice("Mould", "mould", *YES_NO, required=True),
            "smell": make.choice(
                "Smell",
                "smell",
                ("clean", "clean, like cucumber or straw"),
                ("sour", "sour"),
                ("musty", "musty"),
                ("off", "otherwise off"),
                ("not_sure", "not sure"),
            ),
            "steep": make.choice(
                "Steep water", "steep", ("clear", "clear"), ("foaming", "foaming"), ("gassy", "gassy")
            ),
            "matting": make.choice(
                "Rootlets", "matting", ("none", "loose"), ("strands", "knit in strands"), ("felted", "felted")
            ),
            "ergot": make.mass("Ergot found", "ergot_kg"),
            "text": Text(word="In words", target="text", required=False, max_length=2000),
        },
        has_place=True,
        tub_group="done",
        tub_order=1,
        teller="inspection",
    ),
    Kind(
        "declaration",
        "remark",
        "Declared untreated, for food",
        LOT,
        {
            "untreated": make.choice("Untreated", "untreated", *YES_NO, required=True),
            "for_food": make.choice("For food", "for_food", *YES_NO, required=True),
            "by": Text(
                word="Declared by",
                target="findings.by",
                max_length=100,
                missing="Say who declares it: a person's name.",
            ),
            "ground": Text(
                word="On what ground",
                target="findings.ground",
                max_length=500,
                missing="Say on what ground it is declared, such as the grower's letter.",
            ),
        },
    ),
    Kind(
        "note",
        "remark",
        "Note",
        ANY,
        {"text": Text(word="Note", target="text", max_length=5000)},
        tub_group="done",
        tub_order=1,
    ),
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
        mark=UNMARKED,
    ),
    Kind(
        "withdrawal",
        "withdrawal",
        "Struck out",
        ANY,
        {"reason": Text(word="Reason", target="reason", required=False, max_length=500)},
        mark=UNMARKED,
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

ARRIVALS = frozenset({"charge", "split", "merge", "roast_charge"})
"""By these grain comes into a batch, which begins with it."""

KINDS: Mapping[str, Kind] = {kind.name: kind for kind in _ALL}
RANK: Mapping[str, int] = {name: rank for rank, name in enumerate(KINDS)}
STAGE_KINDS: Mapping[str, str] = {kind.name: kind.stage for kind in _ALL if kind.stage}
