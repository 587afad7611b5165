"""What was said of a folder's units against what their records show, from files to report, JSON and figure.

The units and records are invented and written by hand (tests/support/workshops.py); the truth behind them is drawn with seeds.
"""

from __future__ import annotations

import json
import shutil
import tomllib
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import tomli_w
from commands import run
from workshops import Left, Side, add_unit

from recurve.diagnosis.honesty import FEW
from recurve.output.documents.honesty import HonestyDocument
from recurve.output.documents.units import UnitsDocument
from recurve.output.figures.honesty import honesty_figure_bytes
from recurve.output.honest import units_document
from recurve.output.remembered import read_units
from recurve.output.text.units import units_text

BUILD = {"rate": 0.05, "post_mm": 0.1, "stop_mm": 0.1, "stop_deg_per_mm": 4.0}
SAID = Side(7.0, 0.3, 7.4, 0.3)
CALLIPER = {"set_by": "calliper"}


def document_of(folder: Path) -> UnitsDocument:
    """What `units` says of a folder."""
    return units_document(".", read_units(folder, lambda _: None))


def honesty(folder: Path) -> HonestyDocument:
    """The part on what was said of them."""
    return document_of(folder).honesty


def spring(number: int) -> dict[str, Any]:
    """A new primary with an id of its own."""
    return {"place": "primary", "id": f"A{number}", "new": True, "length_mm": 15.5, "rate_n_per_mm": 1.5}


def workshop(folder: Path, units: int, *, off: float = 1.0, passes: float = 0.9, post: float = 0.1) -> None:
    """Units told a chance of 0.9 whose true one is `passes`, whose curves come out `off` times as far from the prediction as
    was said, and whose posts are set within ± `post` mm where ± 0.1 mm is counted with."""
    random = np.random.default_rng(1)
    for number in range(units):
        read = 0.1 * random.normal(size=2)
        shown = Side(
            *(7.0 + 0.3 * off * random.normal() + read[0], 0.1, 7.4 + 0.3 * off * random.normal() + read[1], 0.1)
        )
        built = {
            "primary_length_mm": [float(random.uniform(-post, post)), 0.01],
            "primary_rate": [float(random.uniform(-0.05, 0.05)), 0.01],
            "stop_deg": [float(4.0 * random.uniform(-0.1, 0.1)), 0.05],
        }
        verdict = "passes" if random.random() < passes else "fails"
        one = Left(
            verdict,
            (),
            0.9,
            SAID,
            shown,
            CALLIPER,
            {"build": BUILD, "springs": [spring(number)]},
            more={"built": built},
        )
        add_unit(folder, f"u{number:02d}", 0.9, (one,))


def test_an_honest_workshop(tmp_path: Path) -> None:
    workshop(tmp_path, 24)
    found = honesty(tmp_path)
    assert (found.units, found.not_said, found.others) == (24, 0, 0)
    assert found.chances.verdict == "agrees" and found.curves.whole is not None
    assert found.curves.whole.verdict == "agrees" and found.curves.whole.units == 24
    assert [(s.speed_rpm, s.direction, s.units) for s in found.curves.speeds] == [
        (700.0, "falling", 24),
        (700.0, "rising", 24),
    ]
    told = {t.what: (t.verdict, t.builds, t.proposed) for t in found.tolerances}
    assert told == dict.fromkeys(("rate", "post", "stop"), ("agrees", 24, None))


def test_a_workshop_that_was_told_too_much(tmp_path: Path) -> None:
    """Half pass where 90 % was said, curves are three times as far off, posts are set to ± 0.3 mm: all of it is told, and what to
    write into [build] is near the truth."""
    workshop(tmp_path, 24, off=3.0, passes=0.5, post=0.3)
    document = document_of(tmp_path)
    found = document.honesty
    assert found.chances.verdict == "too sure" and found.curves.whole is not None
    assert found.curves.whole.verdict == "too sure" and found.curves.whole.low > 1.5
    (post,) = (t for t in found.tolerances if t.what == "post")
    assert post.verdict == "more" and post.proposed == pytest.approx(0.3, rel=0.25)
    text = " ".join(units_text(document).split())
    assert f'write post = "± {post.proposed:.2g} mm" into [build]' in text and "too high" in text


def test_a_copied_folder_is_no_second_witness(tmp_path: Path) -> None:
    """Of seven units nothing can be told, and no more of the same seven copied. A copy that was judged once more since is the
    same build too: the longer history counts, whichever comes first."""
    workshop(tmp_path, FEW - 1)
    alone = honesty(tmp_path)
    for path in sorted(tmp_path.glob("u*")):
        shutil.copytree(path, tmp_path / f"copy-of-{path.name}")
    document = document_of(tmp_path)
    found = document.honesty
    assert len(document.units) == 2 * (FEW - 1) and (found.units, found.copies) == (FEW - 1, FEW - 1)
    assert found.model_copy(update={"copies": 0}) == alone and found.chances.verdict == "too few"
    text = " ".join(units_text(document).split())
    assert f"{FEW - 1} units left out: copies, whose records are those of other units." in text
    add_unit(tmp_path, "z", 0.9, (Left("fails", set_=CALLIPER), Left(set_=CALLIPER)))
    shutil.copytree(tmp_path / "z", tmp_path / "a")
    record = tmp_path / "a" / "unit-plan" / "as-left.toml"
    entries = tomllib.loads(record.read_text(encoding="utf-8"))["as_left"]
    record.write_text(tomli_w.dumps({"as_left": entries[1:]}), encoding="utf-8")
    found = honesty(tmp_path)
    assert (found.units, found.copies) == (FEW, FEW) and found.chances.whole is not None
    assert found.chances.whole.passed == sum(
        u.first == "passed" for u in document_of(tmp_path).units if u.name[0] in "uz"
    )


def test_few_units_tell_nothing(tmp_path: Path) -> None:
    """Seven that all failed, with curves and posts far off."""
    workshop(tmp_path, FEW - 1, off=9.0, passes=0.0, post=3.0)
    document = document_of(tmp_path)
    found = document.honesty
    assert found.chances.verdict == "too few" and found.curves.whole is not None
    assert found.curves.whole.verdict == "too few" and {s.verdict for s in found.curves.speeds} == {"too few"}
    assert {(t.verdict, t.proposed) for t in found.tolerances} == {("too few", None)}
    text = units_text(document)
    assert text.count("nothing can be told yet") == 5 and "too high" not in text and "into [build]" not in text
    (posts,) = (t for t in found.tolerances if t.what == "post")
    words = f"length over the posts: nothing can be told yet; {posts.builds} lengths over posts, {found.few} are needed"
    assert words in " ".join(text.split())  # two posts of a unit are two


def test_units_that_do_not_count(tmp_path: Path) -> None:
    """Without a plan; not known how it was set; with other springs; moved before it was read; near zero; badly read."""
    flat = Side(0.2, 0.2, 7.4, 0.3)
    add_unit(tmp_path, "a-no-plan", None, (Left(chance=None),))
    add_unit(tmp_path, "b-not-said", 0.9, (Left(),))
    add_unit(tmp_path, "c-others", 0.9, (Left(set_={**CALLIPER, "primary_spring": "B1"}),))
    add_unit(tmp_path, "d-moved", 0.9, (Left("not converged", ("bend it",), set_=CALLIPER), Left(set_=CALLIPER)))
    add_unit(tmp_path, "e-zero", 0.9, (Left(predicted=flat, set_=CALLIPER),))
    add_unit(tmp_path, "f-bad", 0.9, (Left(measured=Side(7.0, 0.5, 7.4, 0.1), set_=CALLIPER),))
    found = honesty(tmp_path)
    assert (found.units, found.not_said, found.others) == (5, 1, 1)
    assert found.chances.open == 1 and found.chances.whole is not None and found.chances.whole.units == 2
    assert found.curves.left_out == 2 and [s.units for s in found.curves.speeds] == [2]
    assert found.tolerances == []


def test_each_way_of_setting_has_its_own_chance_and_curve(tmp_path: Path) -> None:
    """By hand: 0.6 by calliper alone, 0.95 once set on the bench; a post set on the bench says nothing of the calliper."""
    side = SAID.planned()
    band = {"band": "point", "speed_rpm": 700.0, "min_deg": 6.0, "max_deg": 8.0}
    told = {
        "chance": 0.6, "chance_set": 0.95, "build": BUILD,
        "forecast": [{**band, "by_calliper": side, "on_bench": {**side, "rising_deg": 6.0}}],
    }  # fmt: skip
    built = {"built": {"primary_length_mm": [0.05, 0.01]}}
    shown = Side(7.0, 0.0, 7.4, 0.0)
    for way in ("calliper", "bench"):
        add_unit(tmp_path, way, 0.9, (Left(measured=shown, set_={"set_by": way}, planned=told, more=built),))
    found = honesty(tmp_path)
    assert [b.said for b in found.chances.bins] == [0.6, 0.95]
    (rising,) = (s for s in found.curves.speeds if s.direction == "rising")
    assert rising.mean == pytest.approx((0.0 + 1.0 / 0.3) / 2)
    assert [(t.what, t.builds) for t in found.tolerances] == [("post", 1)]


def test_a_spring_of_the_catalogue_counts_once(tmp_path: Path) -> None:
    """Ten builds with one spring that is 10 % stiff show a wrong row of the catalogue, no scatter; a trim that turns the cam back
    by 0.2° at 4° a mm is 0.05 mm built up too much."""
    more = {"built": {"primary_rate": [0.1, 0.001], "stop_deg": [-0.2, 0.04]}}
    one = Left(set_=CALLIPER, planned={"build": BUILD}, more=more)
    for number in range(10):
        add_unit(tmp_path, f"u{number}", 0.9, (one,))
    found = {t.what: t for t in honesty(tmp_path).tolerances}
    assert (found["rate"].builds, found["rate"].verdict) == (1, "too few")
    assert found["stop"].mean == pytest.approx(0.05) and found["stop"].one_sided
    untrimmed = replace(one, planned={"build": BUILD, "trim_mm": 0.0})
    add_unit(tmp_path, "u11", 0.9, (untrimmed,))
    assert {t.what: t.builds for t in honesty(tmp_path).tolerances}["stop"] == 10


def test_the_command(tmp_path: Path) -> None:
    """The JSON holds to its schema (`run` asks), the report to 80 columns; the figure is the same each time, and writes over no
    other file."""
    workshop(tmp_path, FEW)
    code, out, _ = run(["units", ".", "--json", "--figure", "said.svg"], tmp_path)
    assert code == 0 and json.loads(out)["files"] == ["said.svg"]
    first = (tmp_path / "said.svg").read_bytes()
    code, out, _ = run(["units", ".", "--figure", "said.svg"], tmp_path)
    assert code == 0 and (tmp_path / "said.svg").read_bytes() == first and max(map(len, out.splitlines())) <= 80
    assert "HOW FAR WHAT WAS SAID CAME TRUE" in out
    assert "CAME TRUE" not in run(["units", ".", "--brief"], tmp_path)[1]
    (tmp_path / "mine.png").write_text("mine", encoding="utf-8")
    for name, words in (("mine.png", "no PNG figure"), ("said.gif", "ends with .png or .svg")):
        code, _, err = run(["units", ".", "--figure", name], tmp_path)
        assert code == 2 and words in err
    assert (tmp_path / "mine.png").read_text(encoding="utf-8") == "mine"


def test_the_figure_of_nothing(tmp_path: Path) -> None:
    """It says so, rather than show an empty plot as if all were well."""
    import matplotlib.text
    from matplotlib.figure import Figure

    from recurve.output.figures.honesty import honesty_figure

    add_unit(tmp_path, "one", 0.9, (Left(set_=CALLIPER),))
    figure: Figure = honesty_figure(honesty(tmp_path))
    said = [t.get_text() for t in figure.findobj(matplotlib.text.Text)]
    assert sum("nothing can be told yet" in words for words in said) == 2
    assert set(honesty_figure_bytes(honesty(tmp_path))) == {"honesty.svg", "honesty.png"}
