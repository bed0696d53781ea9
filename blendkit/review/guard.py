"""Lets in the one person who has the opening address, and nothing that is too large.

The address carries a random token as its first part, so that no cookie is shared with other
programs on this machine.  `Host` must name this server (another name that resolves to 127.0.0.1
is refused), `Origin` must be the page itself, and bodies are bounded before they are read.
"""

import asyncio
import secrets
from collections.abc import Awaitable, Callable, MutableMapping
from contextlib import suppress
from typing import Any

from starlette.responses import JSONResponse

MAX_BODY_BYTES = 1 << 20
MAX_URL_BYTES = 2048

Message = MutableMapping[str, Any]
Receive = Callable[[], Awaitable[Message]]
Send = Callable[[Message], Awaitable[None]]
App = Callable[[Message, Receive, Send], Awaitable[None]]

VIEWER_STYLE = "sha256-9xTiqzfwFaL2SGb1rmr8gysEwVVjIvqWAgmZgqFqpEE="
"""The one style sheet that the tile viewer adds by itself (an outline on touch screens)."""

HEADERS = {
    "content-security-policy": "default-src 'none'; script-src 'self'; "
    f"style-src 'self' '{VIEWER_STYLE}'; "
    "img-src 'self' blob: data:; connect-src 'self'; base-uri 'none'; form-action 'none'; "
    "frame-ancestors 'none'",
    "x-content-type-options": "nosniff",
    "referrer-policy": "no-referrer",
    "cross-origin-resource-policy": "same-origin",
    "cross-origin-opener-policy": "same-origin",
}


class Guard:
    """Wraps an app: checks each request, takes the token off the path, adds safe headers.

    hosts: values of Host that name this server, such as "127.0.0.1:8765".
    """

    def __init__(self, app: App, *, token: str, hosts: Callable[[], frozenset[str]]) -> None:
        self._app = app
        self._token = token
        self._hosts = hosts

    async def __call__(self, scope: Message, receive: Receive, send: Send) -> None:
        """Answer, or refuse with a sentence."""
        if scope["type"] == "lifespan":
            await self._app(scope, receive, send)
            return
        if scope["type"] != "http":
            return
        refusal = self._refusal(scope)
        if refusal is not None:
            status, sentence = refusal
            response = JSONResponse({"error": sentence}, status_code=status, headers=HEADERS)
            await response(scope, receive, send)
            return
        prefix = f"/{self._token}"
        inner = {**scope, "path": scope["path"][len(prefix) :], "root_path": ""}
        inner.pop("raw_path", None)
        # The server ends while a preview is worked out: nobody waits for the answer any more.
        with suppress(asyncio.CancelledError):
            await self._app(inner, _bounded(receive), _with_headers(send))

    def _refusal(self, scope: Message) -> tuple[int, str] | None:
        headers = {name.decode("latin-1"): value for name, value in scope["headers"]}
        host = headers.get("host", b"").decode("latin-1")
        if host not in self._hosts():
            return 421, "this server answers under its own address only; open the printed one"
        origin = headers.get("origin", b"").decode("latin-1")
        if origin and origin != f"http://{host}":
            return 403, "asked by another page; open the printed address"
        if headers.get("sec-fetch-site", b"") not in (b"", b"same-origin", b"none"):
            return 403, "asked by another page; open the printed address"
        if len(scope.get("raw_path") or b"") + len(scope["query_string"]) > MAX_URL_BYTES:
            return 414, "the address is too long"
        given = scope["path"].split("/")[1:2]
        if not given or not secrets.compare_digest(given[0].encode(), self._token.encode()):
            return 403, "the address lacks its token; open the one that blendkit printed"
        return _body_refusal(scope["method"], headers)


def _body_refusal(method: str, headers: dict[str, bytes]) -> tuple[int, str] | None:
    length = headers.get("content-length", b"0")
    if not length.isdigit():
        return 400, "the length of the request is not a number"
    if int(length) > MAX_BODY_BYTES:
        return 413, f"the request has {int(length)} bytes; at most {MAX_BODY_BYTES} are taken"
    if method == "POST":
        kind = headers.get("content-type", b"").split(b";")[0].strip()
        if kind != b"application/json":  # a form of another page cannot send this kind unasked
            return 415, "requests that change something are JSON"
    return None


class TooLarge(Exception):  # noqa: N818 - ends one request, not the program
    """A body without a stated length went past the bound."""


def _bounded(receive: Receive) -> Receive:
    taken = 0

    async def bounded() -> Message:
        nonlocal taken
        message = await receive()
        taken += len(message.get("body", b""))
        if taken > MAX_BODY_BYTES:
            raise TooLarge
        return message

    return bounded


def _with_headers(send: Send) -> Send:
    extra = [(name.encode(), value.encode()) for name, value in HEADERS.items()]

    async def sending(message: Message) -> None:
        if message["type"] == "http.response.start":
            message = {**message, "headers": [*message["headers"], *extra]}
        await send(message)

    return sending
