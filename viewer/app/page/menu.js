// The menu: what can be made of the job, other jobs, copies; one dialog over the page.
import { h, pressable, short } from "./parts.js";

/** @import { Asked, MadeTold, MenuTold, OutputTold } from "./protocol" */
/** @import { Frame } from "./frame.js" */

const GROUPS = {
  client: "For the client",
  site: "For the site",
  picture: "Pictures",
  other: "For other programs",
};

/** @typedef {{plans: Array<[string, string]>, plan: string | null, receiver: string | null}} Shown plans as id and title */

export class Menu {
  /** @type {MenuTold | null} */
  #told = null;
  /** @type {OutputTold | null} */
  #asked = null;
  /** @type {Asked | null} what was last asked to be made */
  #making = null;
  #copying = false;

  /**
   * @param {Frame} frame
   * @param {(asked: Asked) => void} ask
   * @param {() => Shown} shown what the page shows
   */
  constructor(frame, ask, shown) {
    this.frame = frame;
    this.ask = ask;
    this.shown = shown;
    this.result = h("div", { class: "ga-result", role: "status", "aria-live": "polite" });
  }

  /** @param {MenuTold} told */
  open(told) {
    this.#told = told;
    const groups = Object.entries(GROUPS).flatMap(([id, title]) => {
      const outputs = told.outputs.filter((each) => each.group === id);
      return outputs.length ? [this.#group(title, outputs)] : [];
    });
    const jobs = told.jobs.map(({ path, name, folder, recent }) =>
      h(
        "li",
        {},
        pressable(short(name, 60), () => this.#leave({ do: "open", path }), { class: "ga-link" }),
        h("small", {}, `${recent ? "open lately · " : ""}${folder}`),
      ),
    );
    const body = h(
      "div",
      { class: "ga-menu" },
      groups,
      h(
        "section",
        {},
        h("h3", {}, "This job"),
        h(
          "ul",
          {},
          this.#item("Save a copy", "under another name", () => this.#copy()),
          this.#item("Print", "what this page shows", () => this.#print()),
        ),
      ),
      h(
        "section",
        { class: "ga-menujobs" },
        h("h3", {}, "Another job"),
        h(
          "ul",
          {},
          this.#item("Begin a job", "from a tape or a model", () => this.#leave({ do: "begin" })),
          jobs,
        ),
      ),
    );
    this.frame.open("Menu", body);
  }

  #group(title, outputs) {
    const items = outputs.map((each) => this.#item(each.title, each.said, () => this.#form(each)));
    return h("section", {}, h("h3", {}, title), h("ul", {}, items));
  }

  #item(title, said, act) {
    return h("li", {}, pressable(title, act, { class: "ga-link" }), h("small", {}, said));
  }

  #print() {
    this.frame.dialog.close();
    window.print();
  }

  /** @param {Asked} asked */
  #leave(asked) {
    if (this.frame.saved) {
      this.frame.dialog.close();
      this.ask(asked);
      return;
    }
    this.frame.decide(
      "What you have changed is not saved. It is kept beside the job until you come back.",
      [
        ["Save, then go", [{ do: "save" }, asked]],
        ["Go, keep it for later", asked],
        ["Stay here", null],
      ],
    );
  }

  /** @param {OutputTold} output */
  #form(output) {
    this.#asked = output;
    const { plans, plan } = this.shown();
    const name = h("input", {
      type: "text",
      id: "ga-out-name",
      value: output.name,
      autocomplete: "off",
    });
    const pick = h(
      "select",
      { id: "ga-out-plan" },
      plans.map(([value, text]) => h("option", { value, selected: value === plan }, short(text))),
    );
    const folder = this.#folders("ga-out-folder");
    const make = (named) => {
      this.#make({
        do: "make",
        output: output.id,
        plan: output.takes_plan ? pick.value : null,
        receiver: this.shown().receiver,
        name: named ? name.value : "",
        folder: /** @type {"job" | "home"} */ (folder.value),
      });
    };
    const file = [field("name of the file", name), field("in the folder", folder)];
    const body = h(
      "form",
      { class: "ga-out", onsubmit: (event) => submitted(event, () => make(true)) },
      h(
        "p",
        {},
        `${output.said[0].toUpperCase()}${output.said.slice(1)}. Edits that are not saved are in it.`,
      ),
      output.takes_plan ? field("plan", pick) : null,
      output.text ? pressable("Show it", () => make(false), { class: "ga-main" }) : null,
      file,
      h("button", { type: "submit", class: output.text ? "" : "ga-main" }, "Write the file"),
      this.result,
    );
    this.result.replaceChildren();
    this.frame.open(output.title, body);
  }

  #folders(id) {
    const told = this.#told;
    return h(
      "select",
      { id },
      h("option", { value: "job" }, `${told?.folder} (beside the job)`),
      h("option", { value: "home" }, `${told?.home} (your own)`),
    );
  }

  /** @param {Extract<Asked, {do: "make"}>} asked */
  #make(asked) {
    this.#making = asked;
    this.result.replaceChildren("Working it out. This can take a minute …");
    this.ask(asked);
  }

  /** @param {MadeTold} told */
  made({ output, file, address, text, trouble, exists }) {
    if (output !== this.#asked?.id) return;
    const { result } = this;
    if (trouble !== null) {
      const asked = this.#making;
      const again = () => asked?.do === "make" && this.#make({ ...asked, overwrite: true });
      result.replaceChildren(
        h("p", { class: "ga-trouble" }, `${trouble}.`),
        exists ? pressable("Write over it", again) : "",
      );
    } else if (file !== null && address !== null) {
      result.replaceChildren(
        h("p", {}, `Written: ${file}`),
        h("a", { href: address, target: "_blank", rel: "noopener" }, "Open it"),
      );
    } else {
      const pre = h("pre", { class: "ga-made", tabindex: "0" }, text ?? "");
      result.replaceChildren(pre);
    }
  }

  #copy() {
    const name = h("input", { type: "text", id: "ga-out-name", value: this.#told?.copy ?? "" });
    const folder = this.#folders("ga-out-folder");
    const save = () => {
      const where = /** @type {"job" | "home"} */ (folder.value);
      this.#copying = true;
      this.result.replaceChildren();
      this.ask({ do: "save-copy", name: name.value, folder: where });
    };
    const body = h(
      "form",
      { class: "ga-out", onsubmit: (event) => submitted(event, save) },
      h("p", {}, "A file of its own, with everything as it stands here. You go on with this one."),
      field("name of the copy", name),
      field("in the folder", folder),
      h("button", { type: "submit", class: "ga-main" }, "Save the copy"),
      this.result,
    );
    this.result.replaceChildren();
    this.frame.open("Save a copy", body);
  }

  /** What was asked for has been done; a copy that was saved needs no dialog any more. */
  done() {
    if (this.#copying) this.frame.dialog.close();
    this.#copying = false;
  }

  /** @param {string} message why no copy was saved */
  trouble(message) {
    this.#copying = false;
    this.result.replaceChildren(h("p", { class: "ga-trouble" }, `${message}.`));
  }
}

/**
 * @param {string} words
 * @param {HTMLElement} input
 */
function field(words, input) {
  return h("div", { class: "ga-field" }, h("label", { for: input.id }, words), input);
}

/**
 * @param {Event} event
 * @param {() => void} act
 */
function submitted(event, act) {
  event.preventDefault();
  act();
}
