"""Photos on the timeline: a mark among the entries, at its hour, that leads to the photo."""

from collections.abc import Sequence
from datetime import datetime
from typing import Any, NamedTuple

from app.charts.backdrop import FACTS_ROW, STRIP
from app.charts.frame import Frame
from app.charts.hover import hover, lines
from app.charts.theme import token

CAPTION = " A pentagon among the entries is a photo: press it to see it."


class PhotoMark(NamedTuple):
    """The photos of one fact: when, where they are shown, in words, and how many."""

    at: datetime
    address: str
    words: str
    how_many: int


def photo_trace(frame: Frame, marks: Sequence[PhotoMark]) -> dict[str, Any]:
    """The marks as one trace. The page's script follows customdata when a mark is pressed."""
    return {
        "type": "scatter",
        "xaxis": "x",
        "yaxis": STRIP,
        "name": "photos",
        "mode": "markers",
        "x": [frame.hour(mark.at) for mark in marks],
        "y": [FACTS_ROW] * len(marks),
        "customdata": [mark.address for mark in marks],
        "marker": {
            "symbol": "pentagon",
            "size": 12,
            "color": token("barley"),
            "line": {"color": token("sheet"), "width": 1},
        },
        "hoverinfo": "text",
        "hovertext": [_hover(frame, mark) for mark in marks],
        "showlegend": False,
    }


def _hover(frame: Frame, mark: PhotoMark) -> str:
    many = [f"{mark.how_many} photos"] if mark.how_many > 1 else []
    return hover("<br>".join(lines(mark.words)), [frame.clock.moment(mark.at), *many, "press to see it"])
