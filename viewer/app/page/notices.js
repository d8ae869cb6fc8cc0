// What the page says of the job's file, and the storeys that it lets one choose.
import { h, short } from "./parts.js";

/** @import { Asked, Status } from "./protocol" */
/** @import { SceneJson } from "./scene" */
/** @import { StoreyChoice } from "./types" */

/** [sentence, [[word of a button, what it asks for]]] for all that is to be decided about the file. */
function noticesOf(status) {
  const shown = [];
  if (status.other !== null)
    shown.push([
      `This job is already open in another window of the program (process ${status.other}). You can look; changes are made there.`,
      [["Try again", { do: "try-lock" }]],
    ]);
  if (status.waiting)
    shown.push([
      "Edits from the last time were never saved. They are kept beside the job.",
      [
        ["Take them up", { do: "take-up" }],
        ["Drop them", { do: "drop" }],
      ],
    ]);
  for (const { id, words, settle } of status.questions)
    shown.push([
      `The model leaves open: ${words}. To settle it, ${settle}.`,
      [["It is so, go on", { do: "accept", question: id }]],
    ]);
  if (status.disk === "gone")
    shown.push([
      "The file has been deleted or renamed. What you see is kept here until you save.",
      [["Write it again", { do: "save", overwrite: true }]],
    ]);
  if (status.disk === "changed")
    shown.push([
      "The file has changed on disk since it was read.",
      [
        ["Read it again", { do: "read-again" }],
        ["Overwrite it", { do: "save", overwrite: true }],
      ],
    ]);
  return shown;
}

/** Fills the place of the notices; what has not changed keeps its node and so the focus. */
export function showNotices(notes, status, send) {
  const shown = noticesOf(status);
  const made = JSON.stringify(shown);
  if (notes.dataset.made === made) return;
  notes.dataset.made = made;
  notes.replaceChildren(
    ...shown.map(([text, choices]) =>
      h(
        "div",
        { class: "ga-notice", role: "alert" },
        h("span", {}, text),
        choices.map(([word, asked]) =>
          h("button", { type: "button", onclick: () => send(asked) }, word),
        ),
      ),
    ),
  );
}

/**
 * What the pictures may show around a receiver, and how it reads.
 * @param {SceneJson} scene
 * @param {number} receiver
 * @returns {Array<[StoreyChoice, string]>}
 */
export function storeyChoices(scene, receiver) {
  const own = scene.scopes.filter((each) => each.receiver === receiver);
  const several = own.filter(({ mode }) => mode === "one").length > 1;
  return own
    .filter(({ mode }) => several || mode !== "one")
    .map(({ mode, storey, count }) => {
      const choice = { mode, id: storey ?? undefined, count };
      return [choice, storeyWords(choice)];
    });
}

/** @param {StoreyChoice} choice */
function storeyWords({ mode, id, count }) {
  if (mode === "room") return "this room";
  if (mode === "one") return `storey ${short(id ?? "")}`;
  if (mode === "all") return "the whole building";
  return `the building without its top ${count === 1 ? "storey" : `${count} storeys`}`;
}
