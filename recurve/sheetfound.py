"""The content of the sheet's other parts: the curve, the engine, the unit as found, and blocks that come ready made."""

from __future__ import annotations

import math
from collections.abc import Callable

from recurve.build import Build
from recurve.diagnose import SEVERITY
from recurve.doubts import data_findings
from recurve.evidence import SURE, Evidence
from recurve.findings import Finding, curve_findings
from recurve.fit import Fit
from recurve.inspected import inspect_job
from recurve.sheetparts import PLACES, Facts, Source, decimals, highest
from recurve.shown import RPM, Cell, Shown, cell, signless
from recurve.style import breakable
from recurve.units import parse


def curve(source: Source) -> Facts:
    """What the figure's 90 % bands are."""
    built = source.plan.built is not None and source.plan.built.band is not None
    told = ["where nine builds in ten would lie"] if built else []
    if source.plan.before_band is not None:
        told.append("round the curve as found, what the readings leave open (90 %)")
    return {"go": source.go is not None, "shaded": f"Shaded: {'; '.join(told)}." if told else ""}


# --- the engine --------------------------------------------------------------------------------------------


def engine(source: Source) -> Facts | None:
    """What a timing light must show: the unit's advance at crank speeds, to be added to the static timing."""
    build, job = source.go, source.plan.job
    if build is None:
        return None
    all_in = build.curve.all_in
    return {
        "points": job.trigger == "points",
        "static": _static(source),
        "all_in": "" if all_in is None else f"{all_in * RPM * job.speed_ratio:.0f} rpm (crank)",
        "rows": _crank_rows(source, build),
    }


def _static(source: Source) -> str:
    """The book's static timing where the job gives it."""
    target = source.plan.job.document.get("target", {})
    if "static" not in target:
        return ""
    return f"{signless(math.degrees(parse(target['static'], 'angle').value), 1)}° (crank)"


def _crank_rows(source: Source, build: Build) -> list[Facts]:
    """The unit's advance at the target's speeds: crank rpm, crank degrees; the maximum last."""
    ratio = source.plan.job.speed_ratio
    places = decimals([r.band for r in build.results])
    last = highest(source.plan, build) * ratio
    ordered = sorted(build.results, key=lambda r: math.inf if r.band.speed is None else r.band.speed)
    return [
        {
            "what": {"point": "", "idle": "idle", "maximum": "all in"}[r.band.kind],
            "speed": f"{last if r.band.speed is None else r.band.speed * RPM * ratio:.0f}",
            **{
                name: signless(math.degrees(a) * ratio, places)
                for name, a in (("min", r.band.low), ("aim", r.rising), ("max", r.band.high))
            },
        }
        for r in ordered
    ]


# --- the unit as found -------------------------------------------------------------------------------------


def found(source: Source) -> Facts | None:
    """The unit as its sweep shows it: what is wrong, how well the readings agree, and rows of a label and a value."""
    fit = source.plan.fit
    if fit is None:
        return None
    e = Evidence.of(fit.job, fit)
    return {
        "readings": _readings(fit),
        "rows": _rows(e, fit, source.shown),
        "findings": [_finding(f) for f in _findings(e, source)],
    }


def _findings(e: Evidence, source: Source) -> list[Finding]:
    made = [*inspect_job(source.plan.job).findings, *curve_findings(e, source.plan.ideal), *data_findings(e)]
    return sorted(made, key=lambda f: SEVERITY.index(f.severity))


def _finding(f: Finding) -> Facts:
    return {name: breakable(getattr(f, name)) for name in ("what", "severity", "evidence", "consequence", "remedy")}


def _readings(fit: Fit) -> str:
    agree = "no more than stated" if fit.inflation <= 1.0 else f"{fit.inflation:.1f} times as much as stated"
    left_out = f", {len(fit.outliers)} left out" if fit.outliers else ""
    return (
        f"{len(fit.residuals) - len(fit.outliers)} readings{left_out}; they scatter {agree} (chi² {fit.chi2:.1f}, "
        f"{fit.dof:.0f} degrees of freedom)"
    )


def _rows(e: Evidence, fit: Fit, shown: Shown) -> list[Facts]:
    rows = [
        ("onset", shown.doubtful_speed(e.onset)),
        ("back at zero", shown.doubtful_speed(e.home)),
        (f"stays in at {RPM * e.idle:.0f} rpm", shown.doubtful_angle(e.residual)),
        ("stop", shown.doubtful_angle(e.stop)),
        *[(f"{name} takes up", _takeup(e, i, shown)) for i, (name, *_) in enumerate(PLACES[: len(e.job.places)])],
        ("friction", _moment(fit, "friction", shown)),
    ]
    if e.job.trigger == "points":
        rows.append(("rubbing block", _moment(fit, "drag", shown)))
    return [{"label": label, **value} for label, value in rows]


def _takeup(e: Evidence, place: int, shown: Shown) -> Cell:
    if e.never(place) > SURE:
        return cell("never before the stop")
    if e.takeup(place).above(1e-6) < 1 - SURE:
        return cell("pulls from rest")
    return shown.doubtful_angle(e.takeup(place))


def _moment(fit: Fit, name: str, shown: Shown) -> Cell:
    """A drag or friction of the fit."""
    one = fit.estimate(name)
    if one.value is None:
        return cell("the readings do not tell")
    made = shown.moment(one)
    return cell(made["main"], ", ".join(x for x in (made["small"], one.source == "as given" and "as given") if x))


# --- blocks that come ready made -----------------------------------------------------------------------------


def given(name: str) -> Callable[[Source], Facts | None]:
    """A part whose facts another room has made, in the shape that `data/sheet/block.typ` describes."""

    def content(source: Source) -> Facts | None:
        return source.given.get(name)

    return content
