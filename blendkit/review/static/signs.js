// What the page says by itself: what is shown, what went wrong, that it has ended.

/** @import {Desk} from "./desk.js" */
/** @import {Stage} from "./stage.js" */
import { byId, make } from "./dom.js";
import { sentence } from "./slip.js";

const NOTICE_MS = 7000;
const place = byId("notice"); // kept, as a page whose dialogs come and go might no longer hold it

/**
 * Say which pair is at hand, why it wants a look, and what was decided; what cannot be done without a
 * pair is out of reach while it cannot be shown.
 * @param {Desk} desk @param {string} name @param {string} words
 */
export function nameAtHand({ pair, pairs, index }, name, words) {
  const open = pairs.filter((one) => one.decision === "open").length;
  document.title = `${name} – blendkit review`;
  byId("position").textContent = `${index + 1} of ${pairs.length}`;
  byId("list-open").setAttribute("aria-label", `Pair ${index + 1} of ${pairs.length}, ${open} to decide: list them`);
  byId("name").textContent = pair ? `${name} · ${open} to decide` : name;
  byId("reason").textContent = sentence(words);
  for (const decision of ["accepted", "sent-back", "skipped"])
    byId(`decide-${decision}`).setAttribute("aria-pressed", String(pair?.decision === decision));
  for (const id of ["task-paint", "task-tie", "settings-open", "decide-accepted", "decide-sent-back", "decide-skipped"])
    byId(id).toggleAttribute("disabled", !pair);
}

/** Name what the stage shows, and how large. @param {Stage} stage */
export function nameShown(stage) {
  const [left, right] = [byId("shown-left"), byId("shown-right")];
  const name = (/** @type {string} */ id) => {
    const picture = stage.pictures.get(id);
    return picture ? [picture.label, picture.note].filter(Boolean).join(" · ") : "";
  };
  left.textContent = name(stage.turned ? stage.shown.second : stage.shown.first);
  right.textContent = name(stage.shown.second);
  right.hidden = stage.shown.way !== "wipe";
  const percent = stage.scale * devicePixelRatio * 100;
  byId("zoom-now").textContent = stage.pictures.size && Number.isFinite(percent) ? `${percent < 10 ? percent.toFixed(1) : Math.round(percent)} %` : "fit";
}

/** Say something for some seconds. @param {string} words */
export function notice(words) {
  // What lies outside an open dialog is hidden behind it, and what lies in a closed one is gone with it.
  const dialog = document.querySelector("dialog[open]");
  (dialog ?? document.body).append(place);
  dialog?.addEventListener("close", () => document.body.append(place), { once: true });
  place.textContent = sentence(words);
  place.hidden = false;
  clearTimeout(Number(place.dataset.timer));
  place.dataset.timer = String(setTimeout(() => { place.hidden = true; }, NOTICE_MS));
}

/** Leave nothing of the page but the word that it has ended. @param {string[]} cut  pairs whose merge was ended with it */
export function farewell(cut) {
  document.title = "blendkit review has ended";
  document.body.replaceChildren(make("div", { class: "ended" },
    make("p", {}, cut.length ? "All that was painted, tied, set and decided is saved." : "Everything is saved.", " This page can be closed."),
    cut.length > 0 && make("p", {}, `Not merged: ${cut.join(", ")}. Open the page again to merge ${cut.length === 1 ? "it" : "them"}.`)));
}
