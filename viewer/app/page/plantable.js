// Plans side by side: level, against outside and today, gaps, area and money.
import { againstSaid, levels } from "./answer.js";
import { density, h, pressable, short } from "./parts.js";
import { area } from "./words.js";

/** @import { BillTold } from "./protocol" */
/** @import { PlanJson, SceneJson } from "./scene" */
/** @import { Looking } from "./looking.js" */

const HEADS = ["plan", "level", "against outside", "against today", "gaps", "treated", "cost"];

/**
 * @param {SceneJson} scene
 * @param {Looking} looking
 * @param {Record<string, BillTold>} bills
 * @param {(id: string) => void} choose a plan to work on
 */
export function planTable(scene, looking, bills, choose) {
  const who = scene.receivers[looking.receiver]?.title ?? "";
  const head = HEADS.map((each) => h("th", { scope: "col" }, each));
  return h(
    "div",
    { class: "ga-scroll", tabindex: "0" },
    h(
      "table",
      { class: "ga-table ga-plantable" },
      h("caption", {}, `At ${short(who)}; ranges hold eight times in ten`),
      h("thead", {}, h("tr", {}, head)),
      h(
        "tbody",
        {},
        scene.plans.map((plan) => row(scene, looking, plan, bills[plan.id], choose)),
      ),
    ),
  );
}

function row(scene, looking, plan, bill, choose) {
  const name = pressable(short(plan.title), () => choose(plan.id), { class: "ga-link" });
  const head = h("th", { scope: "row" }, name, plan.id === looking.plan ? " (shown)" : "");
  const cells = cellsOf(scene, looking, plan, bill).map(([text, small], k) =>
    h("td", { "data-says": HEADS[k + 1] }, text, small ? h("small", {}, small) : null),
  );
  return h("tr", {}, head, cells);
}

/**
 * What stands in a plan's row, each with what is said below it.
 * @param {Pick<SceneJson, "feet">} scene
 * @param {Pick<Looking, "receiver" | "silent">} looking
 * @param {PlanJson} plan
 * @param {BillTold | undefined} bill
 * @returns {Array<[string, string]>}
 */
export function cellsOf(scene, { receiver, silent }, plan, bill) {
  const numbers = plan.receivers[receiver];
  const treated = Object.values(plan.treated_area_m2).reduce((sum, each) => sum + each, 0);
  /** @type {Array<[string, string]>} */
  const money = [
    [treated ? area(scene, treated) : "nothing", ""],
    [bill?.total ?? "no price", bill?.unpriced.length ? `without ${bill.unpriced.join(", ")}` : ""],
  ];
  if (!numbers) return [["not worked out yet", ""], ["", ""], ["", ""], ["", ""], ...money];
  const found = levels(numbers, silent);
  const range =
    found.low === null || found.high === null
      ? ""
      : `${density(found.low)} to ${density(found.high)}`;
  return [
    found.even ? ["no source stated", ""] : [density(found.inside), range],
    [againstSaid(found.reduction), ""],
    [againstSaid(found.belowAsBuilt), found.worse ? "▲ worse than today" : ""],
    [String(numbers.gaps.length), ""],
    ...money,
  ];
}
