"""The form that edits a programme: made from its content, a field for each number, in the reader's own units."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from wtforms import StringField, TextAreaField, ValidationError
from wtforms.form import BaseForm
from wtforms.validators import Length

from app.judgement.programmes.changes import flattened
from app.judgement.programmes.limits import HIGH_ONLY
from app.judgement.programmes.parts import SETTING_UNITS
from app.judgement.programmes.programme import LIMIT_UNITS, Programme, Step, provenance
from app.web.words.programmes import (
    BAND_WORDS,
    CEILING_UNITS,
    CEILING_WORDS,
    LIMIT_WORDS,
    SETTING_WORDS,
    STEP_UNITS,
    STEP_WORDS,
    Scale,
    limit_source,
    stage_words,
    unit_at,
)

OWN = "H"
OPTIONAL_HOURS = ("hours_low", "hours_high")


class NumberField(StringField):
    """A number in the reader's units. value: what was typed, as it is kept; None where the field was emptied."""

    def __init__(self, label: str, scale: Scale, current: float | None, *, is_required: bool, **options: Any) -> None:
        super().__init__(label, default="" if current is None else scale.number(current), **options)
        self.scale, self.current, self.is_required = scale, current, is_required
        self.value = current

    def pre_validate(self, form: Any) -> None:
        text = str(self.data or "").strip()
        if self.current is not None and text == self.scale.number(self.current):
            return
        if not text and self.is_required:
            raise ValidationError("A number is needed here.")
        try:
            self.value = self.scale.read(text) if text else None
        except ValueError as error:
            raise ValidationError(str(error)) from error

    @property
    def is_changed(self) -> bool:
        if self.value is None or self.current is None:
            return self.value is not self.current
        return abs(self.value - self.current) > 1e-9


@dataclass(frozen=True)
class Row:
    """A line of a group: what it is, and the names of its fields."""

    word: str
    names: tuple[str, ...]
    symbol: str = ""


@dataclass(frozen=True)
class Group:
    """What is edited together: a step, a limit, a step of the ceiling, a setting. path: its place in the content."""

    path: str
    title: str
    rows: tuple[Row, ...]
    source: str
    headings: tuple[str, ...] = ()

    def is_wrong(self, form: ProgrammeForm) -> bool:
        return any(form[name].errors for name in (*self.names, self.source_name))

    @property
    def source_name(self) -> str:
        return f"source/{self.path}"

    @property
    def names(self) -> tuple[str, ...]:
        return tuple(name for row in self.rows for name in row.names)


@dataclass(frozen=True)
class Sections:
    steps: tuple[Group, ...]
    limits: tuple[Group, ...]
    ceiling: tuple[Group, ...]
    settings: tuple[Group, ...]

    def is_wrong(self, name: str, form: ProgrammeForm) -> bool:
        """Whether something in the section of that name can't stand."""
        return any(group.is_wrong(form) for group in getattr(self, name))

    @property
    def groups(self) -> tuple[Group, ...]:
        return self.steps + self.limits + self.ceiling + self.settings


def sections_of(programme: Programme, system: str) -> Sections:
    """Every number of the programme, in the groups in which a page shows them."""
    return Sections(
        steps=tuple(_step_group(place, step, system) for place, step in enumerate(programme.steps)),
        limits=tuple(_limit_group(key, programme, system) for key in LIMIT_UNITS if key in programme.limits),
        ceiling=tuple(_ceiling_group(place, programme, system) for place in range(len(programme.ceiling))),
        settings=tuple(_setting_group(key, programme, system) for key in SETTING_UNITS if key in programme.settings),
    )


def _step_group(place: int, step: Step, system: str) -> Group:
    usual = {"hours", *OPTIONAL_HOURS, "moisture_wb"}
    usual |= {"immersion": {"water_c", "chitted_fraction"}, "air_rest": {"grain_c", "chitted_fraction"}}.get(
        step.stage, {"grain_c"}
    )
    usual |= {"germination": {"acrospire"}, "kilning": {"air_on_c"}}.get(step.stage, set())
    rows = tuple(
        Row(STEP_WORDS[name], (f"steps/{place}/{name}",), Scale(unit, system).symbol)
        for name, unit in STEP_UNITS.items()
        if name in usual or getattr(step, name) is not None
    )
    title = f"{place + 1}. {stage_words(step.stage, step.phase)}"
    return Group(f"steps/{place}", title, rows, provenance(step.mark, step.source))


def _limit_group(key: str, programme: Programme, system: str) -> Group:
    limit = programme.limits[key]
    ends = ("high",) if key in HIGH_ONLY else ("low", "high")
    rows = tuple(Row(word, tuple(f"limits/{key}/{band}/{end}" for end in ends)) for band, word in BAND_WORDS.items())
    symbol = Scale(LIMIT_UNITS[key], system).symbol
    said = {"low": f"at least, {symbol}", "high": f"at most, {symbol}"}
    headings = ("", *(said[end] for end in ends))
    return Group(f"limits/{key}", LIMIT_WORDS[key], rows, limit_source(limit), headings)


def _ceiling_group(place: int, programme: Programme, system: str) -> Group:
    step = programme.ceiling[place]
    # The last step reaches down to no moisture at all: its edge is no number to choose.
    names = ("grain_c",) if place == len(programme.ceiling) - 1 else ("moisture_above_wb", "grain_c")
    rows = tuple(
        Row(CEILING_WORDS[name], (f"ceiling/{place}/{name}",), Scale(CEILING_UNITS[name], system).symbol)
        for name in names
    )
    title = f"Ceiling, step {place + 1}" + (": whatever is drier" if len(names) == 1 else "")
    return Group(f"ceiling/{place}", title, rows, provenance(step.mark, step.source))


def _setting_group(key: str, programme: Programme, system: str) -> Group:
    setting = programme.settings[key]
    row = Row(SETTING_WORDS[key], (f"settings/{key}/value",), Scale(SETTING_UNITS[key], system).symbol)
    return Group(f"settings/{key}", "", (row,), provenance(setting.mark, setting.source))


class ProgrammeForm(BaseForm):
    """Name, note, every number, and for each group a source in place of the one that a change would void."""

    def __init__(self, programme: Programme, system: str, formdata: Any = None) -> None:
        self.programme, self.sections = programme, sections_of(programme, system)
        super().__init__(self._made(system))
        self.process(formdata)

    def _made(self, system: str) -> dict[str, Any]:
        content = flattened(self.programme.to_dict())
        name_length = Length(min=1, max=120, message="Give a name of at most 120 characters.")
        note_length = Length(max=2000, message="At most 2000 characters.")
        made: dict[str, Any] = {
            "name": StringField("Name", default=self.programme.name, validators=[name_length], filters=[_trimmed]),
            "note": TextAreaField("Note", default=self.programme.note, validators=[note_length], filters=[_trimmed]),
        }
        for group in self.sections.groups:
            for row in group.rows:
                for name in row.names:
                    made[name] = _number_field(name, group, row, content.get(name), system)
            made[group.source_name] = StringField(
                f"Source: {group.title or group.rows[0].word}",
                id=_id(group.source_name),
                validators=[Length(max=300, message="At most 300 characters.")],
                filters=[_trimmed],
            )
        return made

    def validate(self, extra_validators: Mapping[str, Any] | None = None) -> bool:
        is_right = bool(super().validate(extra_validators))
        for group in self.sections.groups:
            if self[group.source_name].data and not self._changed(group):
                self[group.source_name].errors = ["No number beside it was changed."]
                is_right = False
        return is_right

    def changes(self) -> dict[str, Any]:
        """What differs from the programme, by path, as revise() takes it; only once it is valid."""
        made: dict[str, Any] = {}
        for name in ("name", "note"):
            if self[name].data != getattr(self.programme, name):
                made[name] = self[name].data
        for group in self.sections.groups:
            for name in self._changed(group):
                made[name] = self[name].value
                if self[group.source_name].data:
                    parent = name.rpartition("/")[0]
                    made |= {f"{parent}/mark": OWN, f"{parent}/source": self[group.source_name].data}
        return made

    def put_errors(self, problems: Mapping[str, str]) -> None:
        """Tie what stands against the changes to their fields: the exact one, or the first of its group."""
        for path, problem in problems.items():
            name = (
                path if path in self else next((field for field in self._fields if field.startswith(f"{path}/")), None)
            )
            unit = unit_at(path)
            said = self[path].scale.translate(problem) if unit and path in self else problem[:1].upper() + problem[1:]
            if name is None:
                self.form_errors.append(f"{path}: {problem}")
            else:
                self[name].errors = [*self[name].errors, said]

    def _changed(self, group: Group) -> list[str]:
        return [name for name in group.names if self[name].is_changed]


def _number_field(name: str, group: Group, row: Row, current: float | None, system: str) -> Any:
    unit = unit_at(name)
    assert unit is not None
    end = {"low": ", at least", "high": ", at most"}.get(name.rpartition("/")[2], "")
    label = f"{group.title}: {row.word}{end}" if group.title else row.word
    is_required = name.endswith("/hours") or name.startswith(("ceiling/", "settings/"))
    return NumberField(label, Scale(unit, system), current, is_required=is_required, id=_id(name))


def _id(name: str) -> str:
    return name.replace("/", "-").replace(".", "-")


def _trimmed(text: str | None) -> str:
    return (text or "").strip()
