"""recurve: plans the mechanical advance of points-type ignition distributors.

    import recurve
    job = recurve.load_job("launch.toml")
    print(recurve.check_text(recurve.check_unit(job)))
    plan = recurve.make_plan(job)
    print(recurve.plan_text(plan))

The names in `__all__` are the public interface; they are loaded when first used, so that `import recurve` costs nothing.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

__version__ = "0.1.0"

if TYPE_CHECKING:
    from recurve.diagnosis.check import Check as Check
    from recurve.diagnosis.check import check_unit as check_unit
    from recurve.diagnosis.verify import Verification as Verification
    from recurve.diagnosis.verify import verify_unit as verify_unit
    from recurve.errors import InputError as InputError
    from recurve.errors import OutputError as OutputError
    from recurve.errors import PhysicsError as PhysicsError
    from recurve.errors import RecurveError as RecurveError
    from recurve.fit.fit import Fit as Fit
    from recurve.fit.fit import fit_sweep as fit_sweep
    from recurve.job.model import Job as Job
    from recurve.job.read import load_job as load_job
    from recurve.job.read import read_as_left as read_as_left
    from recurve.output.figures.check import plot_check as plot_check
    from recurve.output.figures.check import plot_verify as plot_verify
    from recurve.output.figures.plan import plot_plan as plot_plan
    from recurve.output.text.check import check_text as check_text
    from recurve.output.text.check import fit_text as fit_text
    from recurve.output.text.check import verify_text as verify_text
    from recurve.output.text.plan import curve_text as curve_text
    from recurve.output.text.plan import plan_text as plan_text
    from recurve.physics.curve import Trace as Trace
    from recurve.physics.curve import Unit as Unit
    from recurve.physics.curve import trace as trace
    from recurve.physics.target import judge as judge
    from recurve.planner.plan import Plan as Plan
    from recurve.planner.plan import make_plan as make_plan

# The same names for the interpreter: where each is found when it is first asked for.
_MODULES = {
    "Check": "recurve.diagnosis.check",
    "Fit": "recurve.fit.fit",
    "InputError": "recurve.errors",
    "Job": "recurve.job.model",
    "OutputError": "recurve.errors",
    "PhysicsError": "recurve.errors",
    "Plan": "recurve.planner.plan",
    "RecurveError": "recurve.errors",
    "Trace": "recurve.physics.curve",
    "Unit": "recurve.physics.curve",
    "Verification": "recurve.diagnosis.verify",
    "check_text": "recurve.output.text.check",
    "check_unit": "recurve.diagnosis.check",
    "curve_text": "recurve.output.text.plan",
    "fit_sweep": "recurve.fit.fit",
    "fit_text": "recurve.output.text.check",
    "judge": "recurve.physics.target",
    "load_job": "recurve.job.read",
    "make_plan": "recurve.planner.plan",
    "plan_text": "recurve.output.text.plan",
    "plot_check": "recurve.output.figures.check",
    "plot_plan": "recurve.output.figures.plan",
    "plot_verify": "recurve.output.figures.check",
    "read_as_left": "recurve.job.read",
    "trace": "recurve.physics.curve",
    "verify_text": "recurve.output.text.check",
    "verify_unit": "recurve.diagnosis.verify",
}

__all__ = ["__version__", *sorted(_MODULES)]


def __getattr__(name: str) -> object:
    if name in _MODULES:
        from importlib import import_module

        return getattr(import_module(_MODULES[name]), name)
    raise AttributeError(f"module 'recurve' has no attribute {name!r}")


def __dir__() -> list[str]:
    return sorted(__all__)
