"""Figures 12 to 15 of the measuring guide: wear, degree wheel, vacuum unit, timing light. Invented, like all others."""

from __future__ import annotations

import cmath
import math

from vector import BLUE, GREY, PALE, Drawing

WEIGHT, CAM = "#C4C4C4", "#E9E9E9"


def polar(radius: float, degrees: float) -> complex:
    return cmath.rect(radius, math.radians(degrees))


def lobed(centre: complex, lobes: int, high: float, low: float, turn: float) -> list[complex]:
    """The outline of a breaker cam, its first tip at `turn` degrees."""
    places = []
    for k in range(180):
        lift = (0.5 + 0.5 * math.cos(math.radians(2 * k * lobes))) ** 2
        places.append(centre + polar(low + (high - low) * lift, turn + 2 * k))
    return places


def wear() -> Drawing:
    d = Drawing(720, 400, 250 + 70j, "Side play, end float, gap and the breaker arm's spring")
    d.path([-60 - 30j, 60 - 30j, 60 + 110j, -60 + 110j], close=True, fill=CAM)
    for side in (-1, 1):
        d.path([complex(side * 13, -30), complex(side * 13, 110)], width=0.9)
        d.path([complex(side * 10, -50), complex(side * 10, 230)])
    d.path([-34 + 150j, 34 + 150j, 34 + 205j, -34 + 205j], close=True, fill=WEIGHT)
    d.text(178j, "cam", "middle")
    d.path([-34 + 236j, 34 + 236j], width=0.9)
    d.disc(-120 + 190j, 24)
    d.path([-96 + 190j, -36 + 190j], width=2.5)
    d.path([-120 + 190j, -108 + 204j], line=BLUE, width=1.6)
    d.text(-240 + 250j, "side_play: dial gauge at the cam", colour=BLUE)
    d.path([44 + 190j, 92 + 190j], line=BLUE, width=1.6)
    d.head(92 + 190j, 1 + 0j)
    d.head(44 + 190j, -1 + 0j)
    d.text(100 + 192j, "side_play_load: half a pound,", colour=BLUE)
    d.text(100 + 174j, "then as much the other way", colour=BLUE)
    d.path([256j, 296j], line=BLUE, width=1.6)
    d.head(296j, 1j)
    d.head(256j, -1j)
    d.text(14 + 272j, "end_float: shaft pushed up and down", colour=BLUE)
    d.leader(60 + 60j, 100 + 80j, "body and bush")
    base = 300 + 20j
    d.path([base - 40, base + 90], width=5)
    d.path([base - 40 + 3j, base - 40 + 30j], width=7)
    d.path([base - 40 + 44j, base - 40 + 70j], width=7)
    d.path([base - 40 + 73j, base + 90 + 73j], width=5)
    d.pivot(base + 90 + 73j)
    d.length(base - 40 + 30j, base - 40 + 44j, "gap", off=-26 + 0j, at=-6 - 4j, anchor="end")
    d.path([base - 40 + 78j, base - 40 + 108j], line=BLUE, width=1.6)
    d.head(base - 40 + 112j, 1j)
    d.text(base - 28 + 98j, "arm_spring: points opening", colour=BLUE)
    d.text(
        -240 - 62j,
        "Side play moves the gap, the gap moves the dwell, and dwell moves the timing: dwell first, timing second.",
    )
    return d


def points() -> Drawing:
    d = Drawing(720, 400, 190 + 195j, "Where the points close and open, and where the sparks fall, on a degree wheel")
    d.disc(0, 160)
    for k in range(72):
        d.path([polar(160, 5 * k), polar(146 if k % 2 else 140, 5 * k)], width=0.8)
    d.path(lobed(0, 4, 62, 46, 20), close=True, fill=WEIGHT)
    d.disc(0, 14)
    d.arc(0, 78, 125, 165, line=GREY)
    d.head(polar(78, 165), 1j * polar(78, 165), line=GREY)
    d.text(polar(78, 165) - 6 - 20j, "rotation", "middle", colour=GREY)
    for degrees, words in ((8, "sparks: lobe 1"), (98, "lobe 2"), (188, "lobe 3"), (278, "lobe 4")):
        d.path([polar(118, degrees), polar(140, degrees)], line=BLUE, width=2.5)
        if degrees == 8:
            d.text(polar(166, degrees) + 4j, words, colour=BLUE)
        elif degrees == 98:
            d.text(polar(166, degrees) + 4j, words, "middle", colour=BLUE)
        elif degrees == 278:
            d.text(polar(166, degrees) - 14j, words, "middle", colour=BLUE)
        else:
            d.text(polar(134, degrees) + 20 - 18j, words, colour=BLUE)
    d.angle(0, 108, -44, 8, "", 0)
    d.path([polar(96, -44), polar(140, -44)], line=BLUE, width=1.1)
    d.text(polar(166, -44) + 6j, "closes", colour=BLUE)
    d.text(polar(108, -18) + 64 - 12j, "dwell: from closes to opens", colour=BLUE)
    rows = (
        ("wheel: do its figures rise as the shaft turns?", BLUE),
        ("opens is where the spark is.", BLUE),
        ("Lobes count as they pass, not in firing order.", "#1A1A1A"),
        ("pushed: shaft free, one way, other way.", BLUE),
    )
    for row, (words, colour) in enumerate(rows):
        d.text(208 + (150 - 22 * row) * 1j, words, colour=colour)
    return d


def vacuum() -> Drawing:
    d = Drawing(720, 380, 70 + 60j, "The vacuum unit: advance over vacuum, rising and falling, and the book's figures")
    d.path([270j, 0, 420], width=1.4)
    d.text(420 - 40j, "vacuum", "end")
    d.text(-56 + 282j, "advance [deg]")
    d.path([0j, 90 + 0j, 270 + 180j, 410 + 180j], width=1.4)
    d.path([410 + 180j, 246 + 180j, 66 + 0j], width=1.1, dash="7 4")
    for x, y in ((40, 0), (120, 30), (180, 90), (240, 150), (320, 180), (390, 180)):
        at = complex(x, y)
        d.path([at + 5j, at - 4 - 3j, at + 4 - 3j], close=True, fill="#1A1A1A")
    for x, y in ((320, 180), (200, 134), (140, 74), (90, 24)):
        at = complex(x, y)
        d.path([at - 5j, at - 4 + 3j, at + 4 + 3j], close=True, fill="#FFFFFF")
    d.length(76, 104, "start", off=-14j, at=-16j)
    d.length(256 + 180j, 292 + 180j, "full", off=44j, at=6j)
    d.length(410 + 166j, 410 + 194j, "maximum", off=14 + 0j, at=8 - 4j, anchor="start")
    d.text(196 + 84j, "measured: rising", colour=BLUE)
    d.text(150 + 150j, "falling", "end", colour=BLUE)
    d.path([340, 340 + 24j], line=GREY, width=0.8)
    d.text(250 + 44j, "reading ± (dial)", colour=BLUE)
    d.text(250 + 26j, "gauge ± (vacuum)", colour=BLUE)
    box = 520 + 40j
    d.disc(box + 60j, 46, fill=CAM)
    d.path([box + 14j, box + 106j], width=0.9)
    d.path([box - 46 + 60j, box - 84 + 60j], width=4)
    d.text(box - 30 - 8j, "arm to the", "middle")
    d.text(box - 30 - 26j, "breaker plate", "middle")
    d.path([box + 46 + 60j, box + 78 + 60j, box + 78 + 150j], width=4)
    d.disc(box + 78 + 172j, 22)
    d.path([box + 78 + 172j, box + 88 + 186j], line=BLUE, width=1.6)
    d.text(640 + 254j, "gauge and hand pump", "end")
    d.text(640 + 290j, "hold: draw it, close the line, wait", "end", colour=BLUE)
    return d


def light() -> Drawing:
    d = Drawing(720, 390, 180 + 200j, "The timing light: crank degrees before top dead centre")
    d.disc(0, 140, fill=CAM)
    d.disc(0, 20)
    d.arc(0, 100, 118, 160, line=GREY)
    d.head(polar(100, 118), -1j * polar(100, 118), line=GREY)
    d.text(polar(84, 150) + 10 - 20j, "rotation", "middle", colour=GREY)
    d.path([polar(140, 90), polar(170, 90)], width=3)
    d.text(-8 + 172j, "pointer: top dead centre", "end")
    for degrees, words, colour in (
        (90, "0", "#1A1A1A"),
        (74, "static", BLUE),
        (60, "idle, by light", BLUE),
        (40, "total", BLUE),
    ):
        d.path([polar(140, degrees), polar(126, degrees)], line=colour, width=2.5)
        if degrees < 90:
            d.path([polar(142, degrees), polar(156, degrees)], line=GREY, width=0.8)
            d.text(polar(160, degrees), words, colour=colour)
    d.path([polar(128, 28), polar(164, 28)], width=3)
    d.text(polar(170, 28) - 2j, "total_limit: never past it", colour=BLUE)
    lamp = 200 - 90j
    d.path([lamp, lamp + 60 + 20j, lamp + 60 - 20j], close=True, fill=PALE)
    d.path([lamp + 60 - 12j, lamp + 130 - 12j, lamp + 130 + 12j, lamp + 60 + 12j], close=True, fill=WEIGHT)
    d.path([lamp - 6, lamp - 60 + 30j], line=GREY, width=0.8, dash="6 4")
    d.text(lamp + 20 - 44j, "timing light on the lead of cylinder 1")
    rows = (
        "static: engine still, cam back at rest.",
        "idle: slowed down from a rev, warm.",
        "total: above all_in, vacuum line off.",
    )
    for row, words in enumerate(rows):
        d.text(204 + (16 - 22 * row) * 1j, words)
    d.text(-160 - 180j, "Every speed here is the crank's. The light makes the fan look still: it is not.")
    return d
