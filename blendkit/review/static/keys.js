// The keyboard: one table that is obeyed and listed.

import { button, insideOf, make } from "./dom.js";

/**
 * @typedef {{keys: string[], shown: string, say: string, group: string, run: () => void,
 *   when?: () => boolean}} Key
 */

/** "Shift+1", "Ctrl+z", "n"… from an event; digits by place, so that Shift keeps them digits. @param {KeyboardEvent} event */
export function nameOf(event) {
  const digit = /^Digit(\d)$/.exec(event.code)?.[1];
  const key = digit ?? (event.key === " " ? "Space" : event.key.length === 1 ? event.key.toLowerCase() : event.key);
  const shift = event.shiftKey && (digit !== undefined || event.key.length > 1 || /[a-z]/i.test(event.key));
  return `${event.ctrlKey || event.metaKey ? "Ctrl+" : ""}${shift ? "Shift+" : ""}${key}`;
}

/** @param {Key[]} table */
export function listen(table) {
  addEventListener("keydown", (event) => {
    if (event.altKey || document.querySelector("dialog[open]") || isTyping(event)) return;
    const name = nameOf(event);
    const key = table.find((one) => one.keys.includes(name) && (one.when?.() ?? true));
    if (!key || (isControl(event) && ["Enter", "Space"].includes(name))) return;
    event.preventDefault();
    if (event.repeat && key.group === "Decision") return; // a key held down decides once
    key.run();
  });
}

/** @param {KeyboardEvent} event */
function isTyping(event) {
  const target = event.target;
  if (target instanceof HTMLSelectElement) return !event.ctrlKey && event.key !== "Escape";
  if (target instanceof HTMLInputElement && target.type === "range")
    return !event.ctrlKey && /^(Arrow(Left|Right|Up|Down)|Home|End)$/.test(event.key); // they move the slider
  return target instanceof HTMLInputElement && !["checkbox", "range"].includes(target.type);
}

/**
 * Give the keys back to the page once something was chosen with the pointer; whoever goes from one
 * control to the next by keyboard stays where they are.
 * @param {HTMLSelectElement} select
 */
export function letGoOf(select) {
  let pointed = false;
  select.addEventListener("pointerdown", () => { pointed = true; });
  select.addEventListener("keydown", () => { pointed = false; });
  select.addEventListener("change", () => { if (pointed) select.blur(); });
}

/** @param {KeyboardEvent} event */
const isControl = (event) => event.target instanceof HTMLButtonElement
  || (event.target instanceof HTMLInputElement && event.target.type === "checkbox");

/** @param {HTMLDialogElement} dialog @param {Key[]} table */
export function fillHelp(dialog, table) {
  const groups = [...new Set(table.map((key) => key.group))];
  insideOf(dialog).replaceChildren(
    button("Close", () => dialog.close(), { class: "close" }),
    make("h2", { id: "help-title" }, "Keys"),
    make("div", { class: "columns" }, ...groups.map((group) => make("section", {},
      make("h3", {}, group),
      make("dl", {}, ...table.filter((key) => key.group === group).flatMap((key) => [
        make("dt", {}, ...key.shown.split(" ").map((part) => make("kbd", {}, part))),
        make("dd", {}, key.say)]))))));
}
