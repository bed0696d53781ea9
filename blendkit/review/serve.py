"""Runs the page: one server on 127.0.0.1, until it is asked to end."""

import secrets
import socket
import threading
import webbrowser
from collections.abc import Callable

import uvicorn

from blendkit.errors import OutputError
from blendkit.review.app import make_app
from blendkit.review.guard import Guard
from blendkit.review.session import Session

ADDRESS = "127.0.0.1"
_WAITING = 512


class _Announced(uvicorn.Server):
    """Says when it is there and when it is about to end.

    It is there once it obeys Ctrl-C: before, half an event loop may exist.
    """

    def __init__(self, config: uvicorn.Config) -> None:
        super().__init__(config)
        self.ready: Callable[[], None] = lambda: None
        self.ending: Callable[[], None] = lambda: None

    async def startup(self, sockets: list[socket.socket] | None = None) -> None:
        """Start, and say so."""
        await super().startup(sockets)
        self.ready()

    async def shutdown(self, sockets: list[socket.socket] | None = None) -> None:
        """Say so, and end once the requests under way are answered."""
        self.ending()
        await super().shutdown(sockets)


class Server:
    """A session behind a port of its own.

    port: 0 picks a free one.  url: the only address that opens the page.
    """

    def __init__(self, session: Session, *, port: int = 0) -> None:
        self.session = session
        self.token = secrets.token_urlsafe(24)
        self._socket = _bound(port)
        self.port = int(self._socket.getsockname()[1])
        self.url = f"http://{ADDRESS}:{self.port}/{self.token}/"
        hosts = frozenset({f"{ADDRESS}:{self.port}", f"localhost:{self.port}"})
        guarded = Guard(make_app(session, end=self.end), token=self.token, hosts=lambda: hosts)
        config = uvicorn.Config(
            guarded,
            log_level="error",
            access_log=False,
            lifespan="off",
            server_header=False,
            timeout_graceful_shutdown=3,
        )
        self._server = _Announced(config)
        self._server.ending = session.stop_previews

    def run(self, ready: Callable[[str], None] = lambda _: None) -> None:
        """Serve until Ctrl-C or until the page asks for the end; merges are ended, all is saved.

        ready: called with the url once the page is served.
        """
        self._server.ready = lambda: ready(self.url)
        try:
            self._server.run(sockets=[self._socket])
        except KeyboardInterrupt:
            pass  # uvicorn raises it again once it has ended in good order
        finally:
            self._socket.close()
            self.session.close()

    def end(self) -> None:
        """Ask the server to end."""
        self._server.should_exit = True


def _bound(port: int) -> socket.socket:
    opened = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    opened.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        opened.bind((ADDRESS, port))
        opened.listen(_WAITING)
    except OSError as error:
        opened.close()
        raise OutputError(f"port {port} is taken or not allowed; choose --port 0") from error
    return opened


def open_browser(url: str) -> None:
    """Open the page in the user's browser, without waiting for it."""
    threading.Thread(target=webbrowser.open, args=(url,), daemon=True).start()
