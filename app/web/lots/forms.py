"""The form that takes a lot in: what it is, its weight and moisture, and its declaration where somebody gives one."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date, datetime, time
from functools import lru_cache
from typing import Any, ClassVar
from zoneinfo import ZoneInfo

from wtforms import HiddenField, StringField
from wtforms.validators import Length

from app import ports
from app.judgement.facts.fields import BadValues, Choice, Quantity
from app.judgement.facts.kind_parts import MOISTURE_METHODS
from app.judgement.facts.kinds import KINDS
from app.judgement.facts.records import values_from_typed, written
from app.judgement.facts.shapes import Fact
from app.web.entries.fields import unit_field
from app.web.entries.times import moment_from_local
from app.web.entries.units_typed import UnitsTyped
from app.web.request.choice_fields import RadioField
from app.web.words.programmes import GRAINS

OFTEN = ("barley", "wheat", "rye", "oats")
SPECIES = tuple((each, each) for each in dict.fromkeys((*OFTEN, *GRAINS, "other")))
"""Every grain that a programme is for, those that most houses malt first."""
MOISTURE_KNOWN = (
    ("said", "the seller says so"),
    *((key, word) for key, word in MOISTURE_METHODS if key not in ("oven_malt", "oven_two_stage")),
)
WEIGHED = (("measured", "weighed"), ("estimated", "estimated"))
WEIGHTS = ("gross", "tare", "net")
DECLARED = ("untreated", "for_food", "by", "ground")
IDS = ("id", "intake_id", "test_id", "declaration_id")


def _at_most(length: int) -> list[Length]:
    return [Length(max=length, message=f"At most {length} characters.")]


class NewLotForm(UnitsTyped):
    """The lot's name and grain. The fields of its facts are added by new_lot_form."""

    id = HiddenField()
    intake_id = HiddenField()
    test_id = HiddenField()
    declaration_id = HiddenField()
    name = StringField("Name", validators=_at_most(80))
    species = RadioField("Grain", choices=SPECIES, validate_choice=False)
    other_species = StringField("Which other grain?", validators=_at_most(20))
    variety = StringField("Variety", validators=_at_most(80))
    harvest = StringField("Harvest", validators=_at_most(20))
    supplier = StringField("From whom", validators=_at_most(120))
    received_on = StringField("Received on")
    # Sent by the button of a question alone: as a hidden field it would be sent twice.
    insist = StringField()
    quality = RadioField("The weight is", choices=WEIGHED, default="measured", validate_choice=False)
    moisture_known = RadioField("How is the moisture known?", choices=MOISTURE_KNOWN, validate_choice=False)

    unit_shared: ClassVar[Mapping[str, str]] = {"tare": "gross", "net": "gross"}
    form_errors: list[str]
    read: list[tuple[dict[str, Any], dict[str, Any]]]
    """The facts that the form tells: what `written` is told of each, and its values; read by validate."""

    zone: ZoneInfo
    now: datetime

    @property
    def grain(self) -> str:
        return str((self.other_species if self.species.data == "other" else self.species).data or "").strip().lower()

    def validate(self, extra_validators: Mapping[str, Any] | None = None) -> bool:
        """Every field by itself, then each fact as a whole, so that all that is wrong is told at once."""
        is_right = super().validate(extra_validators)
        wrong = self._wrong_words() | self.read_facts()
        self.put_errors(wrong)
        return is_right and not wrong

    def put_errors(self, wrong: Mapping[str, str]) -> None:
        """Tie each message to its field, or to the whole form where it has no such field."""
        for name, message in wrong.items():
            name = {"value": "moisture", "earliest_at": "received_on"}.get(name, name)
            if name in self._fields and name not in IDS:
                self._fields[name].errors = [*self._fields[name].errors, message]
            else:
                self.form_errors = [*self.form_errors, message]

    def _wrong_words(self) -> dict[str, str]:
        wrong = {}
        if not str(self.name.data or "").strip():
            wrong["name"] = "The lot needs a name, as written on its sacks."
        if not self.grain:
            wrong["other_species" if self.species.data == "other" else "species"] = "Say which grain it is."
        if self._typed("moisture") and not self.moisture_known.data:
            wrong["moisture_known"] = "Say how the moisture is known: its uncertainty depends on it."
        try:
            self.received_at()
        except ValueError as error:
            wrong["received_on"] = str(error)
        return wrong

    def read_facts(self) -> dict[str, str]:
        """Read what was typed; the fields that can't be read."""
        wrong: dict[str, str] = {}
        self.read = []
        for entry in self._entries():
            try:
                values = values_from_typed(KINDS[entry["kind_name"]], entry["typed"], entry.get("quality", "measured"))
                self.read.append((entry, values))
            except BadValues as error:
                wrong |= error.fields
        return wrong

    def received_at(self) -> datetime:
        """The moment of the intake: now, or the noon of an earlier day."""
        today = self.now.astimezone(self.zone).date()
        text = str(self.received_on.data or "").strip()
        try:
            day = date.fromisoformat(text) if text else today
        except ValueError as error:
            raise ValueError("This is not a date, such as 2026-03-14.") from error
        if day > today:
            raise ValueError("That day is still to come: give the day on which the grain came in.")
        if day == today:
            return self.now
        return moment_from_local(datetime.combine(day, time(12)).isoformat(), self.zone, "first")

    def facts(self, lot_id: str, by: str | None) -> list[Fact]:
        """What the form tells, once it is valid; BadValues where it can't be kept all the same."""
        at = self.received_at()
        clock = "now" if at == self.now else "typed"
        told: dict[str, Any] = {
            "about": ("lot", lot_id),
            "at": (at, at),
            "clock": clock,
            "written_at": self.now,
            "by": by,
        }
        # Whenever the grain came in, it is declared as this is said.
        declared = {"at": (self.now, self.now), "clock": "now"}
        return [
            written(**told | (declared if entry["kind_name"] == "declaration" else {}) | entry, values=values)
            for entry, values in self.read
        ]

    def _entries(self) -> list[dict[str, Any]]:
        is_said = self.moisture_known.data in (None, "", "said")
        weight = self._typed(*WEIGHTS) | (self._typed("moisture") if is_said else {})
        intake = {
            "entry_id": self.intake_id.data, "kind_name": "intake", "typed": weight, "quality": self.quality.data,
        }  # fmt: skip
        entries = [intake | ({"note": "Moisture as the seller says."} if "moisture" in weight else {})]
        if self._typed("moisture") and not is_said:
            typed = {name.replace("moisture", "value"): text for name, text in self._typed("moisture").items()}
            test = {"entry_id": self.test_id.data, "kind_name": "moisture_test", "typed": typed}
            entries.append(test | {"method": self.moisture_known.data})
        if declared := self._typed(*DECLARED):
            entries.append({"entry_id": self.declaration_id.data, "kind_name": "declaration", "typed": declared})
        return entries

    def _typed(self, *names: str) -> dict[str, str]:
        """What was typed in these fields, each with its unit; blank ones left out."""
        typed = {}
        for name in names:
            if text := str(self._fields[name].data or "").strip():
                typed[name] = text
                unit = f"{'gross' if name in WEIGHTS else name}_unit"
                if unit in self._fields:
                    typed[unit] = str(self._fields[unit].data)
        return typed


@lru_cache(maxsize=4)
def _form_class(system: str) -> type[NewLotForm]:
    fields: dict[str, Any] = {}
    for kind, names in (("intake", (*WEIGHTS, "moisture")), ("declaration", DECLARED)):
        for name in names:
            spec = KINDS[kind].fields[name]
            if isinstance(spec, Choice):
                choices = (("", "not asked yet"), *spec.options)
                fields[name] = RadioField(spec.word, choices=choices, default="", validate_choice=False)
            else:
                fields[name] = StringField(spec.word)
            if isinstance(spec, Quantity) and not spec.unit_of:
                fields[f"{name}_unit"] = unit_field(spec, kind, system)
    return type("NewLotFormInUnits", (NewLotForm,), fields)


def new_lot_form(formdata: Any, *, system: str, zone: ZoneInfo, now: datetime) -> NewLotForm:
    """The form for a reader of this system of units; blank with ids of its own, or filled with what was sent."""
    blank = {name: ports.new_id() for name in IDS} | {"received_on": now.astimezone(zone).date().isoformat()}
    form = _form_class(system)(formdata, data=blank)
    form.zone, form.now = zone, now
    return form
