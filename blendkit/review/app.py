"""The session behind addresses: Starlette routes, JSON in and out.

No part of an address becomes a path: static files are listed when the server starts, pictures and
pairs are looked up by their ids.
"""

import asyncio
import json
from collections.abc import Awaitable, Callable
from importlib import resources
from pathlib import Path
from typing import Any

from starlette.applications import Starlette
from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import JSONResponse, Response
from starlette.routing import Route

from blendkit.errors import BlendkitError
from blendkit.files.atomic import explain
from blendkit.review.guard import TooLarge
from blendkit.review.preview import Superseded
from blendkit.review.session import Session, UnknownNameError

_KINDS = {
    "html": "text/html; charset=utf-8",
    "css": "text/css; charset=utf-8",
    "js": "text/javascript; charset=utf-8",
}
_KEEP = {"cache-control": "private, max-age=86400, immutable"}
_ASK_AGAIN = {"cache-control": "no-store"}
Handler = Callable[[Request], Awaitable[Response]]


class BadRequest(Exception):  # noqa: N818 - becomes an answer, not an error
    """A request that does not say what it should; args: status and sentence."""


def static_files() -> dict[str, tuple[bytes, str]]:
    """Return the page's files by name, with their kinds."""
    found = {}
    root = resources.files("blendkit.review").joinpath("static")
    for folder in (root, root.joinpath("vendor")):
        for item in folder.iterdir():
            kind = _KINDS.get(item.name.rpartition(".")[2])
            if kind is not None and item.is_file():
                found[item.name] = (item.read_bytes(), kind)
    return found


def make_app(session: Session, *, end: Callable[[], None] = lambda: None) -> Starlette:
    """Return the app of a session.

    end: called when the page asks for the end of the session.
    """
    return Starlette(
        routes=[
            *_reading(session),
            *_changing(session),
            Route("/end", _ending(end), methods=["POST"]),
        ],
        exception_handlers={
            BadRequest: _refused,
            TooLarge: _too_large,
            BlendkitError: _one_line,
            OSError: _disk,
            Superseded: _superseded,
            UnknownNameError: _unknown,
            Exception: _defect,
        },
    )


def _reading(session: Session) -> list[Route]:
    files = static_files()

    async def page(_: Request) -> Response:
        data, kind = files["index.html"]
        return Response(data, media_type=kind, headers=_ASK_AGAIN)

    async def static(request: Request) -> Response:
        name = request.path_params["name"]
        if name not in files:
            raise UnknownNameError(name)
        data, kind = files[name]
        return Response(data, media_type=kind, headers=_ASK_AGAIN)

    async def pairs(_: Request) -> Response:
        return _json(await run_in_threadpool(session.listing))

    async def pair(request: Request) -> Response:
        return _json(await run_in_threadpool(session.document, request.path_params["pair"]))

    async def news(_: Request) -> Response:
        return _json(await run_in_threadpool(session.news))

    async def tile(request: Request) -> Response:
        place = request.path_params
        data = await run_in_threadpool(
            session.tile, place["id"], place["level"], place["column"], place["row"]
        )
        return _bytes(data, "image/jpeg")

    async def picture(request: Request) -> Response:
        return _bytes(session.picture(request.path_params["id"]), "image/jpeg")

    async def mark(request: Request) -> Response:
        data = await run_in_threadpool(session.mark, request.path_params["id"])
        return _bytes(data, "image/png")

    return [
        Route("/", page),
        Route("/static/{name}", static),
        Route("/pairs", pairs),
        Route("/pairs/{pair}", pair),
        Route("/news", news),
        Route("/tiles/{id}/{level:int}/{column:int}/{row:int}", tile),
        Route("/pictures/{id}", picture),
        Route("/marks/{id}", mark),
    ]


def _changing(session: Session) -> list[Route]:
    def change(path: str, run: Callable[[str, dict[str, Any]], object]) -> Route:
        """Return a route that changes a pair and answers with the pair as it then is."""

        async def handler(request: Request) -> Response:
            body, key = await _body(request), request.path_params["pair"]
            await run_in_threadpool(run, key, body)
            return _json(await run_in_threadpool(session.document, key))

        return Route(f"/pairs/{{pair}}/{path}", handler, methods=["POST"])

    async def preview(request: Request) -> Response:
        await _body(request)
        return _json(await run_in_threadpool(session.preview, request.path_params["pair"]))

    async def repair(request: Request) -> Response:
        body, key = await _body(request), request.path_params["pair"]
        flag, mode = _whole(body, "flag"), _word(body, "mode")
        if not body.get("apply"):
            return _json(await run_in_threadpool(session.try_repair, key, mode))
        await run_in_threadpool(session.keep_repair, key, flag, mode)
        return _json(await run_in_threadpool(session.document, key))

    def state(key: str) -> Any:
        return session.pair(key)

    return [
        change(
            "decision", lambda key, body: state(key).decide(body.get("decision"), body.get("shown"))
        ),
        change("strokes", lambda key, body: session.paint(key, body.get("strokes"))),
        change(
            "zone",
            lambda key, body: session.take_zone(
                key, _number(body, "x"), _number(body, "y"), body.get("role")
            ),
        ),
        change("undo", lambda key, _: state(key).undo(session.size(state(key)))),
        change("redo", lambda key, _: state(key).redo(session.size(state(key)))),
        change("ties", lambda key, body: state(key).tie(body.get("ties"))),
        change("settings", lambda key, body: state(key).set(body.get("values"))),
        change("merge", lambda key, _: session.merge(key)),
        change("repair/back", lambda key, _: session.take_repair_back(key)),
        change("cancel", lambda key, _: session.jobs.cancel(state(key).id)),
        Route("/pairs/{pair}/preview", preview, methods=["POST"]),
        Route("/pairs/{pair}/repair", repair, methods=["POST"]),
    ]


def _ending(end: Callable[[], None]) -> Handler:
    async def handler(request: Request) -> Response:
        await _body(request)
        # The answer goes out first; saving and stopping are the server's last steps.
        asyncio.get_running_loop().call_later(0.2, end)
        return Response(status_code=204)

    return handler


async def _body(request: Request) -> dict[str, Any]:
    try:
        body = json.loads(await request.body())
    except (ValueError, RecursionError) as error:
        raise BadRequest(400, "the request is not JSON") from error
    if not isinstance(body, dict):
        raise BadRequest(400, "the request is not a JSON object")
    return body


def _number(body: dict[str, Any], name: str) -> float:
    value = body.get(name)
    if isinstance(value, bool) or not isinstance(value, int | float) or not abs(value) < 1_000_000:
        raise BadRequest(400, f"{name}: give a number")
    return float(value)


def _whole(body: dict[str, Any], name: str) -> int:
    return int(_number(body, name))


def _word(body: dict[str, Any], name: str) -> str:
    value = body.get(name)
    if not isinstance(value, str):
        raise BadRequest(400, f"{name}: give a word")
    return value


def _json(document: Any) -> Response:
    # All in ASCII: a file name that is not UTF-8 holds lone surrogates.
    text = json.dumps(document, allow_nan=False)
    return Response(text, media_type="application/json", headers=_ASK_AGAIN)


def _bytes(data: bytes | None, kind: str) -> Response:
    if data is None:
        return JSONResponse({"error": "there is no such picture; reload the page"}, status_code=404)
    return Response(data, media_type=kind, headers=_KEEP)


async def _disk(_: Request, error: Exception) -> Response:
    """Say what the disk refused: what is gone was to be read, as the page makes its own folders."""
    name = getattr(error, "filename", None) or "a file"
    if isinstance(error, FileNotFoundError | NotADirectoryError):
        name = Path(name).name
        reason = f"cannot be read ({error.strerror}); put it back and reload the page"
    else:
        reason = explain(error) if isinstance(error, OSError) else str(error)
    return JSONResponse({"error": f"{name}: {reason}"}, status_code=422)


async def _refused(_: Request, error: Exception) -> Response:
    status, sentence = error.args
    return JSONResponse({"error": sentence}, status_code=status)


async def _too_large(_: Request, __: Exception) -> Response:
    return JSONResponse({"error": "the request is too large"}, status_code=413)


async def _one_line(_: Request, error: Exception) -> Response:
    return JSONResponse({"error": " ".join(str(error).split())}, status_code=422)


async def _superseded(_: Request, __: Exception) -> Response:
    return Response(status_code=204)


async def _unknown(_: Request, __: Exception) -> Response:
    return JSONResponse({"error": "there is no such thing; reload the page"}, status_code=404)


async def _defect(_: Request, error: Exception) -> Response:
    """Say it on the page; the terminal shows where it happened, as the error is raised again."""
    why = f"{type(error).__name__}: {error}; this is a fault of blendkit"
    return JSONResponse({"error": " ".join(why.split())}, status_code=500)
