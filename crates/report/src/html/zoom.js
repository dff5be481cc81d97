// Zoom and readout for the strips over the drive. The page is whole without it: this only
// narrows what each drawing shows of itself, and reads values back from its outline.
(() => {
  "use strict";
  const strips = document.querySelector(".strips.shared");
  const ruler = strips && strips.querySelector(".ruler");
  if (!ruler) return;
  const until = Number(strips.dataset.until);
  const plots = [...strips.querySelectorAll("svg.plot")];
  const frames = plots.map((plot) => plot.closest(".frame"));
  const [, , width, height] = plots[0].getAttribute("viewBox").split(" ").map(Number);
  const whole = ruler.innerHTML;
  const least = Math.min(until, 0.5);
  let from = 0;
  let to = until;
  // The second that is read: under the mouse, at the last tap, or where the arrow keys left it.
  let at = null;

  const make = (name, className, text) => {
    const element = document.createElement(name);
    element.className = className;
    element.textContent = text || "";
    return element;
  };
  const clock = (second, decimals) => {
    const tenths = 10 ** decimals;
    const rounded = Math.round(second * tenths) / tenths;
    const hours = Math.floor(rounded / 3600);
    const minutes = Math.floor(rounded / 60) % 60;
    const rest = (rounded % 60).toFixed(decimals).padStart(decimals ? 3 + decimals : 2, "0");
    return hours ? `${hours}:${String(minutes).padStart(2, "0")}:${rest}` : `${minutes}:${rest}`;
  };

  const bar = make("div", "zoom");
  bar.setAttribute("role", "group");
  bar.setAttribute("aria-label", "Zoom of the strips");
  const said = make("span", "shown");
  said.setAttribute("role", "status");
  const show = (start, end) => {
    const span = Math.min(until, Math.max(least, end - start));
    from = Math.min(Math.max(0, start), until - span);
    to = from + span;
    const left = (from / until) * width;
    const part = (span / until) * width;
    plots.forEach((plot) => plot.setAttribute("viewBox", `${left} 0 ${part} ${height}`));
    const isWhole = span >= until;
    if (at !== null) read(at);
    strips.classList.toggle("zoomed", !isWhole);
    if (isWhole) {
      ruler.innerHTML = whole;
      said.textContent = "";
      return;
    }
    const steps = [0.1, 0.2, 0.5, 1, 2, 5, 10, 15, 30, 60, 120, 300, 600, 900, 1800, 3600];
    const step = steps.find((each) => span / each <= 8) || 7200;
    ruler.replaceChildren();
    for (let tick = Math.ceil(from / step); tick * step <= to; tick += 1) {
      const mark = make("span", "", clock(tick * step, step < 1 ? 1 : 0));
      mark.style.left = `${((tick * step - from) / span) * 100}%`;
      ruler.append(mark);
    }
    said.textContent = `${clock(from, 1)} to ${clock(to, 1)}`;
  };
  // Closer or wider; the second given stays where it is.
  const by = (factor, fixed = (from + to) / 2) => show(fixed - (fixed - from) * factor, fixed + (to - fixed) * factor);
  const along = (share) => show(from + (to - from) * share, to + (to - from) * share);
  const button = (text, act) => {
    const element = make("button", "", text);
    element.type = "button";
    element.addEventListener("click", act);
    bar.append(element);
  };
  button("Closer", () => by(0.5));
  button("Wider", () => by(2));
  button("Earlier", () => along(-0.5));
  button("Later", () => along(0.5));
  button("Whole drive", () => show(0, until));
  // For the arrow keys, and for those who hear the page.
  const reader = make("div", "reader");
  const roles = { role: "slider", tabindex: "0", "aria-label": "Time read", "aria-valuemin": "0", "aria-valuemax": until.toFixed(1) };
  Object.entries(roles).forEach(([name, value]) => reader.setAttribute(name, value));
  const isTouched = window.matchMedia("(pointer: coarse)").matches;
  const hint = isTouched ? "Tap a strip to read it, pinch to zoom." : "Drag across a strip to zoom; so does the wheel with Ctrl.";
  bar.append(reader, said, make("span", "hint", hint));
  strips.before(bar);

  // The outline runs along the highest values and back along the lowest.
  const outlines = plots.map((plot) =>
    [...plot.querySelectorAll("polygon.band")].map((polygon) => {
      const points = polygon.getAttribute("points").trim().split(/\s+/).map((pair) => pair.split(",").map(Number));
      const n = points.length / 2;
      return { high: points.slice(0, n), low: points.slice(n).reverse() };
    }),
  );
  // Where every sample is drawn: by steps, in milliseconds and thousandths of the height.
  const closeUps = plots.map((plot) =>
    [...plot.querySelectorAll("svg.close")].map((close) => {
      const steps = close.firstElementChild.getAttribute("d").match(/-?\d+/g).map(Number);
      const points = [];
      let [x, y] = [Number(close.dataset.from), 0];
      for (let index = 0; index < steps.length; index += 2) {
        x += steps[index] / 1000;
        y += steps[index + 1] / 1000;
        points.push([x, y]);
      }
      return points;
    }),
  );
  const short = (value) => String(Number(value.toPrecision(3))).replace("-", "−");
  const valueAt = (index, x) => {
    const { low, high, unit } = plots[index].dataset;
    if (low === undefined) return "";
    const second = (x / width) * until;
    const close = closeUps[index].find((points) => second >= points[0][0] && second <= points[points.length - 1][0]);
    if (close) {
      // What is drawn between two samples is a line, and the one before holds until the next.
      const point = close.findLast(([when]) => when <= second + 1e-6);
      return `${short(Number(high) - point[1] * (high - low))} ${unit}`.trim();
    }
    const run = outlines[index].find(({ high: top }) => x >= top[0][0] && x <= top[top.length - 1][0]);
    if (!run) return "no samples";
    let nearest = 0;
    run.high.forEach((point, at) => {
      if (Math.abs(point[0] - x) < Math.abs(run.high[nearest][0] - x)) nearest = at;
    });
    const value = (y) => Number(high) - (y / height) * (high - low);
    const [least, most] = [short(value(run.low[nearest][1])), short(value(run.high[nearest][1]))];
    return `${least === most ? least : `${least} to ${most}`} ${unit}`.trim();
  };
  const readouts = frames.map((frame) => {
    const readout = make("span", "readout");
    readout.setAttribute("aria-hidden", "true");
    frame.parentElement.querySelector("figcaption").append(readout);
    return readout;
  });
  const cursors = frames.map((frame) => {
    const cursor = make("div", "cursor");
    frame.append(cursor);
    return cursor;
  });
  const shareOf = (second) => (second - from) / (to - from);
  const read = (second, other = second) => {
    at = Math.min(until, Math.max(0, second));
    const [left, right] = [shareOf(Math.min(at, other)), shareOf(Math.max(at, other))];
    cursors.forEach((cursor) => {
      cursor.style.left = `${left * 100}%`;
      cursor.style.width = `${(right - left) * 100}%`;
    });
    const when = clock(at, to - from < 120 ? 1 : 0);
    const values = plots.map((_, index) => valueAt(index, (at / until) * width));
    readouts.forEach((readout, index) => { readout.textContent = values[index] && ` · ${when}: ${values[index]}`; });
    const named = values.map((value, index) => value && `${plots[index].querySelector("title").textContent} ${value}`);
    reader.setAttribute("aria-valuenow", at.toFixed(1));
    reader.setAttribute("aria-valuetext", [when, ...named.filter(Boolean)].join("; "));
    reader.textContent = `Read at ${when}`;
    strips.classList.add("pointed");
  };
  const leave = () => {
    at = null;
    strips.classList.remove("pointed");
    readouts.forEach((readout) => { readout.textContent = ""; });
    reader.textContent = "Read with arrow keys";
    reader.setAttribute("aria-valuenow", "0");
    reader.setAttribute("aria-valuetext", "nothing read yet");
  };
  leave();

  const keys = {
    ArrowRight: (step) => read(at + step),
    ArrowLeft: (step) => read(at - step),
    Home: () => read(from),
    End: () => read(to),
    PageUp: () => read(at - (to - from) / 2),
    PageDown: () => read(at + (to - from) / 2),
    "+": () => by(0.5, at),
    "=": () => by(0.5, at),
    "-": () => by(2, at),
    Escape: () => { show(0, until); leave(); },
  };
  reader.addEventListener("keydown", (event) => {
    const act = keys[event.key];
    if (!act || event.ctrlKey || event.altKey || event.metaKey) return;
    event.preventDefault();
    if (at === null) at = (from + to) / 2;
    act((to - from) / (event.shiftKey ? 10 : 50));
    if (at === null) return;
    // What is read stays in sight.
    if (at < from || at > to) show(at - (to - from) / 2, at + (to - from) / 2);
    read(at);
  });

  const secondUnder = (event) => {
    const box = frames[0].getBoundingClientRect();
    return from + Math.min(1, Math.max(0, (event.clientX - box.left) / box.width)) * (to - from);
  };
  // Fingers on the strips, each with the second it took hold of: one moves what is shown, two
  // stretch it. Where the whole drive is shown there is nothing to move, and one finger reads.
  const fingers = new Map();
  const hold = () => fingers.forEach((finger) => { finger.second = from + finger.share * (to - from); });
  const moveFingers = () => {
    const [one, two] = fingers.values();
    if (two) {
      const apart = Math.max(0.02, Math.abs(one.share - two.share));
      const span = Math.min(until, Math.max(least, Math.abs(one.second - two.second) / apart));
      show(one.second - one.share * span, one.second + (1 - one.share) * span);
      hold();
    } else if (to - from < until) {
      show(one.second - one.share * (to - from), one.second + (1 - one.share) * (to - from));
      hold();
    } else {
      read(from + one.share * (to - from));
    }
  };
  const liftFinger = (event) => {
    const finger = fingers.get(event.pointerId);
    if (!finger) return;
    fingers.delete(event.pointerId);
    hold();
    if (event.type === "pointerup" && finger.isTap) read(secondUnder(event));
  };

  // The second at which a drag of the mouse began.
  let start = null;
  frames.forEach((frame) => {
    frame.addEventListener("pointerdown", (event) => {
      if (event.button !== 0) return;
      if (event.pointerType === "touch") {
        fingers.forEach((finger) => { finger.isTap = false; });
        const second = secondUnder(event);
        fingers.set(event.pointerId, { share: shareOf(second), second, x: event.clientX, isTap: fingers.size === 0 });
      } else {
        start = secondUnder(event);
        event.preventDefault();
      }
      frame.setPointerCapture(event.pointerId);
    });
    frame.addEventListener("pointermove", (event) => {
      const finger = fingers.get(event.pointerId);
      if (finger) {
        // A finger at rest trembles.
        if (Math.abs(event.clientX - finger.x) > 6) finger.isTap = false;
        finger.share = shareOf(secondUnder(event));
        if (!finger.isTap) moveFingers();
      } else if (event.pointerType !== "touch") {
        read(secondUnder(event), start === null ? undefined : start);
      }
    });
    frame.addEventListener("pointerup", (event) => {
      liftFinger(event);
      if (start === null) return;
      const [left, right] = [start, secondUnder(event)].sort((a, b) => a - b);
      start = null;
      leave();
      if (right - left > 0.01 * (to - from)) show(left, right);
    });
    frame.addEventListener("pointercancel", (event) => { liftFinger(event); start = null; });
    frame.addEventListener("pointerleave", (event) => {
      if (start === null && event.pointerType !== "touch" && document.activeElement !== reader) leave();
    });
    frame.addEventListener("wheel", (event) => {
      // The wheel alone scrolls the page; two fingers on a touchpad arrive as wheel with Ctrl.
      const isAlong = Math.abs(event.deltaX) > Math.abs(event.deltaY);
      if (event.ctrlKey) by(2 ** (Math.sign(event.deltaY) / 2), secondUnder(event));
      else if (isAlong && to - from < until) along(event.deltaX / frame.clientWidth);
      else return;
      event.preventDefault();
    }, { passive: false });
    frame.addEventListener("dblclick", () => show(0, until));
  });

  // The times in the tables lead to their place.
  document.querySelectorAll("a.there").forEach((link) => {
    link.addEventListener("click", (event) => {
      event.preventDefault();
      const [start, end] = [Number(link.dataset.from), Number(link.dataset.to)];
      show(start - 1, end + 1);
      // Back leads to the table again.
      location.hash = "drive";
      reader.focus({ preventScroll: true });
      read((start + end) / 2);
    });
  });

  // Paper shows the whole drive.
  let kept = null;
  window.addEventListener("beforeprint", () => { kept = [from, to]; show(0, until); });
  window.addEventListener("afterprint", () => { if (kept) show(...kept); });
})();
