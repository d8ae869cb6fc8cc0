// The frame of the page: name and file, undo, redo and save, notices, and one question at a time.
import { showNotices } from "./notices.js";
import { h, pressable } from "./parts.js";

/** @import { Asked, Status } from "./protocol" */

const PARTS = ["job", "faulty", "form"];

export class Frame {
  say = h("p", { class: "ga-say", role: "status", "aria-live": "polite" });
  name = h("h1", {});
  file = h("p", { class: "ga-file" });
  notes = h("div", { class: "ga-notes" });
  dialog = h("dialog", { class: "ga-dialog", "aria-labelledby": "ga-dialog-text" });
  work = h("div", { class: "ga-work" });
  faulty = h("div", { class: "ga-faulty", hidden: true });
  blank = h("div", { class: "ga-blank", hidden: true });
  gone = h("div", { class: "ga-gone", role: "alert", hidden: true });
  saved = true;
  kept = "";

  /**
   * @param {HTMLElement} root
   * @param {(asked: Asked) => void} send
   */
  constructor(root, send) {
    this.send = send;
    this.undo = pressable("Undo", () => send({ do: "undo" }), {
      "aria-keyshortcuts": "Control+Z",
    });
    this.redo = pressable("Redo", () => send({ do: "redo" }), {
      "aria-keyshortcuts": "Control+Shift+Z",
    });
    this.save = pressable("Save", () => send({ do: "save" }), {
      class: "ga-main",
      "aria-keyshortcuts": "Control+S",
    });
    this.menu = pressable("Menu", () => send({ do: "menu" }), { "aria-haspopup": "dialog" });
    const buttons = h("div", { class: "ga-do" }, this.undo, this.redo, this.save, this.menu);
    const head = h(
      "header",
      { class: "ga-head" },
      h("div", {}, this.name, this.file),
      this.say,
      buttons,
    );
    root.append(head, this.gone, this.notes, this.work, this.faulty, this.blank, this.dialog);
    this.keys = (event) => this.#key(event);
    document.addEventListener("keydown", this.keys);
  }

  /**
   * Show the part of the page that is for a sound job, a faulty one, or none yet.
   * @param {"job" | "faulty" | "form"} part
   */
  show(part) {
    const boxes = [this.work, this.faulty, this.blank];
    PARTS.forEach((each, k) => {
      boxes[k].hidden = each !== part;
    });
    for (const button of [this.undo, this.redo, this.save, this.menu])
      button.hidden = part === "form";
  }

  /** @param {Status} status */
  showStatus(status) {
    const saved = status.saved ? "saved" : "not saved";
    this.saved = status.saved;
    this.kept = `${status.folder}/${status.file}`;
    this.file.textContent = `${status.file} in ${status.folder} · ${saved}`;
    document.title = `${status.saved ? "" : "• "}${status.file}`;
    this.undo.disabled = status.undo === null;
    this.redo.disabled = status.redo === null;
    const same = status.saved && status.disk === "same";
    this.save.disabled = status.other !== null || status.waiting || same;
    this.undo.title = status.undo === null ? "nothing to undo" : `undo: ${status.undo}`;
    this.redo.title = status.redo === null ? "nothing to redo" : `redo: ${status.redo}`;
    showNotices(this.notes, status, this.send);
  }

  /**
   * @param {string} text
   * @param {boolean} bad
   */
  tell(text, bad) {
    this.say.textContent = text;
    this.say.classList.toggle("ga-bad", bad);
  }

  /**
   * Whether the program answers; where it has ended, the page says so and what has become of edits.
   * @param {boolean} here
   */
  connected(here) {
    if (this.gone.hidden === here) return;
    this.gone.hidden = here;
    if (here) return;
    const kept = this.saved
      ? "Everything is saved."
      : "What you have changed and not saved is kept beside the job, and offered when you open it again.";
    this.gone.replaceChildren(
      h("strong", {}, "The program has ended, or does not answer. "),
      `${kept} Start it again with: gapcast view ${this.kept}`,
    );
  }

  /**
   * Ask one question; each choice is the word of its button and what it asks for, if anything.
   * @param {string} text
   * @param {Array<[string, Asked | Asked[] | null]>} choices
   */
  decide(text, choices) {
    this.dialog.replaceChildren(
      h("p", { id: "ga-dialog-text" }, text),
      h(
        "div",
        {},
        choices.map(([word, asked]) =>
          pressable(word, () => {
            this.dialog.close();
            for (const each of [asked ?? []].flat()) this.send(each);
          }),
        ),
      ),
    );
    if (!this.dialog.open) this.dialog.showModal();
  }

  /**
   * Show something over the page, until it is closed.
   * @param {string} title
   * @param {HTMLElement} body
   */
  open(title, body) {
    this.dialog.replaceChildren(
      h("h2", { id: "ga-dialog-text" }, title),
      body,
      h(
        "div",
        {},
        pressable("Close", () => this.dialog.close()),
      ),
    );
    if (!this.dialog.open) this.dialog.showModal();
  }

  /** @param {KeyboardEvent} event */
  #key(event) {
    if (!(event.ctrlKey || event.metaKey) || event.altKey) return;
    const act = this.#buttonOf(event);
    if (!act) return;
    event.preventDefault();
    if (!act.disabled) act.click();
  }

  /** @param {KeyboardEvent} event */
  #buttonOf({ key, shiftKey, target }) {
    if (key.toLowerCase() === "s") return this.save;
    const field = target instanceof HTMLInputElement && target.type === "text";
    if (field || target instanceof HTMLTextAreaElement) return null;
    if (key.toLowerCase() === "y") return this.redo;
    if (key.toLowerCase() === "z") return shiftKey ? this.redo : this.undo;
    return null;
  }

  dispose() {
    document.removeEventListener("keydown", this.keys);
  }
}
