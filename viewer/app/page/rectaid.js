// A plan to put a rectangle on: a room, a dormer, a block outdoors, a bed; drawn, dragged, sized, turned.
import { pairs } from "./compassaid.js";
import { metres, placeIn, s, snapped, spotOf, typedLength, typedLengths } from "./drawing.js";
import { h, pressable } from "./parts.js";

/** @import { SceneJson } from "./scene" */
/** @import { Fields, Fill } from "./aids.js" */

/** @typedef {{x: number, y: number, width: number, depth: number}} Rect its south-west corner and sizes, in metres */
/** @typedef {"space" | "dormer" | "obstacle" | "receiver"} Sort */
/** @typedef {{kind: "move" | "draw" | "size", at: [number, number], rect: Rect}} Drag */

const EMPTY = [-1, -6, 8, 7]; // what is shown where no room stands yet, in metres
const ROUND = { space: 5, dormer: 1, obstacle: 25, receiver: 0.6 }; // shown around, in metres
const LEAST_M = 0.1;
const BED_M = { top: 0.5, thick: 0.3 }; // of a bed that was drawn and whose height nobody typed
const STEP_M = { metres: 0.1, feet: 0.1016 }; // of an arrow key
const QUIET_MS = 600; // after the last key, before it is taken
const HOW = {
  space: "Draw the room from corner to corner, inside faces; drag it, or a corner of it.",
  dormer: "Draw it on the plan of its room; drag it, or a corner of it.",
  obstacle: "Draw the block where it stands; drag it, or a corner of it.",
  receiver: "Draw the bed, or drag it, or a corner of it.",
};

/**
 * A rectangle moved or sized by a pointer.
 * @param {Drag} drag
 * @param {[number, number]} to
 * @returns {Rect}
 */
export function dragged({ kind, at, rect }, to) {
  const [dx, dy] = [to[0] - at[0], to[1] - at[1]];
  if (kind === "move") return { ...rect, x: rect.x + dx, y: rect.y + dy };
  // the corner across stays where it is
  const east = at[0] > rect.x + rect.width / 2;
  const north = at[1] > rect.y + rect.depth / 2;
  const across =
    kind === "draw"
      ? at
      : [east ? rect.x : rect.x + rect.width, north ? rect.y : rect.y + rect.depth];
  return {
    x: Math.min(across[0], to[0]),
    y: Math.min(across[1], to[1]),
    width: Math.abs(to[0] - across[0]),
    depth: Math.abs(to[1] - across[1]),
  };
}

/**
 * A rectangle turned by a quarter about its middle.
 * @param {Rect} rect
 * @returns {Rect}
 */
export function quarter({ x, y, width, depth }) {
  return {
    x: x + (width - depth) / 2,
    y: y + (depth - width) / 2,
    width: depth,
    depth: width,
  };
}

export class RectAid {
  /** @type {Rect | null} */
  #rect = null;
  /** @type {Drag | null} */
  #drag = null;
  /** @type {number | undefined} */
  #later;

  /**
   * @param {Sort} sort
   * @param {Fields} fields
   * @param {Fill} fill
   * @param {{scene: () => SceneJson | null, origin: (space: string) => [number, number]}} given
   */
  constructor(sort, fields, fill, { scene, origin }) {
    this.sort = sort;
    this.fields = fields;
    this.fill = fill;
    this.scene = scene;
    this.origin = origin;
    this.drawing = /** @type {SVGSVGElement} */ (
      s("svg", { class: "ga-room-plan", role: "application", tabindex: 0 })
    );
    this.note = h("small", {});
    this.turn = pressable("Turn the bed", () => this.#turn());
    this.node = h("div", { class: "ga-aid" }, this.drawing, this.note, this.turn);
    this.drawing.addEventListener("pointerdown", (event) => this.#down(event));
    this.drawing.addEventListener("pointermove", (event) => this.#move(event));
    this.drawing.addEventListener("pointerup", () => this.#up());
    this.drawing.addEventListener("keydown", (event) => this.#key(event));
    this.look();
  }

  /** Draw what the fields say. */
  look() {
    if (this.#drag || this.#later !== undefined) return;
    this.#say(); // fields that come after this one are there by now
    this.#rect = this.#typed();
    this.#frame();
    this.#draw();
  }

  #say() {
    const point = this.#isPoint;
    const keys = `Arrow keys move it${point ? "" : ", with Shift they make it larger or smaller"}.`;
    const how = point ? "Click where it is, or drag it." : HOW[this.sort];
    this.note.textContent = `${how} ${keys} Or type the lengths.`;
    this.drawing.setAttribute("aria-label", `Plan, north side up. ${keys}`);
    this.turn.hidden = point || this.sort !== "receiver";
  }

  get #isPoint() {
    return this.sort === "receiver" && !this.fields.has("size");
  }

  get #feet() {
    return Boolean(this.scene()?.feet);
  }

  /** @param {string} key */
  #text(key) {
    const value = this.fields.get(key)?.read();
    return typeof value === "string" ? value.trim() : "";
  }

  /** Where the coordinates of the fields begin in the building. */
  get #base() {
    const own = this.sort === "dormer" || this.sort === "receiver";
    return own ? this.origin(this.#text("space")) : [0, 0];
  }

  /** @returns {Rect | null} what the fields say */
  #typed() {
    const [bx, by] = this.#base;
    const sizes = this.#text("size")
      .split(/\s*[x×]\s*/)
      .map((each) => metres(each));
    const [width, depth] = this.#isPoint ? [0, 0] : sizes;
    if (this.sort === "receiver") {
      const [x, y] = spotOf(this.#text("at"));
      const [w, d] = Number.isFinite(width) && Number.isFinite(depth) ? [width, depth] : [0, 0];
      const found = { x: bx + x - w / 2, y: by + y - d / 2, width: w, depth: d };
      return Number.isFinite(found.x + found.y) ? found : null;
    }
    if (this.#text("beside")) return null; // the neighbour's wall says where it stands
    const [x, y] = this.#text("origin") ? spotOf(this.#text("origin")) : [0, 0];
    const found = { x: bx + x, y: by + y, width, depth };
    return Object.values(found).every(Number.isFinite) ? found : null;
  }

  /** Write what is drawn into the fields. */
  #give() {
    const rect = this.#rect;
    if (!rect) return;
    const feet = this.#feet;
    const [bx, by] = this.#base;
    if (this.sort === "receiver") {
      this.fill(this.#bed(rect, [bx, by]));
      return;
    }
    const size = typedLengths([rect.width, rect.depth], feet, " x ");
    const origin = typedLengths([rect.x - bx, rect.y - by], feet, ", ");
    this.fill(this.#text("beside") ? { size } : { size, origin });
  }

  /**
   * A bed or a point: its middle with the height that is typed, and its size.
   * @param {Rect} rect
   * @param {number[]} base
   * @returns {Record<string, string>}
   */
  #bed(rect, [bx, by]) {
    const feet = this.#feet;
    const typed = this.#text("at").split(",")[2]?.trim() ?? "";
    const middle = [rect.x + rect.width / 2 - bx, rect.y + rect.depth / 2 - by];
    const [, , z = Number.NaN] = spotOf(this.#text("at"));
    const up = Number.isFinite(z) ? z : BED_M.top;
    const exact = feet && /[a-z'"]/i.test(typed) ? typed : null; // as somebody typed it
    const at = exact
      ? `${typedLengths(middle, true, ", ")}, ${exact}`
      : typedLengths([...middle, up], feet, ", ");
    if (!(rect.width > 0)) return { at };
    const thick = metres(this.#text("size").split(/\s*[x×]\s*/)[2] ?? "");
    const sizes = [rect.width, rect.depth, Number.isFinite(thick) ? thick : BED_M.thick];
    return { at, size: typedLengths(sizes, feet, " x ") };
  }

  #turn() {
    if (!this.#rect) return;
    this.#rect = quarter(this.#rect);
    this.#draw();
    this.#give();
  }

  /**
   * @param {PointerEvent} event
   * @returns {[number, number]}
   */
  #place(event) {
    const [x, y] = placeIn(this.drawing, event);
    return [x, -y];
  }

  /** @param {PointerEvent} event */
  #down(event) {
    event.preventDefault();
    this.drawing.focus({ preventScroll: true });
    this.drawing.setPointerCapture(event.pointerId);
    const at = this.#place(event);
    const rect = this.#rect;
    const reach = 0.03 * this.#wide();
    const [x, y] = at;
    if (this.#isPoint) {
      this.#rect = { x, y, width: 0, depth: 0 };
      this.#drag = { kind: "move", at, rect: this.#rect };
    } else if (rect && corners(rect).some(([cx, cy]) => Math.hypot(cx - x, cy - y) < reach)) {
      this.#drag = { kind: "size", at, rect };
    } else if (rect && within(rect, at)) {
      this.#drag = { kind: "move", at, rect };
    } else {
      const grid = this.#snap({ x, y, width: 0, depth: 0 });
      this.#drag = { kind: "draw", at: [grid.x, grid.y], rect: grid };
    }
    this.#draw();
  }

  /** @param {PointerEvent} event */
  #move(event) {
    if (!this.#drag) return;
    this.#rect = this.#snap(dragged(this.#drag, this.#place(event)));
    this.#draw();
  }

  #up() {
    const drag = this.#drag;
    this.#drag = null;
    if (!drag || !this.#rect) return;
    const { width, depth } = this.#rect;
    if (!this.#isPoint && (width < LEAST_M || depth < LEAST_M)) {
      this.look(); // a click, which draws nothing
      return;
    }
    this.#rect = this.#snap(this.#rect);
    this.#draw();
    this.#give();
  }

  /**
   * @param {Rect} rect
   * @returns {Rect} on the grid of its own coordinates
   */
  #snap({ x, y, width, depth }) {
    const grid = (value) => {
      const step = this.#feet ? 0.0254 : 0.05;
      return Math.round(value / step) * step;
    };
    const [bx, by] = this.#base;
    const half = this.sort === "receiver" ? 0.5 : 0;
    const [w, d] = [grid(width), grid(depth)];
    return {
      x: grid(x - bx + half * width) + bx - half * w,
      y: grid(y - by + half * depth) + by - half * d,
      width: w,
      depth: d,
    };
  }

  /** @param {KeyboardEvent} event */
  #key(event) {
    const way = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, 1], ArrowDown: [0, -1] }[
      event.key
    ];
    if (!way) return;
    event.preventDefault();
    const step = STEP_M[this.#feet ? "feet" : "metres"];
    const [dx, dy] = [way[0] * step, way[1] * step];
    const rect = this.#rect ?? this.#begun();
    if (event.shiftKey && !this.#isPoint)
      this.#rect = {
        ...rect,
        width: Math.max(rect.width + dx, step),
        depth: Math.max(rect.depth + dy, step),
      };
    else this.#rect = { ...rect, x: rect.x + dx, y: rect.y + dy };
    this.#draw();
    window.clearTimeout(this.#later);
    this.#later = window.setTimeout(() => {
      this.#later = undefined;
      this.#give();
    }, QUIET_MS);
  }

  /** @returns {Rect} what the keyboard begins with: something of a usual size in the middle */
  #begun() {
    const [left, top, wide, high] = this.#box();
    const [width, depth] = { receiver: [0.9, 2], dormer: [1.5, 1.5] }[this.sort] ?? [3, 3];
    const [w, d] = this.#isPoint ? [0, 0] : [width, depth];
    return this.#snap({ x: left + (wide - w) / 2, y: -(top + (high + d) / 2), width: w, depth: d });
  }

  /** @returns {number[]} the viewBox */
  #box() {
    return (this.drawing.getAttribute("viewBox") ?? EMPTY.join(" ")).split(" ").map(Number);
  }

  #wide() {
    return this.#box()[2];
  }

  /** Rooms that are drawn: its own for a bed or a dormer, else all. */
  #rooms() {
    const spaces = this.scene()?.spaces ?? [];
    const own = this.sort === "dormer" || this.sort === "receiver";
    const named = spaces.filter((each) => each.id === this.#text("space"));
    return own && named.length ? named : spaces;
  }

  #frame() {
    const points = this.#rooms().flatMap((space) => pairs(space.footprint[0]));
    if (this.#rect) points.push(...corners(this.#rect));
    if (!points.length) {
      this.drawing.setAttribute("viewBox", EMPTY.join(" "));
      return;
    }
    const [xs, ys] = [points.map(([x]) => x), points.map(([, y]) => y)];
    const edge = ROUND[this.sort];
    const [left, right] = [Math.min(...xs) - edge, Math.max(...xs) + edge];
    const [low, high] = [Math.min(...ys) - edge, Math.max(...ys) + edge];
    this.drawing.setAttribute("viewBox", [left, -high, right - left, high - low].join(" "));
  }

  #draw() {
    const storey = this.#text("storey");
    const rooms = this.#rooms().map((space) => {
      const here = this.sort !== "space" || space.storey === storey;
      const words = pairs(space.footprint[0]).map(([x, y]) => `${x},${-y}`);
      return s(
        "polygon",
        { class: here ? "ga-plan-room" : "ga-plan-below", points: words.join(" ") },
        s("title", {}, space.title || space.id),
      );
    });
    this.drawing.replaceChildren(...rooms, ...(this.#rect ? this.#drawn(this.#rect) : []));
  }

  /** @param {Rect} rect */
  #drawn(rect) {
    const { x, y, width, depth } = rect;
    const wide = this.#wide();
    if (this.#isPoint || !(width > 0))
      return [s("circle", { class: "ga-plan-mark", cx: x, cy: -y, r: 0.025 * wide })];
    const feet = this.#feet;
    const text = { class: "ga-leg", "font-size": 0.032 * wide };
    const label = (value) => typedLength(snapped(value, feet), feet);
    return [
      s("rect", { class: "ga-drawn ga-block", x, y: -(y + depth), width, height: depth }),
      ...corners(rect).map(([cx, cy]) =>
        s("circle", { class: "ga-handle", cx, cy: -cy, r: 0.012 * wide }),
      ),
      s("text", { ...text, x: x + width / 2, y: -y + 0.045 * wide }, label(width)),
      s(
        "text",
        { ...text, "text-anchor": "start", x: x + width + 0.015 * wide, y: -(y + depth / 2) },
        label(depth),
      ),
    ];
  }
}

/**
 * @param {Rect} rect
 * @returns {Array<[number, number]>}
 */
function corners({ x, y, width, depth }) {
  return [
    [x, y],
    [x + width, y],
    [x + width, y + depth],
    [x, y + depth],
  ];
}

/**
 * @param {Rect} rect
 * @param {[number, number]} at
 */
function within({ x, y, width, depth }, [px, py]) {
  return px > x && px < x + width && py > y && py < y + depth;
}
