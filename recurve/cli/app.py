"""The command line: all commands, and the one place that turns a fault into a message and an exit status."""

from __future__ import annotations

import inspect
import os
import sys
from collections.abc import Callable

from recurve.cli.check import check, verify
from recurve.cli.console import BAD_INPUT, app, tell
from recurve.cli.guide import guide
from recurve.cli.learn import learn
from recurve.cli.order import order
from recurve.cli.page import page
from recurve.cli.plan import plan
from recurve.cli.show import curve, draw, schema, timing
from recurve.cli.spring import spring
from recurve.cli.start import start, sweep
from recurve.cli.units import units
from recurve.cli.wind import wind
from recurve.errors import InputError, RecurveError


def _help(command: Callable[..., None]) -> tuple[str, str]:
    """A command's help with its example first, and the line that the list of commands shows."""
    parts = inspect.cleandoc(command.__doc__ or "").split("\n\n")
    examples = [p for p in parts if p.startswith("Example:")]
    return "\n\n".join([*examples, *(p for p in parts if p not in examples)]), parts[0]


# In the order of the help: as the work goes.
for _command in (
    page,
    start,
    sweep,
    draw,
    check,
    plan,
    order,
    verify,
    timing,
    curve,
    wind,
    spring,
    learn,
    units,
    guide,
    schema,
):
    _long, _short = _help(_command)
    app.command(help=_long, short_help=_short)(_command)


def main() -> None:
    """Run a command; a fault in what was given ends with a message and exit status 2."""
    # The matrices are small: threads of BLAS would only wait for each other. Read when numpy is first imported.
    for library in ("OPENBLAS", "OMP", "MKL"):
        os.environ.setdefault(f"{library}_NUM_THREADS", "1")
    for stream in (sys.stdout, sys.stderr):
        reconfigure = getattr(stream, "reconfigure", None)
        if reconfigure is not None:
            reconfigure(errors="replace")
    try:
        app(prog_name="recurve")
    except InputError as error:
        for fault in error.faults:
            tell(fault)
        raise SystemExit(BAD_INPUT) from None
    except RecurveError as error:
        tell(str(error))
        raise SystemExit(BAD_INPUT) from None
    except BrokenPipeError:
        # The reader of a pipe went away; nothing is left to tell it.
        sys.stderr.close()
        raise SystemExit(BAD_INPUT) from None
