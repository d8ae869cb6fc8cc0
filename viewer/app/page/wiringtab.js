// The house wiring, entered in minutes: supply, circuits, outlets by a click on a face, strips.
import { elevationOf } from "./elevation.js";
import { h, pressable, short } from "./parts.js";

/** @import { Asked, DrawnFaceTold, FieldsTold, FileTold, MarkTold, WiringTold } from "./protocol" */
/** @import { SceneJson } from "./scene" */
/** @import { Looking } from "./looking.js" */
/** @import { Typed } from "./elevation.js" */

/** @typedef {Record<string, string>} Row */

// What a house is fed with: each supply to earth.
const US = { voltage: "120 V", frequency: "60 Hz" };
const EU = { voltage: "230 V", frequency: "50 Hz" };
/** @type {Array<[string, Row[]]>} */
export const SUPPLIES = [
  ["230 V, one phase, 50 Hz", [EU]],
  [
    "120/240 V split, 60 Hz",
    [
      { id: "leg-1", ...US, phase: "0 deg" },
      { id: "leg-2", ...US, phase: "180 deg" },
    ],
  ],
  [
    "230/400 V, three phases, 50 Hz",
    [
      { id: "L1", ...EU, phase: "0 deg" },
      { id: "L2", ...EU, phase: "120 deg" },
      { id: "L3", ...EU, phase: "240 deg" },
    ],
  ],
];
const KINDS = ["socket", "switch", "light", "bond", "lamp on a cord"];
const CABLES = ["unknown", "round", "flat", "singles", "open", "metal-clad"];
const ROUTES = ["unknown", "low", "high", "floor", "ceiling"];
const TABLES = ["supply", "circuit", "outlet", "bond", "device", "plan"];

/**
 * What is asked for a click on a face.
 * @param {string} kind of what is placed
 * @param {string} circuit
 * @param {Pick<DrawnFaceTold, "panel" | "kind">} face
 * @param {Typed} typed
 * @returns {Asked | null} null where such a thing does not go there
 */
export function placing(kind, circuit, face, typed) {
  const wall = face.kind === "wall";
  if (kind !== "bond" && !wall && !(kind === "light" && face.kind === "ceiling")) return null;
  /** @type {Row} */
  const where = { on: face.panel, at: typed.at };
  if (wall) Object.assign(where, { from: "left", height: typed.height ?? "" });
  return kind === "bond"
    ? { do: "add-row", table: "bond", typed: where }
    : { do: "add-row", table: "outlet", typed: { circuit, kind, ...where } };
}

/**
 * Names in a list as they are typed, with one put in or taken out.
 * @param {string} typed
 * @param {string} name
 * @param {boolean} on
 */
export function toggled(typed, name, on) {
  const names = typed.split(",").map((each) => each.trim());
  const others = names.filter((each) => each && each !== name);
  return [...others, ...(on ? [name] : [])].join(", ");
}

/**
 * @param {string} label
 * @param {string[]} words
 */
function chooser(label, words) {
  return h(
    "select",
    { "aria-label": label },
    words.map((each) => h("option", { value: each }, each)),
  );
}

/**
 * @param {HTMLSelectElement} node
 * @param {Array<[string, string]>} options value and words
 */
function offer(node, options) {
  const before = node.value;
  node.replaceChildren(...options.map(([value, words]) => h("option", { value }, words)));
  if (options.some(([value]) => value === before)) node.value = before;
}

export class WiringTab {
  /** @type {FileTold["rows"]} */
  #rows = {};
  /** @type {FileTold["parts"]} */
  #parts = {};
  /** @type {WiringTold | null} */
  #told = null;
  /** @type {SceneJson | null} */
  #scene = null;
  /** @type {string | null} */
  #plan = null;
  /** @type {string | null} */
  #space = null;
  #on = false;
  /** @type {Asked[]} edits that wait for the one before */
  #waiting = [];

  /** @param {(asked: Asked) => void} ask */
  constructor(ask) {
    this.ask = ask;
    this.trouble = h("p", { class: "ga-trouble", role: "alert" });
    this.supply = h("div", { class: "ga-wire-list" });
    this.circuits = h("ul", { class: "ga-wire-list" });
    this.faces = h("div", { class: "ga-els" });
    this.marks = h("ul", { class: "ga-wire-list" });
    this.strips = h("div", { class: "ga-wire-list" });
    this.cautions = h("div", { class: "ga-note" });
    this.bondCaution = h("p", { class: "ga-note" });
    this.stripCaution = h("p", { class: "ga-note" });
    this.kind = chooser("What to place", KINDS);
    this.circuit = chooser("Circuit", []);
    this.name = h("input", { type: "text", "aria-label": "Name of a circuit", size: 12 });
    this.cable = chooser("Cable", CABLES);
    this.route = chooser("Route between its outlets", ROUTES);
    this.along = chooser("Circuit of a strip", []);
    this.where = chooser("Face of a strip", []);
    this.coat = chooser("Coating of a strip", []);
    this.width = h("input", { type: "text", "aria-label": "Width of a strip", size: 7 });
    this.stripForm = h(
      "div",
      { class: "ga-wire-add" },
      h("label", {}, "along ", this.along),
      h("label", {}, "on ", this.where),
      h("label", {}, "with ", this.coat),
      h("label", {}, "wide ", this.width),
      pressable("Add a strip", () => this.#addStrip()),
    );
    this.node = this.#page();
  }

  #page() {
    const add = h(
      "form",
      { class: "ga-wire-add" },
      h("label", {}, "name ", this.name),
      h("label", {}, "cable ", this.cable),
      h("label", {}, "route ", this.route),
      h("button", { type: "submit" }, "Add a circuit"),
    );
    add.addEventListener("submit", (event) => {
      event.preventDefault();
      const typed = { id: this.name.value, cable: this.cable.value, route: this.route.value };
      this.#ask({ do: "add-row", table: "circuit", typed });
      this.name.value = "";
    });
    return h(
      "div",
      { class: "ga-wire" },
      h(
        "p",
        { class: "ga-note" },
        "What you do not know may stay unknown: it is computed every way.",
      ),
      this.cautions,
      this.trouble,
      h("section", {}, h("h2", {}, "Supply"), this.supply),
      h("section", {}, h("h2", {}, "Circuits"), this.circuits, add),
      h(
        "section",
        {},
        h("h2", {}, "Outlets and bonds"),
        h(
          "div",
          { class: "ga-wire-add" },
          h("label", {}, "place a ", this.kind),
          h("label", {}, "of ", this.circuit),
        ),
        h(
          "p",
          { class: "ga-note" },
          "Click on a face, seen from inside, where it is. A lamp: click on its outlet. Outlets are wired in the order in which you place them.",
        ),
        this.bondCaution,
        this.faces,
        this.marks,
      ),
      h(
        "section",
        {},
        h("h2", {}, "Strips of coating along a circuit"),
        this.stripCaution,
        this.strips,
        this.stripForm,
      ),
    );
  }

  // -- what is shown

  /**
   * Whether the tab is open, and what is looked at.
   * @param {boolean} on
   */
  open(on) {
    this.#on = on;
    this.#see();
  }

  /**
   * @param {SceneJson} scene
   * @param {Looking} looking
   */
  look(scene, looking) {
    this.#scene = scene;
    const space = scene.receivers[looking.receiver]?.space ?? scene.spaces[0]?.id ?? null;
    if (space === this.#space && looking.plan === this.#plan) return;
    this.#space = space;
    this.#plan = looking.plan;
    if (this.#on) this.#see();
    this.#render();
  }

  #see() {
    this.ask({ do: "wiring", on: this.#on, space: this.#space, plan: this.#plan });
  }

  /** @param {FileTold} told */
  showFile({ rows, parts }) {
    this.#rows = rows;
    this.#parts = parts;
    this.trouble.textContent = "";
    const next = this.#waiting.shift();
    if (next) this.ask(next);
    this.#render();
  }

  /** @param {WiringTold} told */
  show(told) {
    this.#told = told;
    this.#render();
  }

  /** @param {FieldsTold} told */
  troubles({ table, troubles }) {
    if (!TABLES.includes(table)) return;
    this.#waiting = [];
    this.trouble.textContent = troubles.map(({ message }) => message).join(" ");
    if (this.#on) this.trouble.scrollIntoView({ block: "nearest" });
  }

  /**
   * Rows of a table that the file has.
   * @param {string} table
   */
  #listed(table) {
    return (this.#rows[table] ?? []).filter((row) => Object.keys(row).length);
  }

  #render() {
    if (!this.#on) return;
    const circuits = this.#listed("circuit").map((row) => row.id);
    /** @type {Array<[string, string]>} */
    const named = circuits.map((id) => [id, short(id, 24)]);
    offer(this.circuit, named);
    offer(this.along, named);
    this.#renderSupply();
    this.#renderCircuits();
    this.#renderFaces();
    this.#renderStrips();
    const { work, bond, strip } = this.#told?.cautions ?? { work: [], bond: "", strip: "" };
    this.cautions.replaceChildren(...work.map((each) => h("p", {}, `Caution: ${each}`)));
    this.bondCaution.textContent = bond;
    this.stripCaution.textContent = strip;
  }

  #renderSupply() {
    const rows = this.#listed("supply");
    if (rows.length) {
      const said = rows.map((row) =>
        [row.id, row.voltage, row.frequency, row.phase].filter(Boolean).join(" "),
      );
      this.supply.replaceChildren(h("p", {}, `${said.join("; ")}, each to earth.`));
      return;
    }
    this.supply.replaceChildren(
      ...SUPPLIES.map(([words, supplies]) =>
        pressable(words, () => {
          const all = supplies.map(
            (typed) => /** @type {Asked} */ ({ do: "add-row", table: "supply", typed }),
          );
          this.#waiting = all.slice(1);
          this.#ask(all[0], { keep: true });
        }),
      ),
    );
  }

  #renderCircuits() {
    const at = this.#listed("plan").findIndex((row) => row.id === this.#plan);
    const off = this.#rows.plan?.[at]?.off ?? "";
    this.circuits.replaceChildren(
      ...this.#listed("circuit").map((row, k) => {
        const said = `${row.id}: cable ${row.cable ?? "unknown"}, route ${row.route ?? "unknown"}`;
        const box = h("input", {
          type: "checkbox",
          checked: toggled(off, row.id, false) !== toggled(off, "", false),
          disabled: at < 0,
          onchange: () => {
            const typed = { off: toggled(off, row.id, box.checked) };
            this.#ask({ do: "set-keys", table: "plan", row: at, id: this.#plan, typed });
          },
        });
        return h(
          "li",
          {},
          h("span", {}, said),
          h(
            "label",
            {},
            box,
            at < 0 ? "off (choose a plan)" : ` off under ${short(this.#plan ?? "")}`,
          ),
          this.#remove("circuit", k, row.id),
        );
      }),
    );
  }

  #renderFaces() {
    const told = this.#told;
    const feet = Boolean(this.#scene?.feet);
    if (!told) return;
    const kind = this.kind.value;
    this.faces.replaceChildren(
      ...told.faces.map((face) =>
        elevationOf(face, feet, {
          place: (typed) => this.#place(face, typed),
          mark: (mark) => this.#mark(mark),
        }),
      ),
    );
    this.kind.value = kind;
    /** @type {Array<[string, string]>} */
    const listed = [
      ["outlet", "outlet"],
      ["device", "lamp"],
      ["bond", "bond"],
    ];
    this.marks.replaceChildren(
      ...listed.flatMap(([table, word]) =>
        this.#listed(table).map((row, k) => {
          const where = [row.kind, row.circuit ?? row.outlet, row.on, row.at].filter(Boolean);
          const said = `${word} ${row.id}: ${where.join(", ")}`;
          return h("li", {}, h("span", {}, said), this.#remove(table, k, row.id));
        }),
      ),
    );
  }

  #renderStrips() {
    const at = this.#listed("plan").findIndex((row) => row.id === this.#plan);
    const now = this.#parts.plan?.[at]?.strips ?? [];
    this.stripForm.hidden = at < 0;
    const words = (row) => `${row.width} of ${row.with} along ${row.along} on ${row.on}`;
    this.strips.replaceChildren(
      at < 0 ? h("p", {}, "Choose a plan other than today.") : "",
      ...now.map((row, k) =>
        h(
          "p",
          {},
          `${words(row)} `,
          pressable("Take away", () => this.#setStrips(now.filter((_, other) => other !== k))),
        ),
      ),
    );
    const space = this.#told?.space ?? "";
    const faces = (this.#told?.faces ?? []).map(
      ({ panel, title }) => /** @type {[string, string]} */ ([panel, title]),
    );
    offer(this.where, [[`${space}/walls`, "all walls"], ...faces]);
    offer(
      this.coat,
      (this.#told?.conductive ?? []).map((id) => [id, short(id, 24)]),
    );
    if (!this.width.value) this.width.value = this.#scene?.feet ? "10 in" : "25 cm";
  }

  // -- what is asked

  /**
   * @param {Asked} asked
   * @param {{keep?: boolean}} [more] keep: what waits for it
   */
  #ask(asked, { keep = false } = {}) {
    if (!keep) this.#waiting = [];
    this.trouble.textContent = "";
    this.ask(asked);
  }

  #remove(table, row, id) {
    return pressable("Remove", () => this.#ask({ do: "remove-row", table, row, id: id ?? null }));
  }

  /**
   * @param {DrawnFaceTold} face
   * @param {Typed} typed
   */
  #place(face, typed) {
    const kind = this.kind.value;
    if (kind === "lamp on a cord") {
      this.trouble.textContent = "A lamp stands at an outlet: click on the outlet.";
      return;
    }
    if (!this.circuit.value && kind !== "bond") {
      this.trouble.textContent = "Add a circuit first.";
      return;
    }
    const asked = placing(kind, this.circuit.value, face, typed);
    if (asked) this.#ask(asked);
    else this.trouble.textContent = `A ${kind} does not go onto a ${face.kind}.`;
  }

  /** @param {MarkTold} mark */
  #mark(mark) {
    if (this.kind.value === "lamp on a cord" && mark.lamp) {
      const typed = { outlet: mark.id, at: mark.lamp, wiring: "unknown" };
      this.#ask({ do: "add-row", table: "device", typed });
    }
  }

  #addStrip() {
    const at = this.#listed("plan").findIndex((row) => row.id === this.#plan);
    const now = this.#parts.plan?.[at]?.strips ?? [];
    const strip = {
      on: this.where.value,
      with: this.coat.value,
      along: this.along.value,
      width: this.width.value,
    };
    this.#setStrips([...now, strip]);
  }

  /** @param {Row[]} strips */
  #setStrips(strips) {
    const at = this.#listed("plan").findIndex((row) => row.id === this.#plan);
    const parts = { strips };
    this.#ask({ do: "set-keys", table: "plan", row: at, id: this.#plan, typed: {}, parts });
  }
}
