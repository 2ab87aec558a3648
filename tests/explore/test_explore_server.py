"""The local page's server: who is let in, what may be changed, what is written, how fast it is."""

import http.client
import json
import re
import threading
from pathlib import Path

import pytest
from numpy.testing import assert_allclose

import blownwing.explore
from blownwing import InputError, read_case, solve
from blownwing.explore import preview
from blownwing.explore.answer import edited, started
from blownwing.explore.server import _SCRIPTS, LOOPBACK, Session, address, server_for

CASES = Path(__file__).parents[2] / "cases"
DEMO = CASES / "short_field_eight.toml"
TEXT = """
title = "Plain wing"
[flow]
airspeed = 30.0
alpha = [1.0, 3.0, 5.0]
[wing]
[[wing.stations]]
y = 0.0
chord = 1.0
[[wing.stations]]
y = 3.0
chord = 1.0
[[wing.flaps]]
from = 0.1
to = 0.5
chord_fraction = 0.25
deflection = 5.0
[[propellers]]
name = "fan"
kind = "disc"
position = [-0.6, 1.5, 0.0]
diameter = 0.8
mirror = true
thrust = 80.0
[model]
chordwise = 3
spanwise = 12
jet_around = 12
jet_rings = 8
"""


class Client:
    """Requests to a running server, with any header changed."""

    def __init__(self, session, server):
        self.session, self.port = session, server.server_address[1]

    def ask(self, name="", body=None, token=None, **headers):
        line = http.client.HTTPConnection(LOOPBACK, self.port, timeout=60)
        data = body if isinstance(body, bytes | None) else json.dumps(body).encode()
        place = f"/{self.session.token if token is None else token}/{name}"
        line.request("GET" if body is None else "POST", place, data, headers)
        answer = line.getresponse()
        text = answer.read()
        line.close()
        if answer.getheader("Content-Type", "").startswith("application/json"):
            return answer.status, json.loads(text)
        return answer.status, answer.getheaders()


@pytest.fixture
def client(tmp_path):
    (tmp_path / "wing.toml").write_text(TEXT, encoding="utf-8")
    session = Session(tmp_path / "wing.toml")
    server = server_for(session)
    thread = threading.Thread(target=server.serve_forever, daemon=True)
    thread.start()
    yield Client(session, server)
    server.shutdown()
    server.server_close()
    thread.join(5.0)


def test_only_the_token_on_the_loopback_address_is_let_in(client):
    assert client.ask()[0] == 200
    scripts = [f"{name}.js" for name in _SCRIPTS]
    assert {client.ask(name)[0] for name in ("page.css", *scripts)} == {200}
    folder = Path(blownwing.explore.__file__).parent / "page"
    assert sorted(scripts) == sorted(path.name for path in folder.glob("*.js"))
    for token in ("", "x", client.session.token[:-1], client.session.token + "x", ".."):
        assert client.ask(token=token)[0] == 404
        assert client.ask("solve", {}, token=token)[0] == 404
    assert client.ask(Host="evil.example")[0] == 404  # another name pointed at this address
    assert client.ask("solve", {}, Origin="http://evil.example")[0] == 404
    assert client.ask("../server.py")[0] == client.ask("server.py")[0] == 404
    assert len(client.session.token) >= 32


def test_the_page_modules_import_one_way():
    folder = Path(blownwing.explore.__file__).parent / "page"
    needs = {
        p.name: set(re.findall(r'from "\./(.+?)"', p.read_text())) for p in folder.glob("*.js")
    }
    assert max(len(p.read_text().splitlines()) for p in folder.glob("*.js")) < 300
    while needs:
        free = {name for name, others in needs.items() if not others & set(needs)}
        assert free, f"a circle among {sorted(needs)}"
        needs = {name: others for name, others in needs.items() if name not in free}


def test_every_answer_forbids_outside_content(client):
    headers = dict(client.ask()[1])
    assert headers["Content-Security-Policy"].startswith("default-src 'none'")
    assert headers["Cache-Control"] == "no-store" and headers["Referrer-Policy"] == "no-referrer"
    server = server_for(client.session)
    assert server.server_address[0] == "127.0.0.1"
    assert address(client.session, server).startswith("http://127.0.0.1:")
    with pytest.raises(InputError, match="cannot be opened"):
        server_for(client.session, server.server_address[1])
    server.server_close()


def test_edits_are_solved_at_rest_and_while_dragged(client):
    status, opened = client.ask("case")
    assert status == 200 and opened["file"] == "wing_explored.toml"
    assert opened["case"]["alpha"] == 3.0  # the middle of the polar
    edits = {"propellers.0.position": [-0.6, 1.2, 0.1], "propellers.0.thrust": 120.0,
             "flow.alpha": 4.0, "wing.flaps.0.deflection": 8.0}  # fmt: skip
    status, rest = client.ask("solve", {"edits": edits})
    assert status == 200 and rest["result"]["edges"]
    same = solve(client.session.case.replace(**edits))
    # The way there may leave the edges elsewhere by a five-hundredth of a radius.
    assert_allclose(rest["result"]["totals"]["CL"], same.totals["CL"], rtol=2e-4)
    assert_allclose(rest["result"]["strips"]["cl"], same.strips["cl"], atol=1e-3)
    assert not rest["result"]["provisional"]
    status, moving = client.ask("solve", {"edits": edits, "dragging": True})
    assert status == 200 and moving["result"]["edges"]
    own = not moving["result"][
        "provisional"
    ]  # as it is where an answer takes no longer than a hand
    assert_allclose(moving["result"]["totals"]["CL"], same.totals["CL"], rtol=2e-4 if own else 0.02)
    assert moving["case"]["propellers"][0]["position"] == [-0.6, 1.2, 0.1]
    assert "not for flight clearance" in moving["case"]["caution"]


@pytest.mark.parametrize(
    ("body", "status", "words"),
    [
        (b"{", 400, "accepted is JSON"),
        (b"[1]", 400, "accepted is a JSON object"),
        (b'{"edits": {"flow.alpha": NaN}}', 400, "finite numbers"),
        (b"[" * 5000, 400, "accepted is JSON"),
        ({"edits": [1]}, 400, "accepted is a table"),
        ({"edits": {"propellers.0.blade": "/etc/passwd"}}, 400, "this page does not change it"),
        ({"edits": {"wing.stations.0.airfoil": "../x.csv"}}, 400, "does not change it"),
        ({"edits": {"propellers.7.thrust": 5.0}}, 400, "index 7"),
        ({"edits": {"propellers.0.diameter": -1.0}}, 400, "diameter"),
        ({"edits": {"propellers.0.diameter": "wide"}}, 400, "diameter"),
        (b" " * 200_000, 400, "at most 100000 bytes"),
    ],
)
def test_bad_requests_get_one_sentence(client, body, status, words):
    found, answer = client.ask("solve", body)
    assert found == status and words in answer["error"] and "\n" not in answer["error"]
    assert client.ask("case")[0] == 200


def test_the_case_is_saved_beside_the_opened_one_and_nowhere_else(client, tmp_path):
    edits = {"propellers.0.thrust": 95.0, "flow.alpha": 2.5}
    status, answer = client.ask("save", {"edits": edits, "file": "moved.toml"})
    assert (status, answer) == (200, {"saved": "moved.toml", "comments": True})
    assert read_case(tmp_path / "moved.toml") == client.session.case.replace(**edits)
    again = {"edits": edits | {"flow.alpha": 1.0}, "file": "moved.toml"}
    assert client.ask("save", again) == (200, {"exists": "moved.toml"})
    assert read_case(tmp_path / "moved.toml").flow.alpha == 2.5
    assert client.ask("save", again | {"replace": True})[0] == 200
    assert read_case(tmp_path / "moved.toml").flow.alpha == 1.0
    names = ("../x.toml", "/tmp/x.toml", "a/b.toml", ".toml", "x.txt", "", "..", "x.toml\n", None)
    for name in names:
        status, answer = client.ask("save", {"edits": edits, "file": name})
        assert status == 400 and "file name" in answer["error"]
    assert sorted(p.name for p in tmp_path.iterdir()) == ["moved.toml", "wing.toml"]


COMMENTED = """# A wing for a test.
title = "Plain wing"     # to be changed
[flow]
airspeed = "60 kt"       # slow
alpha = [1.0, 3.0, 5.0]  # a polar
[wing]
[[wing.stations]]
y = 0.0
chord = 1.0
[[wing.stations]]
y = 3.0
chord = 1.0
# One fan on each side.
[[propellers]]
name = "fan"
kind = "disc"
position = [-0.6, 1.5, 0.0]   # disc centre
diameter = "80 cm"            # of each
mirror = true
thrust = 80.0                 # N
"""


def test_a_saved_case_keeps_comments_and_polar_and_takes_its_title(client, tmp_path):
    (tmp_path / "wing.toml").write_text(COMMENTED, encoding="utf-8")
    client.session.__init__(tmp_path / "wing.toml")
    assert client.ask("case")[1]["case"]["alphas"] == [1.0, 3.0, 5.0]
    edits = {"title": 'Fan "low", ½', "propellers.0.position": [-0.6, 1.8, -0.1],
             "propellers.0.diameter": 0.7, "propellers.0.incidence": 2.0}  # fmt: skip
    status, answer = client.ask("save", {"edits": edits, "file": "low.toml"})
    assert (status, answer) == (200, {"saved": "low.toml", "comments": True})
    text = (tmp_path / "low.toml").read_text(encoding="utf-8")
    before, after = COMMENTED.splitlines(), text.splitlines()
    changed = [line for line in after if line not in before]
    assert [line.split("=")[0].strip() for line in changed] == [
        "title", "position", "diameter", "incidence"]  # fmt: skip
    comments = [line.partition("#")[2] for line in before if "#" in line]
    assert [line.partition("#")[2] for line in after if "#" in line] == comments
    found = read_case(tmp_path / "low.toml")
    assert found == read_case(tmp_path / "wing.toml").replace(**edits)
    assert found.title == edits["title"] and found.alphas == (1.0, 3.0, 5.0)
    assert (tmp_path / "wing.toml").read_text(encoding="utf-8") == COMMENTED


@pytest.mark.parametrize("title", ["two\nlines", 3, ["x"], None, "\x7f"])
def test_odd_titles_are_refused_and_nothing_is_written(client, tmp_path, title):
    status, answer = client.ask("save", {"edits": {"title": title}, "file": "x.toml"})
    assert status == 400 and "title" in answer["error"]
    assert [p.name for p in tmp_path.iterdir()] == ["wing.toml"]


def test_a_file_that_cannot_be_edited_in_place_is_saved_whole_and_says_so(client, tmp_path):
    text = COMMENTED.replace("position = [-0.6, 1.5, 0.0]", "position = [\n  -0.6, 1.5,\n  0.0]")
    (tmp_path / "wing.toml").write_text(text, encoding="utf-8")
    client.session.__init__(tmp_path / "wing.toml")
    edits = {"propellers.0.position": [-0.6, 1.8, -0.1]}
    assert client.ask("save", {"edits": edits, "file": "low.toml"})[1] == {
        "saved": "low.toml", "comments": False}  # fmt: skip
    assert read_case(tmp_path / "low.toml") == read_case(tmp_path / "wing.toml").replace(**edits)


def test_the_page_is_told_what_it_draws(client):
    case = client.ask("case")[1]["case"]
    assert case["mirrored"] is True and case["span"] == 6.0
    fan = case["propellers"][0]
    assert fan["position"] == [-0.6, 1.5, 0.0] and fan["trim"] is None
    edits = {"flow.airspeed": 33.0, "flow.alpha": 2.0, "wing.flaps.0.deflection": 12.0}
    found = client.ask("solve", {"edits": edits})[1]["case"]
    assert (found["airspeed"], found["alpha"]) == (33.0, 2.0)
    assert found["flaps"][0]["deflection"] == 12.0


def test_half_models_and_fine_profiles_are_told(client, tmp_path):
    text = TEXT.replace("[wing]\n", "[wing]\nhalf_model = true\n")
    (tmp_path / "half.toml").write_text(text, encoding="utf-8")
    whole = client.ask("solve", {"edits": {}})[1]["result"]
    client.session.__init__(tmp_path / "half.toml")
    half = client.ask("solve", {"edits": {}})[1]["result"]
    assert "half_lift" not in whole["totals"]
    assert half["totals"]["lift"] == pytest.approx(whole["totals"]["lift"], rel=1e-4)
    assert half["totals"]["half_lift"] == pytest.approx(0.5 * half["totals"]["lift"])
    assert half["notes"][0].startswith("A half model") and half["notes"][1:] == whole["notes"]
    fine = whole["profile"]
    assert len(fine["y"]) == len(fine["axial"]) == len(fine["swirl"]) > len(whole["strips"]["y"])


def test_solve_failures_are_told_and_the_next_request_works(client):
    body = {"edits": {"propellers.0.position": [0.2, 1.5, 0.0]}, "dragging": True}
    status, answer = client.ask("solve", body)
    assert status == 400 and "wing" in answer["error"]
    assert client.ask("solve", {"edits": {}, "dragging": True})[0] == 200


def test_previews_do_not_depend_on_the_way_there():
    case = started(read_case(DEMO)).replace(**{"model.spanwise": 24, "model.chordwise": 4})
    place = {"propellers.1.position": [-0.5, 2.6, 0.05]}
    far = {"propellers.1.position": [-0.7, 2.4, -0.2], "flow.alpha": 9.0}
    run = preview.answerer()
    run(case, False)
    run(edited(case, far), False)
    wandered = run(edited(case, place), False).solution.totals
    straight = solve(edited(case, place)).totals
    for name in ("CL", "CD_induced", "power"):
        assert_allclose(wandered[name], straight[name], rtol=1e-4)


def test_a_slow_case_is_dragged_on_a_coarser_model_that_says_so(monkeypatch):
    case = started(read_case(DEMO))
    run = preview.answerer()
    monkeypatch.setattr(preview, "WAIT", 1e-9)
    own = run(case, False)
    moving = run(case, True)
    assert moving.provisional and not own.provisional
    assert_allclose(moving.solution.totals["CL"], own.solution.totals["CL"], rtol=0.02)
    gain = [s.solution.totals["CL"] - s.solution.totals["CL_unblown"] for s in (own, moving)]
    assert_allclose(gain[1], gain[0], rtol=0.15)
    assert not run(case, False).provisional
