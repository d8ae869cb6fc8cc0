// Tabs: one of several parts at a time, chosen with the pointer or the arrow keys.
import { h, pressable } from "./parts.js";

let serial = 0;

export class Tabs {
  /**
   * @param {string} label
   * @param {Array<[string, HTMLElement]>} parts name and body
   * @param {(index: number) => void} chosen
   */
  constructor(label, parts, chosen) {
    serial += 1;
    this.chosen = chosen;
    this.now = -1;
    this.bodies = parts.map(([, body]) => body);
    this.buttons = parts.map(([name], k) => {
      const id = `ga-t${serial}-${k}`;
      this.bodies[k].id = `${id}-p`;
      this.bodies[k].setAttribute("role", "tabpanel");
      this.bodies[k].setAttribute("aria-labelledby", id);
      const more = { id, role: "tab", "aria-controls": `${id}-p` };
      return pressable(name, () => this.choose(k), more);
    });
    this.list = h("div", { class: "ga-tabs", role: "tablist", "aria-label": label }, this.buttons);
    this.panels = h("div", { class: "ga-tabpanels" }, this.bodies);
    this.list.addEventListener("keydown", (event) => this.#key(event));
  }

  /** @param {number} index */
  choose(index) {
    if (index === this.now) return;
    const first = this.now < 0;
    this.now = index;
    this.buttons.forEach((button, k) => {
      button.setAttribute("aria-selected", String(k === index));
      button.tabIndex = k === index ? 0 : -1;
      this.bodies[k].hidden = k !== index;
    });
    if (!first) this.chosen(index);
  }

  /** @param {KeyboardEvent} event */
  #key({ key }) {
    const by = key === "ArrowRight" ? 1 : key === "ArrowLeft" ? -1 : 0;
    if (!by) return;
    const count = this.buttons.length;
    this.choose((this.now + by + count) % count);
    this.buttons[this.now].focus();
  }
}
