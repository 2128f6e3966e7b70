"""What a browser makes of a page: its forms with what stands in them, and posts of them with some fields changed."""

from __future__ import annotations

from dataclasses import dataclass, field
from html.parser import HTMLParser
from typing import Any

from flask.testing import FlaskClient
from werkzeug.test import TestResponse

Attributes = dict[str, str | None]


@dataclass
class PageForm:
    """A form as it would be sent: fields with their values, the choices of each, and where each button sends it."""

    action: str
    values: dict[str, str] = field(default_factory=dict)
    choices: dict[str, list[str]] = field(default_factory=dict)
    buttons: list[tuple[str, str | None, str | None]] = field(default_factory=list)

    def filled(self, **changes: str) -> dict[str, str]:
        """The values with changes; each must be of a field that is there, and one of its choices."""
        for name, value in changes.items():
            assert name in self.values or name in self.choices, f"the form has no {name}"
            if name in self.choices:
                assert value in self.choices[name], f"{name} can't be {value}"
        return self.values | changes


class _Forms(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.forms: list[PageForm] = []
        self.form: PageForm | None = None
        self.select: str | None = None
        self.area: str | None = None

    def handle_starttag(self, tag: str, given: list[tuple[str, str | None]]) -> None:
        attributes: Attributes = dict(given)
        if tag == "form":
            self.form = PageForm(attributes.get("action") or "")
            self.forms.append(self.form)
        elif self.form is not None:
            self._control(self.form, tag, attributes)

    def _control(self, form: PageForm, tag: str, attributes: Attributes) -> None:
        name, value = attributes.get("name"), attributes.get("value")
        if tag == "button" and "disabled" not in attributes:
            form.buttons.append((attributes.get("formaction") or form.action, name, value))
        elif tag == "input" and name:
            self._input(form, name, value, attributes)
        elif tag == "select" and name:
            self.select = name
            form.choices[name] = []
        elif tag == "option" and self.select:
            form.choices[self.select].append(value or "")
            if "selected" in attributes or self.select not in form.values:
                form.values[self.select] = value or ""
        elif tag == "textarea" and name:
            self.area = name
            form.values[name] = ""

    def _input(self, form: PageForm, name: str, value: str | None, attributes: Attributes) -> None:
        if attributes.get("type") in ("radio", "checkbox"):
            form.choices.setdefault(name, []).append("on" if value is None else value)
            if "checked" in attributes:
                form.values[name] = "on" if value is None else value
        else:
            assert name not in form.values, f"{name} stands twice in one form"
            form.values[name] = value or ""

    def handle_data(self, data: str) -> None:
        if self.form is not None and self.area:
            # A browser drops the line break that follows the tag.
            self.form.values[self.area] = data.removeprefix("\r").removeprefix("\n")

    def handle_endtag(self, tag: str) -> None:
        if tag == "form":
            self.form = None
        elif tag == "select":
            self.select = None
        elif tag == "textarea":
            self.area = None


def forms_of(html: str) -> list[PageForm]:
    reader = _Forms()
    reader.feed(html)
    return reader.forms


def insisting(html: str, **changes: str) -> dict[str, str]:
    """What the button "keep it as it is" of a question sends; with changes, after something was typed anew."""
    for form in forms_of(html):
        for _, name, value in form.buttons:
            if name == "insist" and str(value).startswith("1:"):
                return form.filled(**changes) | {"insist": str(value)}
    raise AssertionError("nothing is asked on this page")


def tub_form(html: str) -> PageForm:
    """The one form of a tub page that holds every entry."""
    return next(form for form in forms_of(html) if "when" in form.choices)


@dataclass
class Tub:
    """The tub page of one batch, used as with a thumb."""

    client: FlaskClient
    number: int

    @property
    def path(self) -> str:
        return f"/batches/{self.number}/tub"

    def form(self) -> PageForm:
        answer = self.client.get(self.path)
        assert answer.status_code == 200
        return tub_form(answer.text)

    def values(self, kind: str, own: dict[str, str] | None = None, **common: str) -> dict[str, str]:
        """What the page sends for an entry of this kind: its own fields by their plain names, and the common ones."""
        scoped = {f"{kind}-{name}": value for name, value in (own or {}).items()}
        return self.form().filled(**scoped, **common)

    def send(self, kind: str, values: dict[str, str], **buttons: str) -> TestResponse:
        return self.client.post(self.path, data=values | buttons | {"kind": kind})

    def keep(self, kind: str, own: dict[str, str] | None = None, **common: str) -> TestResponse:
        return self.send(kind, self.values(kind, own, **common))


def value_shown(html: str, name: str) -> Any:
    """What stands in a field of whichever form of the page has it."""
    return next(form.values[name] for form in forms_of(html) if name in form.values)
