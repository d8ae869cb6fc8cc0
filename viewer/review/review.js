// The review page's controls: what is chosen becomes the lines of the project file, to be copied.

/**
 * What one control says.
 * @typedef {{into: string, key: string, value: string, sets?: string, by?: string, own?: string}} Choice
 */

/** A text as TOML writes it. */
const quoted = (text) => JSON.stringify(text);

/** A name in which no sign stands for others, as rules take them. */
const exact = (name) => name.replace(/[*?[]/g, "[$&]");

/** Rules, one for each face or kind, with what was chosen of it. */
function tagsOf(choices) {
  const tags = new Map();
  for (const { key, value, sets = "", by = "name" } of choices) {
    const place = `${by} ${key}`;
    if (!tags.has(place)) tags.set(place, { [by]: by === "name" ? exact(key) : key });
    tags.get(place)[sets] = value;
  }
  return [...tags.values()].map((tag) =>
    ["[[tag]]", ...Object.entries(tag).map(([key, value]) => `${key} = ${quoted(value)}`)].join(
      "\n",
    ),
  );
}

/**
 * The lines of the project file for all that was chosen, "" for nothing.
 * @param {Choice[]} choices
 */
export function linesOf(choices) {
  const made = choices.filter(({ value }) => value.trim() !== "");
  const of = (into) => made.filter((choice) => choice.into === into);
  const model = [];
  const rooms = of("model.spaces");
  if (rooms.length > 0) {
    const names = [...(rooms[0].own ?? "").split("\n"), ...rooms.map(({ key }) => key)];
    model.push(`spaces = [${names.filter(Boolean).map(quoted).join(", ")}]`);
  }
  const materials = of("model.materials");
  if (materials.length > 0) {
    const pairs = materials.map(({ key, value }) => `${quoted(key)} = ${quoted(value)}`);
    model.push(`materials = { ${pairs.join(", ")} }`);
  }
  const accepted = [...new Set(of("model.accept").map(({ key }) => key))];
  if (accepted.length > 0) model.push(`accept = [${accepted.map(quoted).join(", ")}]`);
  const parts = [];
  if (model.length > 0)
    parts.push(
      ["# under [model]; where a line of that name stands there, add to it:", ...model].join("\n"),
    );
  const grade = of("site.grade").at(-1);
  if (grade) parts.push(`# under [site]:\ngrade = ${quoted(grade.value.trim())}`);
  const tags = tagsOf(of("tag"));
  if (tags.length > 0) parts.push(`# at the end of the file:\n${tags.join("\n\n")}`);
  return parts.join("\n\n");
}

/**
 * What a control says now; nothing where it is as the page had it.
 * @param {HTMLInputElement | HTMLSelectElement} control
 * @returns {Choice}
 */
function choiceOf(control) {
  const { into = "", key = "", sets, by, own, first = "" } = control.dataset;
  const ticked = control instanceof HTMLInputElement && control.type === "checkbox";
  const said = ticked ? (control.checked ? "yes" : "") : control.value;
  return { into, key, sets, by, own, value: said === first ? "" : said };
}

/** Keep the lines at the foot of the page as the controls say. */
function mount() {
  const foot = document.getElementById("lines");
  const shown = foot?.querySelector("pre");
  const copy = foot?.querySelector("button");
  const said = foot?.querySelector("output");
  if (!foot || !shown || !copy || !said) return;
  /** @type {NodeListOf<HTMLInputElement | HTMLSelectElement>} */
  const controls = document.querySelectorAll("[data-into]");
  const write = () => {
    const text = linesOf([...controls].map(choiceOf));
    shown.textContent = text;
    foot.hidden = text === "";
    said.textContent = "";
  };
  for (const control of controls) {
    control.disabled = false;
    control.addEventListener("input", write);
  }
  copy.addEventListener("click", async () => {
    try {
      await navigator.clipboard.writeText(shown.textContent ?? "");
      said.textContent = "Copied. Paste it into the project file.";
    } catch {
      // a page that was opened from a folder may not be allowed to
      getSelection()?.selectAllChildren(shown);
      said.textContent = "Selected: copy it with the keys of your system.";
    }
  });
  write();
}

if (typeof document !== "undefined") mount();
