"""The measuring guide where it is read: printed, one figure of it, and as a page; and in the wheel."""

from __future__ import annotations

import re
import tomllib
import xml.etree.ElementTree as ElementTree
from html.parser import HTMLParser
from pathlib import Path

import pytest
from checkout import ROOT, needs_checkout
from commands import run

from recurve.data import guide_file
from recurve.output.guide import figures, guide_page, guide_source, guide_text, section_of


@needs_checkout
def test_the_wheel_carries_the_guide_and_its_figures() -> None:
    """What the wheel is told to take in is where `guide_file` looks for it."""
    build = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["tool"]["hatch"]["build"]
    taken = build["targets"]["wheel"]["force-include"]
    for name in ("measuring.md", "measuring"):
        assert taken[f"examples/{name}"] == f"recurve/shipped/guide/{name}"
        assert (ROOT / "examples" / name).exists()


def test_every_figure_of_the_guide_is_carried() -> None:
    named = re.findall(r"\((measuring/\d+-\w+\.svg)\)", guide_source())
    assert len(named) == len(figures()) >= 15
    assert all(guide_file(name).is_file() for name in named)


def test_all_of_it_is_printed_on_80_columns() -> None:
    code, out, err = run(["guide"])
    assert (code, err) == (0, "") and max(len(line) for line in out.splitlines()) <= 80
    flat = " ".join(out.split())
    for words in ("pivot.radius", "weights fly", "side_play", "idle_setting", "Figure 15"):
        assert words in flat
    assert "\x1b" not in out and "![" not in out


@pytest.mark.parametrize("number", figures())
def test_one_figure_is_printed_and_no_other(number: int) -> None:
    text = guide_text(number)
    assert re.findall(r"Figure (\d+):", text) == [str(number)]


def test_a_figure_of_a_dangerous_part_comes_with_its_cautions() -> None:
    assert "light makes the fan look still" in " ".join(section_of(15).split())


def test_a_figure_that_is_not_there(tmp_path: Path) -> None:
    code, out, err = run(["guide", "99"])
    assert (code, out) == (
        2,
        "",
    ) and "FIGURE: got 99, expected the number of a figure of the measuring guide, 1 to 15" in err


def test_the_page_needs_no_other_file(tmp_path: Path) -> None:
    path = tmp_path / "measuring.html"
    code, out, _ = run(["guide", "--page", str(path)])
    assert code == 0 and "measuring.html" in out and path.read_bytes() == guide_page()
    text = path.read_text(encoding="utf-8")
    seen: list[str] = []

    class Tags(HTMLParser):
        def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
            seen.append(tag)
            assert not {"src", "href"} & {name for name, _ in attrs}

    Tags().feed(text)
    assert seen.count("svg") == seen.count("figure") == len(figures()) and "img" not in seen and "table" in seen
    for drawing in re.findall(r"<svg.*?</svg>", text, re.S):
        ElementTree.fromstring(drawing)
