"""The kiln card in the reader's words: shared by the tub and the batch's page."""

from __future__ import annotations

from dataclasses import dataclass

from app.judgement.cautions import KILN, Caution
from app.judgement.forecasts.forecast import KilnForecast, StopAt
from app.judgement.forecasts.moisture import edge_wb
from app.judgement.history.history import History, hours_between
from app.judgement.malt.dry_enough import Dryness
from app.judgement.programmes.programme import Limit, provenance
from app.judgement.watch.exposure import KilnExposure, Span
from app.judgement.watch.kiln_card import CeilingNow, Hottest, KilnCard, kiln_card
from app.judgement.watch.watch import Gap
from app.judgement.wording import Words
from app.web.summary.kiln_air import Row, air_ahead, both, break_row, least_row, when_words, work_row
from app.web.words.figures import unbroken_figures

CEILING, DRY = "kiln.ceiling", "kiln.dry"
NEVER_KNOWN = "Not known"


@dataclass(frozen=True)
class KilnView:
    """first: the few things that one acts on; more: all else. gaps: what can't be said, and what to record."""

    first: list[Row]
    more: list[Row]
    gaps: list[Gap]
    caution: Caution


def kiln_view(history: History, words: Words) -> KilnView | None:
    """None outside of the kiln."""
    assert words.now is not None
    card = kiln_card(history, words.now)
    if card is None:
        return None
    first, more = [_heat_row(card, words)], _heat_more(card, words)
    if card.forecast is not None:
        first += [_dry_row(card, words)]
        first += [_stop_row(card.first_stop, words)] if card.first_stop else []
        more += [_stop_row(stop, words) for stop in card.other_stops]
        more += [least_row(card, words), work_row(card, words), break_row(card, words)]
    return KilnView(
        [_unbroken(row) for row in first],
        [_unbroken(row) for row in more if row is not None],
        list(card.gaps),
        KILN,
    )


def _heat_row(card: KilnCard, words: Words) -> Row:
    hot = _hot_words(card.hottest, words)
    if card.floor is not None and card.floor.low_caution is not None:
        return _floor_row(card.floor, card.floor.low_caution, card.hottest, words)
    if card.ceiling is None:
        said = (NEVER_KNOWN, "") if card.has_ceiling else ("No ceiling", "This programme sets none.")
        return ("Grain now at most", said[0], f"{said[1]} {hot}".strip(), "", "", CEILING)
    status = ("act", "too hot") if card.hottest and card.hottest.is_over else ("", "")
    note = f"{_ceiling_words(card.ceiling, words)}. {hot}".strip()
    return ("Grain now at most", both(words, card.ceiling.step.grain_c), note, *status, CEILING)


def _floor_row(floor: Limit, bound_c: float, hottest: Hottest | None, words: Words) -> Row:
    note = f"stewed cooler than that it sours ({provenance(floor.mark, floor.source)}). {_hot_words(hottest, words)}"
    return ("Grain now at least", both(words, bound_c), note.strip(), "", "", CEILING)


def _ceiling_words(ceiling: CeilingNow, words: Words) -> str:
    if ceiling.told is None:
        return "as for wet grain: its moisture is not known"
    if ceiling.told.is_known:
        told = ceiling.told
        where = ", the wettest tray" if told.wettest_wb else ""
        return f"at {words.percent(told.where_wettest_wb, told.half_width)} moisture{where}"
    return f"at {words.percent(edge_wb(ceiling.told), decimals=1)}, as wet as it may well be"


def _hot_words(hottest: Hottest | None, words: Words) -> str:
    if hottest is None:
        return ""
    assert words.now is not None
    where = f" ({hottest.place})" if hottest.place else ""
    ago = words.span(hours_between(hottest.at, words.now))
    return f"Hottest{where}: {both(words, hottest.value_c)}, {ago} ago."


def _dry_row(card: KilnCard, words: Words) -> Row:
    assert card.forecast is not None
    assert words.now is not None
    name = f"Dry enough, {words.percent(card.forecast.target_wb, decimals=1)}"
    if not card.is_fired:
        return (name, "no heat yet", "Once the heat is on, this says when.", "", "", DRY)
    if card.dry is not None and card.dry.state != "open":
        return (name, *_told_words(card.dry, words), "", "", DRY)
    if card.forecast.dry.is_past(words.now):
        return (name, "not known", _untold_words(card.forecast, words), "", "", DRY)
    value, note = when_words(card.forecast.dry, words)
    if card.forecast.dry.central is None and note:
        return (name, value, note, "", "", DRY)
    where = f"{card.wettest.tray}, the wettest, " if card.wettest else ""
    air = air_ahead(card)
    return (name, value, f"{where}{air}; {note}" if note else f"{where}{air}", "", "", DRY)


def _told_words(dry: Dryness, words: Words) -> tuple[str, str]:
    """What was determined: that it is dry, or that it may be."""
    assert dry.sample is not None
    figure = words.percent(dry.sample.moisture_wb, dry.sample.half_width)
    told = f"{figure} in {dry.sample.place or 'the last sample'}, {words.clock(dry.sample.at)}"
    if dry.state == "dry":
        return "reached", told
    return "perhaps", f"{told}: crush a kernel, or test its moisture; only brittle malt is dry"


def _untold_words(forecast: KilnForecast, words: Words) -> str:
    assert forecast.dry.central is not None
    foreseen = words.around(forecast.dry.central)
    return f"foreseen for about {foreseen}, and nothing weighed says so: weigh a tray, or test it"


def _stop_row(stop: StopAt, words: Words) -> Row:
    left = f"{words.mass(stop.still_to_go_kg)} still to go" if stop.still_to_go_kg > 0.0 else "it is down to that"
    gross = words.mass(stop.gross_kg, stop.half_width_kg)
    return (
        f"Stop at gross, {stop.tray or 'the tray'}",
        gross,
        f"on this scale, with this tray; {left}",
        "",
        "",
        f"stop.{stop.tray}",
    )


def _heat_more(card: KilnCard, words: Words) -> list[Row | None]:
    if not card.has_ceiling:
        return []
    return [_step_row(card.ceiling, words), _above_row(card.exposure, words), _wettest_row(card, words)]


def _step_row(ceiling: CeilingNow | None, words: Words) -> Row | None:
    if ceiling is None:
        return None
    which = f"step {ceiling.place} of {ceiling.steps}; {provenance(ceiling.step.mark, ceiling.step.source)}"
    if ceiling.following is None:
        return ("Next ceiling", "none hotter", which, "", "", "kiln.ceiling.next")
    edge = words.percent(ceiling.step.moisture_above_wb, decimals=1)
    told = ceiling.told
    now = f"now {words.percent(told.where_wettest_wb, told.half_width) if told else 'not known'}"
    likely = " Likely there already: weigh a tray to be sure." if ceiling.is_next_likely else ""
    note = f"once it is at {edge} or less; {now}.{likely} Now {which}"
    return ("Next ceiling", both(words, ceiling.following.grain_c), note, "", "", "kiln.ceiling.next")


def _above_row(exposure: KilnExposure | None, words: Words) -> Row | None:
    name, key = "Above the ceiling so far", "kiln.above"
    if exposure is None:
        return None
    place = f"at {exposure.place}; " if exposure.place else ""
    seen = f"{place}measured for {words.span(exposure.measured_hours)}"
    if not exposure.spans:
        return (name, "not at all", seen, "", "", key)
    degrees = words.difference(exposure.degree_hours)
    value = f"{words.span(exposure.hours)} ({degrees}·h)"
    return (name, value, f"{seen}. Last {_span_words(exposure.spans[-1], words)}", "", "", key)


def _span_words(span: Span, words: Words) -> str:
    ends = "still going on" if span.is_going_on else f"until {words.clock(span.ends_at)}"
    worst = f"at worst {both(words, span.worst_c)} of {both(words, span.worst_ceiling_c)} allowed"
    return f"from {words.clock(span.starts_at)}, {ends}, {words.span(span.hours)}: {worst}"


def _wettest_row(card: KilnCard, words: Words) -> Row | None:
    if card.wettest is None:
        return None
    value = f"{card.wettest.tray}, {words.percent(card.wettest.moisture_wb, card.wettest.half_width)}"
    return ("Wettest place", value, "dry enough is when this one is", "", "", "kiln.wettest")


def _unbroken(row: Row) -> Row:
    name, value, note, status, word, key = row
    return (unbroken_figures(name), value.replace(" ", "\u00a0") if len(value) < 24 else unbroken_figures(value),
            unbroken_figures(note), status, word, key)  # fmt: skip
