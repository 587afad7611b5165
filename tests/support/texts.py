"""Every text that a user reads, in one listing: `python tests/support/texts.py [PART OF A PATH]...` prints file:line and words.

Collected are the string literals of recurve/ with two words or more, {} for each value filled in; the help of the commands;
the words of data/ (questions, tables, layouts for paper and screen) and of the guides. Left out are docstrings, keys, types,
patterns and bare labels of one word.
"""

from __future__ import annotations

import ast
import re
import sys
import tomllib
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

ROOT = Path(__file__).resolve().parents[2]
WORD = re.compile(r"[A-Za-zÀ-ž][A-Za-zÀ-ž'’-]+")
# Spoken texts are words with spaces between; what looks like this is for a machine.
CODE = re.compile(r"\\[bdws]|\(\?|^[\w./*-]+$|^\s*</?\w+|^#|[{};]\s*$(?<!\{\})|:\s*\d+px|^--|^utf-?8|^[A-Z_ ]+=")
PATTERNS = {"compile", "match", "search", "fullmatch", "sub", "findall", "split", "TypeVar", "getattr", "hasattr"}


@dataclass(frozen=True)
class Text:
    """A text with the file and line where it stands; {} in it is a value that is filled in."""

    file: str
    line: int
    words: str

    def sentences(self) -> list[str]:
        """Its sentences; what a table or a list sets apart counts as one of its own."""
        blocks = re.split(r"\n\s*\n|\n(?=\s*(?:[-*|+]|\d+\.)\s)", self.words)
        return [s.strip() for block in blocks for s in re.split(r"(?<=[.!?:])\s+|\s\|\s", block) if s.strip()]


def _spoken(words: str) -> bool:
    """Whether it is for people: two words or more, and no code."""
    return len(WORD.findall(words)) >= 2 and " " in words.strip() and not CODE.search(words)


def _docstrings(tree: ast.Module, commands: bool) -> set[int]:
    """The constants that document; a command's own is its help, so it counts as spoken."""
    found = set()
    for node in ast.walk(tree):
        if not isinstance(node, ast.Module | ast.ClassDef | ast.FunctionDef | ast.AsyncFunctionDef):
            continue
        help_text = commands and isinstance(node, ast.FunctionDef) and "Example:" in (ast.get_docstring(node) or "")
        for one in node.body:  # the one at its head, and those that stand under a field
            if isinstance(one, ast.Expr) and isinstance(one.value, ast.Constant) and not help_text:
                found.add(id(one.value))
    return found


def _joined(node: ast.AST) -> str | None:
    """A literal, or literals added to each other and to values, as one text; None for anything else."""
    if isinstance(node, ast.Constant) and isinstance(node.value, str):
        return node.value
    if isinstance(node, ast.JoinedStr):
        return "".join(str(p.value) if isinstance(p, ast.Constant) else "{}" for p in node.values)
    if isinstance(node, ast.BinOp) and isinstance(node.op, ast.Add):
        left, right = _joined(node.left), _joined(node.right)
        if left is not None or right is not None:
            return ("{}" if left is None else left) + ("{}" if right is None else right)
    return None


def _parts(node: ast.AST) -> Iterator[ast.AST]:
    """What stands inside a text already taken whole: the values filled in."""
    if isinstance(node, ast.JoinedStr):
        yield from (p.value for p in node.values if isinstance(p, ast.FormattedValue))
    elif isinstance(node, ast.BinOp):
        for side in (node.left, node.right):
            if _joined(side) is None:
                yield side
            else:
                yield from _parts(side)


def _under(node: ast.AST, passed: set[int]) -> Iterator[tuple[int, str]]:
    """The texts of a tree, each with its line."""
    if id(node) in passed or (
        isinstance(node, ast.Subscript | ast.AnnAssign) and ast.unparse(node).startswith("Literal[")
    ):
        return
    if isinstance(node, ast.Call) and ast.unparse(node.func).rsplit(".", 1)[-1] in PATTERNS:
        return
    words = _joined(node)
    if words is not None:
        yield getattr(node, "lineno", 0), words
        inner: Iterator[ast.AST] = _parts(node)
    else:
        inner = ast.iter_child_nodes(node)
    for one in inner:
        yield from _under(one, passed)


def _of_python(path: Path) -> Iterator[tuple[int, str]]:
    tree = ast.parse(path.read_text(encoding="utf-8"))
    return _under(tree, _docstrings(tree, path.parent.name == "cli"))


def _of_screen(path: Path) -> Iterator[tuple[int, str]]:
    """The words between the tags of a page, and those of labels that are read aloud."""
    source = path.read_text(encoding="utf-8")
    blank = re.sub(r"\{#.*?#\}|\{%.*?%\}|<script.*?</script>|<style.*?</style>", _kept_lines, source, flags=re.S)
    blank = re.sub(r"\{\{.*?\}\}", "{}", blank, flags=re.S)
    for found in re.finditer(r'(?:aria-label|title|placeholder|alt)="([^"]+)"', blank):
        yield blank.count("\n", 0, found.start()) + 1, found[1]
    inline = re.sub(r"</?(?:b|i|em|strong|small|span|a|code|kbd|output)\b[^>]*>", "", blank)
    for found in re.finditer(r"(?:^|>)([^<>]+)", inline):
        yield inline.count("\n", 0, found.start(1)) + 1, " ".join(found[1].split())
    for found in re.finditer(r"\{[%{].*?[%}]\}", source, flags=re.S):
        for words in re.findall(r'"([^"]*)"', found[0]):
            yield source.count("\n", 0, found.start()) + 1, words


def _kept_lines(found: re.Match[str]) -> str:
    """Nothing but the line ends, so that lines keep their numbers."""
    return "\n" * found[0].count("\n")


def _of_paper(path: Path) -> Iterator[tuple[int, str]]:
    """The words in brackets and quotes of a layout for paper; what it fills in or decides stands as {}."""
    source = re.sub(r"(?m)^\s*//.*$", "", path.read_text(encoding="utf-8"))
    for found in re.finditer(r'"([^"\n]*)"', source):
        yield source.count("\n", 0, found.start()) + 1, found[1]
    flat = re.sub(r'"[^"\n]*"', "{}", source)
    flat = re.sub(r"#[\w.-]+(?:\((?:[^()]|\([^()]*\))*\))?", "{}", flat)
    for found in re.finditer(r"\[([^\[\]]+)\]", flat):
        yield flat.count("\n", 0, found.start(1)) + 1, " ".join(found[1].split())


def _of_table(path: Path) -> Iterator[tuple[int, str]]:
    """The values of a TOML table that are words."""
    source = path.read_text(encoding="utf-8").split("\n")

    def walk(value: Any) -> Iterator[str]:
        if isinstance(value, str):
            yield value
        elif isinstance(value, dict | list):
            for one in value.values() if isinstance(value, dict) else value:
                yield from walk(one)

    at = 0
    for words in walk(tomllib.loads("\n".join(source))):
        head = words.split("\n")[0][:40]
        at = next((i for i in [*range(at, len(source)), *range(at)] if head in source[i]), at)
        yield at + 1, words


def _of_guide(path: Path) -> Iterator[tuple[int, str]]:
    """A guide's paragraphs, without its blocks of code."""
    source = re.sub(r"(?ms)^```.*?^```", _kept_lines, path.read_text(encoding="utf-8"))
    source = re.sub(r"\[([^\]]*)\]\([^)]*\)", r"\1", re.sub(r"!\[[^\]]*\]\([^)]*\)|`[^`]*`", "{}", source))
    for found in re.finditer(r"\S.*?(?=\n\s*\n|\n#|\Z)", source, flags=re.S):
        yield source.count("\n", 0, found.start()) + 1, found[0]


def _of_drawing(path: Path) -> Iterator[tuple[int, str]]:
    """The words of a figure of the measuring guide."""
    source = path.read_text(encoding="utf-8")
    for found in re.finditer(r"<!--\s*(.*?)\s*-->|<(?:title|desc|text)\b[^>]*>([^<]+)<", source, flags=re.S):
        yield source.count("\n", 0, found.start()) + 1, " ".join((found[1] or found[2]).split())


READERS = {
    ("recurve", "*.py"): _of_python,
    ("data", "*.toml"): _of_table,
    ("data", "*.html"): _of_screen,
    ("data", "*.typ"): _of_paper,
    ("examples", "*.md"): _of_guide,
    ("examples/measuring", "*.svg"): _of_drawing,
    (".", "README.md"): _of_guide,
}


def all_texts(*only: str) -> list[Text]:
    """All of them, or those of the files whose path holds one of the words in `only`."""
    found = []
    for (folder, names), read in READERS.items():
        for path in sorted((ROOT / folder).glob(names) if folder == "." else (ROOT / folder).rglob(names)):
            name = path.relative_to(ROOT).as_posix()
            if not only or any(o in name for o in only):
                found += [Text(name, line, words.strip()) for line, words in read(path) if _spoken(words)]
    return list(dict.fromkeys(found))


def main() -> None:
    """Print them."""
    for text in all_texts(*sys.argv[1:]):
        print(f"{text.file}:{text.line}  {' '.join(text.words.split())}")


if __name__ == "__main__":
    main()
