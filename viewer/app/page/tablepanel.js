// Everything in the file, table by table: a form made from the schema, each change an edit of its own.
import { fieldOf, wordsOf } from "./fields.js";
import { h, pressable, short } from "./parts.js";

/** @import { Asked, FieldsTold, FileTold, KeyTold, NamedTold, StarterTold, TableTold } from "./protocol" */
/** @import { Aids } from "./aids.js" */
/** @import { Field, Row } from "./fields.js" */
/** @import { ReadingJson } from "./scene" */

/**
 * What a row is called: its title or id, or what else tells it from others.
 * @param {Row} row
 * @param {number} index
 */
export function rowName(row, index) {
  return short(row.title ?? row.id ?? row.on ?? row.name ?? `number ${index + 1}`, 40);
}

/**
 * Keys in the order of a form: name and title, those that stand there or must, then those that may.
 * @param {TableTold} table
 * @param {Row} row
 * @returns {{first: KeyTold[], more: KeyTold[]}}
 */
export function keysInOrder(table, row) {
  const named = (key) => ["id", "title"].includes(key.key);
  const stands = (key) => named(key) || key.needed || key.key in row;
  const keys = [...table.keys.filter(named), ...table.keys.filter((key) => !named(key))];
  return { first: keys.filter(stands), more: keys.filter((key) => !stands(key)) };
}

/**
 * Keys of a form for a new row: those that its sort asks for, then the rest.
 * @param {TableTold} table
 * @param {StarterTold | undefined} starter
 * @returns {{first: KeyTold[], more: KeyTold[]}}
 */
export function keysToAdd(table, starter) {
  if (!starter) return keysInOrder(table, {});
  const by = new Map(table.keys.map((key) => [key.key, key]));
  const asked = new Set(starter.keys);
  return {
    first: starter.keys.flatMap((key) => by.get(key) ?? []),
    more: table.keys.filter((key) => !asked.has(key.key) && !(key.key in starter.typed)),
  };
}

export class TablePanel {
  /** @type {TableTold[]} */
  #tables = [];
  /** @type {FileTold["rows"]} */
  #rows = {};
  /** @type {FileTold["parts"]} */
  #parts = {};
  /** @type {FileTold["names"]} */
  #names = {};
  #table = "";
  /** @type {number | null} row that is edited; null while one is added, or for a table that comes once */
  #row = null;
  #adding = false;
  #starter = 0;
  /** @type {number | null} rows before one was given to be added */
  #before = null;
  /** @type {Map<string, Field>} */
  #fields = new Map();
  #shape = ""; // of the form that is shown
  /** @type {Set<string>} keys typed and not taken yet */
  #draft = new Set();
  #refused = false;
  #awaited = ""; // table whose new row is wanted when the tables come
  /** @type {Map<string, ReadingJson>} */
  #readings = new Map();

  /**
   * @param {(asked: Asked) => void} ask
   * @param {(text: string, choices: Array<[string, Asked | null]>) => void} decide
   * @param {Aids} aids drawings beside fields
   */
  constructor(ask, decide, aids) {
    this.ask = ask;
    this.decide = decide;
    this.aids = aids;
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
    this.verdict = h("p", { class: "ga-note", hidden: true });
    this.general = h("p", { class: "ga-trouble", role: "alert" });
    this.pending = h("div", { class: "ga-pending", hidden: true });
    this.node = h(
      "div",
      { class: "ga-tables" },
      this.pick,
      this.list,
      this.verdict,
      this.general,
      this.pending,
      this.form,
    );
  }

  /** @param {FileTold} told */
  show({ tables, rows, parts, names }) {
    if (tables.length) {
      this.#tables = tables;
      this.pick.replaceChildren(
        ...tables.map((each) => h("option", { value: each.table }, each.title)),
      );
      this.pick.value = this.#table;
    }
    const choices = JSON.stringify(this.#names) !== JSON.stringify(names);
    this.#rows = rows;
    this.#parts = parts;
    this.#names = names;
    this.general.textContent = "";
    if (this.#adding && this.#before !== null && this.#listed().length > this.#before) {
      this.#adding = false;
      this.#row = this.#listed().length - 1;
      this.#before = null;
    }
    if (!this.#refused) {
      this.#draft.clear();
      if (choices && !this.#adding) this.#shape = ""; // lists to choose from are new
    }
    this.#render();
    if (this.#awaited) this.begin(this.#awaited, 0);
    this.#awaited = "";
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
    this.#go(this.#told()?.many ? Math.max(found, 0) : null, false);
  }

  /**
   * Begin a new row of a table as soon as the tables are there.
   * @param {string} table
   */
  await(table) {
    if (this.#tables.length) this.begin(table, 0);
    else this.#awaited = table;
  }

  /**
   * Begin a new row.
   * @param {string} table
   * @param {number} starter
   * @param {Row} [typed] what is typed already
   */
  begin(table, starter, typed = {}) {
    this.#table = table;
    this.pick.value = table;
    this.#starter = starter;
    this.#go(null, true);
    for (const [key, value] of Object.entries(typed)) this.#fields.get(key)?.write(value, []);
    this.#fields.values().next().value?.focus();
  }

  /**
   * What is wrong with what was typed, at its fields.
   * @param {FieldsTold} told
   */
  troubles({ table, row, troubles }) {
    if (row === null) this.#before = null;
    const here = table === this.#table && row === (this.#adding ? null : this.#row);
    /** @type {Field | undefined} */
    let first;
    const rest = [];
    for (const trouble of troubles) {
      const field = here ? this.#fields.get(trouble.key) : undefined;
      if (!field) {
        rest.push(trouble.key ? `${wordsOf(trouble.key)}: ${trouble.message}` : trouble.message);
        continue;
      }
      field.trouble(trouble);
      const more = field.node.closest("details");
      if (more) more.open = true;
      first ??= field;
    }
    this.general.textContent = rest.join(" ");
    this.#refused = here && !this.#adding && this.#draft.size > 0;
    this.#renderPending();
    if (first) first.focus();
    else this.general.scrollIntoView({ block: "nearest" });
  }

  /** @param {ReadingJson[]} readings what is known of them, told in their rows */
  judged(readings) {
    this.#readings = new Map(readings.map((each) => [each.id, each]));
    this.#renderVerdict();
  }

  #renderVerdict() {
    const id = this.#adding ? "" : (this.#listed()[this.#row ?? -1]?.id ?? "");
    const found = this.#table === "reading" ? this.#readings.get(id) : undefined;
    this.verdict.hidden = !found;
    this.verdict.textContent = found ? `${[found.where, ...found.lines].join("; ")}.` : "";
  }

  /** @param {NamedTold} told what would go with a row */
  named({ table, row, id, rows }) {
    const few = rows.slice(0, 8).join(", ");
    const more = rows.length > 8 ? ` and ${rows.length - 8} more` : "";
    this.decide(`${id ?? "It"} is named elsewhere. With it these go or change: ${few}${more}.`, [
      ["Remove it with them", { do: "remove-row", table, row, id, with_named: true }],
      ["Leave it", null],
    ]);
  }

  #go(row, adding) {
    this.#row = row;
    this.#adding = adding;
    this.#before = null;
    this.#draft.clear();
    this.#refused = false;
    this.#shape = "";
    this.general.textContent = "";
    this.#render();
  }

  #told() {
    return this.#tables.find((each) => each.table === this.#table);
  }

  /** @returns {Row[]} */
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
    this.#renderVerdict();
    this.#renderPending();
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
      const button = pressable(rowName(row, index), () => this.#go(index, false));
      button.setAttribute("aria-pressed", String(now));
      return h("li", {}, button);
    });
    const add = pressable(`Add a ${table.one}`.replace(/ a (?=[aeio])/, " an "), () =>
      this.begin(table.table, 0),
    );
    add.setAttribute("aria-pressed", String(this.#adding));
    add.classList.add("ga-add");
    this.list.replaceChildren(...buttons, h("li", {}, add));
  }

  #renderPending() {
    this.pending.hidden = !this.#refused;
    if (!this.#refused) return;
    const keys = [...this.#draft].map(wordsOf).join(", ");
    this.pending.replaceChildren(
      h("span", {}, `Not taken yet: ${keys}. Change what goes with it, or `),
      pressable("put it back", () => this.#go(this.#row, false)),
    );
  }

  /** Fill the form, or build it where another row is shown; fields keep their places meanwhile. */
  #build(table, row, which) {
    const shape = `${table.table}\n${which}\n${row.id ?? ""}`;
    if (shape !== this.#shape) {
      this.#shape = shape;
      this.#fields.clear();
      this.aids.forget();
      const starter = which === "add" ? table.starters[this.#starter] : undefined;
      const { first, more } = which === "add" ? keysToAdd(table, starter) : keysInOrder(table, row);
      this.form.replaceChildren(
        which === "add" ? this.#sorts(table) : "",
        ...first.map((key) => this.#field(key, true)),
        more.length
          ? h(
              "details",
              { open: which === "add" && !first.length },
              h("summary", {}, `What else may be said (${more.length})`),
              more.map((key) => this.#field(key, false)),
            )
          : "",
        this.#buttons(table, row, which),
      );
      if (which === "add") {
        for (const field of this.#fields.values()) field.write(this.#only(field.key), []);
      }
    }
    if (which === "add") {
      this.aids.look();
      return;
    }
    const parts = this.#parts[table.table]?.[this.#row ?? 0] ?? {};
    for (const [name, field] of this.#fields) {
      if (!this.#draft.has(name)) field.write(row[name] ?? "", parts[name] ?? []);
    }
    this.aids.look();
  }

  /**
   * What a new row can only be: the one storey, the one room.
   * @param {KeyTold} key
   */
  #only(key) {
    const names = key.closed && key.needed ? (this.#names[key.names ?? ""] ?? []) : [];
    return names.length === 1 ? names[0] : "";
  }

  /** @param {TableTold} table */
  #sorts(table) {
    if (table.starters.length < 2) return "";
    const pick = h(
      "select",
      { id: "ga-sort" },
      table.starters.map((each, k) =>
        h("option", { value: k, selected: k === this.#starter }, each.title),
      ),
    );
    pick.addEventListener("change", () => this.begin(table.table, pick.selectedIndex));
    return h(
      "div",
      { class: "ga-field ga-wide" },
      h("label", { for: "ga-sort" }, "what it is"),
      pick,
    );
  }

  #buttons(table, row, which) {
    if (which === "add") {
      return h(
        "div",
        { class: "ga-do" },
        h("button", { type: "submit", class: "ga-main" }, "Add it"),
        pressable("Leave it", () => this.#go(this.#listed().length ? 0 : null, false)),
      );
    }
    if (!table.many) return "";
    const remove = () =>
      this.ask({ do: "remove-row", table: table.table, row: this.#row ?? 0, id: row.id ?? null });
    return h("div", { class: "ga-do" }, pressable("Remove it", remove));
  }

  /**
   * @param {KeyTold} key
   * @param {boolean} first whether it is asked for first, and drawn if it can be
   */
  #field(key, first) {
    const field = fieldOf(
      key,
      (list) => this.#names[list] ?? [],
      () => this.#changed(key.key),
    );
    this.#fields.set(key.key, field);
    const fill = (values) => this.#fill(values);
    const drawn = first || key.key === "ceiling";
    const aid = drawn ? this.aids.beside(this.#table, key, this.#fields, fill) : null;
    if (aid) field.node.append(aid);
    if (aid) field.node.classList.add("ga-wide");
    return field.node;
  }

  /**
   * Write what was drawn into its fields; keys that have none in the form are left out.
   * @param {Record<string, string | Row[]>} values
   */
  #fill(values) {
    const known = Object.entries(values).filter(([key]) => this.#fields.has(key));
    for (const [key, value] of known) {
      if (Array.isArray(value)) this.#fields.get(key)?.write("", value);
      else this.#fields.get(key)?.write(value, []);
    }
    if (this.#adding) return;
    for (const [key] of known) this.#draft.add(key);
    this.#send();
  }

  /** @param {string} key */
  #changed(key) {
    this.aids.look();
    if (this.#adding) return;
    const row = this.#told()?.many ? this.#row : null;
    const id = this.#listed()[row ?? 0]?.id ?? null;
    const table = this.#table;
    const value = this.#fields.get(key)?.read();
    if (key === "id" && row !== null && id !== null && typeof value === "string" && value.trim()) {
      this.ask({ do: "rename", table, row, id, name: value });
      return;
    }
    this.#draft.add(key);
    this.#send();
  }

  /** Ask for all that was typed and is not taken yet, in one edit. */
  #send() {
    const row = this.#told()?.many ? this.#row : null;
    const id = this.#listed()[row ?? 0]?.id ?? null;
    this.#refused = false;
    const typed = this.#typed([...this.#draft]);
    this.ask({ do: "set-keys", table: this.#table, row, id, ...typed });
  }

  /**
   * What is typed into some fields, texts apart from what stands in brackets.
   * @param {string[]} keys
   */
  #typed(keys) {
    /** @type {Record<string, string>} */
    const typed = {};
    /** @type {Record<string, Row[]>} */
    const parts = {};
    for (const key of keys) {
      const value = this.#fields.get(key)?.read();
      if (Array.isArray(value)) parts[key] = value;
      else if (value !== undefined) typed[key] = value;
    }
    return { typed, parts };
  }

  #add() {
    const { typed, parts } = this.#typed([...this.#fields.keys()]);
    const preset = this.#told()?.starters[this.#starter]?.typed ?? {};
    const given = {
      ...preset,
      ...Object.fromEntries(Object.entries(typed).filter(([, v]) => v.trim())),
    };
    const filled = Object.fromEntries(Object.entries(parts).filter(([, rows]) => rows.length));
    this.#before = this.#listed().length;
    this.general.textContent = "";
    for (const field of this.#fields.values()) field.clear();
    this.ask({ do: "add-row", table: this.#table, typed: given, parts: filled });
  }
}
