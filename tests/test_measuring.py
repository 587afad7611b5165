"""The measuring guide: its figures are what the code makes, and no key of the job file is without its measurement."""

from __future__ import annotations

import re
import xml.etree.ElementTree as ElementTree
from collections.abc import Iterator
from typing import Any, get_args

import pytest
from checkout import ROOT
from make_measuring import FIGURES, FOLDER
from matplotlib.font_manager import FontProperties
from matplotlib.textpath import TextToPath
from pydantic import BaseModel

from recurve.job import schema, schema_inspection, schema_unit
from recurve.job.questions import parts, questions

GUIDE = (ROOT / "examples" / "measuring.md").read_text(encoding="utf-8")
SVG = "{http://www.w3.org/2000/svg}"


@pytest.mark.parametrize("name", FIGURES)
def test_figures_are_what_the_code_makes(name: str) -> None:
    assert (FOLDER / f"{name}.svg").read_bytes() == FIGURES[name]().svg(), "run tests/make_measuring.py"


def test_every_figure_is_shown_once_under_its_number() -> None:
    shown = re.findall(r"\]\(measuring/((\d+)-\w+)\.svg\)", GUIDE)
    assert [name for name, _ in shown] == list(FIGURES)
    heads = re.findall(r"^### Figure (\d+):", GUIDE, re.M)
    assert heads == [number for _, number in shown]
    assert {p.name for p in FOLDER.iterdir()} == {f"{name}.svg" for name in FIGURES}


@pytest.mark.parametrize("name", FIGURES)
def test_nothing_of_a_figure_is_cut(name: str) -> None:
    """Texts stay inside, as wide as in DejaVu Sans, the widest of the fonts they ask for."""
    root = ElementTree.fromstring(FIGURES[name]().svg())
    width, height = float(root.attrib["width"]), float(root.attrib["height"])
    for text in root.iter(f"{SVG}text"):
        size, font = float(text.attrib.get("font-size", "13")), TextToPath()
        x, y, long = (
            float(text.attrib["x"]),
            float(text.attrib["y"]),
            font.get_text_width_height_descent(text.text or "", FontProperties(family="DejaVu Sans", size=size), False)[
                0
            ],
        )
        left = x - {"start": 0.0, "middle": long / 2, "end": long}[text.attrib["text-anchor"]]
        assert left >= 0 and left + long <= width + 1, text.text
        assert size <= y <= height - 0.3 * size, text.text


def keys(model: type[BaseModel]) -> Iterator[str]:
    """All keys of a table of the job file and of the tables in it."""
    for name, field in model.model_fields.items():
        yield name
        for inner in models(field.annotation):
            yield from keys(inner)


def models(annotation: Any) -> Iterator[type[BaseModel]]:
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        yield annotation
    for inner in get_args(annotation):
        yield from models(inner)


@pytest.mark.parametrize(
    "table",
    [
        schema_unit.Weights,
        schema_unit.Stop,
        schema_unit.Drag,
        schema_unit.SpringOnPosts,
        schema.SweepTable,
        schema_inspection.ConditionTable,
        schema_inspection.VacuumTable,
        schema_inspection.TimingTable,
    ],
    ids=lambda m: m.__name__,
)
def test_every_key_is_in_the_guide(table: type[BaseModel]) -> None:
    told = set(re.findall(r"[a-z_]+", " ".join(re.findall(r"`([^`]+)`", GUIDE))))
    assert set(keys(table)) - told == set()


def test_the_interview_points_to_figures_that_are_there() -> None:
    numbers = {int(name.split("-")[0]) for name in FIGURES}
    named = {p.figure for p in parts()} | {q.figure for q in questions()}
    assert named - {0} == numbers - {4}  # the scan serves all points, so no one question points to it


def test_the_guide_carries_its_cautions() -> None:
    for words in (
        "weights fly",
        "eye protection",
        "no gloves",
        "stop it before you",
        "can snap",
        "magnetos",
        "Local rules",
    ):
        assert words in GUIDE
