// Small things the pages of the app are made of: nodes, names and numbers as people read them.
export { decibels, density, hertz, shown as short } from "./words.js";

/** @import { TreatmentStyleJson } from "./scene" */

/**
 * A DOM node; properties that begin with "on" are listeners, the rest attributes.
 * @template {keyof HTMLElementTagNameMap} Tag
 * @param {Tag} tag
 * @param {Record<string, unknown>} [properties]
 * @param {...unknown} children nodes, texts, lists of them; nothing for null
 * @returns {HTMLElementTagNameMap[Tag]}
 */
export function h(tag, properties = {}, ...children) {
  const node = document.createElement(tag);
  for (const [key, value] of Object.entries(properties)) {
    if (key.startsWith("on")) {
      node.addEventListener(key.slice(2), /** @type {EventListener} */ (value));
    } else if (value === true) node.setAttribute(key, "");
    else if (value !== false && value !== null && value !== undefined) {
      node.setAttribute(key, String(value));
    }
  }
  const given = children.flat(Number.POSITIVE_INFINITY);
  node.append(.../** @type {Array<Node | string>} */ (given.filter((child) => child != null)));
  return node;
}

/**
 * A button.
 * @param {string} text
 * @param {() => void} act
 * @param {Record<string, unknown>} [more]
 */
export function pressable(text, act, more = {}) {
  return h("button", { type: "button", onclick: act, ...more }, text);
}

/**
 * A part of the page under its heading.
 * @param {string} title
 * @param {...unknown} children
 */
export function section(title, ...children) {
  return h("section", {}, h("h2", {}, title), ...children);
}

/**
 * Puts rows into a list, keeping the node of each key so that the focus stays where it is.
 * @param {HTMLElement} list
 * @param {Map<string, HTMLElement>} kept
 * @param {Array<[string, any]>} rows
 * @param {(key: string) => HTMLElement} make
 * @param {(node: any, value: any) => void} fill
 */
export function keyed(list, kept, rows, make, fill) {
  const wanted = new Set(rows.map(([key]) => key));
  for (const [key, node] of kept) {
    if (wanted.has(key)) continue;
    node.remove();
    kept.delete(key);
  }
  rows.forEach(([key, value], k) => {
    let node = kept.get(key);
    if (!node) {
      node = make(key);
      kept.set(key, node);
    }
    fill(node, value);
    if (list.children[k] !== node) list.insertBefore(node, list.children[k] ?? null);
  });
}

/**
 * A swatch that tells a treatment by letter, pattern and colour.
 * @param {TreatmentStyleJson} style
 */
export function swatch(style) {
  const bright =
    parseInt(style.colour.slice(1, 3), 16) * 0.3 +
    parseInt(style.colour.slice(3, 5), 16) * 0.59 +
    parseInt(style.colour.slice(5, 7), 16) * 0.11;
  return h(
    "span",
    {
      class: `ga-swatch ga-${style.pattern}`,
      style: `background-color:${style.colour};color:${bright > 140 ? "#1f2730" : "#ffffff"}`,
      "aria-hidden": "true",
    },
    style.letter,
  );
}
