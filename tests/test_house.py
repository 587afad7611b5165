"""The house rules that a machine can hold: rooms, types, style, public names, shipped data."""

from __future__ import annotations

import ast
import re
import subprocess
import sys
from pathlib import Path

import pytest
from checkout import ROOT, needs_checkout

import recurve

PACKAGE = ROOT / "recurve"

# From top to bottom; a room may import only from lower floors or its own. See DEVELOPERS.md.
FLOORS = (
    {"__main__"},
    {"cli"},
    {
        "cmd_curve",
        "cmd_check",
        "cmd_plan",
        "cmd_wind",
        "cmd_spring",
        "cmd_draw",
        "cmd_start",
        "cmd_sweep",
        "cmd_timing",
        "cmd_schema",
    },
    {"interview"},
    {"sweeping"},
    {"dialogue"},
    {"planning"},
    {"console"},
    {"terminal", "nextstep"},
    {"winddraw", "windinput", "springinput"},
    {"springreport"},
    {"windreport"},
    {"readings", "jobtext"},
    {"certificate", "htmlpage"},
    {"sheetextra"},
    {"sheet", "files", "jobwrite", "record"},
    {"sheetfound"},
    {"sheetparts"},
    {"checkplots"},
    {"windowplot"},
    {"plots", "drawing"},
    {"parts"},
    {"labels"},
    {"timingplot"},
    {"style", "shown", "captions"},
    {"barereport"},
    {"checkreport", "timingreport"},
    {"inspectreport", "report", "bothways"},
    {"vacuumreport"},
    {"facts", "texttable"},
    {"wanted"},
    {"timingcard"},
    {"plan", "diagnose", "verify"},
    {"inspected"},
    {"suggest", "buying"},
    {"wishes", "choose", "doubts"},
    {"findings", "remarks", "explain"},
    {"energy"},
    {"build", "evidence", "conversion"},
    {"yields", "fitted"},
    {"fit"},
    {"sweepmodel", "posterior"},
    {"sobol"},
    {"massmodes", "family"},
    {"window"},
    {"ideal", "refine"},
    {"search"},
    {"prune"},
    {"linear", "lp"},
    {"picture"},
    {"answers"},
    {"barefile"},
    {"jobfile"},
    {"referencebuild"},
    {"sweepbuild"},
    {"jobbuild", "faults"},
    {"targetbuild", "inspectionbuild"},
    {"documents"},
    {"plandocument", "checkdocument", "shopdocument"},
    {"document"},
    {"jobschema"},
    {"jobmodel"},
    {"conditionmodel"},
    {"jobunit"},
    {"quantity", "job"},
    {"timing"},
    {"vacuumcheck", "condition"},
    {"vacuum", "judged"},
    {"inspection"},
    {"dwell", "coil"},
    {"reference"},
    {"shelve"},
    {"tables"},
    {"target"},
    {"wind"},
    {"curve"},
    {"posts"},
    {"rowcheck", "weighing"},
    {"strength"},
    {"springs", "materials", "mechanism"},
    {"questions"},
    {"defaults", "limits"},
    {"units", "datafiles", "errors", "safetext"},
    {"__init__"},
)
# str() of a result is its report: the one look upwards, made only when asked.
REPORTS = {("plan", "report"), ("fit", "checkreport"), ("diagnose", "checkreport"), ("verify", "checkreport")}
NUMERIC = {
    "mechanism", "posts", "curve", "target", "linear", "lp", "sobol", "prune", "search", "refine", "ideal", "window",
    "family", "posterior", "sweepmodel",
    "fit", "fitted", "yields", "evidence", "energy", "findings", "doubts", "build", "wishes", "choose", "suggest", "buying",
    "plan", "explain", "diagnose", "verify",
    "springs", "strength", "rowcheck", "wind", "wanted", "weighing",
    "dwell", "coil", "inspection", "vacuum", "judged", "condition", "vacuumcheck", "inspected", "conversion",
    "timing", "timingcard",
}  # fmt: skip
HEAVY = {"scipy", "highspy", "matplotlib", "pint", "typst", "jinja2"}


def imported(path: Path, top_only: bool) -> set[str]:
    """Names of the modules a file imports, whole file or what runs on import."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    nodes = ast.walk(tree) if not top_only else iter(tree.body)
    names: set[str] = set()
    for node in nodes:
        if isinstance(node, ast.Import):
            names |= {a.name for a in node.names}
        elif isinstance(node, ast.ImportFrom) and node.module:
            names.add(node.module)
            names |= {f"{node.module}.{a.name}" for a in node.names}
    return names


@needs_checkout
def test_every_room_has_a_floor() -> None:
    assert {p.stem for p in PACKAGE.glob("*.py")} == set().union(*FLOORS)


@needs_checkout
def test_imports_run_down() -> None:
    floor = {room: level for level, rooms in enumerate(FLOORS) for room in rooms}
    for path in PACKAGE.glob("*.py"):
        for name in imported(path, top_only=False):
            parts = name.split(".")
            if parts[0] == "recurve" and len(parts) > 1 and parts[1] in floor:
                late = (path.stem, parts[1]) in REPORTS
                assert late or floor[parts[1]] >= floor[path.stem], f"{path.stem} imports {name}"


@needs_checkout
def test_numeric_rooms_neither_read_print_nor_draw() -> None:
    for room in NUMERIC:
        path = PACKAGE / f"{room}.py"
        calls = {
            node.func.id
            for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
            if isinstance(node, ast.Call) and isinstance(node.func, ast.Name)
        }
        assert not calls & {"print", "open", "input"}, room
        outside = {name.split(".")[0] for name in imported(path, top_only=False)}
        assert not outside & {"matplotlib", "typer", "typst", "pathlib", "sys", "os"}, room


@needs_checkout
def test_heavy_libraries_are_imported_where_used() -> None:
    for path in PACKAGE.glob("*.py"):
        tops = {name.split(".")[0] for name in imported(path, top_only=True)}
        assert not tops & HEAVY, path.stem


def test_public_names() -> None:
    assert sorted(recurve.__all__) == [
        "Check",
        "Fit",
        "InputError",
        "Job",
        "OutputError",
        "PhysicsError",
        "Plan",
        "RecurveError",
        "Trace",
        "Unit",
        "Verification",
        "__version__",
        "check_unit",
        "curve_text",
        "fit_sweep",
        "judge",
        "load_job",
        "make_plan",
        "plan_text",
        "plot_check",
        "plot_plan",
        "plot_verify",
        "read_as_left",
        "trace",
        "verify_unit",
    ]
    for name in recurve.__all__:
        assert getattr(recurve, name) is not None
    with pytest.raises(AttributeError, match="no attribute 'nothing'"):
        _ = recurve.nothing


@needs_checkout
def test_types_have_no_exceptions() -> None:
    for path in PACKAGE.glob("*.py"):
        assert not re.search(r"type: ignore|\bcast\(", path.read_text(encoding="utf-8")), path.stem


def test_functions_are_small() -> None:
    """Lines of a function with its signature, without its docstring."""
    for path in PACKAGE.glob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.FunctionDef) and node.end_lineno is not None:
                told = node.body[0] if ast.get_docstring(node) is not None else None
                words = 0 if told is None or told.end_lineno is None else told.end_lineno - told.lineno + 1
                assert node.end_lineno - node.lineno + 1 - words <= 45, f"{path.stem}.{node.name}"


def test_files_are_small() -> None:
    for path in [*PACKAGE.glob("*.py"), *(ROOT / "tests").rglob("*.py")]:
        assert len(path.read_text(encoding="utf-8").splitlines()) <= 420, path.name


@needs_checkout
@pytest.mark.parametrize(
    "command",
    [
        ["-m", "ruff", "check", "--quiet", "--no-cache", "recurve", "tests"],
        ["-m", "ruff", "format", "--check", "--quiet", "--no-cache", "recurve", "tests"],
        ["-m", "mypy", "--no-error-summary", "--cache-dir=/dev/null"],
    ],
    ids=["ruff check", "ruff format", "mypy"],
)
def test_style_and_types(command: list[str]) -> None:
    run = subprocess.run([sys.executable, *command], cwd=ROOT, capture_output=True, text=True, check=False)
    assert run.returncode == 0, run.stdout + run.stderr
