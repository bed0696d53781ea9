// The slip beside the picture: the finding at hand, or the task.

/** @import {Flag, Job, Offer, Pair, Role, Tie} from "./shapes.js" */
/** @import {Brush} from "./brush.js" */
import { isUnderWay } from "./desk.js";
import { button, make, putAnew } from "./dom.js";
import { numberField } from "./fields.js";

/** @typedef {import("./fields.js").Change} Change */
/**
 * What the slip may ask for.
 * @typedef {{fly: () => void, spot: () => number, flag: (step: number) => void, merge: () => void, cancel: () => void,
 *   change: Change, tryRepair: (flag: Flag, offer: Offer) => void, keepRepair: () => void,
 *   leaveRepair: () => void, takeRepairBack: () => void, undo: () => void, redo: () => void, untie: (tie: Tie) => void,
 *   otherSide: () => void, task: (task: "look" | "paint" | "tie") => void}} Wishes
 */

const SEVERITY = { note: "Worth knowing", warn: "Worth a look", fail: "Goes wrong" };
const ROLES = /** @type {[Role, string, string, string][]} */ ([
  ["foreground", "Foreground", "G", "Mark a bough: what hangs together with it is taken, and what looks like it."],
  ["background", "Background", "H", "Not this: left out along the bough, as far as three times the mark's length."],
  ["erase", "Erase", "E", "Take paint away, either kind."],
]);

/** @param {HTMLElement} slip @param {(HTMLElement | null)[]} parts */
function put(slip, parts) {
  const name = (/** @type {Element} */ held) => held.getAttribute("data-keep");
  putAnew(slip, parts.filter((part) => part !== null), (held) => name(held) ? `[data-keep="${name(held)}"]` : "");
}

/**
 * @param {HTMLElement} slip @param {Pair} pair @param {number} index
 * @param {{flag: Flag, offer: Offer, ready: boolean} | null} trial @param {Wishes} wishes
 */
export function showFinding(slip, pair, index, trial, wishes) {
  const flag = pair.flags[index];
  const parts = [working(pair, wishes)];
  if (trial) parts.push(...trialParts(trial, wishes));
  else if (flag) parts.push(...flagParts(pair, flag, index, wishes));
  else parts.push(...calmParts(pair, wishes));
  if (pair.merged && pair.repair && !trial && !pair.stale) parts.push(...keptParts(pair.repair, wishes));
  for (const note of pair.notes) parts.push(make("p", { class: "advice" }, note));
  put(slip, parts);
}

/** @param {Pair} pair @param {Flag} flag @param {number} index @param {Wishes} wishes */
function flagParts(pair, flag, index, wishes) {
  const many = pair.flags.length > 1;
  const near = pair.fields.filter((field) => flag.settings.includes(field.name));
  return [
    make("h2", {}, (many ? `Finding ${index + 1} of ${pair.flags.length}` : "Finding")
      + (flag.spots.length > 1 ? `, place ${wishes.spot() + 1} of ${flag.spots.length}` : "")),
    make("div", { class: flag.severity }, make("span", { class: "swatch" }), SEVERITY[flag.severity]),
    make("p", { class: "message" }, sentence(flag.message)),
    make("p", { class: "advice" }, make("b", {}, "What helps: "), sentence(flag.advice)),
    make("div", { class: "row" },
      flag.box && button("Show it", wishes.fly, { title: "Fly to its place, then to its next (F)", "data-keep": "fly" }),
      many && button("‹", () => wishes.flag(-1), { "aria-label": "Previous finding", title: "Previous finding (D)", "data-keep": "before" }),
      many && button("›", () => wishes.flag(1), { "aria-label": "Next finding", title: "Next finding (F)", "data-keep": "after" })),
    ...flag.repairs.map((offer) => make("div", { class: "row" },
      button(offer.label, () => wishes.tryRepair(flag, offer), { title: offer.help, "data-keep": `repair-${offer.mode}` }))),
    near.length > 0 ? make("hr") : null,
    ...near.map((field) => numberField(field, wishes.change)),
  ];
}

/** @param {{flag: Flag, offer: Offer, ready: boolean}} trial @param {Wishes} wishes */
function trialParts(trial, wishes) {
  return [
    make("h2", {}, "A repair on trial"),
    make("p", { class: "message" }, trial.offer.label),
    make("p", { class: "advice" }, trial.offer.mode === "bridge"
      ? "A bridge frame is laid in at full size only: keep it, look, and take it back if it does not help."
      : trial.ready ? "The picture shows the repair, nothing is changed yet. Keep it, or leave the result as it is."
      : "The repair is being worked out…"),
    make("div", { class: "row" },
      button("Keep it", wishes.keepRepair, { disabled: !trial.ready, "data-keep": "keep" }),
      button("Leave it", wishes.leaveRepair, { "data-keep": "leave" })),
  ];
}

/** @param {string} repair @param {Wishes} wishes */
function keptParts(repair, wishes) {
  return [
    make("hr"),
    make("p", { class: "advice" }, make("b", {}, "Repaired: "), sentence(repair)),
    make("div", { class: "row" },
      button("Take the repair back", wishes.takeRepairBack, { title: "Merge again without it", "data-keep": "back" })),
  ];
}

/** @param {Pair} pair @param {Wishes} wishes */
function calmParts(pair, wishes) {
  if (!pair.merged)
    return [
      make("h2", {}, "Not merged yet"),
      make("p", { class: "message" }, "Merge it as it is, or paint first what is foreground."),
      make("p", { class: "advice" }, "A merge in full runs behind the page; you can go on with other pairs."),
      isUnderWay(pair.job) ? null : make("div", { class: "row" },
        button("Merge", wishes.merge, { "data-keep": "merge" }),
        button("Paint first", () => wishes.task("paint"))),
    ];
  return [
    make("h2", {}, "No findings"),
    make("p", { class: "message" }, "Nothing was found that needs a repair."),
    make("p", { class: "advice" }, "Before you accept, look once along the edges of the foreground at 100 %."),
  ];
}

/** @param {Pair} pair @param {Wishes} wishes */
function working(pair, wishes) {
  const job = pair.job;
  if (job && isUnderWay(job)) return jobPart(job, wishes);
  if (job?.state === "failed")
    return make("div", {}, make("h2", {}, "The merge ended"), make("p", { class: "message" }, sentence(job.error)),
      make("div", { class: "row" }, button("Merge again", wishes.merge, { "data-keep": "merge" }),
        button("Tie points", () => wishes.task("tie"))));
  if (!pair.merged && pair.flags.length)
    return make("div", { class: "row" }, button("Merge", wishes.merge, { title: "Shift+Enter", "data-keep": "merge" }),
      button("Tie points", () => wishes.task("tie")));
  if (pair.stale && pair.merged)
    return make("div", {}, make("p", { class: "message" }, "Strokes, ties or numbers have changed since this result."),
      make("div", { class: "row" }, button("Merge again", wishes.merge, { title: "Shift+Enter", "data-keep": "merge" })));
  return null;
}

/** @param {Job} job @param {Wishes} wishes */
function jobPart(job, wishes) {
  const part = make("div", { id: "job" }, make("h2"), make("progress", { max: 1, "aria-label": "Merge" }),
    make("div", { class: "row" }, button("Stop", wishes.cancel, { "data-keep": "stop" })));
  tellProgress(part, job);
  return part;
}

/** Say how far a merge is in the part that is there, so that nothing else is made anew. @param {HTMLElement} part @param {Job} job */
export function tellProgress(part, job) {
  const said = job.state === "waiting" ? "waits for another merge" : job.stage || "starting";
  const title = /** @type {HTMLElement} */ (part.querySelector("h2"));
  title.textContent = `Merging at full size: ${said}`;
  const bar = /** @type {HTMLProgressElement} */ (part.querySelector("progress"));
  if (job.state === "running") bar.value = job.share;
  else bar.removeAttribute("value");
}

/** @param {HTMLElement} slip @param {Pair} pair @param {Brush} brush @param {string} preview @param {Wishes} wishes */
export function showPaint(slip, pair, brush, preview, wishes) {
  const inks = pair.strokes.some((stroke) => stroke.role === "foreground");
  put(slip, [
    make("h2", {}, "Paint"),
    make("p", { class: "advice" }, inks
      ? "A few strokes are enough; they decide about whole boughs."
      : "Nothing is marked as foreground yet: everything that was found is taken."),
    make("div", { class: "roles", role: "group", "aria-label": "Brush" }, ...ROLES.map((role) => roleButton(role, brush))),
    make("div", { class: "number" },
      make("label", { htmlFor: "brush-size" }, "Brush"),
      make("input", { id: "brush-size", type: "number", min: "1", step: "any", "data-keep": "size",
        value: String(Math.round(brush.diameter_px * 10) / 10),
        onchange: (/** @type {Event} */ event) => {
          brush.diameter_px = Math.max(/** @type {HTMLInputElement} */ (event.target).valueAsNumber || 1, 1);
          brush.resize(0);
        } }),
      make("span", { class: "unit" }, "px"),
      make("small", {}, "diameter in the picture; wheel, or keys 9 and 0")),
    make("div", { class: "row" },
      button("Take a zone", () => brush.takeZones(!brush.takingZone),
        { "aria-pressed": String(brush.takingZone), title: "Click a connected region (R)", "data-keep": "zone" })),
    make("div", { class: "row" },
      button("Undo", wishes.undo, { disabled: !pair.undo, title: "Ctrl+Z", "data-keep": "undo" }),
      button("Redo", wishes.redo, { disabled: !pair.redo, title: "Ctrl+Y", "data-keep": "redo" })),
    make("p", { class: "advice", id: "preview-state", role: "status" }, preview),
    ...pair.notes.map((note) => make("p", { class: "message" }, note)),
    make("hr"),
    working(pair, wishes) ?? make("div", { class: "row" },
      button("Merge in full", wishes.merge, { title: "Shift+Enter", "data-keep": "merge" })),
  ]);
}

/** @param {[Role, string, string, string]} role @param {Brush} brush */
function roleButton([role, name, key, help], brush) {
  return make("button", { type: "button", class: `role-${role}`, "data-keep": role,
    "aria-pressed": String(brush.role === role), onclick: () => brush.take(role) },
    make("span", { class: "swatch" }), make("span", {}, name), make("kbd", {}, key), make("small", {}, help));
}

/** @param {HTMLElement} slip @param {Pair} pair @param {0 | 1} side @param {boolean} half @param {Wishes} wishes */
export function showTies(slip, pair, side, half, wishes) {
  const where = side === 0 ? "the background frame" : "the foreground frame";
  put(slip, [
    make("h2", {}, "Tie points together"),
    make("p", { class: "message" }, half
      ? `Now click the same thing in ${where}.`
      : `Click something sharp and still in ${where}.`),
    make("p", { class: "advice" }, "Use things far from the boughs: the sitter's eyes, a gate, a roof. Two points fix shift, turn and scale; four are better."),
    make("ol", {}, ...pair.ties.map((tie, index) => make("li", {},
      `${tie[0].map(Math.round).join(", ")} → ${tie[1].map(Math.round).join(", ")} px `,
      button("Remove", () => wishes.untie(tie), { "aria-label": `Remove tie ${index + 1}` })))),
    make("div", { class: "row" }, button("Show the other frame", wishes.otherSide, { title: "Space", "data-keep": "side" })),
    make("hr"),
    working(pair, wishes) ?? make("div", { class: "row" },
      button("Merge with these ties", wishes.merge, { disabled: pair.ties.length < 2, "data-keep": "merge" })),
  ]);
}

/** @param {HTMLElement} slip @param {string} words */
export function showMissing(slip, words) {
  put(slip, [
    make("h2", {}, "This pair cannot be shown"),
    make("p", { class: "message" }, sentence(words)),
    make("p", { class: "advice" }, "Put the file back where it was and load the page again, or go on to another pair (N)."),
    make("p", { class: "advice" }, "Until then it cannot be painted, tied or decided; what was painted and decided before is kept."),
  ]);
}

/** Upper case first, a full stop last. @param {string} text */
export function sentence(text) {
  if (!text) return "";
  const whole = text.startsWith("f/") ? text : text.charAt(0).toUpperCase() + text.slice(1);
  return /[.!?…]$/.test(whole) ? whole : `${whole}.`;
}
