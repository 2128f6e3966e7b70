"""The NIST StRD nonlinear sets: the models as their files state them, and a reader of the files' fixed layout."""

from pathlib import Path
from typing import NamedTuple

import numpy as np

FOLDER = Path(__file__).parent / "data" / "nist"


class Dataset(NamedTuple):
    starts: tuple[np.ndarray, np.ndarray]
    parameters: np.ndarray
    standard_errors: np.ndarray
    rss: float
    x: np.ndarray
    y: np.ndarray


def _chwirut(x, b1, b2, b3):
    return np.exp(-b1 * x) / (b2 + b3 * x)


def _lanczos(x, b1, b2, b3, b4, b5, b6):
    return b1 * np.exp(-b2 * x) + b3 * np.exp(-b4 * x) + b5 * np.exp(-b6 * x)


def _gauss(x, b1, b2, b3, b4, b5, b6, b7, b8):
    return b1 * np.exp(-b2 * x) + b3 * np.exp(-((x - b4) ** 2) / b5**2) + b6 * np.exp(-((x - b7) ** 2) / b8**2)


def _rational_cubic(x, b1, b2, b3, b4, b5, b6, b7):
    return (b1 + b2 * x + b3 * x**2 + b4 * x**3) / (1 + b5 * x + b6 * x**2 + b7 * x**3)


def _enso(x, b1, b2, b3, b4, b5, b6, b7, b8, b9):
    turn = 2 * np.pi * x
    year = b2 * np.cos(turn / 12) + b3 * np.sin(turn / 12)
    first = b5 * np.cos(turn / b4) + b6 * np.sin(turn / b4)
    return b1 + year + first + b8 * np.cos(turn / b7) + b9 * np.sin(turn / b7)


MODELS = {
    "Bennett5": lambda x, b1, b2, b3: b1 * (b2 + x) ** (-1 / b3),
    "BoxBOD": lambda x, b1, b2: b1 * (1 - np.exp(-b2 * x)),
    "Chwirut1": _chwirut,
    "Chwirut2": _chwirut,
    "DanWood": lambda x, b1, b2: b1 * x**b2,
    "ENSO": _enso,
    "Eckerle4": lambda x, b1, b2, b3: b1 / b2 * np.exp(-0.5 * ((x - b3) / b2) ** 2),
    "Gauss1": _gauss,
    "Gauss2": _gauss,
    "Gauss3": _gauss,
    "Hahn1": _rational_cubic,
    "Kirby2": lambda x, b1, b2, b3, b4, b5: (b1 + b2 * x + b3 * x**2) / (1 + b4 * x + b5 * x**2),
    "Lanczos1": _lanczos,
    "Lanczos2": _lanczos,
    "Lanczos3": _lanczos,
    "MGH09": lambda x, b1, b2, b3, b4: b1 * (x**2 + x * b2) / (x**2 + x * b3 + b4),
    "MGH10": lambda x, b1, b2, b3: b1 * np.exp(b2 / (x + b3)),
    "MGH17": lambda x, b1, b2, b3, b4, b5: b1 + b2 * np.exp(-x * b4) + b3 * np.exp(-x * b5),
    "Misra1a": lambda x, b1, b2: b1 * (1 - np.exp(-b2 * x)),
    "Misra1b": lambda x, b1, b2: b1 * (1 - (1 + b2 * x / 2) ** -2),
    "Misra1c": lambda x, b1, b2: b1 * (1 - (1 + 2 * b2 * x) ** -0.5),
    "Misra1d": lambda x, b1, b2: b1 * b2 * x / (1 + b2 * x),
    "Nelson": lambda x, b1, b2, b3: b1 - b2 * x[0] * np.exp(-b3 * x[1]),
    "Rat42": lambda x, b1, b2, b3: b1 / (1 + np.exp(b2 - b3 * x)),
    "Rat43": lambda x, b1, b2, b3, b4: b1 / (1 + np.exp(b2 - b3 * x)) ** (1 / b4),
    "Roszman1": lambda x, b1, b2, b3, b4: b1 - b2 * x - np.arctan(b3 / (x - b4)) / np.pi,
    "Thurber": _rational_cubic,
}


def read(name):
    lines = (FOLDER / f"{name}.dat").read_text(encoding="ascii").splitlines()
    # Rows such as "b1 = start1 start2 certified deviation" stand between lines 41 and 60, the data from line 61.
    words = [line.split() for line in lines[40:60]]
    rows = np.array([[float(w) for w in row[2:6]] for row in words if len(row) >= 6 and row[1] == "="])
    rss = next(float(line.split()[-1]) for line in lines if line.startswith("Residual Sum of Squares"))
    data = np.array([[float(w) for w in line.split()] for line in lines[60:] if line.strip()])
    y, x = data[:, 0], data[:, 1:].T
    # The Nelson file states its model for log y.
    y = np.log(y) if name == "Nelson" else y
    return Dataset((rows[:, 0], rows[:, 1]), rows[:, 2], rows[:, 3], rss, x[0] if len(x) == 1 else x, y)
