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

# One column: a room imports only from its own and from those below it; all stand on the ground floor, the loose modules.
ROOMS = ("cli", "page", "output", "diagnosis", "planner", "types", "fit", "job", "inspection", "physics", "springs")
GROUND = len(ROOMS)
# Rooms that work with numbers alone: they neither read files, nor print, nor draw.
NUMERIC = ("diagnosis", "planner", "types", "fit", "inspection", "physics", "springs")
HEAVY = {"scipy", "highspy", "matplotlib", "pint", "typst", "jinja2"}
MODULES = sorted(PACKAGE.rglob("*.py"))
NAMES = {".".join(p.relative_to(PACKAGE).with_suffix("").parts) for p in MODULES}


def level(module: str) -> int:
    """How far down a module stands, "fit.model" at the level of its room."""
    room = module.split(".")[0]
    return ROOMS.index(room) if room in ROOMS else GROUND


def dotted(path: Path) -> str:
    """A module's name within the package."""
    return ".".join(path.relative_to(PACKAGE).with_suffix("").parts)


def read(path: Path) -> str:
    """A module's source."""
    return path.read_text(encoding="utf-8")


def imported(source: str, top_only: bool = False) -> set[str]:
    """Names of the modules a source imports and of what it takes from them; all of it, or what runs on import."""
    tree = ast.parse(source)
    nodes = ast.walk(tree) if not top_only else iter(tree.body)
    names: set[str] = set()
    for node in nodes:
        if isinstance(node, ast.Import):
            names |= {a.name for a in node.names}
        elif isinstance(node, ast.ImportFrom):
            module = "." * node.level + (node.module or "")
            names |= {module, *(f"{module}.{a.name}" for a in node.names)}
    return names


def not_below(module: str, source: str) -> list[str]:
    """What a module imports, at its head or where it is used, that does not stand below it or in its own room."""
    loose = {dotted(p) for p in MODULES if p.parent == PACKAGE}
    wrong = []
    for name in imported(source):
        root, _, inner = name.partition(".")
        if root in ("", "importlib"):
            wrong.append(name)  # by another way than its full name
        elif root == "recurve" and inner and inner != "__version__":
            room = inner.split(".")[0]
            if level(inner) < level(module) or room not in {*ROOMS, *loose}:
                wrong.append(inner)
    return sorted(wrong)


def private(source: str) -> set[str]:
    """Private names of other modules that a source uses: imported, or as an attribute of a module that it imports."""
    taken = {name for name in imported(source) if name.startswith("recurve.")}
    modules = {name.rpartition(".")[2] for name in taken if name.removeprefix("recurve.") in NAMES}
    last = {name.rpartition(".")[2] for name in taken} | {
        node.attr
        for node in ast.walk(ast.parse(source))
        if isinstance(node, ast.Attribute) and isinstance(node.value, ast.Name) and node.value.id in modules
    }
    return {name for name in last if name.startswith("_") and name != "__version__"}


def uses(source: str) -> set[tuple[str, str]]:
    """(Module, name) of what a source takes from modules of the package: imported, or as an attribute of one."""
    found, modules = set(), {}
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.ImportFrom) and (node.module or "").startswith("recurve."):
            module = (node.module or "").removeprefix("recurve.")
            for alias in node.names:
                if f"{module}.{alias.name}" in NAMES:
                    modules[alias.asname or alias.name] = f"{module}.{alias.name}"
                else:
                    found.add((module, alias.name))
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.Attribute) and isinstance(node.value, ast.Name) and node.value.id in modules:
            found.add((modules[node.value.id], node.attr))
    return found


@needs_checkout
def test_every_folder_is_a_room() -> None:
    assert {p.name for p in PACKAGE.iterdir() if p.is_dir()} - {"__pycache__"} == set(ROOMS)


@needs_checkout
def test_imports_run_down() -> None:
    for path in MODULES:
        if path.parent == PACKAGE and path.stem in ("__init__", "__main__"):
            continue  # the public names, and the way in: no room of the column
        assert not_below(dotted(path), read(path)) == [], dotted(path)


@needs_checkout
@pytest.mark.parametrize(
    "line",
    [
        "from recurve.planner.plan import Plan",
        "from recurve.planner import plan",
        "import recurve.planner.plan",
        "from recurve import planner",
        "from recurve import make_plan",
        "from ..planner import plan",
        "from importlib import import_module",
    ],
)
def test_an_import_upward_is_found(line: str) -> None:
    """At the head of a module and within a function of it."""
    for source in (line, f"def later():\n    {line}\n"):
        assert not_below("fit.state", source) != []


@needs_checkout
def test_an_import_downward_is_none() -> None:
    assert (
        not_below("fit.state", "from recurve.physics.curve import trace\nfrom recurve import errors\nimport numpy")
        == []
    )
    assert not_below("cli.plan", "from recurve.planner.plan import Plan\nfrom recurve import __version__") == []


@needs_checkout
def test_modules_import_in_no_circle() -> None:
    below = {
        dotted(p): {n for name in imported(read(p)) if (n := name.removeprefix("recurve.")) in NAMES} for p in MODULES
    }
    while below:
        free = {name for name, needs in below.items() if not needs & below.keys()}
        assert free, f"a circle among {sorted(below)}"
        below = {name: needs for name, needs in below.items() if name not in free}


@needs_checkout
def test_private_names_stay_in_their_module() -> None:
    for path in MODULES:
        assert private(read(path)) == set(), dotted(path)
    for source in ("from recurve.springs.wire import _hidden", "from recurve.springs import wire\nx = wire._hidden"):
        assert private(source) == {"_hidden"}


@needs_checkout
def test_numeric_rooms_neither_read_print_nor_draw() -> None:
    for path in (p for room in NUMERIC for p in (PACKAGE / room).glob("*.py")):
        calls = {
            node.func.id
            for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
            if isinstance(node, ast.Call) and isinstance(node.func, ast.Name)
        }
        assert not calls & {"print", "open", "input"}, dotted(path)
        outside = {name.split(".")[0] for name in imported(read(path))}
        assert not outside & {"matplotlib", "typer", "typst", "pathlib", "sys", "os"}, dotted(path)


@needs_checkout
def test_heavy_libraries_are_imported_where_used() -> None:
    for path in MODULES:
        tops = {name.split(".")[0] for name in imported(read(path), top_only=True)}
        assert not tops & HEAVY, dotted(path)


@needs_checkout
def test_a_room_lists_what_others_take_from_it() -> None:
    """Each room says what it is for, and lists what the modules of other rooms use as lines "module: name, name"."""
    taken: dict[str, set[str]] = {}
    for path in MODULES:
        for module, name in uses(read(path)):
            if "." in module and module.rpartition(".")[0] != dotted(path).rpartition(".")[0]:
                taken.setdefault(module, set()).add(name)
    listed = {}
    for folder in sorted({p.parent for p in MODULES} - {PACKAGE}):
        words = ast.get_docstring(ast.parse(read(folder / "__init__.py"))) or ""
        for module, names in re.findall(r"^- `(\w+)`: (.+(?:\n  .+)*)", words, re.M):
            listed[f"{dotted(folder)}.{module}"] = set(re.findall(r"`(\w+)`", names))
    assert listed == taken


@needs_checkout
def test_what_is_taken_from_a_module_is_found() -> None:
    source = "from recurve.fit import state as s\nfrom recurve.fit.fit import Fit\nx = s.SURE\ny = x.other\n"
    assert uses(source) == {("fit.fit", "Fit"), ("fit.state", "SURE")}


def test_public_names_are_the_same_for_people_and_for_type_checkers() -> None:
    tree = ast.parse(Path(recurve.__file__).read_text(encoding="utf-8"))
    told = {
        (alias.name, node.module)
        for block in tree.body
        if isinstance(block, ast.If)
        for node in block.body
        if isinstance(node, ast.ImportFrom)
        for alias in node.names
    }
    assert told == set(recurve._MODULES.items())


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
        "check_text",
        "check_unit",
        "curve_text",
        "fit_sweep",
        "fit_text",
        "judge",
        "load_job",
        "make_plan",
        "plan_text",
        "plot_check",
        "plot_plan",
        "plot_verify",
        "read_as_left",
        "trace",
        "verify_text",
        "verify_unit",
    ]
    for name in recurve.__all__:
        assert getattr(recurve, name) is not None
    with pytest.raises(AttributeError, match="no attribute 'nothing'"):
        _ = recurve.nothing


def test_no_test_imports_from_a_test() -> None:
    """What tests share is in tests/support: a file of tests may be moved, renamed or run by itself."""
    for path in sorted(Path(__file__).parent.rglob("*.py")):
        of_tests = {name for name in imported(read(path)) if name.split(".")[0].startswith("test_")}
        assert not of_tests, f"{path.name} imports {sorted(of_tests)}"


@needs_checkout
def test_types_have_no_exceptions() -> None:
    for path in MODULES:
        assert not re.search(r"type: ignore|\bcast\(", path.read_text(encoding="utf-8")), dotted(path)


@needs_checkout
@pytest.mark.parametrize(
    "command",
    [
        ["-m", "ruff", "check", "--quiet", "--no-cache", "recurve", "tests"],
        ["-m", "ruff", "format", "--check", "--quiet", "--no-cache", "recurve", "tests"],
    ],
    ids=["check", "format"],
)
def test_style(command: list[str]) -> None:
    run = subprocess.run([sys.executable, *command], cwd=ROOT, capture_output=True, text=True, check=False)
    assert run.returncode == 0, run.stdout + run.stderr


@needs_checkout
def test_types(tmp_path: Path) -> None:
    """The package is typed, and a type checker sees what `import recurve` offers as it is, not as Any."""
    asks = tmp_path / "asks.py"
    asks.write_text("import recurve\nreveal_type(recurve.make_plan)\nreveal_type(recurve.Plan)\n", encoding="utf-8")
    command = [sys.executable, "-m", "mypy", "--no-error-summary", "--cache-dir=/dev/null", "recurve", str(asks)]
    run = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=False)
    assert run.returncode == 0, run.stdout + run.stderr
    made, plan = (line for line in run.stdout.splitlines() if "Revealed type" in line)
    assert "-> recurve.planner.plan.Plan" in made and "recurve.planner.plan.Plan" in plan
