// No file yet: a room as someone with a tape measures it. Whatever is typed goes to viewer/app/form.py.
import { h } from "./parts.js";

const WALLS = ["south", "east", "north", "west"];

/** @import { Asked, FormTold, Trouble } from "./protocol" */

/** @typedef {{input: HTMLInputElement | HTMLSelectElement, trouble: HTMLElement}} Entry */

/**
 * The form in an element.
 * @param {HTMLElement} element
 * @param {(asked: Asked) => void} ask
 */
export function formOf(element, ask) {
  /** @type {Map<string, Entry>} */
  const fields = new Map(); // by name in viewer/app/form.py
  const windows = h("div", {});
  const doors = h("div", {});
  const masts = h("div", {});
  const general = h("p", { class: "ga-trouble", role: "alert" });
  let serial = 0;

  /**
   * @param {Map<string, Entry>} scope
   * @param {string} key
   * @param {string} label
   * @param {{example?: string, value?: string, choices?: Array<string | string[]> | null, hint?: string, wide?: boolean}} [more]
   */
  function field(
    scope,
    key,
    label,
    { example = "", value = "", choices = null, hint = "", wide = false } = {},
  ) {
    serial += 1;
    const id = `ga-f${serial}`;
    const input = choices
      ? h(
          "select",
          { id },
          choices.map((each) => {
            const [value, text = value] = [each].flat();
            return h("option", { value }, text);
          }),
        )
      : h("input", { id, type: "text", autocomplete: "off", placeholder: example, value });
    if (choices && value) input.value = value;
    const trouble = h("p", { class: "ga-trouble", id: `${id}-t`, hidden: true });
    input.setAttribute("aria-describedby", `${id}-t`);
    input.addEventListener("input", () => clear(entry));
    const entry = { input, trouble };
    scope.set(key, entry);
    return h(
      "div",
      { class: wide ? "ga-field ga-wide" : "ga-field" },
      h("label", { for: id }, label),
      input,
      hint ? h("small", {}, hint) : null,
      trouble,
    );
  }

  function clear({ input, trouble }) {
    trouble.hidden = true;
    input.removeAttribute("aria-invalid");
  }

  /** @type {Record<string, Array<{scope: Map<string, Entry>, title: HTMLElement}>>} */
  const sets = { windows: [], doors: [], masts: [] };
  const kinds = {
    windows: [
      windows,
      "Window",
      [
        ["wall", "in the wall facing", { choices: WALLS }],
        ["from_left", "from its left corner, seen from inside", { example: "1 m" }],
        ["width", "width", { example: "1.2 m" }],
        ["height", "height", { example: "1.2 m" }],
        ["sill", "sill over the floor", { example: "0.9 m" }],
        ["depth", "how deep it sits in the wall", { example: "120 mm, if any" }],
      ],
    ],
    doors: [
      doors,
      "Door",
      [
        ["wall", "in the wall facing", { choices: WALLS }],
        ["from_left", "from its left corner, seen from inside", { example: "0.3 m" }],
        ["width", "width", { example: "0.82 m" }],
        ["height", "height", { example: "2.04 m" }],
        ["gap", "gap under it", { example: "8 mm, if any" }],
      ],
    ],
    masts: [
      masts,
      "Source",
      [
        ["place", "where it is", { choices: () => places, wide: true }],
        ["azimuth", "direction, clockwise from true north", { example: "231 deg", of: 0 }],
        ["elevation", "up from the horizon", { example: "4 deg", of: 0 }],
        [
          "from_west",
          "from the west wall, to the east",
          { example: "5.2 m", hint: "with a minus if it is west of the room", of: 1 },
        ],
        [
          "from_south",
          "from the south wall, to the north",
          { example: "1 m", hint: "with a minus if it is south of the room", of: 1 },
        ],
        [
          "over_floor",
          "over the room's floor",
          { example: "1 m", hint: "with a minus if it is a storey below", of: 1 },
        ],
        ["band", "band", { example: "1805-1880 MHz" }],
        ["level", "level outside", { example: "850 uW/m2", of: 0 }],
        ["power", "power that it radiates (EIRP)", { example: "20 dBm or 100 mW", of: 1 }],
      ],
    ],
  };
  let places = []; // where a source may be: in a direction, at a point

  function add(kind) {
    const [box, word, parts] = kinds[kind];
    const scope = new Map();
    const title = h("legend", {}, "");
    const boxes = parts.map(([key, label, more]) =>
      field(scope, key, label, {
        ...more,
        choices: more.choices instanceof Function ? more.choices() : more.choices,
      }),
    );
    const group = h(
      "fieldset",
      { class: "ga-set" },
      title,
      boxes,
      h(
        "button",
        {
          type: "button",
          onclick: () => {
            sets[kind] = sets[kind].filter((each) => each.scope !== scope);
            group.remove();
            number(kind);
          },
        },
        `Remove this ${word.toLowerCase()}`,
      ),
    );
    box.append(group);
    const which = scope.get("place")?.input;
    const fit = () =>
      parts.forEach(([, , { of }], k) => {
        boxes[k].hidden = of !== undefined && of !== which.selectedIndex;
      });
    if (which) fit();
    which?.addEventListener("change", fit);
    sets[kind].push({ scope, title });
    number(kind);
    scope.values().next().value.input.focus();
  }

  function number(kind) {
    sets[kind].forEach((each, k) => {
      each.title.textContent = `${kinds[kind][1]} ${k + 1}`;
    });
  }

  const more = (kind) =>
    h(
      "button",
      { type: "button", onclick: () => add(kind) },
      `Add a ${kinds[kind][1].toLowerCase()}`,
    );
  const walls = new Map();
  const floorBox = h("div", {});
  const body = h("form", { class: "ga-form", novalidate: true, onsubmit: submit });

  function submit(event) {
    event.preventDefault();
    const read = (scope) =>
      Object.fromEntries([...scope].map(([key, { input }]) => [key, input.value]));
    const typed = read(fields);
    const file = typed.file;
    delete typed.file;
    typed.beyond = read(walls);
    for (const kind of Object.keys(sets)) typed[kind] = sets[kind].map(({ scope }) => read(scope));
    for (const each of every()) clear(each[1]);
    general.textContent = "";
    ask({ do: "form", file, typed });
  }

  /** @returns {Generator<[string, Entry]>} */
  function* every() {
    for (const [key, each] of fields) yield [key, each];
    for (const [key, each] of walls) yield [`beyond.${key}`, each];
    for (const kind of Object.keys(sets)) {
      for (const [k, { scope }] of sets[kind].entries())
        for (const [key, each] of scope) yield [`${kind}.${k}.${key}`, each];
    }
  }

  return {
    /** @param {FormTold} told */
    show({ choices }) {
      if (body.isConnected) return;
      places = choices.places;
      const part = (title, ...children) => h("section", {}, h("h2", {}, title), ...children);
      const row = (...children) => h("div", { class: "ga-fields" }, children);
      body.append(
        h(
          "p",
          {},
          "Measure inside, wall to wall. Type lengths as you read them: 3.6 m, 360 cm, 12 ft 4 1/2 in.",
        ),
        part(
          "The room",
          row(
            field(fields, "name", "what the job is called", { example: "Upper bedroom" }),
            field(fields, "length", "length, along the south wall", { example: "4.2 m" }),
            field(fields, "width", "width, along the west wall", { example: "3.6 m" }),
            field(fields, "height", "height", { example: "2.45 m" }),
            field(fields, "stands", "where it stands", { choices: choices.stands }),
            floorBox,
            field(fields, "north", "true direction of its north wall", {
              value: "0 deg",
              hint: "clockwise from true north; choose one wall and call it north",
            }),
            field(fields, "wall_kind", "outer walls", { choices: choices.walls }),
            field(fields, "ceiling_kind", "ceiling and roof", { choices: choices.ceilings }),
          ),
        ),
        part(
          "Behind its walls",
          row(WALLS.map((wall) => field(walls, wall, `${wall} wall`, { choices: choices.beyond }))),
        ),
        part("Windows", windows, more("windows")),
        part("Doors", doors, more("doors")),
        part(
          "The pillow",
          row(
            field(fields, "pillow_from_west", "from the west wall", { example: "0.6 m" }),
            field(fields, "pillow_from_south", "from the south wall", { example: "2 m" }),
            field(fields, "pillow_over_floor", "over the floor", { value: "0.6 m" }),
          ),
        ),
        part(
          "Sources",
          h(
            "p",
            { class: "ga-note" },
            "A mast or a meter outside, a router in the next room. Leave this empty if you do not know yet: an even field from outside is then assumed.",
          ),
          masts,
          more("masts"),
        ),
        part(
          "The file",
          row(field(fields, "file", "name of the job file", { value: "room.toml" })),
        ),
        general,
        h("button", { type: "submit", class: "ga-main" }, "Make the job file and open it"),
      );
      floorBox.append(
        field(fields, "floor_over_ground", "its floor over the ground", { example: "2.75 m" }),
      );
      const stands = fields.get("stands")?.input;
      const upper = () => {
        floorBox.hidden = stands?.value !== "upper floor";
      };
      // a room in feet has its pillow in feet, unless somebody has said otherwise
      const pillow = fields.get("pillow_over_floor")?.input;
      fields.get("length")?.input.addEventListener("change", ({ target }) => {
        const feet = /['"]|ft|in/.test(/** @type {HTMLInputElement} */ (target).value);
        if (pillow && ["0.6 m", "2 ft"].includes(pillow.value))
          pillow.value = feet ? "2 ft" : "0.6 m";
      });
      stands?.addEventListener("change", upper);
      upper();
      element.append(
        h(
          "p",
          { class: "ga-lead" },
          "Describe one bedroom as you measure it: you then see what reaches the pillow, through which wall or window, and what to treat first. Everything can be changed later.",
        ),
        body,
      );
      fields.get("name")?.input.focus();
    },
    /** @param {Trouble[]} found */
    troubles(found) {
      const known = new Map(every());
      /** @type {string[]} */
      const rest = [];
      /** @type {HTMLElement | null} */
      let first = null;
      for (const { where, message } of found) {
        const each = known.get(where);
        if (!each) {
          rest.push(message);
          continue;
        }
        each.trouble.textContent = message;
        each.trouble.hidden = false;
        each.input.setAttribute("aria-invalid", "true");
        first ??= each.input;
      }
      general.textContent = rest.join(" ");
      /** @type {HTMLElement | null} */ (first)?.focus();
    },
  };
}
