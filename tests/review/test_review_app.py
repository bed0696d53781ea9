"""The page's questions and answers, without a browser."""

import errno
import io
import json
import os
from concurrent.futures import ThreadPoolExecutor
from dataclasses import fields
from pathlib import Path

import numpy as np
import pytest
from PIL import Image
from starlette.testclient import TestClient

from blendkit.review.app import make_app
from blendkit.review.folder import stamp_of
from blendkit.review.jobs import Job
from blendkit.review.session import Session
from blendkit.settings import MergeSettings
from blendkit.sidecar import read_sidecar, sidecar_path

JSON = {"content-type": "application/json"}


@pytest.fixture
def session(shoot: Path, tmp_path: Path) -> Session:
    return Session(shoot, cache=tmp_path / "cache")


@pytest.fixture
def client(session: Session) -> TestClient:
    return TestClient(make_app(session), raise_server_exceptions=False)


def first_pair(client: TestClient) -> dict:
    entry = client.get("/pairs").json()["pairs"][0]
    return client.get(f"/pairs/{entry['id']}").json()


def test_the_pair_that_needs_a_look_comes_first_with_its_reason(client: TestClient) -> None:
    pairs = client.get("/pairs").json()["pairs"]
    assert [pair["name"] for pair in pairs] == ["loud", "calm"]
    assert pairs[0]["severity"] == "warn"
    assert pairs[0]["reason"] == "2.4 % of the background frame is clipped"
    assert "covers 4.0 %" in pairs[1]["reason"]


def test_a_pair_tells_everything_the_page_shows(client: TestClient) -> None:
    pair = first_pair(client)
    assert pair["size"] == [300, 200]
    assert [one["kind"] for one in pair["pictures"]] == [
        "result",
        "background",
        "foreground",
        "taken",
    ]
    assert pair["pictures"][1]["note"] == "f/2.8, ISO 100"
    assert {mark["kind"] for mark in pair["marks"]} == {
        "flags",
        "sources",
        "blur",
        "zones",
        "clipped",
    }
    assert pair["flags"][0]["box"] == [40, 30, 60, 50]
    assert pair["flags"][0]["spots"] == [[40, 30, 60, 50]]
    assert not pair["undo"]


def test_every_setting_is_a_field_with_its_unit_and_range(client: TestClient) -> None:
    shown = {field["name"]: field for field in first_pair(client)["fields"]}
    for stage in fields(MergeSettings):
        for item in fields(getattr(MergeSettings(), stage.name)):
            field = shown.pop(f"{stage.name}.{item.name}")
            assert field["help"] == item.metadata["help"]
            assert (field["unit"], field["low"]) == (item.metadata["unit"], item.metadata["low"])
    assert not shown


def test_no_path_of_this_machine_is_told(client: TestClient, shoot: Path) -> None:
    failed = {"name": "torn", "status": "failed", "reason": f"{shoot}/torn.tif: is damaged"}
    (shoot / "summary.json").write_text(json.dumps({"pairs": [failed]}))
    assert client.get("/pairs").json()["left_out"] == ["torn is not shown: torn.tif: is damaged"]
    pair = client.get("/pairs").json()["pairs"][0]["id"]
    for address in ("/pairs", f"/pairs/{pair}", "/news"):
        assert str(shoot.parent) not in client.get(address).text


def test_tiles_arrive_and_unknown_ones_do_not(client: TestClient) -> None:
    pair = first_pair(client)
    for picture in pair["pictures"]:
        tile = client.get(f"/tiles/{picture['id']}/0/0/0")
        assert tile.headers["content-type"] == "image/jpeg"
        with Image.open(io.BytesIO(tile.content)) as image:
            assert image.size == (300, 200)
    known = pair["pictures"][0]["id"]
    for address in (
        f"/tiles/{known}/0/9/9",
        f"/tiles/{known}/7/0/0",
        "/tiles/other/0/0/0",
        f"/tiles/{known}/0/-1/0",
    ):
        assert client.get(address).status_code == 404


def test_two_hundred_tiles_at_once(client: TestClient) -> None:
    pictures = [one["id"] for one in first_pair(client)["pictures"]]
    addresses = [f"/tiles/{pictures[k % len(pictures)]}/{k % 2}/0/0" for k in range(200)]
    with ThreadPoolExecutor(32) as pool:
        answers = list(pool.map(client.get, addresses))
    assert [answer.status_code for answer in answers] == [200] * 200
    same: dict[str, bytes] = {}
    for address, answer in zip(addresses, answers, strict=True):
        assert same.setdefault(address, answer.content) == answer.content


def test_marks_are_clear_where_nothing_is_marked(client: TestClient) -> None:
    marks = {mark["kind"]: mark["id"] for mark in first_pair(client)["marks"]}
    answer = client.get(f"/marks/{marks['flags']}")
    assert answer.headers["content-type"] == "image/png"
    with Image.open(io.BytesIO(answer.content)) as image:
        rgba = np.asarray(image)
    assert rgba.shape == (200, 300, 4)
    inside = np.zeros((200, 300), bool)
    inside[30:80, 40:100] = True
    assert rgba[..., 3][~inside].max() == 0
    assert rgba[..., 3][inside].min() >= 0.25 * 255
    assert np.unique(rgba[..., 3][inside]).size >= 2  # hatched, not only tinted


def test_painting_undoing_and_deciding_answer_with_the_pair(
    client: TestClient, shoot: Path
) -> None:
    pair = first_pair(client)["id"]
    stroke = {"points": [[10, 20], [30, 20.5]], "diameter_px": 8, "role": "foreground"}
    painted = client.post(f"/pairs/{pair}/strokes", json={"strokes": [stroke]}).json()
    assert painted["strokes"] == [{**stroke, "points": [[10, 20], [30, 20.5]]}]
    assert painted["undo"]
    assert painted["stale"]
    undone = client.post(f"/pairs/{pair}/undo", json={}).json()
    assert (undone["strokes"], undone["redo"]) == ([], True)
    redone = client.post(f"/pairs/{pair}/redo", json={}).json()
    assert len(redone["strokes"]) == 1
    decided = client.post(f"/pairs/{pair}/decision", json={"decision": "sent-back"}).json()
    assert decided["decision"] == "sent-back"
    kept = read_sidecar(sidecar_path(shoot / "loud.tif"))
    assert kept.decision == "sent-back"
    assert kept.size == (300, 200)
    news = {one["id"]: one["revision"] for one in client.get("/news").json()}
    assert news[pair] == decided["revision"] > painted["revision"]


@pytest.mark.parametrize(
    ("path", "body", "status"),
    [
        ("strokes", b"{", 400),
        ("strokes", b"[]", 400),
        ("strokes", b'{"strokes": 3}', 422),
        ("strokes", b"[" * 50_000, 400),
        ("strokes", b"\xff\xfe", 400),
        ("decision", b'{"decision": "maybe"}', 422),
        ("decision", b"{}", 422),
        ("ties", b'{"ties": [[1, 2]]}', 422),
        ("ties", b'{"ties": [[[1e99, 0], [0, 0]]]}', 422),
        ("ties", b'{"ties": [[[1' + 310 * b"0" + b", 0], [0, 0]]]}", 422),
        (
            "strokes",
            b'{"strokes": [{"points": [[1' + 310 * b"0" + b', 0]], "diameter_px": 5,'
            b' "role": "foreground"}]}',
            422,
        ),
        ("settings", b'{"values": {"discs.disc_px": 1' + 310 * b"0" + b"}}", 422),
        ("settings", b'{"values": {"discs.disc_px": 1e400}}', 422),
        ("zone", b'{"x": "left", "y": 3, "role": "foreground"}', 400),
        ("zone", b'{"x": 1e12, "y": 3, "role": "foreground"}', 400),
        ("repair", b'{"flag": 1}', 400),
        ("nothing", b"{}", 404),
    ],
)
def test_bodies_that_make_no_sense_get_a_sentence(
    client: TestClient, path: str, body: bytes, status: int
) -> None:
    pair = first_pair(client)
    answer = client.post(f"/pairs/{pair['id']}/{path}", content=body, headers=JSON)
    assert answer.status_code == status
    if path != "nothing":
        sentence = answer.json()["error"]
        assert 10 < len(sentence) < 400
        assert "Traceback" not in sentence
    assert client.get(f"/pairs/{pair['id']}").json()["revision"] == pair["revision"]


def test_pairs_that_there_are_not_get_a_sentence(client: TestClient) -> None:
    for answer in (
        client.get("/pairs/nobody"),
        client.post("/pairs/nobody/strokes", json={"strokes": []}),
        client.post("/pairs/nobody/cancel", json={}),
        client.get("/static/nothing.js"),
    ):
        assert answer.status_code == 404
        assert answer.json() == {"error": "there is no such thing; reload the page"}
    assert client.get("/pictures/nothing").status_code == 404
    assert client.get("/marks/nothing").status_code == 404


def test_a_defect_is_not_taken_for_an_unknown_name(
    client: TestClient, session: Session, monkeypatch: pytest.MonkeyPatch
) -> None:
    pair = first_pair(client)["id"]
    monkeypatch.setattr(session, "document", lambda _: {}["flags"])
    answer = client.get(f"/pairs/{pair}")
    assert answer.status_code == 500
    assert answer.json() == {"error": "KeyError: 'flags'; this is a fault of blendkit"}


def test_a_frame_that_went_away_is_to_be_put_back(client: TestClient, shoot: Path) -> None:
    marks = {mark["kind"]: mark["id"] for mark in first_pair(client)["marks"]}
    (shoot / "loud-wide.tif").unlink()
    answer = client.get(f"/marks/{marks['clipped']}")
    assert answer.status_code == 422
    assert answer.json()["error"] == (
        "loud-wide.tif: cannot be read (No such file or directory); put it back and reload the page"
    )


@pytest.mark.parametrize(
    ("number", "sentence"),
    [
        (errno.ENOSPC, "/cache/0.rows: the disk is full: free some space or choose another folder"),
        (
            errno.ENOENT,
            "0.rows: cannot be read (No such file or directory); put it back and reload the page",
        ),
    ],
)
def test_what_cannot_be_written_is_told_from_what_cannot_be_read(
    client: TestClient, monkeypatch: pytest.MonkeyPatch, number: int, sentence: str
) -> None:
    def fail(*_: object) -> None:
        raise OSError(number, os.strerror(number), "/cache/0.rows")

    known = first_pair(client)["pictures"][0]["id"]
    monkeypatch.setattr("blendkit.review.pyramid._fill_levels", fail)
    answer = client.get(f"/tiles/{known}/0/0/0")
    assert (answer.status_code, answer.json()["error"]) == (422, sentence)


def test_a_merge_stopped_once_its_result_was_there_leaves_nothing_accepted(
    session: Session,
) -> None:
    state = next(iter(session.pairs.values()))
    for written, decision in ((False, "accepted"), (True, "open")):
        state.decide("accepted")
        session._works[state.id] = state.work(), stamp_of(state.files.result)
        if written:
            state.files.result.write_bytes(b"another result")
        session._ended(state.id, Job("cancelled"))
        assert read_sidecar(state.path).decision == decision
