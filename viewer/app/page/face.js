// The card of the face that was picked: what it is, what it wears, what it lets in.
import { becomes } from "./becomes.js";
import { allowed, belonging, ticksOf } from "./belonging.js";
import { taggingOf } from "./model.js";
import { decibels, h, hertz, short } from "./parts.js";
import { area, spaceName } from "./words.js";

const BEHIND = {
  outdoors: "the outdoors",
  earth: "earth",
  unmodelled: "a part of the house that is not modelled",
};

/** @import { Asked, ChoicesTold, JobTold } from "./protocol" */
/** @import { LeakJson, PanelJson, PanelStateJson, SceneJson } from "./scene" */

/**
 * What the card knows of the face that is picked.
 * @typedef {object} Picked
 * @property {PanelJson} panel
 * @property {SceneJson} scene
 * @property {PanelStateJson} state under the plan
 * @property {string} plan
 * @property {Pick<JobTold, "assemblies" | "treatments" | "titles" | "only_on" | "model">} about
 * @property {boolean} fresh whether it has just been picked
 * @property {string} name
 * @property {LeakJson | null} leak
 * @property {boolean} computed
 * @property {string} receiver
 * @property {boolean} readonly
 * @property {boolean} tried whether the plan is a step that is tried out
 * @property {Array<number | null> | null} losses by band
 * @property {number[]} frequencies
 * @property {number | null} level at the receiver under the plan, which choices are held against
 */

/**
 * What is known of a face, as terms and texts.
 * @param {Picked} picked
 * @returns {Array<[string, string]>}
 */
export function factsOf({ panel, scene, leak, about, computed, receiver }) {
  const who = short(scene.receivers.find((each) => each.id === receiver)?.title ?? receiver);
  const behind = panel.behind.map((name) => BEHIND[name] ?? spaceName(scene, name)).join(", ");
  const made = panel.assemblies.map((id) => `${short(id)}: ${about.assemblies[id] ?? ""}`);
  /** @type {Array<[string, string]>} */
  const facts = [
    ["area", area(scene, panel.area_m2)],
    ["behind it", behind || "nothing"],
    ["made of", made.join("; ") || "nothing stands here"],
  ];
  if (!leak) {
    if (computed) facts.push(["lets in", `nothing from outside comes to ${who} through it`]);
    return facts;
  }
  const limit = `${scene.threshold_db} dB`;
  return [
    ...facts,
    ["brings now", leak.lines[0] ?? ""],
    ["if treated", leak.trial],
    [
      "verdict",
      leak.is_gap ? `a gap: its loss is below ${limit}` : `not a gap: its loss is ${limit} or more`,
    ],
  ];
}

/**
 * On which faces a treatment may be put at once, as values and words.
 * @param {Picked} picked
 * @returns {Array<[string, string]>}
 */
function scopesOf({ panel, scene }) {
  const room = spaceName(scene, panel.space);
  const alike = scene.panels.filter(
    (each) => each.space === panel.space && each.kind === panel.kind,
  );
  /** @type {Array<[string, string]>} */
  const scopes = [["face", "this face"]];
  if (alike.length > 1) {
    scopes.push(["kind", `every ${panel.kind} of ${room} (${alike.length})`]);
  }
  return [...scopes, ["space", `all faces of ${room}`]];
}

/**
 * The card in an element.
 * @param {HTMLElement} element
 * @param {(asked: Asked) => void} ask
 */
export function cardOf(element, ask) {
  const title = h("h2", { id: "ga-face-title", tabindex: "-1" });
  const facts = h("dl", { class: "ga-facts" });
  const scope = h("select", { "aria-label": "Put it on" });
  const boxes = h("div", {
    class: "ga-worn",
    role: "group",
    "aria-label": "Treatments of this face",
  });
  const order = h("p", { class: "ga-note" });
  const hint = h("p", { class: "ga-note" });
  const bands = h("table", { class: "ga-table" });
  const wear = h(
    "fieldset",
    { class: "ga-wear" },
    h("legend", {}, "Treatment"),
    boxes,
    order,
    h("label", { class: "ga-scope" }, h("span", {}, "Put it on"), scope),
  );
  scope.addEventListener("change", () => now && askOutlook(now));
  const tagging = taggingOf(ask);
  element.append(title, facts, wear, hint, tagging.node, bands);
  let made = "";
  let askedFor = ""; // what the outlook was last asked for
  /** @type {Picked | null} */
  let now = null;

  /** @param {Picked} picked */
  function panels({ panel, scene }) {
    const same = {
      face: () => [panel],
      kind: () =>
        scene.panels.filter((each) => each.space === panel.space && each.kind === panel.kind),
      space: () =>
        scene.panels.filter(
          (each) => each.space === panel.space && each.kind !== "open" && each.kind !== "seam",
        ),
    };
    return (same[scope.value] ?? same.face)().map((each) => each.id);
  }

  function change() {
    if (!now) return;
    const worn = now.state.treatments;
    const ticked = [...boxes.querySelectorAll("input")]
      .filter((box) => box.checked)
      .map((box) => box.value);
    const treatments = [
      ...worn.filter((name) => ticked.includes(name)),
      ...ticked.filter((name) => !worn.includes(name)),
    ];
    ask({
      do: "treat",
      plan: now.plan,
      panels: allowed(now, panels(now), treatments),
      treatments,
    });
  }

  /**
   * Ask what each click would bring, once for each state of the face.
   * @param {Picked} picked
   */
  function askOutlook(picked) {
    const { panel, plan, receiver, computed, level } = picked;
    const key = JSON.stringify([
      panel.id,
      plan,
      receiver,
      scope.value,
      picked.state.treatments,
      level,
    ]);
    if (key === askedFor || !computed || wear.disabled) return;
    askedFor = key;
    for (const node of boxes.querySelectorAll(".ga-becomes")) node.textContent = "";
    ask({ do: "choices", plan, panel: panel.id, panels: panels(picked), receiver });
  }

  return {
    focus: () => title.focus(),
    /**
     * What a click on each treatment brings.
     * @param {ChoicesTold} told
     */
    outlook({ plan, panel, choices }) {
      if (!now || now.plan !== plan || now.panel.id !== panel) return;
      for (const node of boxes.querySelectorAll("span")) {
        const choice = choices[node.dataset.treatment ?? ""];
        if (!choice) continue;
        const off = now.state.treatments.includes(node.dataset.treatment ?? "");
        node.textContent = `${off ? "without it " : ""}${becomes(choice)}`;
        node.classList.toggle("ga-worse", (choice.below_now_db ?? 0) < -0.05);
      }
    },
    /** @param {Picked | null} next */
    show(next) {
      now = next;
      element.hidden = next === null;
      if (next === null) return;
      const { panel, scene, state, plan, losses } = next;
      const key = JSON.stringify([scene.treatments, next.about.titles, belonging(next)]);
      if (key !== made) boxes.replaceChildren(...ticksOf(next, change));
      made = key;
      title.textContent = short(next.name);
      facts.replaceChildren(
        ...factsOf(next).flatMap(([term, text]) => [h("dt", {}, term), h("dd", {}, text)]),
      );
      const bare = plan === "as-built";
      const open = panel.kind === "open" || next.readonly;
      wear.disabled = bare || open || next.tried;
      hint.textContent = bare
        ? "Today stays as it is: start a plan from it to treat faces."
        : next.tried
          ? "This is a step that is tried out: keep it as a plan to change its faces."
          : open && panel.kind === "open"
            ? "A bare opening carries nothing: treat what is around it."
            : "";
      tagging.show(next);
      for (const box of boxes.querySelectorAll("input"))
        box.checked = state.treatments.includes(box.value);
      order.textContent =
        state.treatments.length > 1
          ? `From the surface inward: ${state.treatments.map((name) => next.about.titles[name] ?? short(name)).join(", then ")}.`
          : "";
      const chosen = scope.value;
      scope.replaceChildren(...scopesOf(next).map(([value, text]) => h("option", { value }, text)));
      scope.value = next.fresh ? "face" : chosen;
      if (!scope.value) scope.value = "face";
      askOutlook(next);
      bands.hidden = !losses;
      if (losses) {
        bands.replaceChildren(
          h("caption", {}, "Loss over the directions that come through it"),
          h(
            "tbody",
            {},
            next.frequencies.map((frequency, k) =>
              h(
                "tr",
                {},
                h("th", { scope: "row" }, hertz(frequency)),
                h("td", {}, losses[k] === null ? "nothing passes" : decibels(losses[k])),
              ),
            ),
          ),
        );
      }
    },
  };
}
