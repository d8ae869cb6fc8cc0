// A job that cannot be used yet: its text with the faults beside the lines, to be mended here.
import { h } from "./parts.js";

/** faults = faultsOf(element, ask); faults.show(text, [{line, key, text}]) */
export function faultsOf(element, ask) {
  const list = h("ol", { class: "ga-fault-list" });
  const numbers = h("pre", { class: "ga-numbers", "aria-hidden": "true" });
  const text = h("textarea", {
    class: "ga-text",
    spellcheck: "false",
    wrap: "off",
    "aria-label": "Text of the job file",
    "aria-describedby": "ga-fault-count",
  });
  let crlf = false; // a text field knows line feeds only
  const count = h("p", { id: "ga-fault-count" });
  const editor = h("div", { class: "ga-editor" }, numbers, text);
  element.append(
    count,
    list,
    editor,
    h(
      "div",
      { class: "ga-do" },
      h(
        "button",
        {
          type: "button",
          class: "ga-main",
          onclick: () =>
            ask({ do: "text", text: crlf ? text.value.replaceAll("\n", "\r\n") : text.value }),
        },
        "Check it again",
      ),
      h(
        "button",
        { type: "button", onclick: () => ask({ do: "read-again" }) },
        "Read the file again",
      ),
    ),
  );
  text.addEventListener("scroll", () => (numbers.scrollTop = text.scrollTop));
  text.addEventListener("input", () => number(new Map()));

  function number(wrong) {
    const lines = text.value.split("\n").length;
    numbers.replaceChildren();
    for (let line = 1; line <= lines; line++) {
      const message = wrong.get(line);
      numbers.append(message ? h("b", { title: message }, `${line} ◂`) : `${line}`, "\n");
    }
  }

  function goTo(line) {
    const lines = text.value.split("\n");
    const start = lines.slice(0, line - 1).reduce((total, each) => total + each.length + 1, 0);
    text.focus();
    text.setSelectionRange(start, start + (lines[line - 1]?.length ?? 0));
    reveal(line);
  }

  function reveal(line) {
    text.scrollTop = Math.max(0, (line - 4) * parseFloat(getComputedStyle(text).lineHeight));
  }

  return {
    show(found, faults) {
      text.value = found;
      crlf = found.includes("\r\n");
      const lines = found.split("\n");
      const wrong = new Map();
      for (const fault of faults) if (fault.line !== null) wrong.set(fault.line, fault.text);
      number(wrong);
      count.textContent =
        faults.length === 1
          ? "One thing stands in the way:"
          : `${faults.length} things stand in the way:`;
      list.replaceChildren(
        ...faults.map((fault) =>
          h(
            "li",
            {},
            fault.line === null
              ? h("span", {}, "in the file")
              : h(
                  "button",
                  { type: "button", onclick: () => goTo(fault.line) },
                  `line ${fault.line}`,
                ),
            fault.line === null
              ? null
              : h("code", {}, (lines[fault.line - 1] ?? "").trim().slice(0, 120)),
            h("p", {}, fault.text),
          ),
        ),
      );
      if (wrong.size) requestAnimationFrame(() => reveal(Math.min(...wrong.keys())));
    },
  };
}
