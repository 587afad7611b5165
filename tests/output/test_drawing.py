"""The unit as it is drawn: places held against the job's own numbers and plane geometry, texts against each other."""

from __future__ import annotations

import math
import shutil
import sys
from itertools import combinations
from pathlib import Path

import numpy as np
import pytest
from checkout import EXAMPLES
from jobs import write_job
from matplotlib.figure import Figure

from recurve.cli.app import main
from recurve.errors import InputError
from recurve.job.read import load_job
from recurve.output.figures import mechanism, style
from recurve.output.figures.labels import spread
from recurve.output.figures.mechanism import (
    SMALL_MM,
    scale_of,
    small_unit_svg,
    springs_scale,
    unit_figure_bytes,
)
from recurve.output.figures.parts import coil, hull
from recurve.output.figures.picture import Picture, bare, picture_of, read_picture
from recurve.text import printable

NAMES = ("launch", "tractor", "pump", "genset", "crane")
RETARD = ('angle = "75 deg" }\npin', 'angle = "-75 deg" }\npin')
SHORTEN = ('radius = "12 mm", angle = "75 deg"', 'radius = "12 mm", angle = "5 deg"')
BIND = ('distance = "13.1 mm", angle = "168 deg"', 'distance = "20.5 mm", angle = "160 deg"')


def picture(name: str) -> Picture:
    return read_picture(EXAMPLES / f"{name}.toml")


def at(one: Picture, key: str) -> tuple[complex, complex]:
    return next(m.at for m in one.marks if m.key == key)


def test_points_of_a_scan_are_drawn_where_they_were_scanned() -> None:
    """x right, y up, in either rotation: the numbers of examples/pump.toml itself."""
    pump = picture("pump")
    assert at(pump, "weights.motion.pivot")[0] == pytest.approx(complex(20.1, -8.9) * 1e-3)
    assert at(pump, "weights.motion.cg")[0] == pytest.approx(complex(18.1, -20.3) * 1e-3)
    assert at(pump, "springs.secondary.posts.anchor") == pytest.approx((complex(9.4, 17.0) * 1e-3,) * 2)


@pytest.mark.parametrize("name", ["pump", "launch", "crane"])
def test_the_cam_goes_the_way_the_shaft_turns(name: str) -> None:
    """Plane geometry: posts on the cam turn by the stop's angle, clockwise where the shaft turns clockwise."""
    one = picture(name)
    rest, full = at(one, "springs.primary.posts.far")
    turned = math.degrees(np.angle(full / rest))
    assert turned == pytest.approx((-1 if one.clockwise else 1) * math.degrees(one.stop.advance))
    assert one.clockwise == (name != "crane")


def test_a_pin_stays_in_its_slot_and_on_its_weight() -> None:
    """The pin's angle about the shaft turns with the cam, its distance from the pivot stays."""
    one = picture("launch")
    (pivot, _), (rest, full) = at(one, "weights.motion.pivot"), at(one, "weights.motion.pin")
    assert abs(full - pivot) == pytest.approx(13.4e-3)
    assert math.degrees(np.angle(full / rest)) == pytest.approx(-13.8)
    assert one.radius is not None and one.radius == pytest.approx(tuple(abs(p) for p in at(one, "weights.motion.cg")))


def test_a_link_keeps_its_length() -> None:
    one = picture("pump")
    pin, cam = at(one, "weights.motion.pin"), at(one, "weights.motion.cam")
    assert abs(pin[1] - cam[1]) == pytest.approx(abs(pin[0] - cam[0]))


def test_lengths_over_the_posts() -> None:
    """Distance of the drawn posts plus their diameter, and the table's own rows."""
    for spring in picture("launch").springs:
        assert spring.anchor is not None and spring.far is not None
        for state in (0, 1):
            span = abs(spring.anchor.at[state] - spring.far.at[state])
            assert spring.length[state] == pytest.approx(span + 2.5e-3)
    assert picture("tractor").springs[0].length[0] == pytest.approx(16.1e-3)
    assert picture("tractor").marks == ()


@pytest.mark.parametrize(
    ("change", "words", "wrong"),
    [(RETARD, "would retard", "INWARD"), (SHORTEN, "shortens", "SHORTENS"), (BIND, "binds", "before it binds")],
)
def test_a_unit_that_is_refused_is_drawn(tmp_path: Path, change: tuple[str, str], words: str, wrong: str) -> None:
    """Each of the model's refusals, drawn with its reason; the folder is not told, so the same bytes anywhere."""
    drawn = texts(mechanism._figure(read_picture(write_job(tmp_path, change))))
    assert any(words in t for t in drawn) and any(wrong in t for t in drawn)
    assert not any(str(tmp_path) in t for t in drawn)


def test_the_command(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    """Refused: drawn, the reason with its place in the file, exit status 3."""
    job = write_job(tmp_path, RETARD)
    monkeypatch.setattr(sys, "argv", ["recurve", "draw", str(job)])
    with pytest.raises(SystemExit) as stopped:
        main()
    said = capsys.readouterr()
    assert stopped.value.code == 3
    assert f"{printable(str(job))}:14: weights.motion: the weights move inward" in said.err
    assert {p.name for p in (tmp_path / "unit-plan").iterdir()} == {"unit.svg", "unit.png"}
    assert "over the posts 15.6 mm at rest" in said.out


def test_a_job_whose_other_parts_are_missing_is_drawn(tmp_path: Path) -> None:
    job = write_job(tmp_path, ('idle = { speed = "300 rpm", max = "0.5 deg" }', 'idle = "never"'))
    (tmp_path / "springs.csv").unlink()
    one = read_picture(job)
    assert len(one.faults) == 2 and len(one.marks) == 7
    write_job(tmp_path, ('mass = "31.5 ± 0.3 g"', ""), ('radius = "21.0 mm"', 'radius = "21.0 g"'))
    with pytest.raises(InputError, match="does not measure a length"):
        read_picture(job)


def texts(figure: Figure) -> list[str]:
    return [t.get_text() for axes in figure.axes for t in axes.texts]


@pytest.mark.parametrize("name", [*NAMES, "retard"])
def test_no_text_is_cut_or_overlaps_another(name: str, tmp_path: Path) -> None:
    one = read_picture(write_job(tmp_path, RETARD)) if name == "retard" else picture(name)
    for draw in (mechanism._figure, mechanism._small):
        with style.figure_settings():
            figure = draw(one)
            boxes = [t.get_window_extent() for axes in figure.axes for t in axes.texts if t.get_text()]
        assert boxes
        for box in boxes:
            assert box.x0 >= 0 and box.y0 >= 0 and box.x1 <= figure.bbox.x1 and box.y1 <= figure.bbox.y1
        for a, b in combinations(boxes, 2):
            across, up = min(a.x1, b.x1) - max(a.x0, b.x0), min(a.y1, b.y1) - max(a.y0, b.y0)
            assert across <= 0 or up <= 0.25 * min(a.height, b.height)  # descenders may touch, words may not


def test_what_is_wrong_is_told_without_colour() -> None:
    """Springs differ in width, what is slack in grey and in words, what is wrong in capitals."""
    assert style.SPRING_PT["secondary"] > 1.5 * style.SPRING_PT["primary"]
    drawn = texts(mechanism._figure(picture("launch")))
    assert any("slack by 1.8 mm" in t for t in drawn)
    assert any("pulls from 9.0° on" in t for t in drawn)


def test_scales_fit_and_are_round() -> None:
    for name in NAMES:
        one = picture(name)
        assert scale_of(one, mechanism.REACH_MM) in mechanism.SCALES
        assert 1e3 * scale_of(one, mechanism.REACH_MM) * mechanism.reach_of(one) <= mechanism.REACH_MM
        assert all(1e3 * springs_scale(one) * x <= mechanism.BAR_MM[1] for s in one.springs for x in s.length)


def test_the_same_job_in_another_folder_is_drawn_the_same(tmp_path: Path) -> None:
    shutil.copytree(EXAMPLES, tmp_path / "there", ignore=shutil.ignore_patterns("*-plan"))
    shutil.copytree(EXAMPLES.parent / "data", tmp_path / "data")
    here, there = picture("launch"), read_picture(tmp_path / "there" / "launch.toml")
    assert here == there
    assert unit_figure_bytes(here) == unit_figure_bytes(there)
    small = small_unit_svg(load_job(EXAMPLES / "launch.toml"))
    assert small == small_unit_svg(load_job(tmp_path / "there" / "launch.toml"))
    width = SMALL_MM[0] / 25.4 * 72
    assert f'width="{width:.6f}pt"'.encode() in small or f'width="{width:.6g}pt"'.encode() in small
    assert picture_of(load_job(EXAMPLES / "launch.toml")) == here


def test_small_parts() -> None:
    """Hand calculations: a square's outline, rows pushed apart, a coil from post to post, a quantity without its ±."""
    square = [0j, 1 + 0j, 1 + 1j, 1j, 0.5 + 0.5j]
    assert set(hull(square)) == {0j, 1 + 0j, 1 + 1j, 1j}
    assert spread([5.0, 5.0, 5.0], 2.0, 0.0, 6.0) == [5.0, 3.0, 1.0]
    assert spread([1.0, 1.0], 2.0, 0.0, 6.0) == [2.0, 0.0]
    path = coil(0j, 10 + 0j, 1.0)
    assert path[0] == 0 and path[-1] == 10 and np.abs(path.imag).max() == pytest.approx(1.0)
    assert bare("76 ± 1 deg") == "76°" and bare("-20.3 ± 0.2 mm") == "−20.3 mm" and bare("1.2 in ± 1 %") == "1.2 in"
