"""Charts in a real browser, under the content policy that every page has."""

import re
from collections.abc import Iterator
from itertools import pairwise
from pathlib import Path
from threading import Thread

import pytest
from flask import Flask, render_template_string
from PIL import Image
from playwright.sync_api import Page, expect
from werkzeug.serving import make_server

import app
from app.charts.comparison import comparison_figure
from app.charts.timeline import timeline_figure
from app.config import Settings
from app.web.access import security
from app.web.assets import plotly_script, static_files
from tests.browser.conftest import DESK, PHONE, page_at
from tests.charts.tale import flag, tale, to_plan, told
from tests.judgement.story import at
from tests.web.test_look import colours, linear_rgb

TABLE = (("Stage", "Temperatures"), [("immersion", "grain 14.0 to 19.5 °C")])
PAGE = """{% extends "base.html" %}
{% from "_macros/charts.html" import chart, chart_head with context %}
{% block head %}{{ chart_head() }}{% endblock %}
{% block masthead %}{% endblock %}
{% block content %}
<h1>Batch 7</h1><section class="sheet">{{ chart(figure, "Moisture and temperature of batch 7", table) }}</section>
{% endblock %}"""
NOTE = 'roots < 5 mm & white <a href="javascript:alert(1)">smell</a>'


def drawn(name: str):
    if name == "whole":
        return timeline_figure(to_plan(), at(1000), [flag("caution", 20, 24)])
    if name == "comparison":
        return comparison_figure([told(tale(), 1, "var:ink"), to_plan()], at(1000))
    story = tale()
    story.say(51, "grain_temperature", {"value": 17.0}, note=NOTE)
    return timeline_figure(told(story), at(52), [flag("act", 40, 44)])


@pytest.fixture(scope="module")
def charts(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """The address of a server that knows nothing but charts, and what every page asks for in the background."""
    served = Flask("charts", static_folder=None, template_folder=str(Path(app.__file__).parent / "web" / "templates"))
    settings = Settings(data_dir=tmp_path_factory.mktemp("charts"))
    for part in (security, static_files, plotly_script):
        part.init_app(served, settings)

    @served.get("/<name>")
    def page(name: str) -> str:
        return render_template_string(PAGE, figure=drawn(name), table=TABLE)

    @served.get("/sync/hello")
    def hello() -> dict[str, str]:
        return {"csrf_token": "none", "server_time": "2026-03-14T09:30:00+00:00", "version": "0"}

    @served.get("/sw.js")
    def worker() -> tuple[str, dict[str, str]]:
        return "", {"Content-Type": "text/javascript"}

    server = make_server("127.0.0.1", 0, served, threaded=True)
    thread = Thread(target=server.serve_forever, daemon=True)
    thread.start()
    yield f"http://127.0.0.1:{server.server_port}"
    server.shutdown()
    thread.join()
    server.server_close()


@pytest.fixture
def opened(browser, complaints, charts):
    """Open a page with a chart, and wait until it is drawn."""
    pages: list[Page] = []

    def open_page(name: str = "live", viewport=DESK, **options) -> Page:
        page = page_at(browser, viewport, **options)
        complaints.watch(page)
        pages.append(page)
        page.goto(f"{charts}/{name}")
        expect(page.locator(".chart .legend")).to_be_visible()
        page.wait_for_function("() => document.querySelector('.chart').data")
        return page

    yield open_page
    for page in pages:
        page.context.close()


def colour(page: Page, selector: str, name: str) -> tuple[int, ...]:
    text = page.locator(selector).first.evaluate("(element, name) => getComputedStyle(element)[name]", name)
    return tuple(round(float(part)) for part in re.findall(r"[\d.]+", text)[:3])


def expected(token: str, theme: str) -> tuple[int, ...]:
    """The token in sRGB, reckoned apart from the browser [P: CSS Color Module Level 4; IEC 61966-2-1]."""
    parts = (min(max(part, 0.0), 1.0) for part in linear_rgb(*colours(theme)[token]))
    return tuple(
        round(255 * (12.92 * each if each <= 0.0031308 else 1.055 * each ** (1 / 2.4) - 0.055)) for each in parts
    )


def hover(page: Page, words: str) -> None:
    """Move the pointer to the point whose words hold these."""
    place = page.evaluate(
        """(words) => {
          const chart = document.querySelector(".chart");
          const box = chart.getBoundingClientRect();
          for (const points of chart.calcdata) for (const point of points) {
            const trace = points[0].trace;
            if (!trace.hovertext?.[point.i]?.includes(words)) continue;
            const [x, y] = [chart._fullLayout.xaxis, chart._fullLayout[trace.yaxis.replace("y", "yaxis")]];
            return [box.x + x._offset + x.l2p(point.x), box.y + y._offset + y.l2p(point.y)];
          }
        }""",
        words,
    )
    page.mouse.move(*place)


@pytest.mark.parametrize("name", ["whole", "comparison"])
def test_a_chart_is_drawn_and_styled_without_a_breach_of_the_policy(opened, name):
    page = opened(name)
    assert page.locator(".chart .xtick").count() > 2
    assert page.locator(".chart .scatterlayer .trace").count() > 3
    expect(page.locator("[data-chart-waits]")).to_have_count(0)
    # The rules that plotly.js adds went into the empty sheet, and take hold.
    assert page.evaluate("() => document.getElementById('plotly.js-style-global').sheet.cssRules.length") > 20
    assert page.locator(".chart .main-svg").first.evaluate("(svg) => getComputedStyle(svg).position") == "absolute"
    assert page.locator("style").count() == 0


def test_a_note_appears_beside_its_point_as_it_was_typed(opened):
    page = opened()
    hover(page, "roots")
    label = page.locator(".hoverlayer .hovertext")
    expect(label).to_contain_text("grain 17.0 °C")
    assert " ".join(NOTE.split()) in " ".join(" ".join(label.locator("tspan").all_text_contents()).split())
    assert page.locator(".chart a[href^='javascript']").count() == 0


@pytest.mark.parametrize("theme", ["light", "dark"])
def test_colours_are_those_of_the_page(opened, theme):
    page = opened(scheme=theme)
    assert colour(page, ".chart .xtick text", "fill") == pytest.approx(expected("soft", theme), abs=1)
    assert colour(page, ".chart .legendtext", "fill") == pytest.approx(expected("soft", theme), abs=1)
    assert colour(page, ".chart .bg", "fill") == pytest.approx(expected("sheet", theme), abs=1)


def test_a_chart_follows_the_page_into_the_dark_and_back_onto_paper(opened):
    page = opened(scheme="light")
    page.emulate_media(color_scheme="dark")
    red = "parseInt(getComputedStyle(document.querySelector('.chart .xtick text')).fill.slice(4))"
    page.wait_for_function(f"() => {red} > 128")
    page.emulate_media(color_scheme="dark", media="print")
    page.wait_for_function(f"() => {red} < 128")


def test_a_title_that_looks_like_a_colour_stays_a_title(opened):
    expect(opened("comparison").locator(".chart .legendtext").first).to_have_text("1 var:ink")


def test_hours_are_chosen_by_a_view_left_by_a_double_click_and_chosen_by_dragging(opened):
    page = opened("whole")
    axis = page.evaluate("() => document.querySelector('.chart').layout.xaxis")
    whole, coarse = axis["range"], axis["dtick"]
    button = page.get_by_role("button", name="germination")
    button.focus()
    page.keyboard.press("Enter")
    expect(button).to_have_attribute("aria-pressed", "true")
    page.wait_for_function("(whole) => document.querySelector('.chart').layout.xaxis.range[0] > whole[0]", arg=whole)
    page.locator(".chart .nsewdrag").last.dblclick()
    expect(page.get_by_role("button", name="whole")).to_have_attribute("aria-pressed", "true")
    page.wait_for_function("(whole) => document.querySelector('.chart').layout.xaxis.range[0] === whole[0]", arg=whole)
    # Hours dragged over are shown by themselves, with finer steps.
    box = page.locator(".chart .nsewdrag").last.bounding_box()
    page.mouse.move(box["x"] + 100, box["y"] + 50)
    page.mouse.down()
    page.mouse.move(box["x"] + 200, box["y"] + 55, steps=5)
    page.mouse.up()
    page.wait_for_function("(coarse) => document.querySelector('.chart').layout.xaxis.dtick < coarse", arg=coarse)
    expect(page.locator(".chart-view[aria-pressed=true]")).to_have_count(0)


def test_hours_dragged_over_on_the_floor_are_on_the_scale_of_the_floor(opened):
    page = opened("whole")
    start, end = page.evaluate(
        """() => {
          const { xaxis } = document.querySelector(".chart")._fullLayout;
          return [60, 100].map((hour) => xaxis.l2p(hour));
        }"""
    )
    box = page.locator(".chart .nsewdrag").last.bounding_box()
    page.mouse.move(box["x"] + start, box["y"] + 50)
    page.mouse.down()
    page.mouse.move(box["x"] + end, box["y"] + 55, steps=5)
    page.mouse.up()
    page.wait_for_function("() => document.querySelector('.chart').layout.xaxis.range[0] > 50")
    low, high = page.evaluate("() => document.querySelector('.chart').layout.yaxis2.range")
    assert 0 < low < 15 < high < 30


def test_a_chart_is_kept_as_a_picture(opened, tmp_path):
    page = opened("comparison")
    with page.expect_download() as waited:
        page.get_by_role("button", name="Keep as a picture").click()
    assert waited.value.suggested_filename == "moisture-and-temperature-of-batch-7.png"
    waited.value.save_as(tmp_path / "kept.png")
    with Image.open(tmp_path / "kept.png") as picture:
        assert picture.width == 2 * page.locator(".chart").evaluate("(chart) => chart._fullLayout.width")
        assert len(picture.convert("RGB").getcolors(1_000_000)) > 20


def test_a_chart_is_kept_as_a_page_that_is_drawn_without_the_house(opened, browser, tmp_path):
    page = opened()
    with page.expect_download() as waited:
        page.get_by_role("button", name="Keep as a page").click()
    kept = tmp_path / waited.value.suggested_filename
    waited.value.save_as(kept)
    context = browser.new_context(offline=True)
    alone, asked = context.new_page(), []
    alone.on("request", lambda request: asked.append(request.url))
    alone.goto(kept.as_uri())
    expect(alone.locator("#chart .legend")).to_be_visible()
    assert alone.locator("#chart .scatterlayer .trace").count() == page.locator(".chart .scatterlayer .trace").count()
    assert asked == [kept.as_uri()]
    # Words that somebody typed are words there too.
    assert "<a href" not in kept.read_text(encoding="utf-8").rpartition("<script>")[2]
    context.close()


def test_a_chart_takes_the_width_of_its_page(opened):
    page = opened()
    page.set_viewport_size({"width": 700, "height": 900})
    page.wait_for_function(
        """() => {
          const chart = document.querySelector(".chart");
          return chart.clientWidth < 700 && chart._fullLayout.width === chart.clientWidth;
        }"""
    )
    assert page.evaluate("() => document.documentElement.scrollWidth <= innerWidth")


def test_on_a_phone_nothing_runs_over_the_edge_and_hours_and_legend_stand_clear(opened):
    page = opened("whole", PHONE)
    assert page.evaluate("() => document.documentElement.scrollWidth <= innerWidth")
    boxes = [tick.bounding_box() for tick in page.locator(".chart .xtick text").all()]
    assert len(boxes) > 2
    assert all(one["x"] + one["width"] < other["x"] for one, other in pairwise(boxes))
    legend, chart = (page.locator(each).first.bounding_box() for each in (".chart .legend", ".chart .main-svg"))
    assert legend["y"] + legend["height"] <= chart["y"] + chart["height"]
    assert legend["y"] > boxes[0]["y"] + boxes[0]["height"]
    names = [name.bounding_box() for name in page.locator(".chart .legendtext").all()]
    assert all(name["x"] + name["width"] <= chart["x"] + chart["width"] for name in names)


def test_where_plotly_cannot_be_had_the_table_is_pointed_to(browser, charts):
    page = page_at(browser, DESK)
    page.route("**/plotly/*", lambda route: route.abort())
    page.goto(f"{charts}/live")
    expect(page.locator("[data-chart-waits]")).to_have_text(
        "The chart could not be drawn. The table below holds the same."
    )
    page.context.close()


def test_without_script_the_table_tells_the_same(browser, charts):
    context = browser.new_context(java_script_enabled=False)
    page = context.new_page()
    page.goto(f"{charts}/live")
    page.get_by_text("The same as a table").click()
    expect(page.get_by_role("cell", name="grain 14.0 to 19.5 °C", exact=False)).to_be_visible()
    expect(page.get_by_text("The table below holds the same; the chart needs its script.")).to_be_visible()
    context.close()
