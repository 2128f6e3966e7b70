"""How the charts look: colours by the name of their token, marks that tell series apart without colour, the layout.

A colour is written ``var:steep`` or ``var:steep/0.12`` and becomes a real one in the browser, which knows whether the
page is light or dark. Only values whose key ends in "color" are replaced there, so no word of a note can become one.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any

from app.judgement.facts.kind_parts import TEMPERATURE_CURVE
from app.judgement.facts.kinds import KINDS

Figure = dict[str, Any]


def token(name: str, alpha: float = 1.0) -> str:
    """The colour of a token of the style sheet, more or less see-through."""
    return f"var:{name}" if alpha == 1.0 else f"var:{name}/{alpha:g}"


@dataclass(frozen=True)
class Style:
    """How one series is drawn: hue, dash and marker, so that any one of the three tells it apart."""

    word: str
    hue: str
    dash: str = "solid"
    symbol: str = "circle"
    shape: str = "linear"

    def line(self, width: float = 1.75) -> dict[str, Any]:
        return {"color": token(self.hue), "dash": self.dash, "width": width, "shape": self.shape}

    def marker(self, size: float = 6.5) -> dict[str, Any]:
        return {
            "symbol": self.symbol,
            "size": size,
            "color": token("sheet"),
            "line": {"color": token(self.hue), "width": 1.75},
        }


STAGE_HUES: Mapping[str, str] = MappingProxyType(
    {
        "immersion": "steep",
        "air_rest": "rest-dot",
        "germination": "sprout",
        "stewing": "stew",
        "kilning": "kiln",
        "cooling": "cool",
    }
)

TEMPERATURES: Mapping[str, Style] = MappingProxyType(
    {
        "water_temperature": Style("water", "steep", "solid", "square"),
        "grain_temperature": Style("grain", "sprout", "solid", "circle"),
        "air_temperature": Style("air", "soft", "dot", "x"),
        "air_on_temperature": Style("air-on", "kiln", "dash", "diamond"),
        "air_off_temperature": Style("air-off", "barley", "dashdot", "cross"),
        "set_point": Style("set point", "ink", "longdash", "line-ew", "hv"),
    }
)


def temperature_styles() -> dict[str, Style]:
    """How each kind is drawn that is a curve of the temperature panel; plainly where it has no style of its own."""
    kinds = [kind for kind in KINDS.values() if kind.mark == TEMPERATURE_CURVE]
    return {
        each.name: TEMPERATURES.get(each.name, Style(each.word.lower(), "soft", "dashdot", "star")) for each in kinds
    }


# A thermometer near the top points up, one near the bottom down.
_PLACES: Mapping[str, tuple[str, str]] = MappingProxyType(
    {
        "": ("solid", "circle"),
        "middle": ("solid", "circle"),
        "top": ("dash", "triangle-up"),
        "bottom": ("dot", "triangle-down"),
    }
)
_OTHER_PLACES = (
    ("dashdot", "pentagon"),
    ("longdash", "hexagon"),
    ("longdashdot", "star"),
    ("dash", "diamond-wide"),
    ("dot", "bowtie"),
)


def place_style(kind: str, place: str, ordinal: int) -> Style:
    """The style of a kind of thermometer at a place; ordinal: the how-many-th of the places that have no name here."""
    base = temperature_styles()[kind]
    word = f"{base.word}, {place}" if place else base.word
    if kind != "grain_temperature":
        return Style(word, base.hue, base.dash, base.symbol, base.shape)
    dash, symbol = _PLACES.get(place.lower()) or _OTHER_PLACES[ordinal % len(_OTHER_PLACES)]
    return Style(word, base.hue, dash, symbol)


def has_own_mark(place: str) -> bool:
    return place.lower() in _PLACES


MOISTURES: Mapping[str, Style] = MappingProxyType(
    {
        "charged": Style("at charging", "steep", symbol="hexagon"),
        "test_bag": Style("test bag", "steep", symbol="circle"),
        "charge_weighing": Style("whole charge", "steep", symbol="square"),
        "tray": Style("tray", "steep", symbol="triangle-up"),
        "tested": Style("tested", "steep", symbol="diamond"),
        "outturn": Style("outturn", "steep", symbol="star"),
    }
)

SEVERITIES: Mapping[str, Style] = MappingProxyType(
    {
        "notice": Style("notice", "notice", symbol="diamond"),
        "caution": Style("caution", "caution", symbol="triangle-up"),
        "act": Style("act now", "act", symbol="square"),
    }
)

# Batches laid over one another: each has its own hue, dash and marker.
OVERLAID = (
    Style("", "steep", "solid", "circle"),
    Style("", "kiln", "dash", "square"),
    Style("", "sprout", "dot", "triangle-up"),
    Style("", "barley", "dashdot", "diamond"),
    Style("", "notice", "longdash", "cross"),
    Style("", "ink", "longdashdot", "x"),
)

# What helps on an hour axis, and no more; y stays as it is, so a drag only ever chooses hours.
CONFIG: Mapping[str, Any] = MappingProxyType(
    {
        "displaylogo": False,
        # The page's script draws again itself when the width changes.
        "responsive": False,
        "scrollZoom": False,
        "doubleClick": "reset",
        "modeBarButtons": [["zoomIn2d", "zoomOut2d", "pan2d", "resetScale2d"]],
    }
)


def base_layout() -> dict[str, Any]:
    """What every chart has in common."""
    return {
        "autosize": True,
        "dragmode": "zoom",
        "hovermode": "closest",
        "hoverdistance": 24,
        "uirevision": "kept",
        "paper_bgcolor": token("sheet"),
        "plot_bgcolor": token("sheet", 0.0),
        "font": {"size": 12, "color": token("soft")},
        "hoverlabel": {
            "align": "left",
            "namelength": 0,
            "bgcolor": token("sheet"),
            "bordercolor": token("edge"),
            "font": {"size": 13, "color": token("ink")},
        },
        "legend": {
            "orientation": "h",
            "traceorder": "normal",
            "x": 0,
            "xanchor": "left",
            "yanchor": "top",
            "bgcolor": token("sheet", 0.0),
        },
        "modebar": {
            "orientation": "h",
            "bgcolor": token("sheet", 0.0),
            "color": token("soft"),
            "activecolor": token("ink"),
        },
        "margin": {"l": 42, "r": 10, "t": 34, "b": 40, "pad": 0},
    }


def hour_axis(shown: Sequence[float], anchor: str) -> dict[str, Any]:
    """Hours of the malthouse clock; a dotted line follows the pointer through both panels."""
    return {
        "range": [round(each, 3) for each in shown],
        "uirevision": False,
        "anchor": anchor,
        "tickprefix": "h ",
        "tick0": 0,
        "dtick": 24,
        "tickangle": 0,
        "ticks": "outside",
        "ticklen": 4,
        "tickcolor": token("edge"),
        "gridcolor": token("rule"),
        "zeroline": False,
        "showspikes": True,
        "spikemode": "across",
        "spikesnap": "cursor",
        "spikethickness": 1,
        "spikedash": "dot",
        "spikecolor": token("soft"),
        "hoverformat": ".1f",
    }


def value_axis(shown: Sequence[float], domain: tuple[float, float]) -> dict[str, Any]:
    return {
        "range": [round(each, 3) for each in shown],
        "uirevision": False,
        "domain": [round(domain[0], 4), round(domain[1], 4)],
        "fixedrange": True,
        "zeroline": False,
        "gridcolor": token("rule"),
        "nticks": 7,
        "tickfont": {"color": token("soft")},
    }


def row_axis(rows: Mapping[float, str], domain: tuple[float, float]) -> dict[str, Any]:
    """Rows of marks, one above the other, each with its name before it; rows: the height of each and its name."""
    return value_axis((0.0, float(len(rows))), domain) | {
        "showgrid": False,
        "tickvals": list(rows),
        "ticktext": list(rows.values()),
        "tickfont": {"size": 10, "color": token("soft")},
    }


def panel_title(text: str, top: float) -> dict[str, Any]:
    """Words over the top left corner of a panel; top: its upper edge as a share of the height."""
    return {
        "text": text,
        "xref": "paper",
        "yref": "paper",
        "x": 0,
        "xanchor": "left",
        "y": round(top, 4),
        "yanchor": "bottom",
        "showarrow": False,
        "font": {"size": 13, "color": token("ink")},
    }
