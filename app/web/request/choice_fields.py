"""Fields with a choice, from pairs of key and word as the kinds and settings list them."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

import wtforms
from wtforms.fields import SelectChoice

Options = Iterable[tuple[str, str] | SelectChoice]


def offered(options: Options | None) -> list[SelectChoice] | None:
    """Pairs as WTForms wants them. (It still reads plain pairs, but warns that it soon won't.)"""
    if options is None:
        return None
    return [option if isinstance(option, SelectChoice) else SelectChoice(option[0], option[1]) for option in options]


class _Offers(wtforms.SelectField):
    def __init__(self, label: str, validators: Any = None, choices: Options | None = None, **options: Any) -> None:
        super().__init__(label, validators, choices=offered(choices), **options)

    @property
    def choices(self) -> Any:
        return super().choices

    @choices.setter
    def choices(self, options: Options | None) -> None:
        wtforms.SelectField.choices.fset(self, offered(options))


class SelectField(_Offers):
    """One of several, in a list that folds."""


class RadioField(_Offers, wtforms.RadioField):
    """One of several, all in sight."""
