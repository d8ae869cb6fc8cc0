// The hand-out's page: joins its switches, its tables, the cutaway and the map of directions.
import { mount } from "./cutaway.js";
import { mountSky } from "./skymap.js";
import { area, decibels, describe, shown } from "./words.js";

const read = (id) => JSON.parse(document.getElementById(id).textContent);
const all = (selector) => [...document.querySelectorAll(selector)];

const scene = read("scene");
const skies = read("skies");
const checked = (name) => document.querySelector(`input[name=${name}]:checked`)?.value;
const state = {
  plan: Number(checked("plan")),
  receiver: Number(checked("receiver") ?? 0),
  face: null,
};
let view = null;
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

const card = document.getElementById("card");
const hint = card.innerHTML;

function showCard() {
  const panel = scene.panels.find((each) => each.id === state.face);
  if (!panel) {
    card.innerHTML = hint; // our own words, as they stood in the page
    return;
  }
  const [title, ...lines] = describe(scene, panel, state.plan, state.receiver);
  const leak = panel.plans[state.plan]?.leaks[state.receiver];
  if (leak)
    lines.push(
      `With it sealed tight, ${decibels(leak.reduction_if_sealed_db)} in all would be kept out.`,
    );
  const made = panel.assemblies.map((each) => shown(each)).join(", ");
  const behind = panel.behind.map((each) => shown(each)).join(", ");
  lines.push(`${area(scene, panel.area_m2)}${made ? ` of ${made}` : ""}; behind it: ${behind}.`);
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
  if (row?.closest(".rest")) row.closest(".case").classList.add("unfolded");
  showCard();
}

// -- switches

for (const input of all("input[name=plan]")) {
  input.addEventListener("change", () => {
    state.plan = Number(input.value);
    showCases();
    view?.setPlan(state.plan);
    sky?.setPlan(state.plan);
  });
}
for (const input of all("input[name=receiver]")) {
  input.addEventListener("change", () => {
    state.receiver = Number(input.value);
    choose(null);
    showCases();
    view?.setReceiver(state.receiver);
    showMarks();
    sky?.setSky({ sky: skies[state.receiver], receiver: state.receiver });
  });
}
for (const input of all("input[name=mode]")) {
  input.addEventListener("change", () => {
    showMode(input.value);
    view?.setMode(input.value);
  });
}
document
  .getElementById("beams")
  .addEventListener("change", (event) => view?.setBeams(event.target.checked));
document.getElementById("storeys").addEventListener("change", (event) => {
  const [mode, number] = event.target.value.split(" ");
  view?.setStoreys({ mode, id: scene.storeys[Number(number)]?.id, count: Number(number) });
  showMarks();
});
document.getElementById("nearer").addEventListener("click", () => view?.zoom(1.25));
document.getElementById("farther").addEventListener("click", () => view?.zoom(0.8));
document.getElementById("home").addEventListener("click", () => view?.home());

for (const row of all("tr[data-face]")) {
  const { face } = row.dataset;
  row.addEventListener("pointerenter", () => point(face, "row"));
  row.addEventListener("pointerleave", () => point(null, "row"));
  row.addEventListener("focusin", () => point(face, "row"));
  row.addEventListener("focusout", () => point(null, "row"));
  row.addEventListener("click", () => choose(face, "row"));
}
for (const button of all(".unfold")) {
  button.addEventListener("click", () => button.closest(".case").classList.add("unfolded"));
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
  const text = document.getElementById("engine").textContent;
  const place = URL.createObjectURL(new Blob([text], { type: "text/javascript" }));
  const { THREE, OrbitControls } = await import(place);
  URL.revokeObjectURL(place);
  view = mount(document.getElementById("view"), { THREE, OrbitControls }, scene, {
    plan: state.plan,
    receiver: state.receiver,
    mode: checked("mode"),
    beams: document.getElementById("beams").checked,
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
  document.getElementById("view").append(print);
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
