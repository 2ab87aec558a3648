"""The page in a real browser: no errors, no outside requests, a drag that is answered."""

import json
import os
import shutil
import statistics
import threading
import time
from pathlib import Path

import pytest

from blownwing.explore.server import Session, address, server_for
from blownwing.report.html_report import report_page

webdriver = pytest.importorskip("selenium.webdriver", reason="selenium is not installed")
BROWSER = shutil.which("chromium") or shutil.which("chromium-browser")
DRIVER = shutil.which("chromedriver")
if BROWSER is None or DRIVER is None:
    pytest.skip("no chromium with chromedriver on this machine", allow_module_level=True)

CASES = Path(__file__).parents[2] / "cases"
SHOTS = os.environ.get("BLOWNWING_SCREENSHOTS")  # a folder to keep screenshots in, to look at


@pytest.fixture(scope="module")
def browser():
    from selenium.webdriver.chrome.service import Service

    options = webdriver.ChromeOptions()
    options.binary_location = BROWSER
    for flag in ("--headless=new", "--no-sandbox", "--disable-gpu", "--window-size=1280,1000"):
        options.add_argument(flag)
    options.set_capability("goog:loggingPrefs", {"browser": "ALL", "performance": "ALL"})
    driver = webdriver.Chrome(options=options, service=Service(DRIVER))
    yield driver
    driver.quit()


@pytest.fixture(scope="module")
def session():
    session = Session(CASES / "short_field_eight.toml")
    server = server_for(session)
    threading.Thread(target=server.serve_forever, daemon=True).start()
    yield session, address(session, server)
    server.shutdown()
    server.server_close()


def state(browser, words, seconds=40.0):
    end = time.monotonic() + seconds
    while time.monotonic() < end:
        text = browser.find_element("id", "state").text
        if words in text:
            return text
        time.sleep(0.05)
    raise AssertionError(f"the page says {text!r}, not {words!r}")


def outside(browser, own):
    """Addresses that were asked for and are not the page's own."""
    found = [json.loads(entry["message"])["message"] for entry in browser.get_log("performance")]
    asked = [m["params"]["request"]["url"] for m in found
             if m["method"] == "Network.requestWillBeSent"]  # fmt: skip
    return [url for url in asked if not url.startswith((own, "data:", "chrome:", "about:"))]


def keep(browser, name):
    if SHOTS:
        browser.save_screenshot(str(Path(SHOTS) / f"{name}.png"))


def overflow(browser):
    return browser.execute_script(
        "return document.documentElement.scrollWidth - document.documentElement.clientWidth"
    )


def test_a_disc_is_dragged_and_everything_follows(browser, session):
    from selenium.webdriver.common.action_chains import ActionChains

    opened, place = session
    browser.get(place)
    state(browser, "The case's own model")
    loading = browser.find_element("css selector", "#loading .l-blown").get_attribute("d")
    lift = browser.find_element("css selector", "#totals td.n").text
    browser.find_element("id", "keep").click()
    disc = browser.find_elements("css selector", "#front g[tabindex] circle")[1]
    drag = ActionChains(browser, duration=20).move_to_element_with_offset(disc, 0, 10)
    drag.click_and_hold()
    for _ in range(12):
        drag.move_by_offset(1, -1).pause(0.1)
    drag.perform()
    state(browser, "While moving: slipstreams without edges")
    keep(browser, "dragging_1280")
    ActionChains(browser).release().perform()
    state(browser, "The case's own model")
    keep(browser, "rest_1280")
    moved = browser.execute_script("return edits")["propellers.1.position"]
    before = opened.case.propellers[1].position
    assert moved[1] > before[1] and moved[2] > before[2] and moved[0] == before[0]
    assert browser.find_element("css selector", "#loading .l-blown").get_attribute("d") != loading
    assert browser.find_element("css selector", "#totals td.n").text != lift
    assert browser.find_elements("css selector", "#loading .l-kept")
    times = browser.execute_script(
        "return performance.getEntriesByName('drag answered').map(e => e.duration)"
    )
    print(f"{len(times)} answers while dragging, median {statistics.median(times):.0f} ms, "
          f"load {os.getloadavg()[0]:.1f}")  # fmt: skip
    assert len(times) >= 3
    # The bar of 100 ms is for an idle machine; a loaded one only has to keep up.
    idle = os.getloadavg()[0] < 1.5
    assert statistics.median(times) < (100.0 if idle else 1000.0)


def test_fields_spin_keys_and_errors(browser, session):
    from selenium.webdriver.common.action_chains import ActionChains
    from selenium.webdriver.common.keys import Keys
    from selenium.webdriver.support.ui import Select

    _, place = session
    browser.get(place)
    state(browser, "The case's own model")
    Select(browser.find_element("css selector", "#propeller select")).select_by_value("outboard_up")
    state(browser, "The case's own model")
    assert browser.execute_script("return edits") == {"propellers.0.spin": "outboard_up"}
    group = browser.find_elements("css selector", "#plan g[tabindex]")[0]
    # a disc seen from above is a line: no height, so no target for the driver's own typing
    browser.execute_script("arguments[0].focus()", group)
    ActionChains(browser).send_keys(Keys.ARROW_UP).perform()
    state(browser, "The case's own model")
    assert browser.execute_script("return edits")["propellers.0.position"][0] < -0.55
    field = browser.find_elements("css selector", "#propeller input[type=number]")[0]
    field.clear()
    field.send_keys("3.0", Keys.ENTER)
    text = state(browser, "propellers")  # discs that overlap: told in one sentence
    assert "first" in text or "second" in text
    assert "old" in browser.find_element("id", "views").get_attribute("class")


def test_no_error_no_outside_request_readable_at_both_widths(browser, session):
    _, place = session
    browser.get_log("browser")
    browser.get_log("performance")
    for width, height in ((1280, 1000), (800, 1400)):
        browser.set_window_size(width, height)
        browser.get(place)
        state(browser, "The case's own model")
        assert overflow(browser) <= 0
        keep(browser, f"explore_{width}")
    assert browser.get_log("browser") == []
    assert outside(browser, place) == []


def test_the_report_opens_without_errors_or_requests(browser, session, tmp_path):
    from blownwing import solve

    opened, _ = session
    path = tmp_path / "report.html"
    coarse = opened.case.replace(**{"model.spanwise": 16, "model.chordwise": 3})
    path.write_text(report_page(solve(coarse)), encoding="utf-8")
    browser.get_log("browser")
    browser.get_log("performance")
    for width in (1280, 800):
        browser.set_window_size(width, 1000)
        browser.get(path.as_uri())
        assert overflow(browser) <= 0
        keep(browser, f"report_{width}")
    assert browser.get_log("browser") == []
    assert outside(browser, path.as_uri()) == []
