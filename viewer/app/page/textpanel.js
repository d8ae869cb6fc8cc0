// The text of the file beside the picture, to be changed by hand.
import { h, pressable } from "./parts.js";

/** @import { Asked } from "./protocol" */

export class TextPanel {
  #told = "";

  /** @param {(asked: Asked) => void} ask */
  constructor(ask) {
    this.text = h("textarea", {
      class: "ga-text",
      spellcheck: "false",
      wrap: "off",
      "aria-label": "The job file as text",
    });
    this.note = h("p", { class: "ga-note", role: "status" });
    this.take = pressable(
      "Take this text",
      () => {
        const crlf = this.#told.includes("\r\n"); // a text field knows line feeds only
        ask({
          do: "text",
          text: crlf ? this.text.value.replaceAll("\n", "\r\n") : this.text.value,
        });
      },
      { class: "ga-main" },
    );
    this.back = pressable("Back to what stands there", () => this.#fill());
    this.text.addEventListener("input", () => this.#mark());
    this.node = h(
      "div",
      { class: "ga-textpanel" },
      this.text,
      this.note,
      h("div", { class: "ga-do" }, this.take, this.back),
    );
  }

  /**
   * Show a text; what somebody has typed and not given yet stays.
   * @param {string} text
   */
  show(text) {
    const untouched = this.text.value === this.#plain();
    this.#told = text;
    if (untouched) this.#fill();
    else this.#mark();
  }

  #plain() {
    return this.#told.replaceAll("\r\n", "\n");
  }

  #fill() {
    this.text.value = this.#told;
    this.#mark();
  }

  #mark() {
    const same = this.text.value === this.#plain();
    this.take.disabled = this.back.disabled = same;
    this.note.textContent = same
      ? "This is the file as it stands, unsaved edits included."
      : "Changed here and not taken yet.";
  }
}
