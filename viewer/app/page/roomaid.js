// A plan of one storey to draw a room on, corner by corner.
import { pairs } from "./compassaid.js";
import { placeIn, s, snapped, typedLength, typedLengths } from "./drawing.js";
import { h, pressable } from "./parts.js";

/** @import { SceneJson } from "./scene" */
/** @import { Fields, Fill } from "./aids.js" */

/** @typedef {[number, number]} Corner */

const EMPTY = [-1, -1, 7, 6]; // what is shown where no room stands yet, in metres

/**
 * A walk round corners in words of the compass, counter-clockwise, the last leg left open.
 * @param {Corner[]} corners
 * @param {boolean} feet
 */
export function walkOf(corners, feet) {
  const legs = corners.map(([x, y], k) => {
    const [nx, ny] = corners[(k + 1) % corners.length];
    const [dx, dy] = [nx - x, ny - y];
    const way = Math.abs(dx) > Math.abs(dy) ? (dx > 0 ? "E" : "W") : dy > 0 ? "N" : "S";
    const leg = typedLength(Math.max(Math.abs(dx), Math.abs(dy)), feet);
    return k === corners.length - 1 ? way : `${way} ${leg}`;
  });
  return legs.join("; ");
}

/**
 * Corners counter-clockwise, without those between two legs of one direction.
 * @param {Corner[]} corners
 * @returns {Corner[]}
 */
export function tidy(corners) {
  const kept = corners.filter(([x, y], k) => {
    const [px, py] = corners[(k + corners.length - 1) % corners.length];
    const [nx, ny] = corners[(k + 1) % corners.length];
    return Math.abs((x - px) * (ny - y) - (y - py) * (nx - x)) > 1e-9;
  });
  const area = kept.reduce((sum, [x, y], k) => {
    const [nx, ny] = kept[(k + 1) % kept.length];
    return sum + x * ny - nx * y;
  }, 0);
  return area < 0 ? kept.reverse() : kept;
}

export class RoomAid {
  /** @type {Corner[]} */
  #corners = [];
  /** @type {Corner | null} where the pointer is */
  #at = null;
  #closed = false;

  /**
   * @param {"walk" | "footprint"} key what is drawn
   * @param {Fields} fields
   * @param {Fill} fill
   * @param {() => SceneJson | null} scene
   */
  constructor(key, fields, fill, scene) {
    this.key = key;
    this.fields = fields;
    this.fill = fill;
    this.scene = scene;
    this.drawing = /** @type {SVGSVGElement} */ (
      s("svg", {
        class: "ga-room-plan",
        role: "img",
        "aria-label": "Plan of the storey, north side up",
      })
    );
    this.note = h(
      "small",
      {},
      "Click its corners one after another, inside faces; the first one again closes it. Or type the lengths.",
    );
    this.again = pressable("Draw it anew", () => this.#clear());
    this.node = h("div", { class: "ga-aid" }, this.drawing, this.note, this.again);
    this.drawing.addEventListener("pointerdown", (event) => this.#down(event));
    this.drawing.addEventListener("pointermove", (event) => this.#move(event));
    this.look();
  }

  look() {
    this.#draw();
  }

  #feet() {
    return Boolean(this.scene()?.feet);
  }

  #clear() {
    this.#corners = [];
    this.#closed = false;
    this.#draw();
  }

  /**
   * @param {PointerEvent} event
   * @returns {Corner}
   */
  #place(event) {
    const [x, y] = placeIn(this.drawing, event);
    const grid = this.#feet() ? 0.0254 : 0.05;
    const at = /** @type {Corner} */ ([x, -y].map((each) => Math.round(each / grid) * grid));
    const last = this.#corners[this.#corners.length - 1];
    if (this.key !== "walk" || !last) return at;
    // legs run along the walls: the longer way counts
    return Math.abs(at[0] - last[0]) >= Math.abs(at[1] - last[1])
      ? [at[0], last[1]]
      : [last[0], at[1]];
  }

  /** @param {PointerEvent} event */
  #down(event) {
    event.preventDefault();
    this.drawing.setPointerCapture(event.pointerId);
    const at = this.#place(event);
    if (this.#closed) this.#clear();
    const [first] = this.#corners;
    const [x, y] = placeIn(this.drawing, event);
    const near = first && Math.hypot(x - first[0], -y - first[1]) < 0.04 * this.#wide();
    if (near && this.#corners.length >= 3) this.#close();
    else this.#corners.push(at);
    this.#draw();
  }

  /** @param {PointerEvent} event */
  #move(event) {
    this.#at = this.#place(event);
    this.#draw();
  }

  #close() {
    let corners = this.#corners;
    if (this.key === "walk") {
      // the last leg runs straight into the first corner
      const [first] = corners;
      const [lx, ly] = corners[corners.length - 1];
      const straight = Math.abs(lx - first[0]) < 1e-9 || Math.abs(ly - first[1]) < 1e-9;
      if (!straight) {
        const [px] = corners[corners.length - 2];
        corners = [...corners, px === lx ? [first[0], ly] : [lx, first[1]]];
      }
    }
    corners = tidy(corners);
    if (corners.length < 3) return this.#clear();
    this.#corners = corners;
    this.#closed = true;
    const feet = this.#feet();
    const [[ox, oy]] = corners;
    const own = corners.map(([x, y]) => [snapped(x - ox, feet), snapped(y - oy, feet)]);
    const points = feet
      ? own.map((each) => typedLengths(each, true, ", ")).join("; ")
      : `${own.map(([x, y]) => `${Number(x.toFixed(2))},${Number(y.toFixed(2))}`).join("  ")} m`;
    this.fill({
      [this.key]: this.key === "walk" ? walkOf(corners, feet) : points,
      origin: typedLengths([ox, oy], feet, ", "),
    });
  }

  #wide() {
    return Number(this.drawing.getAttribute("viewBox")?.split(" ")[2] ?? 8);
  }

  #draw() {
    const scene = this.scene();
    const storey = this.fields.get("storey")?.read();
    const spaces = scene?.spaces ?? [];
    const points = spaces.flatMap((space) => pairs(space.footprint[0]));
    if (!this.#corners.length || !this.drawing.hasAttribute("viewBox")) {
      const [xs, ys] = [points.map(([x]) => x), points.map(([, y]) => y)];
      const room = points.length
        ? [
            Math.min(...xs) - 5,
            -Math.max(...ys) - 5,
            Math.max(...xs) - Math.min(...xs) + 10,
            Math.max(...ys) - Math.min(...ys) + 10,
          ]
        : [EMPTY[0], -EMPTY[3], EMPTY[2] + 1, EMPTY[3] + 1];
      this.drawing.setAttribute("viewBox", room.join(" "));
    }
    const rooms = spaces.map((space) => {
      const here = space.storey === storey;
      const words = pairs(space.footprint[0])
        .map(([x, y]) => `${x},${-y}`)
        .join(" ");
      return s(
        "polygon",
        { class: here ? "ga-plan-room" : "ga-plan-below", points: words },
        s("title", {}, `${space.id}, ${here ? "this storey" : `storey ${space.storey}`}`),
      );
    });
    const open = this.#closed ? this.#corners : [...this.#corners, ...(this.#at ? [this.#at] : [])];
    const line = open.map(([x, y]) => `${x},${-y}`).join(" ");
    const shape = this.#closed ? "polygon" : "polyline";
    const first = this.#corners[0];
    const dot = first
      ? [s("circle", { class: "ga-drawn", cx: first[0], cy: -first[1], r: 0.012 * this.#wide() })]
      : [];
    this.drawing.replaceChildren(
      ...rooms,
      s(shape, { class: "ga-drawn", points: line }),
      ...dot,
      ...this.#lengths(open),
    );
    this.again.hidden = !this.#corners.length;
  }

  /**
   * The length of each leg beside it.
   * @param {Corner[]} corners
   */
  #lengths(corners) {
    const size = 0.032 * this.#wide();
    const count = this.#closed ? corners.length : corners.length - 1;
    return Array.from({ length: Math.max(count, 0) }, (_, k) => {
      const [[ax, ay], [bx, by]] = [corners[k], corners[(k + 1) % corners.length]];
      const long = Math.hypot(bx - ax, by - ay);
      const words = long > 0.1 ? typedLength(long, this.#feet()) : "";
      return s(
        "text",
        { class: "ga-leg", x: (ax + bx) / 2, y: -(ay + by) / 2, "font-size": size },
        words,
      );
    });
  }
}
