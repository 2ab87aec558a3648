"""The page in a real browser, at a desk's and a phone's size, by pointer and by keys alone.

Sizes of targets: WCAG 2.2 (W3C Recommendation, 2023), success criterion 2.5.8, 24 by 24 CSS pixels.
Contrast: the same, 1.4.3 and 1.4.11 with the definition of relative luminance; from memory.
"""

import base64
import json
import os
import shutil
import statistics
import threading
import time
from pathlib import Path

import pytest

from blownwing import SolveError, read_case, solve
from blownwing.explore import preview
from blownwing.explore.server import Session, address, server_for
from blownwing.report.html_report import report_page

webdriver = pytest.importorskip("selenium.webdriver", reason="selenium is not installed")
BROWSER = shutil.which("chromium") or shutil.which("chromium-browser")
DRIVER = shutil.which("chromedriver")
if BROWSER is None or DRIVER is None:
    pytest.skip("no chromium with chromedriver on this machine", allow_module_level=True)

from selenium.webdriver.common.action_chains import ActionChains  # noqa: E402
from selenium.webdriver.common.keys import Keys  # noqa: E402
from selenium.webdriver.support.ui import Select  # noqa: E402

CASES = Path(__file__).parents[2] / "cases"
SHOTS = os.environ.get("BLOWNWING_SCREENSHOTS")  # a folder to keep screenshots in, to look at
DESK, PHONE = (1400, 900), (390, 844)
REST, OWN = "At rest: the case's own model", "the case's own model"

ROW = """title = "Three fans on a plain wing"
[flow]
airspeed = 30.0   # m/s
alpha = 4.0
[wing]
[[wing.stations]]
y = 0.0
chord = 1.0
[[wing.stations]]
y = 4.0
chord = 1.0
[[wing.flaps]]
from = 0.1
to = 0.6
chord_fraction = 0.25
deflection = 5.0
[[propellers]]
name = "inner"   # nearest the cabin
kind = "disc"
position = [-0.6, 1.0, 0.0]
diameter = 0.8
mirror = true
thrust = 80.0
[[propellers]]
name = "middle"
kind = "disc"
position = [-0.6, 2.1, 0.05]
diameter = 0.8
mirror = true
thrust = 80.0
[[propellers]]
name = "outer"
kind = "disc"
position = [-0.6, 3.2, 0.0]
diameter = 0.8
mirror = true
thrust = 90.0
[model]
chordwise = 2
spanwise = 16
jet_around = 8
jet_rings = 8
"""


@pytest.fixture(scope="module")
def browser():
    from selenium.webdriver.chrome.service import Service

    options = webdriver.ChromeOptions()
    options.binary_location = BROWSER
    for flag in ("--headless=new", "--no-sandbox", "--disable-gpu", "--hide-scrollbars"):
        options.add_argument(flag)
    options.set_capability("goog:loggingPrefs", {"browser": "ALL", "performance": "ALL"})
    driver = webdriver.Chrome(options=options, service=Service(DRIVER))
    driver.set_script_timeout(30)
    yield driver
    driver.quit()


def serving(path):
    session = Session(path)
    server = server_for(session)
    threading.Thread(target=server.serve_forever, daemon=True).start()
    return session, server, address(session, server)


@pytest.fixture(scope="module")
def eight():
    session, server, place = serving(CASES / "short_field_eight.toml")
    yield session, place
    server.shutdown()
    server.server_close()


@pytest.fixture
def row(tmp_path):
    (tmp_path / "row.toml").write_text(ROW, encoding="utf-8")
    session, server, place = serving(tmp_path / "row.toml")
    yield session, place
    server.shutdown()
    server.server_close()


def resized(browser, size):
    width, height = size
    browser.execute_cdp_cmd(
        "Emulation.setDeviceMetricsOverride",
        {"width": width, "height": height, "deviceScaleFactor": 1, "mobile": width < 600},
    )


def opened(browser, place, size=DESK):
    resized(browser, size)
    browser.get(place)
    state(browser, REST)


def state(browser, words, seconds=60.0):
    """Wait until the page says so, and what is drawn is what was answered."""
    end = time.monotonic() + seconds
    while time.monotonic() < end:
        text = read(browser, "#state")
        if words in text and (words != REST or settled(browser)):
            return text
        time.sleep(0.05)
    raise AssertionError(f"the page says {text!r}, not {words!r}; edits: {edits(browser)}")


def settled(browser):
    return browser.execute_async_script(
        "const done = arguments[0]; import('./state.js').then((m) => done(m.atRest()));"
    )


def edits(browser):
    return browser.execute_async_script(
        "const done = arguments[0]; import('./state.js').then((m) => done(m.state.edits));"
    )


def standing(browser):
    return browser.find_element("tag name", "body").get_attribute("data-standing")


def stands(browser, wanted, seconds=30.0):
    end = time.monotonic() + seconds
    while standing(browser) != wanted:
        assert time.monotonic() < end, f"{standing(browser)}, not {wanted}"
        time.sleep(0.05)


@pytest.fixture
def coarse_first(monkeypatch):
    """A way to let a session answer drags on the coarser model and hold its own model back."""
    monkeypatch.setattr(preview, "WAIT", 1e-9)
    gate = threading.Event()

    def hold(session):
        answer = session._answer

        def held(case, dragging):
            if not dragging:
                assert gate.wait(60.0)
            return answer(case, dragging)

        monkeypatch.setattr(session, "_answer", held)
        return gate

    yield hold
    gate.set()


NUMBERS = """
return [...document.querySelectorAll('#totals td.n:not(.by)')].map((cell) => cell.textContent);
"""


def disc(browser, view, index):
    return browser.find_element("css selector", f'#{view} g[data-index="{index}"]')


def read(browser, selector):
    """What is to be read there, in one step: a table may be drawn anew between find and read."""
    script = "const n = document.querySelector(arguments[0]); return n.innerText ?? n.textContent"
    return browser.execute_script(script, selector)


def value(browser, key):
    text = read(browser, f"#row-{key} td.n")
    return float(text.replace("−", "-").replace("≈ ", ""))


def typed(browser, name, text):
    field = browser.find_element("id", f"f-{name}")
    field.send_keys(Keys.CONTROL, "a")
    field.send_keys(text, Keys.ENTER)


def focused(browser):
    return browser.execute_script(
        "const a = document.activeElement; return a.id || a.getAttribute('aria-label') || a.tagName"
    )


def keys(browser, *presses):
    """Press keys one after the other; a pair is a modifier and a key pressed with it."""
    chain = ActionChains(browser)
    for press in presses:
        if isinstance(press, tuple):
            chain.key_down(press[0]).send_keys(press[1]).key_up(press[0])
        else:
            chain.send_keys(press)
    chain.perform()


def outside(browser, own):
    """Addresses that were asked for and are not the page's own."""
    found = [json.loads(entry["message"])["message"] for entry in browser.get_log("performance")]
    asked = [m["params"]["request"]["url"] for m in found
             if m["method"] == "Network.requestWillBeSent"]  # fmt: skip
    return [url for url in asked if not url.startswith((own, "data:", "chrome:", "about:"))]


def keep(browser, name, whole=False):
    if not SHOTS:
        return
    clip = {}
    if whole:
        width, height = browser.execute_script(
            "return [innerWidth, document.documentElement.scrollHeight]"
        )
        clip = {"clip": {"x": 0, "y": 0, "width": width, "height": height, "scale": 1}}
    shot = browser.execute_cdp_cmd(
        "Page.captureScreenshot", {"captureBeyondViewport": whole} | clip
    )
    (Path(SHOTS) / f"{name}.png").write_bytes(base64.b64decode(shot["data"]))


def overflow(browser):
    return browser.execute_script(
        "return document.documentElement.scrollWidth - document.documentElement.clientWidth"
    )


def test_a_disc_is_dragged_and_everything_follows(browser, eight, monkeypatch):
    monkeypatch.setattr(preview, "WAIT", 1e9)
    session, place = eight
    opened(browser, place)
    # In one step: the curve may be drawn anew between finding it and reading it.
    curve = "return document.querySelector('#loading .l-blown').getAttribute('d')"
    loading = browser.execute_script(curve)
    lift = value(browser, "lift")
    drag = ActionChains(browser, duration=20).move_to_element(disc(browser, "front", 1))
    drag.click_and_hold()
    for _ in range(12):
        drag.move_by_offset(1, -1).pause(0.1)
    drag.perform()
    state(browser, OWN)
    assert "≈" not in read(browser, "#totals")
    ActionChains(browser).release().perform()
    state(browser, REST)
    keep(browser, "rest_after_drag")
    moved = edits(browser)["propellers.1.position"]
    before = session.case.propellers[1].position
    assert moved[1] > before[1] and moved[2] > before[2] and moved[0] == before[0]
    assert browser.execute_script(curve) != loading
    assert value(browser, "lift") != lift
    by = read(browser, "#row-lift td.by")
    assert float(by.replace("−", "-")) == pytest.approx(value(browser, "lift") - lift, abs=1.5)
    assert browser.find_elements("css selector", "#loading .l-kept")
    shown = [float(browser.find_element("id", f"f-{axis}").get_attribute("value"))
             for axis in "xyz"]  # fmt: skip
    assert shown == moved
    assert f"y {moved[1]:.3f}" in read(browser, "#readout")
    times = browser.execute_script(
        "return performance.getEntriesByName('drag answered').map(e => e.duration)"
    )
    print(f"{len(times)} answers while dragging, median {statistics.median(times):.0f} ms, "
          f"load {os.getloadavg()[0]:.1f}")  # fmt: skip
    assert len(times) >= 3


@pytest.mark.parametrize("size", [DESK, PHONE], ids=["desk", "phone"])
def test_provisional_numbers_look_it_until_the_own_model_answers(
    browser, eight, coarse_first, size
):
    session, place = eight
    opened(browser, place, size)
    keep(browser, f"opened_{size[0]}")
    keep(browser, f"opened_{size[0]}_whole", whole=True)
    rest = read(browser, "#totals")
    assert "≈" not in rest and read(browser, "#standing") == ""
    own_model = coarse_first(session)
    drag = ActionChains(browser, duration=20).move_to_element(disc(browser, "front", 1))
    drag.click_and_hold().move_by_offset(3, -2)
    drag.perform()
    stands(browser, "provisional")
    words = browser.find_element("id", "standing" if size == DESK else "glance")
    assert "Provisional: coarser model" in words.text
    numbers = browser.execute_script(NUMBERS)  # at once: rows come and go with answers
    assert len(numbers) > 10 and all(text.startswith("≈ ") for text in numbers)
    assert read(browser, "#row-CL td.by") == "…"
    assert read(browser, "#loading text.standing") == "provisional"
    assert browser.find_element("id", "keep").get_attribute("aria-disabled") == "true"
    time.sleep(0.5)  # the own model has been asked for, and what it takes the place of still stands
    assert standing(browser) == "provisional"
    keep(browser, f"provisional_{size[0]}")
    own_model.set()
    state(browser, REST)  # still held by the hand, but at rest
    assert "≈" not in read(browser, "#totals")
    assert read(browser, "#standing") == ""
    assert browser.find_element("id", "keep").get_attribute("aria-disabled") == "false"
    ActionChains(browser).release().perform()
    state(browser, REST)


@pytest.mark.parametrize("size", [DESK, PHONE], ids=["desk", "phone"])
def test_a_refused_state_dims_the_stale_numbers_and_undo_brings_them_back(browser, row, size):
    _, place = row
    opened(browser, place, size)
    before = value(browser, "CL")
    colour = browser.find_element("css selector", "#row-CL td.n").value_of_css_property("color")
    typed(browser, "diameter", "3.0")
    text = state(browser, "propellers")  # discs that overlap: told in one sentence
    assert "inner" in text or "middle" in text
    assert standing(browser) == "stale" and value(browser, "CL") == before
    cell = browser.find_element("css selector", "#row-CL td.n")
    assert cell.value_of_css_property("color") != colour
    assert "line-through" in cell.value_of_css_property("text-decoration")
    assert browser.find_element("id", "keep").get_attribute("aria-disabled") == "true"
    assert not browser.find_elements("css selector", "#plan .tube")
    note = browser.find_element("id", "standing" if size == DESK else "glance")
    assert "Not of what is drawn" in note.text or text in note.text
    keep(browser, f"refused_{size[0]}")
    browser.find_element("id", "undo").click()
    state(browser, REST)
    assert edits(browser) == {} and standing(browser) == "rest"
    cell = browser.find_element("css selector", "#row-CL td.n")
    assert "line-through" not in cell.value_of_css_property("text-decoration")
    assert value(browser, "CL") == pytest.approx(before, abs=2e-4)


def test_a_refusal_clears_the_provisional_mark(browser, row, monkeypatch):
    monkeypatch.setattr(preview, "WAIT", 1e-9)
    _, place = row
    opened(browser, place)
    drag = ActionChains(browser, duration=20).move_to_element(disc(browser, "front", 0))
    drag.click_and_hold().move_by_offset(2, 0).perform()
    state(browser, REST)
    ActionChains(browser, duration=20).move_by_offset(2, 0).perform()
    ActionChains(browser, duration=20).move_by_offset(60, 0).perform()  # into its neighbour
    state(browser, "propellers")
    assert standing(browser) == "stale"
    assert "≈" not in read(browser, "#totals")
    assert read(browser, "#loading text.standing") != "provisional"
    ActionChains(browser).release().perform()
    browser.find_element("id", "undo").click()
    state(browser, REST)


def test_a_failed_solve_dims_the_numbers_too(browser, row, monkeypatch):
    session, place = row
    opened(browser, place)
    answer = session._answer
    said = "the balance did not converge in 60 rounds"

    def failing(case, dragging):
        if case.flow.alpha == 9.0:
            raise SolveError(said)
        return answer(case, dragging)

    monkeypatch.setattr(session, "_answer", failing)
    typed(browser, "alpha", "9")
    state(browser, said)
    assert standing(browser) == "stale"
    typed(browser, "alpha", "5")
    state(browser, REST)
    assert standing(browser) == "rest"


def test_the_square_above_a_disc_sets_its_diameter(browser, row):
    _, place = row
    opened(browser, place)
    drag = ActionChains(browser, duration=20)
    drag.move_to_element(browser.find_element("css selector", ".rim:not(.off)"))
    drag.click_and_hold().move_by_offset(0, 4).move_by_offset(0, 4).perform()
    ActionChains(browser).release().perform()
    state(browser, REST)
    scale = browser.execute_async_script(
        "const done = arguments[0]; import('./frame.js').then((m) => done(m.framed().scale));"
    )
    found = edits(browser)
    assert list(found) == ["propellers.0.diameter"]
    assert found["propellers.0.diameter"] == pytest.approx(0.8 - 16.0 / scale, abs=2e-3)


def test_places_flow_and_flaps_are_typed(browser, row):
    session, place = row
    opened(browser, place)
    for name, text in (("x", "-0.7"), ("y", "1.05"), ("z", "-0.1"), ("airspeed", "33"),
                       ("alpha", "2.5"), ("flap-0", "12"), ("thrust", "95")):  # fmt: skip
        typed(browser, name, text)
        assert focused(browser) == f"f-{name}"
        state(browser, REST)
    wanted = {"propellers.0.position": [-0.7, 1.05, -0.1], "flow.airspeed": 33, "flow.alpha": 2.5,
              "wing.flaps.0.deflection": 12, "propellers.0.thrust": 95}  # fmt: skip
    assert edits(browser) == wanted
    same = solve(session.case.replace(**wanted))
    assert value(browser, "CL") == pytest.approx(same.totals["CL"], abs=2e-4)
    assert value(browser, "thrust") == pytest.approx(same.totals["thrust"], abs=0.6)
    browser.find_element("id", "f-x").send_keys(Keys.CONTROL, "a")
    ActionChains(browser).send_keys("-0.8").perform()  # half typed while an answer comes
    browser.execute_async_script(
        "const done = arguments[0]; import('./state.js').then((m) => { m.tell(); done(); });"
    )
    assert browser.find_element("id", "f-x").get_attribute("value") == "-0.8"
    ActionChains(browser).send_keys(Keys.CONTROL, "a", Keys.NULL, "-0.7", Keys.TAB).perform()
    assert edits(browser) == wanted
    typed(browser, "alpha", "")  # nothing: what stood there comes back
    assert browser.find_element("id", "f-alpha").get_attribute("value") == "2.5"
    for _ in range(7):
        browser.find_element("id", "undo").click()
    state(browser, REST)
    assert edits(browser) == {}
    assert browser.find_element("id", "undo").get_attribute("aria-disabled") == "true"
    browser.find_element("id", "redo").click()
    assert edits(browser) == {"propellers.0.position": [-0.7, 1.0, 0.0]}
    browser.find_element("id", "reset").click()
    assert edits(browser) == {}
    browser.find_element("id", "undo").click()  # going back to the opened case is a step as well
    assert edits(browser) == {"propellers.0.position": [-0.7, 1.0, 0.0]}


def test_all_propellers_at_once(browser, row):
    _, place = row
    opened(browser, place)
    browser.find_element("xpath", "//button[text()='All together']").click()
    assert browser.find_element("id", "f-thrust").get_attribute("placeholder") == "several"
    typed(browser, "thrust", "85")
    typed(browser, "diameter", "0.7")
    found = edits(browser)
    assert [found[f"propellers.{k}.{key}"] for key in ("thrust", "diameter") for k in range(3)] == [
        85, 85, 85, 0.7, 0.7, 0.7]  # fmt: skip
    browser.find_element("id", "reset").click()
    for name, by in (("aft", "-0.1"), ("right", "0.2")):
        field = browser.find_element("id", f"f-{name}")
        field.send_keys(Keys.CONTROL, "a")
        field.send_keys(by)
    browser.find_element("id", "shift").click()
    found = edits(browser)
    assert [found[f"propellers.{k}.position"] for k in range(3)] == [
        [-0.7, 1.2, 0.0], [-0.7, 2.3, 0.05], [-0.7, 3.4, 0.0]]  # fmt: skip
    state(browser, REST)
    drag = ActionChains(browser, duration=20).move_to_element(disc(browser, "plan", 2))
    drag.click_and_hold().move_by_offset(0, 5).perform()
    keep(browser, "all_together")
    ActionChains(browser).release().perform()
    moved = edits(browser)
    steps = [moved[f"propellers.{k}.position"][0] + 0.7 for k in range(3)]
    assert steps[0] > 0.01 and max(steps) - min(steps) < 1e-9
    disc_node = disc(browser, "front", 0)
    browser.execute_script("arguments[0].focus()", disc_node)
    keys(browser, Keys.ARROW_UP)
    found = edits(browser)
    rises = [found[f"propellers.{k}.position"][2] - moved[f"propellers.{k}.position"][2]
             for k in range(3)]  # fmt: skip
    assert rises == pytest.approx([0.04] * 3)  # 1 % of the semi-span
    state(browser, REST)


def tab_to(browser, wanted, most=80):
    for _ in range(most):
        if focused(browser).startswith(wanted):
            return
        keys(browser, Keys.TAB)
    raise AssertionError(f"{wanted!r} is not reached by Tab")


@pytest.mark.parametrize("size", [DESK, PHONE], ids=["desk", "phone"])
def test_keys_alone_do_everything(browser, row, tmp_path, size):
    _, place = row
    opened(browser, place, size)
    tab_to(browser, "inner, x")
    for key in (Keys.ARROW_RIGHT, Keys.ARROW_UP, "-", (Keys.SHIFT, Keys.ARROW_LEFT)):
        keys(browser, key)
        assert focused(browser).startswith("inner, x"), key
        state(browser, REST)
        assert focused(browser).startswith("inner, x"), f"{key} after the answer"
    found = edits(browser)
    assert found["propellers.0.position"] == pytest.approx([-0.6, 1.036, 0.04])
    assert found["propellers.0.diameter"] == pytest.approx(0.76)
    keep(browser, f"focus_{size[0]}")
    keys(browser, (Keys.CONTROL, "z"))
    keys(browser, (Keys.CONTROL, "y"))
    assert edits(browser) == found and focused(browser).startswith("inner, x")
    state(browser, REST)
    tab_to(browser, "middle, x")
    tab_to(browser, "outer, x")
    tab_to(browser, "f-z")
    keys(browser, (Keys.CONTROL, "a"), "0.1", Keys.TAB)
    assert edits(browser)["propellers.2.position"][2] == pytest.approx(0.1)
    tab_to(browser, "s-alpha")
    keys(browser, Keys.ARROW_RIGHT)
    assert edits(browser)["flow.alpha"] == pytest.approx(4.1)
    state(browser, REST)
    tab_to(browser, "keepname")
    keys(browser, "moved out", Keys.TAB, Keys.ENTER)
    assert browser.find_element("id", "name-2").get_attribute("value") == "moved out"
    tab_to(browser, "pick-1")
    keys(browser, Keys.ARROW_DOWN)  # the other reference
    assert browser.find_element("id", "pick-2").is_selected() and focused(browser) == "pick-2"
    assert read(browser, "#totals thead").split() == [
        "now", "against", "“moved", "out”"]  # fmt: skip
    keys(browser, (Keys.SHIFT, Keys.TAB), (Keys.SHIFT, Keys.TAB))
    assert focused(browser).startswith("restore-1")
    keys(browser, Keys.ENTER)
    assert edits(browser) == {}
    state(browser, REST)
    assert focused(browser) == "restore-1"
    tab_to(browser, "casetitle")
    keys(browser, (Keys.CONTROL, "a"), "By keys", Keys.TAB)
    keys(browser, (Keys.CONTROL, "a"), f"keys_{size[0]}.toml", Keys.TAB, Keys.ENTER)
    end = time.monotonic() + 10.0
    while not read(browser, "#saved") and time.monotonic() < end:
        time.sleep(0.05)
    assert "comments kept" in read(browser, "#saved")
    path = tmp_path / f"keys_{size[0]}.toml"
    assert read_case(path).title == "By keys" and "# nearest the cabin" in path.read_text()


def test_snapshots_have_names_and_differences(browser, row):
    _, place = row
    opened(browser, place)
    first = value(browser, "CL")
    typed(browser, "thrust", "160")
    state(browser, REST)
    browser.find_element("id", "keepname").send_keys("more thrust inside", Keys.ENTER)
    lines = browser.find_elements("css selector", "#kept tbody tr")
    assert len(lines) == 2 and "inner thrust 160" in lines[1].text
    second = value(browser, "CL")
    cell = lines[1].find_elements("css selector", "td.n")[1].text.split()
    assert float(cell[0]) == second
    assert float(cell[1]) == pytest.approx(second - first, abs=1.1e-4)
    browser.find_element("id", "pick-2").click()
    lines = browser.find_elements("css selector", "#kept tbody tr")
    cell = lines[0].find_elements("css selector", "td.n")[1].text.split()
    assert float(cell[1].replace("−", "-")) == pytest.approx(first - second, abs=1.1e-4)
    name = browser.find_element("id", "name-2")
    name.send_keys(Keys.CONTROL, "a")
    name.send_keys("boost", Keys.TAB)
    assert focused(browser) == "restore-2"
    assert "against “boost”" in read(browser, "#totals thead")
    typed(browser, "thrust", "40")
    state(browser, REST)
    keep(browser, "snapshots_whole", whole=True)
    browser.find_element("id", "restore-2").click()
    state(browser, REST)
    assert edits(browser) == {"propellers.0.thrust": 160}
    browser.find_element("id", "delete-2").click()
    assert len(browser.find_elements("css selector", "#kept tbody tr")) == 1
    assert "against “As opened”" in read(browser, "#totals thead")


def test_what_is_held_changes_between_thrust_speed_and_power(browser, eight):
    _, place = eight
    opened(browser, place)
    power = value(browser, "power")
    Select(browser.find_element("id", "f-drive")).select_by_value("power")
    assert focused(browser) == "f-drive"
    state(browser, REST)
    assert list(edits(browser)) == ["propellers.0.power"]
    assert value(browser, "power") == pytest.approx(power, rel=1e-3)
    Select(browser.find_element("id", "f-drive")).select_by_value("rpm")
    state(browser, REST)
    assert list(edits(browser)) == ["propellers.0.rpm"]
    Select(browser.find_element("id", "f-spin")).select_by_value("outboard_up")
    state(browser, REST)
    assert edits(browser)["propellers.0.spin"] == "outboard_up"


GRIPS = ".rim:not(.off), .grab[tabindex]"
TARGETS = """
return [...document.querySelectorAll('button, input, select, summary, ' + arguments[0])]
  .filter((n) => n.getClientRects().length).map((n) => {
    const hit = n.querySelector('.hit') || n, box = hit.getBoundingClientRect();
    return [n.id || n.getAttribute('aria-label') || n.textContent, box.width, box.height];
  });
"""


@pytest.mark.parametrize("size", [DESK, PHONE], ids=["desk", "phone"])
def test_targets_are_large_enough_and_do_not_hide_each_other(browser, eight, size):
    _, place = eight
    opened(browser, place, size)
    found = browser.execute_script(TARGETS, GRIPS)
    assert len(found) > 20
    assert [one for one in found if min(one[1:]) < 23.99] == []
    reached = browser.execute_script(
        """
      return [...document.querySelectorAll(arguments[0])].map((n) => {
        const box = n.querySelector('.hit').getBoundingClientRect();
        const at = document.elementFromPoint(box.x + box.width / 2, box.y + box.height / 2);
        return n.contains(at);
      });""",
        GRIPS,
    )
    assert len(reached) == 9 and all(reached)


MIDDLE = """
const box = document.querySelector(arguments[0]).getBoundingClientRect();
return [box.x + box.width / 2, box.y + box.height / 2];
"""


def test_results_are_in_view_on_a_phone_while_a_finger_drags(browser, eight):
    _, place = eight
    opened(browser, place, PHONE)
    box = browser.execute_script(
        "const b = document.getElementById('glance').getBoundingClientRect();"
        "const f = document.getElementById('plan').getBoundingClientRect();"
        "return [b.top, b.bottom, f.bottom, innerHeight]"
    )
    assert box[1] <= box[3] == PHONE[1] and box[2] < box[0] < box[1]
    before = read(browser, "#glance")
    target = browser.execute_script(MIDDLE, '#front g[data-index="3"] .hit')
    touch = [{"x": target[0], "y": target[1]}]
    for kind in ("touchStart", "touchMove", "touchMove", "touchEnd"):
        points = [] if kind == "touchEnd" else touch
        browser.execute_cdp_cmd("Input.dispatchTouchEvent", {"type": kind, "touchPoints": points})
        touch = [{"x": touch[0]["x"] - 6, "y": touch[0]["y"] - 6}]
    state(browser, REST)
    assert edits(browser)["propellers.3.position"][1] < 5.1
    assert read(browser, "#glance") != before
    assert overflow(browser) <= 0


CONTRAST = """
const parts = (text) => (text.match(/[\\d.]+/g) || []).map(Number);
const shade = ([r, g, b]) => [r, g, b].map((v) => v / 255)
  .map((v) => (v <= 0.04045 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4))
  .reduce((sum, v, k) => sum + v * [0.2126, 0.7152, 0.0722][k], 0);
const ground = (node) => {
  for (let n = node; n; n = n.parentElement) {
    const [r, g, b, a = 1] = parts(getComputedStyle(n).backgroundColor);
    if (n.matches('#views svg *')) continue;
    if (a === 1) return [r, g, b];
  }
  return [255, 255, 255];
};
const ratio = (a, b) => {
  const [l, d] = [shade(a), shade(b)].sort((x, y) => y - x);
  return (l + 0.05) / (d + 0.05);
};
return [...document.querySelectorAll('body *')].filter((n) => n.getClientRects().length
  && [...n.childNodes].some((c) => c.nodeType === 3 && c.textContent.trim())).map((n) => {
    const style = getComputedStyle(n), ink = n.closest('svg') ? style.fill : style.color;
    return [n.textContent.trim().slice(0, 30), ratio(parts(ink).slice(0, 3), ground(n))];
  }).filter(([, found]) => found < 4.5);
"""


def test_text_stands_out_in_every_state(browser, row, coarse_first):
    session, place = row
    opened(browser, place)
    assert browser.execute_script(CONTRAST) == []
    own_model = coarse_first(session)
    drag = ActionChains(browser, duration=20).move_to_element(disc(browser, "front", 0))
    drag.click_and_hold().move_by_offset(2, 0).perform()
    stands(browser, "provisional")
    assert browser.execute_script(CONTRAST) == []
    own_model.set()
    ActionChains(browser).release().perform()
    typed(browser, "diameter", "3.0")
    state(browser, "propellers")
    assert browser.execute_script(CONTRAST) == []
    # a control: the same measure finds grey on white
    browser.execute_script("document.getElementById('title').style.color = '#888'")
    assert len(browser.execute_script(CONTRAST)) == 1


def test_views_have_scales_in_metres(browser, eight):
    _, place = eight
    opened(browser, place)
    for view in ("front", "plan", "loading", "stream"):
        words = browser.find_element("id", view).text.replace("−", "-")
        assert "y, m" in words and {"-6", "-4", "-2", "0", "2", "4", "6"} <= set(words.split("\n"))
    # the disc stands where the scale says: 5.1 m between the ticks of 4 and 6
    places = browser.execute_script("""
      const at = (t) => Number([...document.querySelectorAll('#front .under text')].find((n) =>
        n.textContent === t && n.getAttribute('text-anchor') === 'middle').getAttribute('x'));
      const disc = document.querySelector('#front g[data-index="3"] .hit');
      return [at('4'), at('6'), Number(disc.getAttribute('cx'))];""")
    assert 4.0 + 2.0 * (places[2] - places[0]) / (places[1] - places[0]) == pytest.approx(
        5.1, abs=0.01
    )


def test_a_tilted_disc_is_drawn_as_it_looks(browser, row):
    _, place = row
    opened(browser, place)
    typed(browser, "incidence", "30")
    state(browser, REST)
    front, plan, arms = browser.execute_script("""
      const box = (at) => document.querySelector(at).getBBox();
      const f = box('#front g[data-index="0"] .disc'), p = box('#plan g[data-index="0"] .edge-on');
      return [f.height / f.width, p.height / p.width, f.width / p.width];""")
    # a circle seen along and across its tilted axis: cos 30° and sin 30°, plain geometry
    assert (front, plan, arms) == pytest.approx((0.75**0.5, 0.5, 1.0), abs=0.01)


def test_no_error_no_outside_request_readable_at_all_widths(browser, eight):
    _, place = eight
    browser.get_log("browser")
    browser.get_log("performance")
    for size in (DESK, (1024, 800), (700, 900), PHONE):
        opened(browser, place, size)
        assert overflow(browser) <= 0
        keep(browser, f"explore_{size[0]}")
    assert browser.get_log("browser") == []
    assert outside(browser, place) == []


def test_the_report_opens_without_errors_or_requests(browser, eight, tmp_path):
    session, _ = eight
    path = tmp_path / "report.html"
    coarse = session.case.replace(**{"model.spanwise": 16, "model.chordwise": 3})
    path.write_text(report_page(solve(coarse)), encoding="utf-8")
    browser.get_log("browser")
    browser.get_log("performance")
    for width in (1280, 800):
        resized(browser, (width, 1000))
        browser.get(path.as_uri())
        assert overflow(browser) <= 0
        keep(browser, f"report_{width}")
    assert browser.get_log("browser") == []
    assert outside(browser, path.as_uri()) == []
