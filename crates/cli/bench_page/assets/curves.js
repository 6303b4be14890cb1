// Draws curves with their bands from the figures of the answer, as SVG. It computes nothing but places on the paper.

const LEFT = 46, RIGHT = 12, TOP = 20, BOTTOM = 34;
const SVG = "http://www.w3.org/2000/svg";

/// Height of a paper by its width, and its ends, px.
const height = (width) => Math.round(Math.min(270, Math.max(130, 0.5 * width)));

/// A paper narrower than this has fewer words, px.
const NARROW = 300;

function put(parent, name, attributes, text) {
  const made = document.createElementNS(SVG, name);
  for (const [key, value] of Object.entries(attributes)) made.setAttribute(key, value);
  if (text !== undefined) made.textContent = text;
  parent.append(made);
  return made;
}

/// What does not move: frame, grid, words. Returns what draws the curves.
function paper(svg, { first, last, places, ticks, place, words }) {
  // One unit is one pixel: words stay as large as the page's own.
  const WIDTH = Math.max(120, Math.round(svg.getBoundingClientRect().width));
  const HEIGHT = height(WIDTH);
  const narrow = WIDTH < NARROW;
  svg.setAttribute("viewBox", `0 0 ${WIDTH} ${HEIGHT}`);
  const x = (celsius) => LEFT + ((celsius - first) / (last - first)) * (WIDTH - LEFT - RIGHT);
  const y = (value) => HEIGHT - BOTTOM - Math.min(1, Math.max(0, place(value))) * (HEIGHT - TOP - BOTTOM);
  svg.replaceChildren();
  const still = put(svg, "g", { "aria-hidden": "true" });
  for (const value of ticks) {
    put(still, "line", { class: "grid", x1: LEFT, x2: WIDTH - RIGHT, y1: y(value), y2: y(value) });
    put(still, "text", { x: LEFT - 5, y: y(value) + 4, "text-anchor": "end" }, words(value));
  }
  for (let celsius = first; celsius <= last; celsius += narrow ? 20 : 10) {
    put(still, "line", { class: "axis", x1: x(celsius), x2: x(celsius), y1: HEIGHT - BOTTOM, y2: HEIGHT - BOTTOM + 4 });
    put(still, "text", { x: x(celsius), y: HEIGHT - BOTTOM + 15, "text-anchor": "middle" }, celsius);
  }
  put(still, "text", { x: WIDTH - RIGHT, y: HEIGHT - 5, "text-anchor": "end" }, narrow ? "°C" : "temperature, °C");
  put(still, "line", { class: "axis", x1: LEFT, x2: WIDTH - RIGHT, y1: HEIGHT - BOTTOM, y2: HEIGHT - BOTTOM });
  for (const [word, celsius] of places) {
    put(still, "line", { class: "place", x1: x(celsius), x2: x(celsius), y1: TOP, y2: HEIGHT - BOTTOM });
    if (!narrow) put(still, "text", { x: x(celsius), y: TOP - 6, "text-anchor": "middle" }, word);
  }
  // Both bands lie below both lines: neither bar's line is ever hidden by the other's band.
  const both = (name, attributes) => [0, 1].map((bar) => put(svg, name, attributes(bar)));
  const bands = both("path", (bar) => ({ class: `band${bar}` }));
  const lines = both("path", (bar) => ({ class: `line${bar}` }));
  const marks = both("text", (bar) => ({ class: `mark${bar}`, "text-anchor": "middle" }));
  const path = (points) => points.map(([at, value], index) => `${index ? "L" : "M"}${x(at).toFixed(1)} ${y(value).toFixed(1)}`).join("");
  // A letter stands by its curve, on the side away from the other one; the second bar's further right.
  const shown = [null, null];
  const letters = () => shown.forEach((points, bar) => {
    const at = bar ? 27 : 13.5;
    const value = (of) => of?.find(([celsius]) => celsius >= at)?.[1].value;
    const [own, other] = [value(points), value(shown[1 - bar])];
    marks[bar].textContent = own === undefined ? "" : "AB"[bar];
    if (own === undefined) return;
    const below = other === undefined ? false : own < other || (own === other && bar === 1);
    marks[bar].setAttribute("x", x(at));
    marks[bar].setAttribute("y", y(own) + (below ? 18 : -8));
  });
  return (bar, points) => {
    shown[bar] = points ?? null;
    letters();
    const [band, line] = [bands[bar], lines[bar]];
    if (!points || points.length < 2) {
      band.setAttribute("d", "");
      line.setAttribute("d", "");
      return;
    }
    const low = points.map(([at, estimate]) => [at, estimate.low]).reverse();
    band.setAttribute("d", `${path(points.map(([at, estimate]) => [at, estimate.high]))}L${path(low).slice(1)}Z`);
    line.setAttribute("d", path(points.map(([at, estimate]) => [at, estimate.value])));
  };
}

/// Prepares both papers, marked with the places a maker knows ([name, °C]); returns a function that draws a bar's curves from its assessment.
export function curves(solidsSvg, firmnessSvg, places) {
  const range = { first: 0, last: 84, places };
  // Yield stress over five powers of ten, from a soft cream to a hard wax.
  const least = -1, most = 4;
  const solidsPaper = { ...range, ticks: [0, 20, 40, 60, 80, 100], place: (percent) => percent / 100, words: String };
  const firmnessPaper = {
    ...range,
    ticks: [0.1, 1, 10, 100, 1000, 10000],
    place: (kpa) => (Math.log10(Math.max(kpa, 10 ** least)) - least) / (most - least),
    words: String,
  };
  const drawn = [null, null];
  let solids, firmness, width;
  const one = (bar) => {
    solids(bar, drawn[bar]?.solids.map((point) => [point.temperature_c, point.percent]));
    firmness(bar, drawn[bar]?.firmness.map((point) => [point.temperature_c, point.yield_stress_kpa]));
  };
  const lay = () => {
    if (solidsSvg.getBoundingClientRect().width === width) return;
    width = solidsSvg.getBoundingClientRect().width;
    solids = paper(solidsSvg, solidsPaper);
    firmness = paper(firmnessSvg, firmnessPaper);
    drawn.forEach((_, bar) => one(bar));
  };
  lay();
  new ResizeObserver(lay).observe(solidsSvg);
  return (bar, assessment) => {
    drawn[bar] = assessment;
    one(bar);
  };
}
