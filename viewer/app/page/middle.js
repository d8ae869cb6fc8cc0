// The middle column: the answer, what is coloured and drawn, the pictures, the key to the colours.
import { fillLegend, sentence } from "./answer.js";
import { storeyChoices } from "./notices.js";
import { h, pressable } from "./parts.js";

/** @import { Asked, FieldTold, Status } from "./protocol" */
/** @import { NumbersJson, ReceiverJson, SceneJson } from "./scene" */
/** @import { Hint } from "./hints.js" */
/** @import { Looking } from "./looking.js" */
/** @import { StoreyChoice, ViewState } from "./types" */

/** @type {Array<[ViewState["mode"], string]>} */
const MODES = [
  ["let-in", "what gets in"],
  ["loss", "loss"],
  ["treatment", "treatment"],
  ["wiring", "cables"],
];
const CAUTION =
  "Predictions are estimates; a meter decides. Rays that meet the ground near the building count as blocked: a convention, not physics.";

export class MiddleColumn {
  answer = h("p", { class: "ga-answer", "aria-live": "polite" });
  hint = h("p", { class: "ga-hint", hidden: true });
  field = h("p", { class: "ga-volts", "aria-live": "polite", hidden: true });
  stage = h("div", { class: "ga-stage" });
  legend = h("div", { class: "ga-legend" });
  progress = h("progress", { max: 1, value: 0, "aria-label": "Casting rays" });
  storeyPick = h("select", { "aria-label": "Storeys" });
  /** @type {HTMLElement | null} the way of colouring that only a job with wiring has */
  cables = null;
  #hinted = "";
  /** @type {{of: string, said: Array<Node | string>}} what was last worked out, of which receiver and plan */
  #known = { of: "", said: [] };

  /**
   * @param {(asked: Asked) => void} send
   * @param {Looking} looking
   * @param {(change: Partial<Pick<Looking, "mode" | "beams" | "storeys" | "showReadings">>) => void} change
   */
  constructor(send, looking, change) {
    this.send = send;
    this.looking = looking;
    this.casting = h(
      "div",
      { class: "ga-casting", hidden: true },
      h("span", {}, "Casting rays"),
      this.progress,
      pressable("Stop", () => send({ do: "halt" })),
    );
    this.storeyPick.addEventListener("change", () =>
      change({ storeys: JSON.parse(this.storeyPick.value) }),
    );
    const mode = ([value, text]) => {
      const checked = value === looking.mode;
      const onchange = () => change({ mode: value });
      const label = h(
        "label",
        {},
        h("input", { type: "radio", name: "ga-mode", value, checked, onchange }),
        text,
      );
      if (value === "wiring") this.cables = label;
      return label;
    };
    const beams = h("input", {
      type: "checkbox",
      checked: true,
      onchange: () => change({ beams: beams.checked }),
    });
    const readings = h("input", {
      type: "checkbox",
      checked: true,
      onchange: () => change({ showReadings: readings.checked }),
    });
    this.readings = h("label", { hidden: true }, readings, "readings");
    const group = { class: "ga-modes", role: "radiogroup", "aria-label": "Colour faces by" };
    const head = h("span", { "aria-hidden": "true" }, "Colour by");
    const bar = h(
      "div",
      { class: "ga-bar" },
      h("div", group, head, MODES.map(mode)),
      h("label", {}, beams, "beams"),
      this.readings,
      h("label", {}, "show ", this.storeyPick),
    );
    this.node = h(
      "div",
      { class: "ga-middle" },
      this.answer,
      this.hint,
      this.field,
      bar,
      this.stage,
      this.casting,
      this.legend,
      h("p", { class: "ga-caution" }, CAUTION),
    );
  }

  /**
   * @param {SceneJson} scene
   * @param {NumbersJson | null} numbers
   * @param {ReceiverJson | undefined} who
   * @param {Status | null} status
   */
  showAnswer(scene, numbers, who, status) {
    const { answer } = this;
    const of = `${who?.id}\n${this.looking.plan}`;
    answer.classList.toggle("ga-old", !numbers);
    if (!who) {
      answer.replaceChildren(
        "Nobody sleeps here yet: say where the pillow is, in Everything, Receivers.",
      );
    } else if (numbers) {
      this.#known = { of, said: sentence(scene, numbers, who, this.looking.silent) };
      answer.replaceChildren(...this.#known.said);
    } else if (this.#known.of === of && status && !status.stopped) {
      // old figures stay, shown as old, until the new ones are there
      answer.replaceChildren(h("em", {}, "Before the change: "), ...this.#known.said);
    } else if (status?.stopped && status.casting === null) {
      const again = pressable("Cast now", () => this.send({ do: "cast" }));
      answer.replaceChildren("Nothing has been cast yet. ", again);
    } else {
      answer.replaceChildren("Working it out …");
    }
  }

  /**
   * One line on what to do next, if anything.
   * @param {Hint | null} hint
   * @param {(act: Hint["act"]) => void} act
   */
  showHint(hint, act) {
    this.hint.hidden = hint === null;
    if (!hint || hint.words === this.#hinted) return;
    this.#hinted = hint.words;
    const button = pressable(hint.button, () => act(hint.act), { class: "ga-link" });
    this.hint.replaceChildren(`${hint.words} `, button);
  }

  /**
   * The field of the house wiring; old figures are shown as old.
   * @param {FieldTold | null} told
   * @param {string | null} plan
   * @param {string | null} receiver
   */
  showField(told, plan, receiver) {
    const { field } = this;
    field.hidden = !told || told.state === "none";
    if (!told || field.hidden) return;
    const said = told.sentences[plan ?? ""]?.[receiver ?? ""] ?? "";
    const old = told.state === "old";
    field.classList.toggle("ga-old", old);
    field.replaceChildren(
      h("b", {}, "Wiring: "),
      said,
      old ? h("em", {}, said ? ` Old: ${told.said}.` : `${told.said}.`) : "",
      told.state === "trouble" ? h("em", {}, ` ${told.said}`) : "",
    );
    field.title = told.verdict;
  }

  /**
   * @param {SceneJson} scene
   * @param {number[]} plans columns of those that are shown
   * @param {boolean} marks whether a transmitter stands in a picture
   */
  showLegend(scene, plans, marks) {
    if (this.cables) this.cables.hidden = scene.wiring === null;
    const shown = new Set(plans.map((at) => scene.plans[at]?.id));
    const read = this.looking.seenReadings.some((each) => shown.has(each.plan));
    fillLegend(this.legend, scene, { mode: this.looking.mode, plans, marks, read });
  }

  /**
   * @param {SceneJson} scene
   * @param {number} receiver
   * @param {StoreyChoice} chosen
   */
  showStoreys(scene, receiver, chosen) {
    const choices = storeyChoices(scene, receiver).map(([value, text]) =>
      h("option", { value: JSON.stringify(value) }, text),
    );
    this.storeyPick.replaceChildren(...choices);
    this.storeyPick.value = JSON.stringify(chosen);
    if (!this.storeyPick.value) this.storeyPick.selectedIndex = 0;
  }

  /** @param {boolean} any whether the job has readings */
  offerReadings(any) {
    this.readings.hidden = !any;
  }

  /** @param {number | null} share of the casting that is done */
  showProgress(share) {
    this.casting.hidden = share === null;
    if (share !== null) this.progress.value = share;
  }
}
