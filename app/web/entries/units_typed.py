"""A unit typed with its number, such as “5,0 kg” or “68 F”: the number is kept, and the unit is chosen by it."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Any, ClassVar

from wtforms import Form

from app.science import units

_WITH_UNIT = re.compile(r"(?P<number>[^A-Za-z°%]*\d[\d.,]*)\s*(?P<unit>[A-Za-z°%][^\s\d]*)\s*")


def split_unit(text: str) -> tuple[str, str]:
    """The number and the unit as they were typed; the unit is empty where there is none."""
    match = _WITH_UNIT.fullmatch(text.strip())
    return (match["number"].strip(), match["unit"]) if match else (text, "")


def unit_key(text: str, among: list[str]) -> str | None:
    """Which of these units somebody means, by its sign or its name: “KG”, “lbs”, “°f”."""
    word = _plain(text)
    signs = {_plain(sign): key for key in among for sign in (key, units.UNITS[key].symbol) if _plain(sign)}
    return signs.get(word) or signs.get(word.removesuffix("s"))


def unit_name(name: str) -> str:
    """The field of a field's unit: net_unit beside net, as_is_unit_0 beside as_is_0."""
    return re.sub(r"(_\d+)?$", r"_unit\1", name, count=1)


def _plain(sign: str) -> str:
    return sign.replace("°", "").strip().casefold()


class UnitsTyped(Form):
    """A form whose numbers may be typed with their units."""

    unit_shared: ClassVar[Mapping[str, str]] = {}
    """Fields whose unit is another's: by their names, the field that has the unit."""

    def process(self, *args: Any, **options: Any) -> None:
        super().process(*args, **options)
        for name in [name for name in self._fields if unit_name(name) in self._fields]:
            self._take_unit(name, name, may_choose=True)
        for name, of in self.unit_shared.items():
            if name in self._fields and unit_name(of) in self._fields:
                self._take_unit(name, of, may_choose=not str(self._fields[of].data or "").strip())

    def _take_unit(self, name: str, of: str, *, may_choose: bool) -> None:
        field, unit_field = self._fields[name], self._fields[unit_name(of)]
        number, unit = split_unit(str(field.data or ""))
        key = unit_key(unit, [str(choice.value) for choice in unit_field.choices]) if unit else None
        if key is None or not (may_choose or key == unit_field.data):
            return
        field.data, unit_field.data = number, key
