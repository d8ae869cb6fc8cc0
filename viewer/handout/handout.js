// The hand-out's page: joins its switches, its tables, the cutaway and the map of directions.
import { mount } from "./cutaway.js";
import { mountSky } from "./skymap.js";
import { area, describe, spaceName } from "./words.js";

/** @import { SceneJson, SkyJson } from "./scene" */
/** @import { StoreyChoice, ViewState } from "./types" */

/**
 * An element that the page has for certain.
 * @param {string} id
 * @returns {HTMLElement}
 */
const part = (id) => /** @type {HTMLElement} */ (document.getElementById(id));
const read = (id) => JSON.parse(part(id).textContent ?? "");
/**
 * @param {string} selector
 * @returns {HTMLElement[]}
 */
const all = (selector) =>
  [...document.querySelectorAll(selector)].map((node) => /** @type {HTMLElement} */ (node));
/**
 * The choices of one group.
 * @param {string} name
 */
const inputs = (name) =>
  all(`input[name=${name}]`).map((node) => /** @type {HTMLInputElement} */ (node));

const beams = /** @type {HTMLInputElement} */ (part("beams"));
const storeys = /** @type {HTMLSelectElement} */ (part("storeys"));
const modeOf = (word) => /** @type {ViewState["mode"]} */ (word);

/** @type {SceneJson} */
const scene = read("scene");
/** @type {SkyJson[]} */
const skies = read("skies");
const checked = (name) => inputs(name).find((input) => input.checked)?.value;
/** @type {{plan: number, receiver: number, face: string | null}} */
const state = {
  plan: Number(checked("plan")),
  receiver: Number(checked("receiver") ?? 0),
  face: null,
};
/** @type {ReturnType<typeof mount> | null} */
let view = null;
/** @type {ReturnType<typeof mountSky> | null} */
let sky = null;

// -- what shows

function showCases() {
  for (const node of all(".case")) {
    const { plan, receiver } = node.dataset;
    const on =
      (plan === undefined || Number(plan) === state.plan) &&
      (receiver === undefined || Number(receiver) === state.receiver);
    node.classList.toggle("on", on);
  }
  showCard();
}

/** The mark of a transmitter is explained where one stands in the picture. */
function showMarks() {
  document.documentElement.classList.toggle("marks", Boolean(view?.marks()));
}

function showMode(mode) {
  for (const node of all(".legends > [data-mode]"))
    node.classList.toggle("on", node.dataset.mode === mode);
}

const card = part("card");
const hint = card.innerHTML;

function showCard() {
  const panel = scene.panels.find((each) => each.id === state.face);
  if (!panel) {
    card.innerHTML = hint; // our own words, as they stood in the page
    return;
  }
  const [title, ...lines] = describe(scene, panel, state.plan, state.receiver);
  const behind = panel.behind
    .map((each) =>
      each === "unmodelled" ? "a part of the house that is not modelled" : spaceName(scene, each),
    )
    .join(", ");
  lines.push(`${area(scene, panel.area_m2)}; behind it: ${behind}.`);
  const head = document.createElement("h3");
  head.textContent = title;
  const off = document.createElement("button");
  off.type = "button";
  off.className = "off";
  off.textContent = "close";
  off.addEventListener("click", () => choose(null));
  const body = document.createElement("p");
  body.textContent = lines.join(" ");
  card.replaceChildren(head, body, off);
}

// -- one face, shown everywhere at once

function mark(name, id) {
  for (const row of all("tr[data-face]")) row.classList.toggle(name, row.dataset.face === id);
}

function point(id, from) {
  mark("over", id);
  if (from !== "view") view?.highlight(id);
  if (from !== "sky") sky?.highlight(id);
}

function choose(id, from) {
  state.face = id === state.face && from === "row" ? null : id;
  mark("chosen", state.face);
  if (from !== "view") view?.select(state.face, { tell: false });
  if (from !== "sky") sky?.select(state.face);
  const row = document.querySelector(".case.on tr.chosen");
  if (row?.closest(".rest")) row.closest(".case")?.classList.add("unfolded");
  showCard();
}

// -- switches

for (const input of inputs("plan")) {
  input.addEventListener("change", () => {
    state.plan = Number(input.value);
    showCases();
    view?.setPlan(state.plan);
    sky?.setPlan(state.plan);
  });
}
for (const input of inputs("receiver")) {
  input.addEventListener("change", () => {
    state.receiver = Number(input.value);
    choose(null);
    showCases();
    view?.setReceiver(state.receiver);
    showMarks();
    sky?.setSky({ sky: skies[state.receiver], receiver: state.receiver });
  });
}
for (const input of inputs("mode")) {
  input.addEventListener("change", () => {
    showMode(input.value);
    view?.setMode(modeOf(input.value));
  });
}
beams.addEventListener("change", () => view?.setBeams(beams.checked));
storeys.addEventListener("change", () => {
  const [word, number] = storeys.value.split(" ");
  const mode = /** @type {StoreyChoice["mode"]} */ (word);
  view?.setStoreys({ mode, id: scene.storeys[Number(number)]?.id, count: Number(number) });
  showMarks();
});
part("nearer").addEventListener("click", () => view?.zoom(1.25));
part("farther").addEventListener("click", () => view?.zoom(0.8));
part("home").addEventListener("click", () => view?.home());

for (const row of all("tr[data-face]")) {
  const { face } = row.dataset;
  row.addEventListener("pointerenter", () => point(face, "row"));
  row.addEventListener("pointerleave", () => point(null, "row"));
  row.addEventListener("focusin", () => point(face, "row"));
  row.addEventListener("focusout", () => point(null, "row"));
  row.addEventListener("click", () => choose(face, "row"));
}
for (const button of all(".unfold")) {
  button.addEventListener("click", () => button.closest(".case")?.classList.add("unfolded"));
}

// -- pictures

const holder = document.getElementById("sky");
if (holder && skies.length) {
  sky = mountSky(holder, skies[state.receiver], scene, {
    plan: state.plan,
    receiver: state.receiver,
    onPick: (id) => choose(id, "sky"),
    onHover: (id) => point(id, "sky"),
  });
}

function stayFlat() {
  view?.dispose();
  view = null;
  document.documentElement.classList.remove("live-3d");
  document.documentElement.classList.add("flat");
}

async function begin() {
  const text = part("engine").textContent;
  const place = URL.createObjectURL(new Blob([text], { type: "text/javascript" }));
  const { THREE, OrbitControls } = await import(place);
  URL.revokeObjectURL(place);
  view = mount(part("view"), { THREE, OrbitControls }, scene, {
    plan: state.plan,
    receiver: state.receiver,
    mode: modeOf(checked("mode")),
    beams: beams.checked,
    wheel: "focus",
    touchAction: "pan-y",
    over: document.querySelectorAll(".zoom"),
    onPick: (id) => choose(id, "view"),
    onHover: (id) => point(id, "view"),
    onLost: stayFlat,
  });
  document.documentElement.classList.add("live-3d");
  showMarks();
}

// a table that does not fit says that it goes on
function tellWhetherMore(box) {
  box.classList.toggle("more", box.scrollLeft + box.clientWidth < box.scrollWidth - 2);
}
const sizes = new ResizeObserver((entries) => {
  for (const { target } of entries) tellWhetherMore(target);
});
for (const box of all(".scroll")) {
  sizes.observe(box);
  box.addEventListener("scroll", () => tellWhetherMore(box), { passive: true });
}

// paper shows what the screen shows
const print = document.createElement("img");
print.className = "print-only";
print.alt = "Cutaway of the room";
addEventListener("beforeprint", () => {
  if (!view) return;
  print.src = view.paper();
  part("view").append(print);
});
addEventListener("afterprint", () => print.remove());

showMode(checked("mode"));
showCases();
begin()
  .catch(stayFlat)
  .finally(() => {
    globalThis.gapcast = {
      state,
      get view() {
        return view;
      },
      get sky() {
        return sky;
      },
    };
    document.documentElement.classList.add("ready");
  });
