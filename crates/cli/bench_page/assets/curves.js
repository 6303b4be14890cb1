// Draws curves with their bands from the figures of the answer, as SVG. It computes nothing but places on the paper.

const WIDTH = 420, HEIGHT = 260;
const LEFT = 40, RIGHT = 12, TOP = 20, BOTTOM = 34;
const SVG = "http://www.w3.org/2000/svg";

/// Temperatures a maker knows, °C.
const PLACES = [[4, "fridge"], [20, "room"], [33, "skin"], [45, "hot parcel"]];

function put(parent, name, attributes, text) {
  const made = document.createElementNS(SVG, name);
  for (const [key, value] of Object.entries(attributes)) made.setAttribute(key, value);
  if (text !== undefined) made.textContent = text;
  parent.append(made);
  return made;
}

/// What does not move: frame, grid, words. Returns what draws the curves.
function paper(svg, { first, last, ticks, place, words }) {
  svg.setAttribute("viewBox", `0 0 ${WIDTH} ${HEIGHT}`);
  const x = (celsius) => LEFT + ((celsius - first) / (last - first)) * (WIDTH - LEFT - RIGHT);
  const y = (value) => HEIGHT - BOTTOM - Math.min(1, Math.max(0, place(value))) * (HEIGHT - TOP - BOTTOM);
  svg.replaceChildren();
  const still = put(svg, "g", { "aria-hidden": "true" });
  for (const value of ticks) {
    put(still, "line", { class: "grid", x1: LEFT, x2: WIDTH - RIGHT, y1: y(value), y2: y(value) });
    put(still, "text", { x: LEFT - 5, y: y(value) + 4, "text-anchor": "end" }, words(value));
  }
  for (let celsius = first; celsius <= last; celsius += 10) {
    put(still, "line", { class: "axis", x1: x(celsius), x2: x(celsius), y1: HEIGHT - BOTTOM, y2: HEIGHT - BOTTOM + 4 });
    put(still, "text", { x: x(celsius), y: HEIGHT - BOTTOM + 15, "text-anchor": "middle" }, celsius);
  }
  put(still, "text", { x: WIDTH - RIGHT, y: HEIGHT - 5, "text-anchor": "end" }, "temperature, °C");
  put(still, "line", { class: "axis", x1: LEFT, x2: WIDTH - RIGHT, y1: HEIGHT - BOTTOM, y2: HEIGHT - BOTTOM });
  for (const [celsius, word] of PLACES) {
    put(still, "line", { class: "place", x1: x(celsius), x2: x(celsius), y1: TOP, y2: HEIGHT - BOTTOM });
    put(still, "text", { x: x(celsius), y: TOP - 6, "text-anchor": "middle" }, word);
  }
  const bars = [0, 1].map((bar) => ({
    band: put(svg, "path", { class: `band${bar}` }),
    line: put(svg, "path", { class: `line${bar}` }),
    mark: put(svg, "text", { class: `mark${bar}`, "text-anchor": "middle" }, "AB"[bar]),
  }));
  const path = (points) => points.map(([at, value], index) => `${index ? "L" : "M"}${x(at).toFixed(1)} ${y(value).toFixed(1)}`).join("");
  return (bar, points) => {
    const { band, line, mark } = bars[bar];
    if (!points || points.length < 2) {
      band.setAttribute("d", "");
      line.setAttribute("d", "");
      mark.textContent = "";
      return;
    }
    const low = points.map(([at, estimate]) => [at, estimate.low]).reverse();
    band.setAttribute("d", `${path(points.map(([at, estimate]) => [at, estimate.high]))}L${path(low).slice(1)}Z`);
    line.setAttribute("d", path(points.map(([at, estimate]) => [at, estimate.value])));
    // The letter stands on the curve, the second bar's further right, so that one curve upon the other still shows both.
    const [at, estimate] = points[Math.min(points.length - 1, bar ? 11 : 5)];
    mark.setAttribute("x", x(at));
    mark.setAttribute("y", y(estimate.value) + (bar ? 16 : -8));
    mark.textContent = "AB"[bar];
  };
}

/// Prepares both papers; returns a function that draws a bar's curves from its assessment.
export function curves(solidsSvg, firmnessSvg) {
  const range = { first: 0, last: 84 };
  const inside = (at) => at >= range.first && at <= range.last;
  const solids = paper(solidsSvg, { ...range, ticks: [0, 20, 40, 60, 80, 100], place: (percent) => percent / 100, words: String });
  // Yield stress over five powers of ten, from a soft cream to a hard wax.
  const least = -1, most = 4;
  const firmness = paper(firmnessSvg, {
    ...range,
    ticks: [0.1, 1, 10, 100, 1000, 10000],
    place: (kpa) => (Math.log10(Math.max(kpa, 10 ** least)) - least) / (most - least),
    words: String,
  });
  return (bar, assessment) => {
    solids(bar, assessment?.solids.filter((one) => inside(one.temperature_c)).map((one) => [one.temperature_c, one.percent]));
    firmness(bar, assessment?.firmness.filter((one) => inside(one.temperature_c)).map((one) => [one.temperature_c, one.yield_stress_kpa]));
  };
}
