// What a receiver sees: all directions on one equal-area disc, coloured by loss.
//
//   const map = mountSky(element, sky, scene, options)
//
// `sky` is the JSON of viewer/scene/sky.py, `scene` that of viewer/scene/to_json.py. `element` must
// be square. options: plan (index), receiver (index), describe(panel) → [title, line, …] or null,
// onPick(id|null), onHover(id|null). Needs no WebGL.
import { Tip } from "./pointing.js";
import { beside, RADIUS, SkyCells } from "./skycells.js";
import { paintSky } from "./skypaint.js";
import { describe, panelName, percent, shown } from "./words.js";

/** @import { PanelJson, SceneJson, SkyJson, SkyOutlineJson, SkyViewJson } from "./scene" */
/** @import { Point } from "./types" */

/**
 * @typedef {object} SkyOptions
 * @property {number} [plan]
 * @property {number} [receiver]
 * @property {(panel: PanelJson) => string[] | null} [describe]
 * @property {(id: string | null) => void} [onPick]
 * @property {(id: string | null) => void} [onHover]
 */

/** @typedef {{line: number, taken: number[][], leaders: Element}} Written what names keep clear of */

const SVG = "http://www.w3.org/2000/svg";
const NAMED_FROM = 0.005; // least share of a gap that has its name on the map
const NAMES_AT_MOST = 6;
const EDGE = 59; // of the drawing, which no name crosses
const WIDE_PX = 360; // taken where the element has no size yet
/** @type {Array<[string, number, number]>} */
const WAYS = [
  ["N", 0, -55.5],
  ["E", 56, 0],
  ["S", 0, 55.5],
  ["W", -56, 0],
];

/**
 * A place of a flat list on the drawing.
 * @param {number[]} flat
 */
const placeOf = (flat, k = 0) => [flat[2 * k] * RADIUS, -flat[2 * k + 1] * RADIUS];

/** @param {number[]} flat */
function pathOf(flat) {
  let text = "";
  for (let k = 0; k < flat.length / 2; k++) {
    const place = placeOf(flat, k).map((v) => v.toFixed(2));
    text += (k ? "L" : "M") + place.join(" ");
  }
  return text;
}

/**
 * @param {HTMLElement} element
 * @param {SkyJson} sky
 * @param {SceneJson} scene
 * @param {SkyOptions} [options]
 */
export function mountSky(element, sky, scene, options = {}) {
  return new SkyMap(element, sky, scene, options);
}

class SkyMap {
  /** @type {string | null} */
  #hovered = null;
  /** @type {string | null} */
  #selected = null;
  /** @type {Array<() => void>} */
  #undo = [];

  /**
   * @param {HTMLElement} element
   * @param {SkyJson} sky
   * @param {SceneJson} scene
   * @param {SkyOptions} options
   */
  constructor(element, sky, scene, options) {
    this.element = element;
    this.whole = sky;
    this.scene = scene;
    this.options = options;
    this.plan = options.plan ?? 0;
    this.receiver = options.receiver ?? 0;
    this.sky = this.#underPlan();
    this.cells = new SkyCells(this.sky);
    element.classList.add("gc-sky");
    this.canvas = document.createElement("canvas");
    this.canvas.setAttribute("aria-hidden", "true");
    this.drawing = document.createElementNS(SVG, "svg");
    this.drawing.setAttribute("viewBox", "-60 -60 120 120");
    this.drawing.setAttribute("role", "img");
    const tip = document.createElement("div");
    tip.className = "gc-tip";
    this.tip = new Tip(tip);
    element.append(this.canvas, this.drawing, tip);
    this.#listen();
    this.#refresh();
    this.watcher = new ResizeObserver(() => this.#refresh());
    this.watcher.observe(element);
  }

  // -- what others ask

  /** @param {number} index */
  setPlan(index) {
    this.setSky({ plan: index });
  }

  /**
   * Another sky, scene, plan or receiver; what is not given stays.
   * @param {{sky?: SkyJson, scene?: SceneJson, plan?: number, receiver?: number}} changes
   */
  setSky({ sky, scene, plan, receiver }) {
    this.whole = sky ?? this.whole;
    this.scene = scene ?? this.scene;
    this.plan = plan ?? this.plan;
    this.receiver = receiver ?? this.receiver;
    const before = this.sky;
    this.sky = this.#underPlan();
    if (this.sky !== before) this.cells = new SkyCells(this.sky);
    this.#refresh();
  }

  /** @param {string | null} id */
  highlight(id) {
    if (id === this.#hovered) return;
    this.#hovered = id;
    this.#draw();
  }

  /** @param {string | null} id */
  select(id) {
    this.#selected = id;
    this.#draw();
  }

  /**
   * Id of the panel towards a point of the element.
   * @param {number} x
   * @param {number} y
   */
  pickAt(x, y) {
    const width = this.element.clientWidth || 1;
    const scale = 120 / width;
    return this.cells.panelAt((x - width / 2) * scale, (y - width / 2) * scale);
  }

  dispose() {
    this.watcher.disconnect();
    for (const undo of this.#undo) undo();
    this.element.replaceChildren();
    this.element.classList.remove("gc-sky");
  }

  // -- drawing

  /**
   * The sky where the plan has bed and sources.
   * @returns {SkyViewJson}
   */
  #underPlan() {
    return this.whole.moved?.[this.plan] ?? this.whole;
  }

  #refresh() {
    paintSky(this.canvas, this.sky, this.plan, this.element.clientWidth || WIDE_PX);
    this.#draw();
  }

  /**
   * @param {string} name
   * @param {Record<string, string | number>} attributes
   * @param {Element} parent
   * @param {string} [text]
   */
  #node(name, attributes, parent, text) {
    const made = document.createElementNS(SVG, name);
    for (const [key, value] of Object.entries(attributes)) made.setAttribute(key, String(value));
    if (text !== undefined) made.textContent = text;
    parent.append(made);
    return made;
  }

  /** @param {string | null} id */
  #panel(id) {
    return this.scene.panels.find((panel) => panel.id === id);
  }

  /** @param {string} id */
  #leak(id) {
    return this.#panel(id)?.plans[this.plan]?.leaks[this.receiver] ?? null;
  }

  #draw() {
    const { drawing, element, scene, sky } = this;
    drawing.replaceChildren();
    const wide = element.clientWidth;
    const size = ((wide < 420 ? 11 : 12.5) * 120) / (wide || WIDE_PX);
    drawing.style.fontSize = `${size.toFixed(2)}px`;
    const name = shown(scene.receivers[this.receiver]?.title ?? sky.receiver);
    const said = `All directions around ${name}: straight up in the middle, the horizon a dashed circle, straight down at the rim.`;
    this.#node("title", {}, drawing, said);
    this.#drawFrame();
    const gaps = this.#drawOutlines();
    const taken = this.#drawSources();
    const leaders = this.#node("g", {}, drawing); // below every name
    this.#drawNames(gaps, { line: 0.62 * size, taken, leaders });
  }

  #drawFrame() {
    const { drawing } = this;
    this.#node("circle", { r: RADIUS, class: "gc-disc" }, drawing);
    const horizon = (RADIUS * Math.SQRT1_2).toFixed(3);
    this.#node("circle", { r: horizon, class: "gc-horizon" }, drawing);
    for (let k = 0; k < 36; k++) {
      const turn = (k * Math.PI) / 18;
      const reach = RADIUS + (k % 9 ? (k % 3 ? 1.2 : 1.8) : 2.6);
      const [s, c] = [Math.sin(turn), -Math.cos(turn)];
      const ends = { x1: RADIUS * s, y1: RADIUS * c, x2: reach * s, y2: reach * c };
      this.#node("line", { ...ends, class: "gc-tick" }, drawing);
    }
    for (const [letter, x, y] of WAYS) {
      this.#node("text", { x, y, class: "gc-way" }, drawing, letter);
    }
  }

  /** Outlines of the panels; those of the gaps come last and are returned. */
  #drawOutlines() {
    /** @type {Array<{d: string, outline: SkyOutlineJson, chosen: string}>} */
    const gaps = [];
    const line = (d, kind) => this.#node("path", { d, class: kind }, this.drawing);
    for (const outline of this.sky.outlines) {
      const d = outline.runs.map(pathOf).join("");
      if (!d) continue;
      const { panel } = outline;
      const over = panel === this.#hovered ? " gc-over" : "";
      const chosen = panel === this.#selected ? " gc-chosen" : over;
      if (this.#leak(panel)?.is_gap) gaps.push({ d, outline, chosen });
      else line(d, `gc-line${chosen}`);
    }
    for (const { d } of gaps) line(d, "gc-gap-case");
    for (const { d } of gaps) line(d, "gc-gap-line");
    for (const { d, chosen } of gaps) if (chosen) line(d, `gc-line${chosen}`);
    return gaps.map(({ outline }) => outline);
  }

  /** The sources with the rims of their cones; returns the boxes that they cover. */
  #drawSources() {
    const taken = [];
    for (const source of this.sky.sources) {
      if (source.rim.length) {
        this.#node("path", { d: pathOf(source.rim), class: "gc-cone" }, this.drawing);
      }
      const [x, y] = placeOf(source.at);
      const d = `M${x} ${y - 2.4}L${x + 2.4} ${y}L${x} ${y + 2.4}L${x - 2.4} ${y}Z`;
      this.#node("path", { d, class: "gc-star" }, this.drawing);
      taken.push([x - 3, y - 3, x + 3, y + 3]);
    }
    return taken;
  }

  /**
   * @param {SkyOutlineJson[]} gaps
   * @param {Written} written
   */
  #drawNames(gaps, written) {
    for (const source of this.sky.sources) {
      const spot = placeOf(source.at);
      const known = this.scene.sources.find((each) => each.id === source.id);
      const text = shown(known?.title ?? source.id, 32);
      this.#nameIt({ text, spot, kind: "gc-name gc-source-name", clear: 3, panel: null }, written);
    }
    const share = (outline) => this.#leak(outline.panel)?.share ?? 0;
    const rank = (outline) => this.#leak(outline.panel)?.rank ?? Number.MAX_SAFE_INTEGER;
    const named = gaps
      .filter((each) => this.#panel(each.panel)?.kind !== "reveal" && share(each) >= NAMED_FROM)
      .sort((a, b) => rank(a) - rank(b));
    for (const outline of named.slice(0, NAMES_AT_MOST)) {
      const panel = this.#panel(outline.panel);
      if (!panel) continue;
      const text = `${panelName(this.scene, panel, this.receiver)} ${percent(share(outline))}`;
      const spot = placeOf(outline.mark);
      this.#nameIt({ text, spot, kind: "gc-name", clear: 0, panel: outline.panel }, written);
    }
  }

  /**
   * A name inside what it is of where it fits there, else beside it with a line to it.
   * @param {{text: string, spot: Point, kind: string, clear: number, panel: string | null}} name
   * @param {Written} written
   */
  #nameIt({ text, spot, kind, clear, panel }, { line, taken, leaders }) {
    const label = /** @type {SVGTextElement} */ (
      this.#node("text", { class: kind }, this.drawing, text)
    );
    const half = [(label.getComputedTextLength() || 2.2 * text.length) / 2 + 0.8, line];
    const inside = panel ? this.cells.within(panel, half, spot) : [];
    const places = [
      ...inside.map(([x, y]) => ({ x, y, led: false })),
      ...beside(spot, half, clear).map(({ x, y, touches }) => ({ x, y, led: !touches || !clear })),
    ];
    for (const { x, y, led } of places) {
      const box = [x - half[0], y - half[1], x + half[0], y + half[1]];
      if (Math.max(-box[0], -box[1], box[2], box[3]) > EDGE) continue;
      const meets = (b) => box[0] < b[2] && box[2] > b[0] && box[1] < b[3] && box[3] > b[1];
      if (taken.some(meets)) continue;
      taken.push(box);
      label.setAttribute("x", x.toFixed(2));
      label.setAttribute("y", y.toFixed(2));
      if (led) this.#lead(box, spot, !clear, leaders);
      return;
    }
    label.remove();
  }

  /**
   * A line from a name's box to its spot.
   * @param {number[]} box
   * @param {Point} spot
   * @param {boolean} dotted
   * @param {Element} leaders
   */
  #lead(box, spot, dotted, leaders) {
    const x1 = Math.min(Math.max(spot[0], box[0]), box[2]);
    const y1 = Math.min(Math.max(spot[1], box[1]), box[3]);
    for (const kind of ["gc-lead-case", "gc-lead"]) {
      this.#node("line", { x1, y1, x2: spot[0], y2: spot[1], class: kind }, leaders);
    }
    if (!dotted) return;
    this.#node("circle", { cx: spot[0], cy: spot[1], r: 0.9, class: "gc-lead-dot" }, leaders);
  }

  // -- pointing

  /**
   * @param {string | null} id
   * @param {Point | null} spot where its tip stands
   */
  #show(id, spot) {
    if (id !== this.#hovered) {
      this.#hovered = id;
      this.#draw();
      this.options.onHover?.(id);
    }
    const panel = spot ? this.#panel(id) : null;
    const { describe: own } = this.options;
    const lines =
      panel && (own ? own(panel) : describe(this.scene, panel, this.plan, this.receiver));
    const wide = this.element.clientWidth;
    if (lines && spot) this.tip.show(lines, spot, [wide, wide]);
    else this.tip.hide();
  }

  #listen() {
    const { element } = this;
    const listen = (name, handler) => {
      element.addEventListener(name, handler);
      this.#undo.push(() => element.removeEventListener(name, handler));
    };
    const spotOf = (event) => {
      const box = element.getBoundingClientRect();
      return [event.clientX - box.left, event.clientY - box.top];
    };
    listen("pointermove", (event) => {
      if (event.pointerType === "touch") return;
      const spot = spotOf(event);
      this.#show(this.pickAt(spot[0], spot[1]), spot);
    });
    listen("pointerleave", () => this.#show(null, null));
    listen("click", (event) => {
      const spot = spotOf(event);
      this.#selected = this.pickAt(spot[0], spot[1]);
      this.#show(this.#selected, spot);
      this.#draw();
      this.options.onPick?.(this.#selected);
    });
  }
}
