"""From the name of a formula, or of a section on how numbers are shown, to its address."""

from __future__ import annotations

from flask import Flask

from app.config import Settings
from app.science.handbook import methods

SECTIONS = ("plus-minus", "marks", "weights", "hours", "readings", "means", "counts", "yield", "flags", "programmes")
"""The sections of the page on how numbers are shown."""


def init_app(app: Flask, settings: Settings) -> None:
    app.add_template_global(method_url)


def method_url(place: str) -> str | None:
    """None where nothing is known by that name. place: chapter and function of a formula, or a section."""
    if place in methods():
        return f"/methods/{methods()[place].chapter}#{place}"
    return f"/methods/numbers#{place}" if place in SECTIONS else None
