"""Tests that look at the checkout itself, its README or its sources, have nothing to look at where there is only a wheel."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
EXAMPLES = ROOT / "examples"
needs_checkout = pytest.mark.skipif(
    not (ROOT / "recurve" / "errors.py").is_file(), reason="looks at the checkout, and the tests stand without one here"
)


def written(path: Path) -> str:
    """A path as it stands in a job file, which is UTF-8 whatever the locale is."""
    return os.fsencode(path).decode("utf-8")
