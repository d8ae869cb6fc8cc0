// Everything in the file, table by table: a form made from the schema, each field an edit of its own.
import { h, pressable, short } from "./parts.js";

/** @import { Asked, FieldTold, FileTold, KeyTold, TableTold } from "./protocol" */

/** @typedef {HTMLInputElement | HTMLSelectElement | HTMLTextAreaElement} Input */
/** @typedef {{key: KeyTold, input: Input, trouble: HTMLElement, node: HTMLElement}} Field */

let serial = 0;

/**
 * What a row is called: its id, or what else tells it from others.
 * @param {Record<string, string>} row
 * @param {number} index
 */
export function rowName(row, index) {
  return short(row.id ?? row.on ?? row.name ?? `number ${index + 1}`, 40);
}

/**
 * Keys in the order of a form: those that stand there or must, then those that may.
 * @param {TableTold} table
 * @param {Record<string, string>} row
 * @returns {{first: KeyTold[], more: KeyTold[]}}
 */
export function keysInOrder(table, row) {
  const stands = (key) => key.needed || key.key in row;
  return { first: table.keys.filter(stands), more: table.keys.filter((key) => !stands(key)) };
}

export class TablePanel {
  /** @type {TableTold[]} */
  #tables = [];
  /** @type {Record<string, Array<Record<string, string>>>} */
  #rows = {};
  #table = "";
  /** @type {number | null} row that is edited; null while one is added, or for a table that comes once */
  #row = null;
  #adding = false;
  /** @type {number | null} rows before one was given to be added */
  #before = null;
  /** @type {Map<string, Field>} */
  #fields = new Map();
  #shape = ""; // of the form that is shown

  /** @param {(asked: Asked) => void} ask */
  constructor(ask) {
    this.ask = ask;
    this.pick = h("select", {
      "aria-label": "Part of the job",
      onchange: () => this.choose(this.pick.value, null),
    });
    this.list = h("ul", { class: "ga-rows" });
    this.form = h("form", { class: "ga-rowform", novalidate: true });
    this.form.addEventListener("submit", (event) => {
      event.preventDefault();
      if (this.#adding) this.#add();
    });
    this.general = h("p", { class: "ga-trouble", role: "alert" });
    this.node = h("div", { class: "ga-tables" }, this.pick, this.list, this.general, this.form);
  }

  /** @param {FileTold} told */
  show({ tables, rows }) {
    if (tables.length) {
      this.#tables = tables;
      this.pick.replaceChildren(
        ...tables.map((each) => h("option", { value: each.table }, each.title)),
      );
      this.pick.value = this.#table;
    }
    this.#rows = rows;
    this.general.textContent = "";
    if (this.#adding && this.#before !== null && this.#listed().length > this.#before) {
      this.#adding = false;
      this.#row = this.#listed().length - 1;
    }
    this.#before = null;
    this.#render();
  }

  /**
   * Show a row, or the first of a table.
   * @param {string} table
   * @param {string | null} id
   */
  choose(table, id) {
    this.#table = table;
    this.pick.value = table;
    const found = this.#listed().findIndex((row) => row.id === id);
    this.#row = this.#told()?.many ? Math.max(found, 0) : null;
    this.#adding = false;
    this.general.textContent = "";
    this.#render();
  }

  /**
   * What is wrong with a value, at the field that it was typed in.
   * @param {FieldTold} told
   */
  trouble({ table, row, key, message }) {
    const field = this.#fields.get(key);
    const here = table === this.#table && (this.#adding || row === this.#row);
    if (!here || !field) {
      this.general.textContent = message;
      this.general.scrollIntoView({ block: "nearest" });
      return;
    }
    field.trouble.textContent = message;
    field.input.setAttribute("aria-invalid", "true");
    field.input.focus();
  }

  #told() {
    return this.#tables.find((each) => each.table === this.#table);
  }

  /** @returns {Array<Record<string, string>>} */
  #listed() {
    return this.#rows[this.#table] ?? [];
  }

  #render() {
    const table = this.#told();
    if (!table) return;
    const rows = this.#listed();
    if (table.many && this.#row !== null && this.#row >= rows.length) {
      this.#row = rows.length ? rows.length - 1 : null;
    }
    this.#renderList(table, rows);
    const row = table.many ? rows[this.#row ?? -1] : (rows[0] ?? {});
    if (this.#adding) this.#build(table, {}, "add");
    else if (row) this.#build(table, row, `${this.#row}`);
    else {
      this.#shape = "";
      this.form.replaceChildren(h("p", { class: "ga-note" }, "Nothing of this in the file yet."));
    }
  }

  #renderList(table, rows) {
    this.list.hidden = !table.many;
    if (!table.many) return;
    const buttons = rows.map((row, index) => {
      const now = !this.#adding && index === this.#row;
      const button = pressable(rowName(row, index), () => {
        this.#row = index;
        this.#adding = false;
        this.#render();
      });
      button.setAttribute("aria-pressed", String(now));
      return h("li", {}, button);
    });
    const add = pressable("Add one", () => {
      this.#adding = true;
      this.#render();
      this.#fields.values().next().value?.input.focus();
    });
    add.setAttribute("aria-pressed", String(this.#adding));
    this.list.replaceChildren(...buttons, h("li", {}, add));
  }

  /** Fill the form, or build it where another row is shown; fields keep their places meanwhile. */
  #build(table, row, which) {
    const shape = `${table.table}\n${which}\n${row.id ?? ""}`;
    if (shape !== this.#shape) {
      this.#shape = shape;
      this.#fields.clear();
      const { first, more } = keysInOrder(table, row);
      this.form.replaceChildren(
        ...first.map((key) => this.#field(key)),
        more.length
          ? h(
              "details",
              { open: which === "add" && !first.length },
              h("summary", {}, `What else may be said (${more.length})`),
              more.map((key) => this.#field(key)),
            )
          : "",
        this.#buttons(table, row, which),
      );
    }
    for (const [name, field] of this.#fields) {
      if (which === "add") continue;
      if (document.activeElement !== field.input || !field.input.hasAttribute("aria-invalid")) {
        field.input.value = row[name] ?? "";
        this.#clear(field);
      }
    }
  }

  #buttons(table, row, which) {
    if (which === "add") {
      return h(
        "div",
        { class: "ga-do" },
        h("button", { type: "submit", class: "ga-main" }, "Add it"),
        pressable("Leave it", () => {
          this.#adding = false;
          this.#render();
        }),
      );
    }
    if (!table.many) return "";
    const remove = () =>
      this.ask({ do: "remove-row", table: table.table, row: this.#row ?? 0, id: row.id ?? null });
    return h("div", { class: "ga-do" }, pressable("Remove it", remove));
  }

  /** @param {KeyTold} key */
  #field(key) {
    serial += 1;
    const id = `ga-k${serial}`;
    const input = this.#input(key, id);
    input.setAttribute("aria-describedby", `${id}-t ${id}-s`);
    const trouble = h("p", { class: "ga-trouble", id: `${id}-t` });
    const words = key.key.replaceAll("-", " ") + (key.needed ? "" : " (if any)");
    const help = [key.said, key.example && `such as ${key.example}`].filter(Boolean).join("; ");
    const node = h(
      "div",
      { class: "ga-field" },
      h("label", { for: id }, words),
      input,
      key.names ? h("datalist", { id: `${id}-l` }, this.#options(key.names)) : null,
      trouble,
      h("small", { id: `${id}-s` }, help),
    );
    /** @type {Field} */
    const field = { key, input, trouble, node };
    this.#fields.set(key.key, field);
    input.addEventListener("input", () => this.#clear(field));
    input.addEventListener("change", () => this.#changed(field));
    return node;
  }

  /**
   * @param {KeyTold} key
   * @param {string} id
   * @returns {Input}
   */
  #input(key, id) {
    if (key.kind === "choice" || key.kind === "truth") {
      const choices = key.kind === "truth" ? ["true", "false"] : key.choices;
      const options = choices.map((value) => h("option", { value }, value.replaceAll("-", " ")));
      return h("select", { id }, h("option", { value: "" }, "not said"), options);
    }
    if (key.kind === "brackets") {
      return h("textarea", { id, rows: 3, spellcheck: "false", class: "ga-brackets" });
    }
    const names = key.names ? this.#names(key.names) : [];
    const list = names.length ? `${id}-l` : null;
    return h("input", { id, type: "text", autocomplete: "off", spellcheck: "false", list });
  }

  /** @param {string} table */
  #options(table) {
    return this.#names(table).map((value) => h("option", { value }));
  }

  /** @param {string} table */
  #names(table) {
    return (this.#rows[table] ?? []).flatMap((row) => (row.id === undefined ? [] : [row.id]));
  }

  /** @param {Field} field */
  #clear(field) {
    field.trouble.textContent = "";
    field.input.removeAttribute("aria-invalid");
  }

  /** @param {Field} field */
  #changed({ key, input }) {
    if (this.#adding) return;
    const row = this.#told()?.many ? this.#row : null;
    const id = this.#listed()[row ?? 0]?.id ?? null;
    const typed = input.value.trim() ? input.value : null;
    const table = this.#table;
    if (key.key === "id" && row !== null && id !== null && typed !== null) {
      this.ask({ do: "rename", table, row, id, name: typed });
    } else {
      this.ask({ do: "set-key", table, row, id, key: key.key, typed });
    }
  }

  #add() {
    const typed = Object.fromEntries(
      [...this.#fields].flatMap(([name, { input }]) =>
        input.value.trim() ? [[name, input.value]] : [],
      ),
    );
    this.#before = this.#listed().length;
    this.ask({ do: "add-row", table: this.#table, typed });
  }
}
