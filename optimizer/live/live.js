// The live page: turn a knob, ask, show what came back. What the server sends as panels was made by the page's own
// templates; every other text reaches the page as textContent only.
(function () {
  "use strict";
  const byId = (id) => document.getElementById(id);
  const data = JSON.parse(byId("live-data").textContent);
  const knobs = new Map(data.knobs.map((knob) => [knob.name, knob]));
  const boxes = new Map(Array.from(document.querySelectorAll(".knob"), (box) => [box.dataset.knob, box]));
  const fields = new Map(Array.from(boxes, ([name, box]) => [name, box.querySelector("input, select")]));
  const tab = Array.from(crypto.getRandomValues(new Uint32Array(3)), (n) => n.toString(36)).join("");
  const still = matchMedia("(prefers-reduced-motion: reduce)");
  const KEY = "turned " + location.pathname;
  const WAIT = 300, TYPED = 600, WATCH = 3000;

  const state = { values: {}, follow: true, pinned: null, si: {}, lists: {}, derived: [], good: {} };
  let past = [], future = [], lastTurn = { name: "", time: 0 };
  let digests = data.digests, number = 0, asking = null, later = null, sayNext = true, mine = data.digest, left = "";

  function element(tag, attributes, text) {
    const node = document.createElement(tag);
    for (const key in attributes || {}) node.setAttribute(key, attributes[key]);
    if (text !== undefined) node.textContent = text;
    return node;
  }

  // ---- asking ----
  async function post(what, question, signal) {
    const answer = await fetch(what, {
      method: "POST", headers: { "content-type": "application/json" }, signal: signal, cache: "no-store",
      credentials: "omit", referrerPolicy: "no-referrer",
      body: JSON.stringify(Object.assign({ tab: tab, values: state.values, follow: state.follow }, question))
    });
    const found = await answer.json();
    byId("ended").hidden = true;
    return found;
  }
  function gone(error) {
    if (error.name === "AbortError") return;
    byId("ended").hidden = false;
  }
  let unanswered = false; // a question that the program could not take; asked again once it answers
  async function ask(whole) {
    clearTimeout(later);
    unanswered = false;
    if (asking) asking.abort();
    asking = new AbortController();
    const mineNumber = ++number;
    try {
      const found = await post("answer", { number: mineNumber, whole: whole, have: digests, pinned: state.pinned }, asking.signal);
      if (mineNumber !== number || found.dropped) return;
      show(found);
      if (found.ok && !found.whole) later = setTimeout(() => ask(true), WAIT);
    } catch (error) {
      if (error.name !== "AbortError" && mineNumber === number) unanswered = true;
      gone(error);
    }
  }

  // ---- showing ----
  function show(found) {
    refuse(found.ok ? [] : found.problems || [], found.why);
    document.querySelector(".looks").classList.toggle("stale", !found.ok);
    if (found.ok) {
      place(found.panels);
      document.querySelector("[data-panel=flight]").classList.toggle("waits", !found.whole && Object.keys(state.values).length > 0);
      digests = Object.assign({}, digests, found.digests);
      Object.assign(state.si, found.values);
      state.lists = found.steps || {};
      const short = found.verdict === false;
      byId("verdict").classList.toggle("short", short);
      state.good = Object.assign({}, state.values);
      say(found.words);
    }
    state.derived = found.derived || [];
    derive(found.texts || {});
    changes(found.changes || []);
    mark();
  }
  function say(words) {
    const node = byId("words"), moved = Object.keys(state.values).length > 0;
    const text = words && words.length ? words.join(" ") : moved ? "The order of the ladder is as in the file." : "";
    node.classList.toggle("faint", !(words && words.length));
    if (node.textContent !== text) node.textContent = text;
    byId("outlines").hidden = !moved && !state.pinned;
    byId("pin-said").hidden = !state.pinned;
  }
  function place(panels) {
    const before = rungs();
    for (const name in panels) {
      const holder = name === "verdict" ? byId("verdict") : document.querySelector("[data-panel=\"" + name + "\"]");
      if (!holder) continue;
      const open = Array.from(holder.querySelectorAll("details"), (node) => node.open);
      const focused = holder.contains(document.activeElement) ? Array.from(holder.querySelectorAll("[tabindex], summary, a")).indexOf(document.activeElement) : -1;
      holder.innerHTML = panels[name];
      holder.querySelectorAll("details").forEach((node, k) => { if (open[k]) node.open = true; });
      if (focused >= 0) {
        const again = holder.querySelectorAll("[tabindex], summary, a")[focused];
        if (again) again.focus({ preventScroll: true });
      }
      holder.dispatchEvent(new CustomEvent("panel", { bubbles: true }));
    }
    if (panels.ladder && !still.matches) move(before);
  }
  function rungs() {
    const found = new Map();
    document.querySelectorAll(".rung[data-rung]").forEach((node) => {
      const bar = node.querySelector(".bar");
      found.set(node.dataset.rung, { top: node.offsetTop, wide: bar ? bar.getBoundingClientRect().width : null });
    });
    return found;
  }
  function move(before) {
    document.querySelectorAll(".rung[data-rung]").forEach((node) => {
      const was = before.get(node.dataset.rung), bar = node.querySelector(".bar");
      if (!was) return;
      if (was.top !== node.offsetTop) node.animate([{ transform: "translateY(" + (was.top - node.offsetTop) + "px)" }, { transform: "none" }], { duration: 220, easing: "ease-out" });
      const wide = bar ? bar.getBoundingClientRect().width : null;
      if (was.wide !== null && wide !== null && Math.abs(was.wide - wide) > 0.5) bar.animate([{ width: was.wide + "px" }, { width: wide + "px" }], { duration: 220, easing: "ease-out" });
    });
  }
  function refuse(problems, why) {
    boxes.forEach((box) => {
      box.classList.remove("wrong");
      fields.get(box.dataset.knob).removeAttribute("aria-invalid");
    });
    const loose = [];
    for (const one of problems) {
      const box = boxes.get(one.knob);
      const text = one.problem + "; " + one.fix;
      if (!box) { loose.push(text); continue; }
      box.classList.add("wrong");
      box.querySelector(".said").textContent = text;
      fields.get(one.knob).setAttribute("aria-invalid", "true");
      for (let inside = box.closest("details"); inside; inside = inside.parentNode.closest("details")) inside.open = true;
      loose.push(one.key + " " + text);
    }
    if (!problems.length && why) loose.push(why);
    const notice = byId("refused");
    notice.hidden = !loose.length;
    notice.firstElementChild.textContent = loose.length ? "Not possible so: " + loose.join(". ") + ". Below stands the last motor that could be." : "";
  }
  function derive(texts) {
    knobs.forEach((knob, name) => {
      const field = fields.get(name);
      if (document.activeElement === field && field.value !== (texts[name] ?? knob.text) && !(name in texts && state.derived.includes(name))) return;
      if (!(name in state.values)) field.value = state.derived.includes(name) ? texts[name] : knob.text;
    });
  }
  function mark() {
    knobs.forEach((knob, name) => {
      const box = boxes.get(name), turned = name in state.values, derived = state.derived.includes(name);
      box.classList.toggle("turned", turned || derived);
      box.querySelector(".home").hidden = !turned;
      if (box.classList.contains("wrong")) return;
      const text = turned ? state.values[name] : knob.text;
      const step = (listOf(knob) || []).find((one) => one[0] === text);
      box.querySelector(".said").textContent = derived ? "follows the room in the case" : step && step[2] && (turned || document.activeElement === fields.get(name)) ? step[2] : "";
    });
    byId("undo").disabled = !past.length;
    byId("redo").disabled = !future.length;
    byId("back").disabled = !Object.keys(state.values).length;
    const pin = byId("pin");
    pin.setAttribute("aria-pressed", String(Boolean(state.pinned)));
    pin.textContent = state.pinned ? "take the pin out" : "pin this motor";
    keepTyped();
  }
  function changes(rows) {
    const list = document.querySelector(".changes");
    list.replaceChildren(...rows.map((row) => {
      const item = element("li", {}, row.text);
      item.append(element("span", { class: "faint" }, row.alone ? " Alone: " + row.alone + "." : " Alone: …"));
      return item;
    }));
    const pinned = byId("pinned");
    pinned.hidden = !state.pinned;
    pinned.textContent = state.pinned ? "Pinned: " + (Object.keys(state.pinned).map((name) => knobs.get(name).part + ", " + knobs.get(name).label + " " + state.pinned[name]).join("; ") || "the motor as the file has it") + "." : "";
    byId("changed").hidden = !rows.length && !state.pinned;
  }

  // ---- turning ----
  function listOf(knob) { return state.lists[knob.name] && state.lists[knob.name].length ? state.lists[knob.name] : knob.list ? data.lists[knob.list] : null; }
  function valueOf(knob) { return knob.name in state.values ? state.si[knob.name] ?? knob.value : knob.value; }
  function near(knob, way, count) {
    const at = valueOf(knob), list = listOf(knob);
    if (list) {
      const slack = 1e-9 * Math.max(Math.abs(at), 1e-12);
      const ahead = list.filter((step) => way * (step[1] - at) > slack);
      if (way < 0) ahead.reverse();
      return ahead.length ? ahead[Math.min(count, ahead.length) - 1] : null;
    }
    const s = knob.stride;
    if (!s) return null;
    for (let many = count; many > 0; many -= 1) {
      const steps = (at - s.zero) / s.scale / s.size;
      const place = way > 0 ? Math.floor(steps + 1e-6) + many : Math.ceil(steps - 1e-6) - many;
      const shown = Number((place * s.size).toPrecision(9)), si = shown * s.scale + s.zero;
      if (si < s.low - 1e-12 || si > s.high * (1 + 1e-12) || (s.open && si <= s.low)) continue;
      return [shown + (s.unit ? " " + s.unit : ""), si, ""];
    }
    return null;
  }
  function snapshot() { return { values: Object.assign({}, state.values), follow: state.follow, si: Object.assign({}, state.si) }; }
  function remember(name) {
    const now = Date.now();
    if (!(name && name === lastTurn.name && now - lastTurn.time < 700)) { past.push(snapshot()); if (past.length > 300) past.shift(); }
    lastTurn = { name: name, time: now };
    future = [];
  }
  function turn(name, text, si) {
    const knob = knobs.get(name);
    text = text.trim();
    if (text === (name in state.values ? state.values[name] : knob.text)) return;
    remember(name);
    if (text === knob.text || text === "") delete state.values[name];
    else state.values[name] = text;
    if (si !== undefined) state.si[name] = si;
    fill(name);
    mark();
    ask(false);
  }
  function fill(name) {
    const text = name in state.values ? state.values[name] : knobs.get(name).text;
    if (fields.get(name).value !== text) fields.get(name).value = text;
  }
  function become(shot) {
    state.values = Object.assign({}, shot.values);
    state.follow = shot.follow;
    Object.assign(state.si, shot.si || {});
    const follow = byId("follow");
    if (follow) follow.checked = state.follow;
    knobs.forEach((_, name) => fill(name));
    mark();
    ask(false);
  }
  function undo() { if (past.length) { future.push(snapshot()); lastTurn.name = ""; become(past.pop()); } }
  function redo() { if (future.length) { past.push(snapshot()); lastTurn.name = ""; become(future.pop()); } }

  fields.forEach((field, name) => {
    const knob = knobs.get(name);
    let typing = null;
    const commit = () => { clearTimeout(typing); turn(name, field.value); };
    if (field.tagName === "SELECT") {
      field.addEventListener("change", () => turn(name, field.value, (listOf(knob).find((step) => step[0] === field.value) || [])[1]));
    } else {
      field.addEventListener("input", () => { clearTimeout(typing); typing = setTimeout(commit, TYPED); });
      field.addEventListener("change", commit);
      field.addEventListener("focus", mark);
      field.addEventListener("blur", () => { if (!field.value.trim()) fill(name); mark(); });
    }
    field.addEventListener("keydown", (event) => {
      if (event.altKey || event.ctrlKey || event.metaKey) return;
      const select = field.tagName === "SELECT";
      const way = event.key === "ArrowUp" || event.key === "PageUp" ? 1 : event.key === "ArrowDown" || event.key === "PageDown" ? -1 : 0;
      if (event.key === "Enter" && !select) { commit(); return; }
      if (event.key === "Escape" && name in state.values) { turn(name, knob.text); return; }
      if (!way) return;
      event.preventDefault();
      clearTimeout(typing);
      if (field.value.trim() !== (name in state.values ? state.values[name] : knob.text) && !select) commit();
      const step = near(knob, select ? -way : way, event.shiftKey || event.key.startsWith("Page") ? 10 : 1);
      if (step) turn(name, step[0], step[1]);
    });
    boxes.get(name).querySelectorAll(".step").forEach((button) => button.addEventListener("click", (event) => {
      const step = near(knob, Number(button.dataset.way), event.shiftKey ? 10 : 1);
      if (step) turn(name, step[0], step[1]);
    }));
    boxes.get(name).querySelector(".home").addEventListener("click", () => { turn(name, knob.text); field.focus(); });
  });
  const follow = byId("follow");
  if (follow) follow.addEventListener("change", () => { remember(""); state.follow = follow.checked; ask(false); });
  byId("undo").addEventListener("click", undo);
  byId("redo").addEventListener("click", redo);
  byId("back").addEventListener("click", () => { remember(""); become({ values: {}, follow: state.follow }); });
  byId("pin").addEventListener("click", () => { state.pinned = state.pinned ? null : Object.assign({}, state.good); mark(); ask(false); });
  document.addEventListener("keydown", (event) => {
    if (!(event.ctrlKey || event.metaKey) || event.altKey) return;
    const key = event.key.toLowerCase();
    if (key === "z" && !event.shiftKey) { event.preventDefault(); undo(); }
    else if ((key === "z" && event.shiftKey) || key === "y") { event.preventDefault(); redo(); }
    else if (key === "s") { event.preventDefault(); byId("save-name").focus(); byId("save-name").select(); }
  });

  // ---- what would mend it ----
  byId("mend").addEventListener("click", async () => {
    const panel = byId("mends"), said = byId("mend-said"), list = panel.querySelector("ol");
    panel.hidden = false;
    said.textContent = "Trying every single step …";
    list.replaceChildren();
    try {
      const found = await post("mend", { number: ++number });
      if (found.dropped) return;
      if (!found.ok) { said.textContent = "Not possible so: " + found.why + "."; return; }
      if (!found.asked) { said.textContent = "No rung of this motor could be assessed."; return; }
      said.textContent = (found.short ? "Furthest short: " + found.asked + ", factor " + found.factor.toFixed(2) + " of " + found.required.toFixed(2) + " required." : "Nothing falls short. First to fail: " + found.asked + ", factor " + found.factor.toFixed(2) + "; what would raise it:") + " " + found.tried + " motors tried; the cheapest first, by impulse lost and mass gained.";
      list.replaceChildren(...found.steps.map((step) => {
        const item = element("li");
        item.append(element("b", {}, step.text), " " + step.gives + (step.mends ? ", which is enough" : found.short ? ", which is not enough alone" : "") + ". Costs: " + step.costs + ".");
        if (step.breaks.length) item.append(" ", element("strong", { class: "mark" }, "Then short: " + step.breaks.join("; ") + "."));
        const button = element("button", { type: "button", "aria-label": "turn " + step.text }, "turn it");
        button.addEventListener("click", () => { turn(step.knob, step.value); });
        item.append(button);
        return item;
      }));
      if (!found.steps.length) said.textContent += " No single step helps.";
    } catch (error) { panel.hidden = true; gone(error); }
  });

  // ---- keeping ----
  const kept = byId("kept");
  document.querySelector("form.keep").addEventListener("submit", async (event) => {
    event.preventDefault();
    const over = byId("over").checked, own = document.querySelector(".file").textContent.split(/[\\/]/).pop();
    try {
      const found = await post("save", { name: over ? own : byId("save-name").value.trim(), over: over });
      if (!found.ok) { kept.textContent = "Not saved: " + found.why + "."; return; }
      kept.replaceChildren("Saved: ", element("code", {}, found.file), ", " + found.changed + (found.changed === 1 ? " value" : " values") + " different. ", element("code", {}, found.command));
      if (found.comments.length) kept.append(" Comments beside changed values may speak of the old ones: " + found.comments.join("; ") + ".");
      byId("save-name").value = found.suggest;
      if (found.own) { state.values = {}; keepTyped(); location.reload(); }
    } catch (error) { gone(error); }
  });
  byId("around").addEventListener("click", async () => {
    try {
      const found = await post("around", {});
      if (!found.ok) { kept.textContent = "No study was written: " + found.why + "."; return; }
      kept.replaceChildren("Study: ", element("code", {}, found.file), found.motor ? ", starting from " + found.motor : "", ". It searches " + found.searched.join(", ").replaceAll("_", " ") + ". Run: ", element("code", {}, found.command));
    } catch (error) { gone(error); }
  });

  // ---- the file on the disk, and the program ----
  async function watch() {
    try {
      const found = await post("state", {});
      if (unanswered) ask(false);
      const what = found.disk === "gone" ? "The file is no longer there." : found.disk ? "The file was changed on the disk since it was opened." : found.digest !== mine ? "The file was read anew from another tab." : "";
      const notice = byId("disk");
      if (what && left !== found.disk + found.digest) {
        notice.firstElementChild.textContent = what;
        notice.dataset.state = found.disk + found.digest;
        notice.hidden = false;
        byId("take").hidden = found.disk === "gone";
      } else if (!what) { notice.hidden = true; }
    } catch (error) { gone(error); }
    setTimeout(watch, WATCH);
  }
  byId("take").addEventListener("click", async () => {
    try {
      const found = await post("take", {});
      if (found.ok) { keepTyped(); location.reload(); return; }
      byId("disk").firstElementChild.textContent = "It cannot be read as it is now: " + found.why + ".";
    } catch (error) { gone(error); }
  });
  byId("leave").addEventListener("click", () => { left = byId("disk").dataset.state; byId("disk").hidden = true; });
  function keepTyped() {
    try { sessionStorage.setItem(KEY, JSON.stringify({ values: state.values, follow: state.follow, pinned: state.pinned })); } catch (error) { /* a browser that keeps nothing */ }
  }
  function typedBefore() {
    try {
      const kept = JSON.parse(sessionStorage.getItem(KEY) || "null");
      if (!kept) return null;
      for (const values of [kept.values, kept.pinned || {}]) for (const name in values) if (!knobs.has(name)) delete values[name];
      for (const name in kept.values) if (kept.values[name] === knobs.get(name).text) delete kept.values[name];
      return kept;
    } catch (error) { return null; }
  }
  const before = typedBefore();
  if (before && (Object.keys(before.values).length || before.pinned)) {
    state.pinned = before.pinned;
    state.good = Object.assign({}, before.values);
    become({ values: before.values, follow: before.follow !== false });
  }
  // On a narrow screen the parts are folded up, so that the ladder is near; what is turned most stays open.
  if (matchMedia("(max-width: 900px)").matches) {
    document.querySelectorAll(".group").forEach((group) => { group.open = /^(grains|nozzle)/.test(group.dataset.group); });
  }
  byId("verdict").classList.toggle("short", byId("verdict").textContent.trim().startsWith("✕"));
  mark();
  setTimeout(watch, WATCH);
})();
