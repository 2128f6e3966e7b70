"""Grain in bulk: published densities and volumes, and units by definition."""

import pint
import pytest

from app.science import bulk


def test_a_litre_tells_the_hectolitre_weight() -> None:
    assert bulk.hectolitre_weight(0.680, 0.001) == pytest.approx(68.0)


@pytest.mark.parametrize(("bushel", "unit"), [("us", "bushel"), ("imperial", "imperial_bushel")])
def test_bushels_are_those_of_the_unit_registry(bushel: str, unit: str) -> None:
    registry = pint.UnitRegistry()
    weight = registry.Quantity(68.0, "kg/hectoliter").to(f"lb/{unit}").magnitude
    assert bulk.pounds_per_bushel(68.0, bushel) == pytest.approx(weight, rel=1e-6)


def test_a_pound_in_an_imperial_bushel_is_as_printed() -> None:
    # Canadian Grain Commission, test weight calculators: lb/bu-A = (kg/hL) / 1.247.
    assert bulk.pounds_per_bushel(1.247, "imperial") == pytest.approx(1.0, abs=5e-4)


@pytest.mark.parametrize(
    ("grain", "grams", "printed"),
    [
        ("barley", 330, -0.3063 + 0.2089 * 330),
        ("wheat", 392.5, 1.4767 + 0.2012 * 392.5),
        ("rye", 360, 2.2266 + 0.1995 * 360),
        ("oats", 250, 4.3122 + 0.1986 * 250),
    ],
)
def test_the_standard_measure_is_told_by_the_printed_lines(grain: str, grams: float, printed: float) -> None:
    # Canadian Grain Commission, test weight calculators, as printed there.
    assert bulk.official_hectolitre_weight(grain, grams) == pytest.approx(printed)


@pytest.mark.parametrize(
    ("moisture", "kg_m3", "wet", "wet_kg_m3"),
    [
        # J. Agric. Sci. Technol., article 10966: two barleys; J. Food Eng. 79:1467: green wheat.
        (0.1012, 568.10, 0.4217, 613.68),
        (0.1012, 579.68, 0.4217, 608.58),
        (0.093, 711.3, 0.415, 675.4),
    ],
)
def test_published_densities_lie_within_the_swollen_volume(
    moisture: float, kg_m3: float, wet: float, wet_kg_m3: float
) -> None:
    found = bulk.steeped_volume(100.0, moisture, wet, kg_m3 / 10.0)
    published = 100.0 * (1 - moisture) / (1 - wet) / wet_kg_m3
    assert found.dry_m3 == pytest.approx(100.0 / kg_m3)
    assert found.low_m3 < published < found.high_m3


def test_a_published_floor_loading_lies_within_the_swollen_volume() -> None:
    # Owens 2001, p. 193: 550 to 600 kg of original barley on a square metre lie about 1.2 m deep once steeped.
    found = bulk.steeped_volume(1000.0, 0.12, 0.45, 69.0)
    assert (found.low_m3, found.high_m3) == pytest.approx((1.989, 2.469), abs=1e-3)
    assert found.low_m3 < 1000 / 600 * 1.2 < 1000 / 550 * 1.2 < found.high_m3


def test_a_tub_holds_what_stands_in_it() -> None:
    tub = bulk.tub_for(bulk.Steeped(1.45, 2.0, 2.25, 2.5), 1000.0, 0.1, 0.1)
    assert (tub.filled_m3, tub.tub_m3, tub.water_m3) == pytest.approx((2.75, 3.025, 2.75 - 0.8))


def test_grain_that_drinks_nothing_swells_nothing() -> None:
    found = bulk.steeped_volume(100.0, 0.14, 0.14, 68.0)
    assert found.low_m3 == found.high_m3 == pytest.approx(found.dry_m3)


@pytest.mark.parametrize(
    "call",
    [
        lambda: bulk.hectolitre_weight(1.0, 0.0),
        lambda: bulk.official_hectolitre_weight("maize", 300),
        lambda: bulk.official_hectolitre_weight("barley", 60),
        lambda: bulk.pounds_per_bushel(68, "metric"),
        lambda: bulk.steeped_volume(100, 0.45, 0.12, 68),
        lambda: bulk.steeped_volume(100, 0.12, 0.45, 6.8),
        lambda: bulk.tub_for(bulk.Steeped(1, 1, 1, 1), 100, -0.1, 0.1),
    ],
)
def test_what_cannot_be_is_refused(call) -> None:
    with pytest.raises(ValueError, match=r"\.$"):
        call()
