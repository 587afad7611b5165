"""The fitting machinery against certified regressions: values, standard deviations, and whether it got there.

Data, starts and certified figures: NIST Statistical Reference Datasets, nonlinear regression (READ, in
tests/fit/nist/*.dat; see the note there). The models are those written in each file's header.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from recurve.fit.descent import Descent, descend

Array = NDArray[np.float64]
Model = Callable[[Array, Array], Array]
FOLDER = Path(__file__).parent / "nist"
EVALUATIONS = 1000
FREE = np.inf


def _rational(b: Array, x: Array, top: int) -> Array:
    """b1 + b2 x … over 1 + b x …, the first `top` numbers above the line."""
    return np.asarray(np.polyval(b[:top][::-1], x) / (1 + x * np.polyval(b[top:][::-1], x)))


MODELS: dict[str, Model] = {
    "Misra1a": lambda b, x: b[0] * (1 - np.exp(-b[1] * x)),
    "Chwirut2": lambda b, x: np.exp(-b[0] * x) / (b[1] + b[2] * x),
    "DanWood": lambda b, x: b[0] * x ** b[1],
    "Lanczos3": lambda b, x: b[0] * np.exp(-b[1] * x) + b[2] * np.exp(-b[3] * x) + b[4] * np.exp(-b[5] * x),
    "Kirby2": lambda b, x: _rational(b, x, 3),
    "Roszman1": lambda b, x: b[0] - b[1] * x - np.arctan(b[2] / (x - b[3])) / np.pi,
    "MGH17": lambda b, x: b[0] + b[1] * np.exp(-x * b[3]) + b[2] * np.exp(-x * b[4]),
    "Thurber": lambda b, x: _rational(b, x, 4),
    "Rat43": lambda b, x: b[0] / (1 + np.exp(b[1] - b[2] * x)) ** (1 / b[3]),
    "Eckerle4": lambda b, x: b[0] / b[1] * np.exp(-0.5 * ((x - b[2]) / b[1]) ** 2),
    "MGH09": lambda b, x: b[0] * (x**2 + x * b[1]) / (x**2 + x * b[2] + b[3]),
    "MGH10": lambda b, x: b[0] * np.exp(b[1] / (x + b[2])),
    "BoxBOD": lambda b, x: b[0] * (1 - np.exp(-b[1] * x)),
    "Bennett5": lambda b, x: b[0] * (b[1] + x) ** (-1 / b[2]),
}
SOLVED = [(name, start) for name in MODELS for start in (0, 1)]


@dataclass(frozen=True)
class Certified:
    """One data set as its file has it: starts (2, p), certified values and standard deviations (p,), data."""

    starts: Array
    values: Array
    deviations: Array
    squares: float
    x: Array
    y: Array


def read(name: str) -> Certified:
    """Numbers stand after `=` from line 41 on, one parameter a line, the data from line 61 on (y, then x)."""
    lines = (FOLDER / f"{name}.dat").read_text(encoding="ascii").splitlines()
    rows = [line.split("=")[1].split() for line in lines[40:50] if "=" in line]
    start1, start2, value, deviation = np.array(rows, float).T
    squares = next(float(line.split(":")[1]) for line in lines if line.startswith("Residual Sum of Squares"))
    y, x = np.array([line.split() for line in lines[60:] if line.strip()], float).T
    return Certified(np.stack([start1, start2]), value, deviation, squares, x, y)


def solve(name: str, start: Array, evaluations: int = EVALUATIONS) -> tuple[Descent, Array]:
    """The descent from a start, and the standard deviations (p,) it gives: covariance times squares / (n − p)."""
    given, model = read(name), MODELS[name]

    def residuals(states: Array) -> Array:
        return np.stack([model(state, given.x) - given.y for state in states])

    ends = np.full(len(start), FREE)
    with np.errstate(all="ignore"):  # steps that were tried too far overflow, and are not taken
        [end] = descend(residuals, start[None], -ends, ends, scale=np.abs(start), evaluations=evaluations)
    variance = end.squares / (len(given.y) - len(start))
    return end, np.sqrt(np.diag(end.covariance) * variance)


@pytest.mark.parametrize(("name", "start"), SOLVED)
def test_certified_values_and_deviations(name: str, start: int) -> None:
    given = read(name)
    end, deviations = solve(name, given.starts[start])
    assert end.converged
    assert end.state == pytest.approx(given.values, rel=1e-5)
    assert deviations == pytest.approx(given.deviations, rel=1e-4)
    assert end.squares == pytest.approx(given.squares, rel=1e-5)


def test_every_level_of_difficulty_is_there() -> None:
    headers = [(FOLDER / f"{name}.dat").read_text(encoding="ascii") for name in MODELS]
    levels = [next(w for w in ("Lower", "Average", "Higher") if f"{w} Level of Difficulty" in h) for h in headers]
    assert {level: levels.count(level) for level in set(levels)} == {"Lower": 4, "Average": 3, "Higher": 7}


def test_a_valley_too_flat_is_not_called_converged() -> None:
    """MGH10's first start leads along it, farther than a fit of ours has patience for."""
    given = read("MGH10")
    end, _ = solve("MGH10", given.starts[0], evaluations=60)
    assert np.abs(end.state / given.values - 1).max() > 0.01
    assert not end.converged


@pytest.mark.parametrize("name", ["MGH09", "Eckerle4", "Thurber", "MGH10", "Rat43"])
def test_stopped_by_the_limit_of_evaluations_is_not_converged(name: str) -> None:
    given = read(name)
    end, _ = solve(name, given.starts[0], evaluations=4)
    assert np.abs(end.state / given.values - 1).max() > 0.01
    assert not end.converged


def test_a_start_that_runs_off_is_not_called_an_answer() -> None:
    """Eckerle4's peak begun far from the data: no reading feels it, so nothing tells where to go."""
    given = read("Eckerle4")
    end, _ = solve("Eckerle4", np.array([1.0, 10.0, 4000.0]))
    assert np.abs(end.state / given.values - 1).max() > 0.01
    assert not end.converged
