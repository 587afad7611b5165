"""Job files for the tests, invented: one that plans well, and a way to change it."""

from __future__ import annotations

import re
from pathlib import Path

SPRINGS = """\
id,rate [N/mm],free_length [mm],initial_tension [N],wire [mm],outer [mm],coils,material,quantity
A1,1.5,13.6,0,,,,,2
A2,1.9,14.8,0,,,,,1
A3,2.0,14.8,0.4,,,,,
B1,3.5,17.5,0,,,,,2
B2,5.9,16.5,7.5,,,,,1
B3,8.0,16.2,0,,,,,0
"""

SWEEP = """\
speed [rpm],advance [deg],direction
300,0.4,rising
500,6.2,rising
900,12.1,rising
1200,13.8,rising
900,12.6,falling
500,7.1,falling
300,1.2,falling
"""

JOB = """\
title = "Test unit, invented"
unit = "bench dummy"
date = 2026-05-04

[distributor]
lobes = 6
breakers = 1
rotation = "clockwise"
speed_ratio = 2.0

[weights]
count = 2
mass = "31.5 ± 0.3 g"
[weights.motion]
kind = "slot"
pivot = { radius = "21.0 mm" }
cg = { distance = "12.6 mm", angle = "75 deg" }
pin = { distance = "13.1 mm", angle = "168 deg" }

[stop]
advance = "13.8 ± 0.3 deg"
radius = "14 mm"
file_up_to = "0.4 mm"
build_up_to = "1.2 mm"

[drag]
rubbing_block = "4.5 mN*m"
friction = "1.0 mN*m"

[springs.primary]
post_travel = ["-0.5 mm", "1.0 mm"]
post_diameter = "2.5 mm"
free_length = "15.2 mm"
rate = "1.6 ± 0.1 N/mm"
[springs.primary.posts]
kind = "points"
anchor = { on = "base", radius = "21 mm", angle = "40 deg" }
far = { on = "cam", radius = "12 mm", angle = "75 deg" }

[springs.secondary]
post_travel = ["-0.5 mm", "1.0 mm"]
post_diameter = "2.5 mm"
takeup = "7 ± 0.5 deg"
rate = "4.0 N/mm"
[springs.secondary.posts]
kind = "points"
anchor = { on = "base", radius = "21 mm", angle = "220 deg" }
far = { on = "cam", radius = "12 mm", angle = "255 deg" }

[target]
points = [
  { speed = "300 rpm", min = "0 deg", max = "1 deg" },
  { speed = "500 rpm", advance = "4 deg", tolerance = "1 deg" },
  { speed = "700 rpm", advance = "7 deg", tolerance = "1 deg" },
  { speed = "1000 rpm", advance = "9 deg", tolerance = "1 deg" },
]
idle = { speed = "300 rpm", max = "0.5 deg" }
maximum = { advance = "11 deg", tolerance = "0.5 deg" }

[sweep]
file = "as-found.csv"
reading = "± 0.8 deg"

[catalogue]
file = "springs.csv"
"""


def write_job(folder: Path, *changes: tuple[str, str], springs: str = SPRINGS, sweep: str = SWEEP) -> Path:
    """The job with each (old, new) text replaced, its tables beside it; every old text must be there."""
    text = JOB
    for old, new in changes:
        assert old in text, f"{old!r} is not in the job"
        text = text.replace(old, new)
    (folder / "springs.csv").write_text(springs, encoding="utf-8")
    (folder / "as-found.csv").write_text(sweep, encoding="utf-8")
    path = folder / "unit.toml"
    path.write_text(text, encoding="utf-8")
    return path


def without(table: str) -> tuple[str, str]:
    """A change that takes a whole table (and those inside it) out of the job."""
    found = re.search(rf"^\[{re.escape(table)}\].*?(?=^\[(?!{re.escape(table)}\.)|\Z)", JOB, re.S | re.M)
    assert found is not None
    return found[0], ""


# A job without weights, stop and springs begins so.
BARE_HEAD = 'title = "Bench dummy, invented"\n[distributor]\nlobes = 4\nrotation = "clockwise"\nspeed_ratio = {ratio}\n'

# Changes of the job: bands that no springs meet; springs that are not described; a catalogue of which none will do.
OUT_OF_REACH = ('{ speed = "700 rpm", advance = "7 deg"', '{ speed = "520 rpm", advance = "10.4 deg"')
UNDESCRIBED = [('free_length = "15.2 mm"\n', ""), ('takeup = "7 ± 0.5 deg"\n', ""), without("sweep")]
NO_SPRINGS = "id,rate [N/mm],free_length [mm]\nL1,2,40\nL2,4,41\n"
# What `recurve wind` is told of a spring by hand.
BY_HAND = ["--place", "primary", "--rate", "1.6 N/mm", "--free-length", "15.2 mm", "--initial-tension", "0 N"]
