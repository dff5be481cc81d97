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
  const least = Math.min(until, Math.max(1, until / 500));
  let from = 0;
  let to = until;

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
  const by = (factor) => {
    const middle = (from + to) / 2;
    const half = ((to - from) * factor) / 2;
    show(middle - half, middle + half);
  };
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
  bar.append(said, make("span", "hint", "or drag across a strip"));
  strips.before(bar);

  // The outline runs along the highest values and back along the lowest.
  const outlines = plots.map((plot) =>
    [...plot.querySelectorAll("polygon.band")].map((polygon) => {
      const points = polygon.getAttribute("points").trim().split(/\s+/).map((pair) => pair.split(",").map(Number));
      const n = points.length / 2;
      return { high: points.slice(0, n), low: points.slice(n).reverse() };
    }),
  );
  const short = (value) => String(Number(value.toPrecision(3))).replace("-", "−");
  const valueAt = (index, x) => {
    const { low, high, unit } = plots[index].dataset;
    if (low === undefined) return "";
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
  const shareAt = (event) => {
    const box = frames[0].getBoundingClientRect();
    return Math.min(1, Math.max(0, (event.clientX - box.left) / box.width));
  };
  let start = null;
  const point = (event) => {
    const share = shareAt(event);
    const second = from + share * (to - from);
    const [left, right] = start === null ? [share, share] : [Math.min(start, share), Math.max(start, share)];
    cursors.forEach((cursor) => {
      cursor.style.left = `${left * 100}%`;
      cursor.style.width = `${(right - left) * 100}%`;
    });
    readouts.forEach((readout, index) => {
      const value = valueAt(index, (second / until) * width);
      readout.textContent = value && ` · ${clock(second, to - from < 120 ? 1 : 0)}: ${value}`;
    });
    strips.classList.add("pointed");
  };
  const leave = () => {
    start = null;
    strips.classList.remove("pointed");
    readouts.forEach((readout) => { readout.textContent = ""; });
  };
  frames.forEach((frame) => {
    frame.addEventListener("pointermove", point);
    frame.addEventListener("pointerdown", (event) => {
      // A finger scrolls the page; the buttons are for it.
      if (event.button !== 0 || event.pointerType === "touch") return;
      start = shareAt(event);
      frame.setPointerCapture(event.pointerId);
      event.preventDefault();
    });
    frame.addEventListener("pointerup", (event) => {
      if (start === null) return;
      const end = shareAt(event);
      const [left, right] = [Math.min(start, end), Math.max(start, end)];
      const span = to - from;
      leave();
      if (right - left > 0.01) show(from + left * span, from + right * span);
    });
    frame.addEventListener("pointercancel", leave);
    frame.addEventListener("pointerleave", () => { if (start === null) leave(); });
    frame.addEventListener("dblclick", () => show(0, until));
  });

  // Paper shows the whole drive.
  let kept = null;
  window.addEventListener("beforeprint", () => { kept = [from, to]; show(0, until); });
  window.addEventListener("afterprint", () => { if (kept) show(...kept); });
})();
