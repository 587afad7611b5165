"""A spring weighed on the page: what `recurve spring` says of it, and into the drawer of the unit, the typed one or a file's."""

from __future__ import annotations

import html
import shutil
from pathlib import Path

import pytest
from checkout import EXAMPLES, ROOT, needs_checkout
from starlette.testclient import TestClient

from recurve.job.edit import begin, read_edited
from recurve.job.tables import read_catalogue
from recurve.page.app import build_app

pytestmark = needs_checkout
# 2 N/mm with 1 N of initial tension and 13.2 mm inside the hooks, by hand: 4 N at 14.7 mm, 10 N at 17.7 mm.
WEIGHED = {"readings": "4 N at 14.70 mm\n10 N at 17.70 mm", "free_length": "13.2", "id": "A7"}


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    for name in ("launch.toml", "launch-as-found.csv"):
        (tmp_path / "units").mkdir(exist_ok=True)
        shutil.copy2(EXAMPLES / name, tmp_path / "units")
    (tmp_path / "data").mkdir()
    shutil.copy2(ROOT / "data" / "springs.csv", tmp_path / "data")
    begin(tmp_path / "units" / "new" / "unit.toml", {"title": "New"})
    return tmp_path / "units"


@pytest.fixture
def client(folder: Path) -> TestClient:
    return TestClient(build_app(folder), base_url="http://127.0.0.1", client=("127.0.0.1", 50000))


def weighed(client: TestClient, name: str, **told: str) -> str:
    return html.unescape(client.post(f"/u/{name}/weighed", data={**WEIGHED, **told}).text)


def test_it_is_worked_out_and_nothing_is_written_before_it_is_asked_for(client: TestClient, folder: Path) -> None:
    shown = weighed(client, "new/unit")
    assert "2.000 ±" in shown and "1.00 ±" in shown and "Put it into the drawer" in shown
    assert not (folder / "new" / "springs.csv").exists()


def test_it_goes_into_the_springs_that_were_typed(client: TestClient, folder: Path) -> None:
    assert "A7 is in the drawer now" in weighed(client, "new/unit", add="1")
    assert "A8 is in the drawer now" in weighed(client, "new/unit", add="1", id="A8")
    faults: list[str] = []
    springs = read_catalogue(folder / "new" / "springs.csv", "", faults).springs
    assert [s.id for s in springs] == ["A7", "A8"] and faults == []
    assert (springs[0].rate, springs[0].free_length, springs[0].initial_tension) == pytest.approx((2000.0, 0.0132, 1.0))
    assert read_edited(folder / "new" / "unit.toml").answers["catalogue.file"] == "springs.csv"
    assert "expected a new name" in weighed(client, "new/unit", add="1")


def test_it_goes_into_the_file_that_the_job_names_if_that_lies_in_the_folder(client: TestClient, folder: Path) -> None:
    outside = (folder.parent / "data" / "springs.csv").read_bytes()
    assert "outside units" in weighed(client, "launch", add="1")
    assert (folder.parent / "data" / "springs.csv").read_bytes() == outside
    shutil.copy2(folder.parent / "data" / "springs.csv", folder / "springs.csv")
    job = (folder / "launch.toml").read_text(encoding="utf-8").replace("../data/springs.csv", "springs.csv")
    (folder / "launch.toml").write_text(job, encoding="utf-8")
    assert "A7 is in springs.csv now" in weighed(client, "launch", add="1")
    assert (folder / "springs.csv").read_bytes().startswith(outside)
    assert "expected a new name" in weighed(client, "launch", add="1")


@pytest.mark.parametrize(
    ("told", "said"),
    [
        ({"id": ""}, "name: missing"),
        ({"free_length": ""}, "free length: missing"),
        ({"readings": "4 N at 14.70 mm\n4.1 N at 14.75 mm"}, "do not settle the rate"),
        ({"readings": "4 N at 14.70 mm"}, "got 1, expected two or more"),
        ({"readings": "heavy"}, "line 1: "),
        ({"id": "#1"}, "does not begin with #"),
    ],
)
def test_what_cannot_go_in_is_told(client: TestClient, folder: Path, told: dict[str, str], said: str) -> None:
    assert said in weighed(client, "new/unit", add="1", **told)
    assert not (folder / "new" / "springs.csv").exists()


def test_the_guide_is_there_at_each_figure(client: TestClient) -> None:
    shown = client.get("/u/launch/parts").text
    answer = client.get("/guide")
    assert "sandbox" in answer.headers["content-security-policy"]
    for number in {part.split('"')[0] for part in shown.split("/guide#")[1:]}:
        assert f'id="{number}"' in answer.text
