// What to do first: free measures, then steps in the order in which they can be bought, each to be tried out.
import { h, pressable } from "./parts.js";
import { plotOf } from "./plot.js";

/** @import { Asked, StepTold, StepsTold, TriedTold } from "./protocol" */

const WAIT = "Working out what to do first. In a house this takes some ten seconds …";

export class StepsPart {
  /** @type {StepsTold | null} */
  #told = null;
  /** @type {number | null} step that is tried out */
  #tried = null;
  #note = "";
  #asked = false;

  /**
   * @param {(asked: Asked) => void} ask
   * @param {() => string | null} receiver that the page shows
   */
  constructor(ask, receiver) {
    this.ask = ask;
    this.receiver = receiver;
    this.all = h("input", { type: "checkbox", onchange: () => this.look() });
    this.body = h("div", { class: "ga-steps" });
    this.node = h(
      "div",
      {},
      h("h2", {}, "What to do first"),
      h(
        "label",
        { class: "ga-tick" },
        this.all,
        h("span", { class: "ga-name" }, "count every place, the worst first"),
      ),
      this.body,
    );
  }

  /** Ask for the sequence. */
  look() {
    this.#told = null;
    this.#asked = true;
    this.body.replaceChildren(h("p", { class: "ga-note", role: "status" }, WAIT));
    this.ask({ do: "steps", receiver: this.#of() });
  }

  /** The job has changed: what stands here is of before. */
  old() {
    if (!this.#asked) return;
    this.#asked = false;
    this.#tried = null;
    this.#told = null;
    this.body.replaceChildren(
      h("p", { class: "ga-note" }, "The job has changed since."),
      pressable("Work it out again", () => this.look()),
    );
  }

  /** Whether the sequence of what the page shows is there or on its way. */
  get fresh() {
    return this.#asked && (this.#told === null || this.#told.receiver === this.#of());
  }

  /** @param {number} number */
  #try(number) {
    this.ask({ do: "try-step", receiver: this.#of(), number });
  }

  #of() {
    return this.all.checked ? null : this.receiver();
  }

  /** @param {StepsTold} told */
  show(told) {
    if (told.receiver !== this.#of()) return;
    this.#told = told;
    this.#render();
  }

  /** @param {TriedTold | null} told */
  tried(told) {
    this.#tried = told?.number ?? null;
    this.#note = told?.note ?? "";
    this.#render();
  }

  #render() {
    const told = this.#told;
    if (!told) return;
    if (told.trouble !== null) {
      this.body.replaceChildren(h("p", { class: "ga-trouble" }, `${told.trouble}.`));
      return;
    }
    const none = !told.first.length && !told.then.length && !told.rest.length;
    this.body.replaceChildren(
      h(
        "p",
        {},
        `Today at ${told.of}: `,
        h("strong", {}, told.today),
        ". A click on a step shows the room with everything up to it.",
      ),
      told.plot ? plotOf(told.plot, this.#tried, (number) => this.#try(number)) : "",
      ...this.#free(told),
      none ? h("p", {}, "Nothing on offer lowers the level.") : "",
      ...this.#group("Do first", told.first),
      ...this.#group("Then, as far as the money goes", told.then),
      told.stop ? h("p", { class: "ga-stop" }, told.stop) : "",
      ...this.#group("Not worth its money", told.rest),
      ...list("Not by itself: it makes the room worse", told.worse),
      ...list("These figures rest on", told.rests),
      ...told.notes.map((each) => h("p", { class: "ga-note" }, each)),
    );
  }

  /** @param {StepsTold} told */
  #free({ free }) {
    if (!free.length) return [];
    const items = free.map(({ words, change, agreed }) =>
      h("li", {}, h("span", {}, words), h("small", {}, `${change}; ${agreed}`)),
    );
    return [h("h3", {}, "Costs nothing"), h("ul", { class: "ga-free" }, items)];
  }

  /**
   * @param {string} title
   * @param {StepTold[]} steps
   */
  #group(title, steps) {
    if (!steps.length) return [];
    return [
      h("h3", {}, title),
      h(
        "ol",
        { class: "ga-steplist" },
        steps.map((step) => this.#step(step)),
      ),
    ];
  }

  /** @param {StepTold} step */
  #step(step) {
    const now = step.number === this.#tried;
    const width = (100 * Math.min(step.share, 1)).toFixed(2);
    const row = pressable("", () => this.#try(step.number), {
      class: "ga-step",
      "aria-pressed": String(now),
    });
    row.append(
      h("b", { class: "ga-stepnumber" }, String(step.number)),
      h(
        "span",
        { class: "ga-gap-name" },
        ...step.does.map((each) => h("span", { class: "ga-does" }, each)),
      ),
      h(
        "span",
        { class: "ga-track", title: "left of today's level" },
        h("i", { style: `width:${width}%` }),
      ),
      h("span", { class: "ga-left-after" }, h("strong", {}, step.level), " left after it"),
      h("small", {}, `this step: ${step.change} · ${step.cost}, ${step.total} so far`),
      step.warns ? h("small", { class: "ga-worse" }, `▲ ${step.warns}`) : "",
    );
    return h("li", {}, row, now ? this.#keep(step) : null);
  }

  /** @param {StepTold} step */
  #keep(step) {
    const title = h("input", {
      type: "text",
      "aria-label": "Title of the plan",
      value: `Up to step ${step.number}`,
    });
    return h(
      "form",
      {
        class: "ga-keep",
        onsubmit: (event) => {
          event.preventDefault();
          this.ask({ do: "keep-step", title: title.value });
        },
      },
      h("p", { class: "ga-note" }, `Tried out in the picture; not in the file. ${this.#note}`),
      title,
      h("button", { type: "submit" }, "Keep it as a plan"),
    );
  }
}

/**
 * @param {string} title
 * @param {string[]} lines
 */
function list(title, lines) {
  if (!lines.length) return [];
  return [
    h("h3", {}, title),
    h(
      "ul",
      { class: "ga-free" },
      lines.map((each) => h("li", {}, each)),
    ),
  ];
}
