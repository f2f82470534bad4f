"""The customer's page in Chromium, without a network: what it says of itself, what moves, what is printed.

The oracle of every number is `portviz summary --json` on the same files; that of names and roles is the browser's own
accessibility tree; that of what stands on paper is poppler's `pdftotext -bbox`.
"""

import base64
import html
import io
import json
import math
import re
import shutil
import subprocess
import time
from collections import Counter
from dataclasses import replace

import pytest
from PIL import Image

from portviz.cli import run
from portviz.distribution.reduce import reduce_job
from portviz.job.read import read_job
from portviz.report.build import build_report
from portviz.report.content import Letterhead, Section, TextTable
from portviz.report.page import page_text

TITLE = "</title><script>window.hacked=1</script>Head (invented)"
FIRST, SECOND = "<b>as found</b>", "<img src=x onerror='window.hacked=1'> & <a href='javascript:hacked=1'>after</a>"
LONG = TextTable(
    "A long table",
    ("rowname", "longhead"),
    tuple((f"row{place}", f"cell{place}") for place in range(150)),
    "",
    frozenset({0}),
)


@pytest.fixture(scope="module")
def folder(examples, tmp_path_factory):
    """The sidecar with hostile names; the second run lacks a lift, the first one two stations of another."""
    path = tmp_path_factory.mktemp("job")
    source = examples / "sidecar_intake"
    (path / "job.toml").write_text(
        (source / "job.toml").read_text().replace("Hill-climb sidecar single, intake (invented)", TITLE)
    )
    left_out = ("as found,8,60,", "as found,8,90,", "wall relieved,5,")
    for name in ("readings.csv", "flow.csv"):
        rows = [row for row in (source / name).read_text().splitlines() if not row.startswith(left_out)]
        text = "\n".join(rows).replace("as found", FIRST).replace("wall relieved", SECOND)
        (path / name).write_text(text)
    shutil.copy(source / "cam.csv", path)
    return path


@pytest.fixture(scope="module")
def report(folder):
    made = build_report(reduce_job(read_job(folder)), date="2026-11-25", letterhead=Letterhead(shop=TITLE, order="W-7"))
    return replace(made, sections=(*made.sections, Section("long", "At length", (), (), (LONG,))))


@pytest.fixture(scope="module")
def summary(folder):
    made = io.StringIO()
    from contextlib import redirect_stderr, redirect_stdout

    with redirect_stdout(made), redirect_stderr(io.StringIO()):
        assert run(["summary", str(folder), "--json"]) == 0
    return json.loads(made.getvalue())


class Drawn:
    """Stands for what draws the runs: one plain picture each."""

    def __init__(self, reduction, runs):
        made = io.BytesIO()
        Image.new("RGB", (960, 600), "#708090").save(made, "PNG")
        self.found = dict.fromkeys(runs, made.getvalue())

    def __enter__(self):
        return lambda: self.found

    def __exit__(self, *error):
        pass


@pytest.fixture(scope="module")
def address(report, tmp_path_factory):
    path = tmp_path_factory.mktemp("page") / "page.html"
    path.write_text(page_text(report, picture=Drawn), encoding="utf-8", newline="")
    return path.as_uri()


@pytest.fixture(scope="module")
def browser(tmp_path_factory):
    """One Chromium for all tests, without a network; WebGL is drawn in software."""
    selenium = pytest.importorskip("selenium.webdriver", reason="selenium is not installed")
    programs = [shutil.which(name) for name in ("chromium", "chromedriver")]
    if None in programs:
        pytest.skip("chromium or chromedriver is not installed")
    from selenium.webdriver.chrome.service import Service

    options = selenium.ChromeOptions()
    options.binary_location = programs[0]
    for argument in (
        "--headless=new",
        "--no-sandbox",
        "--disable-quic",
        "--no-first-run",
        "--disable-background-networking",
        "--disable-component-update",
        "--disable-sync",
        "--use-angle=swiftshader",
        "--enable-unsafe-swiftshader",
        "--window-size=900,700",
        "--host-resolver-rules=MAP * ~NOTFOUND",
        f"--user-data-dir={tmp_path_factory.mktemp('browser')}",
    ):
        options.add_argument(argument)
    options.set_capability("goog:loggingPrefs", {"browser": "ALL"})
    driver = selenium.Chrome(options=options, service=Service(programs[1]))
    driver.execute_cdp_cmd("Network.enable", {})
    no_network = {"offline": True, "latency": 0, "downloadThroughput": 0, "uploadThroughput": 0}
    driver.execute_cdp_cmd("Network.emulateNetworkConditions", no_network)
    yield driver
    driver.quit()


def wait(browser, script, *arguments, seconds=30.0):
    """Return the first value of a script that holds."""
    end = time.monotonic() + seconds
    while time.monotonic() < end:
        if found := browser.execute_script(f"return {script}", *arguments):
            return found
        time.sleep(0.03)
    raise AssertionError(f"never came: {script}; console: {browser.get_log('browser')}")


READY = "document.documentElement.classList.contains('ready')"


@pytest.fixture(scope="module")
def page(browser, address):
    """The page, opened once with its view."""
    browser.get(address)
    wait(browser, READY)
    return browser


def complaints(browser):
    """Return what the console complains of; that reading pixels back could be quicker is no complaint."""
    return [each for each in browser.get_log("browser") if "willReadFrequently" not in each["message"]]


def trace(browser, name, what):
    """Return a script's value of one of the view's traces, named t."""
    return browser.execute_script(
        f"const t = document.getElementById('stage').data.find((each) => each.name === {name!r}); return {what}"
    )


def valve_height(browser):
    return trace(browser, "valve", "Math.min(...t.z)")


def shown_rows(browser):
    script = (
        "[...document.querySelectorAll('#stations tbody tr')].map((row) => [...row.cells].map((c) => c.textContent))"
    )
    return browser.execute_script(f"return {script}")


def choose(browser, run=None, lift=None):
    """Choose a run or a lift, by their places, and wait for what is drawn then."""
    browser.execute_script(
        "const [run, lift] = arguments;"
        "if (run !== null) document.querySelectorAll('input[name=run]')[run].click();"
        "if (lift !== null) { const s = document.getElementById('lift'); s.value = lift;"
        "s.dispatchEvent(new Event('input')); }"
        "delete document.getElementById('now').dataset.seen;"
        "document.getElementById('now').replaceChildren();",
        run,
        lift,
    )
    wait(browser, "document.getElementById('now').childElementCount > 1")


# The view and its controls, in the order in which a reader would come to them


def test_it_opens_without_a_complaint_and_loads_nothing(page):
    assert complaints(page) == []
    assert page.execute_script("return performance.getEntriesByType('resource').map((each) => each.name)") == []
    assert page.execute_script("return getComputedStyle(document.querySelector('.pictures')).display") == "none"
    assert page.execute_script("return document.getElementById('no-view').hidden")
    assert page.execute_script("return document.querySelectorAll('#stage canvas').length") >= 1


def test_hostile_words_are_shown_and_not_run(page):
    assert page.execute_script("return window.hacked === undefined")
    assert page.title == TITLE
    assert page.execute_script("return document.querySelector('h1').textContent") == TITLE
    labels = page.execute_script(
        "return [...document.querySelectorAll('fieldset label')].map((each) => each.innerText.trim())"
    )
    assert labels == [FIRST, SECOND]
    assert page.execute_script("return document.querySelectorAll('main b, main a, img[src=x]').length") == 0


def test_everything_has_a_name_for_who_cannot_see_it(page):
    nodes = page.execute_cdp_cmd("Accessibility.getFullAXTree", {})["nodes"]
    named = Counter()
    for node in nodes:
        role = node.get("role", {}).get("value", "")
        if node["ignored"] or role not in ("slider", "radio", "button", "image", "link", "heading", "table", "Canvas"):
            continue
        assert node.get("name", {}).get("value", "").strip(), node
        named[role] += 1
    assert named["slider"] == 1
    assert named["radio"] == 2
    assert named["button"] == 7
    assert named["image"] > 8
    assert named["table"] > 8


def test_the_keyboard_reaches_every_control_and_it_is_seen_where_it_is(page):
    from selenium.webdriver.common.action_chains import ActionChains
    from selenium.webdriver.common.keys import Keys

    page.execute_script("scrollTo(0, 0); document.activeElement.blur(); getSelection().removeAllRanges();")
    reached = []
    for _ in range(60):
        ActionChains(page, duration=0).send_keys(Keys.TAB).perform()
        kind, outline = page.execute_script(
            "const e = document.activeElement; return [e.type === 'button' ? e.dataset.turn : e.type || e.tagName,"
            "getComputedStyle(e).outlineStyle]"
        )
        assert outline != "none"
        reached.append(kind)
        if kind == "start":
            break
    tail = reached[reached.index("radio") :]
    assert tail == ["radio", "range", "left", "right", "up", "down", "closer", "farther", "start"]
    assert "A" in reached


def test_the_slider_moves_the_valve_by_the_difference_of_lifts(page, summary):
    from selenium.webdriver.common.by import By
    from selenium.webdriver.common.keys import Keys

    lifts = [lift["lift_m"] for lift in summary["runs"][0]["lifts"]]
    slider, output = page.find_element(By.ID, "lift"), page.find_element(By.ID, "lift-now")
    assert output.text == f"{1e3 * lifts[-1]:.2f} mm"
    before = valve_height(page)
    slider.send_keys(Keys.ARROW_LEFT)
    wait(page, f"document.getElementById('lift-now').textContent === '{1e3 * lifts[-2]:.2f} mm'")
    assert slider.get_attribute("aria-valuetext") == f"{1e3 * lifts[-2]:.2f} mm"
    assert valve_height(page) - before == pytest.approx(1e3 * (lifts[-1] - lifts[-2]), abs=1e-4)
    slider.send_keys(Keys.HOME)
    wait(page, f"document.getElementById('lift-now').textContent === '{1e3 * lifts[0]:.2f} mm'")
    assert valve_height(page) - before == pytest.approx(1e3 * (lifts[-1] - lifts[0]), abs=1e-4)
    # The curtain hangs between seat and valve: opened by less it is narrower.
    least = trace(page, "curtain", "Math.max(...t.z) - Math.min(...t.z)")
    slider.send_keys(Keys.END)
    wait(page, f"document.getElementById('lift-now').textContent === '{1e3 * lifts[-1]:.2f} mm'")
    assert trace(page, "curtain", "Math.max(...t.z) - Math.min(...t.z)") > 3.0 * least


def test_table_and_words_follow_run_and_lift(page, summary):
    for place, told in enumerate(summary["runs"]):
        choose(page, run=place, lift=1)
        known = told["lifts"][1]
        rows = shown_rows(page)
        assert len(rows) == len(known["stations"])
        for row, station in zip(rows, known["stations"], strict=True):
            assert float(row[0].rstrip("°")) == station["angle_deg"]
            velocity, wide = map(float, row[1].split(" ± "))
            assert velocity == pytest.approx(station["velocity_m_s"], abs=0.051)
            # 1.96: the normal distribution's two-sided 95 %, from tables.
            assert wide == pytest.approx(1.96 * station["velocity_m_s_u"], rel=0.05)
            assert float(row[2].split(" ± ")[0]) == pytest.approx(100.0 * station["flow_share"], abs=0.006)
        caption = page.execute_script("return document.getElementById('stations').caption.textContent")
        assert caption == f"Stations of “{told['run']}” at 2.00 mm"
        words = page.execute_script("return document.getElementById('now').textContent")
        assert words.startswith(f"{told['run']}, lift 2.00 mm")
        mean = float(re.search(r"mean velocity (\d+\.\d)", words)[1])
        assert mean == pytest.approx(known["mean_velocity_m_s"], abs=0.051)
        assert page.execute_script("return document.querySelectorAll('#ring .dot').length") == len(rows)
        # Of each bar a line and two caps.
        assert page.execute_script("return document.querySelectorAll('#ring .interval').length") == 3 * len(rows)
        colours = trace(page, "curtain", "[0, 90, 180].map((angle) => t.intensity[5 * angle])")
        speeds = {station["angle_deg"]: station["velocity_m_s"] for station in known["stations"]}
        assert colours == pytest.approx([speeds[angle] for angle in (0.0, 90.0, 180.0)], rel=1e-5)


def test_what_was_not_measured_is_grey_and_told(page, summary):
    lifts = [f"{1e3 * lift['lift_m']:.2f} mm" for lift in summary["runs"][0]["lifts"]]
    choose(page, run=1, lift=lifts.index("5.00 mm"))
    assert "not measured" in page.execute_script(
        "return document.getElementById('lift').getAttribute('aria-valuetext')"
    )
    assert "Not measured at this lift" in page.execute_script("return document.getElementById('now').textContent")
    assert shown_rows(page) == [["not measured at this lift"]]
    assert trace(page, "curtain", "t.colorscale.map((each) => each[1])") == ["#bdbdb8", "#bdbdb8"]
    assert not trace(page, "stations", "t.visible")
    choose(page, run=0, lift=lifts.index("8.00 mm"))
    assert len(shown_rows(page)) == 10
    assert trace(page, "pale arrows", "t.visible && t.x.length > 0")
    assert trace(page, "hatching", "t.x.length > 0")
    far = trace(page, "curtain", "[75, 45].map((angle) => t.hovertext[5 * angle])")
    assert ["30° from a reading" in each for each in far] == [True, False]
    assert complaints(page) == []


#: Where a point of the view stands in the stage [pixels], by the matrices that it is drawn with.
PROJECTED = """
const stage = document.getElementById('stage'), scene = stage._fullLayout.scene._scene;
const { model, view, projection } = scene.glplot.cameraParams;
let point = [...arguments[0].map((each, axis) => each * scene.dataScale[axis]), 1];
for (const matrix of [model, view, projection]) {
  point = [0, 1, 2, 3].map((row) => point.reduce((sum, each, column) => sum + matrix[4 * column + row] * each, 0));
}
const box = stage.getBoundingClientRect();
return [0.5 * (point[0] / point[3]) * box.width, -0.5 * (point[1] / point[3]) * box.height];
"""


def pointed_at(browser, point):
    """Return the words of the label at a point of the view."""
    from selenium.webdriver.common.action_chains import ActionChains
    from selenium.webdriver.common.by import By

    stage = browser.find_element(By.ID, "stage")
    browser.execute_script("arguments[0].scrollIntoView({ block: 'center' })", stage)
    for shift in (60, 0):
        across, down = browser.execute_script(PROJECTED, point)
        mouse = ActionChains(browser, duration=0)
        mouse.move_to_element_with_offset(stage, round(across), round(down) + shift).perform()
    # A label of where the mouse was before is gone when this one comes.
    wait(browser, "document.querySelector('#stage .hovertext')")
    end = time.monotonic() + 5.0
    while time.monotonic() < end:
        words = browser.execute_script(
            "return [...document.querySelectorAll('#stage .hovertext tspan.line')].map((e) => e.textContent)"
        )
        if words:
            return words
        time.sleep(0.05)
    raise AssertionError("there is no label")


def test_labels_tell_the_numbers_of_stations_and_that_the_rest_is_interpolated(page, summary):
    choose(page, run=1, lift=3)
    # The second run lacks the fourth lift, 5 mm: the fourth of all lifts is shown as not measured, the third is not.
    choose(page, run=1, lift=2)
    known = summary["runs"][1]["lifts"][2]["stations"]
    speed = {station["angle_deg"]: station["velocity_m_s"] for station in known}
    for angle in (120.0, 60.0):
        place = [station["angle_deg"] for station in known].index(angle)
        middle = trace(
            page,
            "stations",
            f"(() => {{ const n = t.x.length / {len(known)}, from = n * {place};"
            "return [t.x, t.y, t.z].map((a) => a.slice(from, from + n).reduce((s, e) => s + e) / n); })()",
        )
        words = pointed_at(page, middle)
        assert words[0] == f"station {angle:g}°: measured"
        velocity, wide = re.fullmatch(r"(\d+\.\d+) ± (\d+\.\d+) m/s \(95 %\)", words[1]).groups()
        assert float(velocity) == pytest.approx(speed[angle], abs=0.051)
        assert float(wide) == pytest.approx(1.96 * known[place]["velocity_m_s_u"], rel=0.05)
        share = re.fullmatch(r"share (\d+\.\d+) ± \d+\.\d+ %", words[2])[1]
        assert float(share) == pytest.approx(100.0 * known[place]["flow_share"], abs=0.006)
    between = trace(page, "curtain", "[t.x, t.y, t.z].map((a) => a[5 * 105 + 2])")
    words = pointed_at(page, between)
    angle = float(re.fullmatch(r"(\d+)°: interpolated", words[0])[1])
    assert angle == pytest.approx(105.0, abs=8.0)
    # Between two stations the field stays between their values (shape-preserving cubics [Fritsch-Butland]).
    low, high = sorted((speed[90.0], speed[120.0]))
    assert low <= float(re.fullmatch(r"(\d+\.\d) m/s", words[1])[1]) <= high
    assert complaints(page) == []


#: Where the camera is, from the point that it looks at.
EYE = (
    "const { eye, center } = document.getElementById('stage')._fullLayout.scene._scene.getCamera();"
    "return [eye.x - center.x, eye.y - center.y, eye.z - center.z]"
)


def height_seen_from(browser):
    """Return how high the camera stands [deg]."""
    x, y, z = browser.execute_script(EYE)
    return math.degrees(math.atan2(z, math.hypot(x, y)))


def swipe(browser, places):
    """Move a finger over places of the window."""
    for number, (x, y) in enumerate(places):
        touch = {"type": "touchMove" if number else "touchStart", "touchPoints": [{"x": x, "y": y}]}
        browser.execute_cdp_cmd("Input.dispatchTouchEvent", touch)
        time.sleep(0.02)
    browser.execute_cdp_cmd("Input.dispatchTouchEvent", {"type": "touchEnd", "touchPoints": []})


def click(browser, name, times=1):
    script = "for (let n = 0; n < arguments[1]; n += 1) document.querySelector(`[data-turn=${arguments[0]}]`).click()"
    browser.execute_script(script, name, times)


def test_the_view_turns_by_its_buttons_and_by_touch_and_keeps_its_side_when_the_lift_changes(page):
    eye = EYE
    first = page.execute_script(eye)
    for name in ("left", "closer"):
        page.execute_script(f"document.querySelector('[data-turn={name}]').click()")
    turned = page.execute_script(eye)
    assert math.atan2(turned[1], turned[0]) - math.atan2(first[1], first[0]) == pytest.approx(math.pi / 12, abs=1e-3)
    assert math.hypot(*turned) == pytest.approx(math.hypot(*first) / 1.2, rel=1e-3)
    choose(page, lift=5)
    assert page.execute_script(eye) == pytest.approx(turned, abs=1e-6)
    box = page.execute_script(
        "const b = document.getElementById('stage').getBoundingClientRect();"
        "return [b.x + b.width / 2, b.y + b.height / 2]"
    )
    page.execute_cdp_cmd("Emulation.setTouchEmulationEnabled", {"enabled": True})
    swipe(page, [(box[0] + shift, box[1] + 0.3 * shift) for shift in (0, 20, 40, 60)])
    page.execute_cdp_cmd("Emulation.setTouchEmulationEnabled", {"enabled": False})
    wait(page, f"((() => {{ {eye} }})()[0] - {turned[0]}) ** 2 > 1e-4")
    # A thumb turns, and never tilts.
    assert page.execute_script(eye)[2] == pytest.approx(turned[2], abs=1e-6)
    page.execute_script("document.querySelector('[data-turn=start]').click()")
    assert page.execute_script(eye) == pytest.approx(first, abs=1e-6)


def test_in_the_dark_page_charts_and_view_change_their_colours(page):
    features = [{"name": "prefers-color-scheme", "value": "dark"}]
    page.execute_cdp_cmd("Emulation.setEmulatedMedia", {"features": features})
    wait(page, "document.getElementById('stage').data.find((t) => t.name === 'arrows').color === '#d5dcee'")
    colours = page.execute_script(
        "const of = (s, p) => getComputedStyle(document.querySelector(s))[p];"
        "return [of('body', 'backgroundColor'), of('body', 'color'), of('[aria-labelledby=flow-title] text', 'fill'),"
        "of('#labels', 'color'), of('#labels text:not(.behind)', 'fill')]"
    )
    assert colours == ["rgb(23, 24, 26)", *["rgb(230, 228, 223)"] * 4]
    page.execute_cdp_cmd("Emulation.setEmulatedMedia", {"features": []})
    wait(page, "document.getElementById('stage').data.find((t) => t.name === 'arrows').color === '#1f2a44'")


def test_on_a_phone_nothing_is_wider_than_the_page_and_controls_are_large(page):
    metrics = {"width": 360, "height": 740, "deviceScaleFactor": 1, "mobile": True}
    page.execute_cdp_cmd("Emulation.setDeviceMetricsOverride", metrics)
    wait(page, "innerWidth === 360 && document.getElementById('stage').clientWidth < 360")
    assert page.execute_script("return document.scrollingElement.scrollWidth") <= 360
    # 44 pixels: WCAG 2.2, 2.5.5 (target size, enhanced).
    heights = page.execute_script(
        "const controls = document.querySelectorAll('fieldset label, input[type=range], [data-turn]');"
        "return [...controls].map((each) => each.offsetHeight)"
    )
    assert min(heights) >= 44
    # What is wider scrolls within itself, by the keyboard too, and an edge tells it.
    wait(page, "[...document.querySelectorAll('.chart .scroll')].every((each) => each.tabIndex === 0)")
    edges = page.execute_script(
        "return [...document.querySelectorAll('.scroll')].filter((e) => e.offsetHeight).map((each) =>"
        "[each.scrollWidth > each.clientWidth + 1, getComputedStyle(each.parentElement, '::after').content !== 'none'])"
    )
    assert len(edges) > 12
    assert all(wider == told for wider, told in edges)
    # Scrolled to its end, a table's first column still stands at its left, on one line each, and the sign is gone.
    columns, content, lines = page.execute_script(
        "const table = document.querySelector('#part-flow .table .scroll'); table.scrollLeft = 9999;"
        "const left = [...table.querySelectorAll('th:first-child')].map((e) => e.getBoundingClientRect().left"
        " - table.getBoundingClientRect().left);"
        "const cells = [...document.querySelectorAll('#part-flow td, #part-flow tbody th')];"
        "return new Promise((done) => requestAnimationFrame(() => requestAnimationFrame(() => done([left,"
        "getComputedStyle(table.parentElement, '::after').content, cells.filter((e) => e.offsetHeight).map((e) =>"
        "e.clientHeight / parseFloat(getComputedStyle(e).lineHeight))]))))"
    )
    assert len(columns) > 8
    assert columns == pytest.approx([0.0] * len(columns), abs=1.0)
    assert content == "none"
    assert max(lines) < 2.0
    page.execute_cdp_cmd("Emulation.clearDeviceMetricsOverride", {})
    assert complaints(page) == []


#: Each label's words, whether it is shown, its box within the view and where it stands.
LABELS = """
const stage = document.getElementById('stage').getBoundingClientRect();
return [...document.querySelectorAll('#labels text')].map((each) => {
  const box = each.getBoundingClientRect();
  return { words: each.textContent, shown: getComputedStyle(each).visibility === 'visible',
    box: [box.left - stage.left, box.top - stage.top, box.right - stage.left, box.bottom - stage.top],
    at: [(box.left + box.right - stage.left - stage.right) / 2, (box.top + box.bottom - stage.top - stage.bottom) / 2],
    size: [stage.width, stage.height] };
})
"""


def assert_whole_labels(browser, places, least):
    """Check that all labels shown are whole, apart, before the head, and where plotly's matrices put their stations.

    That the head is not before one is VTK's answer [vtkOBBTree, by pyvista's ray_trace].
    """
    import pyvista

    x, y, z, i, j, k = trace(browser, "head", "[t.x, t.y, t.z, t.i, t.j, t.k].map((each) => [...each])")
    head = pyvista.PolyData.from_regular_faces(list(zip(x, y, z, strict=True)), list(zip(i, j, k, strict=True)))
    eye = browser.execute_script(
        "const { eye } = document.getElementById('stage')._fullLayout.scene._scene.getCamera();"
        "const { aspectratio, zaxis, xaxis } = document.getElementById('stage').layout.scene;"
        "const size = aspectratio.x / (xaxis.range[1] - xaxis.range[0]);"
        "return [eye.x / size, eye.y / size, eye.z / size + (zaxis.range[0] + zaxis.range[1]) / 2]"
    )
    shown = [each for each in browser.execute_script(LABELS) if each["shown"]]
    assert len(shown) >= least
    points = [places[each["words"]] for each in shown]
    one = f"const one = function () {{ {PROJECTED} }}; return arguments[0].map((each) => one(each))"
    projected = browser.execute_script(one, points)
    for each, point, at in zip(shown, points, projected, strict=True):
        left, top, right, bottom = each["box"]
        assert 0.0 <= left < right <= each["size"][0], each
        assert 0.0 <= top < bottom <= each["size"][1], each
        assert each["at"] == pytest.approx(at, abs=3.0), each
        assert len(head.ray_trace(eye, point, first_point=False)[0]) == 0, each
    for one in shown:
        for other in shown:
            apart = one["box"][2] <= other["box"][0] or one["box"][3] - 3 <= other["box"][1]
            assert one is other or apart or other["box"][2] <= one["box"][0] or other["box"][3] - 3 <= one["box"][1]


def rested(browser):
    """Wait until plotly's camera has come to rest."""
    script = "document.getElementById('stage')._fullLayout.scene._scene.glplot.cameraParams.view.join()"
    seen = ""
    while seen != (seen := browser.execute_script(f"return {script}")):
        time.sleep(0.06)


def test_on_a_phone_labels_are_whole_from_all_sides_and_the_tilt_ends_where_the_curtain_is_seen(page):
    labels = page.execute_script("return JSON.parse(document.getElementById('moving').textContent).labels")
    places = dict(zip(labels["text"], zip(*(labels[axis] for axis in "xyz"), strict=True), strict=True))
    for width, height in ((360, 740), (740, 360)):
        # Held upright, then turned on its side.
        metrics = {"width": width, "height": height, "deviceScaleFactor": 1, "mobile": True}
        page.execute_cdp_cmd("Emulation.setDeviceMetricsOverride", metrics)
        inner = f"innerWidth === {width} && document.getElementById('stage').clientWidth < {width}"
        wait(page, inner)
        click(page, "start")
        rested(page)
        assert_whole_labels(page, places, 9)
    for name, limit in (("up", 55.0), ("down", -12.0)):
        click(page, name, 15)
        # Well off the poles, where a disc would hide all of the curtain.
        assert height_seen_from(page) == pytest.approx(limit, abs=0.1)
        assert page.execute_script(f"return document.querySelector('[data-turn={name}]').ariaDisabled") == "true"
        for _ in range(4):
            click(page, "left", 6)
            rested(page)
            assert_whole_labels(page, places, 4)
    click(page, "closer", 9)
    rested(page)
    assert_whole_labels(page, places, 0)
    click(page, "start")
    page.execute_cdp_cmd("Emulation.clearDeviceMetricsOverride", {})
    assert complaints(page) == []


def test_a_thumb_that_goes_up_over_the_view_scrolls_the_page(page):
    metrics = {"width": 360, "height": 740, "deviceScaleFactor": 1, "mobile": True}
    page.execute_cdp_cmd("Emulation.setDeviceMetricsOverride", metrics)
    page.execute_cdp_cmd("Emulation.setTouchEmulationEnabled", {"enabled": True})
    wait(page, "innerWidth === 360 && document.getElementById('stage').clientWidth < 360")
    page.execute_script("document.getElementById('stage').scrollIntoView({ block: 'center' })")
    rested(page)
    before, scrolled = page.execute_script(EYE), page.execute_script("return scrollY")
    x, y = page.execute_script(
        "const b = document.getElementById('stage').getBoundingClientRect();"
        "return [b.x + b.width / 2, b.y + b.height / 2]"
    )
    swipe(page, [(x + 0.1 * shift, y - shift) for shift in range(0, 161, 16)])
    wait(page, f"scrollY - {scrolled} > 100")
    assert page.execute_script(EYE) == pytest.approx(before, abs=1e-6)
    page.execute_cdp_cmd("Emulation.setTouchEmulationEnabled", {"enabled": False})
    page.execute_cdp_cmd("Emulation.clearDeviceMetricsOverride", {})


def test_a_mouse_turns_and_tilts_no_farther_than_the_buttons(page):
    from selenium.webdriver.common.action_chains import ActionChains
    from selenium.webdriver.common.by import By

    stage = page.find_element(By.ID, "stage")
    page.execute_script("arguments[0].scrollIntoView({ block: 'center' })", stage)
    before = height_seen_from(page)
    mouse = ActionChains(page, duration=0).move_to_element(stage).click_and_hold()
    mouse.move_by_offset(0, 30).move_by_offset(0, 180).release().perform()
    rested(page)
    assert height_seen_from(page) > before + 5.0
    assert height_seen_from(page) <= 55.1
    click(page, "start")
    assert height_seen_from(page) == pytest.approx(before, abs=0.1)


# On paper, and where something is missing


def printed(browser, path):
    """Print the page and return its words with their boxes and their pages' sizes, page by page."""
    if shutil.which("pdftotext") is None:
        pytest.skip("pdftotext is not installed (poppler-utils)")
    made = browser.execute_cdp_cmd("Page.printToPDF", {"preferCSSPageSize": True, "printBackground": True})
    path.write_bytes(base64.b64decode(made["data"]))
    text = subprocess.run(["pdftotext", "-bbox", path, "-"], capture_output=True, text=True, check=True).stdout
    pages = []
    for size, body in re.findall(r"<page ([^>]*)>(.*?)</page>", text, re.DOTALL):
        words = re.findall(
            r'<word xMin="([-\d.]+)" yMin="([-\d.]+)" xMax="([-\d.]+)" yMax="([-\d.]+)">(.*?)</word>', body
        )
        width, height = (float(each) for each in re.findall(r'"([\d.]+)"', size))
        pages.append((width, height, [(*map(float, word[:4]), html.unescape(word[4])) for word in words]))
    return pages


def words_on_paper(report):
    """The words that must stand on paper, each as often as it does in the report at least."""
    tables = [*report.facts, *(table for section in report.sections for table in section.tables)]
    texts = [report.title, report.summary, report.cautions, *report.method, *report.warnings]
    texts += [each for table in tables for each in (table.title, table.note, *table.columns)]
    texts += [cell for table in tables for row in table.rows for cell in row]
    texts += [section.title for section in report.sections]
    texts += [words for section in report.sections for words in section.paragraphs]
    texts += [finding.words for finding in report.findings]
    texts += [each.words for finding in report.findings for each in finding.evidence]
    # Longer ones, such as a hostile title without blanks, may be broken over lines.
    return Counter(word for text in texts for word in text.split() if len(word) <= 12)


def assert_whole(pages, report):
    assert 8 <= len(pages) <= 25
    found = Counter()
    for width, height, words in pages:
        # A4 is 210 by 297 mm [ISO 216].
        assert (width, height) == pytest.approx((595.3, 841.9), abs=1.0)
        for left, top, right, bottom, word in words:
            assert 0.0 <= left < right <= width, word
            assert 0.0 <= top < bottom <= height, word
            found[word] += 1
    wanted = words_on_paper(report)
    assert len(wanted) > 300
    assert {word: count for word, count in wanted.items() if found[word] < count} == {}
    # Where a table goes on over a page its heads stand again.
    with_rows = [
        {word[4] for word in words} for _, _, words in pages if any(re.fullmatch(r"cell\d+", w[4]) for w in words)
    ]
    assert len(with_rows) >= 2
    assert all({"rowname", "longhead"} <= words for words in with_rows)


def test_printed_with_its_view_open_it_is_whole(page, report, tmp_path):
    pages = printed(page, tmp_path / "page.pdf")
    assert_whole(pages, report)
    words = {word[4] for _, _, each in pages for word in each}
    assert not words & {"Closer", "Farther"}


def test_printed_without_scripts_it_is_whole(browser, address, report, tmp_path):
    browser.execute_cdp_cmd("Emulation.setScriptExecutionDisabled", {"value": True})
    try:
        browser.get(address)
        assert_whole(printed(browser, tmp_path / "page.pdf"), report)
    finally:
        browser.execute_cdp_cmd("Emulation.setScriptExecutionDisabled", {"value": False})


def test_without_3d_the_pictures_stay_and_the_numbers_follow(browser, address, summary):
    none = "HTMLCanvasElement.prototype.getContext = () => null;"
    hook = browser.execute_cdp_cmd("Page.addScriptToEvaluateOnNewDocument", {"source": none})
    browser.get(address)
    browser.execute_cdp_cmd("Page.removeScriptToEvaluateOnNewDocument", hook)
    wait(browser, READY)
    shown = "return ['.pictures', '#no-view', '.turn', '#stage'].map((s) => document.querySelector(s).offsetHeight > 0)"
    assert browser.execute_script(shown) == [True, True, False, False]
    widths = browser.execute_script("return [...document.querySelectorAll('.pictures img')].map((e) => e.naturalWidth)")
    assert widths == [960, 960]
    choose(browser, run=1, lift=0)
    velocity = summary["runs"][1]["lifts"][0]["stations"][0]["velocity_m_s"]
    assert float(shown_rows(browser)[0][1].split(" ± ")[0]) == pytest.approx(velocity, abs=0.051)
    assert complaints(browser) == []
