"""Jobs, invented, that between them give every key of the job file, and what is computed of a job.

A key that is given and changes nothing is a silent one. `outcomes` computes a job as the commands do, the quick ones
first, and gives each result as the JSON that the command prints.
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from recurve.diagnosis.check import check_bare, check_unit, without_curve
from recurve.diagnosis.timing_card import timing_card
from recurve.job.model import BareJob, Job
from recurve.job.read import load_any
from recurve.output.documents.base import Document
from recurve.output.documents.check import CheckDocument
from recurve.output.documents.curve import CurveDocument
from recurve.output.documents.plan import PlanDocument
from recurve.output.documents.timing import TimingDocument
from recurve.planner.plan import make_plan

HEAD = """\
title = "Every key, invented"
unit = "bench dummy"
date = 2026-05-04
[distributor]
lobes = 4
breakers = 1
rotation = "clockwise"
speed_ratio = 2.0
"""
SLOT = """\
[weights]
count = 2
mass = "31.5 ± 0.3 g"
correction = { advance = ["0 deg", "12 deg"], factor = [1.0, 1.02] }
[weights.motion]
kind = "slot"
pivot = { radius = "21.0 mm" }
cg = { distance = "12.6 mm", angle = "75 deg" }
pin = { distance = "13.1 mm", angle = "168 deg" }
"""
SLOPE = """\
[weights]
[weights.motion]
kind = "slope"
reach = "13 deg"
level = "-10.4 ± 0.05"
tilt = "0.1 ± 0.02"
bow = "0.01 ± 0.01"
"""
LINK = """\
[weights]
mass = "24 g"
[weights.motion]
kind = "link"
pivot = { xy = ["20.1 mm", "-8.9 mm"] }
cg = { xy = ["18.1 mm", "-20.3 mm"] }
pin = { xy = ["10.6 mm", "-2.5 mm"] }
cam = { xy = ["3.0 mm", "-10.6 mm"] }
"""
POLAR_LINK = """\
[weights]
mass = "24 g"
[weights.motion]
kind = "link"
pivot = { radius = "21.98 mm" }
cg = { distance = "11.57 mm", angle = "76.1 deg" }
pin = { distance = "11.45 mm", angle = "190.1 deg" }
cam = { radius = "11.02 mm", angle = "50.3 deg" }
"""
TABLE = """\
[weights]
mass = "31.5 g"
[weights.motion]
kind = "table"
advance = ["0 deg", "6 deg", "13 deg"]
cg_radius = ["22.5 mm", "23.4 mm", "24.5 mm"]
"""
STOP = """\
[stop]
advance = "13.8 ± 0.3 deg"
radius = "14 mm"
file_up_to = "0.4 mm"
build_up_to = "0.3 mm"
"""
SPRINGS = """\
[springs.primary]
post_travel = ["-0.2 mm", "0.2 mm"]
post_diameter = "2.5 mm"
free_length = "15.2 mm"
rate = "1.6 ± 0.1 N/mm"
initial_tension = "0.2 N"
[springs.primary.posts]
kind = "points"
anchor = { on = "base", radius = "21 mm", angle = "40 deg" }
far = { on = "cam", radius = "12 mm", angle = "75 deg" }
[springs.secondary]
post_travel = ["-0.2 mm", "0.2 mm"]
post_diameter = "2.5 mm"
takeup = "7 ± 0.5 deg"
rate = "4.0 N/mm"
initial_tension = "0.3 N"
[springs.secondary.posts]
kind = "points"
anchor = { on = "base", radius = "21 mm", angle = "220 deg" }
far = { on = "cam", radius = "12 mm", angle = "255 deg" }
"""
FLAT_SPRINGS = """\
[springs.primary]
takeup = "1 deg"
rate = "1.5 N/mm"
[springs.primary.posts]
kind = "points"
anchor = { on = "base", xy = ["-9.7 mm", "-17.5 mm"] }
far = { on = "cam", xy = ["-10.3 mm", "-5.0 mm"] }
[springs.secondary]
free_length = "12.9 mm"
rate = "3.0 N/mm"
[springs.secondary.posts]
kind = "points"
anchor = { on = "base", xy = ["9.4 mm", "17.0 mm"] }
far = { on = "cam", xy = ["10.5 mm", "4.7 mm"] }
"""
TABLED_SPRINGS = """\
[springs.primary]
free_length = "15.2 mm"
rate = "1.6 N/mm"
[springs.primary.posts]
kind = "table"
advance = ["0 deg", "12 deg"]
length = ["16.2 mm", "18.4 mm"]
[springs.secondary]
free_length = "17.4 mm"
rate = "4 N/mm"
[springs.secondary.posts]
kind = "table"
advance = ["0 deg", "12 deg"]
length = ["16.2 mm", "18.4 mm"]
"""
FACTS = """\
[springs.primary]
rate = "1.6 ± 0.1 N/mm"
free_length = "15.2 ± 0.1 mm"
takeup = "0 deg"
pull_at_rest = "0.8 N"
at_rest = "pulls"
weighings = ["50 g at 15.5 mm", "150 g at 16.1 mm"]
over_posts = "15.7 mm"
[springs.primary.posts]
kind = "points"
anchor = { on = "base", radius = "21 mm", angle = "40 deg" }
far = { on = "cam", radius = "12 mm", angle = "75 deg" }
[springs.secondary]
rate = "4.0 N/mm"
free_length = "16.3 mm"
pull_at_rest = "1 N"
weighings = ["500 g at 17.5 mm", "900 g at 18.5 mm"]
over_posts = "16.5 mm"
[springs.secondary.posts]
kind = "points"
anchor = { on = "base", radius = "21 mm", angle = "220 deg" }
far = { on = "cam", radius = "12 mm", angle = "255 deg" }
"""
DRAG = '[drag]\nrubbing_block = "4.5 mN*m"\nfriction = "1 mN*m"\nfriction_share = "0.01"\n'
LEVERS = """\
[drag]
breaker_spring = "5.5 N"
contact_lever = "24 mm"
block_lever = "18 mm"
cam_radius = "10.2 mm"
friction_coefficient = "0.15"
dwell = "52 deg"
trigger = "points"
trigger_fitted = "points"
"""
TARGET = """\
[target]
basis = "distributor"
points = [
  { speed = "500 rpm", advance = "4 deg", tolerance = "1 deg" },
  { speed = "700 rpm", min = "6 deg", max = "8 deg" },
]
idle = { speed = "300 rpm", max = "0.5 deg" }
maximum = { advance = "11 deg", tolerance = "0.5 deg" }
"""
ENGINE_TARGET = """\
[target]
basis = "crank"
static = "8 deg"
total = "30 deg"
total_tolerance = "2 deg"
all_in = "2500 rpm"
timing = [{ speed = "1100 rpm", timing = "15 deg", tolerance = "2 deg" }]
"""
MIXED_TARGET = """\
[target]
confirmed = true
speed_basis = "crank"
advance_basis = "distributor"
points = [{ speed = "1000 rpm", advance = "4 deg", tolerance = "1 deg" }]
maximum = { min = "10 deg", max = "12 deg" }
"""
SWEEP = """\
[sweep]
file = "as-found.csv"
basis = "distributor"
reading = "± 0.8 deg"
speed_reading = "± 8 rpm"
zeroed_at = "200 rpm"
confirmed = true
"""
CRANK_SWEEP = """\
[sweep]
file = "as-found.csv"
speed_basis = "crank"
advance_basis = "crank"
static = "1 deg"
"""
CATALOGUE = '[catalogue]\nfile = "springs.csv"\n'
BUILD = """\
[build]
rate = "± 8 %"
initial_tension = "± 0.2 N"
post = "± 0.15 mm"
stop = "± 0.1 mm"
reading = "± 0.6 deg"
"""
REFERENCE = """\
[weights]
[weights.motion]
kind = "reference"
sweep = "reference.csv"
basis = "distributor"
reading = "± 0.3 deg"
speed_reading = "± 5 rpm"
zeroed_at = "350 rpm"
static = "0 deg"
stop = "13.8 deg"
[weights.motion.drag]
rubbing_block = "4.5 mN*m"
friction = "1 mN*m"
friction_share = "0.01"
trigger = "points"
[weights.motion.primary]
rate = "1.6 N/mm"
free_length = "15.2 mm"
initial_tension = "0.2 N"
post_bend = "0.05 mm"
[weights.motion.secondary]
rate = "4.0 N/mm"
takeup = "7 deg"
initial_tension = "0.3 N"
post_bend = "0.05 mm"
"""
CONDITION = """\
[condition]
side_play = "0.12 mm"
side_play_load = "2.2 N"
end_float = "0.3 mm"
gap = "0.37 mm"
arm_spring = "4.8 N"
dwell = "53 deg"
dwell_idle = "53 deg"
dwell_high = "51 deg"
dwell_pushed = ["53 deg", "52 deg"]
wheel = "with rotation"
angles = [
  { lobe = 1, set = 1, closes = "21.4 deg", opens = "74.0 deg", pushed = "one way" },
  { lobe = 1, set = 1, closes = "22.8 deg", opens = "74.6 deg", pushed = "other way" },
]
sparks = ["0 deg", "90.3 deg", "180.2 deg", "269.8 deg"]
breaker_plate = "free"
weight_pins = "sound"
condenser = "sound"
vacuum_unit = "holds"
rotor = { offset = "1.5 deg", tip = "13 deg", segment = "9 deg" }
coil = { resistance = "1.35 ohm", inductance = "6.6 mH", supply = "13.4 V", ballast = "1.7 ohm" }
[condition.limits]
side_play = "0.15 mm"
dwell_change = "2 deg"
spark_spacing = "1 deg"
dwell = ["50 deg", "56 deg"]
end_float = ["0.1 mm", "0.5 mm"]
gap = ["0.3 mm", "0.5 mm"]
arm_spring = ["4.2 N", "5.3 N"]
"""
VACUUM = """\
[vacuum]
kind = "advance"
basis = "distributor"
start = ["3.2 inHg", "5.2 inHg"]
full = ["9.5 inHg", "12.5 inHg"]
maximum = ["5.6 deg", "7.6 deg"]
points = [
  { vacuum = "6 inHg", min = "1 deg", max = "3 deg" },
  { vacuum = "10 inHg", advance = "5 deg", tolerance = "1 deg" },
]
reading = "± 0.3 deg"
gauge = "± 0.2 inHg"
hold = { vacuum = "17.4 inHg", left = "17.1 inHg", after = "40 s" }
measured = [
  { vacuum = "5 inHg", advance = "0.8 deg", direction = "rising" },
  { vacuum = "7 inHg", advance = "2.6 deg" },
  { vacuum = "9 inHg", advance = "4.5 deg" },
  { vacuum = "11 inHg", advance = "6.4 deg" },
  { vacuum = "13 inHg", advance = "6.6 deg" },
  { vacuum = "7 inHg", advance = "3.1 deg", direction = "falling" },
]
limits = { hold = "16 inHg", loss = "1 inHg", stiction = "1 deg" }
"""
TWO_SETS = """\
[condition]
side_play_ways = ["0.05 mm", "0.07 mm"]
dwell = ["53 deg", "54 deg"]
wheel = "with rotation"
angles = [
  { lobe = 1, set = 1, closes = "21.4 deg", opens = "74.0 deg" },
  { lobe = 2, set = 2, closes = "66.8 deg", opens = "118.6 deg" },
]
"""
TIMING = """\
[timing]
static = "8 deg"
total = "31 deg"
total_limit = "34.5 deg"
tolerance = "± 2 deg"
idle = "580 rpm"
top_speed = "3300 rpm"
speeds = ["900 rpm", "1500 rpm"]
cruise = { speed = "2100 rpm", vacuum = "11 inHg" }
full_load_vacuum = "0.8 inHg"
"""
CRANK_REFERENCE = """\
[weights]
[weights.motion]
kind = "reference"
sweep = "reference.csv"
speed_basis = "crank"
advance_basis = "crank"
static = "0.5 deg"
[weights.motion.drag]
breaker_spring = "5.5 N"
contact_lever = "24 mm"
block_lever = "18 mm"
cam_radius = "10.2 mm"
friction_coefficient = "0.15"
dwell = "52 deg"
[weights.motion.primary]
rate = "1.6 N/mm"
takeup = "0.1 deg"
[weights.motion.secondary]
rate = "4.0 N/mm"
free_length = "17.4 mm"
"""
WIDE_TARGET = """\
[target]
points = [
  { speed = "500 rpm", advance = "4 deg", tolerance = "2 deg" },
  { speed = "700 rpm", advance = "7 deg", tolerance = "2 deg" },
  { speed = "1000 rpm", advance = "10 deg", tolerance = "2 deg" },
]
maximum = { advance = "12 deg", tolerance = "1.5 deg" }
"""

FREE_SPRINGS = SPRINGS.replace('["-0.2 mm", "0.2 mm"]', '["-0.5 mm", "1.0 mm"]')
FLAT_OUT = (
    TIMING.replace("3300", "1400").replace("0.8 inHg", "6 inHg").replace("total =", 'idle_setting = "9 deg"\ntotal =')
)

JOBS: dict[str, str] = {
    "slot": HEAD + SLOT + STOP + SPRINGS + DRAG,
    "link": HEAD + LINK + '[stop]\nadvance = "11.2 deg"\n' + FLAT_SPRINGS + LEVERS,
    "polar link": HEAD + POLAR_LINK + '[stop]\nadvance = "11.2 deg"\n' + TABLED_SPRINGS,
    "table": HEAD + TABLE + STOP + TABLED_SPRINGS,
    "reference": HEAD + REFERENCE + STOP + SPRINGS,
    "crank reference": HEAD + CRANK_REFERENCE + STOP + TABLED_SPRINGS,
    "look": HEAD + TARGET + SWEEP,
    "crank look": HEAD + TARGET + CRANK_SWEEP,
    "facts": HEAD + SLOT + STOP + FACTS,
    "slack": HEAD + SLOT + STOP + FREE_SPRINGS.replace('rate = "4.0', 'at_rest = "slack"\nrate = "4.0'),
    "bench": HEAD + CONDITION + VACUUM,
    "two sets": HEAD.replace("breakers = 1", "breakers = 2") + TWO_SETS,
    "timing": HEAD + TIMING + VACUUM + '[target]\npoints = [{ speed = "700 rpm", min = "6 deg", max = "8 deg" }]\n',
    "timed": HEAD
    + SLOT
    + STOP
    + SPRINGS
    + DRAG
    + TIMING.replace("total =", 'idle_setting = "9 deg"\ntotal =')
    + VACUUM,
    "narrow": HEAD + SLOT + STOP + SPRINGS + DRAG + TARGET,
    "engine": HEAD + SLOT + STOP + SPRINGS + DRAG + ENGINE_TARGET,
    "mixed": HEAD + SLOT + STOP.replace('radius = "14 mm"', 'per_mm = "4.1 deg"') + SPRINGS + DRAG + MIXED_TARGET,
    "slope": HEAD + SLOPE + STOP + SPRINGS,
    "typed": 'type = "type.toml"\n' + HEAD + SPRINGS,
    "plan": HEAD + SLOT + STOP.replace('"0.3 mm"', '"1.2 mm"') + FREE_SPRINGS + DRAG + WIDE_TARGET + BUILD + CATALOGUE,
}


# A type of unit, written as by hand, that the job "typed" takes its weights, stop and drag from.
TYPE = """\
title = "Invented type"
units = 5
[distributor]
lobes = 4
rotation = "clockwise"
[weights]
mass = { mean = "31.5 g", spread = "0.9 g", uncertain = "0.4 g", units = 5 }
[weights.motion]
kind = "slot"
pivot = { radius = "21.0 ± 0.2 mm" }
cg = { distance = { mean = "12.6 mm", spread = "0.1 mm", uncertain = "0.05 mm", units = 5 }, angle = "75 ± 2 deg" }
pin = { distance = "13.1 mm", angle = "168 deg" }
[stop]
advance = "12.4 ± 1 deg"
[drag]
rubbing_block = "4 ± 1 mN*m"
"""


def leaves(node: Any, path: tuple[str | int, ...] = ()) -> Iterator[tuple[str | int, ...]]:
    """The places of all values in a job's document that are no tables."""
    if isinstance(node, dict):
        for key, value in node.items():
            yield from leaves(value, (*path, key))
    elif isinstance(node, list):
        for index, value in enumerate(node):
            yield from leaves(value, (*path, index))
    else:
        yield path


def named(path: tuple[str | int, ...]) -> str:
    """A place by its keys alone, without the rows of lists: "target.points.speed"."""
    return ".".join(str(part) for part in path if isinstance(part, str))


def outcomes(path: Path) -> Iterator[tuple[str, str]]:
    """What the commands compute of a job, the quick ones first: the command, and its answer without what only repeats the
    job's own text."""
    job = load_any(path)
    whole = job if isinstance(job, Job) else None
    if whole is not None and whole.as_found() is not None:
        yield "curve", _numbers(CurveDocument.of_job(whole, None))
    if job.inspection.timing is not None:
        yield "timing", _numbers(TimingDocument.of(timing_card(job, None), job))
    if isinstance(job, BareJob) or without_curve(job):
        yield "check", _numbers(CheckDocument.of(check_bare(job)))
        return
    yield "check", _numbers(CheckDocument.of(check_unit(job)))
    if job.target is not None:
        yield "plan", _numbers(PlanDocument.of(make_plan(job)))


def _numbers(document: Document) -> str:
    told = {k: v for k, v in document.as_json().items() if k not in ("fingerprint", "inputs", "title", "files")}
    return json.dumps(told, sort_keys=True)
