"""Workings of air: what it holds, where drying ends in it, and what drying with it takes."""

from __future__ import annotations

from app.judgement import cautions
from app.science import drying, humid_air
from app.web.words.figures import unbroken
from app.web.workings.asking import air_flow, altitude, choice, mass, share, temperature
from app.web.workings.asking import moisture as moist
from app.web.workings.working import (
    FROM_DIGITS,
    Given,
    Outcome,
    Values,
    air_volume,
    heat,
    hours,
    masses,
    per_dry_air,
    percent,
    plain,
    specific_volume,
    working,
)

GRAINS = tuple((key, key.replace("_", " ")) for key in ("malt", "barley", "wheat", "rye", "oats", "maize"))
GRAINS += (("soft_wheat", "soft wheat"), ("durum", "durum"))
ONE_POINT = "± 1 point: published constants for one grain lie that far apart."


def _pressure(v: Values) -> float:
    return humid_air.standard_pressure_pa(v["altitude"] or 0.0)


@working(
    key="driest-the-air-makes-it",
    group="kiln",
    title="How dry can this air make it?",
    question="My kiln air has this temperature and humidity. How dry can the grain get in it, however long I wait?",
    asks={
        "grain": choice("Grain", *GRAINS),
        "temperature": temperature("Air", "20", "68", -10.0, 110.0),
        "humidity": share("Relative humidity", "50", 0.005, 0.995),
    },
    methods=("sorption.equilibrium_moisture_wb",),
    limits="The sets for raw grain were measured near 0–50 °C (32–122 °F): above that take malt. Soft wheat and durum "
    "are from memory.",
)
def driest_the_air_makes_it(g: Given) -> Outcome:
    value = drying.equilibrium_moisture_wb(g["grain"], g["temperature"], g["humidity"])
    return Outcome(
        "It will never get drier than",
        percent(g, value, drying.HALF_WIDTH_WB),
        (_SORPTION[g["grain"]], f"at {g.say('temperature')} and {g.say('humidity')}: {percent(g, value, decimals=2)}"),
        (("On the dry basis", percent(g, value / (1.0 - value), decimals=2)),),
        note=ONE_POINT,
    )


_CHUNG_PFOST = "M = −ln(−(T + C) ln RH / A) / B, % dry basis (modified Chung–Pfost)"
_SORPTION = dict.fromkeys(("barley", "wheat", "maize", "rye", "oats"), _CHUNG_PFOST) | {
    "soft_wheat": "M = (−ln(1 − RH) / (A (T + C)))^(1/B), % dry basis (modified Henderson)",
    "durum": "M = (A + B T) (RH / (1 − RH))^(1/C), % dry basis (modified Oswin)",
    "malt": "M = A B C a / ((1 − C a) (1 + (B − 1) C a)), dry basis (GAB)",
}


@working(
    key="air-in-the-jar",
    group="kiln",
    title="How damp is the air between the grains?",
    question="What humidity does the air in a closed jar, or a sack, come to over this grain?",
    asks={
        "grain": choice("Grain", *GRAINS),
        "temperature": temperature("Grain and air", "10", "50", -10.0, 60.0),
        "moisture": moist("Moisture", "8", 0.005, 0.6),
    },
    methods=("sorption.equilibrium_relative_humidity", "sorption.equilibrium_moisture_wb"),
    limits="A day or more in a closed jar, common practice. Wheat malt spoilt at 30 °C (86 °F) from 75.6 % on (Singh & "
    "Bains 1988).",
)
def air_in_the_jar(g: Given) -> Outcome:
    def value(v: Values) -> float:
        return drying.equilibrium_relative_humidity(g["grain"], v["temperature"], v["moisture"])

    return Outcome(
        "Relative humidity",
        percent(g, value(g.values), g.half_width(value)),
        (
            f"solved for RH: {_SORPTION[g['grain']]}",
            f"at {g.say('temperature')} and {g.say('moisture')}: {percent(g, value(g.values), decimals=2)}",
        ),
        note=f"{FROM_DIGITS} The constants themselves are good to 1 point of moisture.",
    )


@working(
    key="what-the-air-holds",
    group="kiln",
    title="How warm is wet grain in this air?",
    question="I know temperature and humidity. How warm is wet grain in this air, and where does dew settle?",
    asks={
        "temperature": temperature("Air", "40", "104", -40.0, 90.0),
        "humidity": share("Relative humidity", "14", 0.005, 1.0),
        "altitude": altitude(),
    },
    methods=(
        "humid_air.wet_bulb_c",
        "humid_air.dew_point_c",
        "humid_air.humidity_ratio",
        "humid_air.enthalpy_kj_per_kg",
        "humid_air.specific_volume_m3_per_kg",
    ),
    limits="Drying grain is near the wet bulb only until the break point; then it warms towards the air.",
)
def what_the_air_holds(g: Given) -> Outcome:
    def value(v: Values) -> float:
        return humid_air.wet_bulb_c(v["temperature"], v["humidity"], _pressure(v))

    ratio = humid_air.humidity_ratio(g["temperature"], g["humidity"], _pressure(g.values))
    return Outcome(
        "Wet bulb",
        heat(g, value(g.values), g.half_width(value)),
        (
            "ASHRAE Fundamentals 2017, chapter 1, equations 5, 6, 20, 22, 33 and 35",
            f"at {g.say('temperature')}, {g.say('humidity')} and {_pressure(g.values):.0f} Pa",
        ),
        (("Dew point", heat(g, humid_air.dew_point_c(g["temperature"], g["humidity"]))), *_air_rows(g, ratio)),
    )


def _air_rows(g: Given, ratio: float) -> tuple[tuple[str, str], ...]:
    warm, pressure = g["temperature"], _pressure(g.values)
    volume = humid_air.specific_volume_m3_per_kg(warm, ratio, pressure)
    return (
        ("Water in the dry air", per_dry_air(g, ratio)),
        ("Heat content", plain(humid_air.enthalpy_kj_per_kg(warm, ratio), "kJ/kg", decimals=1)),
        ("Volume for each weight of dry air", specific_volume(g, volume)),
    )


@working(
    key="two-thermometers",
    group="kiln",
    title="How humid, by two thermometers?",
    question="One thermometer is dry, one has a wet wick. What is the humidity?",
    asks={
        "temperature": temperature("Dry", "40", "104", -20.0, 99.0),
        "wet": temperature("Wet", "20", "68", -20.0, 99.0),
        "altitude": altitude(),
    },
    methods=("humid_air.humidity_ratio_from_wet_bulb", "humid_air.relative_humidity"),
    limits="The wick must be clean and wet with clean water, and air must blow over it, at 3 m/s (10 ft/s) or more, "
    "from memory.",
)
def two_thermometers(g: Given) -> Outcome:
    def value(v: Values) -> float:
        pressure = _pressure(v)
        ratio = humid_air.humidity_ratio_from_wet_bulb(v["temperature"], v["wet"], pressure)
        return humid_air.relative_humidity(v["temperature"], ratio, pressure)

    ratio = humid_air.humidity_ratio_from_wet_bulb(g["temperature"], g["wet"], _pressure(g.values))
    return Outcome(
        "Relative humidity",
        percent(g, value(g.values), g.half_width(value)),
        (
            "ASHRAE Fundamentals 2017, chapter 1, equations 33 and 35",
            f"{g.say('temperature')} dry, {g.say('wet')} wet: {percent(g, value(g.values), decimals=1)}",
        ),
        _air_rows(g, ratio),
    )


@working(
    key="what-drying-takes",
    group="kiln",
    title="How much heat and air does drying take?",
    question="How much air and heat does this charge need, and how long at least with my fan?",
    asks={
        "outside": temperature("Fresh air", "15", "59", -20.0, 45.0),
        "humidity": share("Its humidity", "70", 0.01, 1.0),
        "air_on": temperature("Air-on", "55", "131", -20.0, 99.0),
        "air_off": share("Humidity of the air-off", "95", 0.02, 1.0, hint="95 % while the grain has free water."),
        "altitude": altitude(),
        "mass": mass("Green malt", "38.4"),
        "moisture": moist("Its moisture", "45"),
        "target": moist("Target moisture", "4.5"),
        "flow": air_flow("Air flow, measured hot", "100", "59"),
    },
    methods=("humid_air.drying_duty", "kiln_bed.charge_duty", "kiln_bed.evaporation_kg_per_h"),
    limits="Heat lost through walls and heat in the grain come on top. Beyond the break point the air leaves drier: "
    "air, heat and hours are all more. These are the least they can be.",
    caution=cautions.KILN,
)
def what_drying_takes(g: Given) -> Outcome:
    def duty(v: Values) -> humid_air.DryingDuty:
        return humid_air.drying_duty(v["outside"], v["humidity"], v["air_on"], v["air_off"], _pressure(v))

    def value(v: Values) -> float:
        return drying.charge_duty(v["mass"], v["moisture"], v["target"], duty(v)).heat_mj

    told = duty(g.values)
    charge = drying.charge_duty(g["mass"], g["moisture"], g["target"], told)
    water = f"{g.say('mass')} × ({g.say('moisture')} − {g.say('target')}) / (1 − {g.say('target')})"
    rows = [
        ("Water to go", masses(g, charge.water_kg)),
        ("Air, measured hot", air_volume(g, charge.air_m3)),
        ("In kilowatt-hours", plain(charge.heat_mj / 3.6, "kWh", decimals=1)),
        ("The dry air picks up", per_dry_air(g, told.humidity_gain_g_per_kg / 1000.0)),
        ("For each kilogram of water", unbroken(f"{told.heat_mj_per_kg:.2f} MJ, {told.air_m3_per_kg:.1f} m³")),
        ("Air-off", heat(g, told.air_off_temperature_c)),
    ]
    if g["flow"] is not None:
        rows.insert(0, ("Hours at the least", hours(charge.air_m3 / (3600.0 * g["flow"]))))
    return Outcome(
        "Heat at the least",
        plain(value(g.values), "MJ", g.half_width(value)),
        (
            "water = W (M − Mₜ) / (1 − Mₜ); air and heat for each kilogram at a constant wet bulb",
            f"{water} = {masses(g, charge.water_kg)}; "
            f"× {told.heat_mj_per_kg:.3f} MJ/kg = {charge.heat_mj:.1f} MJ; "
            f"× {told.air_m3_per_kg:.1f} m³/kg = {charge.air_m3:.0f} m³",
        ),
        tuple(rows),
    )
