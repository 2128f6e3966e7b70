"""A batch in which much goes wrong: what holds of every flag, whichever rule raised it."""

import re

from app.judgement import cautions
from app.judgement.flags import RULES, Flag, rule_word
from app.judgement.flags.base import RANK
from tests.judgement.flag_story import Story

DANGEROUS = {"mould", "not_sure", "ergot", "room_air", "lot_undeclared", "over_ceiling"}


def troubled() -> Story:
    story = Story().charge()
    story.is_lot_tested = False
    story.tell(0, "steep_on", method="still")
    story.bag_start()
    story.read(1, "water_temperature", 19.0)
    story.chits(2, 0)
    story.look(5, steep="foaming", smell="sour")
    story.chits(10, 60)
    story.tell(13, "drained")
    story.chits(31, 12)
    story.bag(38, 0.49)
    story.chits(39.5, 60)
    story.tell(40, "cast")
    for hour, top, bottom in ((44, 18.5, 14.0), (50, 24.0, 18.0), (58, 26.0, 21.0)):
        story.grain(hour, top, "top")
        story.grain(hour + 0.1, bottom, "bottom")
    story.look(60, mould="not_sure")
    story.look(61, smell="off")
    story.look(63, ergot_kg=0.006, matting="felted")
    story.bag(64, 0.45)
    story.read(66, "co2_room", 16000)
    story.tell(67, "turned", clock_offset_s=700.0, device="Anna's phone")
    story.growth(90, 20, 20, 20, 20, 20)
    story.growth(120, 0, 0, 0, 40, 60)
    story.tell(130, "rub_out", {"looked_at": 20, "counts": {"chalky": 10, "hard_end": 10}})
    story.tell(140, "loaded")
    story.tell(140, "moisture_test", {"value": 0.44}, method="oven_two_stage")
    story.tell(140.1, "heat_on")
    for place, weight in enumerate((10.0, 9.2, 8.4, 7.6, 7.3)):
        story.tray(140.2 + place, weight)
    story.read(141, "air_on_temperature", 52.0, instrument="probe 2")
    story.grain(141, 58.0)
    story.grain(143, 48.0)
    story.tell(147, "heat_off")
    story.tell(148, "stripped")
    story.tell(149, "moisture_test", {"value": 0.07}, method="oven_malt")
    story.tell(190, "outturn", {"net_kg": 20.5, "moisture_wb": 0.07})
    story.tell(200, "finished")
    story.grain(201, 20.0)
    return story


def flags() -> list[Flag]:
    return troubled().flags(202)


def test_every_trouble_is_found() -> None:
    assert {flag.rule for flag in flags()} == {
        "lot_undeclared", "lot_untested", "out_of_limits", "chitted_under_water", "spoiling", "slow_chit",
        "few_chits_at_cast", "oversteeped", "stage_overdue", "warm_and_wet", "top_to_bottom", "turning_due", "not_sure",
        "off_smell", "ergot", "knit_bag", "room_air", "clock_off", "growth_uneven", "past_target", "rub_out",
        "over_ceiling", "lying", "break_point", "culms_left_on", "not_dry_enough", "open_account", "silent",
        "after_the_end",
    }  # fmt: skip


def test_the_gravest_come_first_of_them_gas_and_fire_and_then_the_earliest() -> None:
    found = flags()
    perils = {"room_air": 0, "scorch": 1}
    places = [
        (-RANK[flag.severity], perils.get(flag.rule, 2), flag.starts_at, flag.rule, flag.episode_id) for flag in found
    ]
    assert places == sorted(places)
    assert "room_air" in {flag.rule for flag in found}


def test_every_flag_says_what_is_the_matter_what_it_means_what_to_do_and_by_whose_word() -> None:
    for flag in flags():
        for text in (flag.title, flag.meaning, flag.remedy, flag.source, *flag.in_units("us")):
            assert text.strip(), flag.rule
            assert "{" not in text, flag.rule
            assert "None" not in text, flag.rule


def test_every_flag_rests_on_facts_of_the_batch_and_ends_after_it_began() -> None:
    story = troubled()
    history = story.history()
    known = {record["id"] for record in story.records}
    for flag in story.flags(202):
        assert flag.fact_ids, flag.rule
        assert set(flag.fact_ids) <= known, flag.rule
        assert flag.episode_id == history.root_id(flag.fact_ids[0])
        assert flag.ends_at is None or flag.ends_at >= flag.starts_at, flag.rule


def test_no_two_flags_bear_the_same_name() -> None:
    found = flags()
    assert len({flag.key for flag in found}) == len(found)


def test_every_rule_that_fires_is_in_the_register_and_has_a_name() -> None:
    for flag in flags():
        assert flag.rule in RULES
        assert rule_word(flag.rule) != flag.rule
    assert rule_word("a_rule_of_an_older_program") == "a_rule_of_an_older_program"


def test_where_people_can_be_hurt_the_flag_says_so() -> None:
    cautioned = {flag.rule for flag in flags() if flag.caution is not None}
    assert cautioned >= DANGEROUS & {flag.rule for flag in flags()}


def test_every_caution_has_a_short_form_and_a_source() -> None:
    known = [each for each in vars(cautions).values() if isinstance(each, cautions.Caution)]
    assert len(known) > 10
    for caution in known:
        assert len(caution.short) < len(caution.text)
        assert str(caution) == caution.short
        assert caution.source


def test_no_flag_keeps_metric_figures_for_a_reader_of_us_units() -> None:
    warm, hot = Story().kiln(), Story().kiln()
    warm.tell(160.2, "interruption", {"what": "the fan stands"})
    for hour in (160.5, 167.5):
        warm.grain(hour, 30.0)
        hot.grain(hour, 70.0)
    flags = [warm.flag(168, "warm_and_wet"), hot.flag(168, "over_ceiling")]
    told = " ".join(text for flag in flags for text in flag.in_units("us"))
    assert "Between 71.6 °F and 118.4 °F" in told
    assert "°F h)" in told
    # On a kiln both units are shown, the reader's own first.
    assert not re.search(r"(?<!\()\b[\d.]+ °C(?!\))", told)
