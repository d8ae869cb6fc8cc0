// The pictures of the page: one cutaway for every plan that is shown, all turned together.
//
//   const views = viewsOf(element, { THREE, OrbitControls }, { onPick, onHover })
//
// onPick(panel id | null, plan id) and onHover(panel id | null) tell what is pointed at.

import { mount } from "./cutaway.js";
import { h } from "./parts.js";

const ROOM_ASPECT = 1.5; // about the width of a cutaway over its height
const WORTH = 1.2; // by how much larger rooms must come out before views stand in fewer columns

/** In how many columns so many views are best put into a place of a size. */
export function columnsFor(count, width, height) {
  const large = (columns) =>
    Math.min(width / columns / ROOM_ASPECT, height / Math.ceil(count / columns));
  let best = count;
  for (let columns = count - 1; columns >= 1; columns--)
    if (large(columns) > WORTH * large(best)) best = columns;
  return best;
}

export function viewsOf(stage, engine, { onPick, onHover }) {
  const made = new Map(); // plan id → {box, caption, room, view, failed}

  function each(act) {
    for (const [id, { view }] of made) if (view) act(view, id);
  }

  function lay() {
    const columns = columnsFor(Math.max(made.size, 1), stage.clientWidth, stage.clientHeight);
    stage.style.gridTemplateColumns = `repeat(${columns}, minmax(0, 1fr))`;
    const rows = Math.ceil(Math.max(made.size, 1) / columns);
    stage.style.gridTemplateRows = `repeat(${rows}, auto minmax(0, 1fr))`;
    stage.style.setProperty("--ga-rows", rows); // a narrow page gives every row its height
  }

  function open() {
    const caption = h("figcaption", {});
    const room = h("div", { class: "ga-room" });
    return {
      caption,
      room,
      box: h("figure", { class: "ga-view" }, caption, room),
      view: null,
      failed: false,
    };
  }

  function start(id, one, scene, { silent, readings, picked, ...options }) {
    try {
      one.view = mount(one.room, engine, scene, {
        ...options,
        onPick: (panel) => onPick(panel, id),
        onHover,
        onCamera: (camera) =>
          each((view, other) => {
            if (other !== id) view.setCamera(camera);
          }),
      });
      one.view.setSilent([...silent]);
      one.view.setReadings(readings);
      if (picked) one.view.select(picked, { tell: false });
    } catch (error) {
      one.failed = true;
      one.room.append(
        h(
          "p",
          { class: "ga-note" },
          `This browser shows no 3D picture here (${error instanceof Error ? error.message : error}). The lists and numbers work without it.`,
        ),
      );
    }
  }

  function close(id) {
    const { view, box } = made.get(id);
    view?.dispose();
    box.remove();
    made.delete(id);
  }

  new ResizeObserver(lay).observe(stage);

  return {
    each,
    get count() {
      return made.size;
    },
    /** Show these plans in this order, those that stay being kept; `begin(id)` has what a view opens with. */
    show(ids, scene, begin) {
      for (const id of [...made.keys()]) if (!ids.includes(id)) close(id);
      const camera = [...made.values()].find((one) => one.view)?.view.getCamera();
      for (const id of ids) if (!made.has(id)) made.set(id, open());
      ids.forEach((id, k) => {
        const { box } = made.get(id);
        if (stage.children[k] !== box) stage.insertBefore(box, stage.children[k] ?? null);
      });
      lay();
      for (const id of ids) {
        const one = made.get(id);
        if (one.view || one.failed) continue;
        start(id, one, scene, begin(id));
        if (camera) one.view?.setCamera(camera);
      }
    },
    /** Head every view; `words(id)` are the parts of its heading. */
    caption(now, words) {
      for (const [id, { caption, box }] of made) {
        box.classList.toggle("ga-now", id === now && made.size > 1);
        caption.replaceChildren(...words(id));
        caption.hidden = made.size === 1;
      }
    },
    /** Whether a transmitter stands in a picture where it is. */
    marks: () => [...made.values()].some(({ view }) => view?.marks()),
    close() {
      for (const id of [...made.keys()]) close(id);
    },
  };
}
