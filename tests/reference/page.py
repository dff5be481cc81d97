"""report.html as a browser first shows it: no console message, nothing fetched, not blank, headline
there and its one script at work. How it is used, and printed, is tried in browser.py.

The browser is headless Chromium with name resolution switched off, so that neither the page
nor the browser's own services reach anything. Its network log tells who asked for what: what
the browser asks for on its own account has no origin and is left out.
"""

import html.parser
import json
import pathlib
import re
import subprocess

from PIL import Image

from common import Disagreement, chromium, expect, folder, make_demo, run

# Attributes by which a page fetches something.
FETCHING = {"src", "href", "srcset", "data", "poster", "action", "xlink:href"}
NO_ORIGIN = "not an origin"


class Markup(html.parser.HTMLParser):
    """What the page names to be fetched, its scripts, and the text of its headline."""

    def __init__(self, text):
        super().__init__()
        self.fetched, self.n_scripts, self.headline = [], 0, ""
        self.tag_of_headline = None
        self.feed(text)
        self.fetched += re.findall(r"url\(\s*[\"']?(?!data:|#)([^)\"']+)", text)
        self.fetched += re.findall(r"@import[^;]+", text)

    def handle_starttag(self, tag, attributes):
        self.n_scripts += tag == "script"
        for name, value in attributes:
            if name in FETCHING and value and not value.startswith(("#", "data:")):
                self.fetched.append(f"<{tag} {name}={value}>")
            if name == "class" and "headline" in (value or "").split():
                self.tag_of_headline = tag

    def handle_endtag(self, tag):
        if tag == self.tag_of_headline:
            self.tag_of_headline = None

    def handle_data(self, data):
        if self.tag_of_headline:
            self.headline += data


def browser():
    """The browser and what every run of it is told."""
    return [
        chromium(),
        "--headless",
        "--no-sandbox",
        "--disable-gpu",
        "--disable-background-networking",
        "--no-first-run",
        "--host-resolver-rules=MAP * ~NOTFOUND",
    ]


class Visit:
    """A page opened in the browser, with all that came of it."""

    def __init__(self, page, place):
        place = pathlib.Path(place)
        picture, network = place / "picture.png", place / "network.json"
        command = [
            *browser(),
            f"--user-data-dir={place / 'profile'}",
            "--enable-logging=stderr",
            "--v=0",
            f"--log-net-log={network}",
            "--window-size=1000,1600",
            f"--screenshot={picture}",
            "--dump-dom",
            page.resolve().as_uri(),
        ]
        done = subprocess.run(command, capture_output=True, text=True, timeout=180, check=False)
        expect(done.returncode == 0 and picture.exists(), f"Chromium ended with {done.returncode}: {done.stderr[-500:]}")
        self.dom = done.stdout
        self.console = re.findall(r":CONSOLE.*?\] (.*)", done.stderr)
        self.requests = requests_of(json.loads(network.read_text(encoding="utf-8")))
        with Image.open(picture) as image:
            self.picture = image.convert("RGB")

    def ink(self):
        """Share of the picture that is not of its most frequent colour, and its number of colours."""
        width, height = self.picture.size
        counts = sorted((count for count, _ in self.picture.getcolors(width * height)), reverse=True)
        return 1 - counts[0] / (width * height), len(counts)

    def mistakes(self):
        """What is wrong with the page, in words."""
        found = [f"console: {message}" for message in self.console]
        found += [f"fetches {url}" for url in self.requests]
        markup = Markup(self.dom)
        found += [f"names {what} to be fetched" for what in markup.fetched]
        found += [f"runs {markup.n_scripts} scripts"] if markup.n_scripts > 1 else []
        found += [] if markup.headline.strip() else ["has no headline"]
        ink, n_colours = self.ink()
        found += [f"is blank: {ink:.2%} ink in {n_colours} colours"] if ink < 0.02 or n_colours < 16 else []
        return found


def requests_of(log):
    """Addresses that a page asked for, files on disk left out."""
    asked = [event["params"] for event in log["events"] if "url" in event.get("params", {})]
    pages = [params["url"] for params in asked if params.get("initiator", NO_ORIGIN) != NO_ORIGIN]
    return [url for url in pages if not url.startswith(("file:", "data:"))]


# What each section of the engineer's part shows, as the start of a tag.
SHOWN = {
    "drive": ['<path class="model"'],
    "heat": ['<table class="rests"'],
    "actuator": ['<figure class="strip overlay"', '<figure class="strip ladder"', '<table class="delays"'],
    "wear": ['<figure class="strip exceedance"', '<path class="step"', '<table class="exceedance"'],
    "evidence": ["Does the state follow, and does slip fall?", "Laps left"],
}


def section_of(dom, anchor):
    """The text of a section, up to the next one."""
    parts = dom.split(f'<section id="{anchor}"')
    expect(len(parts) == 2, f"the page has {len(parts) - 1} sections {anchor}")
    return parts[1].split("</section>")[0]


def sections_missing(dom):
    """What should stand in the engineer's part and does not."""
    wanted = [(anchor, what) for anchor, all_of in SHOWN.items() for what in all_of]
    return [f"{anchor}: {what}" for anchor, what in wanted if what not in section_of(dom, anchor)]


def rests_sum_to_the_drive(dom, until_s):
    """The table of the whole drive, to a tenth of a second a row."""
    table = section_of(dom, "heat").split('<table class="rests"')[1].split("</table>")[0]
    cells = [cell.replace("&lt;", "<") for cell in re.findall(r'<td class="number">([^<]*)</td>', table)]
    *parts, together = [0.0 if cell.startswith("<") else float(cell) for cell in cells]
    expect(abs(sum(parts) - together) < 0.1 * len(parts), f"{parts} do not sum to {together}")
    expect(abs(together - until_s) < 0.1, f"the parts are {together} s of a drive of {until_s} s")


def report_of_a_demo_drive():
    with folder() as place:
        place = pathlib.Path(place)
        _, _, said = make_demo(place / "demo")
        visit = Visit(place / "demo" / "report.html", place)
    mistakes = visit.mistakes()
    expect(not mistakes, f"{len(mistakes)} mistakes: {'; '.join(mistakes[:5])}")
    headline = " ".join(Markup(visit.dom).headline.split())
    for name in ("partial_heat_making", "heat_total"):
        figure = said["figures"][name]
        wanted = f"{figure['value']:.3g}"
        expect(wanted in headline, f"the headline says nothing of {wanted} {figure['unit']}: {headline!r}")
    expect(said["map"]["vehicle"] in visit.dom, "the page does not name the vehicle")
    missing = sections_missing(visit.dom)
    expect(not missing, f"the page lacks {'; '.join(missing)}")
    rests_sum_to_the_drive(visit.dom, said["until_s"])
    ink, n_colours = visit.ink()
    expect("Whole drive</button>" in visit.dom, "the script that zooms the strips did not run")
    return f"console silent, nothing fetched, {ink:.0%} ink in {n_colours} colours, headline {headline!r}"


def pages_that_must_be_refused():
    text = "<p class=headline>A headline</p>" + "words and more words " * 800
    wrong = {
        "console": f"<body>{text}<script>nothing.there()</script>",
        "fetches http": f"<body>{text}<img src='http://example.invalid/x.png'>",
        "to be fetched": f"<body>{text}<style>p {{ background: url(x.png) }}</style>",
        "runs 2 scripts": f"<body>{text}<script></script><script></script>",
        "has no headline": f"<body>{text.replace('headline', 'other')}",
        "is blank": "<body><p class=headline style='color: white'>A headline</p>",
    }
    bare = "".join(f'<section id="{anchor}"></section>' for anchor in SHOWN)
    n_missing = len(sections_missing(bare))
    expect(n_missing == sum(map(len, SHOWN.values())), f"of a page of empty sections {n_missing} things are missed")
    for word, content in wrong.items():
        with folder() as place:
            page = pathlib.Path(place, "page.html")
            page.write_text(f"<!DOCTYPE html><meta charset=utf-8><title>x</title>{content}", encoding="utf-8")
            mistakes = Visit(page, place).mistakes()
        if not any(word in mistake for mistake in mistakes):
            raise Disagreement(f"a page that `{word}` fits passed with {mistakes}")
    return f"{len(wrong)} wrong pages are refused"


if __name__ == "__main__":
    run([report_of_a_demo_drive, pages_that_must_be_refused])
