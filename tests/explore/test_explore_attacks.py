"""The local page's server under odd requests: a 4xx with a sentence, and it goes on serving."""

import http.client
import json
import shutil
import socket
import subprocess
import threading
import time
from pathlib import Path

import pytest

import blownwing.explore
from blownwing.explore.server import LOOPBACK, MOST_CONNECTIONS, Session, server_for

PLAIN = """title = "Plain wing"
[flow]
airspeed = 30.0
alpha = 3.0
[wing]
[[wing.stations]]
y = 0.0
chord = 1.0
[[wing.stations]]
y = 3.0
chord = 1.0
[[propellers]]
name = "fan"
kind = "disc"
position = [-0.6, 1.5, 0.0]
diameter = 0.8
mirror = true
thrust = 80.0
[model]
chordwise = 2
spanwise = 8
jet_around = 8
jet_rings = 8
"""


@pytest.fixture(scope="module")
def served(tmp_path_factory):
    folder = tmp_path_factory.mktemp("served")
    (folder / "wing.toml").write_text(PLAIN, encoding="utf-8")
    session = Session(folder / "wing.toml")
    server = server_for(session)
    thread = threading.Thread(target=server.serve_forever, daemon=True)
    thread.start()
    yield session, server.server_address[1]
    server.shutdown()
    server.server_close()
    thread.join(5.0)


def raw(served, head, body=b"", wait=300.0):
    """Send bytes as they are; returns status and data of the answer, or None when cut off."""
    session, port = served
    with socket.create_connection((LOOPBACK, port), timeout=wait) as line:
        line.sendall(head.replace("TOKEN", session.token).encode("latin-1") + b"\r\n\r\n" + body)
        answer = http.client.HTTPResponse(line)
        try:
            answer.begin()
        except (http.client.HTTPException, ConnectionError):
            return None
        text = answer.read()
        return answer.status, json.loads(text) if text[:1] == b"{" else text


def asked(served, body, name="solve"):
    data = body if isinstance(body, bytes) else json.dumps(body).encode()
    head = f"POST /TOKEN/{name} HTTP/1.1\r\nHost: {LOOPBACK}:{served[1]}\r\n"
    return raw(served, head + f"Content-Length: {len(data)}", data)


def still_there(served):
    head = f"GET /TOKEN/case HTTP/1.1\r\nHost: {LOOPBACK}:{served[1]}"
    status, answer = raw(served, head)
    assert status == 200 and answer["case"]["title"] == "Plain wing"


NUMBERS = ["flow.alpha", "flow.airspeed", "propellers.0.diameter", "propellers.0.thrust",
           "propellers.0.incidence", "propellers.0.position", "propellers.0.spin"]  # fmt: skip
ODD = [[1.0], [[1.0]], [], {}, {"a": 1}, None, True, "x", "", 1e300, 1e999, -1e300, 10**400,
       [1, [2], 3], [True, 1.0, 0.0], "\ud800", ["\udfff"], [1e-310, 1.5, 1e300]]  # fmt: skip


@pytest.mark.parametrize("key", NUMBERS)
@pytest.mark.parametrize("value", ODD, ids=lambda v: repr(v)[:12])
def test_odd_values_of_a_field(served, key, value):
    status, answer = asked(served, json.dumps({"edits": {key: value}, "dragging": True}).encode())
    assert 400 <= status < 500, answer
    assert answer["error"] and "\n" not in answer["error"]


@pytest.mark.parametrize("key", ["flow.airspeed", "propellers.0.diameter", "propellers.0.thrust"])
@pytest.mark.parametrize("value", [5e-324, 1e-310, 2.3e-308, -1e-310])
def test_subnormal_values_are_refused_or_solved(served, key, value):
    status, answer = asked(served, {"edits": {key: value}, "dragging": True})
    tiny_thrust = key.endswith("thrust") and value > 0.0
    assert status == 200 if tiny_thrust else 400 <= status < 500, answer


@pytest.mark.parametrize(
    "body",
    [{"edits": {"\ud800": 1}}, {"\udfff": 1, "edits": {"flow.\ud800": 2}},
     {"edits": {"flow.alpha\n": 1}}, {"edits": {"": 1}}, {"edits": {"flow..alpha": 1}},
     {"edits": {"propellers.99999999999999999999.thrust": 1}}, {"edits": "x"}, {"edits": 1},
     {"edits": {"propellers.٣.thrust": 5}}],
    ids=range(9),
)  # fmt: skip
def test_odd_keys(served, body):
    status, answer = asked(served, body)
    assert 400 <= status < 500 and answer["error"]


@pytest.mark.parametrize("name", [["a.toml"], {"a": 1}, 3, "\ud800.toml", "a\ud800.toml",
                                  "x" * 300 + ".toml", "wing.toml"])  # fmt: skip
def test_odd_file_names(served, name):
    status, answer = asked(served, {"edits": {}, "file": name, "replace": True}, "save")
    assert status == 400 and answer["error"]
    assert sorted(p.name for p in served[0].path.parent.iterdir()) == ["wing.toml"]


@pytest.mark.parametrize(
    "length",
    ["²", "١", "-1", "+5", " ", "", "1e3", "0x10", "5, 5", "9" * 5000, "1_0", "100001", "5.0"],
)
def test_odd_content_lengths(served, length):
    head = f"POST /TOKEN/solve HTTP/1.1\r\nHost: {LOOPBACK}:{served[1]}\r\n"
    value = length.encode().decode("latin-1")
    status, answer = raw(served, f"{head}Content-Length: {value}", b'{"a":1}')
    assert status in (400, 431) and (status == 431 or "bytes" in answer["error"])
    still_there(served)


def test_no_length_chunks_and_a_body_that_ends_early(served):
    head = f"POST /TOKEN/solve HTTP/1.1\r\nHost: {LOOPBACK}:{served[1]}"
    assert raw(served, head)[0] == 400
    assert raw(served, f"{head}\r\nTransfer-Encoding: chunked", b"0\r\n\r\n")[0] == 400
    with socket.create_connection((LOOPBACK, served[1]), timeout=10) as line:
        text = f"{head}\r\nContent-Length: 50\r\n\r\n{{".replace("TOKEN", served[0].token)
        line.sendall(text.encode())
        line.shutdown(socket.SHUT_WR)
        assert line.recv(100).startswith(b"HTTP/1.1 400")
    still_there(served)


def test_browsers_that_leave_print_nothing(served, capfd):
    for _ in range(10):
        line = socket.create_connection((LOOPBACK, served[1]))
        line.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, b"\1\0\0\0\0\0\0\0")  # resets
        line.sendall(b"GET / HTTP/1.1\r\nHo")
        line.close()
    time.sleep(0.3)
    still_there(served)
    printed = capfd.readouterr()
    assert printed.out == printed.err == ""


def test_many_connections_do_not_add_up(served):
    before = threading.active_count()
    lines = [socket.create_connection((LOOPBACK, served[1]), timeout=10) for _ in range(200)]
    try:
        end = time.monotonic() + 10.0
        while time.monotonic() < end:
            turned_away = sum(_closed(line) for line in lines)
            if turned_away >= 200 - MOST_CONNECTIONS:
                break
            time.sleep(0.05)
        print(f"{turned_away} of 200 connections turned away, "
              f"{threading.active_count() - before} threads")  # fmt: skip
        assert turned_away == 200 - MOST_CONNECTIONS
        assert threading.active_count() - before <= MOST_CONNECTIONS
    finally:
        for line in lines:
            line.close()
    end = time.monotonic() + 10.0
    while threading.active_count() > before and time.monotonic() < end:
        time.sleep(0.05)
    still_there(served)


def _closed(line):
    """Whether the server has answered and closed."""
    line.setblocking(False)
    try:
        return line.recv(100, socket.MSG_PEEK)[:12] == b"HTTP/1.1 503"
    except BlockingIOError:
        return False
    except ConnectionError:
        return True


PAGE_WITHOUT_A_SERVER = """
const said = {}, pressed = {};
const node = (id) => new Proxy(function () {}, {
  get: (target, key) => key === "textContent" ? said[id] : key === Symbol.toPrimitive ? () => ""
    : key === Symbol.iterator ? [][Symbol.iterator].bind([])
    : key === "getAttribute" ? () => "false"
    : key === "addEventListener" ? (name, heard) => { pressed[id + " " + name] = heard; }
    : key === "trim" ? () => "x.toml" : node(id),
  set: (target, key, value) => { if (key === "textContent") said[id] = value; return true; },
  apply: () => node(id),
});
let look = null;
const asked = [];
Object.assign(globalThis, {
  document: { getElementById: node, body: node("body"), addEventListener: () => {} },
  window: node("window"), setInterval: (run) => { look = run; }, setTimeout: () => 0,
  fetch: async (name) => { asked.push(name); throw new TypeError("refused"); },
});
await import("./main.js");
for (let k = 0; k < 20; k += 1) await null;
const first = said.state;
said.state = "";
await look();
const second = said.state;
await pressed["save click"]();
for (let k = 0; k < 20; k += 1) await null;
console.log(JSON.stringify([first, second, said.saved, asked]));
"""


@pytest.mark.skipif(shutil.which("node") is None, reason="node is not installed")
def test_the_page_says_when_the_server_is_gone(tmp_path):
    page = Path(blownwing.explore.__file__).with_name("page")
    for path in page.glob("*.js"):
        shutil.copy(path, tmp_path)
    (tmp_path / "package.json").write_text('{"type": "module"}', encoding="utf-8")
    script = tmp_path / "tried.js"
    script.write_text(PAGE_WITHOUT_A_SERVER, encoding="utf-8")
    ran = subprocess.run(["node", str(script)], capture_output=True, text=True,
                         timeout=30, check=False)  # fmt: skip
    assert ran.returncode == 0, ran.stderr
    first, second, saved, asked = json.loads(ran.stdout)
    assert all("does not answer any more" in text for text in (first, second, saved))
    assert asked == ["case", "alive", "save"]
