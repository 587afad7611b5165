"""A sweep from a logger, some hundred thousand readings, as the means of groups of like speed: what a fit needs of it.

A fit weighs every reading by itself, so that its work and its memory grow with their number, and most of them repeat what
their neighbours say. From MOST readings on they are gathered, rising and falling apart:

1. Readings that lie far off their neighbours in speed are left out, and named by their lines.
2. A group is split in two at the middle of its speeds while it is wider than WIDEST, so that straight flanks keep their slope,
   or while its readings are not straight over speed, so that knees, turns and plateaus keep theirs. No group is split that is
   no wider than speed is read.
3. A group's advance and speed are the means of its readings. The slowest and the fastest reading of each direction stay as they
   are: they are where a sweep begins, and where it turns.

The mean of m readings, of half-width a each, with the variance v by the error of speed, has the variance

    (a²/3 + v)/m' + b²,   m' = m (1 − ρ)/(1 + ρ)                                                                       (1)

where ρ is the correlation of one reading's error with the next one's in the file, if there is any: readings that a filter has
smoothed are worth fewer. b is what does not average away: REPEATS, that no unit repeats itself and no model is closer; and,
where the readings scatter surely less than stated, the rest of the stated ±, since what is stated and does not scatter is an
error that they share. Over a group the curve bends: what its readings should show on the mean is taken at the three nodes of
`uncertainty.speed_nodes`, widened by the standard deviation of the group's speeds. The fit of a reference sweep takes each group
as one reading, which is less than it tells.
"""

from __future__ import annotations

import heapq
from dataclasses import dataclass, replace

import numpy as np

from recurve.arrays import Array, Mask
from recurve.physics.sweep import Groups, Sweep
from recurve.uncertainty import MOST_OUTLIERS, NORMAL_MEDIAN, OUTLIER, RARE
from recurve.units import SQRT3

MOST = 400  # readings that are fitted one by one: more come from a logger, never from a hand
GROUPS = 72  # of each direction, at most
WIDEST = 1 / 24  # of the speeds swept: a straight flank keeps its slope
FEWEST = 6  # readings of a group that may still be split
WINDOW = 21  # readings beside one another in speed, whose median tells where one of them should lie
REPEATS = np.radians(0.03)  # what no unit repeats and no model is closer to; common practice, no source


def gathered(sweep: Sweep) -> Sweep:
    """The sweep itself, or, if it has more than MOST readings, the means of its groups, with `groups` to tell how they were
    made."""
    if len(sweep.speed) <= MOST:
        return sweep
    out = np.zeros(len(sweep.speed), bool)
    made: list[np.ndarray] = []
    for rising in (True, False):
        at = np.flatnonzero(np.asarray(sweep.rising, bool) == rising)
        if not len(at):
            continue
        at = at[np.argsort(sweep.speed[at], kind="stable")]
        wrong = _far_off(sweep, at)
        out[at[wrong]] = True
        made += _groups(sweep, at[~wrong])
    return _means(sweep, made, out)


def _far_off(sweep: Sweep, at: np.ndarray) -> Mask:
    """Which of the readings `at` (n,), in the order of their speeds, lie far off their neighbours; none if many do."""
    from scipy.ndimage import median_filter
    from scipy.special import ndtri

    if len(at) < WINDOW:
        return np.zeros(len(at), bool)
    read = sweep.advance[at]
    off = np.abs(read - median_filter(read, WINDOW, mode="nearest"))
    spread = median_filter(off, 5 * WINDOW, mode="nearest") / NORMAL_MEDIAN
    # Of a hundred thousand sound readings half a one, and no more, may lie so far off.
    far = max(OUTLIER, float(-ndtri(0.25 / len(at))))
    wrong = off > far * np.maximum(spread, sweep.reading / SQRT3)
    return np.zeros(len(at), bool) if wrong.mean() > MOST_OUTLIERS else np.asarray(wrong)


@dataclass(frozen=True)
class _Run:
    """Readings `at` (n,), in the order of their speeds, and how far from straight, or too wide, they are (`bent` [1])."""

    at: np.ndarray
    bent: float


def _groups(sweep: Sweep, at: np.ndarray) -> list[np.ndarray]:
    """The readings `at`, in the order of their speeds, in groups: the slowest and the fastest by themselves."""
    if len(at) < 3:
        return [at[i : i + 1] for i in range(len(at))]
    widest = WIDEST * float(sweep.speed[at[-1]] - sweep.speed[at[0]])
    first = _run(sweep, at[1:-1], widest)
    heap, number = [(-first.bent, 0, first)], 1
    done: list[np.ndarray] = []
    while heap and len(heap) + len(done) < GROUPS:
        _, _, worst = heapq.heappop(heap)
        halves = _halves(sweep, worst, widest)
        if halves is None:
            done.append(worst.at)
            continue
        for half in halves:
            heapq.heappush(heap, (-half.bent, number, half))
            number += 1
    return [at[:1], at[-1:], *done, *(run.at for _, _, run in heap)]


def _halves(sweep: Sweep, run: _Run, widest: float) -> tuple[_Run, _Run] | None:
    """The run split at the middle of its speeds; None if it is straight and no wider than the `widest` [rad/s], or as narrow as
    speed is read."""
    speed = sweep.speed[run.at]
    width = float(speed[-1] - speed[0])
    if len(run.at) < 2 * FEWEST or width <= sweep.speed_reading or run.bent <= 0.0:
        return None
    cut = int(np.searchsorted(speed, speed[0] + width / 2))
    cut = min(max(cut, 1), len(speed) - 1)
    return _run(sweep, run.at[:cut], widest), _run(sweep, run.at[cut:], widest)


def _run(sweep: Sweep, at: np.ndarray, widest: float) -> _Run:
    """A run with how far its four quarters lie off a straight line: their χ² less what chance gives once in a hundred; without
    end where it is wider than the `widest` [rad/s]."""
    from scipy.special import chdtri

    if len(at) < 2 * FEWEST:
        return _Run(at, 0.0)
    x, y = sweep.speed[at], sweep.advance[at]
    if x[-1] - x[0] > widest:
        return _Run(at, np.inf)
    residual = y - _line(x, y)
    # From reading to next reading, so that a bend counts as none of it.
    steps = np.diff(y)
    noise = max(float(np.median(np.abs(steps))) / NORMAL_MEDIAN / np.sqrt(2.0), 1e-3 * sweep.reading, 1e-9)
    quarter = np.minimum(((x - x[0]) / max(float(x[-1] - x[0]), 1e-12) * 4).astype(int), 3)
    count = np.bincount(quarter, minlength=4)
    total = np.bincount(quarter, residual, 4)
    chi2 = float((total[count > 0] ** 2 / count[count > 0]).sum()) / noise**2
    return _Run(at, chi2 - float(chdtri(2.0, RARE)))


def _line(x: Array, y: Array) -> Array:
    """The straight line (n,) through the points of a group; their mean where all have one speed."""
    off = x - x.mean()
    square = float(off @ off)
    slope = float(off @ y) / square if square > 0.0 else 0.0
    return np.asarray(y.mean() + slope * off)


def _means(sweep: Sweep, made: list[np.ndarray], out: Mask) -> Sweep:
    """The means of the groups in the order of the file, with what they are worth."""
    made = sorted(made, key=lambda at: int(at.min()))
    count = np.array([len(at) for at in made], float)
    lines = [_line(sweep.speed[at], sweep.advance[at]) for at in made]
    residual, whose = np.full(len(sweep.speed), np.nan), np.full(len(sweep.speed), -1)
    expected, freedom = 0.0, 0.0
    for number, (at, line) in enumerate(zip(made, lines, strict=True)):
        if len(at) < FEWEST:
            continue
        residual[at], whose[at] = sweep.advance[at] - line, number
        slope = float(np.ptp(line)) / max(float(np.ptp(sweep.speed[at])), 1e-12) if np.ptp(sweep.speed[at]) > 0 else 0.0
        expected += (len(at) - 2) * (sweep.reading**2 + (slope * sweep.speed_reading) ** 2) / 3
        freedom += len(at) - 2
    worth = _worth(residual, whose)
    shared = _shared(float(np.nansum(residual**2)), expected, freedom * worth)
    rest = np.sqrt(shared * sweep.reading**2 / 3 + REPEATS**2)
    groups = Groups(
        size=count,
        count=np.maximum(count * worth, 1.0),
        spread=np.array([float(sweep.speed[at].std()) for at in made]),
        rest=np.where(count > 1, rest, 0.0),
        readings=len(sweep.speed),
        left_out=tuple(int(r) for r in sweep.row[out]),
        shared=shared,
    )
    return replace(
        sweep,
        speed=np.array([float(sweep.speed[at].mean()) for at in made]),
        advance=np.array([float(sweep.advance[at].mean()) for at in made]),
        rising=np.array([bool(sweep.rising[at[0]]) for at in made]),
        row=np.array([int(sweep.row[at].min()) for at in made]),
        groups=groups,
    )


def _worth(residual: Array, whose: np.ndarray) -> float:
    """What a reading is worth [1] beside one whose error has nothing to do with the last one's; at most 1. `residual` (n,)
    [rad] in the order of the file, `whose` (n,) the groups they are of, −1 for none."""
    both = (whose[1:] >= 0) & (whose[1:] == whose[:-1])
    if both.sum() < 100:
        return 1.0
    before, after = residual[:-1][both], residual[1:][both]
    rho = float(before @ after) / max(float(np.sqrt((before @ before) * (after @ after))), 1e-300)
    return (1.0 - rho) / (1.0 + rho) if rho > 3.0 / np.sqrt(both.sum()) else 1.0


def _shared(found: float, expected: float, freedom: float) -> float:
    """The share [1] of the stated variance that the readings have in common, since they scatter surely less than stated: 0
    where chance would make them so once in a hundred times."""
    from scipy.special import chdtr

    if freedom < 1.0 or expected <= 0.0:
        return 0.0
    ratio = found / expected
    return max(1.0 - ratio, 0.0) if chdtr(freedom, ratio * freedom) < RARE else 0.0


def gathered_notes(sweep: Sweep | None) -> list[str]:
    """What must be said of a sweep that was gathered."""
    if sweep is None or sweep.groups is None:
        return []
    groups = sweep.groups
    told = (
        f"{sweep.file} has {groups.readings} readings, as from a logger. They were averaged in {len(sweep.speed)} "
        "groups of nearly equal speed, rising and falling apart."
    )
    if groups.shared > 0.0:
        told += " They scatter less than their ±: the rest of the ± is taken as an error common to all."
    if groups.left_out:
        first = ", ".join(str(r) for r in groups.left_out[:5])
        more = "" if len(groups.left_out) <= 5 else " and so on"
        told += f" {len(groups.left_out)} that lie far off their neighbours were left out (line {first}{more})."
    return [told]
