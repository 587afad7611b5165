"""The page's server without a browser: whom it answers, what it takes, what lies outside its folder, and text that tries to act.

What is asked of the headers is that of Fetch (Origin, Sec-Fetch-Site), RFC 9110 (Host) and Content Security Policy Level 3.
"""

from __future__ import annotations

import shutil
import tomllib
from collections.abc import Iterator
from html.parser import HTMLParser
from pathlib import Path
from typing import Any
from urllib.parse import quote

import pytest
from checkout import ROOT, needs_checkout
from starlette.testclient import TestClient

from recurve.job.edit import begin, read_edited
from recurve.job.questions import questions
from recurve.page.app import build_app
from recurve.page.fields import OWN_WAY, STEPS, as_shown
from recurve.page.safety import COOKIE, LARGEST_BODY, WRONG_CODES, Door

pytestmark = needs_checkout
HERE, PHONE = ("127.0.0.1", 50000), ("192.0.2.7", 50000)  # the latter an address for documentation, RFC 5737
HOSTILE = (
    "\x1b[31m\u202e\r<script>alert(1)</script> <img src=x onerror=alert(1)> \"' onfocus=alert(1) {{ 7*7 }} --> ]]>"
)


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A folder of units, with one of them, and a secret beside it."""
    (tmp_path / "data").mkdir()
    shutil.copy2(ROOT / "data" / "springs.csv", tmp_path / "data")
    shutil.copytree(ROOT / "examples" / "winch", tmp_path / "units" / "winch")
    for file in ("launch.toml", "launch-as-found.csv", "crane.toml", "crane-as-found.csv"):
        shutil.copy2(ROOT / "examples" / file, tmp_path / "units")
    (tmp_path / "secret.toml").write_text('title = "Secret"\n', encoding="utf-8")
    (tmp_path / "secret.csv").write_text("Secret\n", encoding="utf-8")
    return tmp_path / "units"


def asking(
    folder: Path, client: tuple[str, int] = HERE, door: Door | None = None, host: str = "127.0.0.1"
) -> TestClient:
    return TestClient(build_app(folder, door), base_url=f"http://{host}", client=client, follow_redirects=False)


@pytest.fixture
def client(folder: Path) -> TestClient:
    return asking(folder)


# --- who is answered ------------------------------------------------------------------------------------------


@pytest.mark.parametrize("host", ["bench.example", "127.0.0.1.bench.example", "192.0.2.1", "", "[::ffff:192.0.2.1]"])
def test_a_foreign_host_is_refused(client: TestClient, host: str) -> None:
    assert client.get("/", headers={"host": host}).status_code == 403


@pytest.mark.parametrize("host", ["127.0.0.1:8017", "localhost:8017", "[::1]:8017"])
def test_its_own_host_is_answered(client: TestClient, host: str) -> None:
    assert client.get("/", headers={"host": host}).status_code == 200


@pytest.mark.parametrize(
    "told",
    [
        {"origin": "http://bench.example"},
        {"origin": "null"},
        {"origin": "http://127.0.0.1:9999"},
        {"sec-fetch-site": "cross-site"},
        {"sec-fetch-site": "same-site"},
    ],
)
def test_another_page_changes_nothing(client: TestClient, folder: Path, told: dict[str, str]) -> None:
    before = (folder / "launch.toml").read_bytes()
    answer = client.post(
        "/u/launch/answer", data={"key": "distributor.lobes", "value": "8", "shown": '"6"'}, headers=told
    )
    assert answer.status_code == 403 and (folder / "launch.toml").read_bytes() == before


def test_every_answer_says_what_a_browser_may_do(client: TestClient) -> None:
    for where in ("/", "/u/launch/book", "/static/page.js", "/nowhere", "/u/none/book"):
        told = client.get(where).headers
        rules = dict(rule.strip().split(" ", 1) for rule in told["content-security-policy"].split(";"))
        assert rules["default-src"] == rules["base-uri"] == rules["frame-ancestors"] == "'none'"
        assert rules["script-src"] == rules["style-src"] == rules["form-action"] == rules["connect-src"] == "'self'"
        assert told["x-content-type-options"] == "nosniff" and told["cache-control"] == "no-store"


def test_nothing_of_a_page_comes_from_elsewhere(client: TestClient) -> None:
    """No address with another host, no script in the page, no style in an attribute: what the policy would block anyway."""
    for where in ("/", *(f"/u/launch/{step.name}" for step in STEPS)):
        for tag, attributes in elements(client.get(where).text):
            assert not [k for k in attributes if k.startswith("on") or k == "style"], (where, tag, attributes)
            for key in ("src", "href", "action", "hx-get", "hx-post"):
                assert not (attributes.get(key) or "").startswith(("http", "//", "javascript")), (where, attributes)


# --- a phone --------------------------------------------------------------------------------------------------


def test_a_phone_is_let_in_by_a_code_that_holds_once(folder: Path) -> None:
    door = Door(lan=True)
    code = door.renew()
    assert len(code) == 6 and code.isdecimal()
    phone = asking(folder, PHONE, door, "192.0.2.1")
    assert phone.get("/u/launch/book").headers["location"] == "/enter"
    assert phone.post("/new", data={"title": "Not yet"}).headers["location"] == "/enter"
    assert not (folder / "not-yet").exists()
    entered = phone.post("/enter", data={"code": code})
    assert entered.status_code == 303
    assert {"httponly", "samesite=strict"} <= set(entered.headers["set-cookie"].lower().replace(" ", "").split(";"))
    assert phone.get("/u/launch/book").status_code == 200
    other = asking(folder, PHONE, door, "192.0.2.1")
    assert other.post("/enter", data={"code": code}).status_code == 403
    assert other.get("/", headers={"cookie": f"{COOKIE}=guessed"}).headers["location"] == "/enter"


def test_codes_cannot_be_tried_out(folder: Path) -> None:
    door = Door(lan=True)
    code = door.renew()
    wrong = "000000" if code != "000000" else "111111"
    phone = asking(folder, PHONE, door, "192.0.2.1")
    for _ in range(WRONG_CODES):
        assert phone.post("/enter", data={"code": wrong}).status_code == 403
    assert phone.post("/enter", data={"code": code}).status_code == 403


def test_without_lan_nobody_else_is_let_in(folder: Path) -> None:
    door = Door()
    phone = asking(folder, PHONE, door)
    for code in ("", "000000"):
        assert phone.post("/enter", data={"code": code}).status_code == 403
    assert phone.get("/", headers={"cookie": f"{COOKIE}="}).headers["location"] == "/enter"


# --- no path outside the folder -------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "name",
    [
        "../secret",
        "%2e%2e/secret",
        "..%2fsecret",
        "launch/../../secret",
        "linked",
        "a/../../secret",
        "%00",
        "/etc/x",
        "x" * 9000,
    ],
)
def test_no_unit_outside_the_folder(client: TestClient, folder: Path, name: str) -> None:
    (folder / "linked.toml").symlink_to(folder.parent / "secret.toml")
    for step in ("book", "file/sheet.pdf", "picture"):
        answer = client.get(f"/u/{name}/{step}")
        assert answer.status_code == 404 and "Secret" not in answer.text
    assert client.post(f"/u/{name}/archive").status_code in (404, 405)
    assert (folder.parent / "secret.toml").exists()
    assert client.post("/new", data={"title": "x", "like": "../secret"}).status_code == 404


@pytest.mark.parametrize(
    "where", ["/static/..%2fquestions.toml", "/static/../questions.toml", "/static/bench/base.html"]
)
def test_no_file_of_the_program_but_those_of_the_page(client: TestClient, where: str) -> None:
    assert client.get(where).status_code == 404


def test_no_file_of_a_plan_but_its_papers(client: TestClient, folder: Path) -> None:
    (folder / "launch-plan").mkdir()
    (folder / "launch-plan" / "other.html").write_text("Secret", encoding="utf-8")
    for file in ("other.html", "..%2flaunch.toml", "plan.toml"):
        assert client.get(f"/u/launch/file/{file}").status_code == 404


@pytest.mark.parametrize("named", ["../secret.csv", "/etc/passwd", "launch-plan/../../secret.csv", "away.csv", "a\0b"])
def test_no_table_outside_the_folder_can_be_named(client: TestClient, folder: Path, named: str) -> None:
    """Whoever may answer questions may not have any file of the machine read by it."""
    (folder / "away.csv").symlink_to(folder.parent / "secret.csv")
    was = as_shown(read_edited(folder / "launch.toml").answers["catalogue.file"])
    before = (folder / "launch.toml").read_bytes()
    answer = client.post("/u/launch/answer", data={"key": "catalogue.file", "value": named, "shown": was})
    assert "expected a file in units" in answer.text
    assert (folder / "launch.toml").read_bytes() == before


# --- what is taken --------------------------------------------------------------------------------------------


def test_too_much_at_once_is_refused(client: TestClient, folder: Path) -> None:
    big = b"speed [rpm],advance [deg],direction\n" + b"500,4.0,rising\n" * (LARGEST_BODY // 15)
    answer = client.post("/u/launch/readings-file", files={"file": ("big.csv", big)})
    assert answer.status_code == 413
    chunked = client.post("/u/launch/answer", content=iter([b"key=title"]))
    assert chunked.status_code == 413
    assert client.post("/new", content=b"title=x", headers={"content-length": "many"}).status_code == 400


@pytest.mark.parametrize(
    "content",
    [b"", b"\xff\xfe\x00", b"speed,advance\n1,2\n", b"speed [rpm],advance [deg],direction\n-5,x,up\n", b"\0" * 99],
)
def test_a_file_that_is_no_sweep_changes_nothing(client: TestClient, folder: Path, content: bytes) -> None:
    before = {p: p.read_bytes() for p in folder.rglob("*") if p.is_file()}
    answer = client.post("/u/launch/readings-file", files={"file": ("../../x.csv", content)})
    assert answer.status_code == 400 and "the file" in answer.text
    assert {p: p.read_bytes() for p in folder.rglob("*") if p.is_file() and p.name != ".recurve-lock"} == before


def test_another_file_of_readings_takes_none_away(client: TestClient, folder: Path) -> None:
    def sent(degrees: float) -> bytes:
        text = f"speed [rpm],advance [deg],direction\n500,{degrees},rising\n900,{degrees},falling\n".encode()
        answer = client.post("/u/launch/readings-file?which=left", files={"file": ("x.csv", text)})
        assert answer.status_code == 204
        return text

    first, second = sent(4.0), sent(5.0)
    sent(5.0)
    found = {p.name: p.read_bytes() for p in (folder / "launch-plan").glob("as-left*")}
    assert found == {"as-left.csv": second, "as-left-1.csv": first}


def test_archive_takes_no_neighbour_along(client: TestClient, folder: Path) -> None:
    """Several units may share a folder; only the one that is meant goes."""
    assert client.post("/u/winch/unit-2/archive").status_code == 303
    assert (folder / "winch" / "unit-1.toml").exists() and not (folder / "winch" / "unit-2.toml").exists()
    assert (folder / "archive" / "winch-unit-2" / "unit-2.toml").exists()


def test_a_unit_begun_from_another_has_its_own_title(client: TestClient, folder: Path) -> None:
    where = client.post("/new", data={"title": "Second launch", "like": "launch"}).headers["location"]
    assert where == "/u/second-launch/unit/book"
    assert read_edited(folder / "second-launch" / "unit.toml").title == "Second launch"


@pytest.mark.parametrize("name", ["launch", "winch/unit-4", "crane"])
def test_a_copy_reads_as_the_first_does(client: TestClient, folder: Path, name: str) -> None:
    from recurve.job.read import load_any

    first = load_any(folder / f"{name}.toml")
    made = client.post(f"/u/{name}/copy").headers["location"].removeprefix("/u/").removesuffix("/book")
    assert repr(load_any(folder / f"{made}.toml").target) == repr(first.target)
    copy = load_any(folder / f"{made}.toml")
    assert copy.title == f"{first.title} copy" and copy.sweep is None  # the readings are of the first alone


# --- text that tries to act -----------------------------------------------------------------------------------


class Elements(HTMLParser):
    """The elements of a page with their attributes."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.found: list[tuple[str, dict[str, Any]]] = []
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.found.append((tag, dict(attrs)))


def elements(text: str) -> list[tuple[str, dict[str, Any]]]:
    return Elements(text).found


def acting(text: str) -> list[Any]:
    """Elements of a page that somebody else's text made: scripts but the page's two, and whatever acts by itself."""
    made = []
    for tag, attributes in elements(text):
        own = tag == "script" and str(attributes.get("src")).startswith("/static/")
        if (
            (tag == "script" and not own)
            or [k for k in attributes if k.startswith("on")]
            or attributes.get("src") == "x"
        ):
            made.append((tag, attributes))
    return made


def test_the_detector_finds_what_acts() -> None:
    assert len(acting(HOSTILE)) == 2


def hostile_answers() -> Iterator[tuple[str, str]]:
    """A hostile answer to every question that the page asks."""
    yield from ((q.key, HOSTILE) for q in questions() if q.key not in OWN_WAY)


def test_no_answer_acts_or_breaks_the_file(client: TestClient, folder: Path) -> None:
    """Every question is answered with text that tries to act: told or kept, never acted on, and the file stays TOML."""
    begin(folder / "new" / "unit.toml", {"title": HOSTILE})
    for key, typed in hostile_answers():
        answer = client.post("/u/new/unit/answer", data={"key": key, "value": typed, "shown": HOSTILE, "step": "book"})
        assert answer.status_code == 200 and acting(answer.text) == [], key
        answer = client.post("/u/new/unit/answer", data={"key": key, "value": typed, "shown": '""', "step": "x"})
        assert answer.status_code == 200 and acting(answer.text) == [], key
        tomllib.loads((folder / "new" / "unit.toml").read_text(encoding="utf-8"))
    for where in (
        "/",
        f"/?q={quote(HOSTILE)}",
        *(f"/u/new/unit/{step.name}" for step in STEPS),
        f"/u/{quote(HOSTILE)}/book",
    ):
        answer = client.get(where)
        assert answer.status_code in (200, 404) and acting(answer.text) == [], where


@pytest.mark.parametrize("where", ["reading", "shown", "was-set", "undo", "tried", "swing", "begin/found", "halt/plan"])
def test_no_request_acts(client: TestClient, folder: Path, where: str) -> None:
    """What is sent to the other addresses: refused or taken as text."""
    told = dict.fromkeys(
        ("speed", "advance", "way", "which", "key", "value", "bent", "spring-primary", "rpm", "paper"), HOSTILE
    )
    if where in ("tried", "swing"):
        answer = client.get(f"/u/launch/{where}", params=told)
    elif where.startswith(("begin", "halt")):
        answer = client.post(f"/u/launch/{where}x", data=told)
    else:
        answer = client.post(f"/u/launch/{where}", data=told)
    assert answer.status_code < 500 and acting(answer.text) == []


def test_text_out_of_files_does_not_act(client: TestClient, folder: Path) -> None:
    """Title, name of the unit, springs and the head of a table come from files that others wrote."""
    text = (folder / "launch.toml").read_text(encoding="utf-8")
    quoted = HOSTILE.encode("unicode_escape").decode().replace('"', '\\"').replace("\\x", "\\u00")
    lines = [
        f'title = "{quoted}"'
        if line.startswith("title =")
        else f'unit = "{quoted}"'
        if line.startswith("unit =")
        else line
        for line in text.splitlines()
    ]
    (folder / "bad.toml").write_text("\n".join(lines), encoding="utf-8")
    sweep = (folder / "launch-as-found.csv").read_text(encoding="utf-8")
    (folder / "launch-as-found.csv").write_text(
        sweep.replace("rising", f"{HOSTILE.splitlines()[-1]}", 1), encoding="utf-8"
    )
    assert "alert(1)" in client.get("/").text
    assert "{{ 7*7 }}" in client.get("/").text  # a template in a text is text
    for where in ("/", *(f"/u/bad/{step.name}" for step in STEPS), "/u/bad/tried"):
        answer = client.get(where)
        assert answer.status_code in (200, 400) and acting(answer.text) == [], where
