"""Every text in the package that tells a fault, found in its source, as a pattern that the finished message meets."""

from __future__ import annotations

import ast
import re
from dataclasses import dataclass
from pathlib import Path

import recurve

PACKAGE = Path(recurve.__file__).parent
SPEAKS = re.compile(r"\bexpected\b|\bgot\b|\bmissing\b|\bunknown key\b|; look at\b|; measure\b")
# They speak of a unit or a spring, which is an answer and no fault of what was given.
ANSWERS = {
    "diagnosis.findings",
    "diagnosis.readings",
    "diagnosis.left_out",
    "diagnosis.stop",
    "inspection.inspected",
    "output.figures.style",
    "output.text.workshop",
    "springs.spring",
    "springs.weighing",
    "springs.winding",
}
RAISED = {"InputError", "PhysicsError", "OutputError", "ValueError", "UnreadableError"}


@dataclass(frozen=True)
class Text:
    """A text of the source: where it stands, its words with {} for what is filled in."""

    module: str
    line: int
    words: str

    @property
    def pattern(self) -> re.Pattern[str]:
        """What a message made of it looks like, from anywhere within a line."""
        return re.compile(".*".join(re.escape(part) for part in self.words.split("{}")))


def words_of(node: ast.expr) -> str | None:
    """A text, or one with values in it; None for anything else."""
    if isinstance(node, ast.Constant) and isinstance(node.value, str):
        return node.value
    if isinstance(node, ast.JoinedStr):
        return "".join(str(p.value) if isinstance(p, ast.Constant) else "{}" for p in node.values)
    return None


def fault_texts() -> list[Text]:
    """All texts that speak as faults do ("got …, expected …"), and all that are raised as one of ours or a ValueError."""
    found = []
    for path in sorted(PACKAGE.rglob("*.py")):
        module = ".".join(path.relative_to(PACKAGE).with_suffix("").parts)
        if module in ANSWERS:
            continue
        tree = ast.parse(path.read_text(encoding="utf-8"))
        documents = {id(n.value) for n in ast.walk(tree) if isinstance(n, ast.Expr)}
        inner = {id(v) for n in ast.walk(tree) if isinstance(n, ast.JoinedStr) for v in n.values}
        raised = {
            id(part)
            for n in ast.walk(tree)
            if isinstance(n, ast.Raise) and isinstance(n.exc, ast.Call) and ast.unparse(n.exc.func) in RAISED
            for part in n.exc.args
        }
        for node in ast.walk(tree):
            if not isinstance(node, ast.expr) or id(node) in documents | inner:
                continue
            words = words_of(node)
            if words and (SPEAKS.search(words) or id(node) in raised):
                found.append(Text(module, node.lineno, words))
    return found
