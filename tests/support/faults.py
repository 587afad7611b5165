"""Faults of a job, a catalogue and a sweep: what is changed, and what the message must say of it."""

from __future__ import annotations

from jobs import SPRINGS, SWEEP, without
from sweeps import HEADER

# Each: what is changed in the job, and what the message must say (place, what it got, what was expected).
JOB_FAULTS: dict[str, tuple[tuple[tuple[str, str], ...], tuple[str, ...]]] = {
    "a sweep without a name": (
        (('file = "as-found.csv"', 'file = ""'),),
        ('sweep.file: got ""', "expected the name"),
    ),
    "wrong unit": ((('radius = "14 mm"', 'radius = "14 g"'),), ("unit.toml:22: stop.radius:", '"14 g"', "mm")),
    "inch where degree stands": (
        (('advance = "13.8 ± 0.3 deg"', 'advance = "0.5 in"'),),
        ("stop.advance:", '"0.5 in"', "does not measure an angle", "deg"),
    ),
    "no unit": ((('mass = "31.5 ± 0.3 g"', 'mass = "31.5"'),), ("weights.mass:", "no unit", "g")),
    "number without quotes": ((('mass = "31.5 ± 0.3 g"', "mass = 31.5"),), ("weights.mass: got 31.5", "in quotes")),
    "decimal comma": ((("31.5 ± 0.3 g", "31,5 g"),), ("weights.mass:", '"31,5 g"', "decimal point")),
    "negative mass": ((("31.5 ± 0.3 g", "-31.5 g"),), ("weights.mass:", '"-31.5 g"', "more than 0")),
    "not a number": ((("31.5 ± 0.3 g", "nan g"),), ("weights.mass:", '"nan g"', "no number")),
    "infinite": ((("31.5 ± 0.3 g", "1e999 g"),), ("weights.mass:", "not a finite number")),
    "ounces for a pull": (
        (('rate = "4.0 N/mm"', 'rate = "4.0 N/mm"\ninitial_tension = "9 oz"'),),
        ("springs.secondary.initial_tension:", '"9 oz"', "ozf"),
    ),
    "unknown key": ((("lobes = 6", "lobs = 6"),), ("distributor.lobs: unknown key", 'did you mean "lobes"?')),
    "missing key": ((("lobes = 6\n", ""),), ("distributor.lobes: missing",)),
    "unknown kind": ((('kind = "slot"', 'kind = "cam"'),), ("weights.motion.kind:", '"cam"', "slot", "link", "table")),
    "rotation": ((('"clockwise"', '"left"'),), ("distributor.rotation:", '"left"', "clockwise")),
    "slack, yet it pulls": (
        (('free_length = "15.2 mm"', 'free_length = "15.2 mm"\nat_rest = "slack"\npull_at_rest = "1 N"'),),
        ("springs.primary:", 'at_rest "slack" beside a pull_at_rest', "one of them"),
    ),
    "a take-up of a spring that pulls": (
        (('free_length = "15.2 mm"', 'takeup = "4 deg"\nat_rest = "pulls"'),),
        ("springs.primary:", "a takeup past rest beside a pull_at_rest or at_rest", "one of them"),
    ),
    "a weighing without a length": (
        (('free_length = "15.2 mm"', 'free_length = "15.2 mm"\nweighings = ["50 g"]'),),
        ("springs.primary.weighings", "a weight and a length"),
    ),
    "a weighing without quotes": (
        (('free_length = "15.2 mm"', 'free_length = "15.2 mm"\nweighings = [50]'),),
        ("springs.primary.weighings", "a weight and a length in quotes"),
    ),
    "a weighing by length": (
        (('free_length = "15.2 mm"', 'free_length = "15.2 mm"\nweighings = ["5 mm at 15 mm", "0 g at 15 mm"]'),),
        ("springs.primary.weighings", "a weight such as", "more than 0"),
    ),
    "post travel the wrong way": (
        (('post_travel = ["-0.5 mm", "1.0 mm"]', 'post_travel = ["0.5 mm", "1.0 mm"]'),),
        ("springs.primary:", "post_travel", "in (0 or negative)"),
    ),
    "post that cannot reach": (
        (('post_travel = ["-0.5 mm", "1.0 mm"]', 'post_travel = ["-20 mm", "1.0 mm"]'),),
        ("springs.primary.post_travel:", "20.00 mm inward"),
    ),
    "weights that would retard": (
        (('angle = "168 deg"', 'angle = "8 deg"'),),
        ("weights.motion:", "retard", "rotation"),
    ),
    "weights that bind": (
        (
            ('angle = "168 deg"', 'angle = "130 deg"'),
            ('distance = "13.1 mm"', 'distance = "16 mm"'),
            ("13.8 ± 0.3", "40"),
        ),
        ("weights.motion:", "°", "distributor"),
    ),
    "centre of gravity on the radius": (
        (('angle = "75 deg" }\npin', 'angle = "180 deg" }\npin'),),
        ("weights.motion.cg:", "180°", "measure its angle again"),
    ),
    "spring that shortens": (
        (('radius = "12 mm", angle = "75 deg"', 'radius = "12 mm", angle = "5 deg"'),),
        ("springs.primary.posts:", "shortens", "anchor and far"),
    ),
    "post on a weight that is not there": (
        (
            (
                'far = { on = "cam", radius = "12 mm", angle = "75 deg" }',
                'far = { on = "weight 3", xy = ["1 mm", "2 mm"] }',
            ),
        ),
        ("springs.primary.posts.far.on:", '"weight 3"', "1 to 2", "xy"),
    ),
    "band of no width": (
        (('min = "0 deg", max = "1 deg"', 'min = "1 deg", max = "1.05 deg"'),),
        ("target.points[1]:", "1.00 to 1.05 deg", "0.1 deg"),
    ),
    "band upside down": (
        (('min = "0 deg", max = "1 deg"', 'min = "2 deg", max = "1 deg"'),),
        ("target.points[1]:", "2.00 to 1.00 deg"),
    ),
    "two ways for one band": (
        (('min = "0 deg", max = "1 deg"', 'advance = "0 deg", max = "1 deg"'),),
        ("target.points[1]:", "advance beside min or max"),
    ),
    "static on a distributor basis": (
        (("[target]\n", '[target]\nstatic = "8 deg"\n'),),
        ("target:", "static", 'basis = "crank"'),
    ),
    "trim without a radius": ((('radius = "14 mm"\n', ""),), ("stop:", "radius", "per_mm", "feeler")),
    "trim that leaves no advance": (
        (('build_up_to = "1.2 mm"', 'build_up_to = "5 mm"'),),
        ("stop.build_up_to:", "5.00 mm"),
    ),
    "take-up past the stop": (
        (('takeup = "7 ± 0.5 deg"', 'takeup = "30 deg"'),),
        ("springs.secondary.takeup:", "30.00 deg"),
    ),
    "drag two ways": (
        (('friction = "1.0 mN*m"', 'breaker_spring = "5 N"'),),
        ("drag:", "rubbing_block and breaker_spring"),
    ),
    "drag half told": (
        (('rubbing_block = "4.5 mN*m"', 'breaker_spring = "5 N"'),),
        ("drag:", "contact_lever", "dwell"),
    ),
    "no target": ((without("target"),), ("target: missing", "bands to plan for")),
    "no springs at all": (
        (without("catalogue"), ('free_length = "15.2 mm"\n', ""), ('takeup = "7 ± 0.5 deg"\n', "")),
        ("catalogue: missing", "springs as found"),
    ),
    "not TOML": ((("[stop]", "[stop"),), ("unit.toml: not TOML", "line")),
    "a ± of nothing": ((("31.5 ± 0.3 g", "31.5 ± 0 g"),), ("weights.mass:", "expected a ± of at least 0.0001 g")),
    "a ± of a friction of nothing": (
        (('friction = "1.0 mN*m"', 'friction = "1.0 ± 0 mN*m"'),),
        ("drag.friction:", "more than 0"),
    ),
    "a motion that is a word": (
        (
            ('kind = "slot"\n', ""),
            ("[weights.motion]\n", 'motion = "slot"\n[weights.x]\n'),
        ),
        ('weights.motion: got "slot", expected a table, with kind one of "slot", "link", "table", "reference"',),
    ),
    "a negative advance": (
        (('advance = "4 deg"', 'advance = "-4 deg"'),),
        ("target.points[2]: got an advance of at most -3.00 deg", "weights do not retard"),
    ),
    "a static above all readings": (
        (('reading = "± 0.8 deg"', 'basis = "crank"\nstatic = "40 deg"'),),
        ("sweep.static: got 40.0 deg, more than any reading", "expected the static timing"),
    ),
    "a sweep of a long name": ((('"as-found.csv"', f'"{"a" * 300}.csv"'),), ("sweep.file:", "a name of 304 bytes")),
    "a sweep that is a folder": ((('"as-found.csv"', '"."'),), ("sweep.file:", "which is a folder")),
    "a sweep in no folder": ((('"as-found.csv"', '"no/such.csv"'),), ("sweep.file:", "there is no folder")),
    "a sweep too deep": (
        (('"as-found.csv"', f'"{"/".join(["a" * 200] * 40)}"'),),
        ("sweep.file:", "cannot be looked for"),
    ),
    "a date with a time": (
        (("date = 2026-05-04", "date = 2026-05-04T10:00:00"),),
        ("date: got", "without a time of day"),
    ),
    "missing sweep file": (
        (('"as-found.csv"', '"nowhere.csv"'),),
        ('sweep.file: got "nowhere.csv", but there is no such file in ',),
    ),
}

SPRING_FAULTS = {
    "empty": ("", ("springs.csv: got no lines", "free_length")),
    "header alone": (SPRINGS.splitlines()[0] + "\n", ("springs.csv: got no springs",)),
    "semicolons": (SPRINGS.replace(",", ";"), ("springs.csv:1:", "semicolons", "commas")),
    "decimal comma": (SPRINGS.replace("A1,1.5,", 'A1,"1,5",'), ("springs.csv:2: rate:", '"1,5"', "decimal point")),
    "unquoted decimal comma": (SPRINGS.replace("A1,1.5,", "A1,1,5,"), ("springs.csv:2:", "10 cells", "9")),
    "no unit in header": (SPRINGS.replace("rate [N/mm]", "rate"), ("springs.csv:1: rate:", "no unit", "rate [N/mm]")),
    "wrong unit in header": (SPRINGS.replace("rate [N/mm]", "rate [mm]"), ("springs.csv:1: rate:", "'mm'", "N/mm")),
    "unknown column": (SPRINGS.replace("coils", "coil"), ("springs.csv:1:", '"coil"', 'did you mean "coils"')),
    "twice the same id": (SPRINGS.replace("A2,", "A1,"), ('got the id "A1" twice',)),
    "not a number": (SPRINGS.replace("A1,1.5,", "A1,nan,"), ("springs.csv:2: rate:", '"nan"')),
    "negative rate": (SPRINGS.replace("A1,1.5,", "A1,-1.5,"), ("springs.csv:2: rate:", '"-1.5"', "more than 0")),
    "no rate and no wire": (SPRINGS.replace("A1,1.5,", "A1,,"), ("springs.csv:2: rate:", "empty cell", "wire")),
    "unknown material": (
        SPRINGS.replace("A1,1.5,13.6,0,,,,,2", "A1,,13.6,0,0.5,4,20,cheese,2"),
        ("springs.csv:2: material:", '"cheese"', "music"),
    ),
    "part of a spring": (
        SPRINGS.replace(",,,,,2\nA2", ",,,,,1.5\nA2"),
        ("springs.csv:2: quantity:", '"1.5"', "whole number"),
    ),
    "wire thicker than its coil": (
        SPRINGS.replace("A1,1.5,13.6,0,,,", "A1,1.5,13.6,0,2,3,"),
        ("springs.csv:2: outer:", "3.00 mm", "2.00 mm"),
    ),
}

SWEEP_FAULTS = {
    "counted downwards": (
        "speed [rpm],advance [deg],direction\n500,-6,rising\n600,-8,rising\n700,-9,rising\n",
        ("as-found.csv: got advances from -9.0 to -6.0 deg, all below 0", "counted upwards"),
    ),
    "wheel read backwards": (
        "speed [rpm],advance [deg],direction\n300,360,rising\n600,356,rising\n900,350,rising\n1200,347,falling\n",
        ("as-found.csv: got advances that fall from 358.0 deg", "348.5 deg", "was the wheel read backwards"),
    ),
    "empty": ("", ("as-found.csv: got no lines", "speed")),
    "header alone": (SWEEP.splitlines()[0] + "\n", ("as-found.csv: got no readings",)),
    "direction": (
        SWEEP.replace("500,6.2,rising", "500,6.2,up"),
        ("as-found.csv:3: direction:", '"up"', "rising or falling"),
    ),
    "not a number": (SWEEP.replace("500,6.2", "500,NaN"), ("as-found.csv:3: advance:", '"NaN"')),
    "words": (SWEEP.replace("500,6.2", "fast,6.2"), ("as-found.csv:3: speed:", '"fast"', "number")),
    "no speed": (SWEEP.replace("500,6.2", ",6.2"), ("as-found.csv:3: speed:", "empty cell")),
    "missing column": (SWEEP.replace("speed [rpm]", "advance [deg]"), ("as-found.csv:1:", '"speed"')),
}

# Of a reference sweep: what is changed in the job, or the readings given in its place, and what the message must say.
REFERENCE_FAULTS: dict[str, tuple[tuple[str, str] | None, str | None, tuple[str, ...]]] = {
    "no readings": (None, HEADER, ("reference.csv: got no readings",)),
    "one advance only": (
        None, HEADER + "500,5.0,rising\n510,5.0,rising\n520,5.0,rising\n",
        ("weights.motion: reference.csv: got 3 readings", "quarter of the travel"),
    ),
    "all at the stop": (
        None, HEADER + "3000,{stop},rising\n3100,{stop},rising\n", ("got readings at the stop only", "at least 3"),
    ),
    "all at rest": (None, HEADER + "90,0.0,rising\n100,0.1,rising\n", ("got readings at rest or at the stop only",)),
    "a spring that was not stretched": (
        ("rate = ", "# rate = "), None, ("springs.primary: got a reference", "springs.secondary: got a"),
    ),
    "springs that never pull": (
        ("free_length = ", 'free_length = "60 mm" # '), None, ("weights.motion: reference.csv: got springs that pull at none",),
    ),
    "a rate missing among the sweep's own": (
        ("[stop]", '[weights.motion.primary]\nfree_length = "15 mm"\n[stop]'), None,
        ("weights.motion.primary.rate: missing, expected a rate",),
    ),
    "no free length": (
        ("[stop]", '[weights.motion.primary]\nrate = "1 N/mm"\n[stop]'), None,
        ("weights.motion.primary:", "free_length, or takeup"),
    ),
    "secondary without primary": (
        ("[stop]", '[weights.motion.secondary]\nrate = "1 N/mm"\ntakeup = "1 deg"\n[stop]'), None, ("secondary without primary",),
    ),
    "no such file": (("reference.csv", "elsewhere.csv"), None, ("motion.sweep: got", "no such file")),
    "crank degrees without static": (("sweep = ", 'basis = "crank"\nsweep = '), None, ("weights.motion: static: missing",)),
    "a post on a weight": (
        ('on = "cam"', 'on = "weight"'), None, ("springs.primary.posts.far.on:", "by reference sweep, which does not show how"),
    ),
    "an unknown key": (("sweep = ", 'file = "x.csv"\nsweep = '), None, ("weights.motion.file: unknown key",)),
}  # fmt: skip
