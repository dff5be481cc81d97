"""Every page the program writes, used in a real browser as people use it: at the widths of
telephone, tablet and desk, light and dark, by mouse, finger and keyboard, and on paper.

The browser is the Chromium of the system, driven by playwright, with name resolution switched off.
axe-core comes from npm, is compared with its known hash, and is skipped without npm.
Every check is a function from a page to a list of mistakes, so that each can be shown pages it
must refuse.
"""

import base64
import hashlib
import io
import pathlib
import re
import subprocess
import tarfile

import pypdfium2
from playwright.sync_api import sync_playwright

from common import ROOT, Disagreement, Skipped, chromium, expect, folder, halfshaft, make_demo, on, run

DRIVES = ["hard-track-day", "healthy-road", "tired-motor", "mismatched-tyres"]
TOUCH_WIDTHS, DESK_WIDTH = [360, 390, 820], 1440
# Below this a row of a table is stacked; the style says 40 rem.
NARROW = 400
# The height a finger needs, CSS px. Source: WCAG 2.2, 2.5.5 target size (enhanced).
TARGET_PX = 44
AXE = "axe-core-4.14.1.tgz"
AXE_SHA512 = "FHfa+lmNjQZfJz1q8wKqIDwC6DExcHt/pkjNQb09a3NPjCKg2rhu5qb2S4r76ASyFNNtuFooJpZe37OgudVGtQ=="
PAPERS = ["A4", "letter"]
WORKSHOP = ["--shop", "Hill and Sons, Garage", "--job", "A-17", "--mileage", "84200km"]
UNITS = "km|m|miles|mm|kJ|J|kW|W|W/mm²|°C|K|°|s|ms|min|h|rad/s|N·m|%|V|A"


class Browser:
    """The browser with its two ways of use: a desk with a mouse, and a screen that is touched."""

    def __init__(self, play):
        self.program = play.chromium.launch(
            executable_path=chromium(),
            args=["--no-sandbox", "--disable-gpu", "--host-resolver-rules=MAP * ~NOTFOUND"],
        )
        screen = {"width": TOUCH_WIDTHS[-1], "height": 844}
        self.touch = self.program.new_context(viewport=screen, has_touch=True, is_mobile=True, reduced_motion="reduce")
        self.desk = self.program.new_context(viewport={"width": DESK_WIDTH, "height": 900}, reduced_motion="reduce")

    def open(self, place, is_touched=False):
        """A page, with what it writes to the console and what it fetches."""
        page = (self.touch if is_touched else self.desk).new_page()
        page.noise = []
        page.on("console", lambda message: page.noise.append(f"console: {message.text}"))
        page.on("pageerror", lambda error: page.noise.append(f"console: {error}"))
        page.on("request", lambda asked: page.noise.append(f"fetches {asked.url}") if fetches(asked.url) else None)
        page.goto(pathlib.Path(place).resolve().as_uri())
        return page


def fetches(url):
    return not url.startswith(("file:", "data:", "about:"))


def at(page, width, scheme="light"):
    page.set_viewport_size({"width": width, "height": 844 if width < DESK_WIDTH else 900})
    page.emulate_media(color_scheme=scheme)


# --- What is wrong with a page, as a list of words -----------------------------------------


def noise(page):
    return page.noise


def sideways(page):
    """What makes the page wider than the screen."""
    return page.evaluate("""() => {
      const root = document.documentElement;
      if (root.scrollWidth <= root.clientWidth) return [];
      const wide = [...document.body.querySelectorAll("*")].filter((each) =>
        each.getBoundingClientRect().right > root.clientWidth + 1 && !each.closest(".scroll"));
      const named = wide.map((each) => `${each.tagName} ${each.className.baseVal ?? each.className}`);
      return [`scrolls sideways: ${root.scrollWidth} px of ${root.clientWidth}, by ${named[0]}`];
    }""")


def cut_off(page):
    """Tables that still have to be pushed about: on a telephone every one of them fits."""
    return page.evaluate("""() => [...document.querySelectorAll(".scroll")]
      .filter((each) => each.clientWidth && each.scrollWidth > each.clientWidth)
      .map((each) => `wider than the screen: ${each.getAttribute("aria-label")}, ${each.scrollWidth} px of ${each.clientWidth}`)""")


def nameless_cells(page):
    """Cells of stacked rows without the name of their column beside them. In a heat map the place
    of a cell says what it is; a cell over several columns is a sentence."""
    return page.evaluate("""() => [...document.querySelectorAll("table:not(.duty):has(thead)")].flatMap((table) => {
      const heads = [...table.tHead.rows[0].cells].map((head) => head.textContent.trim());
      const cells = [...table.tBodies].flatMap((body) => [...body.rows]).flatMap((row) => [...row.cells]);
      const bare = cells.filter((cell) => cell.tagName === "TD" && cell.colSpan === 1 && cell.textContent.trim() && cell.checkVisibility()
        && !getComputedStyle(cell, "::before").content.replaceAll('"', "").includes(heads[cell.cellIndex]));
      return bare.slice(0, 1).map((cell) => `cell without its column's name: ${table.className}, ${cell.textContent}`);
    })""")


def nameless_things(page):
    """Tables without a caption and pictures without words."""
    return page.evaluate("""() => [
      ...[...document.querySelectorAll("table")].filter((table) => !table.caption?.textContent.trim())
        .map((table) => `no caption: table ${table.className}`),
      ...[...document.querySelectorAll("figure")].filter((figure) => !figure.querySelector("figcaption")?.textContent.trim())
        .map((figure) => `no text beside the picture: figure ${figure.className}`),
      ...[...document.querySelectorAll("svg")].filter((svg) => svg.getAttribute("aria-hidden") !== "true"
        && !(svg.getAttribute("role") === "img" && (svg.querySelector("title")?.textContent.trim() || svg.getAttribute("aria-label"))))
        .map((svg) => `no text beside the picture: svg ${svg.className.baseVal}`),
    ]""")


def small_targets(page):
    """What is too small for a finger; the link past the owner's side is seen by keyboard only."""
    return page.evaluate("""(least) => [...document.querySelectorAll("a[href]:not(.skip), button, summary, [role=slider]")]
      .filter((each) => each.checkVisibility() && each.getBoundingClientRect().height < least - 0.5)
      .map((each) => `too small for a finger: ${each.textContent.trim()}, ${each.getBoundingClientRect().height} px`)""", TARGET_PX)


def parted_units(page):
    """Numbers of the owner's side that a line may end behind, before their unit."""
    text = page.evaluate("() => document.querySelector('#owner')?.textContent ?? ''")
    return [f"number and unit may be parted: {found.group()}" for found in re.finditer(rf"\d (?:{UNITS})(?![\w/])", text)]


def moving(page):
    """Motion in spite of the wish for none."""
    return page.evaluate("""() => [...document.querySelectorAll("*")].filter((each) => {
      const style = getComputedStyle(each);
      return style.scrollBehavior === "smooth" || style.animationName !== "none" || parseFloat(style.transitionDuration) > 0;
    }).slice(0, 1).map((each) => `moves: ${each.tagName}`)""")


def not_reached(page):
    """Controls and scrolled regions that the Tab key does not come to, in the order of the page."""
    wanted = page.evaluate("""() => {
      const controls = "a[href], button, summary, [tabindex='0']";
      const scrolled = (each) => /auto|scroll/.test(getComputedStyle(each).overflowX) && each.scrollWidth > each.clientWidth;
      const all = [...document.body.querySelectorAll("*")].filter((each) =>
        each.checkVisibility({ contentVisibilityAuto: true }) && (each.matches(controls) || scrolled(each)));
      all.forEach((each, index) => { each.dataset.order = index; });
      document.activeElement.blur();
      window.getSelection().removeAllRanges();
      window.scrollTo(0, 0);
      return all.map((each) => `${each.tagName} ${(each.getAttribute("aria-label") || each.textContent).trim().slice(0, 40)}`);
    }""")
    met = []
    for _ in range(len(wanted) + 1):
        page.keyboard.press("Tab")
        order = page.evaluate("() => document.activeElement.dataset.order ?? null")
        if order is None or int(order) in met:
            break
        met.append(int(order))
    missed = [f"not reached by Tab: {wanted[index]}" for index in range(len(wanted)) if index not in met]
    return missed + ([] if met == sorted(met) else ["Tab leaves the order of the page"])


def broken_rules(page, axe):
    """What axe-core finds."""
    page.evaluate(f"() => {{ {axe}\n }}") if page.evaluate("() => typeof axe === 'undefined'") else None
    found = page.evaluate("async () => (await axe.run(document, { resultTypes: ['violations'], preload: false })).violations")
    return [f"axe: {rule['id']}, {len(rule['nodes'])} times, {rule['nodes'][0]['html'][:90]}" for rule in found]


# --- Zoom ----------------------------------------------------------------------------------

STATE = """() => ({
  drawn: document.querySelector(".strips.shared svg.plot").getAttribute("viewBox"),
  read: [...document.querySelectorAll(".readout")].map((each) => each.textContent).join(""),
  told: document.querySelector(".reader").getAttribute("aria-valuetext"),
})"""
VALUE = re.compile(r"\d:\d\d(\.\d)?: −?\d")


class Zoom:
    """The strips over the drive, and what became of them after each thing done."""

    def __init__(self, page):
        self.page, self.mistakes = page, []
        frame = page.locator(".strips.shared .frame").nth(1)
        frame.scroll_into_view_if_needed()
        self.box = frame.bounding_box()
        self.whole = self.state()["drawn"]

    def state(self):
        return self.page.evaluate(STATE)

    def point(self, share):
        return self.box["x"] + share * self.box["width"], self.box["y"] + self.box["height"] / 2

    def reads(self, by):
        self.mistakes += [] if VALUE.search(self.state()["read"]) else [f"zoom: {by} reads no value out"]

    def changes(self, by, before):
        self.mistakes += [f"zoom: {by} changes nothing"] if self.state()["drawn"] == before else []

    def undone(self):
        self.page.get_by_role("button", name="Whole drive").click()
        self.mistakes += [] if self.state()["drawn"] == self.whole else ["zoom: `Whole drive` does not undo it"]
        # The button may have scrolled the page.
        frame = self.page.locator(".strips.shared .frame").nth(1)
        frame.scroll_into_view_if_needed()
        self.box = frame.bounding_box()


def zoom_by_mouse(page):
    zoom = Zoom(page)
    mouse = page.mouse
    mouse.move(*zoom.point(0.3))
    zoom.reads("the mouse over a strip")
    mouse.down()
    mouse.move(*zoom.point(0.6), steps=4)
    mouse.up()
    zoom.changes("a drag of the mouse", zoom.whole)
    zoom.undone()
    mouse.move(*zoom.point(0.5))
    page.keyboard.down("Control")
    mouse.wheel(0, -200)
    page.keyboard.up("Control")
    page.wait_for_timeout(60)
    zoom.changes("the wheel", zoom.whole)
    zoom.undone()
    return zoom.mistakes


def zoom_by_keyboard(page):
    zoom = Zoom(page)
    page.locator(".reader").focus()
    page.keyboard.press("ArrowRight")
    zoom.reads("an arrow key")
    told = zoom.state()["told"]
    page.keyboard.press("ArrowRight")
    zoom.mistakes += ["zoom: a second arrow key reads nothing new"] if zoom.state()["told"] == told else []
    page.keyboard.press("+")
    zoom.changes("the key +", zoom.whole)
    page.keyboard.press("Escape")
    zoom.mistakes += [] if zoom.state()["drawn"] == zoom.whole else ["zoom: Escape does not undo it"]
    return zoom.mistakes


def zoom_by_link(page):
    """A time in the table of events, or of a finding, leads to its place in the strips, sample by sample."""
    zoom = Zoom(page)
    page.locator("#events .leading a.there").first.click()
    page.wait_for_timeout(60)
    zoom.changes("a time in the table of events", zoom.whole)
    zoom.reads("a time in the table of events")
    samples = page.evaluate("() => [...document.querySelectorAll('svg.close')].filter((each) => each.checkVisibility()).length")
    zoom.mistakes += [] if samples else ["zoom: a time in the table of events shows no samples"]
    where = page.evaluate("() => document.querySelector('.strips.shared').getBoundingClientRect().top")
    zoom.mistakes += [] if -200 < where < 900 else ["zoom: a time in the table of events does not lead to the strips"]
    zoom.undone()
    return zoom.mistakes


def zoom_by_touch(page):
    zoom = Zoom(page)
    fingers = page.context.new_cdp_session(page)

    def touch(kind, *shares):
        points = [dict(zip("xy", zoom.point(share)), id=index) for index, share in enumerate(shares)]
        fingers.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": points})

    touch("touchStart", 0.4)
    touch("touchEnd")
    zoom.reads("a tap")
    touch("touchStart", 0.45, 0.55)
    touch("touchMove", 0.4, 0.6)
    touch("touchMove", 0.25, 0.75)
    touch("touchEnd")
    zoom.changes("a pinch", zoom.whole)
    pinched = zoom.state()["drawn"]
    touch("touchStart", 0.7)
    touch("touchMove", 0.6)
    touch("touchMove", 0.4)
    touch("touchEnd")
    zoom.changes("a drag of a finger", pinched)
    zoom.undone()
    return zoom.mistakes


# --- Paper ---------------------------------------------------------------------------------


def paper(page, size):
    """What is printed: the text of each sheet, in lines."""
    page.evaluate("(size) => { const style = document.createElement('style'); style.id = 'size';"
                  " style.textContent = `@page { size: ${size}; }`; document.getElementById('size')?.remove();"
                  " document.head.append(style); }", size)
    sheets = pypdfium2.PdfDocument(page.pdf(prefer_css_page_size=True))
    texts = [sheet.get_textpage().get_text_bounded() for sheet in sheets]
    return [[line.strip() for line in text.splitlines() if line.strip()] for text in texts]


ENGINEERS = "Clutch-pack differential report: the engineer’s part"


def badly_printed(page, size):
    """Sheets without their foot, headings that end one, and an owner's side of more than one."""
    headings = page.evaluate("() => [...document.querySelectorAll('h2, h3, caption')].map((each) => each.innerText.trim())")
    sheets, found = paper(page, size), []
    first = [number for number, lines in enumerate(sheets) if ENGINEERS in lines]
    found += [f"the owner's side takes {first[0]} sheets of {size}"] if first and first[0] != 1 else []
    for number, lines in enumerate(sheets, 1):
        foot = f"page {number} of {len(sheets)}"
        if not any(foot in line for line in lines[-3:] + lines[:3]):
            found.append(f"sheet {number} of {size} lacks `{foot}`")
        rest = [line for line in lines if " of " not in line or not re.search(r"page \d+ of \d+", line)]
        if rest and rest[-1] in headings:
            found.append(f"a heading ends sheet {number} of {size}: {rest[-1]}")
    return found


# --- The checks ----------------------------------------------------------------------------


class Pages:
    """The pages of all drives, made once, in a browser opened once."""

    def __init__(self, place, browser):
        self.browser, self.files = browser, {}
        for drive in DRIVES:
            log, map_file, _ = make_demo(place / drive, drive)
            self.files[drive] = place / drive / "report.html"
        first, (first_map,) = place / DRIVES[0] / f"{DRIVES[0]}.log", (place / DRIVES[0]).glob("*.map")
        halfshaft("report", first, "--map", first_map, "--out", place / "workshop", *WORKSHOP)
        self.with_workshop = place / "workshop" / "report.html"
        halfshaft("whatif", log, "--map", map_file, "--faces", "20", "--out", place / "what-if")
        (self.files["what-if"],) = (place / "what-if").glob("*.html")
        before, after = (place / drive / "report.json" for drive in ("healthy-road", "tired-motor"))
        halfshaft("compare", before, after, "--out", place / "compare")
        (self.files["compare"],) = (place / "compare").glob("*.html")

    def refuse(self, found):
        expect(not found, f"{len(found)} mistakes: {'; '.join(found[:6])}")


def each_width_light_and_dark(pages):
    found, n = [], 0
    for name, file in pages.files.items():
        for is_touched in (True, False):
            page = pages.browser.open(file, is_touched)
            for width in TOUCH_WIDTHS if is_touched else [DESK_WIDTH]:
                for scheme in ("light", "dark"):
                    at(page, width, scheme)
                    checks = [sideways]
                    if scheme == "light":
                        checks += [small_targets] if is_touched else [nameless_things, parted_units, moving]
                        checks += [cut_off, nameless_cells] if width < NARROW else []
                    found += [f"{name} at {width} px, {scheme}: {what}" for check in checks for what in check(page)]
                    n += 1
            found += [f"{name}: {what}" for what in noise(page)]
            page.close()
    pages.refuse(found)
    return f"{len(pages.files)} pages, {n} screens: no sideways scroll, nothing fetched, console silent, targets and names there"


def axe_core():
    """The text of axe-core, by npm, with its hash compared."""
    place = ROOT / "target" / "axe"
    place.mkdir(parents=True, exist_ok=True)
    archive = place / AXE
    if not archive.exists():
        name = AXE.removesuffix(".tgz").replace("core-", "core@")
        try:
            done = subprocess.run(["npm", "pack", name], cwd=place, capture_output=True, text=True, timeout=120, check=False)
        except (FileNotFoundError, subprocess.TimeoutExpired) as error:
            raise Skipped(f"npm gives no axe-core: {error}") from error
        if done.returncode:
            raise Skipped(f"npm gives no axe-core: {done.stderr.strip().splitlines()[-1:]}")
    content = archive.read_bytes()
    found = base64.b64encode(hashlib.sha512(content).digest()).decode()
    expect(found == AXE_SHA512, f"{AXE} has the hash {found}, not {AXE_SHA512}")
    with tarfile.open(fileobj=io.BytesIO(content)) as files:
        return files.extractfile("package/axe.min.js").read().decode("utf-8")


def axe_finds_nothing(pages):
    axe, found = axe_core(), []
    for name, file in pages.files.items():
        for is_touched, width, scheme in ((False, DESK_WIDTH, "light"), (False, DESK_WIDTH, "dark"), (True, 390, "dark")):
            page = pages.browser.open(file, is_touched)
            at(page, width, scheme)
            found += [f"{name} at {width} px, {scheme}: {what}" for what in broken_rules(page, axe)]
            page.close()
    pages.refuse(found)
    return f"{len(pages.files)} pages, at the desk by day and in the dark, and on a telephone"


def tab_reaches_everything(pages):
    found = []
    for name, file in pages.files.items():
        page = pages.browser.open(file)
        found += [f"{name}: {what}" for what in not_reached(page)]
        page.close()
    pages.refuse(found)
    return f"{len(pages.files)} pages, in the order of the page"


def zoom_by_mouse_finger_and_keys(pages):
    found = []
    for is_touched, check in ((False, zoom_by_mouse), (False, zoom_by_keyboard), (False, zoom_by_link), (True, zoom_by_link),
                              (True, zoom_by_touch)):
        page = pages.browser.open(pages.files[DRIVES[0]], is_touched)
        at(page, 390 if is_touched else DESK_WIDTH)
        found += check(page) + noise(page)
        page.close()
    pages.refuse(found)
    return "each changes what is drawn and reads a value out, and the whole drive comes back"


def paper_is_in_order(pages):
    page = pages.browser.open(pages.with_workshop)
    stated = "Hill and Sons, Garage · job A-17 · 84,200 km"
    sheets = [" ".join(lines).replace("\u00a0", " ") for lines in paper(page, "A4")]
    n = [sheet.count(stated) for sheet in sheets]
    expect(n == [2] + [1] * (len(n) - 1), f"the workshop stands {n} times on the sheets, not in the head and each foot")
    page.close()
    found = []
    for name, file in [*pages.files.items(), ("with a workshop", pages.with_workshop)]:
        page = pages.browser.open(file)
        for size in PAPERS:
            found += [f"{name}: {what}" for what in badly_printed(page, size)]
        page.close()
    pages.refuse(found)
    return f"one sheet for the owner in {len(DRIVES)} drives, {' and '.join(PAPERS)}; feet on every sheet, no heading last"


def pages_that_must_be_refused(pages):
    """Each check meets a good page broken in one place, and has to see it."""
    axe = axe_core()
    add = "document.querySelector('main').insertAdjacentHTML('beforeend', `{}`)".format
    on_any_page = [
        ("scrolls sideways", sideways, 390, add("<div style='width: 2000px'>wide</div>")),
        ("console", noise, 390, "console.log('a word')"),
        ("Content Security Policy", noise, DESK_WIDTH, "fetch('http://example.invalid/x').catch(() => 0)"),
        ("wider than the screen", cut_off, 390, "document.querySelector('.scroll').style.width = '3rem'"),
        ("cell without its column's name", nameless_cells, 390, "document.querySelector('table.figures').removeAttribute('style')"),
        ("no caption", nameless_things, DESK_WIDTH, "document.querySelector('table').caption.remove()"),
        ("no text beside the picture: figure", nameless_things, DESK_WIDTH, "document.querySelector('figcaption').remove()"),
        ("no text beside the picture: svg", nameless_things, DESK_WIDTH, add("<svg></svg>")),
        ("moves", moving, DESK_WIDTH, "document.body.style.transition = 'all 1s'"),
        ("axe: color-contrast", lambda page: broken_rules(page, axe), DESK_WIDTH, add("<p style='color: #aaa; background: #fff'>pale</p>")),
        ("axe: button-name", lambda page: broken_rules(page, axe), 390, add("<button></button>")),
    ]
    on_a_drive = [
        ("too small for a finger", small_targets, 390, add("<div><a href='#owner'>a short way</a></div>")),
        ("number and unit may be parted", parted_units, DESK_WIDTH, "document.querySelector('#owner').append('12 km')"),
        ("not reached by Tab", not_reached, DESK_WIDTH, "document.querySelector('.reader').tabIndex = -1; document.querySelector('.top').tabIndex = -1"),
        ("Tab leaves the order", not_reached, DESK_WIDTH, "document.querySelector('.top').tabIndex = 1"),
        ("zoom: a drag of the mouse changes nothing", zoom_by_mouse, DESK_WIDTH, deaf("pointerup")),
        ("zoom: the wheel changes nothing", zoom_by_mouse, DESK_WIDTH, deaf("wheel")),
        ("zoom: an arrow key reads no value", zoom_by_keyboard, DESK_WIDTH, deaf("keydown")),
        ("zoom: a time in the table of events changes nothing", zoom_by_link, DESK_WIDTH, deaf("click")),
        ("zoom: a time in the table of events shows no samples", zoom_by_link, DESK_WIDTH,
         "document.querySelectorAll('svg.close').forEach((each) => each.remove())"),
        ("zoom: a pinch changes nothing", zoom_by_touch, 390, deaf("pointermove")),
        ("zoom: a tap reads no value", zoom_by_touch, 390, deaf("pointerup")),
        ("the owner's side takes 2 sheets", lambda page: badly_printed(page, "A4"), DESK_WIDTH,
         "document.querySelector('#owner').insertAdjacentHTML('beforeend', '<p>And one more reason.</p>'.repeat(40))"),
        ("lacks `page 1 of", lambda page: badly_printed(page, "A4"), DESK_WIDTH,
         add("<style>@page { @bottom-right { content: none } }</style>")),
        ("a heading ends sheet", lambda page: badly_printed(page, "A4"), DESK_WIDTH,
         "document.querySelector('.engineer').insertAdjacentHTML('beforebegin', '<h2 style=\"break-after: page\">Alone</h2>')"),
    ]
    wrong = [(pages.files["what-if"], *each) for each in on_any_page]
    wrong += [(pages.files[DRIVES[0]], *each) for each in on_a_drive]
    for file, word, check, width, script in wrong:
        page = pages.browser.open(file, width < DESK_WIDTH)
        at(page, width)
        page.evaluate(f"() => {{ {script} }}")
        page.wait_for_timeout(50)
        found = check(page)
        page.close()
        if not any(word in mistake for mistake in found):
            raise Disagreement(f"a page that `{word}` fits passed with {found[:5]}")
    return f"{len(wrong)} wrong pages are refused"


def deaf(event):
    """A page whose script never hears of an event."""
    return f"window.addEventListener('{event}', (event) => event.stopImmediatePropagation(), true)"


CHECKS = [
    each_width_light_and_dark,
    axe_finds_nothing,
    tab_reaches_everything,
    zoom_by_mouse_finger_and_keys,
    paper_is_in_order,
    pages_that_must_be_refused,
]


def main():
    with folder() as place, sync_playwright() as play:
        pages = Pages(pathlib.Path(place), Browser(play))
        run([on(pages, check) for check in CHECKS])


if __name__ == "__main__":
    main()
