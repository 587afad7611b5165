"""Every fault message once: each is really provoked, and names its place, what was got, and what is expected or to do.

To read them all:  .venv/bin/pytest -n 0 -s tests/cli/test_messages.py
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from messages import fault_texts
from provoked import answers, commands, jobs, references
from provoked_page import pages

from recurve.text import printable

# What is raised or put together in two parts, and stands in no message as it is in the source.
PARTS = {"; expected .*"}
# A job's or table's file with a line where it can be known, an option or argument, the reading of a spring, or a table asked for.
PLACE = re.compile(
    r"^([\w/-]+\.(toml|csv|png)(:\d+)?: \S|/\S+: |--[a-z-]+( and --[a-z-]+)*: "
    r"|reading[s ]\w*: |(verify|weights|springs|FIGURE): )"
)
GOT = re.compile(
    r"\bgot\b|\bmissing\b|\bunknown key\b|\bboth\b|\bnot TOML\b|; look at|; measure|\bis there already\b|\bis not what\b"
)
REMEDY = re.compile(r"\bexpected\b|; look at|; measure|; leave it out")

Provoking = Callable[[Path], Iterator[tuple[str, list[str]]]]
SEEN: dict[str, list[tuple[str, str]]] = {}


def all_of(provoke: Provoking, folder: Path) -> list[tuple[str, str]]:
    """(Case, message) of one kind of bad input, made once."""
    name = provoke.__name__
    if name not in SEEN:
        with pytest.MonkeyPatch.context() as patch:
            patch.chdir(folder)
            SEEN[name] = [
                (case, line.replace(str(folder), "/folder").replace(printable(str(folder)), "/folder"))
                for case, lines in provoke(folder)
                for line in lines
            ]
    return SEEN[name]


@pytest.mark.parametrize("provoke", [jobs, references, commands], ids=lambda p: p.__name__)
def test_a_message_says_where_what_was_got_and_what_is_expected(provoke: Provoking, tmp_path: Path) -> None:
    lacking = []
    for case, message in all_of(provoke, tmp_path):
        for part, pattern in (("place", PLACE), ("what was got", GOT), ("what is expected", REMEDY)):
            if not pattern.search(message):
                lacking.append(f"no {part}: [{case}] {message}")
    assert not lacking, "\n".join(lacking)


def test_an_answer_is_told_what_was_expected(tmp_path: Path) -> None:
    """It stands below the question, beside what was typed: the place and what was got are before one's eyes."""
    for case, message in all_of(answers, tmp_path):
        assert REMEDY.search(message), (case, message)


def test_every_kind_of_message_is_provoked(tmp_path_factory: pytest.TempPathFactory) -> None:
    """A new message needs a bad input that leads to it, in provoked.py."""
    told: dict[str, str] = {}
    for provoke in (jobs, references, commands, answers, pages):
        for case, message in all_of(provoke, tmp_path_factory.mktemp(provoke.__name__)):
            told.setdefault(message, case)
    texts = fault_texts()
    assert len(texts) > 150
    silent = [
        f"{t.module}.py:{t.line}: {t.words}"
        for t in texts
        if t.words not in PARTS and not any(t.pattern.search(message) for message in told)
    ]
    for message, case in told.items():
        print(f"[{case}] {message}")
    assert not silent, "\n".join(silent)
