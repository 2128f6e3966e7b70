"""A copy of PsychroLib that nobody else can switch to other units, and the checks its callers share.

PsychroLib keeps its unit system in a module variable: an import of it elsewhere in the process, in any thread, could
turn our pascals into psi. A copy of the module, loaded under no shared name and set to SI once, needs neither lock
nor reset.
"""

from __future__ import annotations

import importlib.util
from collections.abc import Callable
from types import ModuleType
from typing import Any, cast

import numpy as np

from app.science._checks import Quantity, between

_COLDEST_C, _HOTTEST_C = -40.0, 150.0


def _own_copy() -> ModuleType:
    spec = importlib.util.find_spec("psychrolib")
    if spec is None or spec.loader is None:
        raise ImportError("PsychroLib is not installed.")
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    module.SetUnitSystem(module.SI)
    return module


PSYCHRO: Any = _own_copy()


def each(function: Callable[..., float], first: Quantity, *others: Quantity | float) -> Quantity:
    """Call a function of plain floats once, or once for each element of the arrays."""
    values = np.broadcast_arrays(first, *others)
    flat = (value.ravel().tolist() for value in values)
    answers = np.array([function(*row) for row in zip(*flat, strict=True)], dtype=np.float64)
    return cast(Quantity, answers.reshape(values[0].shape) if values[0].ndim else float(answers[0]))


def temperature(value: Quantity, name: str = "Temperature") -> Quantity:
    """Check a dry- or wet-bulb temperature, °C."""
    return between(name, value, _COLDEST_C, _HOTTEST_C, unit="°C")


def humidity(value: Quantity) -> Quantity:
    """Check a relative humidity, a fraction."""
    return between("Relative humidity", value, 0.0, 1.0)


def pressure(value: float) -> float:
    """Check an air pressure, Pa."""
    return between("Pressure", value, 50_000.0, 110_000.0, unit="Pa")


def refuse_boiling(temperature_c: Quantity, relative_humidity: Quantity | float, pressure_pa: float) -> None:
    """Refuse vapour at a pressure as high as the air's own: there would be no air left."""
    saturated = np.asarray(each(PSYCHRO.GetSatVapPres, temperature_c))
    if np.any(saturated * np.asarray(relative_humidity) >= pressure_pa):
        raise ValueError("Temperature and humidity are too high for that pressure: it would be steam, not air.")
