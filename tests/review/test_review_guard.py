"""Who is let in: only the printed address, only from its own page, only what is small enough."""

from pathlib import Path

import pytest
from starlette.testclient import TestClient

from blendkit.review.app import make_app, static_files
from blendkit.review.guard import MAX_BODY_BYTES, Guard
from blendkit.review.session import Session

HOST = "127.0.0.1:4711"
TOKEN = "a-token-for-tests"  # noqa: S105 - no secret


@pytest.fixture
def client(shoot: Path, tmp_path: Path) -> TestClient:
    session = Session(shoot, cache=tmp_path / "cache")
    app = Guard(make_app(session), token=TOKEN, hosts=lambda: frozenset({HOST}))
    return TestClient(app, base_url=f"http://{HOST}", raise_server_exceptions=False)


def test_the_page_opens_at_the_printed_address_and_nowhere_else(client: TestClient) -> None:
    page = client.get(f"/{TOKEN}/")
    assert page.status_code == 200
    assert "<title>blendkit review</title>" in page.text
    for path in ("/", "/pairs", "/wrong/pairs", f"/{TOKEN}x/pairs", f"/{TOKEN[:-1]}/pairs", "//"):
        answer = client.get(path)
        assert answer.status_code == 403, path
        assert "token" in answer.json()["error"]


@pytest.mark.parametrize(
    "host", ["evil.example:4711", "127.0.0.1", "127.0.0.1:4712", "localhost.evil.example:4711", ""]
)
def test_a_foreign_host_name_is_refused_even_with_the_token(client: TestClient, host: str) -> None:
    # DNS rebinding: a name of somebody else that resolves to this machine (RFC 9110, 7.4).
    assert client.get(f"/{TOKEN}/pairs", headers={"host": host}).status_code == 421


@pytest.mark.parametrize(
    "origin", ["http://evil.example", "null", f"https://{HOST}", "http://127.0.0.1:1"]
)
def test_a_foreign_origin_is_refused(client: TestClient, origin: str) -> None:
    for method in ("GET", "POST"):
        answer = client.request(method, f"/{TOKEN}/pairs", headers={"origin": origin})
        assert answer.status_code == 403
    own = client.get(f"/{TOKEN}/pairs", headers={"origin": f"http://{HOST}"})
    assert own.status_code == 200


def test_a_request_that_the_browser_calls_cross_site_is_refused(client: TestClient) -> None:
    for site, status in (
        ("cross-site", 403),
        ("same-site", 403),
        ("same-origin", 200),
        ("none", 200),
    ):
        assert client.get(f"/{TOKEN}/pairs", headers={"sec-fetch-site": site}).status_code == status


@pytest.mark.parametrize(
    "path",
    [
        "static/../app.py",
        "static/..%2Fapp.py",
        "static/%2e%2e/%2e%2e/errors.py",
        "static//etc/passwd",
        "static/vendor/openseadragon-6.1.1.min.js",
        "tiles/..%2F..%2Fetc%2Fpasswd/0/0/0",
        "pictures/%2Fetc%2Fpasswd",
        "marks/..",
        "pairs/..%2F..",
    ],
)
def test_no_part_of_an_address_becomes_a_path(client: TestClient, path: str) -> None:
    answer = client.get(f"/{TOKEN}/{path}")
    assert answer.status_code in (403, 404)
    assert b"root:" not in answer.content
    assert b"import" not in answer.content


def test_bodies_are_bounded_whether_or_not_they_state_their_length(client: TestClient) -> None:
    pair = client.get(f"/{TOKEN}/pairs").json()["pairs"][0]["id"]
    address, kind = f"/{TOKEN}/pairs/{pair}/strokes", {"content-type": "application/json"}
    large = b" " * (MAX_BODY_BYTES + 1)
    assert client.post(address, content=large, headers=kind).status_code == 413
    chunks = (large[:65536] for _ in range(17))
    assert client.post(address, content=chunks, headers=kind).status_code == 413
    lying = {**kind, "content-length": "many"}
    assert client.post(address, content=b"{}", headers=lying).status_code == 400
    assert client.get(f"/{TOKEN}/" + "x" * 5000).status_code == 414


def test_a_form_of_another_page_cannot_change_anything(client: TestClient) -> None:
    pair = client.get(f"/{TOKEN}/pairs").json()["pairs"][0]["id"]
    for kind in (
        "text/plain",
        "application/x-www-form-urlencoded",
        "multipart/form-data; boundary=x",
    ):
        answer = client.post(
            f"/{TOKEN}/pairs/{pair}/decision",
            content=b'{"decision": "accepted"}',
            headers={"content-type": kind},
        )
        assert answer.status_code == 415


def test_every_answer_forbids_foreign_content(client: TestClient) -> None:
    for path in (f"/{TOKEN}/", f"/{TOKEN}/pairs", "/"):
        headers = client.get(path).headers
        assert "default-src 'none'" in headers["content-security-policy"]
        assert headers["referrer-policy"] == "no-referrer"  # the token stays in the address bar
        assert headers["x-content-type-options"] == "nosniff"


def test_the_page_asks_for_nothing_from_elsewhere() -> None:
    for name, (data, _) in static_files().items():
        if "openseadragon" in name:
            continue
        text = data.decode()
        assert "http://" not in text, name
        assert "https://" not in text, name
        assert 'src="//' not in text, name
