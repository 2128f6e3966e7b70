"""Groups side by side: a certified set, scipy as the oracle, and no difference where nothing tells one."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from app.science.groups import groups_apart

# NIST/ITL StRD, AtmWtAg.dat: atomic weight of silver by two instruments, 107.868 and these four digits.
ATMWTAG = (
    "1568 1465 1572 1785 1446 1903 1526 1494 1616 1587 1519 1486 "
    "1419 1569 1508 1672 1385 1518 1662 1424 1360 1333 1610 1477",
    "1079 1344 1513 1197 1604 1385 1642 1365 1151 1082 1517 1448 "
    "1198 1482 1334 1609 1101 1512 1469 1360 1254 1261 1450 1368",
)


def rows(*groups: list[float]) -> tuple[list[float], list[str]]:
    return [value for group in groups for value in group], [
        name for name, group in zip("ABCDEF", groups, strict=False) for _ in group
    ]


def test_the_certified_set_of_nist_gives_its_certified_values() -> None:
    fit = groups_apart(*rows(*([float(f"107.868{digits}") for digits in each.split()] for each in ATMWTAG)))
    (apart,) = fit.apart
    assert fit.freedom == 46
    # Seven leading digits are the same in all values: what doubles can hold of the rest.
    assert fit.sd == pytest.approx(1.51048314446410e-05, rel=1e-8)
    assert apart.sd is not None
    assert (apart.difference / apart.sd) ** 2 == pytest.approx(15.9467335677930, rel=1e-8)


GROUPS = ([9.1, 8.7, 9.4, 9.0], [8.2, 8.4, 7.9], [9.3, 9.6, 9.2, 9.9, 9.5])


def test_without_anything_else_it_is_as_scipys_tukey() -> None:
    fit = groups_apart(*rows(*GROUPS))
    oracle = stats.tukey_hsd(*GROUPS)
    interval = oracle.confidence_interval()
    for each in fit.apart:
        pair = "ABC".index(str(each.first)), "ABC".index(str(each.second))
        assert each.ends is not None
        assert each.difference == pytest.approx(oracle.statistic[pair])
        assert each.ends == pytest.approx((interval.low[pair], interval.high[pair]), rel=1e-5)


def test_of_two_groups_the_interval_is_students() -> None:
    (apart,) = groups_apart(*rows(*GROUPS[:2])).apart
    assert apart.ends == pytest.approx(stats.ttest_ind(*GROUPS[:2]).confidence_interval(), rel=1e-5)


def test_what_else_differed_is_taken_out() -> None:
    # B is better by 0.8, but was grown in the later season, which takes 1.5 off.
    values, groups, seasons = [], [], []
    for place, (group, season) in enumerate([("A", 1)] * 5 + [("A", 2)] * 2 + [("B", 1)] * 2 + [("B", 2)] * 5):
        values.append(9.0 + 0.8 * (group == "B") - 1.5 * (season == 2) + 0.01 * (-1) ** place)
        groups.append(group)
        seasons.append(season)
    (plain,) = groups_apart(values, groups).apart
    (adjusted,) = groups_apart(values, groups, seasons).apart
    assert plain.ends is not None
    assert plain.ends[0] < 0 < plain.ends[1]
    assert adjusted.difference == pytest.approx(-0.8, abs=0.02)
    assert adjusted.ends is not None
    assert adjusted.ends[1] < 0


def test_groups_that_never_met_are_told_apart_by_nothing() -> None:
    fit = groups_apart([9.0, 9.1, 8.9, 8.0, 8.1, 8.2], list("AAABBB"), [1, 1, 1, 2, 2, 2])
    assert fit.apart == ()
    assert fit.alone == (("A", "B"),)


def test_with_no_scatter_left_there_is_a_difference_without_an_interval() -> None:
    (apart,) = groups_apart([9.0, 8.0], ["A", "B"]).apart
    assert apart.difference == pytest.approx(1.0)
    assert (apart.sd, apart.ends) == (None, None)


def test_of_equal_groups_one_set_in_twenty_shows_a_difference() -> None:
    source = np.random.default_rng(7)
    shown = 0
    for _ in range(400):
        fit = groups_apart(source.normal(0.0, 1.0, 16), [place % 4 for place in range(16)])
        shown += any(each.ends is not None and not each.ends[0] <= 0.0 <= each.ends[1] for each in fit.apart)
    assert 8 <= shown <= 32


def test_values_without_their_groups_are_refused() -> None:
    with pytest.raises(ValueError, match="each with its group"):
        groups_apart([1.0, 2.0], ["A"])
