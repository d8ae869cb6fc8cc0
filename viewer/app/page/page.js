// The page of one job: plans and sources on the left, rooms in the middle, faces on the right.
//
//   const page = openPage(element, { THREE, OrbitControls }, ask)
//
// ask({do: …}) goes to the desk (viewer/app/controller.py), whose answers come back through
// page.hear({tell: …}). The scene is kept here and its columns, one a plan, are replaced as they come.
import { inShort } from "./answer.js";
import { takeColumns } from "./columns.js";
import { faultsOf } from "./faults.js";
import { formOf } from "./form.js";
import { Frame } from "./frame.js";
import { hintOf } from "./hints.js";
import { LeftColumn } from "./left.js";
import { Looking } from "./looking.js";
import { Menu } from "./menu.js";
import { MiddleColumn } from "./middle.js";
import { modelOf } from "./model.js";
import { h, short } from "./parts.js";
import { planTable } from "./plantable.js";
import { RightColumn } from "./right.js";
import { viewsOf } from "./views.js";
import { panelName } from "./words.js";

/** @import { Asked, ColumnsTold, FaultyTold, FieldTold, FormTold, JobTold, SkyTold, Status, StatusTold, Told, TriedTold } from "./protocol" */
/** @import { Hint } from "./hints.js" */
/** @import { ReadingJson, SceneJson } from "./scene" */
/** @import { Three } from "./types" */

/** @typedef {Pick<JobTold, "assemblies" | "treatments" | "titles" | "only_on" | "places" | "losses" | "bills" | "beyond" | "model" | "tried" | "assumed" | "origins">} About */

const BARE = { treatments: [], stands: "", worn: "Untreated.", leaks: [] };
/**
 * @param {HTMLElement} root
 * @param {{THREE: Three, OrbitControls: Three}} engine
 * @param {(asked: Asked) => void} ask
 */
export function openPage(root, engine, ask) {
  return new Page(root, engine, ask);
}

class Page {
  looking = new Looking();
  /** @type {SceneJson | null} */
  scene = null;
  /** @type {About} */
  about = {
    treatments: {},
    titles: {},
    only_on: {},
    assemblies: {},
    places: {},
    losses: {},
    bills: {},
    beyond: [],
    model: null,
    tried: null,
    assumed: false,
    origins: {},
  };
  /** @type {Status | null} */
  status = null;
  /** @type {FieldTold | null} of the house wiring */
  field = null;
  /** @type {number | null} when an edit was asked for that has no answer yet */
  #askedAt = null;

  /**
   * @param {HTMLElement} root
   * @param {{THREE: Three, OrbitControls: Three}} engine
   * @param {(asked: Asked) => void} ask
   */
  constructor(root, engine, ask) {
    this.ask = ask;
    const send = (asked) => this.#send(asked);
    this.frame = new Frame(root, send);
    this.menu = new Menu(this.frame, send, () => ({
      plans: this.scene?.plans.map((each) => [each.id, each.title]) ?? [],
      plan: this.looking.plan,
      receiver: this.scene?.receivers[this.looking.receiver]?.id ?? null,
    }));
    this.faults = faultsOf(this.frame.faulty, send);
    this.form = formOf(this.frame.blank, send);
    this.model = modelOf(this.frame.blank, send);
    const point = (id, from) => this.#point(id, from);
    const pick = (id) => this.#pick(id, null);
    this.left = new LeftColumn(send, {
      choose: (id) => this.#choosePlan(id),
      beside: (id, on) => {
        this.looking.putBeside(id, on);
        this.#lookElsewhere();
      },
      turn: (id, on) => {
        this.looking.turn(id, on);
        this.views.each((view) => view.setSilent([...this.looking.silent]));
        this.#render();
      },
      receiver: (index) => this.#chooseReceiver(index),
      newPlan: (id, how) => this.#newPlan(id, how),
      compare: () => this.#compare(),
    });
    this.middle = new MiddleColumn(send, this.looking, (change) => this.#recolour(change));
    this.right = new RightColumn(send, {
      pick,
      point,
      seeSky: () => this.#askSky(0),
      decide: (text, choices) => this.frame.decide(text, choices),
      receiver: () => this.scene?.receivers[this.looking.receiver]?.id ?? null,
      scene: () => this.scene,
      origin: (space) => this.about.origins[space] ?? [0, 0],
    });
    this.frame.work.append(this.left.node, this.middle.node, this.right.node);
    this.views = viewsOf(this.middle.stage, engine, {
      onPick: (id, plan) => this.#pick(id, plan),
      onHover: (id) => point(id, "view"),
    });
  }

  // -- asking

  /** @param {Asked} asked */
  #send(asked) {
    if (["treat", "undo", "redo"].includes(asked.do)) this.#askedAt = performance.now();
    this.ask(asked);
  }

  #tellLook() {
    if (!this.scene) return;
    this.looking.remember(sessionStorage, this.scene);
    const receiver = this.scene.receivers[this.looking.receiver]?.id ?? null;
    this.ask({ do: "look", plans: this.looking.plans, receiver });
  }

  /** @param {Hint["act"]} act */
  #takeHint(act) {
    if (act === "plan") this.#newPlan(null, "copy");
    else if (act === "steps") this.right.showSteps();
    else this.right.showTable(act.table);
  }

  /**
   * @param {string | null} id
   * @param {"copy" | "extension"} how
   */
  #newPlan(id, how) {
    if (this.looking.plan !== null) {
      this.#send({ do: "new-plan", beside: this.looking.plan, how, id });
    }
  }

  /** @param {number} [wait] in ms */
  #askSky(wait) {
    const receiver = this.scene?.receivers[this.looking.receiver]?.id;
    if (receiver) this.right.sky.later(() => this.ask({ do: "sky", receiver }), wait);
  }

  // -- what is chosen

  /**
   * Show everywhere which face is pointed at.
   * @param {string | null} id
   * @param {"view" | "sky" | "list"} from where it is pointed at, and shown already
   */
  #point(id, from) {
    if (from !== "view") this.views.each((view) => view.highlight(id));
    if (from !== "sky") this.right.sky.map?.highlight(id);
    this.right.gaps.heat(id);
  }

  /** @param {Partial<Pick<Looking, "mode" | "beams" | "storeys" | "showReadings">>} change */
  #recolour(change) {
    Object.assign(this.looking, change);
    this.views.each((view) => {
      if (change.mode !== undefined) view.setMode(change.mode);
      if (change.beams !== undefined) view.setBeams(change.beams);
      if (change.storeys !== undefined) view.setStoreys(change.storeys);
      if (change.showReadings !== undefined) view.setReadings(this.looking.seenReadings);
    });
    this.#render();
  }

  /** @param {string | null} id */
  #column(id) {
    return this.scene?.plans.findIndex((each) => each.id === id) ?? -1;
  }

  /** @param {string} id */
  #choosePlan(id) {
    if (id === this.looking.plan) return;
    this.looking.choosePlan(id);
    this.#lookElsewhere();
  }

  #lookElsewhere() {
    this.#arrange();
    this.#tellLook();
    this.#render();
  }

  /** @param {number} index */
  #chooseReceiver(index) {
    this.looking.receiver = index;
    this.views.each((view) => view.setReceiver(index));
    this.#showPlace();
    this.#tellLook();
    this.#askSky(0);
    this.#render();
  }

  /**
   * @param {string | null} id
   * @param {string | null} from plan whose picture it was picked in
   */
  #pick(id, from) {
    if (from && from !== this.looking.plan) {
      this.looking.workOn(from);
      this.#tellLook();
    }
    const fresh = id !== this.looking.picked;
    this.looking.picked = id;
    if (this.scene) this.looking.remember(sessionStorage, this.scene);
    this.views.each((view) => view.select(id, { tell: false }));
    this.right.sky.map?.select(id);
    this.#render({ fresh });
    if (fresh && id !== null) this.right.showFaces(); // the card stands there
  }

  /** One view a plan that is shown; those that stay are kept. */
  #arrange() {
    const { receiver, mode, beams, storeys, silent, picked } = this.looking;
    const readings = this.looking.seenReadings;
    const look = { receiver, mode, beams, storeys, silent, readings, picked };
    this.views.show(this.looking.plans, this.scene, (id) => ({ plan: this.#column(id), ...look }));
  }

  /** Plans side by side in a table. */
  #compare() {
    if (!this.scene) return;
    const table = planTable(this.scene, this.looking, this.about.bills, (id) => {
      this.frame.dialog.close();
      this.#choosePlan(id);
    });
    this.frame.open("Plans side by side", table);
  }

  // -- what is shown

  #render({ fresh = false } = {}) {
    const { looking, scene } = this;
    if (!scene) return;
    const at = this.#column(looking.plan);
    this.left.plans.show(scene, looking);
    this.left.sources.show(scene, looking);
    this.views.caption(looking.plan, (id) => {
      const column = this.#column(id);
      const found = this.#numbers(column);
      const words = found ? ` ${inShort(found, looking.silent)}` : "";
      return [h("strong", {}, short(scene.plans[column].title)), words];
    });
    const who = scene.receivers[looking.receiver];
    this.middle.showAnswer(scene, this.#numbers(at), who, this.status);
    this.middle.showHint(hintOf(scene, this.about, looking), (act) => this.#takeHint(act));
    this.middle.showField(this.field, looking.plan, who?.id ?? null);
    this.right.show(scene, looking, at, this.about.beyond);
    this.right.showReadings(looking.readings, looking.plan);
    this.#renderFace(at, fresh);
    const plans = looking.plans.map((id) => this.#column(id));
    this.middle.showLegend(scene, plans, this.views.marks());
  }

  /** @param {number} at column of a plan */
  #numbers(at) {
    return this.scene?.plans[at]?.receivers[this.looking.receiver] ?? null;
  }

  /**
   * @param {number} at column of the plan
   * @param {boolean} fresh whether the face has just been picked
   */
  #renderFace(at, fresh) {
    const { about, looking, scene, status } = this;
    const panel = scene?.panels.find((each) => each.id === looking.picked);
    if (!scene || !panel || looking.plan === null) {
      this.right.card.show(null);
      return;
    }
    const state = panel.plans[at] ?? BARE;
    const numbers = this.#numbers(at);
    const receiver = scene.receivers[looking.receiver]?.id ?? "";
    this.right.card.show({
      panel,
      scene,
      state,
      plan: looking.plan,
      about,
      fresh,
      name: panelName(scene, panel, looking.receiver),
      leak: state.leaks[looking.receiver] ?? null,
      computed: Boolean(numbers),
      receiver,
      readonly: status?.other !== null || Boolean(status?.waiting),
      tried: looking.plan === about.tried,
      losses: about.losses[looking.plan]?.[receiver]?.[panel.id] ?? null,
      level: numbers?.level_w_m2 ?? numbers?.bands[numbers.reference_band].reduction_db ?? null,
      frequencies: numbers?.bands.map((band) => band.frequency_hz) ?? [],
    });
  }

  #showPlace() {
    const { about, looking, scene } = this;
    const receiver = scene?.receivers[looking.receiver];
    if (!scene) return;
    const place = receiver ? about.places[receiver.id] : [0, 0, 0];
    this.left.place.show(scene, looking.receiver, place);
  }

  // -- being told

  /** @param {Told} what */
  hear(what) {
    switch (what.tell) {
      case "job":
        return this.#takeJob(what);
      case "faulty":
        return this.#takeFaulty(what);
      case "columns":
        return this.#takeColumns(what);
      case "file":
        return this.right.showFile(what);
      case "fields":
        this.right.wiring.troubles(what);
        return this.right.tables.troubles(what);
      case "named":
        return this.right.tables.named(what);
      case "choices":
        return this.right.card.outlook(what);
      case "readings":
        return this.#takeReadings(what.readings);
      case "sky":
        return this.#takeSky(what);
      case "wiring":
        return this.right.wiring.show(what);
      case "field":
        return this.#takeField(what);
      case "form":
        return this.#takeForm(what);
      case "troubles":
        return this.form.troubles(what.troubles);
      case "listing":
        return this.model.list(what);
      case "model-trouble":
        return this.model.trouble(what.message);
      case "status":
        return this.#takeStatus(what);
      case "progress":
        return this.#showProgress(what.share);
      case "plan":
        this.left.made();
        return this.#choosePlan(what.id);
      case "say":
        if (what.tone === "plain") this.menu.done();
        return this.frame.tell(what.text, what.tone === "bad");
      case "trouble":
        if (what.at === "copy") return this.menu.trouble(what.message);
        return this.left.trouble(what);
      case "wall":
        return this.right.aids.wall(what);
      case "steps":
        return this.right.steps.show(what);
      case "tried":
        return this.#tryOut(what);
      case "menu":
        return this.menu.open(what);
      case "made":
        return this.menu.made(what);
      case "reload":
        return location.reload();
      case "overwrite":
        return this.frame.decide(what.text, [
          ["Overwrite the file", { do: "save", overwrite: true }],
          ["Read the file again", { do: "read-again" }],
          ["Leave it for now", null],
        ]);
    }
  }

  /**
   * Show a plan that is not in the file.
   * @param {TriedTold} what
   */
  #tryOut(what) {
    this.looking.choosePlan(what.plan);
    this.#lookElsewhere();
    this.right.steps.tried(what);
  }

  /** @param {FormTold} what */
  #takeForm(what) {
    this.frame.name.textContent = "A room to begin with";
    this.frame.file.textContent = `No job file yet. It will be written in ${what.folder}.`;
    this.frame.show("form");
    this.form.show(what);
    this.model.show(what);
  }

  /** @param {FaultyTold} what */
  #takeFaulty(what) {
    this.frame.show("faulty");
    this.#closeViews();
    this.scene = null;
    this.frame.name.textContent = "This job has faults";
    this.faults.show(what.text, what.faults);
    this.#takeStatus(what.status);
  }

  /** @param {JobTold} what */
  #takeJob(what) {
    const { looking } = this;
    const before = this.scene;
    const { scene } = what;
    const who = before?.receivers[looking.receiver]?.id;
    this.scene = scene;
    this.about = what;
    this.frame.show("job");
    this.frame.name.textContent = short(scene.name, 80);
    if (!before) looking.recall(sessionStorage, scene);
    looking.fitTo(scene);
    looking.follow(scene, who);
    this.left.showReceivers(scene, looking.receiver);
    this.middle.showStoreys(scene, looking.receiver, looking.storeys);
    if (before) {
      this.views.each((view, id) => {
        view.setScene(scene);
        if (view.state.receiver !== looking.receiver) view.setReceiver(looking.receiver);
        const at = this.#column(id);
        if (at >= 0) view.setPlan(at);
      });
    }
    this.#arrange();
    this.#showPlace();
    this.#tellLook();
    this.#askSky(0);
    this.#takeStatus(what.status);
    this.#render();
  }

  /** @param {ColumnsTold} what */
  #takeColumns({ plans, columns, losses, bills, beyond, tried }) {
    const { looking, scene } = this;
    if (!scene) return;
    const moved = takeColumns(scene, plans, columns);
    Object.assign(this.about.losses, losses);
    Object.assign(this.about.bills, bills);
    this.about.beyond = beyond;
    if (this.about.tried !== null && tried === null) {
      this.right.steps.tried(null);
    }
    this.about.tried = tried;
    looking.fitPlans(plans);
    if (moved || looking.plans.some((id) => columns[id])) {
      this.views.each((view, id) => {
        view.setScene(scene, { same: true });
        if (moved && plans.includes(id)) view.setPlan(this.#column(id));
      });
    }
    this.#arrange();
    this.#render();
    this.#measure();
    this.#askSky();
  }

  /** Note how long an edit took, for those who look with the browser's tools. */
  #measure() {
    if (this.#askedAt === null) return;
    const start = this.#askedAt;
    this.#askedAt = null;
    performance.measure("gapcast-numbers", { start });
    // the views paint in this frame too, having asked for it before
    requestAnimationFrame(() => performance.measure("gapcast-painted", { start }));
  }

  /** @param {FieldTold} what */
  #takeField(what) {
    this.field = what;
    const { scene } = this;
    if (!scene) return;
    if (what.wiring) {
      scene.wiring = what.wiring;
      this.views.each((view) => view.setScene(scene, { same: true }));
    }
    this.#render();
  }

  /** @param {ReadingJson[]} readings */
  #takeReadings(readings) {
    this.looking.readings = readings;
    this.views.each((view) => view.setReadings(this.looking.seenReadings));
    this.middle.offerReadings(readings.length > 0);
    this.#render();
  }

  /** @param {SkyTold} what */
  #takeSky({ sky }) {
    if (!this.scene) return;
    this.right.sky.show(sky, this.scene, this.#column(this.looking.plan), this.looking);
  }

  /** @param {Status | StatusTold} status */
  #takeStatus(status) {
    if (this.status !== null && this.status.mark !== status.mark) this.right.steps.old();
    this.status = status;
    this.frame.showStatus(status);
    this.#showProgress(status.casting);
    if (!this.scene) return;
    const at = this.#column(this.looking.plan);
    const who = this.scene.receivers[this.looking.receiver];
    this.middle.showAnswer(this.scene, this.#numbers(at), who, this.status);
    this.#renderFace(at, false);
  }

  /** @param {number | null} share */
  #showProgress(share) {
    if (this.status) this.status.casting = share;
    this.middle.showProgress(share);
  }

  #closeViews() {
    this.views.close();
    this.right.sky.dispose();
  }

  dispose() {
    this.frame.dispose();
    this.#closeViews();
  }
}
