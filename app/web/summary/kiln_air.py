"""What the kiln's air will do, in the reader's words: how dry it gets the grain, at what cost, and the break point."""

from __future__ import annotations

from app.judgement.forecasts.air import KilnAir
from app.judgement.forecasts.forecast import BreakPoint, When
from app.judgement.watch.kiln_card import KilnCard
from app.judgement.wording import Words
from app.science import units

Row = tuple[str, str, str, str, str, str]
"""As the macro for stats takes it: name, value, note, status, its word, and the key by which it is explained."""

MJ_PER_KWH = 3.6
BY_HAND = (
    "By hand: from there the grain at the top is dry to the touch and warms, and a tray loses less than half in an "
    "hour of what it lost before (common practice)."
)


def both(words: Words, value_c: float) -> str:
    """A temperature in both units, the reader's own first: on a kiln a slip between them does harm."""
    return f"{words.temperature(value_c)} ({words.other_temperature(value_c)})"


def when_words(when: When, words: Words) -> tuple[str, str]:
    """About when, and between when and when."""
    assert words.now is not None
    if when.central is None:
        return "won’t get there", when.reason
    if when.is_past(words.now):
        return "reached", f"about {words.around(when.central)}"
    earliest = words.around(when.low) if when.low is not None and when.low > words.now else "now"
    latest = words.around(when.high) if when.high is not None else "much later"
    return f"about {words.around(when.central)}", f"between {earliest} and {latest}"


def least_row(card: KilnCard, words: Words) -> Row:
    """The equilibrium moisture, with what of the air was measured and what is taken."""
    assert card.forecast is not None
    assert card.air is not None
    least, air = card.forecast.equilibrium, card.air
    note = f"in air of {both(words, least.air_c)}, {_how_warm(air)}; "
    note += f"humidity {words.percent(least.relative_humidity, decimals=0)}, "
    value = words.percent(least.moisture_wb, least.half_width)
    return (
        "It never gets drier than",
        value,
        note + _damp_words(air, least.air_c, words),
        "",
        "",
        "kiln.least",
    )


def _how_warm(air: KilnAir) -> str:
    if air.is_measured:
        return "the last that is planned" if air.is_planned else "as logged"
    return f"{'as planned' if air.is_planned else 'taken (from memory)'}: nobody logged it"


def air_ahead(card: KilnCard) -> str:
    """What is taken of the air from now on."""
    if card.air is None or not card.air.is_measured:
        return "in the air as planned"
    return "in the air as planned, from where it stands" if card.air.is_planned else "in the air as it is"


def _damp_words(air: KilnAir, air_c: float, words: Words) -> str:
    if air.is_humidity_measured:
        return "as measured in the kiln" if air.water_from[0] == air_c else "reckoned from that measured in the kiln"
    warmth, damp = both(words, air.room[0]), words.percent(air.room[1], decimals=0)
    read = [name for name, is_read in (("warmth", air.is_room_warmth_read), ("humidity", air.is_room_humidity_read))
            if is_read]  # fmt: skip
    if len(read) == 2:
        return f"from the room’s air, {warmth} and {damp}, as measured"
    if read:
        return f"from the room’s air, {warmth} and {damp}: its {read[0]} measured, the other taken (from memory)"
    return f"from a room’s air of {warmth} and {damp}, taken (from memory)"


def work_row(card: KilnCard, words: Words) -> Row | None:
    """Water still to go, and the heat and air for it at the least."""
    assert card.forecast is not None
    work = card.forecast.work
    if work is None:
        return None
    name, key = "Water still to go", "kiln.work"
    if work.water_kg <= 0.0:
        return (name, "none", "taken together, the charge is dry enough", "", "", key)
    heat = f"{work.heat_mj:.1f} MJ ({work.heat_mj / MJ_PER_KWH:.1f} kWh)"
    air = f"{_tidy(work.air_m3)} m³"
    if words.system == "us":
        air = f"{_tidy(work.air_m3 / (60.0 * units.UNITS['cfm'].scale))} ft³ ({air})"
    note = f"takes at the least {heat} and {air} of air; after the break point more"
    return (name, words.mass(work.water_kg), note, "", "", key)


def _tidy(amount: float) -> str:
    """To three figures: a least amount is no finer."""
    return f"{float(f'{amount:.3g}'):,.0f}".replace(",", "\u00a0")


def break_row(card: KilnCard, words: Words) -> Row:
    """The break point: reached and how that is known, or when it is due and how to see it."""
    assert card.forecast is not None
    assert words.now is not None
    name, key = "Break point", "kiln.break"
    if card.forecast.broke is not None:
        broke = card.forecast.broke
        return (name, f"reached {words.clock(broke.at)}", f"{_broke_words(broke, words)}.", "", "", key)
    due = card.forecast.break_due
    how = _watch_words(card)
    if due.central is None or not card.is_fired:
        return (name, "won’t get there", f"{due.reason if card.is_fired else 'No heat yet.'} {how}", "", "", key)
    if due.is_past(words.now):
        said = f"expected about {words.around(due.central)}, and nothing shows it yet. {how}"
        return (name, "due", said, "", "", key)
    value, between = when_words(due, words)
    return (name, value, f"{between}, near {words.percent(due.target, decimals=0)}. {how}", "", "", key)


def _broke_words(broke: BreakPoint, words: Words) -> str:
    at = f"at {words.percent(broke.moisture_wb, decimals=0)}"
    if broke.basis == "air_off":
        return f"{at}: the air above the bed came within half of its steady distance to air-on"
    return f"{at}: {broke.tray or 'the tray'} lost less than half of its steady rate"


def _watch_words(card: KilnCard) -> str:
    if card.has_probe:
        return f"The probe above the bed shows it: air-off nears air-on. {BY_HAND}"
    return f"No probe above the bed (air-off) tells it: weigh a tray every hour. {BY_HAND}"
