"""Ordinary batches, each a little different: told from the trade's habits and not from a programme's own plan.

Hours, warmth and weights are drawn for each seed: the floor at 14 to 18 °C, the grain on the kiln at 40 °C and upwards,
a look every two to eight hours at ragged times, and now and then a night without any.
"""

from __future__ import annotations

from random import Random

from tests.judgement.story import Story

PROGRAMMES = ("barley_pale", "barley_diastatic", "barley_dark", "wheat_base", "rye", "oats", "kitchen_barley")
LOADED_KG, TARE_KG = 2.0, 1.2
KILN_HOURS = (12.0, 22.0)
WITHERED_TO_WB, FINAL_WB = 0.22, 0.05


def normal_batch(seed: int) -> Story:
    """A batch from its charge to the finished malt; every third one weighs no tray, every second logs no air."""
    chance = Random(seed)
    story = Story(PROGRAMMES[seed % len(PROGRAMMES)])
    story.charge(20.0, 0.13, -0.5)
    story.bag_start(-0.2, 0.5, 0.13)
    cast_h = _steep(story, chance)
    loaded_h = cast_h + chance.uniform(96.0, 140.0)
    _grow(story, chance, cast_h, loaded_h)
    _kiln(story, chance, loaded_h, has_trays=seed % 3 != 2, has_air=seed % 2 == 0)
    return story


def looks(chance: Random, start_h: float, end_h: float) -> list[float]:
    """Hours of looks: two to eight hours apart, one in six gaps a whole night."""
    found, hour = [], start_h + chance.uniform(0.2, 4.0)
    while hour < end_h - 0.2:
        found.append(hour)
        hour += chance.uniform(10.0, 14.0) if chance.random() < 1.0 / 6.0 else chance.uniform(2.0, 8.0)
    return found


def _steep(story: Story, chance: Random) -> float:
    hour = 0.0
    for kind, least, most in (("steep_on", 4, 8), ("drained", 10, 16), ("steep_on", 4, 7), ("drained", 8, 14)):
        story.say(hour, kind)
        end_h = hour + chance.uniform(least, most)
        for at in looks(chance, hour, end_h):
            read = "water_temperature" if kind == "steep_on" else "grain_temperature"
            story.say(at, read, {"value": round(chance.uniform(13.0, 17.0), 1)}, place="middle")
        hour = end_h
    story.bag(hour - 0.1, 0.5 * 0.87 * 0.99 / (1.0 - chance.uniform(0.42, 0.45)))
    story.say(hour, "cast")
    return hour


def _grow(story: Story, chance: Random, cast_h: float, loaded_h: float) -> None:
    for at in looks(chance, cast_h, loaded_h):
        for place in ("top", "middle")[: chance.choice((1, 2))]:
            story.say(at, "grain_temperature", {"value": round(chance.uniform(14.0, 18.0), 1)}, place=place)
        story.say(at + 0.1, "turned")


def _kiln(story: Story, chance: Random, loaded_h: float, *, has_trays: bool, has_air: bool) -> None:
    lasts = chance.uniform(*KILN_HOURS)
    story.say(loaded_h, "loaded")
    heat_h = loaded_h + chance.uniform(0.05, 0.8)
    story.say(heat_h, "heat_on")
    if has_trays:
        _weigh(story, loaded_h + 0.04, LOADED_KG)
    for at in looks(chance, heat_h, heat_h + lasts):
        share = (at - heat_h) / lasts
        grain_c = 40.0 + 40.0 * share**1.5 + chance.uniform(0.0, 2.0)
        for place in ("top", "middle")[: chance.choice((1, 2))]:
            story.say(at, "grain_temperature", {"value": round(grain_c, 1)}, place=place)
        if has_air:
            story.say(at + 0.05, "air_on_temperature", {"value": round(grain_c + chance.uniform(4.0, 12.0), 1)})
        if has_trays:
            _weigh(story, at + 0.08, LOADED_KG * 0.57 / (1.0 - _moisture(share)))
    story.say(heat_h + lasts, "heat_off")
    story.say(heat_h + lasts + 1.0, "grain_temperature", {"value": 28.0}, place="middle")
    story.say(heat_h + lasts + 2.0, "stripped")
    story.say(heat_h + lasts + 5.0, "finished")


def _moisture(share: float) -> float:
    """From 43 % straight down to withered in the first third of the kiln, then ever more slowly."""
    if share < 1.0 / 3.0:
        return 0.43 - 3.0 * share * (0.43 - WITHERED_TO_WB)
    return FINAL_WB + (WITHERED_TO_WB - FINAL_WB) * (1.5 * (1.0 - share)) ** 2


def _weigh(story: Story, hour: float, net_kg: float) -> None:
    values = {"vessel": "tray 1", "gross_kg": net_kg + TARE_KG, "tare_kg": TARE_KG, "net_kg": net_kg}
    story.say(hour, "tray", values)
