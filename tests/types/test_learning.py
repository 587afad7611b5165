"""A type learned from invented units: the mean, the one that does not belong, and what a job then takes from it."""

from __future__ import annotations

import re
import tomllib
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from commands import run
from jobs import JOB, SPRINGS, SWEEP
from typed_units import MASSES, unit, units

from recurve.diagnosis.other_type import type_findings
from recurve.diagnosis.trust import trust_in
from recurve.errors import InputError
from recurve.fit.fit import fit_sweep
from recurve.inspection.findings import Cause
from recurve.job.read import load_any, load_job
from recurve.job.unit_type import read_type
from recurve.output.documents.learn import LearnDocument
from recurve.output.documents.unit_type import TypeDocument
from recurve.output.learned import learn_units, write_type
from recurve.physics.curve import trace
from recurve.types.belonging import belonging
from recurve.types.facts import Told, UnitFacts, facts_of, unlike_type
from recurve.types.learning import learn


def learned(folder: Path, paths: list[Path]) -> Path:
    to = folder / "type.toml"
    write_type(learn_units(paths, [], lambda text: None), to, "Invented type", False)
    return to


SWEPT = """\
title = "Invented fifth unit"
type = "type.toml"
[sweep]
file = "as-found.csv"
"""


def typed(folder: Path, text: str = SWEPT, name: str = "fifth") -> Path:
    (folder / "as-found.csv").write_text(SWEEP, encoding="utf-8")
    path = folder / f"{name}.toml"
    path.write_text(text, encoding="utf-8")
    return path


def test_a_type_is_written_and_read_back(tmp_path: Path) -> None:
    """By hand: four masses of equal ± have their mean as mean."""
    kind = read_type(learned(tmp_path, units(tmp_path)), "type.toml")
    mass = kind.learned["weights", "mass"]
    assert mass.mean == pytest.approx(1e-3 * np.mean(MASSES), rel=1e-3)
    assert mass.units == 4 and kind.units == 4
    assert kind.document["distributor"] == tomllib.loads(JOB)["distributor"] | {"breakers": 1, "speed_ratio": 2.0}
    assert kind.document["target"] == tomllib.loads(JOB)["target"]


def test_a_job_takes_what_it_does_not_state(tmp_path: Path) -> None:
    """The standard uncertainty of the mass in the job is the type's spread and uncertainty together (JCGM 100, 4.3.7: √3)."""
    kind = read_type(learned(tmp_path, units(tmp_path)), "type.toml")
    job = load_job(typed(tmp_path))
    assert job.kind is not None and ("weights", "mass") in job.kind.taken
    mass, one = job.measured.weights.mass, kind.learned["weights", "mass"]
    assert mass is not None and mass.standard_uncertainty == pytest.approx(
        np.hypot(one.spread, one.uncertainty), rel=1e-4
    )
    assert any('From the type "Invented type"' in note and "the book" in note for note in job.notes)
    assert max(job.measured.reaches) > 0.0  # the places of its posts are known by their spread


def test_what_the_job_states_overrides(tmp_path: Path) -> None:
    learned(tmp_path, units(tmp_path))
    own = SWEPT.replace("[sweep]", '[weights]\nmass = "33.3 ± 0.2 g"\n[stop]\nper_mm = "4 deg"\n[sweep]')
    job = load_job(typed(tmp_path, own))
    mass = job.measured.weights.mass
    assert mass is not None and mass.value == pytest.approx(33.3e-3)
    assert job.kind is not None
    assert ("weights", "mass") not in job.kind.taken and ("stop", "radius") not in job.kind.taken
    assert ("weights", "motion", "cg", "angle") in job.kind.taken


def test_a_changed_type_changes_the_fingerprint(tmp_path: Path) -> None:
    to, path = learned(tmp_path, units(tmp_path)), typed(tmp_path)
    before = load_any(path).fingerprint
    to.write_text(to.read_text(encoding="utf-8") + "# edited\n", encoding="utf-8")
    assert load_any(path).fingerprint != before


@pytest.mark.parametrize(
    ("mass", "changes", "key"),
    [
        (44.0, (), ("weights", "mass")),
        (31.4, (("lobes = 6", "lobes = 4"),), ("distributor", "lobes")),
        (31.4, (('angle = "75 deg"', 'angle = "93 deg"'),), ("weights", "motion", "cg", "angle")),
    ],
)
def test_a_unit_that_does_not_belong_is_named(
    tmp_path: Path, mass: float, changes: tuple[tuple[str, str], ...], key: tuple[str, ...]
) -> None:
    """A third heavier, of other lobes, its weights' centre elsewhere; the four others are not named."""
    paths = [*units(tmp_path), unit(tmp_path, "other", mass, *changes)]
    misfits = learn_units(paths, [], lambda text: None).made.misfits
    assert [m.unit for m in misfits] == [4] and misfits[0].key == key
    assert learn_units(paths, [paths[4]], lambda text: None).made.misfits == ()


def test_a_unit_of_another_kind_does_not_accuse_the_right_ones(tmp_path: Path) -> None:
    """One that turns the other way, a post of it on the other side, between two alike: it alone is named. With it among the
    others, each of the two alike lies far from what the rest are."""
    right = facts_of(load_job(unit(tmp_path, "one", 31.4)), found=False)
    other = facts_of(load_job(unit(tmp_path, "other", 31.4, ('"clockwise"', '"anticlockwise"'))), found=False)
    key = ("springs", "primary", "posts", "far", "angle")

    def at(one: UnitFacts, degrees: float) -> UnitFacts:
        return replace(one, told=one.told | {key: Told(np.radians(degrees), np.radians(0.4))})

    misfits = learn([at(right, -177.9), at(other, 18.1), at(right, -178.7)]).misfits
    assert [(m.unit, m.key) for m in misfits] == [(1, ("distributor", "rotation"))]
    three = learn([at(right, -177.9), at(other, 18.1), at(right, -178.7), at(right, 140.0)]).misfits
    assert [m.unit for m in three] == [1, 3]  # its place among all, not among those compared


def test_what_came_from_a_type_is_no_second_witness(tmp_path: Path) -> None:
    """A unit that took its mass from the type tells nothing of it."""
    paths = units(tmp_path)
    learned(tmp_path, paths)
    fifth = typed(tmp_path)
    found = learn_units([*paths, fifth], [], lambda text: None).made.learned["weights", "mass"]
    assert found.units == 4


def test_units_that_were_only_swept_do_not_take_the_type_away(tmp_path: Path) -> None:
    """Two units measured and two that took it all from the type: what the two measured ones tell is what these tell alone."""
    paths = units(tmp_path)[:2]
    alone = learn_units(paths, [], lambda text: None).made
    to = learned(tmp_path, paths)
    swept = [typed(tmp_path, SWEPT.replace("fifth", f"swept {i}"), f"swept-{i}") for i in range(2)]
    both = learn_units([*paths, *swept], [], lambda text: None)
    for key, one in alone.learned.items():
        if key[0] != "found":
            assert both.made.learned[key] == one, key
    assert both.made.alike == alone.alike and not both.made.unlike
    write_type(both, to, "Invented type", True)
    assert load_job(swept[0]).measured.weights.mass is not None


def test_what_units_took_does_not_outvote_those_that_state_it(tmp_path: Path) -> None:
    """One unit states a book; two took another from the type: the book is what the one states."""
    book = ('max = "1 deg" }', 'max = "1.5 deg" }')
    learned(tmp_path, units(tmp_path))
    other = unit(tmp_path, "other", 31.4, book)
    swept = [typed(tmp_path, SWEPT.replace("fifth", f"swept {i}"), f"swept-{i}") for i in range(2)]
    made = learn_units([other, *swept], [], lambda text: None).made
    assert made.alike["target",] == tomllib.loads(other.read_text(encoding="utf-8"))["target"]


# The drive of the invented type by xy, by hand: 21 mm, and from there 12.6 mm at 75° and 13.1 mm at 168°, clockwise.
FLAT = """\
[weights.motion]
kind = "slot"
pivot = { xy = ["21 mm", "0 mm"] }
cg = { xy = ["24.261 mm", "-12.171 mm"] }
pin = { xy = ["8.186 mm", "-2.724 mm"] }

[stop]"""


@pytest.mark.parametrize(
    ("pattern", "plain", "keys"),
    [
        (r"(?m)^mass = .*$", 'mass = "31.5 ± 0.4 g"', {("weights", "mass")}),
        (
            r"(?s)\[stop\].*?radius = [^\n]*",
            '[stop]\nadvance = "13 deg"\nper_mm = "4 deg"',
            {("stop", "radius"), ("stop", "advance")},
        ),
        (
            r"(?s)\[weights.motion\].*?\[stop\]",
            FLAT,
            {("weights", "motion", point, part) for point in ("cg", "pin") for part in ("distance", "angle")},
        ),
    ],
)
def test_a_plain_quantity_of_a_type_is_no_measurement_either(
    tmp_path: Path, pattern: str, plain: str, keys: set[tuple[str, ...]]
) -> None:
    """A type edited by hand as its head allows: a job that takes it does not tell it itself."""
    to = learned(tmp_path, units(tmp_path))
    text, count = re.subn(pattern, plain, to.read_text(encoding="utf-8"), count=1)
    assert count == 1
    to.write_text(text, encoding="utf-8")
    assert not keys & facts_of(load_job(typed(tmp_path)), found=False).told.keys()


def test_a_plain_mass_of_a_type_is_named_among_what_was_not_measured(tmp_path: Path) -> None:
    to = learned(tmp_path, units(tmp_path))
    text = to.read_text(encoding="utf-8")
    to.write_text(re.sub(r"^mass = .*$", 'mass = "31.5 ± 0.4 g"', text, flags=re.M), encoding="utf-8")
    [note] = [note for note in load_job(typed(tmp_path)).notes if "From the type" in note]
    assert "the mass of the weights" in note


def test_the_command_writes_and_says_who_does_not_belong(tmp_path: Path) -> None:
    paths = [*units(tmp_path), unit(tmp_path, "other", 44.0)]
    arguments = [*map(str, paths), "--to", str(tmp_path / "type.toml")]
    code, out, _ = run(["learn", *arguments])
    assert code == 3 and "DOES NOT BELONG" in out and "other.toml:weights.massis44" in "".join(out.split())
    assert run(["learn", *arguments])[0] == 2  # the file is there
    code, out, _ = run(["learn", *arguments, "--replace", "--leave-out", str(paths[4])])
    assert code == 0 and "DOES NOT BELONG" not in out


def test_a_copy_of_a_unit_is_no_other_unit(tmp_path: Path) -> None:
    """The same file by another name, and in another folder: counted twice, it would make the mean surer than it is."""
    paths = units(tmp_path)[:2]
    (tmp_path / "kept").mkdir()
    (tmp_path / "kept" / "springs.csv").write_text(SPRINGS, encoding="utf-8")
    for copy in (tmp_path / "copy.toml", tmp_path / "kept" / "unit-0.toml"):
        copy.write_bytes(paths[0].read_bytes())
        with pytest.raises(InputError, match=rf"{copy.name}: got a copy of .*unit-0.toml, the same unit twice"):
            learn_units([*paths, copy], [], lambda text: None)
        assert learn_units([*paths, copy], [copy], lambda text: None).made.learned["weights", "mass"].units == 2


def test_angles_are_pooled_across_half_a_turn(tmp_path: Path) -> None:
    """By hand: 179° and −179° have 180° between them, not 0°."""
    changes = [(('angle = "168 deg"', f'angle = "{a} ± 0.5 deg"'),) for a in (179.0, -179.0)]
    paths = [unit(tmp_path, f"half-{i}", 31.5, *c) for i, c in enumerate(changes)]
    found = learn_units(paths, [], lambda text: None).made.learned["weights", "motion", "pin", "angle"]
    assert abs(np.degrees(found.mean)) == pytest.approx(180.0, abs=0.3)


def test_a_type_and_a_job_are_not_taken_for_each_other(tmp_path: Path) -> None:
    """One line says which file it is, not a line for each key that the other kind has."""
    paths = units(tmp_path)
    to = learned(tmp_path, paths)
    for command in (["plan"], ["check"], ["order"], ["learn", "--to", str(tmp_path / "new.toml")]):
        code, _, err = run([*command, str(to)])
        assert code == 2 and len(err.splitlines()) == 1 and "type.toml: got a type file, not a job" in err, err
    with pytest.raises(InputError) as wrong:
        load_any(typed(tmp_path, SWEPT.replace("type.toml", "unit-0.toml")))
    assert len(wrong.value.faults) == 1 and "unit-0.toml: got a job, not a type file" in wrong.value.faults[0]


def test_no_job_is_proposed_for_a_type_that_is_not_there(tmp_path: Path) -> None:
    paths = units(tmp_path)
    learned(tmp_path, paths[:1]).rename(tmp_path / "launch.toml")
    for name, near in (("unit-9.toml", ""), ("lanch.toml", "launch.toml")):
        with pytest.raises(InputError) as wrong:
            load_any(typed(tmp_path, SWEPT.replace("type.toml", name)))
        proposed = re.search(r'did you mean "([^"]*)"', str(wrong.value))
        assert (proposed[1] if proposed else "") == near


def test_a_type_that_is_wrong_says_where(tmp_path: Path) -> None:
    to = learned(tmp_path, units(tmp_path))
    to.write_text(to.read_text(encoding="utf-8").replace('kind = "slot"', 'kind = "slit"'), encoding="utf-8")
    with pytest.raises(InputError, match=r"type.toml:\d+: weights.motion.kind: got \"slit\""):
        load_job(typed(tmp_path))


def sweep_of_the_type(folder: Path, times: float = 1.0) -> str:
    """Readings of a unit with the type's own springs, all speeds `times` as high: by equation (1) of the physics its springs
    then pull the square of that as much for the same weights."""
    job = load_job(unit(folder, "own", 31.5))
    found = job.as_found()
    assert found is not None
    curve = trace(found, 501)
    up = np.arange(200.0, 1500.0, 100.0)
    both = [(up, curve.rising_advance(up * np.pi / 30), "rising")]
    both.append((up[::-1], curve.falling_advance(up[::-1] * np.pi / 30), "falling"))
    rows = [
        f"{times * s:.0f},{np.degrees(a):.2f},{way}" for at, read, way in both for s, a in zip(at, read, strict=True)
    ]
    return "\n".join(["speed [rpm],advance [deg],direction", *rows, ""])


# Part of a type file that is not wanted, and the same as a job states it itself.
LEFT_OUT = [
    (r"(?m)^rotation = .*\n", '[distributor]\nrotation = "clockwise"\n'),
    (
        r"(?s)\[weights.motion.pin\].*?(?=\n\[)",
        '[weights.motion]\npin = { distance = "13.1 mm", angle = "168 deg" }\n',
    ),
    (r"(?s)(?<=\[stop\]\n)(advance = [^\n]*\n)radius = [^\n]*\n", '[stop]\nradius = "14 mm"\n'),
    (r"(?m)^mass = .*\n", '[weights]\nmass = "31.5 g"\n'),
    (r"(?s)\[distributor\].*?(?=\n\[)", '[distributor]\nlobes = 6\nrotation = "clockwise"\n'),
]


@pytest.mark.parametrize(("pattern", "stated"), LEFT_OUT)
def test_what_is_not_wanted_of_a_type_may_be_left_out(tmp_path: Path, pattern: str, stated: str) -> None:
    """As its head says: a job that states it itself can be read; one that does not is told what is missing, and where."""
    to = learned(tmp_path, units(tmp_path))
    text, count = re.subn(
        pattern, lambda found: found[1] if found.re.groups else "", to.read_text(encoding="utf-8"), count=1
    )
    assert count == 1
    to.write_text(text, encoding="utf-8")
    assert load_job(typed(tmp_path, SWEPT.replace("[sweep]", f"{stated}[sweep]"))).kind is not None
    with pytest.raises(InputError, match=r"(fifth|type).toml(:\d+)?: [\w.]+: (missing|got)"):
        load_job(typed(tmp_path))


def test_a_type_of_units_that_differ_serves_jobs_that_state_it(tmp_path: Path) -> None:
    """As the report says: the units differ in their rotation, so each job states its own."""
    two = [
        unit(tmp_path, "one", 31.0),
        unit(tmp_path, "two", 31.2, ('rotation = "clockwise"', 'rotation = "anticlockwise"')),
    ]
    learned(tmp_path, two)
    own = SWEPT.replace("[sweep]", '[distributor]\nrotation = "anticlockwise"\n[sweep]')
    assert load_job(typed(tmp_path, own)).rotation == "anticlockwise"
    with pytest.raises(InputError, match=r"fifth.toml(:\d+)?: distributor.rotation: missing"):
        load_any(typed(tmp_path))


def test_a_type_of_units_that_were_only_swept_says_what_each_job_must_state(tmp_path: Path) -> None:
    """They measured neither weights nor posts, nor the stop's radius; a job that states these itself can be read."""
    to = learned(tmp_path, units(tmp_path))
    swept = [typed(tmp_path, SWEPT.replace("fifth", f"swept {i}"), f"swept-{i}") for i in range(2)]
    found = learn_units(swept, [], lambda text: None)
    lacking = LearnDocument.of(found, str(to)).lacking
    assert lacking == ["weights", "stop.radius", "springs.primary.posts", "springs.secondary.posts"]
    write_type(found, to, "Invented type", True)
    whole = unit(tmp_path, "whole", 31.4)
    whole.write_text(f'type = "type.toml"\n{whole.read_text(encoding="utf-8")}', encoding="utf-8")
    assert load_job(whole).kind is not None


def test_what_is_wrong_of_a_type_beside_its_job_says_where(tmp_path: Path) -> None:
    """Each of its values can be read, but no weight swings so: told of the file that has them."""
    to = learned(tmp_path, units(tmp_path))
    text = re.sub(
        r"(?s)(\[weights.motion.cg\].*?)angle = [^\n]*", r'\1angle = "-75 deg"', to.read_text(encoding="utf-8")
    )
    to.write_text(text, encoding="utf-8")
    with pytest.raises(InputError, match=r"type.toml:\d+: weights.motion: the weights move inward"):
        load_job(typed(tmp_path))


@pytest.mark.parametrize(("off", "contradicts"), [(1.0, False), (6.0, True)])
def test_a_calliper_is_held_against_places_by_the_scatter_of_the_type(
    tmp_path: Path, off: float, contradicts: bool
) -> None:
    """By hand: posts at 21 mm and 12 mm, 35° apart, stand 13.1 mm from each other, which changes by 21·12·sin 35°/13.1 = 11
    mm/rad, 0.19 mm a degree. Angles that scatter by 4.8° (that of these four) make 0.9 mm, twice that 1.8 mm."""
    changes = [(('angle = "255 deg"', f'angle = "{a} deg"'),) for a in (249.5, 253.0, 257.0, 260.5)]
    paths = [unit(tmp_path, f"far-{i}", 31.4, *c) for i, c in enumerate(changes)]
    learned(tmp_path, paths)
    rest = load_job(typed(tmp_path)).places[1].posts.length(0.0)[0] * 1e3
    own = SWEPT.replace("[sweep]", f'[springs.secondary]\nover_posts = "{rest + off:.3f} ± 0.05 mm"\n[sweep]')
    doubts = [doubt for doubt in load_job(typed(tmp_path, own)).doubts if "the calliper reads" in doubt]
    assert bool(doubts) == contradicts


def test_a_unit_with_other_weights_is_told(tmp_path: Path) -> None:
    """Every speed of its sweep a third higher: by equation (1) its springs pull 1.78 times as much for the same weights."""
    learned(tmp_path, units(tmp_path))
    path = typed(tmp_path)
    told = []
    for times in (1.0, 1.333):
        (tmp_path / "as-found.csv").write_text(sweep_of_the_type(tmp_path, times), encoding="utf-8")
        job = load_job(path)
        assert job.kind is not None
        told.append(belonging(job.kind, job, fit_sweep(job)))
    found, other = told
    assert found is not None and other is not None
    assert found.fits and found.odds > 1.0
    assert not other.fits and other.odds < 0.1 and other.chance < found.chance / 10


def test_a_spring_that_the_sweep_leaves_open_accuses_nobody(tmp_path: Path) -> None:
    """A sweep that stops before the second spring takes up tells nothing of it: by hand, the unit has the type's springs."""
    learned(tmp_path, units(tmp_path))
    path = typed(tmp_path)
    lines = sweep_of_the_type(tmp_path).splitlines()
    low = [line for line in lines[1:] if float(line.split(",")[0]) <= 500]
    (tmp_path / "as-found.csv").write_text("\n".join([lines[0], *low, ""]), encoding="utf-8")
    job = load_job(path)
    assert job.kind is not None
    found = belonging(job.kind, job, fit_sweep(job))
    assert found is not None and found.fits


@pytest.mark.parametrize(
    ("table", "own", "of_type", "cause"),
    [
        ("distributor", "lobes = 4", "6", Cause.SLIP),
        ("distributor", 'rotation = "anticlockwise"', "clockwise", Cause.SLIP),
        ("weights", "count = 3", "2", Cause.WEIGHTS),
    ],
)
def test_a_job_that_contradicts_its_type_is_told(
    tmp_path: Path, table: str, own: str, of_type: str, cause: Cause
) -> None:
    """What no unit of the type has otherwise: both figures are named, and no plan is made upon it."""
    learned(tmp_path, units(tmp_path))
    job = load_job(typed(tmp_path, SWEPT.replace("[sweep]", f"[{table}]\n{own}\n[sweep]")))
    told = type_findings(job, None)[0]
    assert told.cause == cause and told.severity == "check first"
    key, _, value = own.replace('"', "").partition(" = ")
    assert f"{table}.{key} is {value} in the job and {of_type} in the type" in told.evidence
    assert not trust_in(job, None).ok
    document = TypeDocument.of(job, None, None)
    assert document is not None and document.fits is False


def test_a_job_that_contradicts_its_type_is_not_judged(tmp_path: Path) -> None:
    learned(tmp_path, units(tmp_path))
    path = typed(tmp_path, SWEPT.replace("[sweep]", "[distributor]\nlobes = 4\n[sweep]"))
    code, out, _ = run(["check", str(path)])
    assert code == 3 and "CANNOT TELL" in out and "contradict each other" in " ".join(out.split())


def test_weights_measured_in_another_way_are_no_contradiction(tmp_path: Path) -> None:
    """Radii measured, where the type has pin and slot."""
    learned(tmp_path, units(tmp_path))
    rows = '[weights.motion]\nkind = "table"\nadvance = ["0 deg", "5 deg", "14 deg"]\n'
    rows += 'cg_radius = ["27.1 mm", "28.3 mm", "30.4 mm"]\n'
    job = load_job(typed(tmp_path, SWEPT.replace("[sweep]", f"{rows}[sweep]")))
    assert unlike_type(job) == ()


def test_crank_speeds_are_not_called_another_type(tmp_path: Path) -> None:
    """Speeds twice the right ones make every spring look four times as strong, by equation (1): told as the slip it is."""
    learned(tmp_path, units(tmp_path))
    path = typed(tmp_path)
    (tmp_path / "as-found.csv").write_text(sweep_of_the_type(tmp_path, 2.0), encoding="utf-8")
    job = load_job(path)
    [told] = type_findings(job, fit_sweep(job))
    assert told.cause == Cause.CRANK_FIGURES and told.severity == "check first"
    assert "twice what they should be" in told.what and "tachometer" in told.remedy
