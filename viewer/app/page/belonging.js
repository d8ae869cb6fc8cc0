// Which treatments belong on a face, and the boxes to tick for them.
import { h, short, swatch } from "./parts.js";

/** @import { Picked } from "./face.js" */

const ALIKE = { skylight: "window" }; // what is put on one serves the other

/** @param {string} kind */
const kindOf = (kind) => ALIKE[kind] ?? kind;

/**
 * Which treatments belong on a face: those that may go there and that some plan puts on such faces
 * or on none at all; those that plans put on other kinds of face only; those that may not go there.
 * `decide` has the same rule of what is on offer.
 * @param {Pick<Picked, "panel" | "scene" | "state" | "about">} picked
 * @returns {{here: string[], elsewhere: string[], never: string[]}}
 */
export function belonging({ panel, scene, state, about }) {
  /** @type {Map<string, Set<string>>} */
  const kinds = new Map();
  for (const each of scene.panels)
    for (const { treatments } of each.plans)
      for (const name of treatments)
        kinds.set(name, (kinds.get(name) ?? new Set()).add(kindOf(each.kind)));
  /** @type {{here: string[], elsewhere: string[], never: string[]}} */
  const sorted = { here: [], elsewhere: [], never: [] };
  for (const { id } of scene.treatments) {
    const only = about.only_on[id];
    const used = kinds.get(id);
    if (state.treatments.includes(id)) sorted.here.push(id);
    else if (only) (only.includes(panel.id) ? sorted.here : sorted.never).push(id);
    else if (!used || used.has(kindOf(panel.kind))) sorted.here.push(id);
    else sorted.elsewhere.push(id);
  }
  return sorted;
}

/**
 * Of some faces those where treatments may go.
 * @param {Picked} picked
 * @param {string[]} ids
 * @param {string[]} treatments
 */
export function allowed({ about }, ids, treatments) {
  return ids.filter((id) => treatments.every((name) => about.only_on[name]?.includes(id) ?? true));
}

/**
 * The treatments to tick on a face, those that belong there first.
 * @param {Picked} picked
 * @param {() => void} change
 * @returns {Array<Node | string>}
 */
export function ticksOf(picked, change) {
  const { scene, about } = picked;
  const { here, elsewhere, never } = belonging(picked);
  const styles = new Map(scene.treatments.map((each) => [each.id, each]));
  const name = (id) => about.titles[id] ?? short(id);
  const tick = (id) => {
    const style = styles.get(id);
    return h(
      "label",
      { class: "ga-tick" },
      h("input", { type: "checkbox", value: id, onchange: change }),
      style ? swatch(style) : null,
      h(
        "span",
        { class: "ga-name" },
        name(id),
        h("small", {}, about.treatments[id] ?? ""),
        h("span", { class: "ga-becomes", "data-treatment": id }),
      ),
    );
  };
  return [
    ...here.map(tick),
    elsewhere.length
      ? h(
          "details",
          {},
          h("summary", {}, `Put on other kinds of face so far (${elsewhere.length})`),
          elsewhere.map(tick),
        )
      : "",
    never.length
      ? h("p", { class: "ga-note" }, `Not meant for this face: ${never.map(name).join(", ")}.`)
      : "",
    scene.treatments.length
      ? ""
      : h("p", { class: "ga-note" }, "The job file has no treatment yet."),
  ];
}
