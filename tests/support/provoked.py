"""Bad inputs of every kind, and what is said of them: each is really given to the reader that refuses it."""

from __future__ import annotations

import contextlib
import io
import shutil
import sys
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

from faults import JOB_FAULTS, REFERENCE_FAULTS, SPRING_FAULTS, SWEEP_FAULTS
from jobs import BARE_HEAD, BY_HAND, JOB, SPRINGS, SWEEP, UNDESCRIBED, without, write_job
from mechanisms import mechanism
from reference_units import SEEDS, swept

from recurve.cli.app import main
from recurve.diagnosis.check import check_unit
from recurve.errors import RecurveError
from recurve.files import check_writable, write_folder
from recurve.job.answers import check_rows, read_answer, read_row
from recurve.job.live import Reading, SweepFile
from recurve.job.questions import questions
from recurve.job.read import load_any, load_job, read_as_left
from recurve.output.history import history_of
from recurve.physics.posts import BodyPoint, PointPosts

Change = tuple[str, str]
POSTS = JOB[JOB.index("[springs.primary.posts]") : JOB.index("[springs.secondary]")]
TABLE_POSTS = '[springs.primary.posts]\nkind = "table"\nadvance = ["0 deg", "6 deg"]\nlength = ["17 mm", "{}"]\n\n'
PIVOT = 'pivot = { radius = "21.0 mm" }'
CG, PIN = 'cg = { distance = "12.6 mm", angle = "75 deg" }', 'pin = { distance = "13.1 mm", angle = "168 deg" }'
MOTION = JOB[JOB.index("[weights.motion]") : JOB.index("[stop]")]
RADII = '[weights.motion]\nkind = "table"\nadvance = [{}]\ncg_radius = [{}]\n\n'
FAR = 'far = { on = "cam", radius = "12 mm", angle = "75 deg" }'
REFERENCE = '[weights.motion]\nkind = "reference"\nsweep = "reference.csv"\n'
# Bands that one spring meets.
LOOSE = (
    JOB[JOB.index("points = [") : JOB.index("idle = {")],
    'points = [{ speed = "700 rpm", min = "1 deg", max = "12 deg" }]\n',
)
UNTRIMMED = ('radius = "14 mm"', 'file_up_to = "0.4 mm"', 'build_up_to = "1.2 mm"')
DRAG = 'rubbing_block = "4.5 mN*m"'

MORE_JOBS: dict[str, tuple[Change, ...]] = {
    "a point with nothing": (('min = "0 deg", max = "1 deg"', 'min = "0 deg"'),),
    "a tolerance beside min": (('min = "0 deg", max = "1 deg"', 'min = "0 deg", max = "1 deg", tolerance = "1 deg"'),),
    "an empty target": ((without("target")[0], '[target]\nbasis = "distributor"\n\n'),),
    "a total of the engine": (("[target]\n", '[target]\ntotal = "30 deg"\n'),),
    "total and maximum": (("[target]\n", '[target]\nbasis = "crank"\nstatic = "8 deg"\ntotal = "30 deg"\n'),),
    "total without static": (
        ("[target]\n", '[target]\nbasis = "crank"\ntotal = "30 deg"\n'),
        ('maximum = { advance = "11 deg", tolerance = "0.5 deg" }\n', ""),
    ),
    "all_in without total": (("[target]\n", '[target]\nbasis = "crank"\nall_in = "2000 rpm"\n'),),
    "radii and advances": ((MOTION, RADII.format('"0 deg", "5 deg", "14 deg"', '"20 mm", "21 mm"')),),
    "more radii than advances": (
        (MOTION, RADII.format('"0 deg", "5 deg", "14 deg"', '"20 mm", "21 mm", "22 mm", "23 mm"')),
    ),
    "radii that do not begin at 0": ((MOTION, RADII.format('"1 deg", "5 deg", "14 deg"', '"20 mm", "21 mm", "23 mm"')),),
    "radii that end early": ((MOTION, RADII.format('"0 deg", "2 deg", "5 deg"', '"20 mm", "21 mm", "23 mm"')),),
    "weights of no distributor": (
        (MOTION, '[weights.motion]\nkind = "slope"\nreach = "14 deg"\nlevel = "-3"\ntilt = "0"\nbow = "0"\n\n'),
    ),
    "a point two ways": (('pivot = { radius = "21.0 mm" }', 'pivot = { radius = "21 mm", xy = ["1 mm", "2 mm"] }'),),
    "a pivot on the axis": ((PIVOT, 'pivot = { radius = "0 mm" }'),),
    "a centre of gravity half told": ((CG, 'cg = { distance = "12.6 mm" }'),),
    "a cam point half told": (('kind = "slot"', 'kind = "link"\ncam = { radius = "12 mm" }'),),
    "a centre of gravity in the pivot": ((CG, 'cg = { distance = "0 mm", angle = "75 deg" }'),),
    "a pin in the pivot": (
        (PIVOT, 'pivot = { xy = ["21 mm", "0 mm"] }'),
        (CG, 'cg = { xy = ["24 mm", "12 mm"] }'),
        (PIN, 'pin = { xy = ["21 mm", "0 mm"] }'),
    ),
    "a link of a cam point on the axis": (('kind = "slot"', 'kind = "link"\ncam = { radius = "0 mm", angle = "9 deg" }'),),
    "a link in one line": (
        ('kind = "slot"', 'kind = "link"\ncam = { radius = "34.1 mm", angle = "0 deg" }'),
        (PIN, 'pin = { distance = "13.1 mm", angle = "0 deg" }'),
    ),
    "weights that move inward past an advance": (
        (CG, 'cg = { distance = "12.6 mm", angle = "12 deg" }'),
        (PIN, 'pin = { distance = "13.1 mm", angle = "168 deg" }'),
    ),
    "friction of more than half": ((DRAG, f"{DRAG}\nfriction_share = 0.6"),),
    "a negative friction": (('friction = "1.0 mN*m"', 'friction = "-1.0 mN*m"'),),
    "two ways of trim": (('radius = "14 mm"', 'radius = "14 mm"\nper_mm = "4 deg"'),),
    "a post on nothing": ((FAR, 'far = { on = "shaft", radius = "12 mm", angle = "75 deg" }'),),
    "a post by angle and one by xy": ((FAR, 'far = { on = "cam", xy = ["1 mm", "2 mm"] }'),),
    "posts in one place": ((FAR, 'far = { on = "cam", radius = "21 mm", angle = "40 deg" }'),),
    "posts by table with a diameter": ((POSTS, TABLE_POSTS.format("18 mm")),),
    "a length past nothing": (
        (POSTS, TABLE_POSTS.format("18 mm")),
        ('post_travel = ["-0.5 mm", "1.0 mm"]\npost_diameter = "2.5 mm"\nfree', 'post_travel = ["-18 mm", "1 mm"]\nfree'),
    ),
    "a post on a weight told by radii": (
        (MOTION, RADII.format('"0 deg", "5 deg", "14 deg"', '"20 mm", "21 mm", "23 mm"')),
        (FAR, 'far = { on = "weight", xy = ["1 mm", "2 mm"] }'),
    ),
    "a limit that is none": (('reading = "± 0.8 deg"', 'reading = "0.8"'),),
    "a limit without quotes": (('reading = "± 0.8 deg"', "reading = 0.8"),),
    "a negative ±": (('"31.5 ± 0.3 g"', '"31.5 ± -0.3 g"'),),
    "a negative limit": (('reading = "± 0.8 deg"', 'reading = "± -0.8 deg"'),),
    "a unit that nobody knows": (('"31.5 ± 0.3 g"', '"31.5 quux"'),),
    "a unit that cannot be read": (('"31.5 ± 0.3 g"', '"31.5 g**"'),),
    "too large": (('"31.5 ± 0.3 g"', '"31e9 g"'),),
    "too small": (('"31.5 ± 0.3 g"', '"31e-29 g"'),),
    "a list where a number stands": (("lobes = 6", "lobes = []"),),
    "dwell past the lobe pitch": (
        (DRAG, 'breaker_spring = "5 N"\ncontact_lever = "20 mm"\nblock_lever = "15 mm"\ncam_radius = "10 mm"\ndwell = "70 deg"\n'
         "friction_coefficient = 0.1"),
    ),
    "nested too deeply": (("lobes = 6", f"lobes = {'[' * 3000}{']' * 3000}"),),
    "reference in crank degrees": ((MOTION, f'{REFERENCE}stop = "14 deg"\nbasis = "crank"\n\n'),),
    "reference spring without posts": (
        (MOTION, f'{REFERENCE}stop = "14 deg"\n[weights.motion.primary]\nrate = "1 N/mm"\nfree_length = "9 mm"\n'
         '[weights.motion.secondary]\nrate = "1 N/mm"\nfree_length = "9 mm"\n\n'),
        without("springs.secondary"),
    ),
    "reference secondary alone": (
        (MOTION, f'{REFERENCE}stop = "14 deg"\n[weights.motion.secondary]\nrate = "1 N/mm"\ntakeup = "9 deg"\n\n'),
    ),
    "reference spring without a length": (
        (MOTION, f'{REFERENCE}stop = "14 deg"\n[weights.motion.primary]\nrate = "1 N/mm"\n\n'),
    ),
}  # fmt: skip

CONDITION = {
    "two totals": '[target]\nbasis = "crank"\nstatic = "8 deg"\ntotal = "26 deg"\n[timing]\ntotal = "28 deg"\n',
    "a limit below the target's static": '[target]\nbasis = "crank"\nstatic = "8 deg"\ntotal = "26 deg"\n'
    '[timing]\ntotal_limit = "7 deg"\n',
    "two statics": '[target]\nbasis = "crank"\nstatic = "8 deg"\ntotal = "26 deg"\n[timing]\nstatic = "10 deg"\n',
    "a total below the book's static": '[target]\nbasis = "crank"\nstatic = "8 deg"\ntotal = "26 deg"\n'
    '[timing]\ntotal = "6 deg"\n',
    "play two ways": '[condition]\nside_play = "0.1 mm"\nside_play_ways = ["0.1 mm", "0.1 mm"]\n',
    "no wheel": '[condition]\nsparks = ["0 deg", "90 deg", "180 deg", "270 deg"]\n',
    "dwell at idle alone": '[condition]\ndwell_idle = "50 deg"\n',
    "a lobe twice": '[condition]\nwheel = "with rotation"\nangles = ['
    '{ lobe = 1, closes = "0 deg", opens = "50 deg" }, { lobe = 1, closes = "0 deg", opens = "50 deg" }]\n',
    "a lobe that is not there": '[condition]\nwheel = "with rotation"\nangles = ['
    '{ lobe = 9, closes = "0 deg", opens = "50 deg" }]\n',
    "a dwell round the wheel": '[condition]\nwheel = "with rotation"\nangles = ['
    '{ lobe = 1, closes = "50 deg", opens = "0 deg" }]\n',
    "a dwell of two sets": '[condition]\ndwell = ["50 deg", "50 deg"]\n',
    "a dwell over the pitch": '[condition]\ndwell = "95 deg"\n',
    "a dwell of percent": '[condition]\ndwell = "150 %"\n',
    "three sparks": '[condition]\nwheel = "with rotation"\nsparks = ["0 deg", "90 deg", "180 deg"]\n',
    "a vacuum band of one": '[vacuum]\nstart = "5 inHg"\n',
    "a vacuum band upside down": '[vacuum]\nstart = ["5 inHg", "3 inHg"]\n',
    "a vacuum point half told": '[vacuum]\npoints = [{ vacuum = "5 inHg", min = "1 deg" }]\n',
    "more vacuum than drawn": '[vacuum]\nhold = { vacuum = "10 inHg", left = "12 inHg", after = "10 s" }\n',
    "a total below static": '[timing]\nstatic = "10 deg"\ntotal = "5 deg"\n',
    "a limit below static": '[timing]\nstatic = "10 deg"\ntotal_limit = "8 deg"\n',
    "a limit below the total": '[timing]\nstatic = "10 deg"\ntotal = "30 deg"\ntotal_limit = "20 deg"\n',
    "a top speed below idle": '[timing]\nstatic = "10 deg"\nidle = "600 rpm"\ntop_speed = "500 rpm"\n',
}
MORE_SPRINGS = {
    "half of a note": "id,rate [N/mm],free_length [mm],measured_rate [N/mm]\nA1,1.5,13.6,1.6\n",
    "no name": SPRINGS.replace("A1,", ","),
    "a quote that never ends": SPRINGS.replace("A1,", '"A1,') + "x" * 140000,
    "a column twice": SPRINGS.replace("coils,", "rate [N/mm],"),
    "no free length": SPRINGS.replace("free_length [mm]", "coils", 1).replace(",coils,material", ",wire [mm],material"),
    "a size that nothing has": SPRINGS.replace("A1,1.5,", "A1,1e12,"),
}
MORE_SWEEPS = {
    "columns changed over": "speed [rpm],advance [deg],direction\n5,500,rising\n6,600,rising\n7,700,rising\n",
    "infinite": SWEEP.replace("500,6.2", "500,inf"),
}
HUNG = ["50 g at 14 mm", "100 g at 15 mm"]
COMMANDS = {
    "speeds": ["curve", "JOB", "--speeds", "1"],
    "a wish for a spring that is not sold": ["plan", "JOB", "--primary", "A9"],
    "a wish for a spring with narrow hooks": ["plan", "NARROW", "--primary", "A1"],
    "a wish and a keep": ["plan", "JOB", "--primary", "A1", "--keep", "primary"],
    "a keep of what is not described": ["plan", "UNDESCRIBED", "--keep", "primary"],
    "a wish for a second spring": ["plan", "ONE", "--secondary", "A1"],
    "by hand without a place": ["wind", "JOB", "--rate", "1 N/mm", "--free-length", "15 mm"],
    "by hand half told": ["wind", "JOB", "--place", "primary", "--rate", "1 N/mm"],
    "by hand for no spring": ["wind", "ONE", "--place", "secondary", "--rate", "1 N/mm", "--free-length", "15 mm"],
    "a place that is not asked for": ["wind", "LONE", "--place", "secondary"],
    "by hand and planned": ["wind", "JOB", *BY_HAND, "--springs", "ideal"],
    "by hand never pulling": ["wind", "JOB", *BY_HAND, "--free-length", "90 mm"],
    "a stray figure": ["wind", "JOB", "--longest", "15 mm"],
    "a wire that is not sold so": ["wind", "JOB", *BY_HAND, "--sizes", "gauge", "--material", "stainless"],
    "a material nobody has": ["wind", "JOB", *BY_HAND, "--material", "cheese"],
    "an outer of nothing": ["wind", "JOB", *BY_HAND, "--outer", "0 mm"],
    "an outer of grams": ["wind", "JOB", *BY_HAND, "--outer", "3 g"],
    "an outer of miles": ["wind", "JOB", *BY_HAND, "--outer", "3 m"],
    "a tolerance of all": ["wind", "JOB", *BY_HAND, "--tolerance", "90 %"],
    "one reading": ["spring", "50 g at 14 mm"],
    "no length": ["spring", "50 g", *HUNG],
    "grams of what": ["spring", "50 mm at 14 mm", *HUNG],
    "a length in grams": ["spring", "50 g at 14 g", *HUNG],
    "a weight of nothing": ["spring", "0 g at 14 mm", *HUNG],
    "at one length": ["spring", "50 g at 14 mm", "100 g at 14 mm"],
    "coils closed": ["spring", *HUNG, "--free-length", "14.9 mm"],
    "pulling less": ["spring", "50 g at 15 mm", "100 g at 14 mm"],
    "thin coils": ["spring", *HUNG, "--wire", "1 mm", "--outer", "1 mm"],
    "coils of mm": ["spring", *HUNG, "--coils", "3 mm"],
    "wire of cheese": ["spring", *HUNG, "--material", "cheese"],
    "no name to add it by": ["spring", *HUNG, "--append", "springs.csv"],
    "a name that is taken": ["spring", *HUNG, "--free-length", "13 mm", "--append", "springs.csv", "--id", "A1"],
    "no column for its tension": ["spring", *HUNG, "--free-length", "13 mm", "--append", "narrow.csv", "--id", "X"],
    "no such figure": ["guide", "99"],
    "no timing": ["timing", "JOB"],
    "timing without static": ["timing", "STATICLESS"],
    "no springs to draw a curve of": ["curve", "UNDESCRIBED"],
    "a file that keeps no answers": ["start", "kept"],
    "a blank over a job": ["start", "taken", "--blank"],
    "a job that somebody changed": ["start", "changed"],
    "a record that is none": ["verify", "RECORDED", "as-found.csv"],
    "a record with a set that is none": ["verify", "SET", "as-found.csv"],
    "a stop as set two ways": ["verify", "TWICE", "as-found.csv"],
    "a trim without a radius": ["verify", "RADIUS", "as-found.csv", "--stop", "0.2 mm"],
    "another spring than there is": ["verify", "JOB", "as-found.csv", "--primary-spring", "no such"],
    "a length over posts that are not there": ["verify", "ALONE", "as-found.csv", "--secondary-length", "17 mm"],
    "readings to a file of another kind": ["sweep", "JOB", "--to", "springs.csv"],
    "readings after a bad one": ["sweep", "JOB", "--to", "bad.csv"],
    "readings for what is no job": ["sweep", "springs.csv"],
    "weights missing": ["plan", "BARE"],
    "a type over a unit": ["learn", "JOB", "--to", "JOB", "--replace"],
    "a type over a file": ["learn", "JOB", "--to", "springs.csv"],
    "a type over another job": ["learn", "JOB", "--to", "bare.toml", "--replace"],
    "a type of what is planned": ["learn", "AS_PLANNED", "--to", "t.toml"],
    "every unit left out": ["learn", "JOB", "--leave-out", "JOB", "--to", "t.toml"],
    "a stranger left out": ["learn", "JOB", "--leave-out", "ONE", "--to", "t.toml"],
    "a unit twice": ["learn", "JOB", "JOB", "--to", "t.toml"],
    "a unit and its copy": ["learn", "COPIED", "COPY", "--to", "t.toml"],
    "units of no folder": ["units", "JOB"],
    "an order of a unit twice": ["order", "JOB", "JOB"],
    "an order over a catalogue": ["order", "JOB", "--csv", "springs.csv"],
    "a table of units over a catalogue": ["units", ".", "--csv", "springs.csv"],
    "a figure of units over a catalogue": ["units", ".", "--figure", "springs.png"],
    "a figure of units of another kind": ["units", ".", "--figure", "said.gif"],
    "a weighing noted without a row": ["spring", *HUNG, "--note", "springs.csv"],
    "a weighing noted in no file": ["spring", *HUNG, "--note", "none.csv", "--id", "A1"],
    "a weighing noted in a row that is not there": ["spring", *HUNG, "--note", "springs.csv", "--id", "Z9"],
    "a weighing on no day": ["spring", *HUNG, "--note", "springs.csv", "--id", "A1", "--date", "May"],
    "a weighing noted in what is no text": ["spring", *HUNG, "--note", "springs.png", "--id", "A1"],
    "springs noted in a drawer that is not there": ["verify", "DRAWERLESS", "as-found.csv", "--note-springs"],
    "no such type": ["check", "UNTYPED"],
    "a type full of faults": ["check", "TYPED"],
    "a type in the place of a job": ["check", "typed-type.toml"],
    "a job in the place of a type": ["check", "JOBTYPED"],
    "a type without its springs' tables": ["check", "LOOSETYPED"],
}  # fmt: skip
BAD_TYPE = """\
title = "A type with faults"
units = 0
size = 3
[distributor]
lobes = { mean = "4", spread = "1", uncertain = "1", units = 2 }
rotation = "clockwise"
[weights]
mass = { mean = "30 g", spread = "-1 g", uncertain = "1 mm", units = 2 }
[stop]
advance = { mean = "12 deg", spread = "1 deg" }
[found.primary]
rate = { mean = "1 N/mm", spread = "0.1 N/mm", uncertain = "0.1 N/mm", units = 2 }
pull = 3
"""
LOOSE_TYPE = """\
title = "A type"
units = 1
found = 3
[distributor]
lobes = 4
rotation = "left"
"""
TYPED = {
    ("distributor.rotation", "left"), ("title", "a\x1bb"), ("title", "x" * 201), ("date", "tomorrow"),
    ("distributor.lobes", "six"), ("distributor.speed_ratio", "two"), ("springs.primary.post_travel", "0.5"),
    ("springs.primary.post_travel", "0.5 -1"), ("target.points", "550"), ("target.points", "550 6 4"),
    ("vacuum.start", "120"), ("springs.primary.weighings", "50"),
}  # fmt: skip


def told(action: Callable[..., object], *given: object) -> list[str]:
    """What an action says of what it is given; it must refuse it."""
    try:
        action(*given)
    except RecurveError as error:
        return list(getattr(error, "faults", (str(error),)))
    except ValueError as error:
        return [str(error)]
    raise AssertionError("was not refused")


def said(arguments: list[str]) -> list[str]:
    """What a command says on standard error; it must exit 2."""
    err, kept = io.StringIO(), sys.argv
    sys.argv = ["recurve", *arguments]
    try:
        with contextlib.redirect_stderr(err), contextlib.redirect_stdout(io.StringIO()):
            main()
    except SystemExit as stopped:
        assert stopped.code == 2, (arguments, stopped.code, err.getvalue())
    finally:
        sys.argv = kept
    return [line.removeprefix("recurve: ") for line in err.getvalue().splitlines() if line.startswith("recurve: ")]


def jobs(folder: Path) -> Iterator[tuple[str, list[str]]]:
    """Every bad job and table, with what is said of it."""
    (folder / "reference.csv").write_text(SWEEP, encoding="utf-8")
    for name, changes in ({n: c for n, (c, _) in JOB_FAULTS.items()} | MORE_JOBS).items():
        if name in ("no target", "no springs at all"):
            yield name, said(["plan", str(write_job(folder, *changes))])
        else:
            yield name, told(load_job, write_job(folder, *changes))
    for name, springs in ({n: c for n, (c, _) in SPRING_FAULTS.items()} | MORE_SPRINGS).items():
        yield name, told(load_job, write_job(folder, springs=springs))
    for name, sweep in ({n: c for n, (c, _) in SWEEP_FAULTS.items()} | MORE_SWEEPS).items():
        yield name, told(load_job, write_job(folder, sweep=sweep))
    path = folder / "bare.toml"
    for name, text in CONDITION.items():
        path.write_text(BARE_HEAD.format(ratio=2.0) + text, encoding="utf-8")
        yield name, told(load_any, path)
    yield "neither swept nor described", told(lambda: check_unit(load_job(write_job(folder, *UNDESCRIBED))))
    good = load_job(write_job(folder))
    yield "a name too long", told(load_job, folder / ("x" * 300))
    yield "no file", told(load_job, folder / "none.toml")
    yield "zeroed at a length", told(lambda: read_as_left(folder / "as-found.csv", good, zeroed_at="3 mm"))
    path.write_bytes(b"\xff")
    yield "no text", told(load_job, path)
    path.write_bytes(b"x" * 20_000_001)
    yield "too much", told(load_job, path)


def commands(folder: Path) -> Iterator[tuple[str, list[str]]]:
    """Every command that is asked for what cannot be, with what it says; run within the folder."""
    write_job(folder, without("sweep"))
    made = {"JOB": folder / "unit.toml"}
    variants = {
        "UNDESCRIBED": UNDESCRIBED, "ONE": [without("springs.secondary"), without("sweep")],
        "STATICLESS": [("[stop]", '[timing]\nidle = "600 rpm"\n[stop]'), without("sweep")], "RECORDED": [without("sweep")],
        "LONE": [without("springs.secondary"), without("sweep"), LOOSE],
        "SET": [without("sweep")], "TWICE": [without("sweep")],
        "ALONE": [without("springs.secondary"), without("sweep"), LOOSE],
        "DRAWERLESS": [without("catalogue"), without("sweep")],
        "RADIUS": [*((f'{k}\n', "") for k in UNTRIMMED), without("sweep")],
    }  # fmt: skip
    for name, changes in variants.items():
        place = folder / name.lower()
        place.mkdir()
        made[name] = write_job(place, *changes)
    (folder / "narrow").mkdir()
    made["NARROW"] = write_job(
        folder / "narrow", without("sweep"), springs=SPRINGS.replace("A1,1.5,13.6,0,,", "A1,1.5,13.6,0,0.6,3.0")
    )
    made["BARE"] = folder / "bare.toml"
    made["BARE"].write_text(BARE_HEAD.format(ratio=2.0) + '[timing]\nstatic = "8 deg"\n', encoding="utf-8")
    for name, text in {"untyped": "none", "typed": BAD_TYPE, "loosetyped": LOOSE_TYPE}.items():
        made[name.upper()] = folder / f"{name}.toml"
        made[name.upper()].write_text(f'title = "x"\ntype = "{name}-type.toml"\n', encoding="utf-8")
        if text != "none":
            (folder / f"{name}-type.toml").write_text(text, encoding="utf-8")
    (folder / "recorded" / "as-left.toml").write_text("nothing", encoding="utf-8")
    (folder / "set" / "as-left.toml").write_text("set = 3\n", encoding="utf-8")
    (folder / "twice" / "as-left.toml").write_text('[set]\nstop = "11 deg"\nstop_trim = "1 mm"\n', encoding="utf-8")
    (folder / "narrow.csv").write_text("id,free_length [mm],rate [N/mm]\nA1,12,1\n", encoding="utf-8")
    (folder / "springs.png").write_bytes(b"\xff")
    (folder / "bad.csv").write_text("speed [rpm],advance [deg],direction\n500,x,rising\n", encoding="utf-8")
    for name in ("kept", "taken", "changed"):
        (folder / name).mkdir()
    (folder / "kept" / "answers.toml").write_text("x = 1\n", encoding="utf-8")
    (folder / "taken" / "unit.toml").write_text("", encoding="utf-8")
    (folder / "changed" / "unit.toml").write_text("x = 1\n", encoding="utf-8")
    made["JOBTYPED"] = folder / "jobtyped.toml"
    made["JOBTYPED"].write_text('title = "x"\ntype = "unit.toml"\n', encoding="utf-8")
    made["COPIED"] = made["RECORDED"]
    made["COPY"] = made["COPIED"].with_name("copy.toml")
    made["COPY"].write_bytes(made["COPIED"].read_bytes())
    (folder / "unit-plan").mkdir()
    made["AS_PLANNED"] = folder / "unit-plan" / "plan.toml"
    text = made["JOB"].read_text(encoding="utf-8").replace('"springs.csv"', '"../springs.csv"')
    made["AS_PLANNED"].write_text(
        f'{text}[planned]\njob = "unit.toml"\ninputs = "{"0" * 12}"\nout_of_reach = false\n', encoding="utf-8"
    )
    for name, arguments in COMMANDS.items():
        yield name, said([str(made.get(a, a)) for a in arguments])
    kept = folder / "one" / "unit-plan"
    kept.mkdir()
    for name, text in {"a record in no words": "nothing", "a record without a verdict": "as_left = [3]\n"}.items():
        (kept / "as-left.toml").write_text(text, encoding="utf-8")
        yield name, history_of("one", folder / "one" / "unit.toml").faults
    shutil.rmtree(folder / "unit-plan")
    (folder / "unit-plan").write_text("in the way", encoding="utf-8")
    yield "a file in the folder's place", said(["wind", str(made["JOB"]), *BY_HAND])
    yield "a folder in no folder", told(check_writable, folder / "no" / "such")
    yield "a folder in no folder, written", told(write_folder, folder / "no" / "such", {})
    yield (
        "an id like a comment",
        said(["spring", *HUNG, "--free-length", "13 mm", "--append", "springs.csv", "--id", "#9"]),
    )


def references(folder: Path) -> Iterator[tuple[str, list[str]]]:
    """Reference sweeps that cannot tell I′, by `REFERENCE_FAULTS`."""
    path = swept(0, folder)[1]
    text, at_stop = path.read_text(encoding="utf-8"), f"{mechanism(SEEDS[0]).stop:.2f}"
    good = (folder / "reference.csv").read_text(encoding="utf-8")
    for name, (change, readings, _) in REFERENCE_FAULTS.items():
        path.write_text(text if change is None else text.replace(*change), encoding="utf-8")
        told_of = good if readings is None else readings.replace("{stop}", at_stop)
        (folder / "reference.csv").write_text(told_of, encoding="utf-8")
        yield name, told(load_job, path)
    path.write_text(text, encoding="utf-8")
    (folder / "reference.csv").write_text(good, encoding="utf-8")
    weights = load_job(path).weights
    yield "its mass", told(weights.inertia, 0.0)
    on_weight = PointPosts(BodyPoint(1, 0.02 + 0j), BodyPoint("cam", 0.01j), 0.0, weights.motion, 2)
    yield "where a weight is", told(on_weight.length, 0.1)


def answers(folder: Path) -> Iterator[tuple[str, list[str]]]:
    """What is said of a bad answer, below the question and beside what was typed."""
    named = {q.key: q for q in questions()}
    for key, text in sorted(TYPED):
        question = named[key]
        yield f"{key}: {text:.20}", told(read_row if question.kind == "rows" else read_answer, question, text, "mm")
    rows: list[dict[str, Any]] = [{"advance": "1 deg", "length": "17 mm"}, {"advance": "0 deg", "length": "18 mm"}]
    lengths = named["springs.primary.posts.length"]
    yield "one length", told(check_rows, lengths, rows[:1])
    yield "lengths that do not begin at 0", told(check_rows, lengths, rows)
    from recurve.cli.interview import _spring

    shelf = replace(lengths, key="catalogue.springs")
    yield "a spring without a length", told(_spring, shelf, "A1 3", "mm")
    yield "a spring like a comment", told(_spring, shelf, "#1 3 12", "mm")
    yield "a spring of no length", told(_spring, shelf, "A1 3 0", "mm")
    file = SweepFile(folder / "typed.csv")
    yield "a reading of one number", told(file.parse, "550", True)
    file.path.unlink()
    yield "a file that was taken away", told(file.append, Reading(10.0, 0.1, True))
    yield "a reading at rest", told(file.parse, "0 3", True)
