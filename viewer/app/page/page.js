// The page of one job: plans and sources on the left, rooms in the middle, faces on the right.
//
//   const page = openPage(element, { THREE, OrbitControls }, ask)
//
// ask({do: …}) goes to the desk (viewer/app/controller.py), whose answers come back through
// page.hear({tell: …}). The scene is kept here and its columns, one a plan, are replaced as they come.
import { beyondSaid, fillLegend, fillLevels, inShort, sentence } from "./answer.js";
import { cardOf } from "./face.js";
import { faultsOf } from "./faults.js";
import { formOf } from "./form.js";
import { modelOf } from "./model.js";
import { showNotices, storeyChoices } from "./notices.js";
import { decibels, h, hertz, keyed, short } from "./parts.js";
import { placeOf } from "./place.js";
import { mountSky } from "./skymap.js";
import { viewsOf } from "./views.js";
import { panelName, percent } from "./words.js";

const VIEWS_AT_MOST = 3;
const ROWS_AT_MOST = 40;
const BARE = { treatments: [], leaks: [] };

export function openPage(root, engine, ask) {
  let about = { treatments: {}, assemblies: {}, places: {}, losses: {} };
  let scene = null;
  let status = null;
  let receiver = 0;
  let plan = null; // id of the plan that is worked on
  let beside = []; // ids of those shown beside it
  let picked = null; // panel id
  let sky = null;
  let skyMap = null;
  let skyTimer = 0;
  let askedAt = null; // when an edit was asked for that has no answer yet
  const silent = new Set();
  const look = { mode: "let-in", beams: true, storeys: { mode: "room" } };

  // -- the frame

  const say = h("p", { class: "ga-say", role: "status", "aria-live": "polite" });
  const name = h("h1", {});
  const file = h("p", { class: "ga-file" });
  const button = (text, act, more = {}) =>
    h("button", { type: "button", onclick: act, ...more }, text);
  const undo = button("Undo", () => send({ do: "undo" }), { "aria-keyshortcuts": "Control+Z" });
  const redo = button("Redo", () => send({ do: "redo" }), {
    "aria-keyshortcuts": "Control+Shift+Z",
  });
  const save = button("Save", () => send({ do: "save" }), {
    class: "ga-main",
    "aria-keyshortcuts": "Control+S",
  });
  const head = h(
    "header",
    { class: "ga-head" },
    h("div", {}, name, file),
    say,
    h("div", { class: "ga-do" }, undo, redo, save),
  );
  const notes = h("div", { class: "ga-notes" });
  const work = h("div", { class: "ga-work" });
  const faulty = h("div", { class: "ga-faulty", hidden: true });
  const blank = h("div", { class: "ga-blank", hidden: true });
  root.append(head, notes, work, faulty, blank);

  const section = (title, ...children) => h("section", {}, h("h2", {}, title), ...children);
  const planList = h("ul", { class: "ga-plans" });
  const planRows = new Map();
  const planName = h("input", {
    type: "text",
    autocomplete: "off",
    "aria-label": "Name of the new plan",
    placeholder: "name, if you like",
  });
  const planForm = h(
    "form",
    { class: "ga-new", onsubmit: newPlan },
    planName,
    h("button", { type: "submit" }, "New plan from this one"),
  );
  const sourceList = h("ul", { class: "ga-sources" });
  const sourceRows = new Map();
  const receiverPick = h("select", {
    "aria-label": "Receiver",
    onchange: () => chooseReceiver(receiverPick.selectedIndex),
  });
  const placeBox = h("div", {});
  const place = placeOf(placeBox, send);
  const left = h(
    "div",
    { class: "ga-left" },
    section("Plans", planList, planForm),
    section("Where it matters", receiverPick, placeBox),
    section("Sources", sourceList),
  );

  const answer = h("p", { class: "ga-answer", "aria-live": "polite" });
  const modes = [
    ["let-in", "what gets in"],
    ["loss", "loss"],
    ["treatment", "treatment"],
  ];
  const modePick = h(
    "div",
    { class: "ga-modes", role: "radiogroup", "aria-label": "Colour faces by" },
    h("span", { "aria-hidden": "true" }, "Colour by"),
    modes.map(([value, text]) =>
      h(
        "label",
        {},
        h("input", {
          type: "radio",
          name: "ga-mode",
          value,
          checked: value === look.mode,
          onchange: () => setLook({ mode: value }),
        }),
        text,
      ),
    ),
  );
  const beamPick = h("input", {
    type: "checkbox",
    checked: true,
    onchange: () => setLook({ beams: beamPick.checked }),
  });
  const storeyPick = h("select", {
    "aria-label": "Storeys",
    onchange: () => setLook({ storeys: JSON.parse(storeyPick.value) }),
  });
  const bar = h(
    "div",
    { class: "ga-bar" },
    modePick,
    h("label", {}, beamPick, "beams"),
    h("label", {}, "show ", storeyPick),
  );
  const stage = h("div", { class: "ga-stage" });
  const legend = h("div", { class: "ga-legend" });
  const progress = h("progress", { max: 1, value: 0, "aria-label": "Casting rays" });
  const halt = button("Stop", () => send({ do: "halt" }));
  const casting = h(
    "div",
    { class: "ga-casting", hidden: true },
    h("span", {}, "Casting rays"),
    progress,
    halt,
  );
  const middle = h(
    "div",
    { class: "ga-middle" },
    answer,
    bar,
    stage,
    casting,
    legend,
    h(
      "p",
      { class: "ga-caution" },
      "Predictions are estimates; a meter decides. Rays that meet the ground near the building count as blocked: a convention, not physics.",
    ),
  );

  const faceBox = h("section", {
    class: "ga-face",
    "aria-labelledby": "ga-face-title",
    hidden: true,
  });
  const card = cardOf(faceBox, send);
  const gapHead = h("h2", {});
  const gapList = h("ol", { class: "ga-gaps" });
  const gapRows = new Map();
  const beyond = h("p", { class: "ga-note" });
  const levelTable = h("table", { class: "ga-table" });
  const levelPart = section("Level by source", levelTable);
  const skyBox = h("div", { class: "ga-sky" });
  const skyPart = h(
    "details",
    { class: "ga-skypart", ontoggle: () => skyPart.open && askSky(0) },
    h("summary", {}, "What it sees"),
    skyBox,
    h(
      "p",
      { class: "ga-note" },
      "Every direction, up in the middle, north at the top: bright where more comes in, hatched where the ground blocks.",
    ),
  );
  const right = h(
    "div",
    { class: "ga-right" },
    faceBox,
    h("section", {}, gapHead, gapList, beyond),
    levelPart,
    h("section", {}, skyPart),
  );
  work.append(left, middle, right);
  const views = viewsOf(stage, engine, {
    onPick: pick,
    onHover(id) {
      heat(id);
      skyMap?.highlight(id);
    },
  });
  const faults = faultsOf(faulty, send);
  const form = formOf(blank, send);
  const model = modelOf(blank, send);
  const dialog = h("dialog", { class: "ga-dialog", "aria-labelledby": "ga-dialog-text" });
  root.append(dialog);

  // -- asking

  function send(asked) {
    if (asked.do === "treat" || asked.do === "undo" || asked.do === "redo")
      askedAt = performance.now();
    ask(asked);
  }

  /** What is looked at outlives a reload of the page. */
  function remember() {
    const kept = { plan, beside, who: scene.receivers[receiver]?.id ?? null, picked };
    sessionStorage.setItem("gapcast-look", JSON.stringify(kept));
  }

  function recall() {
    const kept = JSON.parse(sessionStorage.getItem("gapcast-look") ?? "{}");
    plan = kept.plan ?? null;
    beside = Array.isArray(kept.beside) ? kept.beside : [];
    picked = kept.picked ?? null;
    receiver = Math.max(
      scene.receivers.findIndex((each) => each.id === kept.who),
      0,
    );
  }

  function tellLook() {
    if (scene) remember();
    if (scene)
      ask({
        do: "look",
        plans: [plan, ...beside],
        receiver: scene.receivers[receiver]?.id ?? null,
      });
  }

  function newPlan(event) {
    event.preventDefault();
    send({ do: "new-plan", beside: plan, id: planName.value.trim() || null });
    planName.value = "";
  }

  function askSky(wait = 350) {
    clearTimeout(skyTimer);
    if (!skyPart.open || !scene?.receivers[receiver]) return;
    skyTimer = setTimeout(() => ask({ do: "sky", receiver: scene.receivers[receiver].id }), wait);
  }

  function decide(text, choices) {
    dialog.replaceChildren(
      h("p", { id: "ga-dialog-text" }, text),
      h(
        "div",
        {},
        choices.map(([word, asked]) =>
          button(word, () => {
            dialog.close();
            if (asked) send(asked);
          }),
        ),
      ),
    );
    if (!dialog.open) dialog.showModal();
  }

  // -- what is chosen

  const column = (id) => scene.plans.findIndex((each) => each.id === id);

  function choosePlan(id) {
    if (id === plan) return;
    beside = beside.filter((each) => each !== id);
    plan = id;
    arrange();
    tellLook();
    render();
  }

  function putBeside(id, on) {
    beside = on
      ? [...beside, id].slice(-(VIEWS_AT_MOST - 1))
      : beside.filter((each) => each !== id);
    arrange();
    tellLook();
    render();
  }

  function chooseReceiver(index) {
    receiver = index;
    views.each((view) => view.setReceiver(index));
    tellLook();
    askSky(0);
    render();
  }

  function pick(id, from) {
    if (from && from !== plan) {
      [plan, beside] = [
        from,
        [plan, ...beside.filter((each) => each !== from)].slice(0, VIEWS_AT_MOST - 1),
      ];
      tellLook();
    }
    const fresh = id !== picked;
    picked = id;
    remember();
    views.each((view) => view.select(id, { tell: false }));
    skyMap?.select(id);
    render({ fresh });
    gapRows.get(id)?.scrollIntoView({ block: "nearest" });
  }

  function hover(id) {
    views.each((view) => view.highlight(id));
    skyMap?.highlight(id);
    heat(id);
  }

  function heat(id) {
    for (const [key, node] of gapRows) node.classList.toggle("ga-hot", key === id);
  }

  function setLook(change) {
    Object.assign(look, change);
    views.each((view) => {
      if (change.mode) view.setMode(look.mode);
      if ("beams" in change) view.setBeams(look.beams);
      if (change.storeys) view.setStoreys(look.storeys);
    });
    render();
  }

  // -- the views

  /** One view a plan that is shown; those that stay are kept. */
  function arrange() {
    views.show([plan, ...beside], scene, (id) => ({
      plan: column(id),
      receiver,
      ...look,
      silent,
      picked,
    }));
  }

  function closeViews() {
    views.close();
    skyMap?.dispose();
    skyMap = null;
  }

  // -- what is shown

  const stateOf = (panel, at) => panel.plans[at] ?? BARE;
  const numbersOf = (at) => scene.plans[at]?.receivers[receiver] ?? null;

  function render({ fresh = false } = {}) {
    if (!scene) return;
    const at = column(plan);
    const shown = [plan, ...beside];
    keyed(
      planList,
      planRows,
      scene.plans.map((each, k) => [each.id, [each, numbersOf(k)]]),
      makePlan,
      (node, value) => fillPlan(node, value, shown),
    );
    views.caption(plan, (id) => {
      const numbers = numbersOf(column(id));
      return [
        h("strong", {}, short(scene.plans[column(id)].title)),
        numbers ? ` ${inShort(numbers, silent)}` : "",
      ];
    });
    renderAnswer(at);
    renderGaps(at);
    renderLevels(at);
    renderSources(at);
    renderFace(at, fresh);
    fillLegend(legend, scene, { mode: look.mode, plans: shown.map(column), marks: views.marks() });
  }

  function makePlan(id) {
    const choose = button("", () => choosePlan(id), { class: "ga-plan-pick" });
    const box = h("input", { type: "checkbox", onchange: () => putBeside(id, box.checked) });
    const tick = h("label", { class: "ga-beside" }, box, "beside");
    return h("li", {}, choose, tick);
  }

  function fillPlan(node, [each, numbers], shown) {
    const [choose, tick] = node.children;
    const now = each.id === plan;
    choose.replaceChildren(
      h("strong", {}, short(each.title)),
      h("span", {}, numbers ? inShort(numbers, silent) : "not worked out yet"),
    );
    choose.setAttribute("aria-pressed", String(now));
    tick.hidden = now;
    tick.firstChild.checked = shown.includes(each.id);
    tick.firstChild.setAttribute("aria-label", `Show ${short(each.title)} beside`);
  }

  function renderAnswer(at) {
    const numbers = numbersOf(at);
    const who = scene.receivers[receiver];
    if (!who) {
      answer.replaceChildren(
        "This job has no receiver yet: add [[receiver]] with the place of the pillow to its file.",
      );
      return;
    }
    if (!numbers) {
      answer.replaceChildren(
        status?.casting !== null && status?.casting !== undefined
          ? "Working it out …"
          : status?.stopped
            ? "Nothing has been cast yet. "
            : "Working it out …",
      );
      if (status?.stopped && status.casting === null)
        answer.append(button("Cast now", () => send({ do: "cast" })));
      return;
    }
    answer.replaceChildren(...sentence(numbers, who, silent));
  }

  function renderGaps(at) {
    const rows = scene.panels
      .map((panel) => [panel, stateOf(panel, at).leaks[receiver]])
      .filter(([, leak]) => leak && leak.share > 0)
      .sort((a, b) => b[1].share - a[1].share);
    const gaps = rows.filter(([, leak]) => leak.is_gap).length;
    gapHead.textContent = rows.length
      ? `What lets in (${gaps} ${gaps === 1 ? "gap" : "gaps"})`
      : "What lets in";
    beyond.textContent = beyondSaid(about.beyond);
    keyed(
      gapList,
      gapRows,
      rows.slice(0, ROWS_AT_MOST).map((row) => [row[0].id, row]),
      makeGap,
      fillGap,
    );
  }

  function makeGap(id) {
    return h(
      "li",
      {},
      button("", () => pick(id, null), {
        class: "ga-gap",
        onmouseenter: () => hover(id),
        onmouseleave: () => hover(null),
        onfocus: () => hover(id),
        onblur: () => hover(null),
      }),
    );
  }

  function fillGap(node, [panel, leak]) {
    const row = node.firstChild;
    node.classList.toggle("ga-isgap", leak.is_gap);
    row.setAttribute("aria-pressed", String(panel.id === picked));
    row.replaceChildren(
      h("span", { class: "ga-gap-name" }, short(panelName(scene, panel, receiver))),
      h("b", {}, percent(leak.share)),
      h(
        "span",
        { class: "ga-track", "aria-hidden": "true" },
        h("i", { style: `width:${Math.max(100 * leak.share, 0.5).toFixed(2)}%` }),
      ),
      h(
        "small",
        {},
        `${leak.is_gap ? "gap · " : ""}sealed: ${decibels(leak.reduction_if_sealed_db)}`,
      ),
    );
  }

  function renderLevels(at) {
    const numbers = numbersOf(at);
    levelPart.hidden = !numbers?.sources.length;
    if (!levelPart.hidden) fillLevels(levelTable, numbers, silent);
  }

  function renderSources() {
    keyed(
      sourceList,
      sourceRows,
      scene.sources.map((source) => [source.id, source]),
      makeSource,
      (node, source) => {
        node.querySelector("input").checked = !silent.has(source.id);
        node.querySelector("span").replaceChildren(
          short(source.label),
          h(
            "small",
            {},
            source.frequency_hz
              .map(hertz)
              .filter((each, k, all) => all.indexOf(each) === k)
              .join(" to "),
          ),
        );
      },
    );
    if (!scene.sources.length && !sourceList.children.length)
      sourceList.append(h("li", { class: "ga-note" }, "none in the file"));
  }

  function makeSource(id) {
    const box = h("input", {
      type: "checkbox",
      checked: true,
      onchange: () => {
        if (box.checked) silent.delete(id);
        else silent.add(id);
        views.each((view) => view.setSilent([...silent]));
        render();
      },
    });
    return h("li", {}, h("label", { class: "ga-tick" }, box, h("span", { class: "ga-name" })));
  }

  function renderFace(at, fresh) {
    const panel = scene.panels.find((each) => each.id === picked);
    if (!panel) {
      card.show(null);
      return;
    }
    const state = stateOf(panel, at);
    const numbers = numbersOf(at);
    const who = scene.receivers[receiver]?.id ?? "";
    card.show({
      panel,
      scene,
      state,
      plan,
      about,
      fresh,
      name: panelName(scene, panel, receiver),
      leak: state.leaks[receiver] ?? null,
      computed: Boolean(numbers),
      receiver: who,
      readonly: status?.other !== null || status?.waiting,
      losses: about.losses[plan]?.[who]?.[picked] ?? null,
      frequencies: numbers?.bands.map((band) => band.frequency_hz) ?? [],
    });
  }

  // -- being told

  function renderStatus() {
    file.textContent = `${status.file} in ${status.folder} · ${status.saved ? "saved" : "not saved"}`;
    document.title = `${status.saved ? "" : "• "}${status.file}`;
    undo.disabled = status.undo === null;
    redo.disabled = status.redo === null;
    save.disabled =
      status.other !== null || status.waiting || (status.saved && status.disk === "same");
    undo.title = status.undo === null ? "nothing to undo" : `undo: ${status.undo}`;
    redo.title = status.redo === null ? "nothing to redo" : `redo: ${status.redo}`;
    showNotices(notes, status, send);
    renderProgress();
  }

  function renderProgress() {
    casting.hidden = status.casting === null;
    if (status.casting !== null) progress.value = status.casting;
  }

  function takeForm(what) {
    name.textContent = "A room to begin with";
    file.textContent = `No job file yet. It will be written in ${what.folder}.`;
    frameFor("form");
    form.show(what);
    model.show(what);
  }

  function takeFaulty(what) {
    status = what.status;
    frameFor("faulty");
    closeViews();
    scene = null;
    name.textContent = "This job has faults";
    faults.show(what.text, what.faults);
    renderStatus();
  }

  /** Show the part of the page that is for a sound job, a faulty one, or none yet. */
  function frameFor(kind) {
    for (const each of [undo, redo, save]) each.hidden = kind === "form";
    work.hidden = kind !== "job";
    faulty.hidden = kind !== "faulty";
    blank.hidden = kind !== "form";
  }

  function takeJob(what) {
    status = what.status;
    frameFor("job");
    const before = scene;
    scene = what.scene;
    about = what;
    if (!before) recall();
    name.textContent = short(scene.name, 80);
    const ids = scene.plans.map((each) => each.id);
    if (!ids.includes(plan)) plan = ids[ids.length - 1];
    beside = beside.filter((id) => ids.includes(id) && id !== plan);
    receiver = Math.min(receiver, Math.max(scene.receivers.length - 1, 0));
    receiverPick.replaceChildren(
      ...scene.receivers.map((each) =>
        h("option", {}, `${short(each.id)} in ${short(each.space)}`),
      ),
    );
    receiverPick.selectedIndex = receiver;
    renderStoreys();
    if (before) {
      views.each((view, id) => {
        view.setScene(scene);
        if (ids.includes(id)) view.setPlan(column(id));
      });
    }
    arrange();
    place.show(scene, receiver, about.places[scene.receivers[receiver]?.id] ?? [0, 0, 0]);
    tellLook();
    askSky(0);
    renderStatus();
    render();
  }

  function renderStoreys() {
    storeyPick.replaceChildren(
      ...storeyChoices(scene).map(([value, text]) =>
        h("option", { value: JSON.stringify(value) }, text),
      ),
    );
    storeyPick.value = JSON.stringify(look.storeys);
    if (!storeyPick.value) storeyPick.selectedIndex = 0;
  }

  function takeColumns({ plans, columns, losses, beyond: names }) {
    if (!scene) return;
    const old = new Map(scene.plans.map((each, k) => [each.id, k]));
    scene.plans = plans.map((id) => columns[id]?.plan ?? scene.plans[old.get(id)]);
    const bare = { treatments: [], leaks: scene.receivers.map(() => null) };
    scene.panels.forEach((panel, index) => {
      panel.plans = plans.map((id) =>
        columns[id] ? (columns[id].panels[index] ?? bare) : (panel.plans[old.get(id)] ?? bare),
      );
    });
    scene.beams.forEach((beam, index) => {
      beam.plans = plans.map((id) =>
        columns[id] ? (columns[id].beams[index] ?? null) : (beam.plans[old.get(id)] ?? null),
      );
    });
    Object.assign(about.losses, losses);
    about.beyond = names;
    if (!plans.includes(plan)) plan = plans[plans.length - 1];
    beside = beside.filter((id) => plans.includes(id) && id !== plan);
    const moved = plans.some((id, k) => old.get(id) !== k);
    const seen = [plan, ...beside].some((id) => columns[id]);
    if (moved || seen) {
      views.each((view, id) => {
        view.setScene(scene, { same: true });
        if (moved && plans.includes(id)) view.setPlan(column(id));
      });
    }
    arrange();
    render();
    if (askedAt !== null) {
      performance.measure("gapcast-numbers", { start: askedAt });
      const start = askedAt;
      askedAt = null;
      // the views paint in this frame too, having asked for it before
      requestAnimationFrame(() => performance.measure("gapcast-painted", { start }));
    }
    askSky();
  }

  function takeSky(what) {
    sky = what.sky;
    const changes = { sky, scene, plan: column(plan), receiver };
    if (skyMap) {
      skyMap.setSky(changes);
      return;
    }
    skyMap = mountSky(skyBox, sky, scene, {
      plan: column(plan),
      receiver,
      onPick: (id) => pick(id, null),
      onHover: (id) => {
        views.each((view) => view.highlight(id));
        heat(id);
      },
    });
    if (picked) skyMap.select(picked);
  }

  const heard = {
    job: takeJob,
    faulty: takeFaulty,
    columns: takeColumns,
    sky: takeSky,
    form: takeForm,
    troubles: ({ troubles }) => form.troubles(troubles),
    listing: (what) => model.list(what),
    "model-trouble": ({ message }) => model.trouble(message),
    status(what) {
      status = what;
      renderStatus();
      if (scene) {
        const at = column(plan);
        renderAnswer(at);
        renderFace(at, false);
      }
    },
    progress({ share }) {
      if (!status) return;
      status.casting = share;
      renderProgress();
    },
    plan({ id }) {
      choosePlan(id);
    },
    say({ text, tone }) {
      say.textContent = text;
      say.classList.toggle("ga-bad", tone === "bad");
    },
    overwrite({ text }) {
      decide(text, [
        ["Overwrite the file", { do: "save", overwrite: true }],
        ["Read the file again", { do: "read-again" }],
        ["Leave it for now", null],
      ]);
    },
  };

  function keys(event) {
    if (!(event.ctrlKey || event.metaKey) || event.altKey) return;
    const typing =
      (event.target instanceof HTMLInputElement && event.target.type === "text") ||
      event.target instanceof HTMLTextAreaElement;
    const key = event.key.toLowerCase();
    const act =
      key === "s"
        ? save
        : typing
          ? null
          : key === "z"
            ? event.shiftKey
              ? redo
              : undo
            : key === "y"
              ? redo
              : null;
    if (!act) return;
    event.preventDefault();
    if (!act.disabled) act.click();
  }
  document.addEventListener("keydown", keys);

  return {
    hear: (what) => heard[what.tell]?.(what),
    dispose() {
      document.removeEventListener("keydown", keys);
      closeViews();
    },
  };
}
