"""Units that contradict each other where no majority says which is wrong, and what is told of a type of few units."""

from __future__ import annotations

from pathlib import Path

import pytest
from commands import run
from jobs import SWEEP
from typed_units import MASSES, unit, units

from recurve.errors import InputError
from recurve.job.read import load_any
from recurve.job.unit_type import read_type
from recurve.output.documents.learn import LearnDocument
from recurve.output.learned import learn_units
from recurve.output.text.learn import learn_text

LINK = (('kind = "slot"', 'kind = "link"\ncam = { radius = "13 mm", angle = "20 deg" }'),)


@pytest.mark.parametrize(
    ("mass", "changes", "key", "has"),
    [
        (31.4, (("lobes = 6", "lobes = 4"),), "distributor.lobes", ("6", "4")),
        (31.4, (("count = 2", "count = 3"),), "weights.count", ("2", "3")),
        (31.4, (('"clockwise"', '"anticlockwise"'),), "distributor.rotation", ("clockwise", "anticlockwise")),
        (31.4, LINK, "weights.motion.kind", ("slot", "link")),
        (78.5, (), "weights.mass", ("31.4 g", "78.5 g")),
    ],
)
def test_two_units_that_contradict_each_other_are_told(
    tmp_path: Path, mass: float, changes: tuple[tuple[str, str], ...], key: str, has: tuple[str, str]
) -> None:
    """Neither can be called the wrong one: both are named with what they have, and the answer is no."""
    paths = [unit(tmp_path, "one", 31.4), unit(tmp_path, "two", mass, *changes)]
    code, out, _ = run(["learn", *map(str, paths), "--to", str(tmp_path / "type.toml")])
    told = "".join(out.split())
    assert code == 3 and "DO NOT BELONG TOGETHER" in out and "DOES NOT BELONG" not in out
    for file, value in zip(paths, has, strict=True):
        assert f"{value}in{file}".replace(" ", "") in told
    assert f"{key}is" in told and "thesetwodifferbymorethanunitsofatypedo" in told


def test_two_units_of_one_type_are_not_accused(tmp_path: Path) -> None:
    """1.5 g apart, as the trade's units are (`mass` of [type] in ranges.toml)."""
    paths = [unit(tmp_path, "one", 31.4), unit(tmp_path, "two", 32.9)]
    code, out, _ = run(["learn", *map(str, paths), "--to", str(tmp_path / "type.toml")])
    assert code == 0 and "TOGETHER" not in out and "usual spread counts as well" in " ".join(out.split())


def test_four_units_in_halves_contradict_each_other(tmp_path: Path) -> None:
    """Two turn one way and two the other: no majority, so all four are named, and none as the one that does not belong."""
    other = ('"clockwise"', '"anticlockwise"')
    paths = [unit(tmp_path, f"u{i}", m, *([other] if i > 1 else [])) for i, m in enumerate(MASSES)]
    made = learn_units(paths, [], lambda text: None).made
    assert [(a.units, a.key) for a in made.apart] == [((0, 1, 2, 3), ("distributor", "rotation"))]
    assert not made.belong and made.misfits == ()


def test_the_usual_spread_is_told_only_where_it_is_taken(tmp_path: Path) -> None:
    """Of one unit; of two that both tell their mass it counts as well; of four not at all."""
    told = []
    for count in (1, 2, 4):
        made = learn_units(units(tmp_path)[:count], [], lambda text: None)
        told.append(" ".join(learn_text(LearnDocument.of(made, "type.toml")).split()))
    assert ["usual spread is taken" in text for text in told] == [True, False, False]
    assert ["usual spread counts as well" in text for text in told] == [False, True, False]


def test_a_rate_that_stands_out_is_told_as_a_rate(tmp_path: Path) -> None:
    """By hand: 1.6 N/mm in four units, 4.8 N/mm in the fifth; it is compared by its logarithm."""
    changes = [(('rate = "1.6 ± 0.1 N/mm"', f'rate = "{r} ± 0.02 N/mm"'),) for r in (1.6, 1.61, 1.59, 1.62, 4.8)]
    paths = [unit(tmp_path, f"rate-{i}", 31.4, *c) for i, c in enumerate(changes)]
    misfits = learn_units(paths, [], lambda text: None).made.misfits
    assert [(m.unit, m.key) for m in misfits] == [(4, ("found", "primary", "rate"))]
    assert misfits[0].value == pytest.approx(4800.0) and misfits[0].others == pytest.approx(1600.0, rel=0.01)


def test_a_type_replaces_a_type_alone(tmp_path: Path) -> None:
    """A job, a table and an empty file stay as they are, byte for byte, whatever is told; a type is replaced."""
    one, other = unit(tmp_path, "one", 31.4), unit(tmp_path, "other", 31.0)
    empty = tmp_path / "empty.toml"
    empty.write_bytes(b"")
    for kept in (other, tmp_path / "springs.csv", empty):
        before = kept.read_bytes()
        code, _, err = run(["learn", str(one), "--to", str(kept), "--replace"])
        assert code == 2 and "does not read as a type" in err and kept.read_bytes() == before
    to = tmp_path / "type.toml"
    assert run(["learn", str(one), "--to", str(to)])[0] == 0
    before = to.read_bytes()
    assert run(["learn", str(one), str(other), "--to", str(to), "--replace"])[0] == 0 and to.read_bytes() != before


def test_a_unit_as_planned_is_no_measured_unit(tmp_path: Path) -> None:
    """A plan.toml is refused by `learn`, and by `order`, which say which job to give; no type is written."""
    one = unit(tmp_path, "one", 31.4)
    plan = tmp_path / "one-plan" / "plan.toml"
    plan.parent.mkdir()
    table = '[planned]\njob = "one.toml"\ninputs = "000000000000"\nout_of_reach = false\n'
    text = one.read_text(encoding="utf-8").replace('"springs.csv"', '"../springs.csv"')
    plan.write_text(text + table, encoding="utf-8")
    code, _, err = run(["learn", "one-plan/plan.toml", "--to", "type.toml"], tmp_path)
    assert code == 2 and "one-plan/plan.toml: planned: got a unit as planned" in err and "its job, one.toml" in err
    assert not (tmp_path / "type.toml").exists()
    _, out, _ = run(["order", "one-plan/plan.toml"], tmp_path)
    assert "one-plan/plan.toml: it is itself a plan: give its job, one.toml" in " ".join(out.split())


def test_a_unit_with_another_book_is_named(tmp_path: Path) -> None:
    """It may be of the type all the same: its book is left aside, which is said. The same book in other words is no other."""
    book = ('max = "1 deg" }', 'max = "1.5 deg" }')
    travel = ('post_travel = ["-0.5 mm", "1.0 mm"]', 'post_travel = ["-0.5 mm", "0.8 mm"]')
    same = ('max = "1 deg" }', 'max = "1.0 deg" }')
    given = [(31.0,), (31.8, same), (32.1, book, travel)]
    paths = [unit(tmp_path, f"unit-{i}", mass, *changes) for i, (mass, *changes) in enumerate(given)]
    code, out, _ = run(["learn", *[p.name for p in paths], "--to", "type.toml"], tmp_path)
    told = " ".join(out.split())
    assert code == 0 and "unit-2.toml has another book than most of the units" in told
    assert "unit-2.toml has another springs.primary.post_travel than most" in told
    assert told.count("has another") == 3 and "unit-1.toml has" not in told  # and the secondary's


SWEPT = 'title = "Invented, swept {}"\ntype = "type.toml"\n[sweep]\nfile = "as-found.csv"\n'


def test_figures_that_few_of_the_units_tell_are_counted_so(tmp_path: Path) -> None:
    """One unit measured and three that were only swept, by its type: four units, whose weights and posts one of them tells."""
    one, to = unit(tmp_path, "one", 31.4), tmp_path / "type.toml"
    assert run(["learn", str(one), "--to", str(to)])[0] == 0
    assert "most figures" not in " ".join(load_any(one).notes)
    (tmp_path / "as-found.csv").write_text(SWEEP, encoding="utf-8")
    swept = [tmp_path / f"swept-{i}.toml" for i in range(3)]
    for i, path in enumerate(swept):
        path.write_text(SWEPT.format(i), encoding="utf-8")
    _, out, _ = run(["learn", *[p.name for p in (one, *swept)], "--to", "type.toml", "--replace"], tmp_path)
    assert out.startswith("A type learned from 4 units, most figures from 1\n")
    assert "What one unit alone tells has the trade's usual spread." in out or "usual spread is taken" in out
    assert any(
        "learned from 4 units, most figures from 1, not measured here" in note for note in load_any(swept[0]).notes
    )


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ("units = 1 }", "units = 0 }", "weights.mass.units: got 0, expected 1 or more"),
        ("units = 1 }", 'units = "1" }', 'weights.mass.units: got "1", expected a whole number'),
        (", units = 1 }", " }", "weights.mass.units: missing, expected mean, spread, uncertain and units"),
        (
            "[found.primary]",
            "[fund.primary]",
            "fund: unknown key, expected one of title, units, sources, distributor, weights",
        ),
        ("[found.primary]", "[fund.primary]", 'did you mean "found"?'),
    ],
)
def test_a_slip_in_a_type_file_is_told_with_what_was_got(tmp_path: Path, old: str, new: str, words: str) -> None:
    """The number itself, and the table that was probably meant."""
    one, to = unit(tmp_path, "one", 31.4), tmp_path / "type.toml"
    run(["learn", str(one), "--to", str(to)])
    text = to.read_text(encoding="utf-8")
    assert old in text
    to.write_text(text.replace(old, new, 1), encoding="utf-8")
    with pytest.raises(InputError) as wrong:
        read_type(to, "type.toml")
    assert words in str(wrong.value) and "no such value" not in str(wrong.value)


def test_whose_degrees_the_stop_has_is_told(tmp_path: Path) -> None:
    """In the table, and where two units differ in it."""
    paths = [
        unit(tmp_path, "one", 31.4),
        unit(tmp_path, "two", 31.5, ('advance = "13.8 ± 0.3 deg"', 'advance = "8 ± 0.3 deg"')),
    ]
    _, out, _ = run(["learn", *map(str, paths), "--to", str(tmp_path / "type.toml")])
    told = " ".join(out.split())
    assert "stop.advance: degrees of the distributor." in told
    assert "stop.advance is 13.8 deg (distributor) in" in told and "and 8 deg (distributor) in" in told
