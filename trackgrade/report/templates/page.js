/* One cursor in time through the plan view, the strips, the needles and the readout. No library, no network. */
(function () {
  "use strict";
  document.documentElement.classList.add("scripted");
  const byId = (id) => document.getElementById(id);
  const all = (selector, within) => Array.from((within || document).querySelectorAll(selector));
  byId("print").addEventListener("click", () => window.print());
  const flight = JSON.parse(byId("flight").textContent);

  // -- the flight, as flight_data.py packed it ----------------------------------------------------------------
  function unpack(channel) {
    const out = [];
    let sum = 0;
    for (const step of channel.d.split(",")) {
      if (step === "") { out.push(NaN); continue; }
      sum += Number(step);
      out.push(sum * channel.step);
    }
    return out;
  }
  const ch = {};
  for (const name of Object.keys(flight.channels)) ch[name] = unpack(flight.channels[name]);
  const t = ch.t, gaps = new Set(flight.gaps), pieces = flight.pieces;
  if (!t.length || Number.isNaN(t[0]) || !pieces.length) return;

  /** Index k of the last sample at or before a time, and how far on to the next one. */
  function place(time) {
    let low = 0, high = t.length - 1;
    while (low < high) {
      const middle = (low + high + 1) >> 1;
      if (t[middle] <= time) low = middle; else high = middle - 1;
    }
    const next = Math.min(low + 1, t.length - 1);
    if (next === low || gaps.has(next)) return { k: low, share: 0, next: low };
    return { k: low, share: Math.min(1, Math.max(0, (time - t[low]) / (t[next] - t[low]))), next };
  }
  function read(name, at) {
    const a = ch[name][at.k], b = ch[name][at.next];
    return Number.isNaN(b) ? a : a + (b - a) * at.share;
  }
  function readAngle(name, at) {
    const a = ch[name][at.k], b = ch[name][at.next];
    const turn = ((b - a + 540) % 360) - 180;
    return Number.isNaN(turn) ? a : (a + turn * at.share + 360) % 360;
  }

  // -- the time axis: pieces of the flight side by side ---------------------------------------------------------
  const timeToX = (time) => {
    for (const [a, b, x0, x1] of pieces) {
      if (time <= b) return time < a ? x0 : x0 + (time - a) * (x1 - x0) / (b - a || 1);
    }
    return pieces[pieces.length - 1][3];
  };
  const xToTime = (x) => {
    for (const [a, b, x0, x1] of pieces) {
      if (x <= x1) return x < x0 ? a : a + (x - x0) * (b - a) / (x1 - x0 || 1);
    }
    return pieces[pieces.length - 1][1];
  };
  // The slider counts the seconds shown: what lies between two visits takes no place on it.
  const timeToShown = (time) => pieces.reduce((sum, [a, b]) => sum + Math.min(Math.max(time - a, 0), b - a), 0);
  const shownToTime = (shown) => {
    let left = shown;
    for (const [a, b] of pieces) {
      if (left <= b - a) return a + left;
      left -= b - a;
    }
    return pieces[pieces.length - 1][1];
  };
  const inPiece = (time) => pieces.find(([a, b]) => time >= a && time <= b);
  const onward = (time) => {
    if (inPiece(time)) return time;
    const next = pieces.find(([a]) => a > time);
    return next ? next[0] : pieces[pieces.length - 1][1];
  };

  // -- what is shown -------------------------------------------------------------------------------------------
  const state = { time: pieces[0][0], from: pieces[0][0], to: pieces[pieces.length - 1][1], view: "hold", playing: false };
  const plan = byId("plan"), slider = byId("when"), clock = byId("clock"), play = byId("play");
  const aircraft = byId("plan-aircraft"), plots = all("#evidence .plot");
  const now = {};
  for (const each of all("[data-now]")) now[each.dataset.now] = each;
  const SVG = "http://www.w3.org/2000/svg";

  function draw(name, attributes, parent) {
    const each = document.createElementNS(SVG, name);
    for (const key of Object.keys(attributes)) each.setAttribute(key, attributes[key]);
    parent.appendChild(each);
    return each;
  }
  const ahead = draw("line", { x1: 0, y1: 0, x2: 0, y2: -34 }, aircraft);
  const body = draw("path", { d: "M0-13L4-2 13 5V8L3 5 2 10 5 13H-5L-2 10-3 5-13 8V5L-4-2Z" }, aircraft);

  const two = (n) => String(n).padStart(2, "0");
  const clockOf = (time) => {
    const s = ((Math.round(flight.t0 + time) % 86400) + 86400) % 86400;
    return two(Math.floor(s / 3600)) + ":" + two(Math.floor(s / 60) % 60) + ":" + two(s % 60);
  };
  const whole = (v, places) => Number.isNaN(v) ? "–" : v.toFixed(places || 0).replace(/^-(?=0(\.0+)?$)/, "").replace("-", "\u2212");
  const compass = (v) => Number.isNaN(v) ? "–" : String(Math.round(((v - flight.variation) % 360 + 360) % 360) || 360).padStart(3, "0");
  const phaseAt = (time) => {
    let words = "";
    for (const [from, each] of flight.phases) { if (from > time) break; words = each; }
    return words;
  };

  function toPlan(east, north) {
    const [turn, scale, x0, y0] = flight.views[state.view], a = turn * Math.PI / 180;
    return [x0 + (east * Math.cos(a) + north * Math.sin(a)) * scale, y0 + (east * Math.sin(a) - north * Math.cos(a)) * scale];
  }

  function show() {
    const at = place(state.time), east = read("east", at), north = read("north", at);
    const heading = readAngle("heading", at), track = readAngle("track", at), turn = flight.views[state.view][0];
    const [x, y] = toPlan(east, north);
    aircraft.setAttribute("visibility", Number.isNaN(x) ? "hidden" : "visible");
    if (!Number.isNaN(x)) {
      aircraft.setAttribute("transform", "translate(" + x.toFixed(1) + " " + y.toFixed(1) + ")");
      const nose = Number.isNaN(heading) ? track : heading;
      body.setAttribute("transform", "rotate(" + (nose + turn).toFixed(1) + ")");
      ahead.setAttribute("transform", "rotate(" + (track + turn).toFixed(1) + ")");
    }
    const left = timeToX(state.from), right = timeToX(state.to);
    const percent = ((timeToX(state.time) - left) / (right - left || 1) * 100).toFixed(3) + "%";
    for (const plot of plots) {
      const line = plot.querySelector(".cursor");
      line.setAttribute("x1", percent); line.setAttribute("x2", percent); line.setAttribute("visibility", "visible");
    }
    const phase = phaseAt(state.time), cross = read("cross", at), alt = read("alt", at);
    now.phase.textContent = phase;
    now.alt.textContent = whole(alt);
    now.gs.textContent = whole(read("gs", at));
    now.ias.textContent = whole(read("ias", at));
    now.heading.textContent = compass(heading);
    now.track.textContent = compass(track);
    now.cross.textContent = Number.isNaN(cross) ? "–" : whole(Math.abs(cross), 2) + " " + (Math.abs(cross) < 0.005 ? "" : cross > 0 ? "right" : "left");
    now.bank.textContent = whole(Math.abs(read("bank", at)));
    now.rate.textContent = whole(read("rate", at), 1);
    let said = "";
    for (const kind of flight.needles) {
      const share = read("needle_" + kind, at), held = Math.max(-1.04, Math.min(1.04, share));
      const figure = document.querySelector('[data-needle="' + kind + '"]');
      figure.querySelector(".pointer").setAttribute("transform", "translate(" + (Number.isNaN(held) ? 0 : (-100 * held).toFixed(1)) + " 0)");
      figure.querySelector(".flag").textContent = ch["to_" + kind][at.k] ? "TO" : "FROM";
      if (!said) said = "needle " + whole(Math.abs(share), 2) + " of full scale";
    }
    clock.textContent = clockOf(state.time) + " UTC";
    slider.value = String(Math.round(timeToShown(state.time)));
    slider.setAttribute("aria-valuetext", clockOf(state.time) + ", " + phase + ", " + whole(alt) + " feet, " + said);
  }

  function go(time) {
    state.time = Math.min(state.to, Math.max(state.from, onward(time)));
    show();
  }

  // -- choosing a lap: the plan view shows it alone, the strips zoom to it ----------------------------------------
  function ticks() {
    const axis = document.querySelector(".time-words");
    axis.textContent = "";
    const left = timeToX(state.from), right = timeToX(state.to);
    const most = Math.max(2, Math.floor(axis.getBoundingClientRect().width / 88));
    const shown = timeToShown(state.to) - timeToShown(state.from) || 1;
    const step = [5, 10, 15, 30, 60, 120, 300, 600, 900, 1800, 3600, 7200].find((s) => shown / s <= most) || 14400;
    for (let at = Math.ceil((flight.t0 + state.from) / step) * step - flight.t0; at <= state.to; at += step) {
      const x = (timeToX(at) - left) / (right - left) * 100;
      if (!inPiece(at) || x < 3 || x > 97) continue;
      const words = draw("text", { x: x.toFixed(2) + "%", y: 14, "text-anchor": "middle" }, axis);
      words.textContent = step >= 60 ? clockOf(at).slice(0, 5) : clockOf(at);
    }
    const apart = 2000 / axis.getBoundingClientRect().width;
    let before = -apart;
    for (const head of all(".lap-heads text")) {
      const s = flight.stretches.find((each) => each.key === head.dataset.stretch);
      const x = ((timeToX(s.from) + timeToX(s.to)) / 2 - left) / (right - left) * 100;
      head.setAttribute("x", x.toFixed(2) + "%");
      const visible = x > 0 && x < 100 && x - before >= apart;
      if (visible) before = x;
      head.setAttribute("visibility", visible ? "visible" : "hidden");
    }
  }

  function choose(key) {
    const s = flight.stretches.find((each) => each.key === key);
    const first = pieces[0][0], last = pieces[pieces.length - 1][1];
    state.from = s ? Math.max(first, onward(s.from)) : first;
    state.to = s ? Math.min(last, Math.max(s.to, state.from + 5)) : last;
    for (const each of all("[data-stretch]", plan)) {
      each.classList.toggle("dim", Boolean(s) && each.dataset.stretch !== key);
      each.classList.toggle("chosen", Boolean(s) && each.dataset.stretch === key);
    }
    const left = timeToX(state.from), right = timeToX(state.to);
    for (const zoom of all(".zoom")) zoom.setAttribute("viewBox", left.toFixed(1) + " 0 " + (right - left).toFixed(1) + " 1000");
    slider.min = String(Math.round(timeToShown(state.from)));
    slider.max = String(Math.round(timeToShown(state.to)));
    ticks();
    go(state.time);
  }
  for (const radio of all('input[name="stretch"]')) {
    radio.addEventListener("change", () => { choose(radio.value); if (radio.value) go(state.from); });
  }
  for (const radio of all('input[name="view"]')) {
    radio.addEventListener("change", () => {
      state.view = radio.value;
      plan.dataset.view = radio.value;
      for (const each of all("[data-north]", plan)) each.setAttribute("transform", each.dataset[radio.value]);
      show();
    });
  }

  // -- pointing ----------------------------------------------------------------------------------------------------
  function pointAtPlan(event) {
    const m = plan.getScreenCTM();
    if (!m) return;
    const p = new DOMPoint(event.clientX, event.clientY).matrixTransform(m.inverse());
    let best = -1, least = 45 * 45;
    for (let k = 0; k < t.length; k += 1) {
      if (t[k] < state.from || t[k] > state.to || Number.isNaN(ch.east[k])) continue;
      const [x, y] = toPlan(ch.east[k], ch.north[k]);
      // Among laps that lie over each other, stay near the moment already shown.
      const far = (x - p.x) ** 2 + (y - p.y) ** 2 + Math.min(60, Math.abs(t[k] - state.time) * 0.15);
      if (far < least) { least = far; best = k; }
    }
    if (best >= 0) go(t[best]);
  }
  function pointAtStrip(plot, event) {
    const box = plot.getBoundingClientRect(), left = timeToX(state.from), right = timeToX(state.to);
    const share = Math.min(1, Math.max(0, (event.clientX - box.left) / box.width));
    go(xToTime(left + share * (right - left)));
  }
  const follow = (target, act) => {
    target.addEventListener("pointermove", (event) => { if (!state.playing) act(event); });
    target.addEventListener("pointerdown", act);
  };
  follow(plan, pointAtPlan);
  for (const plot of plots) follow(plot, (event) => pointAtStrip(plot, event));
  slider.addEventListener("input", () => go(shownToTime(Number(slider.value))));

  // -- play at ten times --------------------------------------------------------------------------------------------
  let last = 0;
  function stop() {
    state.playing = false;
    play.setAttribute("aria-pressed", "false");
    play.textContent = "Play ×10";
  }
  function tick(stamp) {
    if (!state.playing) return;
    const step = last ? Math.min(stamp - last, 250) / 1000 * 10 : 0;
    last = stamp;
    go(state.time + step);
    if (state.time >= state.to) { stop(); return; }
    requestAnimationFrame(tick);
  }
  play.addEventListener("click", () => {
    if (state.playing) { stop(); return; }
    if (state.time >= state.to - 0.5) go(state.from);
    state.playing = true;
    last = 0;
    play.setAttribute("aria-pressed", "true");
    play.textContent = "Pause";
    requestAnimationFrame(tick);
  });

  // -- from a finding or a number to its moment ----------------------------------------------------------------------
  for (const button of all("[data-at]")) {
    button.addEventListener("click", () => {
      const note = button.closest("[popover]");
      if (note && note.hidePopover) note.hidePopover();
      const radio = all('input[name="stretch"]').find((each) => each.value === button.dataset.to);
      if (radio) { radio.checked = true; choose(radio.value); }
      go(Number(button.dataset.at) - flight.t0);
      byId("evidence").scrollIntoView();
      slider.focus({ preventScroll: true });
    });
  }
  // Browsers without popovers get the same notes at the foot of the window.
  if (!("popover" in HTMLElement.prototype)) {
    document.querySelector(".notes").classList.add("plain");
    for (const button of all("[popovertarget]")) {
      button.addEventListener("click", () => {
        const note = byId(button.getAttribute("popovertarget")), open = note.classList.contains("open");
        for (const each of all(".notes .open")) each.classList.remove("open");
        note.classList.toggle("open", !open && !button.hasAttribute("popovertargetaction"));
      });
    }
  }
  window.addEventListener("resize", ticks);
  choose("");
  go(flight.stretches.length ? flight.stretches[0].from : state.from);
})();
