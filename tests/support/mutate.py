"""Small faults put into a module one at a time, to see whether the tests notice: what survives shows where they are blind.

    python tests/support/mutate.py MODULE COUNT SEED TEST_FILE…

from the checkout, such as `physics/posts 30 1 tests/physics/test_posts.py`.

A fault is an operator or a comparison turned into another, a sign or a `not` taken away, a constant moved. Each is put
in memory alone, in a process of its own that stops at the first test that fails, or after LONGEST seconds; both mean
that it was noticed. Survivors are printed as the changed line.
"""

from __future__ import annotations

import ast
import copy
import importlib.abc
import importlib.machinery
import importlib.util
import os
import random
import signal
import sys
from collections.abc import Iterator, Sequence
from pathlib import Path
from types import ModuleType
from typing import Any

from checkout import ROOT

LONGEST = 120
SWAPS: dict[type, type] = {
    ast.Add: ast.Sub, ast.Sub: ast.Add, ast.Mult: ast.Div, ast.Div: ast.Mult, ast.Pow: ast.Mult, ast.Mod: ast.Mult,
    ast.Lt: ast.GtE, ast.LtE: ast.Lt, ast.Gt: ast.GtE, ast.GtE: ast.Gt, ast.Eq: ast.NotEq, ast.NotEq: ast.Eq,
    ast.BitAnd: ast.BitOr, ast.BitOr: ast.BitAnd, ast.And: ast.Or, ast.Or: ast.And,
}  # fmt: skip


def changed(node: ast.AST) -> ast.AST | None:
    """The node with a fault in it, or None where there is none to put."""
    new: Any = copy.deepcopy(node)
    if isinstance(new, ast.BinOp | ast.BoolOp | ast.AugAssign) and type(new.op) in SWAPS:
        new.op = SWAPS[type(new.op)]()
    elif isinstance(new, ast.Compare) and type(new.ops[0]) in SWAPS:
        new.ops[0] = SWAPS[type(new.ops[0])]()
    elif isinstance(new, ast.UnaryOp) and not isinstance(new.operand, ast.Constant):
        new = new.operand
    elif isinstance(new, ast.Constant) and isinstance(new.value, int | float) and not isinstance(new.value, bool):
        new.value = new.value + 1 if isinstance(new.value, int) else new.value * 1.1 + 0.1
    elif isinstance(new, ast.Constant) and isinstance(new.value, bool):
        new.value = not new.value
    else:
        return None
    return new


def places(tree: ast.AST) -> Iterator[ast.AST]:
    """Nodes that run: no annotation, no decorator."""
    for name, value in ast.iter_fields(tree):
        if name in ("annotation", "returns", "decorator_list"):
            continue
        for node in value if isinstance(value, list) else [value]:
            if isinstance(node, ast.AST):
                yield node
                yield from places(node)


class Put(ast.NodeTransformer):
    """Puts one node in the place of another."""

    def __init__(self, old: ast.AST, new: ast.AST) -> None:
        self.old, self.new = old, new

    def visit(self, node: ast.AST) -> Any:
        return ast.copy_location(self.new, node) if node is self.old else self.generic_visit(node)


class Given(importlib.abc.MetaPathFinder, importlib.abc.Loader):
    """Imports one module from a tree that is in memory."""

    def __init__(self, name: str, path: Path, tree: ast.Module) -> None:
        self.name, self.path, self.tree = name, path, tree

    def find_spec(self, name: str, path: Sequence[str] | None, target: ModuleType | None = None) -> Any:
        if name != self.name:
            return None
        return importlib.util.spec_from_file_location(name, self.path, loader=self)

    def create_module(self, spec: importlib.machinery.ModuleSpec) -> None:
        return None

    def exec_module(self, module: ModuleType) -> None:
        exec(compile(self.tree, str(self.path), "exec"), module.__dict__)


def survives(name: str, path: Path, tree: ast.Module, tests: list[str]) -> bool:
    """Whether all tests pass, in a process of its own."""
    child = os.fork()
    if child == 0:
        import pytest

        signal.alarm(LONGEST)  # ends the process
        silent = os.open(os.devnull, os.O_WRONLY)
        os.dup2(silent, 1)
        os.dup2(silent, 2)
        sys.meta_path.insert(0, Given(name, path, tree))
        os._exit(int(pytest.main(["-x", "-q", "-n", "0", "-p", "no:hypothesispytest", *tests])))
    return os.waitpid(child, 0)[1] == 0


def main(module: str, count: int, seed: int, tests: list[str]) -> None:
    for library in ("numpy", "pytest"):
        importlib.import_module(library)  # once, for all

    path = ROOT / "recurve" / f"{module}.py"
    source = ast.parse(path.read_text(encoding="utf-8"))
    faults = [(n, new) for n in places(source) if (new := changed(n)) is not None]
    chosen = random.Random(seed).sample(faults, min(count, len(faults)))
    survivors = 0
    for node, new in chosen:
        tree = ast.fix_missing_locations(Put(node, new).visit(source))
        if survives("recurve." + module.replace("/", "."), path, tree, tests):
            survivors += 1
            line: int = node.lineno
            print(f"{module}.py:{line}: {ast.unparse(node)}  ->  {ast.unparse(new)}", flush=True)
        Put(new, node).visit(source)
    print(f"{module}: {len(chosen)} of {len(faults)} faults, {survivors} survived", flush=True)


if __name__ == "__main__":
    sys.path[:0] = [str(ROOT), str(ROOT / "tests" / "support")]
    os.chdir(ROOT)
    main(sys.argv[1], int(sys.argv[2]), int(sys.argv[3]), sys.argv[4:])
