// Lists of the page: plans, sources, and the faces that let in, each row kept with its node.
import { inShort } from "./answer.js";
import { h, hertz, keyed, pressable, short } from "./parts.js";
import { panelName, percent } from "./words.js";

/** @import { LeakJson, NumbersJson, PanelJson, PlanJson, SceneJson, SourceJson } from "./scene" */
/** @import { Looking } from "./looking.js" */

const ROWS_AT_MOST = 40;
const ORDER =
  "Click a face to treat it. First those whose treatment brings half a decibel or more, then the rest by how much of the level comes in there (bars).";

/** Plans, the one that is worked on pressed, the others to be shown beside it. */
export class PlanList {
  node = h("ul", { class: "ga-plans" });
  /** @type {Map<string, HTMLElement>} */
  #rows = new Map();
  /** @type {Map<string, string>} what was last worked out, by receiver and plan */
  #known = new Map();

  /** @param {{choose: (id: string) => void, beside: (id: string, on: boolean) => void}} act */
  constructor(act) {
    this.act = act;
  }

  /**
   * @param {SceneJson} scene
   * @param {Looking} looking
   */
  show(scene, looking) {
    /** @type {Array<[string, [PlanJson, NumbersJson | null]]>} */
    const rows = scene.plans.map((plan) => [
      plan.id,
      [plan, plan.receivers[looking.receiver] ?? null],
    ]);
    const fill = (node, value) => this.#fill(node, value, looking);
    keyed(this.node, this.#rows, rows, (id) => this.#make(id), fill);
  }

  /** @param {string} id */
  #make(id) {
    const choose = pressable("", () => this.act.choose(id), { class: "ga-plan-pick" });
    const box = h("input", {
      type: "checkbox",
      onchange: () => this.act.beside(id, box.checked),
    });
    return h("li", {}, choose, h("label", { class: "ga-beside" }, box, "beside"));
  }

  #fill(node, [plan, numbers], looking) {
    const [choose, tick] = node.children;
    const now = plan.id === looking.plan;
    const key = `${looking.receiver}\n${plan.id}`;
    if (numbers) this.#known.set(key, inShort(numbers, looking.silent));
    const before = this.#known.get(key);
    const words = numbers || !before ? (before ?? "not worked out yet") : `before: ${before}`;
    choose.replaceChildren(h("strong", {}, short(plan.title)), h("span", {}, words));
    choose.classList.toggle("ga-old", !numbers);
    choose.setAttribute("aria-pressed", String(now));
    tick.hidden = now;
    tick.firstChild.checked = looking.plans.includes(plan.id);
    tick.firstChild.setAttribute("aria-label", `Show ${short(plan.title)} beside`);
  }
}

/** Sources, to be turned off and on. */
export class SourceList {
  node = h("ul", { class: "ga-sources" });
  /** @type {Map<string, HTMLElement>} */
  #rows = new Map();
  #none = h("li", { class: "ga-note" }, "none in the file");

  /** @param {(id: string, on: boolean) => void} turn */
  constructor(turn) {
    this.turn = turn;
  }

  /**
   * @param {SceneJson} scene
   * @param {Looking} looking
   */
  show(scene, looking) {
    /** @type {Array<[string, SourceJson]>} */
    const rows = scene.sources.map((source) => [source.id, source]);
    keyed(
      this.node,
      this.#rows,
      rows,
      (id) => this.#make(id),
      (node, source) => {
        node.querySelector("input").checked = !looking.silent.has(source.id);
        const bands = [...new Set(source.frequency_hz.map(hertz))].join(" to ");
        node.querySelector("span").replaceChildren(short(source.label), h("small", {}, bands));
      },
    );
    if (rows.length) this.#none.remove();
    else this.node.append(this.#none);
  }

  /** @param {string} id */
  #make(id) {
    const box = h("input", {
      type: "checkbox",
      checked: true,
      onchange: () => this.turn(id, box.checked),
    });
    return h("li", {}, h("label", { class: "ga-tick" }, box, h("span", { class: "ga-name" })));
  }
}

/** Faces that let something in, the most first. */
export class GapList {
  head = h("h2", {});
  note = h("p", { class: "ga-note" });
  node = h("ol", { class: "ga-gaps" });
  /** @type {Map<string, HTMLElement>} */
  #rows = new Map();

  /** @param {{pick: (id: string) => void, hover: (id: string | null) => void}} act */
  constructor(act) {
    this.act = act;
  }

  /**
   * @param {SceneJson} scene
   * @param {Looking} looking
   * @param {number} column of the plan
   */
  show(scene, looking, column) {
    const leaks = leaksOf(scene, column, looking.receiver);
    const gaps = leaks.filter(({ leak }) => leak.is_gap).length;
    const count = leaks.length ? ` (${gaps} ${gaps === 1 ? "gap" : "gaps"})` : "";
    this.head.textContent = `What to treat next${count}`;
    this.note.textContent = leaks.length ? ORDER : "";
    /** @type {Array<[string, {panel: PanelJson, leak: LeakJson}]>} */
    const rows = leaks.slice(0, ROWS_AT_MOST).map((each) => [each.panel.id, each]);
    const fill = (node, value) => this.#fill(node, value, scene, looking);
    keyed(this.node, this.#rows, rows, (id) => this.#make(id), fill);
  }

  /** @param {string} id */
  #make(id) {
    const row = pressable("", () => this.act.pick(id), { class: "ga-gap" });
    for (const [name, now] of Object.entries({
      mouseenter: id,
      mouseleave: null,
      focus: id,
      blur: null,
    })) {
      row.addEventListener(name, () => this.act.hover(now));
    }
    return h("li", {}, row);
  }

  #fill(node, { panel, leak }, scene, looking) {
    const row = node.firstChild;
    const width = Math.max(100 * leak.share, 0.5).toFixed(2);
    node.classList.toggle("ga-isgap", leak.is_gap);
    row.setAttribute("aria-pressed", String(panel.id === looking.picked));
    row.replaceChildren(
      h("span", { class: "ga-gap-name" }, short(panelName(scene, panel, looking.receiver))),
      h("b", {}, percent(leak.share)),
      h("span", { class: "ga-track", "aria-hidden": "true" }, h("i", { style: `width:${width}%` })),
      h("small", {}, `${leak.is_gap ? "gap · " : ""}${leak.trial}`),
    );
  }

  /** @param {string | null} id */
  heat(id) {
    for (const [key, node] of this.#rows) node.classList.toggle("ga-hot", key === id);
  }
}

/**
 * Faces that bring something to a receiver under a plan, and gaps that bring nothing yet: treating
 * those changes the level too. The one first whose treatment helps most.
 * @param {SceneJson} scene
 * @param {number} column
 * @param {number} receiver
 * @returns {Array<{panel: PanelJson, leak: LeakJson}>}
 */
export function leaksOf(scene, column, receiver) {
  return scene.panels
    .flatMap((panel) => {
      const leak = panel.plans[column]?.leaks[receiver];
      return leak && (leak.share > 0 || leak.is_gap) ? [{ panel, leak }] : [];
    })
    .sort((a, b) => a.leak.rank - b.leak.rank);
}
