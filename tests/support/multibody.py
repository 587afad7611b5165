"""An advance mechanism as a multibody simulation (MuJoCo), sharing with the package its input numbers alone.

A heavy base plate turns in space at the shaft's speed, the cam and the weights are rigid bodies on
hinges of it, and nothing is said of potentials or of a rotating frame: the weights fly out by their own
inertia. A slot holds the pin at equal distances from two points of the cam on both sides of it, which
is a straight line through the shaft axis; a link holds one distance. Springs are one-sided forces
between two sites, computed here. The cam's joint is damped, so that the mechanism comes to rest.
The simulation runs in the picture as seen from the rotor end: a clockwise unit turns clockwise.

MuJoCo's constraints yield a little under load. `step` [s] sets their stiffness too, so that halving it
shows what they cost.
"""

from __future__ import annotations

from dataclasses import dataclass

import mujoco
import numpy as np
from mechanisms import Mechanism, Post, Pull, drawn

STEP = 2.5e-4
# An initial tension comes in over this stretch [m]: a jump of force would chatter.
RAMP = 2e-6
BLOCK = 0.02
REST = 2e-5
LONGEST = 6.0


@dataclass
class Simulation:
    """A compiled mechanism and its state; angles in distributor degrees in the direction of rotation.

    `step` [s] is the time step; `damping` 2 is about critical, more of it forbids overshooting.
    """

    one: Mechanism
    step: float = STEP
    damping: float = 2.0

    def __post_init__(self) -> None:
        self.sense = -1.0 if self.one.rotation == "clockwise" else 1.0
        self.model = mujoco.MjModel.from_xml_string(
            _mjcf(self.one, self.sense, self.step, self.damping * _damping(self.one))
        )
        self.data = mujoco.MjData(self.model)
        self.base = self.model.joint("base").dofadr[0]
        self.cam = self.model.joint("cam").qposadr[0]
        self.springs = [self.model.tendon(f"spring {i}").id for i in range(len(self.one.springs))]

    @property
    def advance(self) -> float:
        """The cam's angle ahead of the base plate [deg]."""
        return float(np.degrees(self.sense * self.data.qpos[self.cam]))

    def settle(self, rpm: float) -> float:
        """Turn at this speed until the cam rests on the base plate; its advance [deg]."""
        before = np.inf
        for _ in range(int(LONGEST / BLOCK)):
            self.run(rpm, BLOCK)
            if abs(self.advance - before) < REST:
                return self.advance
            before = self.advance
        raise AssertionError(f"not at rest after {LONGEST} s at {rpm} rpm")

    def run(self, rpm: float, seconds: float) -> None:
        """Turn at this speed for a while."""
        omega = self.sense * rpm * np.pi / 30
        for _ in range(round(seconds / self.step)):
            mujoco.mj_step1(self.model, self.data)
            self.data.qvel[self.base] = omega
            for i, (pull, tendon) in enumerate(zip(self.one.springs, self.springs, strict=True)):
                self.data.ctrl[i] = -_force(pull, self.data.ten_length[tendon])
            self.data.ctrl[-1] = -self.sense * self.one.drag * 1e-3
            mujoco.mj_step2(self.model, self.data)

    def creep(self, rpm: float, to: float, steps: int = 60) -> float:
        """Go from one speed to another so slowly that nothing overshoots, then settle; the advance [deg]."""
        for speed in np.linspace(rpm, to, steps):
            self.run(float(speed), BLOCK)
        return self.settle(to)


def _force(pull: Pull, gap: float) -> float:
    """Pull [N] of a spring whose posts' centres are `gap` [m] apart."""
    stretch = gap * 1e3 + pull.diameter - pull.free_length
    if stretch <= 0:
        return 0.0
    return pull.tension * min(1.0, stretch / (RAMP * 1e3)) + pull.rate * stretch


def _mjcf(one: Mechanism, sense: float, step: float, damping: float) -> str:
    ends = sorted((0.0, sense * np.radians(one.stop)))
    # solref: time constant and damping ratio; solimp: the stiffest that MuJoCo takes.
    stiff = f'"{2 * step} 1"', '"0.9999 0.9999 0.001 0.5 2"'
    weights = "".join(_weight(one, i) for i in range(one.count))
    tendons = "".join(_drive_tendons(one, i) for i in range(one.count)) + "".join(
        _spatial(f"spring {i}", f"anchor {i}", f"far {i}") for i in range(len(one.springs))
    )
    held = "".join(_equality(one, i, stiff) for i in range(one.count))
    motors = "".join(f'<motor tendon="spring {i}"/>' for i in range(len(one.springs)))
    return f"""<mujoco><compiler angle="radian"/>
<option timestep="{step}" gravity="0 0 0" iterations="50" tolerance="1e-14"><flag contact="disable" eulerdamp="disable"/></option>
<worldbody><body name="base">
<joint name="base" axis="0 0 1"/><inertial pos="0 0 0" mass="1" diaginertia="10 10 10"/>
{_posts(one, "base", 0j)}
<body name="cam"><inertial pos="0 0 0" mass="0.05" diaginertia="5e-6 5e-6 5e-6"/>
<joint name="cam" axis="0 0 1" damping="{damping}" limited="true" range="{ends[0]} {ends[1]}"
 solreflimit={stiff[0]} solimplimit={stiff[1]}
 frictionloss="{one.friction * 1e-3}" solreffriction={stiff[0]} solimpfriction={stiff[1]}/>
{_posts(one, "cam", 0j)}{"".join(_cam_sites(one, i) for i in range(one.count))}</body>
{weights}</body></worldbody>
<tendon>{tendons}</tendon><equality>{held}</equality>
<actuator>{motors}<motor joint="cam"/></actuator></mujoco>"""


def _damping(one: Mechanism) -> float:
    """Roughly what lets the cam settle without ringing [N·m·s]; where it settles does not depend on it."""
    stiffness = sum(p.rate * 1e3 for p in one.springs) * 12e-3**2
    return float(np.sqrt(stiffness * one.count * one.mass * 1e-3 * (one.cg[0] * 1e-3) ** 2))


def _around(one: Mechanism, point: complex, index: int) -> complex:
    """The point of weight `index` that answers to this one of the first weight, in the picture."""
    return drawn(one, point * np.exp(2j * np.pi * index / one.count))


def _pos(point: complex) -> str:
    return f'pos="{float(point.real) * 1e-3!r} {float(point.imag) * 1e-3!r} 0"'


def _weight(one: Mechanism, index: int) -> str:
    pivot = _around(one, complex(one.pivot), index)
    cg = _around(one, one.from_pivot(one.cg), index) - pivot
    pin = _around(one, one.from_pivot(one.pin), index) - pivot
    mass = one.mass * 1e-3
    own = f'diaginertia="{mass * 2e-5} {mass * 2e-5} {mass * 3e-5}"'  # drops out of the balance
    return f"""<body name="weight {index + 1}" {_pos(pivot)}><joint axis="0 0 1"/>
<inertial {_pos(cg)} mass="{mass}" {own}/><site name="pin {index}" {_pos(pin)}/>
{_posts(one, f"weight {index + 1}", pivot)}</body>"""


def _cam_sites(one: Mechanism, index: int) -> str:
    if one.kind == "link":
        return f'<site name="cam {index}" {_pos(_around(one, one.cam_point, index))}/>'
    pin = _around(one, one.from_pivot(one.pin), index)
    side = 30j * pin / abs(pin)
    return f'<site name="left {index}" {_pos(side)}/><site name="right {index}" {_pos(-side)}/>'


def _drive_tendons(one: Mechanism, index: int) -> str:
    ends = ("cam",) if one.kind == "link" else ("left", "right")
    return "".join(_spatial(f"{end} to pin {index}", f"{end} {index}", f"pin {index}") for end in ends)


def _spatial(name: str, first: str, second: str) -> str:
    return f'<spatial name="{name}"><site site="{first}"/><site site="{second}"/></spatial>'


def _equality(one: Mechanism, index: int, stiff: tuple[str, str]) -> str:
    other = "" if one.kind == "link" else f'tendon2="right to pin {index}" polycoef="0 1 0 0 0"'
    first = "cam" if one.kind == "link" else "left"
    return f'<tendon tendon1="{first} to pin {index}" {other} solref={stiff[0]} solimp={stiff[1]}/>'


def _posts(one: Mechanism, body: str, origin: complex) -> str:
    sites = ""
    for i, pull in enumerate(one.springs):
        for which, post in (("anchor", pull.anchor), ("far", pull.far)):
            if _sits_on(post) == body:
                sites += f'<site name="{which} {i}" {_pos(drawn(one, post.place) - origin)}/>'
    return sites


def _sits_on(post: Post) -> str:
    return "weight 1" if post.on == "weight" else post.on
