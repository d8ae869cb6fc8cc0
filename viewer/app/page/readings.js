// Readings of the job in a list: those under the plan that is shown first, each with its verdict.
import { h } from "./parts.js";

/** @import { ReadingJson } from "./scene" */

export class ReadingsPart {
  list = h("ul", { class: "ga-free" });
  node = h("section", { hidden: true }, h("h2", {}, "What was read"), this.list);
  #shown = "";

  /**
   * @param {ReadingJson[]} readings
   * @param {string | null} plan that is shown
   */
  show(readings, plan) {
    const now = JSON.stringify([plan, readings]);
    if (now === this.#shown) return;
    this.#shown = now;
    this.node.hidden = !readings.length;
    const here = readings.filter((each) => each.plan === plan);
    const others = readings.filter((each) => each.plan !== plan);
    this.list.replaceChildren(...[...here, ...others].map(lineOf));
  }
}

/**
 * @param {ReadingJson} reading
 */
function lineOf({ where, lines, stands }) {
  const [first, ...rest] = lines;
  const odd = stands === "not explained";
  return h(
    "li",
    {},
    h("strong", { class: odd ? "ga-worse" : "" }, odd ? `▲ ${first}` : first),
    h("small", {}, [where, ...rest].join("; ")),
  );
}
