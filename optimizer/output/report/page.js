// The page's own script: reading values off charts, and the trade-off picture with its table in step.
// Text from files reaches the page as textContent only, never as markup.
(function () {
  "use strict";
  const SVG = "http://www.w3.org/2000/svg";
  const RAMP = ["#00224e", "#1a386f", "#434e6c", "#61656f", "#7d7c78", "#9b9476", "#bcae6c", "#dec958", "#fee838"];
  // Okabe and Ito; a pick has a shape of its own beside its colour.
  const PICKS = [
    ["#d55e00", "M0,-9L9,0L0,9L-9,0Z"], ["#009e73", "M0,-8.5L8,6H-8Z"], ["#0072b2", "M-7,-7H7V7H-7Z"],
    ["#cc79a7", "M-8,-6H8L0,8.5Z"], ["#e69f00", "M-3,-8H3V-3H8V3H3V8H-3V3H-8V-3H-3Z"], ["#56b4e9", "M-8,-4L0,-9L8,-4V5L0,9L-8,5Z"]
  ];

  const byId = (id) => document.getElementById(id);
  function element(tag, attributes, text) {
    const node = document.createElement(tag);
    for (const key in attributes || {}) node.setAttribute(key, attributes[key]);
    if (text !== undefined) node.textContent = text;
    return node;
  }
  function shape(tag, attributes, text) {
    const node = document.createElementNS(SVG, tag);
    for (const key in attributes) node.setAttribute(key, attributes[key]);
    if (text !== undefined) node.textContent = text;
    return node;
  }
  function short(value) {
    if (!isFinite(value)) return "–";
    const text = Number(value.toPrecision(4));
    return Math.abs(text) >= 1e6 || (text !== 0 && Math.abs(text) < 1e-4) ? text.toExponential() : String(text);
  }

  // ---- charts: a cursor that reads every line at one time ----
  function points(path) {
    if (!path.points) {
      path.points = path.getAttribute("d").slice(1).split("L").map((pair) => pair.split(",").map(Number));
    }
    return path.points;
  }
  function heightAt(places, x) {
    if (x < places[0][0] || x > places[places.length - 1][0]) return null;
    let k = 1;
    while (k < places.length - 1 && places[k][0] < x) k += 1;
    const [a, b] = [places[k - 1], places[k]];
    return b[0] === a[0] ? b[1] : a[1] + (b[1] - a[1]) * (x - a[0]) / (b[0] - a[0]);
  }
  function readable(chart) {
    const box = chart.dataset.box.split(" ").map(Number);
    const isLog = chart.dataset.log === "1";
    const output = chart.parentNode.querySelector(".readout");
    const series = Array.from(chart.querySelectorAll("path.series"));
    if (!series.length || !output) return;
    let at = null;
    const cursor = shape("path", { class: "cursor", d: "" });
    chart.appendChild(cursor);
    const value = (place, low, high, start, stop) => {
      const part = (place - start) / (stop - start);
      return isLog ? Math.pow(low, 1 - part) * Math.pow(high, part) : low + part * (high - low);
    };
    function show(x) {
      at = Math.min(Math.max(x, box[0]), box[2]);
      cursor.setAttribute("d", "M" + at + "," + box[1] + "V" + box[3]);
      const d = chart.dataset;
      const parts = [d.xlabel.replace(/,.*/, "") + " " + short(value(at, +d.x0, +d.x1, box[0], box[2]))];
      for (const path of series) {
        const y = heightAt(points(path), at);
        parts.push(path.dataset.name + " " + (y === null ? "–" : short(value(y, +d.y0, +d.y1, box[3], box[1]))));
      }
      output.textContent = parts.join(" · ");
    }
    function hide() { at = null; cursor.setAttribute("d", ""); output.textContent = ""; }
    chart.addEventListener("pointermove", (event) => {
      const frame = chart.getBoundingClientRect();
      show((event.clientX - frame.left) / frame.width * chart.viewBox.baseVal.width);
    });
    chart.addEventListener("pointerleave", hide);
    chart.addEventListener("keydown", (event) => {
      const step = { ArrowLeft: -4, ArrowRight: 4 }[event.key];
      if (event.key === "Escape") return hide();
      if (!step) return;
      event.preventDefault();
      show((at === null ? (box[0] + box[2]) / 2 : at) + step * (event.shiftKey ? 5 : 1));
    });
  }
  function readAll(root) { root.querySelectorAll("svg.chart").forEach(readable); }
  readAll(document);
  document.addEventListener("panel", (event) => readAll(event.target)); // a panel that was put in anew

  // On paper everything is open.
  addEventListener("beforeprint", () => document.querySelectorAll("details").forEach((node) => { node.open = true; }));

  const source = byId("data");
  if (!source || !byId("scatter")) return;
  const data = JSON.parse(source.textContent);
  const size = data.rows.length;
  if (!size) return;

  // ---- the designs ----
  const numbers = data.columns.map((column, c) => column.text ? null : data.rows.map((row) => {
    const text = row[c];
    return text === "∞" ? Infinity : text === "−∞" ? -Infinity : parseFloat(text.replace("−", "-"));
  }));
  const numeric = data.columns.map((_, c) => c).filter((c) => numbers[c]);
  const objectives = numeric.filter((c) => data.columns[c].role === "objective");
  const state = {
    x: objectives[0] ?? numeric[0] ?? 0, y: objectives[1] ?? numeric[1] ?? 0, c: objectives[2] ?? -1,
    chosen: -1, pinned: -1, sort: -1, down: false, find: "", limits: data.columns.map(() => ({})), shown: 200
  };
  let order = data.rows.map((_, r) => r);
  let visible = data.rows.map(() => true);
  const pickOf = new Map();
  data.picks.forEach((pick, k) => {
    const row = data.ids.indexOf(pick.id);
    if (row >= 0 && !pickOf.has(row)) pickOf.set(row, k);
  });
  const named = (c) => data.columns[c].label + (data.columns[c].unit ? ", " + data.columns[c].unit : "");
  const wish = (c) => ({ min: " (less is better)", max: " (more is better)" })[data.columns[c].best] || "";

  // ---- the picture ----
  const holder = byId("scatter");
  const tip = element("div", { class: "tip", hidden: "" });
  let places = [];
  let picture = null;
  function range(c) {
    let low = Infinity, high = -Infinity;
    for (const value of numbers[c]) if (isFinite(value)) { low = Math.min(low, value); high = Math.max(high, value); }
    if (low > high) return [0, 1];
    const pad = (high - low) * 0.06 || Math.abs(high) * 0.05 || 1;
    return [low - pad, high + pad];
  }
  function ticks(low, high, most) {
    const rough = (high - low) / most, power = Math.pow(10, Math.floor(Math.log10(rough)));
    const step = [1, 2, 5, 10].map((f) => f * power).find((s) => s >= rough * 0.999);
    const found = [];
    for (let k = Math.ceil(low / step); k * step <= high; k += 1) found.push(Number((k * step).toPrecision(10)));
    return found;
  }
  function colour(row) {
    if (state.c < 0 || !isFinite(numbers[state.c][row])) return "#7d7c78";
    const [low, high] = range(state.c);
    const part = (numbers[state.c][row] - low) / (high - low);
    return RAMP[Math.min(Math.round(part * (RAMP.length - 1)), RAMP.length - 1)];
  }
  function draw() {
    const width = Math.max(holder.clientWidth, 240), height = holder.clientHeight || 400;
    const box = { left: 62, right: width - 14, top: 26, bottom: height - 46 };
    const svg = shape("svg", { viewBox: "0 0 " + width + " " + height, "aria-hidden": "true" });
    const [x0, x1] = range(state.x), [y0, y1] = range(state.y);
    const across = (value) => box.left + (value - x0) / (x1 - x0) * (box.right - box.left);
    const up = (value) => box.bottom - (value - y0) / (y1 - y0) * (box.bottom - box.top);
    for (const value of ticks(x0, x1, width < 420 ? 4 : 6)) {
      svg.append(shape("path", { class: "grid", d: "M" + across(value) + "," + box.top + "V" + box.bottom }));
      svg.append(shape("text", { x: across(value), y: box.bottom + 18, "text-anchor": "middle" }, short(value)));
    }
    for (const value of ticks(y0, y1, 6)) {
      svg.append(shape("path", { class: "grid", d: "M" + box.left + "," + up(value) + "H" + box.right }));
      svg.append(shape("text", { x: box.left - 7, y: up(value) + 4, "text-anchor": "end" }, short(value)));
    }
    svg.append(shape("path", { class: "axis", d: "M" + box.left + "," + box.top + "V" + box.bottom + "H" + box.right }));
    svg.append(shape("text", { x: box.right, y: box.bottom + 38, "text-anchor": "end", style: "fill:#14181d" }, named(state.x) + wish(state.x)));
    svg.append(shape("text", { x: 2, y: 13, style: "fill:#14181d" }, named(state.y) + wish(state.y)));
    places = data.rows.map((_, r) => [across(numbers[state.x][r]), up(numbers[state.y][r])]);
    const plain = [], marked = [];
    places.forEach(([x, y], r) => {
      if (!isFinite(x) || !isFinite(y)) return;
      const pick = pickOf.get(r);
      if (pick === undefined) {
        plain.push(shape("circle", { class: "dot", cx: x.toFixed(1), cy: y.toFixed(1), r: size > 400 ? 4 : 5.5, fill: colour(r), "data-row": r }));
      } else {
        const [fill, path] = PICKS[pick % PICKS.length];
        marked.push(shape("path", { class: "dot pick", transform: "translate(" + x.toFixed(1) + " " + y.toFixed(1) + ")", d: path, fill: fill, "data-row": r }));
      }
    });
    svg.append(...plain, ...marked);
    picture = { svg: svg, dots: new Map([...plain, ...marked].map((dot) => [Number(dot.dataset.row), dot])) };
    picture.kept = shape("circle", { class: "halo kept", r: 13 });
    picture.halo = shape("circle", { class: "halo", r: 13 });
    svg.append(picture.kept, picture.halo);
    holder.replaceChildren(svg, tip);
    mark();
  }
  function mark() {
    picture.dots.forEach((dot, row) => dot.classList.toggle("out", !visible[row]));
    for (const [halo, row] of [[picture.halo, state.chosen], [picture.kept, state.pinned]]) {
      const seen = row >= 0 && visible[row] && isFinite(places[row][0]) && isFinite(places[row][1]);
      halo.setAttribute("visibility", seen ? "visible" : "hidden");
      halo.setAttribute("cx", seen ? places[row][0] : 0);
      halo.setAttribute("cy", seen ? places[row][1] : 0);
    }
  }
  function nearest(event, reach) {
    const frame = holder.getBoundingClientRect();
    const x = event.clientX - frame.left, y = event.clientY - frame.top;
    let best = -1, least = reach * reach;
    places.forEach(([px, py], row) => {
      if (!visible[row]) return;
      // A pick lies on top and is larger, so it wins where marks overlap.
      const away = (px - x) * (px - x) + (py - y) * (py - y) - (pickOf.has(row) ? 16 : 0);
      if (away < least) { least = away; best = row; }
    });
    return best;
  }
  holder.addEventListener("pointermove", (event) => {
    const row = nearest(event, 18);
    tip.hidden = row < 0;
    if (row < 0) return;
    const lines = [title(row)];
    for (const c of [state.x, state.y].concat(state.c >= 0 ? [state.c] : [])) {
      lines.push(data.columns[c].label + " " + data.rows[row][c] + " " + data.columns[c].unit);
    }
    tip.replaceChildren(...lines.map((line) => element("div", {}, line)));
    const room = holder.clientWidth;
    tip.style.left = Math.max(0, Math.min(places[row][0] + 14, room - tip.offsetWidth)) + "px";
    tip.style.top = Math.max(0, places[row][1] - tip.offsetHeight - 12) + "px";
  });
  holder.addEventListener("pointerleave", () => { tip.hidden = true; });
  holder.addEventListener("click", (event) => {
    const row = nearest(event, 30);
    if (row >= 0) choose(row, true);
  });
  holder.addEventListener("keydown", (event) => {
    const along = { ArrowLeft: [state.x, -1], ArrowRight: [state.x, 1], ArrowDown: [state.y, -1], ArrowUp: [state.y, 1] }[event.key];
    if (!along) return;
    event.preventDefault();
    const [c, step] = along;
    const row = order.filter((r) => visible[r] && isFinite(numbers[c][r])).sort((a, b) => numbers[c][a] - numbers[c][b] || a - b);
    if (!row.length) return;
    const place = row.indexOf(state.chosen);
    choose(row[place < 0 ? 0 : Math.min(Math.max(place + step, 0), row.length - 1)], true);
  });

  // ---- the axes, the shade, the picks ----
  function chooser(id, key, none) {
    const box = byId(id);
    if (none) box.append(element("option", { value: "-1" }, "nothing"));
    for (const c of numeric) box.append(element("option", { value: c }, named(c)));
    box.value = state[key];
    box.addEventListener("change", () => { state[key] = Number(box.value); draw(); shade(); });
  }
  function shade() {
    const bar = byId("shade");
    bar.replaceChildren();
    if (state.c < 0) return;
    const values = numbers[state.c].filter(isFinite);
    const strip = element("i", {});
    strip.style.background = "linear-gradient(90deg," + RAMP.join(",") + ")";
    bar.append(element("span", {}, short(Math.min(...values))), strip, element("span", {}, short(Math.max(...values)) + " " + named(state.c)));
  }
  function picks() {
    byId("picks").replaceChildren(...[...pickOf].sort((a, b) => a[1] - b[1]).map(([row, k]) => {
      const titles = data.picks.filter((pick) => pick.id === data.ids[row]).map((pick) => pick.title).join(", ");
      const button = element("button", { type: "button", title: data.picks[k].why, "aria-pressed": String(row === state.chosen) });
      const icon = shape("svg", { width: 18, height: 18, viewBox: "-10 -10 20 20", "aria-hidden": "true" });
      icon.append(shape("path", { d: PICKS[k % PICKS.length][1], fill: PICKS[k % PICKS.length][0], stroke: "#14181d" }));
      button.append(icon, element("span", {}, titles));
      button.addEventListener("click", () => choose(row, true));
      const item = element("li", {});
      item.append(button);
      return item;
    }));
  }

  // ---- the table ----
  const table = byId("designs");
  table.setAttribute("role", "grid");
  function heads() {
    const names = element("tr", {}), limits = element("tr", {});
    names.append(element("th", { scope: "col" }, "design"));
    limits.append(element("td", {}));
    data.columns.forEach((column, c) => {
      const head = element("th", { scope: "col", "aria-sort": "none" });
      const button = element("button", { type: "button", title: column.meaning || column.label });
      button.append(element("span", {}, column.label), element("span", { class: "arrow", "aria-hidden": "true" }, ""));
      if (column.unit) button.append(element("span", { class: "unit" }, column.unit));
      button.addEventListener("click", () => {
        state.down = state.sort === c ? !state.down : column.best === "max";
        state.sort = c;
        arrange();
      });
      head.append(button);
      names.append(head);
      const cell = element("td", {});
      const kinds = column.text ? ["has"] : ["min", "max"];
      for (const kind of kinds) {
        const box = element("input", { type: "text", inputmode: column.text ? "text" : "decimal", placeholder: kind, "aria-label": column.label + " " + kind });
        box.addEventListener("input", () => { state.limits[c][kind] = box.value.trim(); filter(); });
        cell.append(box);
      }
      limits.append(cell);
    });
    table.tHead.replaceChildren(names, limits);
  }
  function passes(row) {
    for (let c = 0; c < data.columns.length; c += 1) {
      const limit = state.limits[c];
      if (limit.has && !data.rows[row][c].toLowerCase().includes(limit.has.toLowerCase())) return false;
      const low = parseFloat(limit.min), high = parseFloat(limit.max);
      if (!isNaN(low) && !(numbers[c][row] >= low)) return false;
      if (!isNaN(high) && !(numbers[c][row] <= high)) return false;
    }
    if (!state.find) return true;
    return (title(row) + " " + data.rows[row].join(" ")).toLowerCase().includes(state.find.toLowerCase());
  }
  function filter() {
    visible = data.rows.map((_, row) => passes(row));
    const count = visible.filter(Boolean).length;
    byId("count").textContent = count === size ? size + " designs" : count + " of " + size + " designs";
    if (picture) mark();
    body();
  }
  function arrange() {
    order = data.rows.map((_, r) => r);
    const c = state.sort;
    if (c >= 0) {
      const sign = state.down ? -1 : 1;
      const key = (row) => numbers[c] ? numbers[c][row] : data.rows[row][c];
      order.sort((a, b) => {
        const [p, q] = [key(a), key(b)];
        if (!numbers[c]) return sign * p.localeCompare(q, undefined, { numeric: true }) || a - b;
        if (isNaN(p) || isNaN(q)) return isNaN(p) - isNaN(q) || a - b;
        return p === q ? a - b : sign * (p < q ? -1 : 1);
      });
      table.tHead.rows[0].querySelectorAll("th[aria-sort]").forEach((head, k) => {
        head.setAttribute("aria-sort", k === c ? (state.down ? "descending" : "ascending") : "none");
        head.querySelector(".arrow").textContent = k === c ? (state.down ? " ▼" : " ▲") : "";
      });
    }
    body();
  }
  function body() {
    const rows = order.filter((row) => visible[row]);
    const place = rows.indexOf(state.chosen);
    // A long table is built in part: from its first row, or round the design chosen where that lies further down.
    const start = place >= state.shown ? place - state.shown / 2 : 0;
    table.tBodies[0].replaceChildren(...rows.slice(start, start + state.shown).map((row) => {
      const line = element("tr", { "data-row": row, "aria-selected": String(row === state.chosen), tabindex: row === state.chosen || (place < 0 && row === rows[0]) ? 0 : -1 });
      line.append(element("th", { scope: "row" }, data.ids[row]));
      data.rows[row].forEach((text, c) => line.append(element("td", data.columns[c].text ? { class: "words" } : {}, text)));
      return line;
    }));
    byId("more").hidden = rows.length <= state.shown;
    byId("more").textContent = "show all " + rows.length + " rows";
  }
  table.tBodies[0].addEventListener("click", (event) => {
    const line = event.target.closest("tr");
    if (line) choose(Number(line.dataset.row), false);
  });
  table.tBodies[0].addEventListener("keydown", (event) => {
    const line = event.target.closest("tr");
    const step = { ArrowDown: "nextElementSibling", ArrowUp: "previousElementSibling" }[event.key];
    if (!line || (!step && event.key !== "Enter" && event.key !== " ")) return;
    event.preventDefault();
    const next = step ? line[step] : line;
    if (!next) return;
    choose(Number(next.dataset.row), false);
    table.querySelector('tr[aria-selected="true"]').focus();
  });
  byId("more").addEventListener("click", () => { state.shown = size; body(); });
  byId("find").addEventListener("input", (event) => { state.find = event.target.value.trim(); filter(); });
  byId("clear").addEventListener("click", () => {
    state.find = "";
    state.limits = data.columns.map(() => ({}));
    byId("find").value = "";
    table.tHead.querySelectorAll("input").forEach((box) => { box.value = ""; });
    filter();
  });

  // ---- the design chosen ----
  // The panels of single designs come deflated in a data block; they were made, and their texts escaped, with the page.
  const panels = unpacked(byId("panels").textContent).catch(() => null);
  async function unpacked(text) {
    const bytes = Uint8Array.from(atob(text), (letter) => letter.charCodeAt(0));
    const stream = new Blob([bytes]).stream().pipeThrough(new DecompressionStream("deflate"));
    return JSON.parse(await new Response(stream).text());
  }
  function panelOf(found, id) {
    const which = found && found.panels[id];
    if (!which) return null;
    const holder = document.createElement("template");
    holder.innerHTML = which.map((k) => found.pieces[k]).join("");
    return holder.content;
  }
  function title(row) {
    const titles = data.picks.filter((pick) => pick.id === data.ids[row]).map((pick) => pick.title);
    return "Design " + data.ids[row] + (titles.length ? ": " + titles.join(", ") : "");
  }
  function choose(row, scroll) {
    state.chosen = row;
    byId("chosen-name").textContent = title(row);
    byId("chosen-file").textContent = data.files[row];
    values();
    panels.then((found) => { if (state.chosen === row) detailed(row, found); });
    if (picture) mark();
    picks();
    body();
    if (scroll) {
      const line = table.querySelector('tr[aria-selected="true"]'), box = table.parentNode;
      if (line) box.scrollTop = line.offsetTop - box.clientHeight / 2;
    }
    history.replaceState(null, "", "#design=" + encodeURIComponent(data.ids[row]));
  }
  function detailed(row, found) {
    const detail = byId("chosen-detail"), figures = byId("chosen-figures");
    detail.after(figures);
    const why = found ? "The full panels of this design are not in this page" : "This browser cannot unpack the panels of single designs";
    detail.replaceChildren(panelOf(found, data.ids[row]) || element("p", { class: "lead" }, why + (data.files[row] ? "; grainwright check " + data.files[row] + " makes them." : ".")));
    // What fails first stands above the long table, and the table above the rest.
    const ladder = detail.querySelector(".ladder");
    if (ladder) ladder.after(figures);
    readAll(detail);
  }
  function values() {
    const kept = state.pinned >= 0 && state.pinned !== state.chosen;
    const head = element("tr", {});
    const heads = ["", "design " + data.ids[state.chosen]].concat(kept ? ["design " + data.ids[state.pinned] + ", kept", "change from it"] : []);
    heads.forEach((text, k) => head.append(element("th", { scope: "col", class: k ? "number" : "" }, text)));
    const target = byId("chosen-values");
    target.tHead.replaceChildren(head);
    let group = "";
    target.tBodies[0].replaceChildren(...data.columns.flatMap((column, c) => {
      const titled = [];
      if (column.role === "result" && column.group && column.group !== group) {
        const title = element("tr", {});
        title.append(element("th", { scope: "rowgroup", colspan: heads.length }, column.group));
        titled.push(title);
      }
      if (column.role === "result") group = column.group;
      const line = element("tr", {});
      const name = element("th", { scope: "row", title: column.meaning || column.label }, column.label + " ");
      name.append(element("span", { class: "unit" }, column.unit + (column.role === "objective" ? wish(c) : "")));
      line.append(name, element("td", { class: "number" }, data.rows[state.chosen][c]));
      if (kept) {
        line.append(element("td", { class: "number" }, data.rows[state.pinned][c]));
        let change = "";
        if (numbers[c]) {
          const apart = numbers[c][state.chosen] - numbers[c][state.pinned];
          change = apart === 0 ? "same" : isFinite(apart) ? (apart > 0 ? "+" : "−") + Number(Math.abs(apart).toPrecision(3)) : "–";
        } else if (data.rows[state.chosen][c] === data.rows[state.pinned][c]) change = "same";
        line.append(element("td", { class: "number" }, change));
      }
      return [...titled, line];
    }));
  }
  byId("pin").addEventListener("click", () => {
    state.pinned = state.pinned === state.chosen ? -1 : state.chosen;
    byId("pinned").textContent = state.pinned < 0 ? "" : "design " + data.ids[state.pinned] + " is kept; pick another to see the change";
    values();
    mark();
  });

  chooser("axis-x", "x", false);
  chooser("axis-y", "y", false);
  chooser("axis-c", "c", true);
  heads();
  if (objectives.length) { state.sort = objectives[0]; state.down = data.columns[objectives[0]].best === "max"; }
  arrange();
  filter();
  draw();
  shade();
  const asked = decodeURIComponent((location.hash.match(/^#design=(.*)$/) || ["", ""])[1]);
  const first = data.ids.indexOf(asked);
  choose(first >= 0 ? first : pickOf.size ? [...pickOf.keys()][0] : order[0], true);
  let before = holder.clientWidth;
  new ResizeObserver(() => { if (holder.clientWidth !== before) { before = holder.clientWidth; draw(); } }).observe(holder);
})();
