"""Air for living grain: CoolProp's moist air, a published room, and balances by hand."""

import math

import pytest
from CoolProp.CoolProp import HAPropsSI, PropsSI

from app.science import ventilation


def test_a_tonne_of_barley_gives_off_what_its_starch_holds() -> None:
    # By hand: 880 × 0.011 / 24 kg of starch; 17.29 kJ and 1.629 g of carbon dioxide for each gram.
    hour = ventilation.breathed_in_an_hour(880, 0.011)
    assert hour.heat_kj / 3600 == pytest.approx(880 * 0.011 / 24 * 17290 / 3600)
    assert hour.heat_kj / 3600 == pytest.approx(1.937, abs=1e-3)
    assert hour.carbon_dioxide_kg == pytest.approx(0.657, abs=1e-3)


@pytest.mark.parametrize(("air", "humidity", "bed"), [(12, 1.0, 15), (10, 0.9, 16), (16, 0.5, 17), (18, 0.3, 16)])
def test_the_air_carries_the_heat_away_as_coolprop_says(air: float, humidity: float, bed: float) -> None:
    kelvin = 273.15
    found = ventilation.cooling_air(1.94, air, humidity, bed)
    state_in = ("T", air + kelvin, "P", 101325, "R", humidity)
    state_out = ("T", bed + kelvin, "P", 101325, "R", 1.0)
    gain = HAPropsSI("W", *state_out) - HAPropsSI("W", *state_in)
    water_kj = (
        PropsSI("H", "T", bed + kelvin, "Q", 0, "Water") - PropsSI("H", "T", kelvin + 0.01, "Q", 0, "Water")
    ) / 1000
    carried = (HAPropsSI("H", *state_out) - HAPropsSI("H", *state_in)) / 1000 - gain * water_kj
    dry_air = 1.94 * 3600 / carried
    assert found.air_m3_per_h == pytest.approx(dry_air * HAPropsSI("V", *state_in), rel=0.01)
    assert found.water_kg_per_h == pytest.approx(dry_air * gain, rel=0.01)


def test_a_bed_half_a_degree_cooler_wants_more_air() -> None:
    warm, cool = (ventilation.cooling_air(2, 12, 1.0, bed).air_m3_per_h for bed in (16, 15.5))
    assert cool > warm


def test_carbon_dioxide_takes_the_room_that_coolprop_gives_it() -> None:
    density = PropsSI("D", "T", 288.15, "P", 101325, "CarbonDioxide")
    assert ventilation.carbon_dioxide_m3(1, 15) == pytest.approx(1 / density, rel=0.01)


def test_a_room_fills_as_published() -> None:
    # engineeringtoolbox.com: 5 m³/h in a cinema of 500 m³, one change an hour, from nothing: 0.006 m³/m³ in an hour.
    assert ventilation.room_ppm(5, 500, 1, 1, 0) / 1e6 == pytest.approx(0.006, abs=5e-4)
    assert ventilation.room_ppm(5, 500, 1, math.inf, 0) / 1e6 == pytest.approx(0.01)


def test_a_shut_room_fills_for_as_long_as_it_is_shut() -> None:
    # By hand: 0.35 m³/h for 8 h in 40 m³.
    assert ventilation.room_ppm(0.35, 40, 0, 8) == pytest.approx(420 + 1e6 * 0.35 * 8 / 40)
    assert ventilation.room_ppm(0.35, 40, 0, math.inf) == 1e6
    assert ventilation.room_ppm(0, 40, 0, math.inf) == 420


def test_the_fresh_air_asked_for_keeps_the_limit() -> None:
    air = ventilation.fresh_air_m3_per_h(0.35, 5000)
    assert ventilation.room_ppm(0.35, 40, air / 40, math.inf) == pytest.approx(5000)


def ergun_pa(depth: float, speed: float, porosity: float = 0.45, size: float = 0.0035) -> float:
    """Ergun 1952, for air of 15 °C, whose viscosity CoolProp gives."""
    viscosity = PropsSI("V", "T", 288.15, "P", 101325, "Air")
    slow = 150 * viscosity * (1 - porosity) ** 2 * speed / (porosity**3 * size**2)
    return depth * (slow + 1.75 * 1.2 * (1 - porosity) * speed**2 / (porosity**3 * size))


@pytest.mark.parametrize(("depth", "speed"), [(2.0, 2.0), (0.5, 3.0), (1.0, 0.5)])
def test_a_pressure_carried_to_another_bed_brackets_ergun(depth: float, speed: float) -> None:
    low, high = ventilation.bed_pressure_pa(ergun_pa(0.3, 0.1), depth, speed)
    assert low < ergun_pa(0.3 * depth, 0.1 * speed) < high


def test_the_same_air_through_twice_the_depth_takes_twice_the_pressure() -> None:
    assert ventilation.bed_pressure_pa(100, 2, 1) == (200, 200)
    assert ventilation.bed_pressure_pa(100, 2, 2) == (400, 800)


@pytest.mark.parametrize(
    "call",
    [
        lambda: ventilation.breathed_in_an_hour(100, 0.5),
        lambda: ventilation.cooling_air(2, 16, 1.0, 15),
        lambda: ventilation.cooling_air(-1, 12, 1.0, 15),
        lambda: ventilation.carbon_dioxide_m3(1, 100),
        lambda: ventilation.room_ppm(1, 0, 1, 1),
        lambda: ventilation.room_ppm(1, 40, -1, 1),
        lambda: ventilation.fresh_air_m3_per_h(1, 400),
        lambda: ventilation.bed_pressure_pa(100, 0, 1),
    ],
)
def test_what_cannot_be_is_refused(call) -> None:
    with pytest.raises(ValueError, match=r"\.$"):
        call()
