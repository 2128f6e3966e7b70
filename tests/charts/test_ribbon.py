"""The ribbon as drawn: where things lie, what tells them apart, and what it says to those who can't see it."""

import re
from pathlib import Path
from xml.etree import ElementTree

import pytest
from hypothesis import given
from hypothesis import strategies as st

import app
from app.charts.ribbon import DRAWN_STAGES, SEVERITIES, FlagMark, Segment, Tick, ribbon_svg, ribbon_text

WEB = Path(app.__file__).parent / "web"
DEFINITIONS = (WEB / "templates" / "_ribbon_defs.html").read_text(encoding="utf-8")
STYLES = (WEB / "static" / "css" / "ribbon.css").read_text(encoding="utf-8")

STEEP = [Segment("immersion", 0, 8), Segment("air_rest", 8, 24), Segment("immersion", 24, 32)]


def draw(*args, **options) -> ElementTree.Element:
    return ElementTree.fromstring(ribbon_svg(*args, **{"label": "Batch 7", **options}))


def boxes(svg: ElementTree.Element, css_class: str) -> list[tuple[float, float]]:
    """Start and end, in per cent, of each rectangle of that class, as drawn."""
    found = [rect for rect in svg.iter("rect") if css_class in rect.get("class", "").split()]
    starts = [float(rect.get("x", "0").rstrip("%")) for rect in found]
    widths = [float(rect.get("width", "0").rstrip("%")) for rect in found]
    return [(start, start + width) for start, width in zip(starts, widths, strict=True)]


def places(svg: ElementTree.Element, href: str) -> list[float]:
    return [float(use.get("x", "").rstrip("%")) for use in svg.iter("use") if use.get("href") == href]


def test_each_stage_lies_at_its_hours():
    assert sorted(boxes(draw(STEEP), "rb-stage")) == [(0, 25), (25, 75), (75, 100)]


def test_hours_to_come_leave_room_on_the_right():
    svg = draw(STEEP, planned=[Segment("germination", 32, 64)], now_h=32)
    assert sorted(boxes(svg, "rb-stage"))[-1] == (37.5, 50)
    assert boxes(svg, "rb-plan") == [(50, 100)]


def test_a_shared_scale_is_kept_when_the_batch_is_shorter():
    assert max(end for _, end in boxes(draw(STEEP, hours_total=64), "rb-stage")) == 50


def test_a_batch_longer_than_the_shared_scale_is_not_cut_off():
    assert max(end for _, end in boxes(draw(STEEP, hours_total=8), "rb-stage")) == 100


def test_ten_minutes_in_water_can_be_seen_in_a_batch_of_200_hours():
    start, end = boxes(draw([Segment("immersion", 0, 1 / 6), Segment("air_rest", 1 / 6, 200)]), "rb-stage")[-1]
    assert start == 0
    assert (end - start) / 100 * 358 >= 4


def test_a_short_stage_is_drawn_over_its_long_neighbours():
    stages = [Segment("air_rest", 0, 100), Segment("immersion", 100, 100.2), Segment("germination", 100.2, 200)]
    fills = [rect.get("fill") for rect in draw(stages).iter("rect")]
    assert fills[-1] == "url(#rb-immersion)"


def test_a_short_last_stage_stays_inside_the_strip():
    assert max(end for _, end in boxes(draw([*STEEP, Segment("cooling", 32, 32)]), "rb-stage")) <= 100.01


def test_stages_that_run_backwards_or_have_no_colour_are_left_out():
    odd = [Segment("charged", -5, 0), Segment("immersion", 8, 2), Segment("finished", 40, 40)]
    assert boxes(draw([*odd, Segment("air_rest", 2, 40)]), "rb-stage") == [(5, 100)]


def test_an_abandoned_batch_ends_in_a_cross_and_in_the_word():
    stages = [Segment("immersion", 0, 5), Segment("abandoned", 5, 5)]
    assert places(draw(stages, hours_total=10), "#rb-cross") == [50]
    assert "abandoned" in ribbon_text(stages, label="Batch 7")


def test_without_any_stage_an_empty_strip_is_drawn_and_said():
    svg = draw([])
    assert boxes(svg, "rb-bare") == [(0, 100)]
    assert "no water yet" in svg.get("aria-label", "")


@pytest.mark.parametrize("severity", SEVERITIES)
def test_each_severity_has_a_shape_of_its_own(severity):
    svg = draw(STEEP, flags=[FlagMark(16, severity)])
    assert places(svg, f"#rb-flag-{severity}") == [50]
    shapes = re.findall(r'id="rb-flag-\w+" d="([^"]+)"', DEFINITIONS)
    assert len(set(shapes)) == len(SEVERITIES)


def test_the_worst_flag_lies_on_top():
    flags = [FlagMark(4, "act"), FlagMark(4, "notice"), FlagMark(4, "caution")]
    drawn = [use.get("href") for use in draw(STEEP, flags=flags).iter("use")]
    assert drawn == ["#rb-flag-notice", "#rb-flag-caution", "#rb-flag-act"]


def test_facts_that_lie_together_share_a_tick():
    (path,) = draw(STEEP, ticks=[Tick(16), Tick(16.01), Tick(20)]).iter("path")
    assert path.get("d", "").count("M") == 2


def test_a_thousand_facts_still_make_a_light_drawing():
    assert len(ribbon_svg(STEEP, label="Batch 7", ticks=[Tick(n * 0.032) for n in range(1000)])) < 6000


def test_now_is_a_line_at_its_hour():
    (line,) = draw(STEEP, now_h=24).iter("line")
    assert (line.get("x1"), line.get("x2")) == ("75%", "75%")


@pytest.mark.parametrize("hours", [1, 9, 47, 170, 400])
def test_the_axis_has_hours_that_can_be_told_apart(hours):
    texts = list(draw([Segment("immersion", 0, hours)], has_axis=True).iter("text"))
    assert texts[0].text == "h 0"
    assert 2 <= len(texts) <= 11
    assert all(0 <= float((text.get("x") or "").rstrip("%")) <= 100 for text in texts)


def test_the_words_name_every_stage_with_its_hours_what_is_planned_and_the_flags():
    text = ribbon_text(
        STEEP,
        label="Batch 7",
        planned=[Segment("germination", 32, 128)],
        flags=[FlagMark(30, "act"), FlagMark(9.5, "caution", is_answered=True)],
        now_h=32,
    )
    assert text == (
        "Batch 7: immersion 8 h, air rest 16 h, immersion 8 h; now hour 32; still planned: germination 96 h; "
        "flags: caution at hour 9.5, answered, act now at hour 30"
    )


def test_a_label_from_a_person_cannot_leave_its_attribute():
    name = 'Batch "7" <script>'
    assert draw(STEEP, label=name).get("aria-label", "").startswith(name)


def test_the_drawing_is_one_picture_to_a_screen_reader():
    assert draw(STEEP).get("role") == "img"


def test_every_pattern_and_shape_used_is_defined_once():
    everything = ribbon_svg(
        [*(Segment(stage, n, n + 1) for n, stage in enumerate(DRAWN_STAGES)), Segment("abandoned", 6, 6)],
        label="all",
        flags=[FlagMark(1, severity) for severity in SEVERITIES],
    )
    used = re.findall(r'(?:url\(#|href="#)([\w-]+)', everything)
    assert len(set(used)) == len(DRAWN_STAGES) + len(SEVERITIES) + 1
    for name in set(used):
        assert DEFINITIONS.count(f'id="{name}"') == 1


def test_every_class_used_has_a_rule():
    everything = ribbon_svg(
        [*(Segment(stage, n, n + 1) for n, stage in enumerate(DRAWN_STAGES)), Segment("abandoned", 6, 6)],
        label="all",
        planned=[Segment(stage, n, n + 1) for n, stage in enumerate(DRAWN_STAGES)],
        flags=[FlagMark(1, severity, is_answered=True) for severity in SEVERITIES],
        ticks=[Tick(1)],
        now_h=3,
        has_axis=True,
    )
    used = {name for group in re.findall(r'class="([^"]+)"', everything + DEFINITIONS) for name in group.split()}
    assert {name for name in used if f".{name} " not in STYLES and f".{name}." not in STYLES} == set()


def test_it_is_drawn_without_inline_style():
    assert "style" not in ribbon_svg(STEEP, label="Batch 7", now_h=3, has_axis=True) + DEFINITIONS


stretches = st.lists(
    st.builds(Segment, st.sampled_from(DRAWN_STAGES), st.floats(-50, 500), st.floats(-50, 500)), max_size=12
)


@given(stretches, stretches, st.none() | st.floats(-10, 600))
def test_whatever_the_hours_everything_lies_inside_the_strip(segments, planned, now_h):
    svg = draw(segments, planned=planned, now_h=now_h, has_axis=True)
    for start, end in boxes(svg, "rb-stage") + boxes(svg, "rb-plan"):
        assert 0 <= start <= end <= 100.02
