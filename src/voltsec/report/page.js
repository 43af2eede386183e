"use strict";
(() => {
  const PREFIXES = {"-15": "f", "-12": "p", "-9": "n", "-6": "µ", "-3": "m", "0": "", "3": "k", "6": "M", "9": "G", "12": "T"};
  const point = Object.assign({}, MODEL.point);

  // The same digits as the tool prints: four significant ones, no needless zeros.
  function significant(value, digits) {
    const size = Math.abs(value);
    if (size !== 0 && (size < 1e-4 || size >= Math.pow(10, digits))) {
      return size >= 1 && size < 1e7 ? value.toFixed(0) : value.toExponential(digits - 1).replace(/\.?0+e/, "e");
    }
    return String(Number(value.toPrecision(digits)));
  }
  function engineering(value, unit) {
    if (value === null || value === undefined || !isFinite(value)) return "–";
    if (unit === "%") return trimmed((100 * value).toFixed(2)).replace("-", "−") + " %";
    if (Math.abs(value) < 1e-15) return ("0 " + unit).trim();  // rounding
    if (!unit) return significant(value, 4).replace("-", "−");
    let exponent = 3 * Math.floor((Math.log10(Math.abs(value)) + 1e-12) / 3);
    let scaled = significant(value / Math.pow(10, exponent), 4);
    if (Math.abs(Number(scaled)) >= 1000) {
      exponent += 3;
      scaled = significant(value / Math.pow(10, exponent), 4);
    }
    const prefix = PREFIXES[String(exponent)];
    if (prefix === undefined) return value.toExponential(3).replace("-", "−") + " " + unit;
    return (scaled + " " + prefix + unit).replace("-", "−");
  }
  function trimmed(text) { return text.replace(/0+$/, "").replace(/\.$/, ""); }

  // The first mode whose region holds the point; its definitions come along.
  // What none claims may lie between the edges of two modes: there one with slack takes it.
  function modeAt(values) { return claim(values, false) || claim(values, true); }
  function claim(values, slack) {
    for (const mode of MODEL.modes) {
      if (slack && !mode.slack) continue;
      const starts = mode.root === null ? [{}] : roots(mode.root[1], mode.root[0], values);
      for (const start of starts) {
        const p = Object.assign({}, values, start);
        for (const [name, define] of mode.define) p[name] = define(p);
        if (mode.holds === null || mode.holds(p, slack ? mode.slack : 0)) return {mode: mode, p: p};
      }
    }
    return null;
  }
  // Roots between 0 and 1 of a condition without closed solution: sign changes, then halving.
  function roots(condition, name, values) {
    const at = x => condition(Object.assign({}, values, {[name]: x}));
    const found = [], steps = 200;
    let left = 1e-9, before = at(left);
    for (let k = 1; k <= steps; k++) {
      const right = k / steps, after = at(right);
      if (before * after < 0) {
        let [a, b] = [left, right];
        for (let n = 0; n < 60; n++) {
          const middle = (a + b) / 2;
          if (at(middle) * before > 0) a = middle; else b = middle;
        }
        found.push({[name]: (a + b) / 2});
      }
      left = right;
      before = after;
    }
    return found;
  }
  function valueOf(found, key) {
    if (found === null || !(key in found.mode.out)) return null;
    const value = found.mode.out[key](found.p);
    return isFinite(value) ? value : null;
  }
  // The computed point next to a place; none where something is moved that the grid does not vary.
  const grid = MODEL.computed;
  function nearest(values) {
    if (!grid) return null;
    for (const name of Object.keys(values)) {
      if (!(name in grid.axes) && values[name] !== MODEL.point[name]) return null;
    }
    let place = 0;
    const there = {};
    for (const name of grid.order) {
      const far = value => name === MODEL.duty ? Math.abs(value - values[name]) : Math.abs(Math.log(value / values[name]));
      const list = grid.axes[name];
      let best = 0;
      list.forEach((value, k) => { if (far(value) < far(list[best])) best = k; });
      place = place * list.length + best;
      there[name] = list[best];
    }
    return {place: place, there: there};
  }
  function computedValue(near, key) {
    if (near === null || !(key in grid.values)) return null;
    return grid.values[key][near.place];
  }

  function ticks(low, high) {
    const raw = (high - low) / 5;
    let step = Math.pow(10, Math.floor(Math.log10(raw)));
    step *= [1, 2, 5, 10].find(m => m * step >= raw * 0.999);
    const found = [];
    for (let k = Math.ceil(low / step - 1e-9); k <= Math.floor(high / step + 1e-9); k++) found.push(k * step);
    return found;
  }
  function span(values, marked) {
    const finite = values.filter(v => v !== null).sort((a, b) => a - b);
    if (!finite.length) return [0, 1];
    const size = marked !== null ? Math.abs(marked) : Math.abs(finite[Math.floor(finite.length / 2)]);
    const limit = 3 * Math.max(size, 1e-9);
    const low = Math.min(Math.max(finite[0], -limit), 0);
    const high = Math.max(Math.min(finite[finite.length - 1], limit), 0);
    return high > low ? [low, high] : [low, low + 1];
  }
  function percentSpan(values) {
    const tens = values.filter(v => v !== null && v < 100).map(v => 10 * Math.floor(v / 10));
    return [tens.length ? Math.min(...tens) : 0, 100];
  }
  function draw(chart, key, label) {
    const c = MODEL.chart, duty = MODEL.duty;
    const scale = key === "eta" ? 100 : 1;
    const values = MODEL.shares.map(share => {
      const value = valueOf(modeAt(Object.assign({}, point, {[duty]: share})), key);
      return value === null ? null : value * scale;
    });
    const dots = [];
    if (grid && duty in grid.axes) {
      for (const share of grid.axes[duty]) {
        const place = MODEL.shares.reduce((best, s, k) => Math.abs(s - share) < Math.abs(MODEL.shares[best] - share) ? k : best, 0);
        const value = computedValue(nearest(Object.assign({}, point, {[duty]: share})), key);
        if (values[place] === null && value !== null) dots.push([share, value * scale]);
      }
    }
    const found = modeAt(point);
    const near = found === null ? nearest(point) : null;
    let marked = found === null ? computedValue(near, key) : valueOf(found, key);
    if (marked !== null) marked *= scale;
    const at = near === null ? point[duty] : near.there[duty];
    const drawn = values.concat(dots.map(dot => dot[1]));
    const [low, high] = key === "eta" ? percentSpan(drawn) : span(drawn, marked);
    const x = s => (c.left + s * (c.width - c.left - c.right)).toFixed(1);
    const y = v => (c.top + (high - v) / (high - low) * (c.height - c.top - c.bottom)).toFixed(1);
    let inside = "";
    for (const tick of ticks(low, high)) {
      inside += `<line class="grid" x1="${c.left}" x2="${c.width - c.right}" y1="${y(tick)}" y2="${y(tick)}"/>`;
      inside += `<text class="tick" x="${c.left - 7}" y="${Number(y(tick)) + 4}" text-anchor="end">${significant(tick, 4).replace("-", "−")}</text>`;
    }
    for (let k = 0; k <= 10; k += 2) {
      inside += `<line class="grid" x1="${x(k / 10)}" x2="${x(k / 10)}" y1="${c.top}" y2="${c.height - c.bottom}"/>`;
      inside += `<text class="tick" x="${x(k / 10)}" y="${c.height - c.bottom + 17}" text-anchor="middle">${k / 10}</text>`;
    }
    let path = "", pen = "M";
    MODEL.shares.forEach((share, n) => {
      const value = values[n];
      if (value === null || value < low || value > high) { pen = "M"; return; }
      path += pen + x(share) + " " + y(value);
      pen = "L";
    });
    inside += `<path class="curve" d="${path}"/>`;
    for (const [share, value] of dots) {
      if (value >= low && value <= high) inside += `<circle class="dot" cx="${x(share)}" cy="${y(value)}" r="2.6"/>`;
    }
    if (marked !== null && marked >= low && marked <= high) {
      inside += `<line class="drop" x1="${x(at)}" x2="${x(at)}" y1="${y(marked)}" y2="${c.height - c.bottom}"/>`;
      inside += `<circle class="mark" cx="${x(at)}" cy="${y(marked)}" r="4.5"/>`;
    }
    inside += `<text class="axis" x="${c.width - c.right}" y="${c.height - 4}" text-anchor="end">${duty}</text>`;
    inside += `<text class="axis" x="${c.left}" y="${c.top - 12}">${label}</text>`;
    chart.innerHTML = inside;
  }

  // The page is written with the exact numbers; away from the netlist's values the formulas give them.
  const exact = new Map();
  for (const cell of document.querySelectorAll("[data-value],[data-mode]")) exact.set(cell, cell.textContent);
  function show() {
    const found = modeAt(point);
    const moved = Object.keys(point).some(name => point[name] !== MODEL.point[name]);
    const near = found === null ? nearest(point) : null;
    const told = !moved ? "exact" : found !== null ? "formulas" : near !== null ? "computed" : "none";
    document.querySelectorAll("[data-numbers]").forEach(line => { line.hidden = line.dataset.numbers !== told; });
    if (near !== null) {
      document.getElementById("nearest").textContent =
        grid.order.map(name => `${name} = ${engineering(near.there[name], MODEL.units[name])}`).join(", ");
    }
    for (const cell of document.querySelectorAll("[data-value]")) {
      cell.textContent = moved ? engineering(found !== null ? valueOf(found, cell.dataset.value) : computedValue(near, cell.dataset.value), cell.dataset.unit) : exact.get(cell);
    }
    for (const cell of document.querySelectorAll("[data-point]")) {
      cell.textContent = engineering(point[cell.dataset.point], cell.dataset.unit);
    }
    document.querySelectorAll("[data-mode]").forEach(cell => {
      cell.textContent = !moved ? exact.get(cell) : found !== null ? found.mode.name : near !== null ? grid.modes[near.place] || "exact state" : "no formula here";
    });
    document.querySelectorAll("svg[data-curve]").forEach(chart => draw(chart, chart.dataset.curve, chart.dataset.label));
  }

  function place(slider) {
    const name = slider.dataset.symbol;
    return slider.dataset.scale === "log"
      ? Math.log10(point[name] / MODEL.point[name]) : point[name];
  }
  const sliders = Array.from(document.querySelectorAll("input[data-symbol]"));
  for (const slider of sliders) {
    slider.value = place(slider);
    slider.addEventListener("input", () => {
      const name = slider.dataset.symbol, at = Number(slider.value);
      point[name] = slider.dataset.scale === "log" ? MODEL.point[name] * Math.pow(10, at) : at;
      show();
    });
  }
  const reset = document.getElementById("reset");
  if (reset) reset.addEventListener("click", () => {
    Object.assign(point, MODEL.point);
    sliders.forEach(slider => { slider.value = place(slider); });
    show();
  });
  // On paper everything is open.
  window.addEventListener("beforeprint", () => document.querySelectorAll("details").forEach(d => { d.open = true; }));
})();
