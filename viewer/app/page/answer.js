// What a plan comes to at a receiver, in a sentence and a table, and the key to the colours.
import { decibels, density, h, hertz, short, swatch } from "./parts.js";
import { percent } from "./words.js";

const WORSE_DB = 0.5; // from which a plan is said to make a level worse

/** Level outside and inside of the sources that are on; an isotropic field where there is no source. */
export function levels(numbers, silent) {
  const on = numbers.sources.filter((source) => !silent.has(source.id));
  const sum = (key) => on.reduce((total, source) => total + (source[key] ?? 0), 0);
  const [outside, inside] = [sum("outside_w_m2"), sum("level_w_m2")];
  const all = on.length === numbers.sources.length;
  const even = !numbers.sources.length;
  const before = on.reduce(
    (total, source) => total + source.level_w_m2 * 10 ** ((source.below_as_built_db ?? 0) / 10),
    0,
  );
  return {
    even,
    count: on.length,
    inside,
    low: all && !even ? numbers.low_w_m2 : null,
    high: all && !even ? numbers.high_w_m2 : null,
    reduction: even
      ? numbers.bands[numbers.reference_band].reduction_db
      : inside > 0 && outside > 0
        ? 10 * Math.log10(outside / inside)
        : null,
    belowAsBuilt: even
      ? numbers.bands[numbers.reference_band].below_as_built_db
      : before > 0 && inside > 0
        ? 10 * Math.log10(before / inside)
        : null,
    worse: before > 0 && 10 * Math.log10(inside / before) >= WORSE_DB, // than with no treatment
  };
}

/**
 * How far a level lies from another, in words and never with a minus.
 * @param {number | null} value
 */
export function againstSaid(value) {
  if (value === null) return "nothing comes";
  if (Math.abs(value) < 0.05) return "the same";
  return value < 0 ? `${decibels(-value)} above` : `${decibels(value)} below`;
}

/** The same against the level outside, or today's. */
function against(value, what) {
  return value !== null && value < 0
    ? `${decibels(-value)} above ${what}`
    : `${decibels(value)} below ${what}`;
}

/** How far a plan's level lies from today's; "" where it is today's. */
function besideToday(found) {
  const away = found.belowAsBuilt;
  return away === null || Math.abs(away) < 0.05 ? "" : against(away, "today");
}

/** The shortest form of it, for a list or a caption: beside today, and today's beside the outside. */
export function inShort(numbers, silent) {
  const found = levels(numbers, silent);
  if (found.even) return `${decibels(found.reduction)} below an isotropic field`;
  if (!found.count) return "no source is on";
  if (found.worse) return `${density(found.inside)}, ▲ ${besideToday(found)}`;
  return `${density(found.inside)}, ${besideToday(found) || against(found.reduction, "outside")}`;
}

/** Sentences about single sources that are on and get worse, which the sum may hide. */
function worseSaid(scene, numbers, receiver, silent) {
  return numbers.sources
    .filter(
      (source) =>
        !silent.has(source.id) &&
        source.below_as_built_db !== null &&
        source.below_as_built_db <= -WORSE_DB,
    )
    .map((source) =>
      h(
        "strong",
        { class: "ga-worse" },
        ` ▲ For ${sourceName(scene, source.id)} it is worse than today: ${decibels(-source.below_as_built_db)} more reaches ${short(receiver.title)}.`,
      ),
    );
}

/** That sources are off which the job counts: no figure may be taken for that of the whole. */
function offSaid(scene, numbers, silent) {
  const off = numbers.sources.filter((source) => silent.has(source.id));
  if (!off.length) return [];
  const names = off.map((source) => sourceName(scene, source.id)).join(", ");
  return [h("em", { class: "ga-without" }, ` Counted without ${names}, which is off here.`)];
}

/** Parts of the sentence above the picture. */
export function sentence(scene, numbers, receiver, silent) {
  const found = levels(numbers, silent);
  const band = numbers.bands[numbers.reference_band];
  const range =
    found.low === null || found.low === undefined
      ? ""
      : ` (eight times in ten between ${density(found.low)} and ${density(found.high)})`;
  const who = h("b", {}, short(receiver.title));
  const level = found.even
    ? [
        "At ",
        who,
        " an isotropic field from outside is ",
        h("b", { class: "ga-big" }, decibels(found.reduction)),
        " weaker; ",
      ]
    : found.count
      ? [
          "At ",
          who,
          " ",
          h("b", { class: "ga-big" }, density(found.inside)),
          `${range}, `,
          ...(besideToday(found)
            ? [found.worse ? h("strong", {}, "▲ ") : "", h("b", {}, besideToday(found)), ", "]
            : []),
          `${against(found.reduction, "outside")}; `,
        ]
      : ["No source is on. From ", who, " "];
  return [
    ...level,
    h("b", {}, percent(numbers.exposed_sr > 0 ? band.unshielded_sr / numbers.exposed_sr : 0)),
    ` of the directions to the outside are unshielded at ${hertz(band.frequency_hz)}.`,
    ...worseSaid(scene, numbers, receiver, silent),
    ...offSaid(scene, numbers, silent),
  ];
}

/** What the numbers stand on that no source or formula covers; nothing where there is none. */
export function beyondSaid(names) {
  return names?.length
    ? `Used beyond the range of their source or formula: ${names.join(", ")}.`
    : "";
}

/** What a source is called: its title, or its id without one. */
function sourceName(scene, id) {
  return short(scene.sources.find((each) => each.id === id)?.title ?? id, 32);
}

export function fillLevels(table, scene, numbers, silent) {
  const two = (tag, first, second, more = {}) => h(tag, more, first, h("small", {}, second));
  table.replaceChildren(
    h(
      "thead",
      {},
      h(
        "tr",
        {},
        two("th", "source", "outside", { scope: "col" }),
        two("th", "here", "against outside", { scope: "col" }),
        h("th", { scope: "col" }, "against today"),
      ),
    ),
    h(
      "tbody",
      {},
      numbers.sources.map((source) =>
        h(
          "tr",
          { class: silent.has(source.id) ? "ga-off" : "" },
          two("th", sourceName(scene, source.id), density(source.outside_w_m2), { scope: "row" }),
          two("td", density(source.level_w_m2), againstSaid(source.reduction_db)),
          h("td", {}, againstSaid(source.below_as_built_db)),
        ),
      ),
    ),
  );
}

function placed(marks, read) {
  const transmitter =
    "transmitter, with the line of sight to it: dashed where something is between; " +
    "open where its room is not shown";
  const key = (sign, name, words) =>
    h("span", { class: "ga-key" }, h("i", { class: name, "aria-hidden": "true" }, sign), words);
  return [
    ...(marks ? [key("◆", "ga-diamond", transmitter)] : []),
    ...(read ? [key("■", "ga-readmark", "where a meter was held, as far as this plan goes")] : []),
  ];
}

/** Key to the colours. `plans`: indices of the plans that are shown; `marks`: whether a transmitter stands in a picture; `read`: whether a reading does. */
export function fillLegend(legend, scene, { mode, plans, marks, read = false }) {
  if (mode === "wiring" && scene.wiring) {
    const keys = scene.wiring.key.map(({ colour, words }) => [colour, words]);
    const kinds = new Map(scene.wiring.spots.map(({ kind, colour }) => [kind, colour]));
    for (const [kind, colour] of kinds) keys.push([colour, kind]);
    legend.replaceChildren(
      h("span", { class: "ga-what" }, scene.wiring.title),
      ...keys.map(([colour, words]) =>
        h(
          "span",
          { class: "ga-key" },
          h("span", {
            class: "ga-swatch",
            style: `background-color:${colour}`,
            "aria-hidden": "true",
          }),
          words,
        ),
      ),
    );
    return;
  }
  if (mode === "treatment" || mode === "wiring") {
    const worn = new Set(
      scene.panels.flatMap((panel) => plans.flatMap((at) => panel.plans[at]?.treatments ?? [])),
    );
    const styles = scene.treatments.filter((style) => worn.has(style.id));
    legend.replaceChildren(
      ...(styles.length
        ? styles.map((style) => h("span", { class: "ga-key" }, swatch(style), short(style.id)))
        : [h("span", {}, "No face is treated under this plan.")]),
      ...placed(marks, read),
    );
    return;
  }
  const loss = mode === "loss";
  const [low, high] = (loss ? scene.scales.loss_db : scene.scales.let_in_db).map((value) =>
    String(value).replace("-", "−"),
  );
  const colours = loss ? [...scene.cividis].reverse() : scene.cividis;
  const ramp = colours.filter((_, k) => k % 7 === 0 || k === colours.length - 1).join(",");
  legend.replaceChildren(
    h("span", {}, loss ? `${low} dB` : `${low} dB or less`),
    h("span", {
      class: "ga-ramp",
      "aria-hidden": "true",
      style: `background:linear-gradient(to right,${ramp})`,
    }),
    h("span", {}, loss ? `${high} dB or more` : `${high} dB`),
    h(
      "span",
      { class: "ga-what" },
      loss
        ? "loss of a face; the same scale for every plan"
        : "let in by a face, against the field outside; the same scale for every plan",
    ),
    h(
      "span",
      { class: "ga-key" },
      h("i", { class: "ga-amber", "aria-hidden": "true" }),
      "amber outline: a gap",
    ),
    ...placed(marks, read),
  );
}
