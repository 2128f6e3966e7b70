"""The drawing of the kiln's ceiling."""

import re

from app.charts.ceiling import ceiling_svg, range_words
from app.judgement.programmes.programme import CeilingStep

STEPS = (CeilingStep(0.25, 50.0), CeilingStep(0.12, 62.0), CeilingStep(0.0, 86.0))


def percent(share: float) -> str:
    return f"{100 * share:g} %"


def drawn(steps=STEPS, label: str = "Ceiling") -> str:
    return ceiling_svg(steps, label=label, temperature=lambda value: f"{value:g} °C", moisture=percent)


def heights(svg: str) -> list[int]:
    return [int(height) for height in re.findall(r'<rect[^>]* height="(\d+)"', svg)]


def test_each_step_has_a_bar_and_a_hotter_one_is_higher():
    found = heights(drawn())
    assert len(found) == 3
    assert found == sorted(found)
    assert found[0] < found[-1]


def test_the_text_alternative_tells_all_of_it():
    assert 'aria-label="Ceiling: above 25 %: 50 °C; 12 % to 25 %: 62 °C; below 12 %: 86 °C"' in drawn()


def test_a_single_step_holds_at_any_moisture():
    assert range_words((CeilingStep(0.0, 120.0),), 0, percent) == "at any moisture"


def test_words_are_no_markup():
    assert "<b>" not in drawn(label="<b>")


def test_no_ceiling_draws_no_bar():
    assert heights(drawn(())) == []
