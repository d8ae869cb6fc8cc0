// Fields of a form that is made from the schema: plain values, choices, and what stands in brackets.
import { h, pressable } from "./parts.js";

/** @import { FieldTrouble, KeyTold, PartsTold } from "./protocol" */

/** @typedef {HTMLInputElement | HTMLSelectElement} Input */
/** @typedef {Record<string, string>} Row */
/** @typedef {(key: string) => string[]} Names names of a list, to choose a value from */

/**
 * One key's field. `read` gives what is typed: a text, or rows of texts for what is in brackets.
 * @typedef {object} Field
 * @property {KeyTold} key
 * @property {HTMLElement} node
 * @property {() => string | Row[]} read
 * @property {(typed: string, parts: Row[]) => void} write
 * @property {(trouble: FieldTrouble) => void} trouble
 * @property {() => void} clear
 * @property {() => void} focus
 */

let serial = 0;

/** @param {string} key */
export function wordsOf(key) {
  return key.replaceAll("-", " ");
}

/**
 * @param {KeyTold} key
 * @param {Names} names
 * @param {() => void} changed
 * @returns {Field}
 */
export function fieldOf(key, names, changed) {
  return key.parts ? partsField(key, key.parts, names, changed) : plainField(key, names, changed);
}

/**
 * A label, an input and what is said of it.
 * @param {KeyTold} key
 * @param {Names} names
 * @param {() => void} changed
 * @param {string} [word] what it is called
 * @returns {Field & {input: Input}}
 */
function plainField(key, names, changed, word = wordsOf(key.key)) {
  serial += 1;
  const id = `ga-k${serial}`;
  const input = inputOf(key, id, names);
  input.setAttribute("aria-describedby", `${id}-t ${id}-s`);
  const trouble = h("p", { class: "ga-trouble", id: `${id}-t` });
  const plain = key.said.replaceAll(/\[\[?([\w-]+)\]\]?/g, "$1"); // the form knows no tables of the file
  const help = [plain, key.example && `such as ${key.example}`].filter(Boolean).join("; ");
  const listed = key.names && input instanceof HTMLInputElement ? names(key.names) : [];
  const node = h(
    "div",
    { class: "ga-field" },
    h("label", { for: id }, word),
    input,
    listed.length
      ? h(
          "datalist",
          { id: `${id}-l` },
          listed.map((value) => h("option", { value })),
        )
      : null,
    trouble,
    h("small", { id: `${id}-s` }, help),
  );
  const clear = () => {
    trouble.textContent = "";
    input.removeAttribute("aria-invalid");
  };
  input.addEventListener("input", clear);
  input.addEventListener("change", changed);
  return {
    key,
    input,
    node,
    clear,
    read: () => input.value,
    write(typed) {
      if (input instanceof HTMLSelectElement) admit(input, typed);
      input.value = typed;
      clear();
    },
    trouble({ message }) {
      trouble.textContent = message;
      input.setAttribute("aria-invalid", "true");
    },
    focus: () => input.focus(),
  };
}

/**
 * What stands there may be no longer among the choices, and is shown all the same.
 * @param {HTMLSelectElement} select
 * @param {string} value
 */
function admit(select, value) {
  if (![...select.options].some((each) => each.value === value)) {
    select.append(h("option", { value }, value));
  }
}

/**
 * @param {KeyTold} key
 * @param {string} id
 * @param {Names} names
 * @returns {Input}
 */
function inputOf(key, id, names) {
  if (key.kind === "choice" || key.kind === "truth") {
    const choices = key.kind === "truth" ? ["true", "false"] : key.choices;
    const options = choices.map((value) => h("option", { value }, wordsOf(value)));
    return h("select", { id }, h("option", { value: "" }, "not said"), options);
  }
  const listed = key.names ? names(key.names) : [];
  if (key.closed) {
    const options = listed.map((value) => h("option", { value }, value));
    return h("select", { id }, h("option", { value: "" }, "not said"), options);
  }
  const list = listed.length ? `${id}-l` : null;
  return h("input", { id, type: "text", autocomplete: "off", spellcheck: "false", list });
}

/** @typedef {{fields: Map<string, Field>, node: HTMLElement}} Part */

/**
 * What stands in brackets, part by part: layers, what a plan treats, states of openings.
 * @param {KeyTold} key
 * @param {PartsTold} parts
 * @param {Names} names
 * @param {() => void} changed
 * @returns {Field}
 */
function partsField(key, parts, names, changed) {
  const several = parts.shape !== "table";
  const list = h("ol", { class: "ga-parts" });
  const trouble = h("p", { class: "ga-trouble", role: "alert" });
  const strip = h("div", { class: "ga-strip", "aria-hidden": "true" });
  const add = pressable(addWord(key, parts), () => {
    const part = make({});
    draw();
    part.fields.values().next().value?.focus();
  });
  const node = h(
    "fieldset",
    { class: "ga-field ga-partsfield" },
    h("legend", {}, wordsOf(key.key)),
    key.said ? h("small", {}, key.said.replaceAll(/\[\[?([\w-]+)\]\]?/g, "$1")) : null,
    key.key === "layers" ? strip : null,
    list,
    trouble,
    several ? add : null,
  );
  /** @type {Part[]} */
  let made = [];
  let told = "";

  /** @param {Row} row */
  function make(row) {
    const fields = new Map(
      parts.keys.map((each) => {
        const field = plainField(each, names, touched, PART_WORDS[key.key]?.[each.key]);
        if (parts.alone && each.key === "name") sayEverywhere(field.input, key.key);
        return [each.key, field];
      }),
    );
    for (const [name, field] of fields) field.write(row[name] ?? "", []);
    /** @type {Part} */
    const part = { fields, node: h("li", {}) };
    part.node.append(
      h(
        "div",
        { class: "ga-partkeys" },
        [...fields.values()].map((f) => f.node),
      ),
    );
    if (several) {
      part.node.append(
        h(
          "div",
          { class: "ga-partdo" },
          parts.shape === "tables" ? pressable("Earlier", () => shift(part, -1)) : null,
          parts.shape === "tables" ? pressable("Later", () => shift(part, 1)) : null,
          pressable("Take away", () => drop(part)),
        ),
      );
    }
    made.push(part);
    return part;
  }

  function draw() {
    list.replaceChildren(...made.map((part) => part.node));
    if (key.key === "layers") drawLayers(strip, read());
  }

  function touched() {
    trouble.textContent = "";
    if (key.key === "layers") drawLayers(strip, read());
    if (made.every(whole)) changed(); // half a row would only be refused
  }

  /** Whether a row says nothing yet, or all that it must. */
  function whole({ fields }) {
    const said = (name) => Boolean(fields.get(name)?.read().trim());
    const must = parts.keys.filter((each) => each.needed && !(parts.alone && each.key === "name"));
    return ![...fields.keys()].some(said) || must.every((each) => said(each.key));
  }

  /** @param {Part} part */
  function drop(part) {
    made = made.filter((each) => each !== part);
    draw();
    touched();
  }

  /**
   * @param {Part} part
   * @param {number} by
   */
  function shift(part, by) {
    const at = made.indexOf(part);
    const to = at + by;
    if (to < 0 || to >= made.length) return;
    made.splice(at, 1);
    made.splice(to, 0, part);
    draw();
    touched();
  }

  /** @returns {Row[]} rows that say something */
  function read() {
    return made
      .map(({ fields }) =>
        Object.fromEntries(
          [...fields].flatMap(([name, field]) => {
            const value = /** @type {string} */ (field.read()).trim();
            return value ? [[name, value]] : [];
          }),
        ),
      )
      .filter((row) => Object.keys(row).length > 0);
  }

  return {
    key,
    node,
    read,
    write(_, rows) {
      const now = JSON.stringify(rows);
      if (now === told && now === JSON.stringify(read())) return; // keeps the focus where it is
      told = now;
      if (now !== JSON.stringify(read()) || !made.length) {
        made = [];
        for (const row of rows) make(row);
        if ((!several || parts.alone) && !made.length) make({});
      }
      trouble.textContent = "";
      draw();
    },
    trouble({ part, inner, message }) {
      const field = made[several ? (part ?? -1) : 0]?.fields.get(inner);
      if (field) field.trouble({ key: inner, part: null, inner: "", message });
      else trouble.textContent = message;
    },
    clear() {
      trouble.textContent = "";
      for (const { fields } of made) for (const field of fields.values()) field.clear();
    },
    focus: () => (made[0]?.fields.values().next().value ?? { focus: () => add.focus() }).focus(),
  };
}

// What names and values in brackets are called.
const PART_WORDS = {
  loss: { name: "frequency", value: "loss" },
  level: { name: "storey", value: "level" },
  states: { name: "opening", value: "state" },
  rates: { name: "trade", value: "rate" },
  materials: { name: "in the model", value: "material" },
  hollow: { name: "outline" },
  parts: { name: "assembly" },
  spaces: { name: "room" },
  cord: { name: "corner" },
};

/**
 * What an empty name of a value means: the one value for all.
 * @param {Input} input
 * @param {string} key
 */
function sayEverywhere(input, key) {
  const words = key === "loss" ? "at every frequency" : "on every storey";
  if (input instanceof HTMLSelectElement) input.options[0].text = words;
  else input.placeholder = words;
}

/**
 * @param {KeyTold} key
 * @param {PartsTold} parts
 */
function addWord(key, parts) {
  const words = { layers: "Add a layer", treat: "Add faces", packs: "Add a pack" };
  const plain = parts.shape === "map" ? "Add a value" : "Add one";
  return words[key.key] ?? plain;
}

const HATCHES = ["#c9b79a", "#e9e2d3", "#9aa7a0", "#d8c3b0", "#b8b1c2", "#a9bccb"];

/**
 * Layers from inside to outside as wide as they are, drawn side by side.
 * @param {HTMLElement} node
 * @param {Row[]} rows
 */
export function drawLayers(node, rows) {
  const widths = rows.map((row) => (row.thickness ? roughly(row.thickness) : 0.2));
  const total = widths.reduce((sum, each) => sum + each, 0);
  const kinds = [...new Set(rows.map((row) => row.material ?? "sheet"))];
  node.hidden = !rows.length || !total;
  node.replaceChildren(
    h("small", {}, "inside"),
    ...rows.map((row, k) => {
      const kind = row.material ?? "sheet";
      const air = kind === "air" || kind === "vacuum";
      const colour = air ? "transparent" : HATCHES[kinds.indexOf(kind) % HATCHES.length];
      const grow = Math.max(widths[k] / total, 0.02).toFixed(4);
      return h("i", {
        style: `flex-grow:${grow};background:${colour}`,
        title: `${kind} ${row.thickness ?? ""}`,
      });
    }),
    h("small", {}, "outside"),
  );
}

/** A thickness in millimetres, near enough to draw it. */
function roughly(text) {
  const number = Number.parseFloat(text) || 0;
  const inches = /in|"/.test(text)
    ? /\d+\s+\d+\/\d+|^\s*\d+\/\d+/.test(text)
      ? fraction(text)
      : number
    : 0;
  if (inches) return 25.4 * inches;
  if (/mm/.test(text)) return number;
  if (/cm/.test(text)) return 10 * number;
  return /m/.test(text) ? 1000 * number : number;
}

/** A whole number and a fraction, or a fraction alone. */
function fraction(text) {
  const found = text.match(/(?:(\d+)\s+)?(\d+)\/(\d+)/);
  return found ? Number(found[1] ?? 0) + Number(found[2]) / Number(found[3]) : 0;
}
