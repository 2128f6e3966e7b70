"""Every mark of the programmes that ship: a source is named only from the list, and what is derived says from what."""

import re

import pytest

from app.judgement.cautions import ROAST
from app.judgement.programmes.limits import HIGH_ONLY
from app.judgement.programmes.programme import load_builtin
from app.judgement.programmes.sources import cited, marked, named_in, published, sources, tally

BUILTIN = load_builtin()
EVERY_MARK = [(key, *each) for key, programme in BUILTIN.items() for each in marked(programme)]
ONLY_BARLEY = ("CMBTC 2012", "AMBA 2002", "Young", "Evans et al. 2024", "Haley & Stokes 1987", "Müller et al. 2014")
TARGETS = (
    "immersion_h", "air_rest_h", "grain_temperature.germination", "germination_d", "cast_moisture", "acrospire",
    "water_temperature.immersion", "air_on_temperature.withering", "air_on_temperature.drying",
    "air_on_temperature.curing", "final_moisture", "grain_temperature.stewing", "grain_temperature.roasting",
)  # fmt: skip


def test_every_mark_is_listed_once():
    paths = [(key, path) for key, path, _, _ in EVERY_MARK]
    assert len(paths) == len(set(paths)) == sum(sum(tally(each).values()) for each in BUILTIN.values())
    assert len(paths) > 800


def wrong_with(mark, source):
    """What a mark lacks, in words; nothing where it says all that it must."""
    if mark in "PTD" and (not named_in(source) or source.startswith("from memory")):
        return "a source of the list"
    if mark in "PTD" and not re.search(r"\d|full length", source):
        return "what the source says"
    if mark == "D" and not re.search(r"above|below|less|more|between|by the factor|rounded|hotter", source):
        return "the margin or the reckoning"
    if mark == "M" and not source.startswith("from memory"):
        return "that it is from memory"
    # "Name 1987" or "Name et al. 2024" in brackets is a source of the list.
    inside = ", ".join(re.findall(r"\(([^()]*\b(?:18|19|20)\d\d)\)", source))
    return "" if all(each in sources() for each in re.split(r", (?=[A-Z])", inside) if each) else "a known source"


@pytest.mark.parametrize("key", sorted(BUILTIN))
def test_each_mark_says_what_its_letter_claims(key):
    lacking = [(each.path, wrong) for each in marked(BUILTIN[key]) if (wrong := wrong_with(each.mark, each.source))]
    assert lacking == []


def test_a_mark_that_claims_too_much_is_found():
    assert wrong_with("P", "some book") == "a source of the list"
    assert wrong_with("P", "Young") == "what the source says"
    assert wrong_with("D", "50 °C (Young)") == "the margin or the reckoning"
    assert wrong_with("M", "50 °C (Young)") == "that it is from memory"
    assert wrong_with("M", "from memory; 50 °C (Nobody 1999)") == "a known source"


@pytest.mark.parametrize("key", [key for key, each in BUILTIN.items() if not {"barley"} & set(each.species)])
def test_barley_s_figures_stand_beside_barley_only(key):
    foreign = [each for each in marked(BUILTIN[key]) if set(named_in(each.source)) & set(ONLY_BARLEY)]
    assert [each.path for each in foreign if each.mark in "PTD"] == []


@pytest.mark.parametrize("key", sorted(BUILTIN))
def test_beside_every_target_stands_what_is_published_or_that_nothing_was_found(key):
    found = {each.path: each for each in marked(BUILTIN[key])}
    wanted = [f"limits/{limit}/target" for limit in TARGETS if limit in BUILTIN[key].limits]
    wanted += [
        path for path in found if path.startswith("steps/") and BUILTIN[key].steps[int(path[6:])].stage != "charged"
    ]
    assert wanted
    for path in wanted:
        source = found[path].source
        assert named_in(source) or "nothing published found" in source, path


def test_no_source_of_the_list_is_named_by_nobody():
    assert {name for programme in BUILTIN.values() for name, _ in cited(programme)} == set(sources())


def test_what_is_derived_is_not_counted_as_published():
    counts = tally(BUILTIN["barley_pale"])
    assert counts["D"] > 0
    assert published(counts) == counts["P"] + counts["T"]


@pytest.mark.parametrize("wrong", ["Bryce", "MEBAK", "EBC"])
def test_what_nobody_read_or_what_says_otherwise_is_named_nowhere(wrong):
    # As a unit of colour, behind a number, it is nobody's convention.
    assert [each for each in EVERY_MARK if re.search(rf"(?<!\d ){wrong}", each[3])] == []


@pytest.mark.parametrize("key", sorted(BUILTIN))
def test_no_programme_sets_a_low_bound_that_nothing_judges(key):
    for name in HIGH_ONLY & set(BUILTIN[key].limits):
        assert all(low is None for _, low, _ in BUILTIN[key].limits[name].bands()), name


# --- where a published range was contradicted


@pytest.mark.parametrize(
    ("key", "limit", "value"),
    [
        ("barley_pale", "acrospire", 1.0),
        ("kitchen_barley", "acrospire", 0.95),
        ("barley_dark", "grain_temperature.germination", 20.0),
        ("barley_dark", "cast_moisture", 0.5),
        ("chit", "germination_d", 4.0),
        ("wheat_base", "cast_moisture", 0.38),
        ("kitchen_wheat", "cast_moisture", 0.38),
        ("wheat_base", "grain_temperature.germination", 20.0),
        ("oats", "grain_temperature.germination", 10.0),
        ("oats", "germination_d", 3.0),
        ("rye", "cast_moisture", 0.48),
        ("caramel", "final_moisture", 0.07),
        ("barley_dark", "air_on_temperature.curing", 110.0),
        ("barley_pale", "air_on_temperature.withering", 60.0),
        ("barley_pale", "air_on_temperature.drying", 75.0),
        ("vienna", "air_on_temperature.curing", 110.0),
        ("munich", "air_on_temperature.curing", 110.0),
        ("munich", "air_on_temperature.curing", 80.0),
        ("distilling", "germination_d", 7.0),
        ("amber", "grain_temperature.roasting", 170.0),
        ("brown", "grain_temperature.roasting", 176.0),
        ("chocolate", "grain_temperature.roasting", 225.0),
        ("black", "grain_temperature.roasting", 230.0),
        ("sorghum", "grain_temperature.germination", 24.0),
        ("sorghum", "germination_d", 6.0),
        ("pearl_millet", "grain_temperature.germination", 30.0),
        ("finger_millet", "grain_temperature.germination", 35.0),
        ("finger_millet", "cast_moisture", 0.33),
        ("buckwheat", "cast_moisture", 0.45),
        ("buckwheat", "grain_temperature.germination", 9.5),
        ("quinoa", "germination_d", 4.0),
        ("quinoa", "air_on_temperature.curing", 65.0),
        ("naked_oats", "germination_d", 10.0),
        ("kitchen_caramel", "stewing_h", 4.0),
    ],
)
def test_nothing_published_is_a_caution(key, limit, value):
    assert BUILTIN[key].limit(limit).judge(value).severity in (None, "notice")


def test_the_second_air_rest_may_be_as_short_as_published():
    assert BUILTIN["barley_pale"].steps[3].hours_low == 5


@pytest.mark.parametrize(("key", "hottest"), [("barley_diastatic", 54), ("wheat_diastatic", 52)])
def test_a_diastatic_malt_is_never_hotter_than_its_own_note_says(key, hottest):
    programme = BUILTIN[key]
    assert max(step.grain_c for step in programme.ceiling) == hottest
    assert f"{hottest} °C at the end" in programme.note
    assert all(step.grain_c <= hottest for step in programme.steps if step.stage == "kilning")


def test_caramel_says_that_it_is_made_on_the_kiln():
    assert "on the kiln, not in a drum" in BUILTIN["caramel"].note


@pytest.mark.parametrize(
    "key",
    [key for key, each in BUILTIN.items() if each.scale == "floor" and each.purpose != "caramel" and not each.is_roast],
)
def test_withering_is_told_by_the_depth_of_the_bed(key):
    step = next(step for step in BUILTIN[key].steps if step.phase == "withering")
    assert "thin trays wither in 4–6 h, a floor kiln in 8–14 h, natural draught in about 24 h" in step.note


@pytest.mark.parametrize("key", sorted(key for key in BUILTIN if BUILTIN[key].limit("grain_temperature.bagging")))
def test_how_cool_it_goes_into_a_sack_is_one_number_in_the_words_and_the_limit(key):
    programme = BUILTIN[key]
    target = programme.limit("grain_temperature.bagging").target_high
    sentences = [*programme.cautions, *(step.note for step in programme.steps), ROAST.about, ROAST.short]
    said = re.findall(r"below (\d\d) °C(?: \(\d+ °F\))?(?: before|, and look again|\.)", " ".join(sentences))
    assert said
    assert {float(each) for each in said} == {target}
