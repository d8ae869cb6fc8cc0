// A compass round the plan of the house: the direction that a source comes from is dragged or clicked.
import { placeIn, s } from "./drawing.js";
import { h } from "./parts.js";

/** @import { SceneJson } from "./scene" */
/** @import { Fields, Fill } from "./aids.js" */

const TURN = 360;

export class CompassAid {
  #dragging = false;

  /**
   * @param {Fields} fields
   * @param {Fill} fill
   * @param {() => SceneJson | null} scene
   */
  constructor(fields, fill, scene) {
    this.fields = fields;
    this.fill = fill;
    this.scene = scene;
    this.drawing = /** @type {SVGSVGElement} */ (
      s("svg", {
        class: "ga-compass",
        viewBox: "-120 -120 240 240",
        role: "img",
        "aria-label": "Compass with the plan of the house in the middle",
      })
    );
    this.node = h(
      "div",
      { class: "ga-aid" },
      this.drawing,
      h("small", {}, "True north is up. Click or drag to where it stands, or type the direction."),
    );
    this.drawing.addEventListener("pointerdown", (event) => {
      this.#dragging = true;
      this.drawing.setPointerCapture(event.pointerId);
      this.#turn(event);
    });
    this.drawing.addEventListener("pointermove", (event) => this.#dragging && this.#turn(event));
    this.drawing.addEventListener("pointerup", () => {
      if (this.#dragging) this.fill({ azimuth: `${this.#azimuth} deg` });
      this.#dragging = false;
    });
    this.look();
  }

  #azimuth = Number.NaN;

  /** Draw what the field says. */
  look() {
    const typed = this.fields.get("azimuth")?.read();
    this.#azimuth = typeof typed === "string" ? Number.parseFloat(typed) : Number.NaN;
    this.#draw();
  }

  /** @param {PointerEvent} event */
  #turn(event) {
    const [x, y] = placeIn(this.drawing, event);
    this.#azimuth = (Math.round((Math.atan2(x, -y) * TURN) / (2 * Math.PI)) + TURN) % TURN;
    this.#draw();
  }

  #draw() {
    const ticks = Array.from({ length: 24 }, (_, k) => {
      const [x, y] = onRim(15 * k, 1);
      const long = k % 6 === 0 ? 84 : 92;
      return s("line", { class: "ga-rim", x1: long * x, y1: long * y, x2: 98 * x, y2: 98 * y });
    });
    const letters = ["N", "E", "S", "W"].map((letter, k) => {
      const [x, y] = onRim(90 * k, 110);
      return s("text", { x, y: y + 4.5, class: "ga-letter" }, letter);
    });
    const needle = Number.isFinite(this.#azimuth) ? [this.#needle()] : [];
    this.drawing.replaceChildren(
      s("circle", { class: "ga-rim", r: 98 }),
      ...ticks,
      ...letters,
      this.#plan(),
      ...needle,
    );
  }

  #needle() {
    const [x, y] = onRim(this.#azimuth, 1);
    return s(
      "g",
      {},
      s("line", { class: "ga-needle", x1: 96 * x, y1: 96 * y, x2: 40 * x, y2: 40 * y }),
      s("circle", { class: "ga-needlehead", cx: 96 * x, cy: 96 * y, r: 7 }),
      s("text", { class: "ga-letter", x: 68 * x, y: 68 * y - 6 }, `${this.#azimuth}°`),
    );
  }

  /** The outlines of the rooms, turned to true north. */
  #plan() {
    const scene = this.scene();
    const plan = s("g");
    if (!scene) return plan;
    const points = scene.spaces.flatMap((space) => pairs(space.footprint[0]));
    const [xs, ys] = [points.map(([x]) => x), points.map(([, y]) => y)];
    const [cx, cy] = [middle(xs), middle(ys)];
    const size = Math.max(...points.map(([x, y]) => Math.hypot(x - cx, y - cy)), 0.1);
    const turn = (scene.north_rad * TURN) / (2 * Math.PI);
    plan.setAttribute("transform", `rotate(${turn}) scale(${34 / size}) translate(${-cx} ${cy})`);
    for (const space of scene.spaces) {
      const words = pairs(space.footprint[0]).map(([x, y]) => `${x},${-y}`);
      plan.append(s("polygon", { class: "ga-plan-room", points: words.join(" ") }));
    }
    return plan;
  }
}

/**
 * A point on a circle by its azimuth, clockwise from the top.
 * @param {number} degrees
 * @param {number} radius
 * @returns {[number, number]}
 */
export function onRim(degrees, radius) {
  const angle = (2 * Math.PI * degrees) / TURN;
  return [radius * Math.sin(angle), -radius * Math.cos(angle)];
}

/** @param {number[]} values */
function middle(values) {
  return (Math.min(...values) + Math.max(...values)) / 2;
}

/**
 * @param {number[]} flat
 * @returns {Array<[number, number]>}
 */
export function pairs(flat) {
  return Array.from({ length: flat.length / 2 }, (_, k) => [flat[2 * k], flat[2 * k + 1]]);
}
