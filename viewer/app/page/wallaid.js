// A wall seen from inside: a window or door is drawn on it or dragged, an outlet is put where one clicks.
import { metres, placeIn, s, snapped, typedLength, typedLengths } from "./drawing.js";
import { h } from "./parts.js";

/** @import { Asked, WallTold } from "./protocol" */
/** @import { Fields, Fill } from "./aids.js" */

/**
 * @typedef {{x: number, y: number, width: number, height: number}} Box from the left end and the floor, in metres
 */

export class WallAid {
  /** @type {WallTold | null} */
  #told = null;
  /** @type {Box | null} */
  #box = null;
  /** @type {{from: [number, number], box: Box | null} | null} */
  #drag = null;

  /**
   * @param {boolean} point whether one place is put on the wall, and not a rectangle
   * @param {Fields} fields
   * @param {Fill} fill
   * @param {() => boolean} feet
   * @param {(asked: Asked) => void} ask
   */
  constructor(point, fields, fill, feet, ask) {
    this.point = point;
    this.fields = fields;
    this.fill = fill;
    this.feet = feet;
    this.ask = ask;
    this.note = h("small", {}, "Choose a wall, and it is drawn here.");
    this.drawing = /** @type {SVGSVGElement} */ (
      s("svg", { class: "ga-wall", role: "img", "aria-label": "The wall seen from inside" })
    );
    this.drawing.style.display = "none";
    this.node = h("div", { class: "ga-aid" }, this.drawing, this.note);
    this.drawing.addEventListener("pointerdown", (event) => this.#down(event));
    this.drawing.addEventListener("pointermove", (event) => this.#move(event));
    this.drawing.addEventListener("pointerup", () => this.#up());
  }

  /** Ask for the wall that the field names. */
  look() {
    const on = this.#text("on");
    if (on) this.ask({ do: "wall", on });
  }

  /** @param {WallTold} told */
  show(told) {
    if (told.on !== this.#text("on")) return;
    this.#told = told.trouble === null ? told : null;
    this.drawing.style.display = this.#told ? "" : "none";
    const how = this.point
      ? "Click where it is"
      : "Draw it from corner to corner, or drag what is drawn";
    this.note.textContent =
      told.trouble ?? `${told.title}, seen from inside. ${how}, or type the lengths.`;
    this.#box = this.#typed();
    this.#draw();
  }

  /** @param {string} key */
  #text(key) {
    const value = this.fields.get(key)?.read();
    return typeof value === "string" ? value.trim() : "";
  }

  /** @returns {Box | null} what the fields say */
  #typed() {
    const wide = this.#wide();
    const [width, height] = this.point
      ? [0, 0]
      : this.#text("size")
          .split(/\s*[x×]\s*/)
          .map((each) => metres(each));
    const at = metres(this.#text("at"));
    const up = metres(this.#text(this.point ? "height" : "sill") || "0 m");
    const x = this.#text("from") === "left" ? at : wide - at - width;
    return [x, up, width, height].every(Number.isFinite) ? { x, y: up, width, height } : null;
  }

  #wide() {
    return Math.max(...(this.#told?.outline.map(([x]) => x) ?? [0]));
  }

  #draw() {
    const told = this.#told;
    if (!told) return;
    const high = Math.max(...told.outline.map(([, y]) => y));
    const edge = 0.12;
    const view = [-edge, -high - edge, this.#wide() + 2 * edge, high + 2 * edge];
    this.drawing.setAttribute("viewBox", view.join(" "));
    const points = told.outline.map(([x, y]) => `${x},${-y}`).join(" ");
    const own = this.#own();
    const holes = told.openings
      .filter(({ id }) => id !== own)
      .map(({ id, low, high: top }) =>
        s(
          "rect",
          {
            class: "ga-hole",
            x: low[0],
            y: -top[1],
            width: top[0] - low[0],
            height: top[1] - low[1],
          },
          s("title", {}, id),
        ),
      );
    const marks = told.marks
      .filter(({ id }) => id !== own)
      .map(({ id, at }) =>
        s("circle", { class: "ga-spot", cx: at[0], cy: -at[1], r: 0.06 }, s("title", {}, id)),
      );
    const box = this.#box;
    const drawn = box
      ? [
          this.point
            ? s("circle", { class: "ga-drawn", cx: box.x, cy: -box.y, r: 0.08 })
            : s("rect", {
                class: "ga-drawn",
                x: box.x,
                y: -box.y - box.height,
                width: box.width,
                height: box.height,
              }),
        ]
      : [];
    this.drawing.replaceChildren(
      s("polygon", { class: "ga-wallface", points }),
      ...holes,
      ...marks,
      ...drawn,
    );
  }

  /** Id of the panel of the row that is edited, which is drawn as what can be dragged. */
  #own() {
    const id = this.#text("id");
    return this.point ? id : `${this.#text("on").split("/")[0]}/${id}`;
  }

  /** @param {PointerEvent} event */
  #down(event) {
    if (!this.#told) return;
    const [x, y] = placeIn(this.drawing, event);
    const at = /** @type {[number, number]} */ ([x, -y]);
    this.drawing.setPointerCapture(event.pointerId);
    event.preventDefault();
    if (this.point) {
      this.#box = { x: at[0], y: at[1], width: 0, height: 0 };
      this.#drag = { from: at, box: this.#box };
    } else {
      const box = this.#box;
      const within =
        box &&
        at[0] >= box.x &&
        at[0] <= box.x + box.width &&
        at[1] >= box.y &&
        at[1] <= box.y + box.height;
      this.#drag = { from: at, box: within ? { ...box } : null };
    }
    this.#draw();
  }

  /** @param {PointerEvent} event */
  #move(event) {
    const drag = this.#drag;
    if (!drag) return;
    const [x, y] = placeIn(this.drawing, event);
    const feet = this.feet();
    const [dx, dy] = [x - drag.from[0], -y - drag.from[1]];
    if (this.point) this.#box = { x, y: -y, width: 0, height: 0 };
    else if (drag.box)
      this.#box = { ...drag.box, x: drag.box.x + dx, y: Math.max(drag.box.y + dy, 0) };
    else {
      this.#box = {
        x: Math.min(drag.from[0], x),
        y: Math.max(Math.min(drag.from[1], -y), 0),
        width: Math.abs(dx),
        height: Math.abs(dy),
      };
    }
    const box = this.#box;
    for (const key of /** @type {Array<keyof Box>} */ (["x", "y", "width", "height"])) {
      box[key] = snapped(box[key], feet);
    }
    this.#draw();
  }

  #up() {
    const drag = this.#drag;
    this.#drag = null;
    const box = this.#box;
    if (!drag || !box || (!this.point && (box.width < 0.02 || box.height < 0.02))) return;
    const feet = this.feet();
    const at = typedLength(snapped(Math.max(box.x, 0), feet), feet);
    if (this.point) {
      this.fill({ from: "left", at, height: typedLength(snapped(box.y, feet), feet) });
      return;
    }
    const sill = typedLength(box.y, feet);
    this.fill({
      from: "left",
      at,
      size: typedLengths([box.width, box.height], feet, " x "),
      ...(box.y < 0.005 && !this.#text("sill") ? {} : { sill }),
    });
  }
}
