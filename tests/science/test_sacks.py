"""Malt in its sack: the same balance stepped through time by scipy, with CoolProp's vapour pressure; and by hand."""

import math

import pint
import pytest
from CoolProp.CoolProp import PropsSI
from scipy.integrate import solve_ivp

from app.science import sacks
from app.science.sorption import equilibrium_moisture_wb, equilibrium_relative_humidity


def saturation(celsius: float) -> float:
    return float(PropsSI("P", "T", celsius + 273.15, "Q", 1, "Water"))


def test_a_film_lets_through_what_the_table_says() -> None:
    # Biosystems Engineering, table 11.2: polyethylene 1 to 2 g·mil/(100 in²·d). By pint.
    registry = pint.UnitRegistry()
    per_mil = registry.Quantity(1, "g * thou / (inch**2 * day)") / registry.Quantity(100 * 0.1, "mm")
    least = per_mil.to("g / (m**2 * day)").magnitude
    assert sacks.film_transmission("polyethylene", 1e-4) == pytest.approx((least, 2 * least))
    assert sacks.film_transmission("dense_polyethylene", 2e-4) == pytest.approx((0.15 * least, 0.3 * least))
    assert sacks.film_transmission("polypropylene", 25.4e-6) == pytest.approx((0.2 * 15.5, 0.5 * 15.5), rel=1e-3)


def test_a_film_is_told_by_the_pascal() -> None:
    # By hand, with the pressure of CoolProp.
    assert sacks.permeance_kg_per_m2_d_pa(5) == pytest.approx(0.005 / (0.9 * saturation(38)), rel=1e-3)


@pytest.mark.parametrize(
    ("celsius", "humidity", "limit"), [(15, 0.70, 0.06), (20, 0.60, 0.06), (25, 0.85, 0.08), (10, 0.5, 0.05)]
)
def test_malt_comes_to_the_limit_when_its_balance_stepped_through_time_does(
    celsius: float, humidity: float, limit: float
) -> None:
    days = sacks.sack_life_days(25, 0.045, limit, 0.9, 5, celsius, humidity)
    dry, through = 25 * 0.955, 0.005 / (0.9 * saturation(38)) * 0.9 * saturation(celsius)

    def rate(_: float, x: list[float]) -> list[float]:
        inside = equilibrium_relative_humidity("malt", celsius, x[0] / (1 + x[0]))
        return [through * (humidity - inside) / dry]

    stepped = solve_ivp(rate, (0, days), [0.045 / 0.955], rtol=1e-9, atol=1e-12).y[0, -1]
    assert stepped / (1 + stepped) == pytest.approx(limit, abs=2e-5)


def test_dry_malt_takes_up_water_as_fast_as_the_film_lets_it_through_at_first() -> None:
    # By hand: 5 g/(m²·d) at 38 °C is 5 × (0.70 − RH over the malt) × Psat(15) / (0.9 Psat(38)) g at 15 °C and 70 %.
    inside = equilibrium_relative_humidity("malt", 15, 0.0451)
    grams = 5 * 0.9 * (0.70 - inside) * saturation(15) / (0.9 * saturation(38))
    more_db = 0.0451 / (1 - 0.0451) - 0.045 / (1 - 0.045)
    days = 1000 * 25 * 0.955 * more_db / grams
    assert sacks.sack_life_days(25, 0.045, 0.0451, 0.9, 5, 15, 0.70) == pytest.approx(days, rel=5e-3)


def test_in_a_dry_store_malt_never_comes_to_the_limit() -> None:
    never = equilibrium_moisture_wb("malt", 20, 0.20) + 1e-6
    assert sacks.sack_life_days(25, 0.04, never, 0.9, 5, 20, 0.20) == math.inf
    assert sacks.sack_life_days(25, 0.06, 0.06, 0.9, 5, 20, 0.70) == 0


@pytest.mark.parametrize(
    "call",
    [
        lambda: sacks.film_transmission("paper", 1e-4),
        lambda: sacks.film_transmission("polyethylene", 0.1),
        lambda: sacks.permeance_kg_per_m2_d_pa(0),
        lambda: sacks.sack_life_days(25, 0.07, 0.06, 0.9, 5, 15, 0.7),
        lambda: sacks.sack_life_days(25, 0.045, 0.06, 0, 5, 15, 0.7),
        lambda: sacks.sack_life_days(25, 0.045, 0.06, 0.9, 5, 60, 0.7),
        lambda: sacks.sack_life_days(25, 0.045, 0.06, 0.9, 5, 15, 1.0),
    ],
)
def test_what_cannot_be_is_refused(call) -> None:
    with pytest.raises(ValueError, match=r"\.$"):
        call()
