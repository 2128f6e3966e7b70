"""The form of a germination test in several dishes: each filled dish becomes a fact of its own."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime
from functools import lru_cache
from typing import Any
from zoneinfo import ZoneInfo

from sqlalchemy.orm import Session
from wtforms import HiddenField, StringField

from app import ports
from app.errors import Conflict, KeptOtherwise, Rejected
from app.judgement.facts.fields import BadValues
from app.judgement.facts.kind_parts import WATERS
from app.judgement.facts.kinds import KINDS
from app.judgement.facts.records import values_from_typed, written
from app.judgement.facts.shapes import Fact
from app.judgement.grain.germination_tests import DAYS
from app.operations.facts import record_fact
from app.web.entries.asking import FUTURE_ALLOWED
from app.web.entries.forms import EntryForm
from app.web.entries.keeping import put_errors
from app.web.entries.times import local_text
from app.web.request.choice_fields import SelectField

KIND = KINDS["germination_test"]
DISHES = tuple(range(1, 9))
OPEN_DISHES = 4
COUNTS = ("looked_at", *DAYS)
WATER_OF = {dish: "4ml" if dish in (1, 2, 5, 6) else "8ml" for dish in DISHES}
_SHORT = {"looked_at": "Kernels", "day_1": "24 h", "day_2": "48 h", "day_3": "72 h"}


class PlatesForm(EntryForm):
    """Time, person and note of every entry; and for each dish its water, its kernels and what grew by the day."""

    kind = KIND
    form_errors: list[str]
    read: dict[int, dict[str, Any]]
    """What was counted in each dish, read by validate."""

    def validate(self, extra_validators: Any = None) -> bool:
        """Every field by itself, then each dish as a whole, so that all that is wrong is told at once."""
        is_right = super(EntryForm, self).validate(extra_validators)
        self.fold.errors = [*self.fold.errors, *self._which_one]
        self.read = {}
        wrong = {name: message for dish in self.filled() for name, message in self._wrong(dish).items()}
        if is_right and self.span()[1] > self.now + FUTURE_ALLOWED:
            wrong["when"] = "That time is still to come."
        for name, message in wrong.items():
            self._fields[name].errors = [message]
        if not self.filled():
            self.form_errors = [*self.form_errors, "No dish is filled in: count what grew in at least one."]
        return is_right and not wrong and bool(self.filled())

    def filled(self) -> list[int]:
        """The dishes of which something was counted."""
        return [dish for dish in DISHES if any(self._text(dish, day) for day in DAYS)]

    def dish_typed(self, dish: int) -> dict[str, str]:
        return {name: text for name in COUNTS if (text := self._text(dish, name))}

    def _text(self, dish: int, name: str) -> str:
        return str(self._fields[f"dish{dish}_{name}"].data or "").strip()

    def _wrong(self, dish: int) -> dict[str, str]:
        try:
            self.read[dish] = values_from_typed(KIND, self.dish_typed(dish))
        except BadValues as error:
            words = {name: message for name, message in error.fields.items() if name in COUNTS}
            if "looked_at" in words and words["looked_at"][:1].isdigit():
                words["looked_at"] += " Give what is newly grown at each look, not the running total."
            return {f"dish{dish}_{name}": message for name, message in words.items()}
        return {}

    def facts(self, lot_id: str, by: str | None) -> Iterator[Fact]:
        """One for each filled dish, once the form is valid; BadValues where it can't be kept all the same."""
        common = self.told(by, "instrument", "person", "note")
        for dish, values in self.read.items():
            own = {"entry_id": self._fields[f"dish{dish}_id"].data, "method": self._fields[f"dish{dish}_water"].data}
            about = common | own | {"values": values, "place": f"dish {dish}"}
            yield written(KIND.name, self.dish_typed(dish), ("lot", lot_id), self.span(), **about)

    def dishes(self) -> list[dict[str, Any]]:
        """Each dish as the page draws it. is_open: the first ones, and those that hold something."""
        filled = self.filled()
        return [
            {
                "number": dish,
                "water": self._fields[f"dish{dish}_water"],
                "counts": [self._fields[f"dish{dish}_{name}"] for name in COUNTS],
                "is_open": dish <= OPEN_DISHES or dish in filled,
            }
            for dish in DISHES
        ]


@lru_cache(maxsize=1)
def _form_class() -> type[PlatesForm]:
    fields: dict[str, Any] = {}
    for dish in DISHES:
        fields[f"dish{dish}_id"] = HiddenField()
        fields[f"dish{dish}_water"] = SelectField("Water", choices=list(WATERS), default=WATER_OF[dish])
        for name in COUNTS:
            fields[f"dish{dish}_{name}"] = StringField(_SHORT[name])
    return type("EightPlatesForm", (PlatesForm,), fields)


def plates_form(formdata: Any, *, zone: ZoneInfo, now: datetime) -> PlatesForm:
    """Blank with ids of its own and a hundred kernels in each dish, or filled with what was sent."""
    clock = local_text(now, zone)
    blank: dict[str, Any] = {"id": ports.new_id(), "at": clock, "earliest": clock, "latest": clock}
    for dish in DISHES:
        blank |= {f"dish{dish}_id": ports.new_id(), f"dish{dish}_looked_at": "100"}
    form = _form_class()(formdata, data=blank)
    form.zone, form.now = zone, now
    return form


def keep_plates(session: Session, form: PlatesForm, lot_id: str, entered_by: str | None) -> Fact | None:
    """Keep every filled dish, or none: the last one kept; None where the form says what is wrong. Does not commit."""
    if not form.validate():
        return None
    kept: Fact | None = None
    try:
        for new in form.facts(lot_id, entered_by):
            place = str(new.place)
            body = form.body() | {"id": new.id, "typed": str(new.typed), "method": str(new.method)}
            kept = record_fact(session, new, now=form.now, body=body).fact
    except (KeptOtherwise, Conflict):
        message = f"{place.capitalize()} was kept already, with other counts: correct it on the lot’s page."
        form.form_errors = [*form.form_errors, message]
        return None
    except Rejected as error:
        put_errors(form, error.fields)
        return None
    return kept
