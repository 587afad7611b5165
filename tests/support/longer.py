"""Which of many like cases the normal run tries: a few, evenly taken; all are tried by `pytest -m "study or not study"`."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

import pytest


def some(values: Iterable[Any], keep: int, several: bool = False) -> list[Any]:
    """The values as parameters: `keep` of them, evenly taken, in the normal run, the others marked `study`.
    `several`: each value is a row for several names."""
    listed = list(values)
    kept = {round(i * len(listed) / keep) for i in range(keep)} if keep < len(listed) else set(range(len(listed)))
    return [
        v if i in kept else pytest.param(*(v if several else (v,)), marks=pytest.mark.study)
        for i, v in enumerate(listed)
    ]
