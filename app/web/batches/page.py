"""What the page of one batch shows."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from flask import request

from app.charts.timeline import timeline_figure
from app.judgement.cautions import for_species
from app.judgement.facts.shapes import Part, Weighing
from app.judgement.flags import rule_word
from app.judgement.flags.answers import leftover_answers
from app.judgement.forecasts.moisture import determinations_by_place
from app.judgement.history.history import History, LotInfo
from app.judgement.malt.holds import against
from app.judgement.measures.account import account
from app.judgement.measures.batch import measures
from app.judgement.measures.measure import Measure
from app.judgement.measures.tests import TEST_KEYS
from app.judgement.wording import Words, in_zone
from app.web.batches.record import record_groups
from app.web.request.moment import zone
from app.web.summary.flags import ANSWER_WORDS, past_flags
from app.web.summary.forecasts import outlooks
from app.web.summary.glance import Glance, glance_at
from app.web.summary.kiln import kiln_view
from app.web.words.account import account_rows
from app.web.words.figures import hour_text, unbroken
from app.web.words.malt import malt_context
from app.web.words.measures import SIDES, measure_said
from app.web.words.one_more_day import day_view
from app.web.words.photos import PhotoView, photo_marks
from app.web.words.sleep import sleep_view

CAME_OF_IT = (
    "outturn_kg",
    "yield_as_is",
    "malting_loss",
    "final_moisture",
    "cast_moisture",
    "cast_chits",
    "acrospire",
    "acrospire_spread",
    "overgrown_share",
    "reject_share",
    "steep_h",
    "immersion_h",
    "germination_h",
    "kiln_h",
    "water_temperature",
    "germination_temperature",
    "germination_temperature_max",
    "kiln_grain_max",
    "hours_above_ceiling",
    "degree_hours_above_ceiling",
    "turns",
    "culms_share",
    *TEST_KEYS,
)
ALWAYS = ("outturn_kg", "malting_loss", "cast_moisture", "acrospire", "final_moisture")
"""Shown even where they are not known, with why, once the batch has ended."""


@dataclass(frozen=True)
class LotView:
    """A lot of the batch with what was charged of it, and who declared it."""

    id: str
    name: str
    about: str
    charged: str
    declared: str
    is_declared: bool


def batch_context(history: History, words: Words, photos: dict[str, list[PhotoView]]) -> dict[str, Any]:
    """Everything that the page's template asks for, but the names of other batches and packs."""
    assert words.now is not None
    is_whole = request.args.get("record") == "whole"
    glance = glance_at(history, words, height=28, has_axis=True)
    flags = [view.judged.flag for view in glance.views]
    given = {view.judged.flag.key for view in glance.views if view.judged.holds}
    figure = timeline_figure(
        history, words.now, flags, units=words.system, zone=zone(), answered=given, photos=photo_marks(photos)
    )
    return {
        "glance": glance,
        "of_grain": for_species(history.species),
        "figure": figure,
        "photos": photos,
        "chart_table": (("Hour", "Moisture", "How"), chart_rows(history, words)),
        "stages_shown": list(dict.fromkeys(stage.name for stage in glance.stages)),
        "came_of_it": came_of_it(history, glance, words),
        "past_flags": past_flags(glance.views),
        "leftover": [
            f"{rule_word(answer.rule)}: {ANSWER_WORDS.get(answer.answer, answer.answer)}, {words.clock(answer.at)}"
            for answer in leftover_answers(history, flags, words.now)
        ],
        "kiln": kiln_view(history, words),
        "outlooks": [outlook.row for outlook in outlooks(history, words)],
        "sleep": sleep_view(history, words) if glance.is_live else None,
        "day": day_view(history, words),
        "account": account_rows(account(history, words.now), words),
        "groups": record_groups(history, words, is_whole=is_whole),
        "is_whole": is_whole,
        "lots": [lot_view(lot, history, words) for lot in history.lots.values()],
        "held": [lot.name for lot in history.undeclared_lots],
        "against": against(history, words.now),
        "charged_line": charged_line(history, words),
        "programme": history.programme,
        "hour_zero": hour_zero(history, words),
        **malt_context(history, words),
    }


def came_of_it(history: History, glance: Glance, words: Words) -> list[tuple[str, str, str, str, str, str]]:
    """The measures that are known, and those that one looks for even when they are not; each with its key."""
    assert words.now is not None
    flags = [view.judged.flag for view in glance.views]
    by_key = {measure.key: measure for measure in measures(history, words.now, flags)}
    shown = [by_key[key] for key in CAME_OF_IT if by_key[key].is_known or (key in ALWAYS and not glance.is_live)]
    return [_row(each, words) for each in shown if each.value or each.key not in SIDES]


def _row(measure: Measure, words: Words) -> tuple[str, str, str, str, str, str]:
    """How a figure came about stands on the page that it leads to; where there is none, why it is not known."""
    name, value, note, *judged = measure_said(measure, words).row
    if measure.is_known:
        note = "so far" if measure.is_running else "estimated" if measure.is_estimate else ""
    status, word, key = judged
    return (name, value, note, status, word, key)


def chart_rows(history: History, words: Words) -> list[tuple[str, str, str]]:
    """The moistures of the chart as a table: the temperatures stand in the record below it."""
    return [
        (
            f"hour {hour_text(history.hour(determination.at))}",
            unbroken(words.percent(determination.moisture_wb, determination.half_width)),
            determination.basis.replace("_", " ")
            + (f", {determination.place}" if determination.place else "")
            + determination.together,
        )
        for determination in determinations_by_place(history)
    ]


def lot_view(lot: LotInfo, history: History, words: Words) -> LotView:
    parts = [part for part in history.of_shape(Part, "charge") if part.source.id == lot.id]
    charged = ", ".join(f"{words.mass(part.as_is_kg)} at {words.percent(part.moisture_wb)}" for part in parts)
    about = " · ".join(each for each in (lot.species, lot.variety) if each)
    declaration = lot.declaration
    if declaration is None:
        return LotView(lot.id, lot.name, about, charged, "", False)
    said = f"{declaration.findings.get('by', '')}, {words.date(declaration.at)}"
    return LotView(lot.id, lot.name, about, charged, said, True)


def charged_line(history: History, words: Words) -> str:
    """What went in and when, and when it was done: "24.00 kg charged 2 Nov 2025 · finished 9 Nov 2025"."""
    said = []
    arrivals = history.charges or history.of_shape(Part, "charge")
    if arrivals:
        total = sum(part.as_is_kg for part in arrivals)
        said.append(f"{unbroken(words.mass(total))} charged {words.date(arrivals[0].at)}")
    outturns = history.of_shape(Weighing, "outturn")
    if outturns:
        said.append(f"{unbroken(words.mass(sum(outturn.net_kg for outturn in outturns)))} of malt")
    for fact in history.of_kind("finished", "abandoned")[-1:]:
        said.append(f"{fact.kind} {words.date(fact.at)}")
    return " · ".join([*said, *([history.batch.vessel] if history.batch.vessel else [])])


def hour_zero(history: History, words: Words) -> str:
    """When the malthouse clock of the batch began, in full: a printed record knows no "yesterday"."""
    if history.starts_at is None:
        return ""
    local = in_zone(history.starts_at, words.zone)
    what = "first water" if history.first_water_at is not None else "the beginning"
    return f"{what}, {words.date(history.starts_at)} {local:%H:%M}"
