"""The local server: loopback only, every address behind a random token, one solve at a time.

It serves its own page and answers from the case; the only file it writes is a case file, beside
the one that was opened and never outside its folder.
"""

from __future__ import annotations

import contextlib
import json
import re
import secrets
import sys
import threading
from collections.abc import Mapping
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from importlib.resources import files
from pathlib import Path
from typing import Any

from blownwing.case.reader import read_case
from blownwing.case.rewrite import rewritten
from blownwing.errors import InputError, SolveError
from blownwing.explore.answer import case_data, edited, solution_data, started
from blownwing.explore.preview import answerer
from blownwing.propeller.sources import input_files
from blownwing.solution.files import check_outputs, write_text

LOOPBACK = "127.0.0.1"
MOST_CONNECTIONS = 32  # a browser keeps six
_LARGEST_BODY = 100_000  # bytes
_BUSY = (
    b"HTTP/1.1 503 Service Unavailable\r\nContent-Type: text/plain\r\n"
    b"Content-Length: 21\r\nConnection: close\r\n\r\ntoo many connections\n"
)
_FILE_NAME = re.compile(r"[A-Za-z0-9][A-Za-z0-9 _.-]{0,80}\.toml")
_SCRIPTS = ("acting", "asking", "curves", "dom", "fields", "frame", "main", "numbers", "snapshots",
            "state", "views")  # fmt: skip
_PAGES = {
    "": ("page.html", "text/html; charset=utf-8"),
    "page.css": ("page.css", "text/css; charset=utf-8"),
} | {f"{name}.js": (f"{name}.js", "text/javascript; charset=utf-8") for name in _SCRIPTS}
_HEADERS = {
    "Content-Security-Policy": "default-src 'none'; script-src 'self'; style-src 'self'; "
    "connect-src 'self'; img-src data:; base-uri 'none'; form-action 'none'; "
    "frame-ancestors 'none'",
    "Cache-Control": "no-store",
    "Referrer-Policy": "no-referrer",
    "X-Content-Type-Options": "nosniff",
}


class Session:
    """One opened case: its file, the token of its addresses, solves one after the other."""

    def __init__(self, path: str | Path) -> None:
        """Read the case.

        Raises:
            InputError: as `read_case`.
        """
        self.path = Path(path)
        self.read = read_case(self.path)
        self.case = started(self.read)
        self.token = secrets.token_urlsafe(24)
        self._answer = answerer()
        self._solving = threading.Lock()

    def opened(self) -> dict[str, Any]:
        """Return the case as opened and the name proposed for saving."""
        case = case_data(self.case) | {"alphas": list(self.read.alphas)}
        return {"case": case, "file": f"{self.path.stem}_explored.toml"}

    def solved(self, request: Mapping[str, Any]) -> dict[str, Any]:
        """Solve the edited case; while something is dragged perhaps on a coarser model.

        Raises:
            InputError: edits that are not accepted.
            SolveError: no converged result.
        """
        case = edited(self.case, _edits(request))
        dragging = request.get("dragging") is True
        with self._solving:
            answer = self._answer(case, dragging)
        return {"case": case_data(case), "result": solution_data(case, *answer)}

    def saved(self, request: Mapping[str, Any]) -> dict[str, Any]:
        """Write the edited case beside the opened one, with the comments of the text that was read.

        A polar stays one unless the incidence was edited. The answer says whether the comments
        could stay.

        Raises:
            InputError: edits or a file name that are not accepted, or a file that exists and may
                not be replaced.
        """
        name = request.get("file")
        if not isinstance(name, str) or not _FILE_NAME.fullmatch(name):
            raise InputError(
                "file name: accepted are letters, digits, blanks, _ . and -, ending in .toml; the "
                "file goes beside the opened case"
            )
        target = self.path.parent / name
        check_outputs([target], [self.path, *input_files(self.case)])
        if target.exists() and request.get("replace") is not True:
            return {"exists": name}
        case = edited(self.read, _edits(request))
        text = rewritten(self.read.to_toml(), case, self.path.parent)
        write_text(target, text)
        return {"saved": name, "comments": case == self.read or text != case.to_toml()}


def _edits(request: Mapping[str, Any]) -> dict[str, Any]:
    edits = request.get("edits", {})
    if not isinstance(edits, dict):
        raise InputError("edits: accepted is a table of dotted paths and values")
    return edits


def server_for(session: Session, port: int = 0) -> ThreadingHTTPServer:
    """Return a server of the session on the loopback address, not yet serving.

    Args:
        session: what it serves.
        port: 0 takes any free one.

    Raises:
        InputError: the port is taken or not permitted.
    """
    handler = type("Handler", (_Handler,), {"session": session})
    try:
        server = _Server((LOOPBACK, port), handler)
    except OSError as error:
        raise InputError(f"port {port}: cannot be opened ({error.strerror})") from error
    return server


def address(session: Session, server: ThreadingHTTPServer) -> str:
    """Return the address to open in a browser."""
    return f"http://{LOOPBACK}:{server.server_address[1]}/{session.token}/"


class _Server(ThreadingHTTPServer):
    """A thread for each connection, of which there are at most `MOST_CONNECTIONS`."""

    daemon_threads = True
    request_queue_size = 2 * MOST_CONNECTIONS

    def __init__(self, place: tuple[str, int], handler: type[BaseHTTPRequestHandler]) -> None:
        self._free = threading.BoundedSemaphore(MOST_CONNECTIONS)
        super().__init__(place, handler)

    def process_request(self, request: Any, client_address: Any) -> None:
        if self._free.acquire(blocking=False):
            super().process_request(request, client_address)
            return
        with contextlib.suppress(OSError):  # the one turned away may be gone already
            request.sendall(_BUSY)
        self.shutdown_request(request)

    def process_request_thread(self, request: Any, client_address: Any) -> None:
        try:
            super().process_request_thread(request, client_address)
        finally:
            self._free.release()

    def handle_error(self, request: Any, client_address: Any) -> None:
        if not isinstance(sys.exc_info()[1], OSError):  # a browser that left is no error
            super().handle_error(request, client_address)


class _Handler(BaseHTTPRequestHandler):
    """Routes of one session; anything without its token is not found."""

    session: Session
    protocol_version = "HTTP/1.1"
    timeout = 30.0  # s without a byte, after which a connection's place is free again
    disable_nagle_algorithm = True  # headers and body leave together, without a wait between
    wbufsize = -1

    def do_GET(self) -> None:
        name = self._named()
        if name == "case":
            self._send_json(200, self.session.opened())
        elif name in _PAGES:
            file, kind = _PAGES[name]
            text = (files("blownwing.explore") / "page" / file).read_bytes()
            self._send(200, text, kind)
        elif name == "alive":
            self._send_json(200, {"alive": True})
        else:
            self._send(404, b"not found\n", "text/plain")

    def do_POST(self) -> None:
        routes = {"solve": self.session.solved, "save": self.session.saved}
        name = self._named()
        if name not in routes:
            self.close_connection = True  # the body is left unread
            self._send(404, b"not found\n", "text/plain")
            return
        try:
            self._send_json(200, routes[name](self._body()))
        except InputError as error:
            self._send_json(400, {"error": str(error)})
        except SolveError as error:
            self._send_json(422, {"error": str(error)})
        except MemoryError:
            self._send_json(422, {"error": "there is not enough memory for this case"})

    def _named(self) -> str | None:
        """The part of the path behind the token, None for a wrong token, host or origin.

        The host is checked so that no other site's name can be pointed at this server.
        """
        host = f"{LOOPBACK}:{self.connection.getsockname()[1]}"
        if self.headers.get("Host") != host:
            return None
        if self.headers.get("Origin", f"http://{host}") != f"http://{host}":
            return None
        token, _, name = self.path.removeprefix("/").partition("/")
        same = secrets.compare_digest(token.encode(), self.session.token.encode())
        return name if same else None

    def _body(self) -> dict[str, Any]:
        length = self.headers.get("Content-Length", "")
        plain = length.isascii() and length.isdigit() and len(length) <= len(str(_LARGEST_BODY))
        if not plain or int(length) > _LARGEST_BODY:
            self.close_connection = True
            raise InputError(f"request: accepted is a body of at most {_LARGEST_BODY} bytes")
        try:
            body = self.rfile.read(int(length))
            if len(body) < int(length):
                self.close_connection = True
            found = json.loads(body, parse_constant=_no_constant)
            json.dumps(found, ensure_ascii=False).encode()  # refuses halves of surrogate pairs
        except (ValueError, RecursionError) as error:
            raise InputError(
                "request: accepted is JSON of Unicode text and finite numbers"
            ) from error
        if not isinstance(found, dict):
            raise InputError("request: accepted is a JSON object")
        return found

    def _send_json(self, status: int, data: Mapping[str, Any]) -> None:
        body = json.dumps(data, allow_nan=False, ensure_ascii=False).encode()
        self._send(status, body, "application/json; charset=utf-8")

    def _send(self, status: int, body: bytes, kind: str) -> None:
        self.send_response(status)
        self.send_header("Content-Type", kind)
        self.send_header("Content-Length", str(len(body)))
        for name, value in _HEADERS.items():
            self.send_header(name, value)
        self.end_headers()
        self.wfile.write(body)

    def log_message(self, format: str, *args: Any) -> None:
        """Keep the terminal quiet: the token would stand in every line."""


def _no_constant(name: str) -> float:
    raise ValueError(f"{name} is not a number")
