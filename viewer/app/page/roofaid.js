// A section across a room: the ridge and a level part are dragged, the shape is chosen by a picture.
import { metres, placeIn, s, snapped, typedLength } from "./drawing.js";
import { h } from "./parts.js";

/** @import { SceneJson } from "./scene" */
/** @import { Fields, Fill } from "./aids.js" */
/** @import { Row } from "./fields.js" */

/** @typedef {{span: number, eaves: number, ridge: number, flat: number | null, shape: string}} Section in metres */

/** @type {Array<[string, string, string]>} shape, what it is called, its outline */
const SHAPES = [
  ["", "level", "M3 20V9H33V20"],
  ["shed", "shed", "M3 20V13L33 4V20"],
  ["gable", "gable", "M3 20V12L18 3L33 12V20"],
  ["hipped", "hipped", "M3 20V12L13 4H23L33 12V20"],
];
/** @type {Record<string, {key: string, ways: Array<[string, string]>}>} */
const WAYS = {
  shed: {
    key: "low",
    ways: [
      ["south", "low in the south"],
      ["east", "low in the east"],
      ["north", "low in the north"],
      ["west", "low in the west"],
    ],
  },
  gable: {
    key: "along",
    ways: [
      ["x", "ridge east to west"],
      ["y", "ridge north to south"],
    ],
  },
};
const RISE = 0.4; // of half the span: how high a ridge begins that nobody has drawn
const UNKNOWN_M = [4, 4]; // of a room whose size is not typed yet

/**
 * The width that a roof spans, and the heights of its section.
 * @param {Row} roof
 * @param {number[]} size of the room, east to west and north to south
 * @param {number} eaves
 * @returns {Section}
 */
export function sectionOf(roof, [wide, deep], eaves) {
  const { shape = "" } = roof;
  const across =
    shape === "gable"
      ? ["y", "north", "south"].includes(roof.along)
        ? wide
        : deep
      : shape === "shed"
        ? ["east", "west"].includes(roof.low)
          ? wide
          : deep
        : Math.min(wide, deep);
  const run = shape === "shed" ? across : across / 2;
  const pitch = Number.parseFloat(roof.pitch ?? "");
  const stated = metres(roof.ridge ?? "");
  const ridge = Number.isFinite(stated)
    ? stated
    : Number.isFinite(pitch)
      ? eaves + run * Math.tan((pitch * Math.PI) / 180)
      : eaves + RISE * run;
  const flat = metres(roof.flat ?? "");
  const level = Number.isFinite(flat) && flat < ridge ? flat : null;
  return { span: across, eaves, ridge: shape ? ridge : eaves, flat: shape ? level : null, shape };
}

/**
 * Corners of the section from its left foot round to its right one.
 * @param {Section} section
 * @returns {Array<[number, number]>}
 */
export function outlineOf({ span, eaves, ridge, flat, shape }) {
  const top = flat ?? ridge;
  const share = ridge > eaves ? (top - eaves) / (ridge - eaves) : 0;
  if (shape === "shed")
    return [
      [0, 0],
      [0, eaves],
      [share * span, top],
      ...(flat === null ? [] : [/** @type {[number, number]} */ ([span, top])]),
      [span, 0],
    ];
  const half = share * (span / 2);
  return [
    [0, 0],
    [0, eaves],
    [half, top],
    [span - half, top],
    [span, eaves],
    [span, 0],
  ];
}

export class RoofAid {
  /** @type {"ridge" | "flat" | null} */
  #drag = null;
  /** @type {Row} */
  #roof = {};

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
        class: "ga-wall",
        role: "application",
        tabindex: 0,
        "aria-label":
          "Section across the roof. Arrow keys up and down move the ridge, with Shift the level part.",
      })
    );
    this.shapes = h("div", {
      class: "ga-shapes",
      role: "group",
      "aria-label": "Shape of the roof",
    });
    this.ways = h("div", { class: "ga-shapes", role: "group", "aria-label": "Which way it runs" });
    this.note = h(
      "small",
      {},
      "Choose a shape; drag the ridge, and down from it a level part under collar beams. Or type the heights.",
    );
    this.node = h("div", { class: "ga-aid" }, this.shapes, this.ways, this.drawing, this.note);
    this.drawing.addEventListener("pointerdown", (event) => this.#down(event));
    this.drawing.addEventListener("pointermove", (event) => this.#move(event));
    this.drawing.addEventListener("pointerup", () => this.#up());
    this.drawing.addEventListener("keydown", (event) => this.#key(event));
    this.look();
  }

  /** Draw what the fields say. */
  look() {
    if (this.#drag) return;
    const rows = this.fields.get("ceiling")?.read();
    this.#roof = Array.isArray(rows) ? { ...(rows[0] ?? {}) } : {};
    this.#draw();
  }

  get #feet() {
    return Boolean(this.scene()?.feet);
  }

  /** @param {string} key */
  #text(key) {
    const value = this.fields.get(key)?.read();
    return typeof value === "string" ? value.trim() : "";
  }

  /** @returns {Section} */
  #section() {
    const typed = this.#text("size")
      .split(/\s*[x×]\s*/)
      .map((each) => metres(each));
    const built = this.scene()?.spaces.find((each) => each.id === this.#text("id"))?.bounds;
    const known = built ? [built[3] - built[0], built[4] - built[1]] : UNKNOWN_M;
    const size = typed.length === 2 && typed.every(Number.isFinite) ? typed : known;
    const eaves = metres(this.#text("height"));
    return sectionOf(this.#roof, size, Number.isFinite(eaves) ? eaves : 2.4);
  }

  /** @param {Row} changes what the roof says otherwise; "" takes a key away */
  #give(changes) {
    const roof = { ...this.#roof, ...changes };
    const kept = Object.entries(roof).filter(([, value]) => value);
    this.#roof = Object.fromEntries(kept);
    this.fill({ ceiling: this.#roof.shape ? [this.#roof] : [] });
    this.#draw();
  }

  /** @param {string} shape */
  #choose(shape) {
    if (!shape) {
      this.#roof = {};
      this.#give({});
      return;
    }
    const { key, ways } = WAYS[shape] ?? {};
    const first = key && ways ? { [key]: this.#roof[key] ?? ways[0][0] } : {};
    const kept = this.#roof.ridge || this.#roof.pitch;
    /** @type {Row} */
    const next = { along: "", low: "", through: "", ...this.#roof, shape, ...first };
    for (const [name, only] of [
      ["along", "gable"],
      ["through", "gable"],
      ["low", "shed"],
    ])
      if (shape !== only) next[name] = "";
    this.#roof = Object.fromEntries(Object.entries(next).filter(([, value]) => value));
    this.#give(kept ? {} : { ridge: this.#typed(this.#section().ridge) });
  }

  /** @param {number} value */
  #typed(value) {
    const feet = this.#feet;
    return typedLength(snapped(value, feet), feet);
  }

  /** @param {PointerEvent} event */
  #down(event) {
    if (!this.#roof.shape) return;
    event.preventDefault();
    this.drawing.focus({ preventScroll: true });
    this.drawing.setPointerCapture(event.pointerId);
    const { ridge, flat, span } = this.#section();
    const [, y] = placeIn(this.drawing, event);
    const near = flat !== null && Math.abs(-y - flat) < 0.06 * span;
    const under = flat === null && -y < ridge - 0.06 * span; // a level part is drawn from below
    this.#drag = near || under ? "flat" : "ridge";
    this.#move(event);
  }

  /** @param {PointerEvent} event */
  #move(event) {
    if (!this.#drag) return;
    const [, y] = placeIn(this.drawing, event);
    const { eaves, ridge } = this.#section();
    if (this.#drag === "ridge") {
      this.#roof = { ...this.#roof, ridge: this.#typed(Math.max(-y, eaves + 0.05)) };
      delete this.#roof.pitch;
    } else if (-y < ridge - 0.02 && -y > eaves) {
      this.#roof = { ...this.#roof, flat: this.#typed(-y) };
    } else delete this.#roof.flat;
    this.#draw();
  }

  #up() {
    if (!this.#drag) return;
    this.#drag = null;
    this.#give({});
  }

  /** @param {KeyboardEvent} event */
  #key(event) {
    const way = { ArrowUp: 1, ArrowDown: -1 }[event.key];
    if (!way || !this.#roof.shape) return;
    event.preventDefault();
    const { eaves, ridge, flat } = this.#section();
    const step = way * (this.#feet ? 0.0254 : 0.05);
    if (event.shiftKey) {
      const to = (flat ?? ridge) + step;
      this.#give({ flat: to < ridge && to > eaves ? this.#typed(to) : "" });
    } else this.#give({ ridge: this.#typed(Math.max(ridge + step, eaves + 0.05)), pitch: "" });
  }

  #draw() {
    const section = this.#section();
    const { span, ridge, eaves, flat, shape } = section;
    const top = Math.max(ridge, eaves) + 0.13 * (span + 1.4);
    this.drawing.setAttribute("viewBox", [-0.7, -top, span + 1.4, top + 0.25].join(" "));
    const size = 0.045 * (span + 1.4);
    const text = { class: "ga-leg", "font-size": size };
    const points = outlineOf(section).map(([x, y]) => `${x},${-y}`);
    const at = shape === "shed" ? span : span / 2;
    const whole = outlineOf({ ...section, flat: null }).map(([x, y]) => `${x},${-y}`);
    this.drawing.replaceChildren(
      ...(flat === null ? [] : [s("polygon", { class: "ga-plan-below", points: whole.join(" ") })]),
      s("polygon", { class: "ga-wallface", points: points.join(" ") }),
      s("text", { ...text, x: 0.35, y: -eaves / 2 }, this.#typed(eaves)),
      ...(shape
        ? [
            s("circle", { class: "ga-handle", cx: at, cy: -ridge, r: 0.4 * size }),
            s(
              "text",
              { ...text, x: at - (shape === "shed" ? 0.4 : 0), y: -ridge - 0.5 * size },
              this.#typed(ridge),
            ),
          ]
        : []),
      ...(flat === null
        ? []
        : [s("text", { ...text, x: span / 2, y: -flat + size }, this.#typed(flat))]),
    );
    this.#offer(shape);
  }

  /** @param {string} shape */
  #offer(shape) {
    this.shapes.replaceChildren(
      ...SHAPES.map(([value, words, outline]) => {
        const picture = s(
          "svg",
          { viewBox: "0 0 36 22", class: "ga-shape", "aria-hidden": "true" },
          s("path", { d: outline }),
        );
        const button = h("button", { type: "button", "aria-pressed": String(value === shape) });
        button.append(picture, words);
        button.addEventListener("click", () => this.#choose(value));
        return button;
      }),
    );
    const { key, ways = [] } = WAYS[shape] ?? {};
    this.ways.hidden = !ways.length;
    this.ways.replaceChildren(
      ...ways.map(([value, words]) =>
        h(
          "button",
          {
            type: "button",
            "aria-pressed": String(this.#roof[key ?? ""] === value),
            onclick: () => this.#give({ [key ?? ""]: value }),
          },
          words,
        ),
      ),
    );
  }
}
