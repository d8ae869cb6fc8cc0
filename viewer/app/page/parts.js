// Small things the pages of the app are made of: nodes, names and numbers as people read them.
export { decibels, density, shown as short } from "./words.js";

/** A DOM node; properties that begin with "on" are listeners, the rest attributes. */
export function h(tag, properties = {}, ...children) {
  const node = document.createElement(tag);
  for (const [key, value] of Object.entries(properties)) {
    if (key.startsWith("on")) node.addEventListener(key.slice(2), value);
    else if (value === true) node.setAttribute(key, "");
    else if (value !== false && value !== null && value !== undefined)
      node.setAttribute(key, value);
  }
  node.append(...children.flat(Infinity).filter((child) => child !== null && child !== undefined));
  return node;
}

export function steradians(value) {
  if (value === null || value === undefined) return "–";
  if (value === 0) return "0 sr";
  if (value < 0.001) return "< 0.001 sr";
  return `${value.toFixed(value >= 0.1 ? 2 : 3)} sr`;
}

export function hertz(value) {
  for (const [size, unit] of [
    [1e9, "GHz"],
    [1e6, "MHz"],
    [1e3, "kHz"],
  ]) {
    if (value >= size) return `${+(value / size).toPrecision(4)} ${unit}`;
  }
  return `${value} Hz`;
}

/** Puts rows into a list, keeping the node of each key so that the focus stays where it is. */
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

/** A swatch that tells a treatment by letter, pattern and colour. */
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
