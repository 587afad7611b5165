"""One job told in other words, crank or distributor, inches or millimetres, gives one plan."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from mechanisms import job_text, mechanism
from random_jobs import DEG, RPM, hidden

from recurve.job.read import load_job
from recurve.planner.plan import Plan, make_plan

TARGET = """
[target]
points = [
  { speed = "SPEED1 rpm", min = "LOW1 deg", max = "HIGH1 deg" },
  { speed = "SPEED2 rpm", min = "LOW2 deg", max = "HIGH2 deg" },
]
idle = { speed = "IDLE rpm", max = "2 deg" }
maximum = { min = "LOW3 deg", max = "HIGH3 deg" }
[catalogue]
file = "springs.csv"
"""


def written(
    folder: Path, name: str, text: str, numbers: dict[str, float], head: str, springs: list[list[float]]
) -> Plan:
    """The plan of a job written to disk, the numbers put into the target's places."""
    target = TARGET
    for key, value in sorted(numbers.items(), key=lambda x: -len(x[0])):
        target = target.replace(key, repr(float(value)))
    rows = [f"S{i},{','.join(repr(float(x)) for x in row)}" for i, row in enumerate(springs)]
    folder = folder / name
    folder.mkdir()
    (folder / "springs.csv").write_text("\n".join([head, *rows]) + "\n", encoding="utf-8")
    (folder / "job.toml").write_text(text + target, encoding="utf-8")
    return make_plan(load_job(folder / "job.toml"))


def ids(plan: Plan) -> list[str]:
    """Ids of the springs chosen."""
    assert plan.build is not None
    return [s.spring.id for s in plan.build.springs]


def figures(plan: Plan) -> list[float]:
    """Every number that a plan comes down to."""
    build = plan.build
    assert build is not None
    numbers = [build.margin, build.stop, build.trim]
    for s in build.springs:
        numbers += [s.spring.rate, s.spring.free_length, s.bend, s.length, s.pull]
    return numbers + [r.rising for r in build.results] + [r.falling for r in build.results]


def example() -> tuple[str, dict[str, float], list[list[float]]]:
    """A job's text, its target's numbers (distributor) and its catalogue (N/mm, mm, N)."""
    one = mechanism(8)
    text = job_text(one).replace("[springs.primary]\n", '[springs.primary]\npost_travel = ["-0.6 mm", "0.6 mm"]\n')
    text = text.replace("[springs.secondary]\n", '[springs.secondary]\npost_travel = ["-0.6 mm", "0.6 mm"]\n')
    around = hidden(8)
    speeds = [around.curve.rising_speed(x * around.stop) for x in (0.35, 0.8)]
    assert around.curve.onset is not None and speeds[0] is not None and speeds[1] is not None
    numbers = {"SPEED1": speeds[0] / RPM, "SPEED2": speeds[1] / RPM, "IDLE": 0.9 * around.curve.onset / RPM}
    for i, middle in enumerate((0.35, 0.8, 1.0), 1):
        numbers[f"LOW{i}"] = middle * around.stop / DEG - 1.0
        numbers[f"HIGH{i}"] = middle * around.stop / DEG + 1.0
    rows = [[p.rate * f, p.free_length + x, p.tension] for p in one.springs for f, x in ((0.9, -0.1), (1.1, 0.15))]
    return text, numbers, rows


HEAD = "id,rate [N/mm],free_length [mm],initial_tension [N]"


def test_crank_and_distributor_terms_give_the_same_plan(tmp_path: Path) -> None:
    """Speeds and advances doubled, 8° of static put on the advances: on a four-stroke the same target."""
    text, numbers, rows = example()
    plain = written(tmp_path, "distributor", text, numbers, HEAD, rows)
    crank = {k: 2 * v for k, v in numbers.items()}
    crank |= {k: v + 8.0 for k, v in crank.items() if k.startswith(("LOW", "HIGH"))}
    other = TARGET.replace("[target]", '[target]\nbasis = "crank"\nstatic = "8 deg"').replace('"2 deg"', '"12 deg"')
    for key, value in sorted(crank.items(), key=lambda x: -len(x[0])):
        other = other.replace(key, repr(float(value)))
    folder = tmp_path / "crank"
    folder.mkdir()
    (folder / "springs.csv").write_text(
        (tmp_path / "distributor" / "springs.csv").read_text(encoding="utf-8"), encoding="utf-8"
    )
    (folder / "job.toml").write_text(text + other, encoding="utf-8")
    again = make_plan(load_job(folder / "job.toml"))
    assert (again.verdict, ids(again)) == (plain.verdict, ids(plain))
    assert figures(again) == pytest.approx(figures(plain), rel=1e-6, abs=1e-9)


def test_inches_and_millimetres_give_the_same_plan(tmp_path: Path) -> None:
    """Every length of the job and the catalogue in inches (1 in = 25.4 mm, exact), to 1e-6."""
    text, numbers, rows = example()
    metric = written(tmp_path, "metric", text, numbers, HEAD, rows)
    inches = re.sub(r'"(-?[\d.e-]+) mm"', lambda m: f'"{float(m[1]) / 25.4!r} in"', text)
    assert "mm" not in inches.replace("N/mm", "").replace("mN*m", "")
    imperial = [[k, length / 25.4, f] for k, length, f in rows]
    again = written(tmp_path, "imperial", inches, numbers, HEAD.replace("[mm]", "[in]"), imperial)
    assert (again.verdict, ids(again)) == (metric.verdict, ids(metric))
    assert figures(again) == pytest.approx(figures(metric), rel=1e-6, abs=1e-9)
