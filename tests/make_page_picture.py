"""Draws `examples/page.png`, the picture of the bench page in the README: the invented launch, planned.

Run it after a change of the page: `python tests/make_page_picture.py`. It needs a Chromium.
"""

from __future__ import annotations

import shutil
import sys
import tempfile
from pathlib import Path

ROOT = Path(__file__).parent.parent
sys.path.insert(0, str(ROOT / "tests" / "support"))

from served import driven, served  # noqa: E402

WIDE, TALL = 1100, 820


def main() -> None:
    """Plan a copy of the launch on the page, and take its picture."""
    with tempfile.TemporaryDirectory() as folder:
        for name in ("examples", "data"):
            shutil.copytree(ROOT / name, Path(folder) / name, ignore=shutil.ignore_patterns("*-plan"))
        with driven() as browser, served(Path(folder) / "examples") as server:
            page = browser.new_context(viewport={"width": WIDE, "height": TALL}).new_page()
            page.set_default_timeout(120_000)
            page.goto(f"{server.address}/u/launch/plan")
            page.get_by_role("button", name="Plan it").click()
            page.locator("tr.best").wait_for()
            page.screenshot(path=str(ROOT / "examples" / "page.png"))


if __name__ == "__main__":
    main()
