"""What the pages about programmes show: plan, limits, ceiling, settings, and what a revision changed."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from markupsafe import Markup

from app.charts.ceiling import ceiling_svg, range_words
from app.charts.ribbon import Segment, ribbon_svg
from app.judgement.cautions import DEFERS, for_species
from app.judgement.programmes.limits import HIGH_ONLY
from app.judgement.programmes.parts import MARKS, SETTING_UNITS
from app.judgement.programmes.programme import LIMIT_UNITS, Change, Limit, Programme, Step, differences, provenance
from app.judgement.programmes.sources import DERIVED, cited, published, tally
from app.judgement.wording import Words
from app.store.programmes import ProgrammeRevision, programme_of
from app.web.words.programme_changes import ChangeRow
from app.web.words.programmes import (
    BAND_WORDS,
    GRAIN_ORDER,
    LIMIT_WORDS,
    PURPOSES,
    SCALES,
    SETTING_WORDS,
    STEP_UNITS,
    STEP_WORDS,
    USE_ORDER,
    Scale,
    grain_of,
    hottest_c,
    limit_source,
    path_words,
    stage_words,
    unit_at,
    use_of,
)

ON_THE_KILN = (
    "air_on_temperature",
    "grain_temperature.stewing",
    "grain_temperature.roasting",
    "grain_temperature.bagging",
)


@dataclass(frozen=True)
class Number:
    """A number or a range with where it comes from. other: the same in the unit that this reader does not use."""

    text: str
    source: str
    other: str = ""


@dataclass(frozen=True)
class LimitRow:
    """A limit. bands: (bounds, the same in the other unit); both empty where there is no such band."""

    name: str
    bands: tuple[tuple[str, str], ...]
    source: str


@dataclass(frozen=True)
class StepRow:
    name: str
    hours: str
    values: tuple[tuple[str, str], ...]
    note: str
    source: str


def grouped(rows: Sequence[Mapping[str, Any]]) -> list[dict[str, Any]]:
    """The rows by grain, and in each by what they are for. is_open: the house malted by one, or made one its own."""
    groups: dict[str, list[Mapping[str, Any]]] = {name: [] for name in GRAIN_ORDER}
    for row in rows:
        groups[grain_of(row["programme"])].append(row)
    for inside in groups.values():
        inside.sort(key=lambda row: (USE_ORDER.index(use_of(row["programme"])), _heat(row["programme"])))
    return [
        {"name": name, "rows": inside, "is_open": any(row["batches"] or row["is_own"] for row in inside)}
        for name, inside in groups.items()
        if inside
    ]


def _heat(programme: Programme) -> float:
    return hottest_c(programme) if programme.purpose == "roasted" else 0.0


def listed(revision: ProgrammeRevision, batches: int) -> dict[str, Any]:
    """One programme in the list."""
    programme = programme_of(revision)
    return {
        "programme": programme,
        "about": about(programme),
        "days": f"{sum(step.hours for step in programme.steps) / 24.0:.1f}\u00a0d",
        "ribbon": plan_ribbon(programme),
        "batches": batches,
        "is_own": programme.parent is not None,
    }


def about(programme: Programme) -> str:
    species = ", ".join(programme.species)
    return f"{PURPOSES.get(programme.purpose, programme.purpose)} from {species}, {SCALES[programme.scale]}"


def plan_ribbon(programme: Programme, height: int = 16, has_axis: bool = False) -> Markup:
    planned = [Segment(stage.stage, stage.start_h, stage.end_h) for stage in programme.planned_stages()]
    return Markup(ribbon_svg([], label=programme.name, planned=planned, height=height, has_axis=has_axis))


def programme_context(programme: Programme, parent: Programme | None, words: Words) -> dict[str, Any]:
    """Everything that is computed for the page of one revision."""
    return {
        "programme": programme,
        "about": about(programme),
        "of_grain": for_species(programme.species),
        "defers": DEFERS,
        "ribbon": plan_ribbon(programme, height=28, has_axis=True),
        "steps": [step_row(step, words) for step in programme.steps],
        "limits": [limit_row(key, programme.limits[key], words) for key in LIMIT_UNITS if key in programme.limits],
        "bands": list(BAND_WORDS.values()),
        "ceiling": ceiling_rows(programme, words),
        "ceiling_drawing": ceiling_drawing(programme, words),
        "settings": [setting_row(key, programme, words) for key in SETTING_UNITS if key in programme.settings],
        "marks": marks_said(programme),
        "cited": cited(programme),
        "changes": change_rows(parent, programme, words) if parent is not None else [],
    }


def marks_said(programme: Programme) -> str:
    """How much of it comes from where: "14 of 68 are published, 20 a published range and a margin of ours …"."""
    counts = tally(programme)
    each = ", ".join(f"{counts[mark]} {word}" for mark, word in MARKS.items() if counts[mark])
    return (
        f"{published(counts)} of {sum(counts.values())} are published; {counts[DERIVED]} are derived, mostly a "
        f"published range and a margin of ours. One by one: {each}."
    )


def setting_row(key: str, programme: Programme, words: Words) -> tuple[str, Number]:
    setting = programme.settings[key]
    shown = Scale(SETTING_UNITS[key], words.system).say(setting.value)
    return SETTING_WORDS[key], Number(shown, provenance(setting.mark, setting.source))


def limit_row(key: str, limit: Limit, words: Words) -> LimitRow:
    scale = Scale(limit.unit, words.system)
    # On a kiln a slip between the units does harm, so both are shown there.
    other = Scale("c", "us" if words.system == "metric" else "metric") if key.startswith(ON_THE_KILN) else None
    bands = tuple(
        (scale.range(low, high), other.plainly(low, high) if other and (low, high) != (None, None) else "")
        for _, low, high in ((each[0], None if key in HIGH_ONLY else each[1], each[2]) for each in limit.bands())
    )
    return LimitRow(LIMIT_WORDS[key], bands, limit_source(limit))


def step_row(step: Step, words: Words) -> StepRow:
    hours = Scale("h").say(step.hours)
    if step.hours_low != step.hours or step.hours_high != step.hours:
        hours += f" ({Scale('h').range(step.hours_low, step.hours_high)})"
    values = tuple(
        (STEP_WORDS[name], Scale(unit, words.system).say(value))
        for name, unit in STEP_UNITS.items()
        if unit != "h" and (value := getattr(step, name)) is not None
    )
    return StepRow(stage_words(step.stage, step.phase), hours, values, step.note, provenance(step.mark, step.source))


def ceiling_rows(programme: Programme, words: Words) -> list[tuple[str, Number]]:
    moisture, grain = Scale("wb").say, Scale("c", words.system).say
    return [
        (
            range_words(programme.ceiling, place, moisture),
            Number(grain(step.grain_c), provenance(step.mark, step.source), words.other_temperature(step.grain_c)),
        )
        for place, step in enumerate(programme.ceiling)
    ]


def ceiling_drawing(programme: Programme, words: Words) -> Markup:
    if not programme.ceiling:
        return Markup()
    moisture = Scale("wb").say
    drawn = ceiling_svg(
        programme.ceiling,
        label="The hottest that the grain may be",
        temperature=Scale("c", words.system).say,
        moisture=moisture,
    )
    return Markup(drawn)


def change_rows(old: Programme, new: Programme, words: Words) -> list[ChangeRow]:
    """What differs, number by number; a mark or source only where nothing else beside it does."""
    changes = differences(old, new)
    moved = {change.path.rpartition("/")[0] for change in changes if unit_at(change.path)}
    steps = step_names(new)
    rows = []
    for change in changes:
        parent, _, name = change.path.rpartition("/")
        if name in ("mark", "source") and (name == "mark" or parent in moved):
            continue
        rows.append(ChangeRow(path_words(change.path, steps), *_sides(change, words)))
    return rows


def step_names(programme: Programme) -> list[str]:
    return [stage_words(step.stage, step.phase) for step in programme.steps]


def _sides(change: Change, words: Words) -> tuple[str, str]:
    unit = unit_at(change.path)
    scale = Scale(unit, words.system) if unit else None
    old, new = (
        "" if value is None else scale.say(value) if scale else str(value) for value in (change.old, change.new)
    )
    return old, new


def newer_of(revision: ProgrammeRevision, revisions: Sequence[ProgrammeRevision]) -> list[ProgrammeRevision]:
    """The revisions that were made from this one."""
    return [each for each in revisions if each.parent == revision.digest]
