"""The docstrings: every public one that speaks of numbers says their unit in brackets. The guide knows what it names."""

from __future__ import annotations

import ast
import inspect
import re
from collections.abc import Iterator
from importlib import import_module
from pathlib import Path

from checkout import ROOT, needs_checkout

import recurve

PACKAGE = Path(recurve.__file__).parent
NUMBERS = re.compile(r"\b(float|complex|Array|ArrayLike|Points)\b")
# As in DEVELOPERS.md: SI inside, people's units at the boundary. "SI": of more than one dimension; "any": the unit of what
# is given; "1": a ratio, a count, or a state's numbers of order 1.
UNITS = {
    "SI", "SI, or log of it", "any", "`unit`", "1", "m", "mm", "mm on paper", "mm of paper", "pt", "m²", "m/rad", "rad", "deg",
    "rad crank", "rad distributor", "rad²", "rad/m", "rad/s", "rad²/s²", "rpm", "s", "kg", "kg·m²", "kg·m²/rad", "N", "N/m",
    "N/mm", "N·m", "N·m/rad", "Pa", "rad/Pa", "J", "A", "V", "H", "Ω",
}  # fmt: skip


def units_in(document: str) -> set[str]:
    """The units that a docstring gives in brackets: [m], [N, N/m], [rad crank]."""
    brackets = {re.sub(r"\s+", " ", b) for b in re.findall(r"\[([^\]]+)\]", document)}
    return {part for b in brackets for part in (b, *b.split(", ")) if part in UNITS}


def numeric(node: ast.FunctionDef) -> bool:
    """Whether a function takes or gives a number or an array of them."""
    given = (*node.args.posonlyargs, *node.args.args, *node.args.kwonlyargs)
    notes = [a.annotation for a in given] + [node.returns]
    return any(n is not None and NUMBERS.search(ast.unparse(n)) for n in notes)


def public() -> Iterator[tuple[str, str, bool]]:
    """(Name, docstring, whether it must give a unit) of every public module, class, function, method and property."""
    for path in sorted(PACKAGE.rglob("*.py")):
        module = ".".join(path.relative_to(PACKAGE).with_suffix("").parts)
        tree = ast.parse(path.read_text(encoding="utf-8"))
        yield module, ast.get_docstring(tree) or "", False
        classes = [n for n in ast.walk(tree) if isinstance(n, ast.ClassDef) and not n.name.startswith("_")]
        for owner in classes:
            fields = [
                n for n in owner.body if isinstance(n, ast.AnnAssign) and NUMBERS.search(ast.unparse(n.annotation))
            ]
            data = any("dataclass" in ast.unparse(d) for d in owner.decorator_list)
            yield f"{module}.{owner.name}", ast.get_docstring(owner) or "", bool(fields) and data
        for scope in (tree, *classes):
            for node in scope.body:
                if isinstance(node, ast.FunctionDef) and not node.name.startswith("_"):
                    where = f"{module}.{scope.name}" if isinstance(scope, ast.ClassDef) else module
                    yield f"{where}.{node.name}", ast.get_docstring(node) or "", numeric(node)


def test_every_number_has_its_unit() -> None:
    asked = [(name, text) for name, text, must in public() if must]
    assert len(asked) > 300
    lacking = [
        f"{name}: {text.splitlines()[0] if text else 'no docstring'}" for name, text in asked if not units_in(text)
    ]
    assert not lacking, "\n".join(lacking)


def test_everything_public_has_a_docstring() -> None:
    """Save the tables of the job file's shape: their names are the file's own, and the README tells them."""
    shapes = ("job.schema.", "job.schema_unit.", "job.schema_inspection.")
    assert [n for n, text, _ in public() if not text and not n.startswith(shapes)] == []


def test_a_unit_is_in_brackets_and_known() -> None:
    assert units_in("A speed [rad/s], a\nthing [rad\ncrank] and [N, N/m].") == {"rad/s", "rad crank", "N", "N/m"}
    assert units_in("A speed in rad/s, [stop] of a job, [somewhere, some day].") == set()


def offered() -> set[str]:
    """Names of the classes that the package exports, and of those that the rooms list under "Offers"."""
    found = {name for name in recurve.__all__ if inspect.isclass(getattr(recurve, name))}
    for path in PACKAGE.rglob("__init__.py"):
        room = ".".join(("recurve", *path.relative_to(PACKAGE).parts[:-1]))
        words = ast.get_docstring(ast.parse(path.read_text(encoding="utf-8"))) or ""
        for module, names in re.findall(r"^- `(\w+)`: (.+(?:\n  .+)*)", words, re.M):
            loaded = import_module(f"{room}.{module}")
            found |= {name for name in re.findall(r"`(\w+)`", names) if inspect.isclass(getattr(loaded, name))}
    return found


@needs_checkout
def test_the_glossary_lists_every_public_type() -> None:
    _, _, glossary = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8").partition("\n## Glossary\n")
    table = "\n".join(line for line in glossary.splitlines() if line.startswith("|"))
    assert len(offered()) > 30
    assert offered() - set(re.findall(r"`(\w+)`", table)) == set()


@needs_checkout
def test_the_guide_names_modules_that_are_there() -> None:
    """The picture of the rooms names every module and no other; every path in backticks exists."""
    guide = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    picture = guide.partition("\n## The rooms\n")[2].partition("```text\n")[2].partition("```")[0]
    stems = {path.stem for path in PACKAGE.rglob("*.py")}
    lists = [found for line in picture.splitlines() for found in re.findall(r"(?:^|  )([\w, ]+?)(?=:|  |$)", line[13:])]
    named = {word for words in lists if ", " in words or " " not in words.strip() for word in re.findall(r"\w+", words)}
    assert named == stems - {"__init__", "__main__"}
    paths = re.findall(r"`((?:recurve|tests|data|examples|\.ci)/[\w./-]+)", guide)
    assert len(paths) > 20
    assert [path for path in paths if not (ROOT / path).exists() and "NAME" not in path and "ROOM" not in path] == []


@needs_checkout
def test_no_citation_leads_out_of_the_repository() -> None:
    """Equations and sections that are cited as theory exist in the room named; no other document is cited."""
    chapters = {
        path.parent.name: ast.get_docstring(ast.parse(path.read_text(encoding="utf-8"))) or ""
        for path in PACKAGE.glob("*/__init__.py")
    }
    cite = re.compile(r"\b(?:recurve\.(\w+)|theory), (equation|section)s? (\d+)(?: (?:to|and) (\d+))?")
    cited = 0
    for path in (*PACKAGE.rglob("*.py"), *(ROOT / "tests").rglob("*.py")):
        text = re.sub(r"[\s#]+", " ", path.read_text(encoding="utf-8"))
        for room, kind, first, last in cite.findall(text):
            chapter = chapters[room or path.relative_to(PACKAGE).parts[0]]
            for number in {first, last or first}:
                mark = rf"\({number}\)$" if kind == "equation" else rf"^{number}\. "
                assert re.search(mark, chapter, re.M), f"{path}: {room}, {kind} {number}"
                cited += 1
        strange = re.findall(r"design (?:§|eq)|(?:checks|trade|design)\.md", text)
        assert path == Path(__file__) or not strange, f"{path}: {strange}"
    assert cited > 20
