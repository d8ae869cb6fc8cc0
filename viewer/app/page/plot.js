// Cost against level: the steps with their ranges, and the plans that no other beats. A step is a button.
import { s } from "./drawing.js";
import { h } from "./parts.js";

/** @import { PlotTold, PointTold } from "./protocol" */

const [WIDE, HIGH] = [330, 260];
const EDGE = { left: 40, right: 16, top: 22, bottom: 36 };
const BUBBLE = 8; // radius of a step's number
const APART = 2 * BUBBLE + 1; // of two numbers
const ASIDE = 5; // of a range from its step

/** @typedef {{x: (cost: number) => number, y: (level: number) => number}} Axes */

/**
 * Where costs and levels stand in the drawing; levels on a logarithmic scale.
 * @param {PlotTold} plot
 * @returns {Axes}
 */
export function axesOf(plot) {
  const costs = [...plot.steps.map((each) => each.cost), ...plot.front.map(([cost]) => cost)];
  const levels = [
    plot.today,
    plot.start,
    ...plot.steps.flatMap(({ level, low, high }) => [level, low, high]),
    ...plot.front.map(([, level]) => level),
  ].filter((each) => each > 0);
  const most = Math.max(...costs, 0) || 1;
  const [low, high] = [Math.log(Math.min(...levels)), Math.log(Math.max(...levels))];
  const span = high - low || 1;
  return {
    x: (cost) => EDGE.left + 10 + (cost / most) * (WIDE - EDGE.left - EDGE.right - 20),
    y: (level) =>
      EDGE.top +
      ((high - Math.log(Math.max(level, 1e-18))) / span) * (HIGH - EDGE.top - EDGE.bottom),
  };
}

/**
 * Places of the numbers: on their steps, or down to the left where another number stands there.
 * @param {Array<[number, number]>} places
 * @returns {Array<[number, number]>}
 */
export function bubbles(places) {
  /** @type {Array<[number, number]>} */
  const taken = [];
  for (const [x, y] of places) {
    let at = /** @type {[number, number]} */ ([x, y]);
    for (let ring = 1; taken.some((other) => near(at, other)) && ring < 12; ring += 1)
      at = [Math.max(x - ring * 0.6 * APART, EDGE.left + BUBBLE), y + ring * 0.6 * APART];
    taken.push([at[0], Math.min(at[1], HIGH - EDGE.bottom)]);
  }
  return taken;
}

/**
 * @param {[number, number]} a
 * @param {[number, number]} b
 */
function near(a, b) {
  return Math.hypot(a[0] - b[0], a[1] - b[1]) < APART;
}

/**
 * The level held from where one step is paid to where the next one is.
 * @param {Array<[number, number]>} places
 */
function stair(places) {
  return places.flatMap(([x, y], k) =>
    k ? [`${x},${places[k - 1][1]}`, `${x},${y}`] : `${x},${y}`,
  );
}

/**
 * @param {PlotTold} plot
 * @param {number | null} tried step that is tried out
 * @param {(number: number) => void} choose
 */
export function plotOf(plot, tried, choose) {
  const { x, y } = axesOf(plot);
  /** @type {(each: PointTold) => [number, number]} */
  const place = (each) => [x(each.cost), y(each.level)];
  const begin = /** @type {[number, number]} */ ([x(0), y(plot.start)]);
  const worth = [begin, ...plot.steps.filter((each) => each.worth).map(place)];
  const rest = plot.steps.filter((each) => !each.worth).map(place);
  const last = worth[worth.length - 1];
  const at = bubbles(plot.steps.map(place));
  const free = plot.start < 0.99 * plot.today;
  const drawing = s(
    "svg",
    {
      class: "ga-plot",
      viewBox: `0 0 ${WIDE} ${HIGH}`,
      role: "group",
      "aria-label": `${plot.up} against ${plot.across}`,
    },
    ...frame(plot, { x, y }),
    ...plot.front.map(([cost, level]) =>
      s("circle", { class: "ga-plot-front", cx: x(cost), cy: y(level), r: 2 }),
    ),
    s("polyline", { class: "ga-plot-line", points: stair(worth).join(" ") }),
    ...(rest.length
      ? [s("polyline", { class: "ga-plot-rest", points: stair([last, ...rest]).join(" ") })]
      : []),
    s("circle", { class: "ga-plot-today", cx: x(0), cy: y(plot.today), r: 4.5 }),
    ...(free ? [s("circle", { class: "ga-plot-free", cx: x(0), cy: y(plot.start), r: 4.5 })] : []),
    ...plot.steps.map((each) => range(each, { x, y })),
    ...plot.steps.flatMap((each, k) => lead(place(each), at[k])),
    ...plot.steps.map((each, k) => mark(each, at[k], each.number === tried, choose)),
  );
  return h("figure", { class: "ga-plotfigure" }, drawing, key(plot, free));
}

/**
 * Axes with their round figures.
 * @param {PlotTold} plot
 * @param {Axes} axes
 */
function frame(plot, { x, y }) {
  const foot = HIGH - EDGE.bottom + 8;
  const [left, right] = [EDGE.left, WIDE - EDGE.right];
  return [
    ...plot.levels.flatMap(({ value, words }) => [
      s("line", { class: "ga-plot-grid", x1: left, x2: right, y1: y(value), y2: y(value) }),
      s(
        "text",
        { class: "ga-plot-tick", x: left - 5, y: y(value) + 3.5, "text-anchor": "end" },
        words,
      ),
    ]),
    ...plot.costs.flatMap(({ value, words }) => [
      s("line", { class: "ga-plot-grid", x1: x(value), x2: x(value), y1: EDGE.top - 6, y2: foot }),
      s(
        "text",
        { class: "ga-plot-tick", x: x(value), y: foot + 11, "text-anchor": "middle" },
        words,
      ),
    ]),
    s("text", { class: "ga-plot-axis", x: 2, y: 10 }, plot.up),
    s("text", { class: "ga-plot-axis", x: right, y: HIGH - 3, "text-anchor": "end" }, plot.across),
  ];
}

/**
 * What is left eight times in ten, beside its step.
 * @param {PointTold} each
 * @param {Axes} axes
 */
function range({ cost, low, high }, { x, y }) {
  const at = x(cost) + BUBBLE + ASIDE;
  const [top, foot] = [y(high), y(low)];
  const ends = `M${at - 3} ${top}h6M${at} ${top}V${foot}M${at - 3} ${foot}h6`;
  return s("path", { class: "ga-plot-range", d: ends });
}

/**
 * The step's own place and a line to its number, where that stands aside.
 * @param {[number, number]} place
 * @param {[number, number]} at of its number
 */
function lead([x, y], [ax, ay]) {
  if (ax === x && ay === y) return [];
  return [
    s("line", { class: "ga-plot-lead", x1: x, y1: y, x2: ax, y2: ay }),
    s("circle", { class: "ga-plot-dot", cx: x, cy: y, r: 3 }),
  ];
}

/**
 * @param {PointTold} each
 * @param {[number, number]} at of its number
 * @param {boolean} now
 * @param {(number: number) => void} choose
 */
function mark(each, [x, y], now, choose) {
  const node = s(
    "g",
    {
      class: `ga-plot-step${each.worth ? "" : " ga-plot-idle"}`,
      role: "button",
      tabindex: 0,
      "aria-pressed": now,
      "aria-label": each.words,
      "data-step": each.number,
    },
    s("title", {}, each.words),
    s("circle", { cx: x, cy: y, r: BUBBLE }),
    s("text", { x, y: y + 3.5, "text-anchor": "middle" }, String(each.number)),
  );
  node.addEventListener("click", () => choose(each.number));
  node.addEventListener("keydown", (event) => {
    const { key } = /** @type {KeyboardEvent} */ (event);
    if (key !== "Enter" && key !== " ") return;
    event.preventDefault();
    choose(each.number);
  });
  return node;
}

/**
 * @param {PlotTold} plot
 * @param {boolean} free
 */
function key(plot, free) {
  const words = [
    "Full circle at the left: today.",
    free ? "Empty circle: with what costs nothing." : "",
    "Numbers: the steps. Upright bars: what is left eight times in ten.",
    plot.steps.some((each) => !each.worth) ? "Dashed: not worth its money." : "",
    plot.front.length ? "Dots: plans that no other beats." : "",
  ];
  return h("figcaption", { class: "ga-note" }, words.filter(Boolean).join(" "));
}
