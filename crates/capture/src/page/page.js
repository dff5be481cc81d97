// The live page. Values come as events, each with the time of the sample it rests on; the page counts
// their ages on by itself, so that one that stopped coming is seen to be old, whatever the link does.
(() => {
  "use strict";
  const by = (id) => document.getElementById(id);
  const make = (name, className, text) => {
    const element = document.createElement(name);
    if (className) element.className = className;
    if (text !== undefined) element.textContent = text;
    return element;
  };
  const drawn = (name, attributes) => {
    const element = document.createElementNS("http://www.w3.org/2000/svg", name);
    Object.entries(attributes || {}).forEach(([key, value]) => element.setAttribute(key, value));
    return element;
  };
  const write = (element, text) => {
    if (element.textContent !== text) element.textContent = text;
  };
  const number = (value, decimals) => (value < 0 ? "−" : "")
    + Math.abs(value).toLocaleString("en", { minimumFractionDigits: decimals, maximumFractionDigits: decimals });
  const time = (seconds) => {
    const whole = Math.max(0, Math.round(seconds));
    const [hours, minutes, rest] = [Math.floor(whole / 3600), Math.floor(whole / 60) % 60, whole % 60];
    const two = (value) => String(value).padStart(2, "0");
    return hours ? `${hours}:${two(minutes)}:${two(rest)}` : `${minutes}:${two(rest)}`;
  };
  const bytes = (count) => {
    const units = ["B", "kB", "MB", "GB", "TB"];
    const step = Math.min(units.length - 1, count > 0 ? Math.floor(Math.log10(count) / 3) : 0);
    return `${number(count / 1000 ** step, step && count / 1000 ** step < 10 ? 1 : 0)} ${units[step]}`;
  };

  // --- What is known ---------------------------------------------------------------------
  const STEP = 2;
  const SPAN = 900;
  const QUIET = 3;
  const known = { stale: [], why: [] };
  let quick = null;
  let heard = 0;
  let spoken = performance.now();
  let isLost = true;
  let history = { drive: 0, oil: [], heat: [], slip: [], command: [] };

  // The time of the drive now: it goes on while nothing is heard.
  const now = () => (quick ? quick[1] + (performance.now() - heard) / 1000 : 0);
  const isOver = () => known.head && !known.head[2];

  // --- Large values ----------------------------------------------------------------------
  const tile = (id, text, why, at, staleFrom) => {
    const element = by(id);
    const age = at === null || at === undefined || !quick ? null : Math.max(0, now() - at);
    const isStale = text !== null && !isOver() && (isLost || (age !== null && staleFrom !== null && age > staleFrom));
    element.classList.toggle("stale", isStale);
    write(element.querySelector(".n"), text === null ? "–" : text);
    const unit = element.querySelector(".u");
    if (unit) unit.hidden = text === null;
    write(element.querySelector(".why"), why || "");
    const shown = element.querySelector(".age");
    if (shown) write(shown, age === null || isOver() ? "" : isStale ? `${number(age, 0)} s old` : `${number(age, 1)} s old`);
  };
  const text = (value, decimals) => (value === null || value === undefined ? null : number(value, decimals));
  const oil = () => known.oil || { now: [null, "", false], margin: [null, "", false], time: [null, ""], limit: null, at: null, stale: null };
  const large = () => {
    const of = oil();
    const sensed = quick && quick[2] !== null;
    const celsius = sensed ? quick[2] : of.now[0];
    const at = quick && quick[3] !== null ? quick[3] : of.at;
    const shown = celsius === null || (of.now[0] === null && known.oil) ? null : celsius;
    const margin = shown === null || of.limit === null ? of.margin[0] : of.limit - shown;
    tile("oil", text(shown, 0), shown === null ? of.now[1] : of.basis, at, of.stale);
    const ahead = of.time[0] === null ? of.time[1] : `${time(of.time[0])} to the limit at this heat`;
    const beside = of.limit === null ? "" : `to ${number(of.limit, 0)} °C. `;
    tile("margin", text(margin, 0), margin === null ? of.margin[1] : beside + (isOver() ? "" : ahead || ""), at, of.stale);
    ["oil", "margin"].forEach((id) => {
      by(id).classList.toggle("hot", margin !== null && margin <= 0 && !by(id).classList.contains("stale"));
      by(id).classList.toggle("warm", margin !== null && margin > 0 && margin < 10);
    });
  };
  const laps = () => {
    const [left, low, high, why] = known.left || [null, null, null, ""];
    const range = left === null ? why : high === null ? `${number(low, 0)} or more` : `${number(low, 0)} to ${number(high, 0)}, at this pace`;
    const isNone = left === null && (why || "").startsWith("None");
    tile("left", isNone ? "none" : left === null ? null : left < 1 ? "under 1" : number(Math.floor(left), 0), range);
    by("left").classList.toggle("hot", isNone && !isOver());
    const [, last] = known.heat || [null, [null, "", false]];
    const [driven, none] = known.laps || [[], ""];
    const before = driven.slice(0, -1).map((lap) => lap[2]).filter((heat) => heat !== null);
    const mean = before.length ? before.reduce((sum, heat) => sum + heat, 0) / before.length : null;
    const change = mean ? Math.round(100 * (last[0] / mean - 1)) : null;
    const against = change === null ? "first lap" : `${change > 0 ? "+" : change < 0 ? "−" : "±"}${Math.abs(change)} % against ${number(mean, 0)} kJ before`;
    tile("last", last[0] === null ? null : (last[2] ? "≥" : "") + number(last[0], 0), last[0] === null ? last[1] : against);
    const [corner, heat, times, share] = known.corner || [null, [null, "", false], 0, null];
    tile("corner", corner === null ? null : `no. ${corner}`, corner === null ? heat[1]
      : `${text(heat[0], 1)} kJ${share === null ? "" : `, ${share} % of a lap`}, ${times} times`);
    write(by("no-laps"), driven.length ? "" : none || "");
    const most = Math.max(...driven.map((lap) => lap[2] || 0), 1e-9);
    by("laps").replaceChildren(...driven.slice(-12).map(([which, seconds, kj, hottest, isAtLeast]) => {
      const row = make("li");
      row.append(make("span", "", `Lap ${which}, ${time(seconds)}`));
      const bar = drawn("svg", { viewBox: "0 0 100 10", preserveAspectRatio: "none", "aria-hidden": "true" });
      bar.append(drawn("rect", { width: (100 * (kj || 0)) / most, height: 10 }));
      row.append(bar, make("span", "n", kj === null ? "–" : `${isAtLeast ? "≥ " : ""}${number(kj, 0)} kJ`));
      return row;
    }));
  };

  // --- What the car does now -------------------------------------------------------------
  const rows = {};
  const line = (name) => {
    if (!rows[name]) {
      const box = make("div");
      const value = make("dd");
      box.append(make("dt", "", name), value);
      value.append(make("span", "v"), make("span", "small"));
      by("now").append(box);
      rows[name] = value;
    }
    return rows[name];
  };
  const put = (name, shown, why, at, staleFrom) => {
    const value = line(name);
    const age = at === null || at === undefined || !quick ? null : Math.max(0, now() - at);
    const isStale = shown !== null && !isOver() && (isLost || (age !== null && staleFrom !== null && staleFrom !== undefined && age > staleFrom));
    value.classList.toggle("stale", isStale);
    write(value.firstChild, shown === null ? "–" : shown);
    const aged = age === null || isOver() ? "" : `${number(age, age < 10 ? 1 : 0)} s old`;
    write(value.lastChild, shown === null ? why || aged : aged);
  };
  const unit = (value, decimals, symbol) => (value === null || value === undefined ? null : `${number(value, decimals)} ${symbol}`);
  const current = () => {
    const of = isOver() || !quick ? [] : quick;
    const [why, stale] = [known.why, known.stale];
    const rowsAt = of[8];
    put("Command", unit(of[4], 0, "%"), why[0], of[5], stale[0]);
    put("State", unit(of[6], 0, "%"), why[1], of[7], stale[1]);
    put("Clutch", of[13] || null, why[6], rowsAt, stale[2]);
    put("Heat now", unit(of[9], 1, "kW"), why[2], rowsAt, stale[2]);
    put("Slip", unit(of[10], 1, "rad/s"), why[3], rowsAt, stale[2]);
    put("Axle speed difference", unit(of[11], 1, "rad/s"), why[4], rowsAt, stale[2]);
    put("Road speed", unit(of[12], 0, "km/h"), why[5], rowsAt, stale[2]);
    const names = ["Heat, this lap so far", null, "Heat, this stint", "Heat, this drive"];
    (known.heat || []).forEach(([kj, reason, isAtLeast], index) => {
      if (names[index]) put(names[index], kj === null ? null : `${isAtLeast ? "≥ " : ""}${number(kj, 0)} kJ`, reason, rowsAt, stale[2]);
    });
    const pack = known.pack;
    if (pack) {
      put("Pack, by the model", unit(pack.now[0], 0, "°C"), pack.now[1], pack.at, pack.stale);
      put("Pack, margin", unit(pack.margin[0], 0, "K"), pack.margin[1], pack.at, pack.stale);
      put("Pack, time to limit", pack.time[0] === null ? null : time(pack.time[0]), pack.time[1], pack.at, pack.stale);
    }
  };

  // --- Strips ----------------------------------------------------------------------------
  const TRENDS = [["oil", "Oil", "°C", 2], ["heat", "Heat", "kW", 9], ["slip", "Slip", "rad/s", 10], ["command", "Command", "%", 4]];
  const trends = {};
  TRENDS.forEach(([name, title, symbol]) => {
    const box = make("div", `trend ${name}`);
    const words = make("p");
    words.append(make("strong", "", title), make("span", "quiet"));
    const svg = drawn("svg", { viewBox: `0 0 ${SPAN / STEP} 100`, preserveAspectRatio: "none", role: "img", "aria-label": `${title}, last 15 minutes` });
    const path = drawn("path");
    const limit = drawn("line", { x1: 0, x2: SPAN / STEP, y1: -9, y2: -9 });
    svg.append(limit, path);
    box.append(words, svg);
    by("strips").append(box);
    trends[name] = { words: words.lastChild, path, limit, symbol };
  });
  const strips = () => {
    const last = Math.floor(now() / STEP);
    const first = last - SPAN / STEP;
    TRENDS.forEach(([name]) => {
      const { words, path, limit, symbol } = trends[name];
      const points = history[name].filter(([slot]) => slot > first);
      const values = points.map(([, value]) => value);
      const line = name === "oil" ? oil().limit : null;
      const high = Math.max(...values, name === "command" ? 100 : 1e-9, line === null ? 0 : line);
      const low = name === "oil" ? Math.min(...values, high - 20) : 0;
      const y = (value) => 97 - (94 * (value - low)) / (high - low || 1);
      let before = -9;
      path.setAttribute("d", points.map(([slot, value]) => {
        const step = `${slot - before > 5 ? "M" : "L"}${slot - first} ${y(value).toFixed(1)}`;
        before = slot;
        return step;
      }).join("") || "M0 0");
      if (line !== null) ["y1", "y2"].forEach((end) => limit.setAttribute(end, y(line)));
      write(words, values.length ? `${number(low, 0)} to ${number(high, high < 10 ? 1 : 0)} ${symbol}` : "nothing yet");
    });
  };
  const point = (name, at, value) => {
    if (at === null || value === null) return;
    const slot = Math.floor(at / STEP);
    const points = history[name];
    const latest = points[points.length - 1];
    if (!latest || latest[0] < slot) points.push([slot, Math.abs(value)]);
    else if (latest[0] === slot) latest[1] = Math.max(latest[1], Math.abs(value));
    if (points.length > SPAN / STEP) points.shift();
  };
  const remember = () => {
    if (history.drive !== quick[0]) history = { drive: quick[0], oil: [], heat: [], slip: [], command: [] };
    point("oil", quick[3], quick[2]);
    point("heat", quick[8], quick[9]);
    point("slip", quick[8], quick[10]);
    point("command", quick[5], quick[4]);
  };
  // What came while the link was lost, and before the page was opened.
  const fill = async () => {
    try {
      const answer = await fetch("/history");
      if (answer.status === 401) location.reload();
      if (!answer.ok) return;
      const past = await answer.json();
      const since = history;
      history = past;
      if (since.drive === past.drive) TRENDS.forEach(([name]) => since[name].forEach(([slot, value]) => point(name, slot * STEP, value)));
      strips();
    } catch {
      // The link is lost again: it is asked for at the next start of the events.
    }
  };

  // --- Lists -----------------------------------------------------------------------------
  const list = (id, items, none) => {
    const all = items.length ? items : [[make("span", "quiet", none)]];
    by(id).replaceChildren(...all.map((parts) => {
      const item = make("li");
      item.append(...parts);
      return item;
    }));
  };
  const SEVERITY = { "look-soon": "look soon" };
  const draw = {
    findings: (all) => list("findings", all.map(([severity, title, since]) =>
      [make("b", severity, SEVERITY[severity] || severity), ` ${title}, since ${time(since)}`]), "none so far"),
    events: (all) => list("events", all.map(([start, seconds, isCommanded, peak, kj, isBroken]) =>
      [`${time(start)}: ${number(seconds, 1)} s, ${isCommanded ? `command to ${peak === null ? "–" : peak} %` : "slip without command"}, ${kj === null ? "heat not known" : `${number(kj, 1)} kJ`}${isBroken ? ", not whole" : ""}`]), "none so far"),
    marks: (all) => list("marks", all.map(([at, note]) => [`${time(at)}: ${note || "mark"}`]), "none so far"),
    head: ([drive, vehicle, , trouble]) => {
      write(by("vehicle"), vehicle || "halfshaft live");
      document.title = `${vehicle}: drive ${drive}, live`;
      by("trouble").hidden = !trouble;
      write(by("trouble"), trouble || "");
    },
    rec: (of) => {
      const states = { absent: "not there", down: "down", listening: "listening", ended: "ended" };
      const parts = of.on.map(([name, state, frames, lost, errors, silent]) =>
        `${name} ${states[state] || state}: ${number(frames, 0)} frames, ${lost ? `${number(lost, 0)} LOST` : "none lost"}`
        + (errors ? `, ${number(errors, 0)} error reports` : "") + (silent > 1 ? `, silent for ${number(silent, 0)} s` : ""));
      if (of.in) parts.push(`${bytes(of.kept)} in ${of.in}, ${number(of.unsynced, 0)} s unsynced`);
      else parts.push("nothing is kept");
      if (of.disk !== null) parts.push(`disk: ${bytes(of.disk)} left`);
      if (of.out) parts.push(`${number(of.out, 0)} entries kept but not shown live`);
      if (of.trouble) parts.unshift(of.trouble);
      known.parts = parts;
      document.querySelector(".recording").classList.toggle("bad", Boolean(of.trouble || of.on.some((one) => one[3])));
    },
  };

  // --- The link --------------------------------------------------------------------------
  const show = () => {
    const quietS = (performance.now() - spoken) / 1000;
    isLost = quietS > QUIET;
    document.body.classList.toggle("lost", isLost);
    document.querySelector("header").classList.toggle("lost", isLost);
    write(by("link"), isLost ? `link lost for ${number(quietS, 0)} s` : isOver() ? "drive ended, values final" : quick ? "live" : "waiting for a drive");
    write(by("clock"), quick ? `drive ${quick[0]}, ${time(isOver() ? quick[1] : now())}` : "");
    const aged = isLost ? `, as of ${number(quietS, 0)} s ago` : "";
    if (known.parts) write(by("recording"), known.parts.join(" · ") + aged);
    large();
    current();
  };
  const hear = () => { spoken = performance.now(); };
  let source = null;
  const connect = () => {
    source = new EventSource("/events");
    source.addEventListener("open", () => { hear(); fill(); });
    source.addEventListener("t", () => { hear(); });
    source.addEventListener("q", (event) => {
      hear();
      heard = spoken;
      quick = JSON.parse(event.data);
      remember();
      show();
    });
    source.addEventListener("s", (event) => {
      hear();
      const sections = JSON.parse(event.data);
      Object.assign(known, sections);
      Object.entries(sections).forEach(([name, section]) => draw[name] && draw[name](section));
      if (["left", "heat", "laps", "corner"].some((name) => name in sections)) laps();
      show();
    });
    source.addEventListener("error", () => {
      // The browser tries again by itself, unless it was refused.
      if (source.readyState === EventSource.CLOSED) {
        setTimeout(() => { fill(); connect(); }, 2000);
      }
    });
  };
  connect();
  laps();
  show();
  setInterval(show, 250);
  setInterval(strips, 1000);

  // --- Marks and the look ----------------------------------------------------------------
  by("mark").addEventListener("submit", async (event) => {
    event.preventDefault();
    const note = by("note").value;
    let isMade = false;
    try {
      const answer = await fetch("/mark", { method: "POST", body: new URLSearchParams({ note }) });
      isMade = answer.ok;
    } catch {
      // Said below.
    }
    write(by("marked"), isMade ? `marked at ${time(now())}` : "not sent: the link is lost");
    if (isMade) by("note").value = "";
    by("note").blur();
  });
  document.addEventListener("keydown", (event) => {
    const isTyping = event.target instanceof HTMLInputElement;
    if (event.key === "m" && !isTyping && !event.ctrlKey && !event.metaKey && !event.altKey) {
      event.preventDefault();
      by("note").focus();
    }
  });
  const night = matchMedia("(prefers-color-scheme: dark)");
  const root = document.documentElement;
  const isDark = () => root.classList.contains("dark") || (night.matches && !root.classList.contains("light"));
  const look = () => {
    by("theme").setAttribute("aria-pressed", String(isDark()));
  };
  by("theme").addEventListener("click", () => {
    const wanted = isDark() ? "light" : "dark";
    root.classList.remove("light", "dark");
    root.classList.add(wanted);
    look();
  });
  night.addEventListener("change", look);
  look();
})();
