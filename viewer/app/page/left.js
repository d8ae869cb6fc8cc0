// The left column: plans, the receiver and its place, sources.
import { PlanList, SourceList } from "./lists.js";
import { h, pressable, section, short } from "./parts.js";
import { placeOf } from "./place.js";

/** @import { Asked, TroubleTold } from "./protocol" */
/** @import { SceneJson } from "./scene" */

/**
 * @typedef {object} LeftActs
 * @property {(id: string) => void} choose a plan
 * @property {(id: string, on: boolean) => void} beside
 * @property {(id: string, on: boolean) => void} turn a source
 * @property {(index: number) => void} receiver
 * @property {(id: string | null, how: "copy" | "extension") => void} newPlan
 * @property {() => void} compare
 */

/** @type {Array<["copy" | "extension", string]>} */
const WAYS = [
  ["copy", "a copy that stands on its own"],
  ["extension", "an extension: it follows later changes of this one"],
];

export class LeftColumn {
  planName = h("input", {
    type: "text",
    autocomplete: "off",
    "aria-label": "Name of the new plan",
    placeholder: "name, if you like",
  });

  planTrouble = h("p", { class: "ga-trouble", role: "alert" });

  ways = WAYS.map(([value, text], k) =>
    h(
      "label",
      { class: "ga-tick" },
      h("input", { type: "radio", name: "ga-how", value, checked: k === 0 }),
      h("span", { class: "ga-name" }, text),
    ),
  );

  /** @returns {"copy" | "extension"} */
  #how() {
    const [, extension] = this.ways.map((way) => way.querySelector("input"));
    return extension?.checked ? "extension" : "copy";
  }

  /**
   * @param {(asked: Asked) => void} send
   * @param {LeftActs} act
   */
  constructor(send, act) {
    this.plans = new PlanList({ choose: act.choose, beside: act.beside });
    this.sources = new SourceList(act.turn);
    this.receiverPick = h("select", {
      "aria-label": "Receiver",
      onchange: () => act.receiver(this.receiverPick.selectedIndex),
    });
    const submit = (event) => {
      event.preventDefault();
      this.planTrouble.textContent = "";
      act.newPlan(this.planName.value.trim() || null, this.#how());
    };
    this.planName.addEventListener("input", () => {
      this.planTrouble.textContent = "";
    });
    const planForm = h(
      "form",
      { class: "ga-new", onsubmit: submit },
      this.planName,
      this.planTrouble,
      h("fieldset", { class: "ga-how" }, h("legend", {}, "It begins as this plan"), this.ways),
      h("button", { type: "submit" }, "New plan from this one"),
    );
    const compare = pressable("Compare in a table", act.compare, { class: "ga-compare" });
    const placeBox = h("div", {});
    this.place = placeOf(placeBox, send);
    this.node = h(
      "div",
      { class: "ga-left" },
      section("Plans", this.plans.node, compare, planForm),
      section("Where it matters", this.receiverPick, placeBox),
      section("Sources", this.sources.node),
    );
  }

  /** The plan was made: its name stands in the list now. */
  made() {
    this.planName.value = "";
    this.planTrouble.textContent = "";
  }

  /** @param {TroubleTold} told what is wrong with a place or a plan's name */
  trouble({ at, field, message }) {
    if (at === "place") return this.place.trouble(message, field);
    this.planTrouble.textContent = message;
    this.planName.focus();
  }

  /**
   * @param {SceneJson} scene
   * @param {number} chosen
   */
  showReceivers(scene, chosen) {
    const rooms = new Map(scene.spaces.map((each) => [each.id, each.title]));
    const words = scene.receivers.map(
      ({ title, space }) => `${short(title)} in ${short(rooms.get(space) ?? space)}`,
    );
    this.receiverPick.replaceChildren(...words.map((each) => h("option", {}, each)));
    this.receiverPick.selectedIndex = chosen;
  }
}
