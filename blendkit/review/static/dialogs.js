// The two doors: all pairs, and all numbers.

/** @import {Entry, Pair} from "./shapes.js" */
/** @import {Change} from "./fields.js" */
import { button, insideOf, make, putAnew } from "./dom.js";
import { foldedFields } from "./fields.js";
import { sentence } from "./slip.js";

const DECISIONS = { open: "open", accepted: "accepted", "sent-back": "sent back", skipped: "skipped" };

/** @param {HTMLDialogElement} dialog @param {{pairs: Entry[], leftOut: string[]}} folder @param {number} index @param {(index: number) => void} go @param {() => void} end */
export function fillList(dialog, { pairs, leftOut }, index, go, end) {
  const open = pairs.filter((pair) => pair.decision === "open").length;
  insideOf(dialog).replaceChildren(
    button("Close", () => dialog.close(), { class: "close" }),
    make("h2", { id: "list-title" }, `${pairs.length} ${pairs.length === 1 ? "pair" : "pairs"}, ${open} to decide`),
    make("table", {},
      make("thead", {}, make("tr", {}, ...["Pair", "What to look at", "Decision"].map((word) => make("th", { scope: "col" }, word)))),
      make("tbody", {}, ...pairs.map((pair, i) => make("tr", { class: pair.severity ?? "fine", "aria-current": String(i === index) },
        make("td", {}, button(pair.name, () => { dialog.close(); go(i); })),
        make("td", {}, make("span", { class: "swatch" }), sentence(pair.reason)),
        make("td", {}, DECISIONS[pair.decision]))))),
    ...(leftOut.length ? [make("h3", {}, "Not shown"), make("ul", { class: "left-out" }, ...leftOut.map((one) => make("li", {}, one)))] : []),
    make("p", { class: "advice" }, "Everything is saved as you go."),
    button("End the session", end));
}

/** Name the merges that the end of the session would cut off. @param {HTMLDialogElement} dialog @param {string[]} names @param {() => void} end */
export function askBeforeEnd(dialog, names, end) {
  const [merges, them] = names.length === 1 ? ["1 merge is", "it"] : [`${names.length} merges are`, "them"];
  const stay = button(`Wait for ${them}`, () => dialog.close());
  insideOf(dialog).replaceChildren(
    make("h2", { id: "list-title" }, `${merges} still running and would be ended`),
    make("ul", {}, ...names.map((name) => make("li", {}, name))),
    make("p", { class: "advice" }, "What was painted, tied, set and decided is saved in any case."),
    make("div", { class: "row" }, stay, button(`End without ${them}`, end)));
  stay.focus();
}

/** @param {HTMLDialogElement} dialog @param {Pair} pair @param {Change} change */
export function fillNumbers(dialog, pair, change) {
  const open = new Set([...dialog.querySelectorAll("details[open] > summary")].map(stageOf));
  const folds = foldedFields(pair.fields, change);
  for (const fold of folds)
    if (open.has(stageOf(fold.querySelector("summary")))) fold.setAttribute("open", "");
  putAnew(insideOf(dialog), [
    button("Close", () => dialog.close(), { class: "close" }),
    make("h2", { id: "settings-title" }, `Numbers of ${pair.name}`),
    make("p", { class: "advice" }, "They are kept with the pair; command line and batch use the same."),
    ...folds,
  ], (held) => held.id ? `[id^="${held.id.replace(/-\d+$/, "")}-"]` : "");
}

/** The stage that a fold's title names. @param {Element | null} title */
const stageOf = (title) => (title?.textContent ?? "").replace(/ \(.*/, "");
