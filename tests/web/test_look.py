"""The style sheets and templates as files: contrast of every pair of colours, nothing the content policy forbids."""

import math
import re
from pathlib import Path

import pytest

import app

WEB = Path(app.__file__).parent / "web"
SHEETS = sorted((WEB / "static" / "css").glob("*.css"))
TEMPLATES = sorted((WEB / "templates").rglob("*.html"))

THEMES = {"light": None, "dark": "(prefers-color-scheme: dark)", "night": '[data-theme="night"]'}
GROUNDS = ("paper", "sheet", "wash", "fine-wash", "notice-wash", "caution-wash", "act-wash")
TEXTS = ("ink", "soft", "link", "fine", "notice", "caution", "act")
SHAPES = ("edge", "focus", "steep", "rest-dot", "sprout", "stew", "barley", "kiln", "cool", "notice", "caution", "act")


def linear_rgb(lightness: float, chroma: float, hue: float) -> tuple[float, float, float]:
    """Linear sRGB of an OKLCH colour [P: CSS Color Module Level 4, sample code for OKLab, after B. Ottosson 2020]."""
    a, b = chroma * math.cos(math.radians(hue)), chroma * math.sin(math.radians(hue))
    long = (lightness + 0.3963377774 * a + 0.2158037573 * b) ** 3
    medium = (lightness - 0.1055613458 * a - 0.0638541728 * b) ** 3
    short = (lightness - 0.0894841775 * a - 1.2914855480 * b) ** 3
    return (
        4.0767416621 * long - 3.3077115913 * medium + 0.2309699292 * short,
        -1.2684380046 * long + 2.6097574011 * medium - 0.3413193965 * short,
        -0.0041960863 * long - 0.7034186147 * medium + 1.7076147010 * short,
    )


def luminance(colour: tuple[float, float, float]) -> float:
    red, green, blue = (min(max(part, 0.0), 1.0) for part in linear_rgb(*colour))
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def contrast(one: tuple[float, float, float], other: tuple[float, float, float]) -> float:
    """[P: WCAG 2.2, definitions of contrast ratio and relative luminance]."""
    darker, lighter = sorted((luminance(one), luminance(other)))
    return (lighter + 0.05) / (darker + 0.05)


def colours(theme: str) -> dict[str, tuple[float, float, float]]:
    """The colour tokens of a theme, those of light where it has none of its own."""
    text = next(sheet for sheet in SHEETS if sheet.name == "tokens.css").read_text(encoding="utf-8")
    starts = {name: text.index(mark) if mark else 0 for name, mark in THEMES.items()}
    found: dict[str, tuple[float, float, float]] = {}
    for name in ("light", theme):
        end = min((start for start in starts.values() if start > starts[name]), default=len(text))
        for token, *parts in re.findall(r"--([\w-]+): oklch\(([\d.]+)% ([\d.]+) ([\d.]+)\);", text[starts[name] : end]):
            lightness, chroma, hue = map(float, parts)
            found[token] = (lightness / 100, chroma, hue)
    return found


def test_the_reckoning_of_colours_gives_pure_red():
    # CSS Color 4 gives oklch(62.796% 0.25768 29.234) for #ff0000.
    assert linear_rgb(0.62796, 0.25768, 29.234) == pytest.approx((1, 0, 0), abs=1e-3)


def test_black_on_white_has_the_highest_contrast():
    assert contrast((0, 0, 0), (1, 0, 0)) == pytest.approx(21, abs=0.01)


@pytest.mark.parametrize("theme", THEMES)
@pytest.mark.parametrize("text", TEXTS)
def test_words_can_be_read_on_every_ground(theme, text):
    tokens = colours(theme)
    ratios = {ground: contrast(tokens[text], tokens[ground]) for ground in GROUNDS}
    assert {ground: round(ratio, 2) for ground, ratio in ratios.items() if ratio < 4.5} == {}


@pytest.mark.parametrize("theme", THEMES)
@pytest.mark.parametrize("text", ["paper", "ink-soft"])
def test_words_can_be_read_on_a_filled_button(theme, text):
    assert contrast(colours(theme)[text], colours(theme)["ink"]) >= 4.5


@pytest.mark.parametrize("theme", THEMES)
@pytest.mark.parametrize("shape", SHAPES)
def test_shapes_and_borders_stand_out_from_paper_and_sheet(theme, shape):
    tokens = colours(theme)
    assert min(contrast(tokens[shape], tokens[ground]) for ground in ("paper", "sheet")) >= 3


@pytest.mark.parametrize("theme", THEMES)
def test_the_themes_differ(theme):
    others = [colours(name)["paper"] for name in THEMES if name != theme]
    assert colours(theme)["paper"] not in others


def test_the_dark_changes_colours_and_nothing_else():
    dark = [sheet.name for sheet in SHEETS if "prefers-color-scheme" in sheet.read_text(encoding="utf-8")]
    assert dark == ["tokens.css"]
    text = next(sheet for sheet in SHEETS if sheet.name == "tokens.css").read_text(encoding="utf-8")
    (block,) = re.findall(r"\(prefers-color-scheme: dark\) \{\s*:root \{([^{}]*)\}\s*\}", text)
    said = [each.strip() for each in block.split(";") if each.strip()]
    assert [each for each in said if not re.match(r"--[a-z-]+:[^:]*oklch\(", each)] == []


@pytest.mark.parametrize("template", TEMPLATES, ids=lambda path: path.name)
def test_templates_carry_no_inline_style_or_script(template):
    text = template.read_text(encoding="utf-8")
    assert not re.search(r"""<style|\sstyle=|\son[a-z]+=["']|javascript:""", text)
    assert all("src=" in tag for tag in re.findall(r"<script[^>]*>", text) if "application/json" not in tag)


@pytest.mark.parametrize("sheet", SHEETS, ids=lambda path: path.name)
def test_style_sheets_name_only_known_tokens(sheet):
    everything = "".join(each.read_text(encoding="utf-8") for each in SHEETS)
    declared = set(re.findall(r"--([\w-]+)\s*:", everything))
    assert set(re.findall(r"var\(--([\w-]+)", sheet.read_text(encoding="utf-8"))) <= declared


@pytest.mark.parametrize("sheet", SHEETS, ids=lambda path: path.name)
def test_hover_is_only_for_those_who_can_hover(sheet):
    text = sheet.read_text(encoding="utf-8")
    calm = re.sub(r"@media \(any-hover: hover\) \{.*?\n  \}", "", text, flags=re.DOTALL)
    assert ":hover" not in calm


@pytest.mark.parametrize("sheet", SHEETS, ids=lambda path: path.name)
def test_nothing_is_fetched_from_elsewhere(sheet):
    assert not re.search(r"https?:|@import|@font-face", sheet.read_text(encoding="utf-8"))
