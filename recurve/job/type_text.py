"""A type file as text: readable, with a word on each part, and to be edited by hand."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from recurve.errors import Key
from recurve.job.learned import FOUND, LEARNED, Learned
from recurve.job.unit_type import SourceTable
from recurve.text import printable
from recurve.units import DIMENSIONS, PLACES, factor

HEAD = """\
# A type of distributor, learned by recurve from units that were measured. A job takes from it what it does not state
# itself: type = "NAME-OF-THIS-FILE.toml" at its top.
#
# Each quantity has its mean over the units, the spread of single units about it and how uncertain the mean is, both as
# standard deviations, and how many units told it. Few units leave the spread wide. All may be edited; a quantity may
# also be written as in a job, "29.6 ± 0.4 g", and what is not wanted may be left out.
"""
POINTS = (
    ("pivot", ("radius",)),
    ("cg", ("distance", "angle")),
    ("pin", ("distance", "angle")),
    ("cam", ("radius", "angle")),
)
POLAR = ("radius", "angle")
SLOPE = ("level", "tilt", "bow")
SLOPE_HEAD = """\
# How hard the weights pull, as a whole: the natural logarithm of I′ in kg·m² a radian is level + tilt·x + bow·(3x² − 1)/2, with
# x from −1 at rest to 1 at the advance `reach`.
"""


def type_text(
    title: str, sources: Sequence[SourceTable], learned: Mapping[Key, Learned], alike: Mapping[Key, Any]
) -> str:
    """The file of a type called `title`: what was `learned` by key [SI], and what all its units have `alike` by key."""
    import tomli_w

    table = _Tables(learned, alike)
    parts = [HEAD, f"title = {_toml(title)}\nunits = {len(sources)}", _sources(sources)]
    parts.append(table.alike("distributor", ("lobes", "breakers", "rotation", "speed_ratio")))
    parts += _weights(table)
    stop = table.quantity(("stop", "advance"), "what the units were found with: worn ones more than when new")
    stop += (
        table.quantity(("stop", "radius")) + table.told(("stop", "file_up_to")) + table.told(("stop", "build_up_to"))
    )
    parts.append(f"[stop]\n{stop}" if stop else "")
    drag = table.quantity(("drag", "rubbing_block"))
    parts.append(f"[drag]\n{drag}" if drag else "")
    parts += [part for place in PLACES for part in _place(table, place)]
    if ("target",) in alike:
        book = tomli_w.dumps({"target": alike["target",]}).strip()
        parts.append(f"# The book, as the units' jobs have it.\n{book}\n")
    found = [
        f"[found.{place}]\n" + "".join(table.quantity(("found", place, what)) for what in FOUND)
        for place in PLACES
        if ("found", place, "rate") in learned
    ]
    if found:
        found[0] = (
            "# The springs that were in the units, and how far they were drawn at rest. A job takes these only as a first\n"
            "# guess, twice as wide, since springs are changed. A unit whose sweep asks for others is told not to be of it.\n"
            + found[0]
        )
    return "\n".join(part for part in [*parts, *found] if part)


def _sources(sources: Sequence[SourceTable]) -> str:
    rows = [
        "  { " + ", ".join(f"{k} = {_toml(v)}" for k, v in one.model_dump().items() if v) + " },\n" for one in sources
    ]
    return f"sources = [\n{''.join(rows)}]\n"


def _weights(table: _Tables) -> list[str]:
    head = table.told(("weights", "count")) + table.quantity(("weights", "mass"), "of one weight")
    kind = table.of(("weights", "motion", "kind"))
    points = [(name, names) for name, names in POINTS if name != "cam" or kind == "link"]
    parts = [f"[weights]\n{head}"] if head else []
    if kind == "slope":
        rows = "".join(table.quantity(("weights", "motion", name)) for name in SLOPE)
        reach = table.told(("weights", "motion", "reach"))
        return [*parts, f'{SLOPE_HEAD}[weights.motion]\nkind = "slope"\n{reach}{rows}']
    whole = kind in ("slot", "link") and all(
        table.has(("weights", "motion", name, part)) for name, names in points for part in names
    )
    if whole:
        lines = [table.point(("weights", "motion", name), names) for name, names in points]
        parts.append(f"[weights.motion]\nkind = {_toml(kind)}\n{''.join(lines)}")
    return parts


def _place(table: _Tables, place: str) -> list[str]:
    key: Key = ("springs", place)
    head = table.told((*key, "post_travel")) + table.quantity((*key, "post_diameter"))
    posts: Key = (*key, "posts")
    ends = [(name, table.of((*posts, name, "on"))) for name in ("anchor", "far")]
    whole = all(on is not None and all(table.has((*posts, name, part)) for part in POLAR) for name, on in ends)
    if not whole or table.of((*posts, "kind")) != "points":
        return []
    lines = [table.point((*posts, name), POLAR, f"on = {_toml(on)}") for name, on in ends]
    return [f"[springs.{place}]\n{head}", f'[springs.{place}.posts]\nkind = "points"\n{"".join(lines)}']


class _Tables:
    """What a type has, line by line."""

    def __init__(self, learned: Mapping[Key, Learned], alike: Mapping[Key, Any]) -> None:
        self._learned, self._alike = learned, alike

    def has(self, key: Key) -> bool:
        return key in self._learned

    def of(self, key: Key) -> Any:
        return self._alike.get(key)

    def told(self, key: Key) -> str:
        """A line of what the units have alike; nothing where they have not."""
        return f"{key[-1]} = {_toml(self._alike[key])}\n" if key in self._alike else ""

    def alike(self, name: str, keys: Sequence[str]) -> str:
        return f"[{name}]\n" + "".join(self.told((name, key)) for key in keys)

    def quantity(self, key: Key, said: str = "") -> str:
        """A line of what was learned; nothing where it was not."""
        if key not in self._learned:
            return ""
        return f"{key[-1]} = {_leaf(key, self._learned[key])}{f'  # {said}' if said else ''}\n"

    def point(self, key: Key, names: Sequence[str], first: str = "") -> str:
        """A point, on a line for each of its quantities."""
        rows = [f"{name} = {_leaf((*key, name), self._learned[(*key, name)])}" for name in names]
        head = f"[{'.'.join(str(k) for k in key)}]\n"
        return head + "".join(f"{row}\n" for row in ([first, *rows] if first else rows))


def _leaf(key: Key, one: Learned) -> str:
    dimension = LEARNED[str(key[-1])]
    unit = DIMENSIONS[dimension][1]
    scale = factor(unit, dimension)
    mean, spread, uncertain = (x / scale for x in (one.mean, one.spread, one.uncertainty))
    texts = [f"{value:.{digits}g} {unit}".strip() for value, digits in ((mean, 6), (spread, 3), (uncertain, 3))]
    told = 'mean = "{}", spread = "{}", uncertain = "{}"'.format(*texts)
    return f"{{ {told}, units = {one.units} }}"


def _toml(value: Any) -> str:
    """A value of a key, on one line."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        text = printable(value).replace("\\", "\\\\").replace('"', '\\"')
        return f'"{text}"'
    if isinstance(value, list | tuple):
        return f"[{', '.join(_toml(v) for v in value)}]"
    return str(value)
