// The bench: two bars, their amounts, and what is asked about them. Every figure comes from the server; this page adds amounts to a total and nothing else.

import { get, post, put, Refused } from "/ask.js";
import { curves } from "/curves.js";

const LETTERS = ["A", "B"];
const KEPT = "bench";
const REST_MS = 180;
const $ = (id) => document.getElementById(id);

// The key was taken into a cookie: it need not stand in the address, the history or a picture of the screen.
if (location.search) history.replaceState(null, "", "/");

const example = () => ({
  name: "My first bar",
  parts: [["beeswax", 26], ["mango-butter", 22], ["sunflower-oil", 52]].map(([ingredient, amount]) => ({ ingredient, amount })),
  filler: "sunflower-oil",
  file: null,
});
const empty = (letter) => ({ name: `Bar ${letter}`, parts: [], filler: "", file: null });

let shelf = new Map();
let start = null;
let bars = [example(), empty("B")];
let seen = [null, null];
let words = [[], []];
let draw = null;

function make(name, properties = {}, ...children) {
  const made = document.createElement(name);
  for (const [key, value] of Object.entries(properties)) {
    if (key in made && key !== "list") made[key] = value;
    else made.setAttribute(key, value);
  }
  made.append(...children.filter((child) => child !== null && child !== undefined));
  return made;
}

/// Writes a text where it is another one: what stays is not laid out anew while a slider moves.
function say(place, text) {
  if (place.textContent !== text) place.textContent = text;
}

const title = (key) => shelf.get(key)?.common_name ?? key;
const plain = (text) => text.normalize("NFKD").replace(/\p{M}/gu, "").toLowerCase().replace(/[^\p{L}\p{N}]+/gu, " ").trim();
const total = (bar) => bar.parts.reduce((sum, part) => sum + part.amount, 0);
const shown = (amount) => String(Math.round(amount * 100) / 100);
const filled = (bar) => total(bar) > 0;
const asked = (bar) => ({ name: bar.name.trim() || "Bar", parts: bar.parts.map(({ ingredient, amount }) => ({ ingredient, amount })) });
const conditions = () => ({ state: $("state").value, hold_c: Number($("hold").value), relief_mm: Number($("relief").value) });

function fault(error) {
  if (error?.name === "AbortError") return;
  $("fault").textContent = error ? error.message : "";
  $("fault").hidden = !error;
}

// ---- keeping the bench over a reload of this tab

function keep() {
  sessionStorage.setItem(KEPT, JSON.stringify({ bars, ...conditions() }));
}

function remember() {
  try {
    const kept = JSON.parse(sessionStorage.getItem(KEPT));
    if (!kept) return;
    bars = kept.bars.map((bar) => ({ ...bar, parts: bar.parts.filter((part) => shelf.has(part.ingredient)) }));
    $("state").value = kept.state;
    $("hold").value = kept.hold_c;
    $("relief").value = kept.relief_mm;
  } catch {
    sessionStorage.removeItem(KEPT);
  }
}

// ---- picking an ingredient by any of its names

/// Makes a field with a list of what fits; `chosen` is called with the key.
function picker(place, { id, label, chosen, keepText }) {
  const list = make("ul", { id: `${id}-list`, role: "listbox", hidden: true, "aria-label": "Ingredients that fit" });
  const field = make("input", {
    id, type: "text", role: "combobox", autocomplete: "off", spellcheck: false,
    "aria-expanded": "false", "aria-controls": list.id, "aria-autocomplete": "list",
  });
  let found = [];
  let at = -1;
  const close = () => {
    list.hidden = true;
    field.setAttribute("aria-expanded", "false");
    field.removeAttribute("aria-activedescendant");
    at = -1;
  };
  const mark = (next) => {
    at = next;
    [...list.children].forEach((one, index) => one.setAttribute("aria-selected", String(index === at)));
    if (at < 0) return field.removeAttribute("aria-activedescendant");
    field.setAttribute("aria-activedescendant", list.children[at].id);
    list.children[at].scrollIntoView({ block: "nearest" });
  };
  const take = (index) => {
    const one = found[index];
    if (!one) return;
    field.value = keepText ? one.common_name : "";
    field.dataset.key = one.key;
    close();
    chosen?.(one.key);
  };
  const look = () => {
    const wanted = plain(field.value).split(" ").filter(Boolean);
    const rank = (one) => (plain(one.common_name).startsWith(wanted[0] ?? "") ? 0 : 1);
    found = [...shelf.values()].filter((one) => wanted.every((word) => one.searched.includes(word)));
    found.sort((one, other) => rank(one) - rank(other) || one.common_name.localeCompare(other.common_name));
    list.replaceChildren(...found.map((one, index) => {
      const option = make("li", { id: `${id}-${index}`, role: "option", "aria-selected": "false" },
        one.common_name, " ", make("span", {}, `${one.group}, ${one.inci_name}`));
      option.addEventListener("mousedown", (event) => { event.preventDefault(); take(index); });
      return option;
    }));
    list.hidden = found.length === 0;
    field.setAttribute("aria-expanded", String(found.length > 0));
    mark(found.length && wanted.length ? 0 : -1);
  };
  field.addEventListener("input", () => { delete field.dataset.key; look(); });
  field.addEventListener("click", look);
  field.addEventListener("blur", close);
  field.addEventListener("keydown", (event) => {
    const step = { ArrowDown: 1, ArrowUp: -1 }[event.key];
    if (step) {
      event.preventDefault();
      if (list.hidden) look();
      if (found.length) mark((at + step + found.length) % found.length);
    } else if (event.key === "Enter" && !list.hidden && at >= 0) {
      event.preventDefault();
      take(at);
    } else if (event.key === "Escape") {
      close();
    }
  });
  place.append(make("label", { htmlFor: id }, label), field, list);
  return field;
}

// ---- the trays

const trays = [...document.querySelectorAll(".tray")].map((section, index) => {
  section.append($("tray").content.cloneNode(true));
  const find = (selector) => section.querySelector(selector);
  const tray = { section, parts: find(".parts"), sum: find(".sum"), name: find(".bar-name"), filler: find(".filler") };
  picker(find(".add"), { id: `add-${index}`, label: `Add to bar ${LETTERS[index]}`, chosen: (key) => add(index, key) });
  tray.name.addEventListener("input", () => { bars[index].name = tray.name.value; rest(); });
  tray.filler.addEventListener("change", () => { bars[index].filler = tray.filler.value; fill(index); figures(index); moved(index); });
  find(".scale").addEventListener("click", () => scale(index));
  find(".copy").textContent = `Copy bar ${LETTERS[1 - index]} here`;
  find(".copy").addEventListener("click", () => take(index, { ...structuredClone(bars[1 - index]), name: `${bars[1 - index].name}, ${LETTERS[index]}`, file: null }));
  find(".clear").addEventListener("click", () => take(index, empty(LETTERS[index])));
  return tray;
});

/// Puts a bar into a tray.
function take(index, bar) {
  bars[index] = bar;
  lay(index);
  rest();
}

/// A formula from an answer, as a bar; what is liquid and most of it makes it up to 100.
function asBar(formula, file = null) {
  const parts = formula.parts.map(({ ingredient, amount }) => ({ ingredient, amount }));
  return { name: formula.name, parts, filler: "", file };
}

function add(index, key) {
  const bar = bars[index];
  if (!bar.parts.some((part) => part.ingredient === key)) {
    bar.parts.push({ ingredient: key, amount: bar.parts.length ? 5 : 100 });
    fill(index);
    lay(index);
    rest();
  }
  trays[index].parts.querySelector(`[data-key="${CSS.escape(key)}"] input[type=range]`)?.focus();
}

/// What makes the bar up to 100 takes what the others leave.
function fill(index) {
  const bar = bars[index];
  const filler = bar.parts.find((part) => part.ingredient === bar.filler);
  if (!filler) return;
  filler.amount = Math.max(0, 100 - total(bar) + filler.amount);
}

function scale(index) {
  const bar = bars[index];
  const sum = total(bar);
  if (sum <= 0) return;
  for (const part of bar.parts) part.amount *= 100 / sum;
  figures(index);
  rest();
}

/// Writes amounts and shares without touching the field being typed into.
function figures(index) {
  const bar = bars[index];
  const sum = total(bar);
  for (const part of bar.parts) {
    const row = trays[index].parts.querySelector(`[data-key="${CSS.escape(part.ingredient)}"]`);
    if (!row) continue;
    const [range, number] = row.querySelectorAll("input");
    if (range !== document.activeElement || Number(range.value) !== part.amount) range.value = part.amount;
    if (number !== document.activeElement) number.value = shown(part.amount);
    const share = sum > 0 ? (100 * part.amount) / sum : 0;
    row.querySelector(".share").textContent = `${share < 1 ? shown(share) : share.toFixed(1)} %`;
    range.setAttribute("aria-valuetext", `${shown(part.amount)} parts, ${share.toFixed(1)} percent of the bar`);
  }
  trays[index].sum.textContent = bar.parts.length ? `Total ${shown(sum)}` : "Nothing in it yet";
}

/// Lays a tray anew.
function lay(index) {
  const bar = bars[index];
  const tray = trays[index];
  tray.name.value = bar.name;
  tray.parts.replaceChildren(...bar.parts.map((part) => {
    const name = title(part.ingredient);
    const bound = { min: 0, max: Math.max(100, Math.ceil(part.amount)), step: "0.5" };
    const range = make("input", { type: "range", ...bound, value: part.amount, "aria-label": `${name}, amount` });
    const number = make("input", { type: "number", min: 0, max: 1000000, step: "any", value: shown(part.amount), "aria-label": `${name}, parts by mass` });
    const away = make("button", { type: "button", className: "plain", "aria-label": `Remove ${name}`, title: `Remove ${name}` }, "×");
    const change = (field) => {
      if (field.value === "" || !(Number(field.value) >= 0)) return;
      part.amount = Number(field.value);
      if (part.ingredient !== bar.filler) fill(index);
      figures(index);
      moved(index);
    };
    range.addEventListener("input", () => change(range));
    number.addEventListener("input", () => change(number));
    number.addEventListener("change", () => { number.value = shown(part.amount); });
    away.addEventListener("click", () => {
      bar.parts = bar.parts.filter((one) => one !== part);
      if (bar.filler === part.ingredient) bar.filler = "";
      fill(index);
      lay(index);
      rest();
      $(`add-${index}`).focus();
    });
    return make("li", { "data-key": part.ingredient }, make("span", { className: "what" }, name, make("span", { className: "share" })), range, number, away);
  }));
  const options = bar.parts.map((part) => make("option", { value: part.ingredient }, title(part.ingredient)));
  tray.filler.replaceChildren(make("option", { value: "" }, "nothing: any total"), ...options);
  tray.filler.value = bar.filler;
  figures(index);
  offer();
}

/// What can be chosen in the forms follows what is in the trays.
function offer() {
  for (const select of document.querySelectorAll(".bar-pick")) {
    const before = select.value || "0";
    const all = select.classList.contains("all");
    select.replaceChildren(...LETTERS.flatMap((letter, index) =>
      all || filled(bars[index]) ? [make("option", { value: index }, `Bar ${letter}`)] : []));
    select.value = before;
    if (select.selectedIndex < 0) select.selectedIndex = 0;
  }
  const of = (id) => bars[Number($(id).value)] ?? bars[0];
  const replace = $("swap-replace");
  const before = replace.value;
  replace.replaceChildren(...of("swap-bar").parts.map((part) => make("option", { value: part.ingredient }, title(part.ingredient))));
  if (of("swap-bar").parts.some((part) => part.ingredient === before)) replace.value = before;
  const ticked = new Set([...$("adjust-keep").querySelectorAll("input:checked")].map((one) => one.value));
  $("adjust-keep").replaceChildren(...of("adjust-bar").parts.map((part) =>
    make("label", {}, make("input", { type: "checkbox", value: part.ingredient, checked: ticked.has(part.ingredient) }), title(part.ingredient))));
}
$("swap-bar").addEventListener("change", offer);
$("adjust-bar").addEventListener("change", offer);

// ---- curves and verdict

let underWay = false;
let wanted = null;
let waiting = [];
let moves = 0;
let rested = 0;
let timer = 0;
let resting = null;

/// An amount moves: a quick answer for this bar, the last amount only; the full one when it rests.
function moved(index) {
  waiting.push(performance.now());
  moves += 1;
  wanted = index;
  resting?.abort();
  clearTimeout(timer);
  timer = setTimeout(rest, REST_MS);
  if (!underWay) quick();
}

async function quick() {
  underWay = true;
  while (wanted !== null) {
    const index = wanted;
    const since = waiting;
    const move = moves;
    [wanted, waiting] = [null, []];
    if (!filled(bars[index])) {
      see(index, null, []);
      continue;
    }
    try {
      const { figures: found } = await post("/api/assess", { formulas: [asked(bars[index])], options: conditions(), moving: true });
      fault(null);
      // The full answer on the same amounts may have been quicker.
      if (rested >= move) continue;
      say($("pace"), `While moving: ${start.moving_draws} simulated draws.`);
      see(index, found.bars[0], found.words[0]);
      const end = performance.now();
      for (const began of since) performance.measure("slider-to-curve", { start: began, end });
    } catch (error) {
      fault(error);
    }
  }
  underWay = false;
}

/// Everything at rest: both bars, what sets them apart, and the words.
async function rest() {
  clearTimeout(timer);
  resting?.abort();
  resting = new AbortController();
  const { signal } = resting;
  const move = moves;
  keep();
  offer();
  const full = [0, 1].filter((index) => filled(bars[index]));
  for (const index of [0, 1]) if (!full.includes(index)) see(index, null, []);
  if (!full.length || !$("conditions").checkValidity()) {
    fault(full.length ? new Error("Say what the bar must withstand: a temperature and a relief within their limits.") : null);
    $("against").replaceChildren();
    return;
  }
  try {
    const { figures, lead, sections } = await post("/api/assess", { formulas: full.map((index) => asked(bars[index])), options: conditions() }, signal);
    if (signal.aborted) return;
    rested = move;
    fault(null);
    say($("pace"), `At rest: ${start.resting_draws} simulated draws.`);
    full.forEach((index, at) => see(index, figures.bars[at], figures.words[at]));
    $("against").innerHTML = lead;
    $("mind").innerHTML = sections;
    // What is told to those who hear the page: once, when it rests.
    $("live").textContent = full.map((bar) => `Bar ${LETTERS[bar]}: ${words[bar].map((one) => one.text).join(" ")}`).join(" ");
    performance.mark("at-rest");
  } catch (error) {
    fault(error);
  }
}

/// Shows one bar's answer.
function see(index, assessment, said) {
  seen[index] = assessment;
  words[index] = said;
  draw(index, assessment);
  const inside = [0, 1].filter((bar) => seen[bar]);
  say($("key"), inside.map((bar) => `${LETTERS[bar]}, ${bar ? "dashed" : "solid"}: ${bars[bar].name}`).join(". ") +
    (inside.length ? ". Bands: 90 %." : ""));
  verdict();
}

const about = (bar, topic) => words[bar].find((one) => one.about === topic)?.text ?? "";
const VERDICTS = [
  ["setting", "Sets in a room", (one, bar) => (words[bar].some((said) => said.about === "setting") ? "no" : "yes")],
  ["detail", "Fine detail", (one) => one.detail.verdict],
  ["warmth", "Warmth", (one) => one.warmth.verdict],
  ["skin", "Skin", (one) => one.skin.verdict],
  ["grain", "Grain", (one) => one.grain.verdict],
  ["firmness", "Firmness", () => ""],
];
const cells = [];

function verdict() {
  if (!cells.length) {
    const body = $("verdict").tBodies[0];
    for (const [topic, name] of VERDICTS) {
      const row = [0, 1].map(() => {
        const word = make("strong");
        const why = make("span", { className: "why" });
        return { cell: make("td", {}, word, why), word, why };
      });
      body.append(make("tr", { "data-topic": topic }, make("th", { scope: "row" }, name), row[0].cell, row[1].cell));
      cells.push(row);
    }
  }
  VERDICTS.forEach(([topic, , word], at) => {
    for (const bar of [0, 1]) {
      const one = seen[bar];
      say(cells[at][bar].word, one ? word(one, bar) : at ? "" : "–");
      say(cells[at][bar].why, one ? about(bar, topic) : "");
    }
  });
  for (const [index, id] of [[0, "solids"], [1, "firmness"]]) {
    const at20 = (one) => (index ? one.firmness : one.solids).find((point) => point.temperature_c === 20);
    const value = (one) => (index ? `${shown(at20(one).yield_stress_kpa.value)} kPa` : `${Math.round(at20(one).percent.value)} % solid`);
    say($(`${id}-words`), [0, 1].filter((bar) => seen[bar]).map((bar) => `Bar ${LETTERS[bar]} at 20 °C: ${value(seen[bar])}`).join("; "));
  }
}

for (const id of ["hold", "relief", "state"]) $(id).addEventListener("change", () => rest());
$("conditions").addEventListener("submit", (event) => event.preventDefault());

// ---- asking for a change, a replacement, a sheet

/// Sends a form's question and shows the answer, or why there is none.
function form(id, answerId, question) {
  $(id).addEventListener("submit", async (event) => {
    event.preventDefault();
    const button = $(id).querySelector("[type=submit]");
    const place = $(answerId);
    button.disabled = true;
    try {
      place.replaceChildren(...(await question()));
    } catch (error) {
      place.replaceChildren(make("p", { className: "wrong" }, error.message));
    } finally {
      button.disabled = false;
      button.focus();
    }
  });
}

/// An answer in words and tables, with buttons to take over each formula it has: what it is called, and the formula.
function offered({ lead, sections }, formulas, before, remark) {
  const buttons = formulas.flatMap(([called, { name, parts }]) => LETTERS.map((letter, index) => {
    const label = `Put ${called} into tray ${letter}`;
    const button = make("button", { type: "button", className: "plain", "aria-label": `${label}: ${remark}` }, label);
    button.addEventListener("click", () => {
      const formula = { name: index ? `${name}, ${remark}`.slice(0, 120) : name, parts: parts.map(({ ingredient, percent }) => ({ ingredient, amount: percent })) };
      take(index, asBar(formula, bars[index] === before ? before.file : null));
      trays[index].section.scrollIntoView({ block: "nearest" });
    });
    return button;
  }));
  return [make("div", { innerHTML: lead }), make("p", { className: "tools" }, ...buttons), make("div", { innerHTML: sections })];
}

form("adjust", "adjust-answer", async () => {
  const bar = bars[Number($("adjust-bar").value)];
  const wish = (id, demand) => ($(id).value === "" ? [] : [demand(Number($(id).value))]);
  const demands = [
    ...wish("adjust-hold", (temperature_c) => ({ demand: "hold", temperature_c })),
    ...wish("adjust-detail", (relief_mm) => ({ demand: "detail", relief_mm })),
  ];
  const keep = [...$("adjust-keep").querySelectorAll("input:checked")].map((one) => one.value);
  const found = await post("/api/ask", { adjust: { formula: asked(bar), options: conditions(), demands, limits: { keep } } });
  const { after, even, confidence } = found.figures;
  const changes = even?.changes.length
    ? [["the even-chance one", even.after.formula], [`the ${Math.round(100 * confidence)} % one`, after.formula]]
    : [["it", after.formula]];
  return offered(found, changes, bar, "changed");
});

form("swap", "swap-answer", async () => {
  const bar = bars[Number($("swap-bar").value)];
  const typed = swapWith.value.trim();
  const found = await post("/api/ask", { swap: {
    formula: asked(bar), options: conditions(), replace: $("swap-replace").value,
    with: typed ? [swapWith.dataset.key ?? typed] : [], vegan: $("swap-vegan").checked, nut_free: $("swap-nut").checked,
  } });
  const remark = `with ${title(found.figures.replacements[0].ingredient)}`;
  return offered(found, [["it", found.figures.after.formula]], bar, remark);
});
const swapWith = picker($("swap-with"), { id: "swap-name", label: "With (empty: try all of its kind)", keepText: true });

$("weigh").addEventListener("submit", () => {
  $("weigh-ask").value = JSON.stringify({
    formula: asked(bars[Number($("weigh-bar").value)]),
    size: { bars: { count: Number($("weigh-bars").value), bar_g: Number($("weigh-mass").value) } },
    left_percent: Number($("weigh-left").value), scale_g: Number($("weigh-scale").value), number: $("weigh-number").value.trim() || null,
    market: $("weigh-market").value,
  });
});

// ---- files

async function files(chosen) {
  const found = await get("/api/files");
  const select = $("open-name");
  const before = chosen ?? select.value;
  select.replaceChildren(...found.files.map((name) => make("option", { value: name }, name)));
  if (found.files.includes(before)) select.value = before;
}
$("refresh").addEventListener("click", () => files().catch(fault));

const path = (name) => `/api/files/${encodeURIComponent(name)}`;

form("open", "files-answer", async () => {
  const name = $("open-name").value;
  const index = Number($("open-bar").value);
  const found = await get(path(name));
  take(index, asBar(found.formula, { name, digest: found.digest }));
  $("save-bar").value = index;
  $("save-name").value = name;
  return [make("p", {}, `${name} lies in tray ${LETTERS[index]}.`), found.remark && make("p", {}, found.remark), found.notes.length ? make("ul", {}, ...found.notes.map((note) => make("li", {}, note))) : null].filter(Boolean);
});

form("save", "files-answer", async () => {
  const typed = $("save-name").value.trim();
  const name = typed.endsWith(".toml") ? typed : `${typed}.toml`;
  const bar = bars[Number($("save-bar").value)];
  const write = async (digest) => {
    const saved = await put(path(name), { bar: asked(bar), digest });
    bar.file = { name, digest: saved.digest };
    $("save-name").value = name;
    keep();
    await files(name);
    return [make("p", {}, `Saved as ${name}.`)];
  };
  try {
    return await write(bar.file?.name === name ? bar.file.digest : null);
  } catch (error) {
    if (!(error instanceof Refused) || error.status !== 409) throw error;
    // Somebody else wrote it, or it was there already: nothing is overwritten unless the maker says so.
    const now = error.found.digest;
    const button = make("button", { type: "button" }, now ? "Overwrite it" : "Write it anew");
    button.addEventListener("click", async () => {
      try {
        $("files-answer").replaceChildren(...(await write(now)));
      } catch (again) {
        $("files-answer").replaceChildren(make("p", { className: "wrong" }, again.message));
      }
    });
    const what = !now ? `${name} is gone since it was opened.` : bar.file?.name === name ? `${name} was changed by another program since it was opened. It was not overwritten.` : `There is a file ${name} already. It was not overwritten.`;
    return [make("p", { className: "wrong" }, what), make("p", {}, button)];
  }
});

// ---- begin

try {
  start = await get("/api/start");
  shelf = new Map(start.ingredients.map((one) => [one.key, { ...one, searched: plain([one.key, one.common_name, one.inci_name, ...one.synonyms].join(" ")) }]));
  for (const [id, range] of [["hold", start.hold_c], ["relief", start.relief_mm]]) Object.assign($(id), { min: range.low, max: range.high, value: range.usual });
  Object.assign($("adjust-hold"), { min: start.hold_c.low, max: start.hold_c.high });
  Object.assign($("adjust-detail"), { min: start.relief_mm.low, max: start.relief_mm.high });
  $("folder").textContent = start.folder;
  $("thumb").textContent = start.rule_of_thumb;
  $("mind").textContent = start.heat;
  draw = curves($("solids"), $("firmness"), start.places);
  remember();
  [0, 1].forEach(lay);
  await Promise.all([files(), rest()]);
} catch (error) {
  fault(error);
}
