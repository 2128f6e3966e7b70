"""Every figure that the app makes is one that Plotly's own validators take: no property is misspelt or out of place."""

from __future__ import annotations

from typing import Any

import plotly.graph_objects as go
import pytest

from app.charts.comparison import MOST_BATCHES, comparison_figure
from app.charts.photo_marks import PhotoMark
from app.charts.theme import Figure
from app.charts.timeline import timeline_figure
from app.judgement.flags import evaluate
from app.judgement.history.history import BatchInfo, History
from app.judgement.programmes.programme import load_builtin
from tests.charts.tale import draw, flag, tale, to_plan, told
from tests.judgement.story import at


def coloured(part: Any, key: str = "") -> Any:
    """The figure as the page's script hands it on: a token of the style sheet is a colour."""
    if isinstance(part, dict):
        return {name: coloured(value, name) for name, value in part.items()}
    if isinstance(part, list):
        return [coloured(each, key) for each in part]
    is_token = isinstance(part, str) and part.startswith("var:") and key.lower().endswith("color")
    return "rgba(10, 20, 30, 0.5)" if is_token else part


def taken(figure: Figure) -> go.Figure:
    ready = coloured(figure)
    return go.Figure(data=ready["data"], layout=ready["layout"])


def a_photo() -> PhotoMark:
    return PhotoMark(at(30), "/photos/1", "the bed", 1)


FIGURES = {
    "live": lambda: draw(flags=[flag("act", 40, 44), flag("notice", 30)]),
    "in Fahrenheit, with a photo": lambda: draw(units="us", photos=[a_photo()]),
    "nothing measured": lambda: timeline_figure(History.build(BatchInfo(id="b"), []), at(0), []),
    "side by side": lambda: comparison_figure([told(tale(), each) for each in range(1, MOST_BATCHES + 1)], at(52)),
    "beside a whole one": lambda: comparison_figure([told(tale()), to_plan()], at(1000)),
}


@pytest.mark.parametrize("name", FIGURES)
def test_a_figure_is_one_that_plotly_takes(name: str) -> None:
    assert len(taken(FIGURES[name]()).data) >= 3


@pytest.mark.parametrize("key", load_builtin())
def test_a_batch_of_any_programme_is_a_figure_that_plotly_takes(key: str) -> None:
    history = to_plan(key)
    assert taken(timeline_figure(history, at(1000), evaluate(history, at(1000)))).data


def test_what_plotly_does_not_know_is_refused() -> None:
    with pytest.raises(ValueError, match="Invalid property"):
        taken(draw() | {"layout": {"hovermood": "closest"}})
