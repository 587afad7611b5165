"""Makes the figures of examples/measuring.md: `python tests/make_measuring.py` writes them again.

Every mechanism in them is invented. Blue is what is measured, with its key in the job file.
"""

from __future__ import annotations

import cmath
import math
from pathlib import Path

from measuring_bench import light, points, vacuum, wear
from vector import BLUE, GREY, PALE, Drawing

FOLDER = Path(__file__).resolve().parent.parent / "examples" / "measuring"
WEIGHT, CAM = "#C4C4C4", "#E9E9E9"


def polar(radius: float, degrees: float) -> complex:
    return cmath.rect(radius, math.radians(degrees))


def weight_and_shaft(d: Drawing, pivot: complex, cg: complex, pin: complex, cam: list[complex]) -> None:
    """One weight, the cam plate over it, the shaft, all at rest; the shaft turns anticlockwise here."""
    d.plate([pivot, cg, pin], 15, WEIGHT)
    d.plate(cam, 15, CAM)
    d.disc(0, 26)
    for step in (1, 1j):
        d.path([-12 * step, 12 * step], width=0.8)
    d.arc(0, 44, 110, 160, line=GREY)
    d.head(polar(44, 160), 1j * polar(44, 160), line=GREY)
    d.text(-64 + 26j, "rotation", "end", colour=GREY)


def radius_line(d: Drawing, pivot: complex, words: float = 60) -> None:
    d.path([0, pivot + 130], line=GREY, width=0.8, dash="6 4")
    d.text(pivot + words - 18j, "0 deg: the outward radius", colour=GREY)
    d.text(pivot + words - 34j, "through the pivot", colour=GREY)


def slot() -> Drawing:
    d = Drawing(640, 330, 150 + 130j, "A pin on the weight works a slot of the cam plate")
    pivot = complex(215)
    cg, pin = pivot + polar(126, 76), pivot + polar(134, 184)
    weight_and_shaft(d, pivot, cg, pin, [pin, 70j, polar(70, 200), -70j])
    d.path([pin - 22, pin + 22], width=17)
    d.path([pin - 22, pin + 22], line="#FFFFFF", width=14)
    radius_line(d, pivot)
    d.path([pivot, cg], line=BLUE, width=0.8)
    d.path([pivot, pin], line=BLUE, width=0.8)
    d.pivot(pivot)
    d.pivot(pin)
    d.gravity(cg)
    d.length(0, pivot, "pivot.radius", off=-92j, at=-16j)
    d.length(pivot, cg, "cg.distance", off=42 - 10.5j, at=8 - 2j, anchor="start")
    d.angle(pivot, 62, 0, 76, "cg.angle, here +76 deg", pivot + 66 + 24j)
    d.angle(pivot, 40, 0, 184, "pin.angle, here +184 deg", pivot + 66 + 6j)
    d.length(pin, pivot, "pin.distance", off=-40j, at=-15j)
    d.leader(cg, cg + 40 + 10j, "centre of gravity")
    d.leader(pin, pin - 10 + 130j, "pin in its slot of the cam plate", "middle")
    return d


def link() -> Drawing:
    d = Drawing(640, 330, 200 + 130j, "A link between weight and cam plate, or two arcs in contact")
    pivot = complex(220)
    cg, pin, cam = pivot + polar(120, 70), pivot + polar(112, 150), polar(112, 78)
    weight_and_shaft(d, pivot, cg, pin, [cam, polar(60, 180), -60j])
    d.path([pin, cam], width=17)
    d.path([pin, cam], line="#FFFFFF", width=14)
    radius_line(d, pivot, 24)
    d.path([0, cam], line=BLUE, width=0.8)
    for place in (pivot, pin, cam):
        d.pivot(place)
    d.gravity(cg)
    d.angle(0, 42, 0, 78, "cam.angle", 45 + 7j)
    d.length(0, cam, "cam.radius", off=-34 + 7j, at=-6 + 4j, anchor="end")
    d.length(pivot, pin, "pin.distance, pin.angle", off=-18 - 30j, at=-6 - 40j)
    d.leader(pin, pin - 6 + 112j, "pin: the link on the weight")
    d.leader(cam, cam + 10 + 50j, "cam: the link on the cam plate", "end")
    d.leader(cg, cg + 40 - 14j, "cg")
    d.text(-180 - 110j, "Two arcs in contact do the same: pin and cam are then the centres of the two arcs.")
    return d


def table() -> Drawing:
    d = Drawing(640, 330, 110 + 185j, "The centre of gravity's distance from the shaft at some advances")
    d.disc(0, 26)
    for k, (advance, radius) in enumerate(((0, 239), (6, 247), (11.5, 257))):
        cg = polar(radius, 24 - 24 * k)
        d.path([0, cg], line=BLUE, width=1.1)
        d.head(cg, cg)
        d.gravity(cg + polar(9, 24 - 24 * k))
        d.text(cg + 26 + (4j if k else 8j), f"advance {advance:g} deg: cg_radius")
    d.path([polar(239, a) for a in range(-27, 29, 2)], line=GREY, width=0.8, dash="5 4")
    d.text(-90 - 132j, "Drawn apart; on the unit it is one weight, and the cam is wedged at each advance.", colour=GREY)
    d.text(-90 - 156j, "Calliper from the shaft to the punch mark, plus half the shaft's diameter; to 0.05 mm.")
    return d


def scan() -> Drawing:
    d = Drawing(640, 380, 200 + 200j, "Points as x and y from a flat scan or photograph with a rule in it")
    d.disc(0, 150, fill="#FFFFFF", line=GREY)
    d.path([-170, 190], line=GREY, width=0.8)
    d.path([-165j, 170j], line=GREY, width=0.8)
    d.head(complex(190), 1 + 0j, line=GREY)
    d.head(170j, 1j, line=GREY)
    d.text(196 - 4j, "x", colour=GREY)
    d.text(8 + 162j, "y", colour=GREY)
    d.disc(0, 22)
    place = complex(112, 84)
    d.pivot(place)
    d.path([place, place.real], line=BLUE, width=1.1)
    d.path([place, 1j * place.imag], line=BLUE, width=1.1)
    d.text(place.real + 6 + 30j, "y", colour=BLUE)
    d.text(50 + 90j, "x", "middle", colour=BLUE)
    d.leader(place, place + 100 + 40j, 'xy = ["11.2 mm", "8.4 mm"]')
    for other in (polar(120, 200), polar(95, 300), polar(70, 150)):
        d.disc(other, 7, fill=PALE)
    d.path([-140 - 172j, 160 - 172j, 160 - 192j, -140 - 192j], close=True, fill="#FFFFFF")
    for k in range(31):
        d.path([-140 + 10 * k - 172j, -140 + 10 * k - (184j if k % 5 == 0 else 178j)], width=0.8)
    d.leader(150 - 182j, 210 - 150j, "steel rule, beside it")
    for row, words in enumerate(
        ("Seen from the rotor end.", "Shaft axis is 0, 0.", "Any way up, but one picture", "for all points.")
    ):
        d.text(226 + (40 - 20 * row) * 1j, words)
    return d


def gravity() -> Drawing:
    d = Drawing(640, 300, 0j, "The centre of gravity by hanging the weight from two points")
    shape = [0, 60 + 40j, 130 + 20j, 120 - 50j, 30 - 40j]
    middle = 70 - 6j
    for x, hung, words in ((140, 0j, "hung from its pivot hole"), (440, 120 - 50j, "hung from another hole")):
        top = complex(x, 250)
        turn = -1j / ((middle - hung) / abs(middle - hung))
        places = [top - 40j + (p - hung) * turn for p in shape]
        cg = top - 40j + (middle - hung) * turn
        d.path([top, top - 40j], width=1.0)
        d.path([top - 30, top + 30], width=2.5)
        d.plate(places, 12, WEIGHT)
        d.disc(top - 40j, 4)
        d.path([top - 40j, complex(x, 50)], line=BLUE, width=1.1, dash="7 4")
        d.disc(complex(x, 46), 5, fill="#1A1A1A")
        if x > 300:
            other = top - 40j + (0 - hung) * turn
            d.path([other, other + (cg - other) * 1.5], line=BLUE, width=1.1)
            d.disc(other, 4)
        d.gravity(cg, 7)
        d.text(complex(x, 18), words, "middle")
    d.text(204 + 190j, "mark the plumb line", colour=BLUE)
    d.text(520 + 130j, "they cross in", colour=BLUE)
    d.text(520 + 112j, "cg", colour=BLUE)
    return d


def posts() -> Drawing:
    d = Drawing(640, 290, 120 + 170j, "Length over the posts, and what bends")
    a, f = 0j, 300 + 0j
    d.spring(a, f)
    d.disc(a, 14, fill="#1A1A1A")
    d.disc(f, 14)
    d.length(a - 14, f + 14, "posts.length: over the posts, outside to outside", off=62j, at=6j)
    d.length(f - 14, f + 14, "post_diameter", off=-36j, at=24 - 4j, anchor="start")
    d.path([a - 40 - 30j, a + 30 - 30j], line=BLUE, width=1.1)
    d.head(a - 40 - 30j, -1 + 0j)
    d.head(a + 30 - 30j, 1 + 0j)
    d.text(a - 48 - 34j, "out +", "end", colour=BLUE)
    d.text(a + 38 - 34j, "in −, post_travel", colour=BLUE)
    d.text(a - 4 + 24j, "posts.anchor", "middle")
    d.text(f + 4 + 24j, "posts.far", "middle")
    low = -110j
    d.spring(low + 10, low + 270)
    for end in (10, 270):
        d.disc(low + end, 7, fill="none")
    d.length(low + 3, low + 277, "free_length: inside the hooks, unloaded", off=-26j, at=-16j)
    return d


def rate() -> Drawing:
    d = Drawing(720, 340, 0j, "Rate from two known weights")
    top = 310
    for x, long, words in ((90, 60, "free"), (230, 110, "W1"), (370, 170, "W2")):
        hook, end = complex(x, top), complex(x, top - long - 30)
        d.path([hook - 30, hook + 30], width=2.5)
        d.spring(hook, end, coils=8)
        side = 0 if words == "free" else (26 if words == "W1" else 34)
        if side:
            box = [end - side / 2, end + side / 2, end + side / 2 - 1j * side, end - side / 2 - 1j * side]
            d.path(box, close=True, fill=PALE)
            d.text(end - 1j * (side / 2 + 5), words, "middle")
            d.length(hook, end, f"L{words[1]}", off=48, at=8 - 4j, anchor="start")
    d.length(complex(90, top), complex(90, top - 90), "free_length", off=-40, at=-6 - 80j, anchor="start")
    d.text(470 + 250j, "rate = (W2 − W1) / (L2 − L1)", colour=BLUE)
    d.text(470 + 226j, "100 g pull 0.981 N;")
    d.text(470 + 206j, "1 oz pulls 0.278 N.")
    d.text(470 + 166j, "initial_tension:", colour=BLUE)
    d.text(470 + 146j, "W1 − rate × (L1 − free_length),")
    d.text(470 + 126j, "0 where the coils stand apart.")
    return d


def wheel() -> Drawing:
    d = Drawing(720, 360, 190 + 160j, "Take-up and stop by turning the rotor against a degree wheel")
    d.disc(0, 140)
    for k in range(72):
        d.path([polar(140, 5 * k), polar(126 if k % 2 else 120, 5 * k)], width=0.8)
    d.disc(0, 22)
    d.path([polar(30, 90), polar(116, 90)], width=3)
    d.path([158j, 146j], line=BLUE, width=2.5)
    d.text(10 + 164j, "pointer on the body", colour=GREY)
    states = ("0: at rest, every slack out", "takeup: the spring begins to pull", "stop.advance: it meets its stop")
    for degrees, radius, words, y in zip((0.0, 9.0, 13.8), (100, 84, 68), states, (60, 20, -20), strict=True):
        d.arc(0, radius, 90, 90 + 3 * degrees, line=BLUE)
        tip = polar(radius, 90 + 3 * degrees)
        if degrees:
            d.head(tip, 1j * tip)
        else:
            d.disc(tip, 3, fill=BLUE, line=BLUE)
        d.path([tip, 164 + (y + 4) * 1j], line=GREY, width=0.8)
        d.text(170 + y * 1j, words, colour=BLUE)
    d.text(170 - 70j, "Hold the shaft; turn the rotor the way the")
    d.text(170 - 90j, "shaft turns (anticlockwise here).")
    d.text(170 - 110j, "Read three times; ± is how far they differ.")
    return d


def stop() -> Drawing:
    d = Drawing(640, 300, 130 + 60j, "The stop: its radius, and a feeler in it")
    d.arc(0, 150, 20, 100, line=GREY)
    d.plate([0, polar(165, 74)], 12, CAM)
    d.disc(0, 26)
    block = [polar(128, 38), polar(178, 38), polar(178, 26), polar(128, 26)]
    d.path(block, close=True, fill=WEIGHT)
    d.path([polar(128, 68), polar(174, 68), polar(174, 65.5), polar(128, 65.5)], close=True, fill="#FFFFFF", line=BLUE)
    d.leader(polar(172, 66.5), polar(172, 66.5) + 50 + 40j, "feeler, 1 mm: per_mm = the degrees it takes away")
    d.leader(polar(168, 32), polar(168, 32) + 50 - 8j, "stop on the base plate")
    d.leader(polar(178, 74), polar(178, 74) - 10 + 30j, "cam's arm", "end")
    d.length(0, polar(150, 20), "radius: shaft axis to where the faces meet", at=60 - 24j, anchor="start")
    d.angle(0, 192, 66, 38, "advance, as found", polar(198, 48))
    d.text(130.5 - 16j, "file_up_to: taken off, more advance", colour=BLUE)
    d.text(130.5 - 34j, "build_up_to: put on, less advance", colour=BLUE)
    return d


def breaker() -> Drawing:
    d = Drawing(640, 360, 90 + 200j, "Drag of the rubbing block: pull at the contact, two levers, the cam")
    pivot, block, contact = 380 + 0j, 180 + 0j, 20 + 0j
    d.path([contact, pivot], width=5)
    d.path([block + 8, block - 8, block - 8 - 34j, block + 8 - 34j], close=True, fill=WEIGHT)
    centre = block - 104j
    sides = [centre + polar(70 if k % 2 == 0 else 58, 90 + 30 * k) for k in range(12)]
    d.path(sides, close=True, fill=CAM)
    d.disc(centre, 14)
    d.pivot(pivot)
    d.path([contact - 6j, contact - 26j], width=7)
    d.path([contact + 4j, contact + 74j], line=BLUE, width=1.6)
    d.head(contact + 78j, 1j)
    d.text(contact + 14 + 110j, "breaker_spring: scale, square to the arm,", colour=BLUE)
    d.text(contact + 14 + 92j, "read as the points just open", colour=BLUE)
    d.length(contact, pivot, "contact_lever", off=52j, at=6j)
    d.length(block, pivot, "block_lever", off=22j, at=40 + 5j)
    d.length(centre, block - 34j, "cam_radius", off=-96 + 0j, at=-8 - 4j, anchor="end")
    d.text(pivot + 14 - 4j, "arm's pivot")
    d.text(centre + 96 + 40j, "friction_coefficient: block on cam")
    d.text(centre + 96 + 20j, "dwell: degrees for which they are closed")
    d.text(centre + 96 + 0j, "friction: of the cam on its spindle")
    d.text(centre + 96 - 20j, "trigger: points, or electronic (no drag)")
    return d


def sweep() -> Drawing:
    d = Drawing(640, 330, 70 + 60j, "A sweep: rising from below only, falling from above only, zero again")
    d.path([240j, 0, 500], width=1.4)
    d.text(500 - 40j, "speed [rpm]", "end")
    d.text(-56 + 250j, "advance [deg]")
    up = [(60, 0), (110, 2), (160, 40), (210, 92), (260, 124), (310, 150), (360, 176), (420, 200), (470, 200)]
    down = [(420, 200), (360, 188), (310, 164), (260, 138), (210, 108), (160, 58), (110, 10), (60, 0)]
    d.path([complex(*p) for p in up], width=1.4)
    d.path([complex(*p) for p in down], width=1.1, dash="7 4")
    for x, y in up:
        at = complex(x, y)
        d.path([at + 5j, at - 4 - 3j, at + 4 - 3j], close=True, fill="#1A1A1A")
    for x, y in down[1:-1]:
        at = complex(x, y)
        d.path([at - 5j, at - 4 + 3j, at + 4 + 3j], close=True, fill="#FFFFFF")
    d.text(290 + 100j, "rising: each from below, let it settle")
    d.text(250 + 180j, "falling: each from above", "end")
    d.path([60 + 14j, 60 + 46j], line=BLUE, width=1.1)
    d.text(20 + 70j, "zeroed_at, and", colour=BLUE)
    d.text(20 + 52j, "zero once more", colour=BLUE)
    d.path([430 + 186j, 430 + 214j], line=BLUE, width=1.6)
    d.text(470 + 224j, "reading ±", colour=BLUE)
    d.path([350 + 176j, 370 + 176j], line=BLUE, width=1.6)
    d.text(376 + 160j, "speed_reading ±", colour=BLUE)
    d.text(20 - 40j, "Gap and dwell set, vacuum line off, unit warm.")
    return d


FIGURES = {
    "1-slot": slot, "2-link": link, "3-table": table, "4-scan": scan, "5-gravity": gravity, "6-posts": posts, "7-rate": rate,
    "8-wheel": wheel, "9-stop": stop, "10-breaker": breaker, "11-sweep": sweep,
    "12-wear": wear, "13-points": points, "14-vacuum": vacuum, "15-light": light,
}  # fmt: skip


if __name__ == "__main__":
    FOLDER.mkdir(exist_ok=True)
    for name, draw in FIGURES.items():
        (FOLDER / f"{name}.svg").write_bytes(draw().svg())
