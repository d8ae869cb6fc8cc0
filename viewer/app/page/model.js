// A model of others: the start page's way in, and the part of a face's card that puts it right.
// What is asked here is done in viewer/app/model.py.
import { h, short } from "./parts.js";

/** @import { Picked } from "./face.js" */
/** @import { Asked, FormTold, ListingTold } from "./protocol" */

let serial = 0;

/** @param {number | undefined} floor_m */
const floorSaid = (floor_m) => (floor_m === undefined ? "" : `, floor at ${floor_m.toFixed(2)} m`);

function labelled(label, input, hint = "") {
  serial += 1;
  input.id = `ga-m${serial}`;
  return h(
    "div",
    { class: "ga-field" },
    h("label", { for: input.id }, label),
    input,
    hint ? h("small", {}, hint) : null,
  );
}

/**
 * way = modelOf(element, ask); way.show({model}); way.list(listing); way.trouble(message)
 * @param {HTMLElement} element
 * @param {(asked: Asked) => void} ask
 */
export function modelOf(element, ask) {
  const path = h("input", {
    type: "text",
    autocomplete: "off",
    spellcheck: "false",
    placeholder: "/home/me/house.ifc",
  });
  const unit = h("select", {});
  const up = h("select", {});
  const plain = h("div", { class: "ga-fields" }); // for formats that say neither
  const look = h("button", { type: "submit" }, "Look into it");
  const said = h("p", { class: "ga-trouble", role: "alert" });
  const busy = h("p", { class: "ga-note", role: "status" });
  const found = h("div", { class: "ga-found", hidden: true });
  const file = h("input", { type: "text", autocomplete: "off" });
  const bed = h("select", {});
  /** @type {string[]} */
  let unstated = [];
  let listedFor = ""; // what was asked for when the list came
  const body = h("form", { class: "ga-form ga-model", novalidate: true });

  const asked = () => ({
    path: path.value,
    unit: plain.hidden ? "" : unit.value,
    up: plain.hidden ? "" : up.value,
  });
  /** The rooms that are ticked, one of which holds the bed. */
  function offerBeds() {
    const chosen = bed.value;
    const ticked = boxes().filter((box) => box.checked);
    bed.replaceChildren(
      ...ticked.map((box) => h("option", { value: box.dataset.space }, box.dataset.title)),
    );
    if (ticked.some((box) => box.dataset.space === chosen)) bed.value = chosen;
  }

  /** @returns {HTMLInputElement[]} */
  const boxes = () => [...found.querySelectorAll("input")].filter((box) => box.dataset.space);

  function begin(text) {
    said.textContent = "";
    busy.textContent = text;
    body.setAttribute("aria-busy", "true");
    for (const each of body.querySelectorAll("button")) each.disabled = true;
  }

  function end() {
    busy.textContent = "";
    body.removeAttribute("aria-busy");
    for (const each of body.querySelectorAll("button")) each.disabled = false;
  }

  function changed() {
    const name = path.value.trim().replace(/"$/, "").toLowerCase();
    plain.hidden = !unstated.some((each) => name.endsWith(each));
    if (JSON.stringify(asked()) !== listedFor) found.hidden = true;
  }

  function submit(event) {
    event.preventDefault();
    if (found.hidden) {
      listedFor = JSON.stringify(asked());
      begin("Reading the model …");
      ask({ do: "model", ...asked() });
      return;
    }
    begin("Importing …");
    ask({
      do: "import",
      ...asked(),
      file: file.value,
      spaces: boxes()
        .filter((box) => box.checked)
        .map((box) => box.dataset.space ?? ""),
      bed: bed.value,
    });
  }

  function tickAll(on, storey) {
    for (const box of boxes())
      if (!box.disabled && (storey === null || box.dataset.storey === storey)) box.checked = on;
    offerBeds();
  }

  function spaceRow(space, only) {
    const size = `floor ${space.area_m2.toFixed(2)} m², ${space.volume_m3.toFixed(2)} m³`;
    const box = h("input", {
      type: "checkbox",
      "data-space": space.id,
      "data-storey": space.storey,
      "data-title": short(space.name ? `${space.id} ${space.name}` : space.id, 80),
      onchange: offerBeds,
      disabled: Boolean(space.trouble),
      checked: only && !space.trouble,
    });
    return h(
      "li",
      {},
      h(
        "label",
        { class: "ga-tick" },
        box,
        h(
          "span",
          { class: "ga-name" },
          short(space.name ? `${space.id} ${space.name}` : space.id, 80),
          h("small", {}, space.trouble ? `cannot be imported: ${space.trouble}` : size),
        ),
      ),
    );
  }

  body.addEventListener("submit", submit);

  return {
    /** @param {FormTold} told */
    show({ model }) {
      if (body.isConnected) return;
      unstated = model.unstated;
      unit.append(
        h("option", { value: "" }, "choose"),
        ...model.units.map((each) => h("option", { value: each }, each)),
      );
      up.append(
        h("option", { value: "" }, "choose"),
        ...model.axes.map((each) => h("option", { value: each }, each)),
      );
      plain.append(
        labelled("unit of its lengths", unit),
        labelled("axis that points up", up, "this format says neither"),
      );
      for (const each of [path, unit, up]) each.addEventListener("input", changed);
      body.append(
        h(
          "details",
          {},
          h("summary", {}, "Or begin with an architect's model"),
          h(
            "p",
            { class: "ga-note" },
            "A file on this machine: IFC, GLB, glTF, OBJ, STL or PLY. It is only read.",
          ),
          labelled("path of the model file", path),
          plain,
          look,
          busy,
          said,
          found,
        ),
      );
      element.insertBefore(body, element.lastElementChild); // before the form
      changed();
    },
    /** @param {ListingTold} listing */
    list(listing) {
      end();
      if (JSON.stringify(asked()) !== listedFor) return; // another file has been typed since
      const good = listing.spaces.filter((each) => !each.trouble);
      const storeys = [...new Set(listing.spaces.map((each) => each.storey))];
      const floor = new Map(listing.storeys.map((each) => [each.id, each.floor_m]));
      file.value = `${
        listing.source
          .replace(/\.[^.]*$/, "")
          .toLowerCase()
          .replace(/[^a-z0-9]+/g, "-")
          .replace(/^-|-$/g, "") || "model"
      }.toml`;
      found.replaceChildren(
        h(
          "p",
          {},
          `${listing.format}, ${good.length} of ${listing.spaces.length} ${listing.spaces.length === 1 ? "space" : "spaces"} can be imported. Take those you sleep in and those around them: what is not taken counts as outdoors.`,
        ),
        ...storeys.map((name) =>
          h(
            "fieldset",
            { class: "ga-storey" },
            h(
              "legend",
              {},
              `${name ? `storey ${short(name)}` : "spaces"}${floorSaid(floor.get(name))}`,
            ),
            h("button", { type: "button", onclick: () => tickAll(true, name) }, "all"),
            " ",
            h("button", { type: "button", onclick: () => tickAll(false, name) }, "none"),
            h(
              "ul",
              {},
              listing.spaces
                .filter((each) => each.storey === name)
                .map((each) => spaceRow(each, good.length === 1)),
            ),
          ),
        ),
        listing.notes.length
          ? h(
              "details",
              {},
              h(
                "summary",
                {},
                `What was noticed in it (${listing.notes.length + listing.more_notes})`,
              ),
              h(
                "ul",
                {},
                listing.notes.map((each) => h("li", {}, each)),
                listing.more_notes ? h("li", {}, `and ${listing.more_notes} more`) : null,
              ),
            )
          : "",
        h(
          "div",
          { class: "ga-fields" },
          labelled("the bed stands in", bed, "in its middle at first; drag it where it is"),
          labelled("name of the new job file", file),
        ),
        h("button", { type: "submit", class: "ga-main" }, "Import them and open the job"),
      );
      found.hidden = false;
      offerBeds();
      boxes()
        .find((box) => !box.disabled)
        ?.focus();
    },
    trouble(message) {
      end();
      said.textContent = message;
    },
  };
}

/**
 * part = taggingOf(ask); card.append(part.node); part.show(what the card knows)
 * @param {(asked: Asked) => void} ask
 */
export function taggingOf(ask) {
  const facts = h("dl", { class: "ga-facts" });
  const kind = h("select", {
    onchange: () => ask({ do: "set-kind", panels: panels(), kind: kind.value || null }),
  });
  const assembly = h("select", {
    onchange: () => ask({ do: "set-assembly", panels: panels(), assembly: assembly.value || null }),
  });
  const all = h("input", { type: "checkbox" });
  const alike = h("span", {});
  const choices = h(
    "div",
    { class: "ga-fields" },
    labelled("it is a", kind),
    labelled("it is made of", assembly),
  );
  const also = h("label", { class: "ga-tick" }, all, alike);
  const node = h(
    "fieldset",
    { class: "ga-wear ga-tagging" },
    h("legend", {}, "What the model says"),
    facts,
    choices,
    also,
  );
  /** @type {Picked | null} */
  let now = null;

  function others() {
    if (!now) return [];
    const { scene, panel, about } = now;
    return scene.panels
      .filter(
        (each) =>
          each.space === panel.space && each.kind === panel.kind && about.model?.panels[each.id],
      )
      .map((each) => each.id);
  }

  function panels() {
    if (!now) return [];
    return all.checked ? others() : [now.panel.id];
  }

  function options(select, first, words, value) {
    const made = JSON.stringify([first, words]);
    if (select.dataset.made !== made)
      select.replaceChildren(
        h("option", { value: "" }, first),
        ...words.map((each) => h("option", { value: each }, short(each))),
      );
    select.dataset.made = made;
    select.value = value ?? "";
  }

  return {
    node,
    /** @param {Picked} next */
    show(next) {
      const { model } = next.about;
      const said = model?.panels[next.panel.id];
      node.hidden = !said;
      if (!model || !said) return;
      now = next;
      const rows = [
        ["called", said.names.map((each) => short(each)).join(", ")],
        ["taken for a", said.reason ? `${said.kind}: ${said.reason}` : said.kind],
        ["material", said.materials.map((each) => short(each)).join(", ")],
        ["assembly", said.assembly ? short(said.assembly) : "not said: as [construction] has it"],
        ["caught by", said.rule && `rule ${short(said.rule)}`],
      ];
      facts.replaceChildren(
        ...rows
          .filter(([, text]) => text)
          .flatMap(([term, text]) => [h("dt", {}, term), h("dd", {}, text)]),
      );
      const rest =
        said.rule && !said.own_kind ? "as the model and the rules say" : "as the model says";
      options(kind, rest, model.kinds, said.own_kind);
      options(assembly, rest, model.assemblies, said.own_assembly);
      if (next.fresh) all.checked = false;
      const count = others().length;
      also.hidden = count < 2;
      alike.textContent = `the same for every ${next.panel.kind} of ${short(next.panel.space)} (${count})`;
      node.disabled = next.readonly;
    },
  };
}
