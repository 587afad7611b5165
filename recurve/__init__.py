"""recurve: plans the mechanical advance of points-type ignition distributors.

    import recurve
    job = recurve.load_job("launch.toml")
    print(recurve.check_unit(job))
    plan = recurve.make_plan(job)
    print(plan)

The names in `__all__` are the public interface; they are loaded when first used, so that
`import recurve` costs nothing.
"""

from __future__ import annotations

from importlib import import_module
from typing import Any

__version__ = "0.1.0"

_HOMES = {
    "Check": "recurve.diagnose",
    "Fit": "recurve.fit",
    "InputError": "recurve.errors",
    "Job": "recurve.job",
    "OutputError": "recurve.errors",
    "PhysicsError": "recurve.errors",
    "Plan": "recurve.plan",
    "RecurveError": "recurve.errors",
    "Trace": "recurve.curve",
    "Unit": "recurve.curve",
    "Verification": "recurve.verify",
    "check_unit": "recurve.diagnose",
    "curve_text": "recurve.report",
    "fit_sweep": "recurve.fit",
    "judge": "recurve.target",
    "load_job": "recurve.jobfile",
    "make_plan": "recurve.plan",
    "plan_text": "recurve.report",
    "plot_check": "recurve.checkplots",
    "plot_plan": "recurve.plots",
    "plot_verify": "recurve.checkplots",
    "read_as_left": "recurve.jobfile",
    "trace": "recurve.curve",
    "verify_unit": "recurve.verify",
}

__all__ = ["__version__", *sorted(_HOMES)]


def __getattr__(name: str) -> Any:
    if name in _HOMES:
        return getattr(import_module(_HOMES[name]), name)
    raise AttributeError(f"module 'recurve' has no attribute {name!r}")


def __dir__() -> list[str]:
    return sorted(__all__)
