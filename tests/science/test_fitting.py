"""The one fitting routine, held against the NIST Statistical Reference Datasets and against textbook cases."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.science.fitting import curve_sd, fit
from tests.science.nist_strd import MODELS, read


def line(x, a, b):
    return a + b * x


def rise(x, a, b):
    return a * (1 - np.exp(-b * x))


@pytest.mark.parametrize("start", [0, 1], ids=["far start", "near start"])
@pytest.mark.parametrize("name", sorted(MODELS))
def test_nist_certified_values_are_reached_from_both_starts(name, start):
    # NIST StRD, nonlinear regression. Certified to 11 digits; central differences in doubles reach 6 or more of them.
    nist = read(name)
    found = fit(MODELS[name], nist.x, nist.y, nist.starts[start])
    assert found.parameters == pytest.approx(nist.parameters, rel=1e-6)
    if name == "Lanczos1":
        # Made without noise: what is left, 1.4e-25, is the rounding of the 14 digits the data are printed with.
        assert found.rss < 1e-24
    else:
        assert found.standard_errors == pytest.approx(nist.standard_errors, rel=1e-6)
        assert found.rss == pytest.approx(nist.rss, rel=1e-9)


def test_misra1a_and_boxbod_come_out_as_certified():
    # NIST StRD, the values written out.
    misra, box = read("Misra1a"), read("BoxBOD")
    found = fit(rise, misra.x, misra.y, (500, 0.0001))
    assert found.parameters == pytest.approx((238.94212918, 5.5015643181e-4), rel=1e-8)
    assert found.rss == pytest.approx(0.12455138894, rel=1e-9)
    assert fit(rise, box.x, box.y, (1, 1)).parameters == pytest.approx((213.80940889, 0.54723748542), rel=1e-7)


@pytest.mark.parametrize("start", [(1, 50), (1e-3, 100), (5000, 1000)])
def test_a_start_from_which_the_data_move_nothing_is_followed_by_more(start):
    # At a rate this high every BoxBOD point sits on the plateau and the rate has no slope: one start cannot leave.
    box = read("BoxBOD")
    found = fit(rise, box.x, box.y, start)
    assert found.starts > 1
    assert found.parameters == pytest.approx((213.80940889, 0.54723748542), rel=1e-6)


def test_a_good_first_start_is_the_only_one():
    box = read("BoxBOD")
    assert fit(rise, box.x, box.y, (200, 0.5)).starts == 1


def test_the_same_input_gives_the_same_answer():
    box = read("BoxBOD")
    first, second = (fit(rise, box.x, box.y, (1, 50)) for _ in range(2))
    assert np.array_equal(first.parameters, second.parameters)
    assert np.array_equal(first.covariance, second.covariance)


def test_bounds_are_kept_and_the_model_never_asked_outside_them():
    box = read("BoxBOD")
    asked = []

    def watched(x, a, b):
        asked.append((a, b))
        return rise(x, a, b)

    found = fit(watched, box.x, box.y, (150, 0.5), bounds=((0, 0.1), (200, 5)))
    assert found.parameters[0] == pytest.approx(200)
    tried = np.array(asked)
    assert np.all((tried >= (0, 0.1)) & (tried <= (200, 5)))


LINE_X = np.array([0.0, 1.0, 2.0, 3.0, 4.0])
LINE_Y = np.array([1.1, 2.9, 5.2, 6.8, 9.1])


def test_a_straight_line_and_its_covariance_are_those_of_the_normal_equations():
    # Textbook: b = (XᵀX)⁻¹Xᵀy, covariance s²(XᵀX)⁻¹.
    design = np.column_stack((np.ones(5), LINE_X))
    expected = np.linalg.solve(design.T @ design, design.T @ LINE_Y)
    residuals = LINE_Y - design @ expected
    found = fit(line, LINE_X, LINE_Y, (0.0, 0.0))
    assert found.parameters == pytest.approx(expected, rel=1e-9)
    assert found.rss == pytest.approx(residuals @ residuals, rel=1e-9)
    assert found.residual_sd == pytest.approx(np.sqrt(residuals @ residuals / 3), rel=1e-9)
    assert found.covariance == pytest.approx(residuals @ residuals / 3 * np.linalg.inv(design.T @ design), rel=1e-6)
    assert found.n == 5


def test_the_uncertainty_of_a_line_is_the_textbook_one():
    # √(s²(1/n + (x − x̄)²/Σ(x − x̄)²)).
    found = fit(line, LINE_X, LINE_Y, (0.0, 0.0))
    where = np.array([-1.0, 2.0, 10.0])
    expected = found.residual_sd * np.sqrt(1 / 5 + (where - 2) ** 2 / 10)
    assert curve_sd(line, where, found) == pytest.approx(expected, rel=1e-6)


def test_a_prior_and_one_measurement_meet_at_their_weighted_mean():
    # Two estimates of one number, 10 ± 1 and 16 ± 2: weights 1 and 1/4, mean 11.2, variance 0.8.
    found = fit(lambda x, a: a + 0 * x, [0.0], [16.0], [12.0], priors={0: (10.0, 1.0)}, y_sd=2.0)
    assert found.parameters == pytest.approx([11.2], rel=1e-9)
    assert found.covariance == pytest.approx(np.array([[0.8]]), rel=1e-6)


def test_priors_may_be_given_as_a_row_with_gaps():
    by_row = fit(line, LINE_X, LINE_Y, (0.0, 0.0), priors=[None, (1.0, 0.1)], y_sd=0.2)
    by_position = fit(line, LINE_X, LINE_Y, (0.0, 0.0), priors={1: (1.0, 0.1)}, y_sd=0.2)
    assert np.array_equal(by_row.parameters, by_position.parameters)
    assert by_row.parameters[1] < fit(line, LINE_X, LINE_Y, (0.0, 0.0)).parameters[1]


def test_a_prior_that_knows_nothing_changes_nothing():
    without = fit(line, LINE_X, LINE_Y, (0.0, 0.0))
    vague = fit(line, LINE_X, LINE_Y, (0.0, 0.0), priors={0: (50.0, 1e6), 1: (-50.0, 1e6)})
    assert vague.parameters == pytest.approx(without.parameters, rel=1e-6)
    # The scatter is estimated from the data, so the covariance is the ordinary one too.
    assert vague.covariance == pytest.approx(without.covariance, rel=1e-4)


def test_with_priors_fewer_points_than_parameters_are_enough():
    found = fit(rise, [5.0], [20.0], (45, 0.1), priors={0: (45.0, 5.0), 1: (0.1, 0.05)}, y_sd=0.5)
    assert found.is_determined
    assert np.isnan(found.residual_sd)
    assert rise(5.0, *found.parameters) == pytest.approx(20, abs=0.5)
    # A point narrows what the priors said of the rate.
    assert found.standard_errors[1] < 0.05


def test_weighing_the_points_pulls_the_curve_to_the_better_ones():
    bent = LINE_Y + np.array([0, 0, 0, 0, 5.0])
    trusted = fit(line, LINE_X, bent, (0.0, 0.0), y_sd=[1, 1, 1, 1, 0.01])
    doubted = fit(line, LINE_X, bent, (0.0, 0.0), y_sd=[1, 1, 1, 1, 100.0])
    assert line(4.0, *trusted.parameters) == pytest.approx(14.1, abs=0.01)
    assert line(4.0, *doubted.parameters) == pytest.approx(9.1, abs=0.3)


def test_parameters_that_cannot_be_told_apart_are_said_to_be_undetermined():
    found = fit(lambda x, a, b: a + b + 0 * x, LINE_X, LINE_Y, (1.0, 2.0))
    assert not found.is_determined
    assert np.all(np.isinf(found.covariance))


@given(st.floats(0.5, 100), st.floats(0.05, 2))
def test_a_curve_without_noise_gives_its_parameters_back(a, b):
    x = np.linspace(0.5, 6, 8)
    assert fit(rise, x, rise(x, a, b), (10.0, 0.5)).parameters == pytest.approx((a, b), rel=1e-5)


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        ({"y": [1.0, 2.0]}, "same length"),
        ({"y": [1.0, np.nan, 2.0]}, "must be numbers"),
        ({"start": (0.0, 9.0), "bounds": (-1.0, 1.0)}, "inside its bounds"),
        ({"start": (0.0, 0.0, 0.0, 0.0), "model": lambda x, *p: np.polyval(p, x)}, "as many points"),
        ({"priors": {2: (0.0, 1.0)}}, "only 2 parameters"),
        ({"priors": {0: (0.0, 0.0)}}, "above 0"),
        ({"y_sd": 0.0}, "more than 0"),
        ({"x": [0.0], "y": [1.0], "priors": [(0.0, 1.0), (1.0, 1.0)]}, "give y_sd"),
        ({"model": lambda x, a, b: np.full_like(x, np.nan)}, "no numbers near the start"),
    ],
)
def test_what_cannot_be_fitted_is_refused_with_a_reason(arguments, said):
    whole = {"model": line, "x": [0.0, 1.0, 2.0], "y": [1.0, 2.0, 3.0], "start": (0.0, 0.0)} | arguments
    with pytest.raises(ValueError, match=said):
        fit(**whole)
