"""Every text that a user reads keeps to the words of the trade, and no sentence is too long to be read aloud.

The limit of length is common practice of technical writing, no source. The words are those of "Words" in DEVELOPERS.md.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

import pytest
from support.texts import ROOT, Text, all_texts

LONGEST = 35  # words
WORD = re.compile(r"\{\}|[\w'’°±%·/-]+")
# A list of keys, which is looked up and not read.
LONGER = {"examples/job-file.md": "by the degree wheel with {} or {}"}
# What is not said, and what is said instead.
INSTEAD = {
    r"I′|ω̄?²|τ\(|α": "the name of the quantity, in words",
    r"chi²|χ²|posterior|\bpriors?\b|likelihood|\bmarginal|hyper-?parameter": "how surely, in percent or as ±",
    r"degrees of freedom": "how many readings",
    r"[Ss]econd spring": "secondary",
    r"[Ff]ly ?weight mass": "mass of one weight",
    r"\bis not told\b|\bnot told\b": "is not known, or is not given",
    r"\bwere told\b|\bwas told\b|\bas told\b": "given",
    r"\bwould gain\b|\bknow(?:ing)? .{0,30} better\b": "measure this next",
    r"what was learnt": "figures taken from",
    r"where \{\}°? is the (?:most|least)": "at most {}, at least {}",
    r"\bdo(?:es)? not belong\b": "do not fit the curve",
    r"\bstands? there\b": "exists, or is given",
    r"\bsettle on one answer\b": "lead to one clear answer",
    r"[Ww]hat would tell more": "what to measure next",
    r"\bthe springs? that (?:is|are) in it\b": "the springs now fitted",
    r"\bthrice\b|\bmiddling\b|\bwherefore\b|\bthereof\b": "plain English",
    r"\bsaid aloud\b|\bdoubted aloud\b": "a remark, a warning",
    r"\bgone on with\b|\bgoes on with it\b": "to go on, run …",
    r"\bshall\b": "may, must, is to",
    r"\bpast the limit\b|\bpass(?:ed|es)? (?:its|the) limit\b": "above the limit",
    r"\bheld against\b": "compared with",
}
# The JSON of the commands is for programs, and says in its own terms what its numbers are.
FOR_PROGRAMS = "recurve/output/documents/"


@dataclass(frozen=True)
class Slip:
    """A text that is not as it should be, and why."""

    text: Text
    why: str

    def __str__(self) -> str:
        return f"{self.text.file}:{self.text.line}: {self.why}: {' '.join(self.text.words.split())[:200]}"


def slips(texts: list[Text]) -> list[Slip]:
    """All words that are not said, and all sentences that are too long."""
    found = []
    for text in texts:
        words = " ".join(text.words.split())
        if not text.file.startswith(FOR_PROGRAMS):
            found += [Slip(text, f"say: {why}") for pattern, why in INSTEAD.items() if re.search(pattern, words)]
        for sentence in text.sentences():
            length = len(WORD.findall(sentence))
            if length > LONGEST and LONGER.get(text.file, "\0") not in " ".join(sentence.split()):
                found.append(Slip(text, f"a sentence of {length} words, at most {LONGEST}"))
    return found


@pytest.fixture(scope="module")
def texts() -> list[Text]:
    return all_texts()


def test_the_words_are_the_trade_s_and_the_sentences_short(texts: list[Text]) -> None:
    found = slips(texts)
    assert not found, "\n" + "\n".join(str(s) for s in found)


@pytest.mark.parametrize(
    "words",
    [
        "I′ from the reference sweep is uncertain by more than 3 %.",
        "The readings scatter 2.0 times as much as stated (chi² 40 for 10).",
        "the second spring takes up at {}",
        "it would gain most from knowing the rate better",
        "5.0° at 500 rpm where {}° is the most",
        " ".join(["word"] * 36) + ".",
    ],
)
def test_a_text_that_is_wrong_is_found(words: str) -> None:
    assert slips([Text("recurve/none.py", 1, words)])


def test_the_listing_holds_texts_of_every_kind(texts: list[Text]) -> None:
    """One of each kind, as it stands in its source: a message, help, a question, paper, page, guide, figure."""
    everything = {(t.file.split("/")[0], t.file.rsplit(".", 1)[-1]) for t in texts}
    assert everything >= {
        ("recurve", "py"), ("data", "toml"), ("data", "typ"), ("data", "html"), ("examples", "md"), ("examples", "svg"),
        ("README.md", "md"),
    }  # fmt: skip
    told = {t.words for t in texts if t.file == "recurve/cli/guide.py"}
    assert any("Example: recurve guide" in t for t in told), "a command's help"
    for text in texts[:: max(len(texts) // 50, 1)]:
        assert (ROOT / text.file).is_file() and text.line >= 1
