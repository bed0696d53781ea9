// Puts the page together: desk, stage, slip, decision, keys.

/** @import {Flag, Offer, Point} from "./shapes.js" */
/** @import {Key} from "./keys.js" */
import { Brush } from "./brush.js";
import { Desk } from "./desk.js";
import { fillList, fillNumbers } from "./dialogs.js";
import { byId, calmly, dialogById, fill, selectById } from "./dom.js";
import { endSession } from "./ending.js";
import { Ink } from "./ink.js";
import { fillHelp, letGoOf, listen } from "./keys.js";
import { Lens } from "./lens.js";
import { stepBack } from "./refused.js";
import { nameAtHand, nameShown, notice } from "./signs.js";
import { showFinding, showMissing, showPaint, showTies, tellProgress } from "./slip.js";
import { Stage } from "./stage.js";
import { Trials } from "./trial.js";

const PAN_PX = 90;

const desk = new Desk();
const stage = new Stage(byId("view"), byId("divider"));
const ink = new Ink(/** @type {HTMLCanvasElement} */ (byId("ink")), stage);
const brush = new Brush(byId("ink"), stage, ink);
const lens = new Lens(byId("lens"), stage);
const trials = new Trials();
const [first, second] = [selectById("first"), selectById("second")];
const [way, marks] = [selectById("way"), selectById("marks")];
const strength = /** @type {HTMLInputElement} */ (byId("marks-strength"));

/** @type {"look" | "paint" | "tie"} */
let task = "look";
let finding = 0;
let spot = 0; // which of the finding's places the view is at
/** @type {Point | null} */
let half = null;
/** @type {0 | 1} where the half lies: 0 in the background frame, 1 in the foreground frame */
let halfSide = 0;
/** What was looked at before a task took the picture over. */
let before = { first: "", way: "alone", marks: "" };

// Pictures

function pictures() {
  return [...(desk.pair?.pictures ?? []), ...desk.previews, ...(trials.now?.pictures ?? [])];
}

/** @param {string} kind */
const pictureOf = (kind) => pictures().find((picture) => picture.kind === kind)?.id ?? "";
/** @param {string} id */
const kindOf = (id) => pictures().find((picture) => picture.id === id)?.kind ?? "";

/** Fill the sentence under the picture; what was chosen stays chosen, by kind. @param {boolean} [anew] */
function offer(anew = false) {
  const pair = desk.pair;
  if (!pair) return;
  const kinds = { first: first?.dataset.kind ?? "", second: second?.dataset.kind ?? "" };
  const options = /** @type {[string, string][]} */ (pictures().map((one) => [one.id, one.label]));
  const usual = { first: pair.merged ? "result" : "background", second: pair.merged ? "background" : "foreground" };
  fill(first, options, pictureOf(anew ? usual.first : kinds.first) || pictureOf(usual.first));
  fill(second, options, pictureOf(anew ? usual.second : kinds.second) || pictureOf(usual.second));
  fill(marks, [["", "nothing"], ...pair.marks.map((mark) => /** @type {[string, string]} */ ([mark.id, mark.label]))],
    pair.marks.find((mark) => mark.kind === marks.dataset.kind)?.id ?? "");
  if (anew) way.value = pair.merged || task === "paint" ? "alone" : "wipe";
  stage.offer(pictures(), pair.marks);
}

function show() {
  first.dataset.kind = kindOf(first.value);
  second.dataset.kind = kindOf(second.value);
  marks.dataset.kind = desk.pair?.marks.find((mark) => mark.id === marks.value)?.kind ?? "";
  second.hidden = way.value === "alone";
  strength.hidden = marks.value === "";
  if (task === "tie") ink.side = first.dataset.kind === "taken" ? 1 : 0; // where a click would lie
  stage.show({
    first: first.value, second: second.value, mark: marks.value,
    way: /** @type {"alone" | "wipe" | "turns"} */ (way.value),
    strength: Number(strength.value) / 100,
  });
}

/** @param {string} kind */
function choose(kind) {
  const id = pictureOf(kind);
  if (!id) return;
  first.value = id;
  show();
}

// The slip

/** @type {import("./slip.js").Wishes} */
const wishes = {
  fly: flyOn,
  spot: () => spot,
  flag: (step) => turnTo(finding + step),
  merge: () => desk.merge(),
  cancel: () => desk.cancel(),
  change: (name, value) => desk.set(name, value),
  tryRepair, keepRepair,
  leaveRepair: () => endTrial(),
  takeRepairBack: () => desk.takeRepairBack(),
  undo: () => desk.step("undo"),
  redo: () => desk.step("redo"),
  untie: (tie) => desk.untie(tie),
  otherSide: () => lookAtSide(ink.side === 0 ? 1 : 0),
  task: take,
};

const slip = calmly(byId("slip"), () => {
  const [pair, place] = [desk.pair, byId("slip")];
  if (!pair) return;
  if (task === "paint") showPaint(place, pair, brush, desk.previewState, wishes);
  else if (task === "tie") showTies(place, pair, ink.side, half !== null, wishes);
  else showFinding(place, pair, finding, trials.now, wishes);
});

/** @param {number} index */
function turnTo(index) {
  const many = desk.pair?.flags.length ?? 0;
  if (!many) return;
  finding = (index + many) % many;
  spot = 0;
  flown = true;
  fly();
  slip();
}

function fly() {
  const pair = desk.pair;
  const flag = pair?.flags[finding];
  if (!pair || !flag?.box) return;
  const mark = pair.marks.find((one) => one.kind === "flags");
  if (mark) marks.value = mark.id;
  show();
  stage.flyTo(placesOf(flag)[spot] ?? flag.box);
}

/** @param {Flag} flag */
const placesOf = (flag) => (flag.spots.length ? flag.spots : flag.box ? [flag.box] : []);

/** Fly to the finding; from there to its next place. Returns false when there is none left. */
function flyOn() {
  const flag = desk.pair?.flags[finding];
  const many = flag ? placesOf(flag).length : 0;
  const left = !flown || spot + 1 < many;
  spot = flown && left ? spot + 1 : 0;
  flown = true;
  fly();
  slip();
  return left;
}

/** @param {Flag} flag @param {Offer} offered */
function tryRepair(flag, offered) {
  trials.begin(desk.pair?.id ?? "", flag, offered);
  slip();
}

function showTrial() {
  offer();
  if (trials.now?.pictures.length) [first.value, second.value, way.value] = [pictureOf("repair"), pictureOf("result"), "wipe"];
  show();
  if (trials.now?.flag.box) stage.flyTo(trials.now.flag.box);
  slip();
}

async function keepRepair() {
  if (!trials.now) return;
  const { flag, offer: offered } = trials.now;
  endTrial();
  await desk.keepRepair(flag, offered);
}

function endTrial() {
  if (!trials.now) return;
  trials.now = null;
  way.value = "alone";
  first.dataset.kind = "result";
  offer();
  show();
  slip();
}

// Tasks

/** @param {"look" | "paint" | "tie"} wanted */
function take(wanted) {
  if (wanted === task || (wanted !== "look" && !desk.pair)) return;
  if (task === "look")
    before = { first: kindOf(first.value), way: way.value, marks: marks.dataset.kind ?? "" };
  endTrial();
  task = wanted;
  half = null;
  for (const name of ["look", "paint", "tie"])
    byId(`task-${name}`).setAttribute("aria-pressed", String(name === task));
  byId("stage").classList.toggle("painting", task === "paint");
  byId("stage").classList.toggle("tying", task === "tie");
  ink.visible = task === "paint";
  ink.ties = task === "tie" ? (desk.pair?.ties ?? []) : [];
  ink.half = null;
  brush.use(task === "paint");
  desk.previewWanted = task === "paint";
  marks.value = (task === "look" && desk.pair?.marks.find((mark) => mark.kind === before.marks)?.id) || "";
  if (task === "paint") {
    way.value = "alone";
    desk.preview();
    choose(pictureOf("preview") ? "preview" : desk.pair?.merged ? "result" : "background");
  } else if (task === "tie") lookAtSide(0);
  else {
    way.value = before.way;
    first.value = pictureOf(before.first) || pictureOf("result") || pictureOf("background");
    show();
  }
  ink.draw();
  slip();
}

/** @param {0 | 1} side */
function lookAtSide(side) {
  ink.side = side;
  way.value = "alone";
  choose(side === 0 ? "background" : "taken");
  ink.draw();
  slip();
}

/** @param {Point} place */
function pin(place) {
  if (!desk.pair) return;
  const side = ink.side;
  if (half === null || halfSide === side) {
    half = ink.half = place;
    halfSide = ink.halfSide = side;
    lookAtSide(side === 0 ? 1 : 0);
  } else {
    const tie = /** @type {import("./shapes.js").Tie} */ (side === 1 ? [half, place] : [place, half]);
    half = ink.half = null;
    desk.tie((ties) => [...ties, tie]);
    lookAtSide(0);
  }
}

// What is said of the pair

function head() {
  const pair = desk.pair;
  if (!pair) return;
  nameAtHand(desk, pair.name, pair.reason);
  ink.strokes = pair.strokes;
  if (task === "tie") ink.ties = pair.ties;
  ink.draw();
  if (dialogById("settings").open) numbers();
}

const numbers = calmly(dialogById("settings"), () => {
  if (desk.pair) fillNumbers(dialogById("settings"), desk.pair, wishes.change);
});

// Doors

function openList() {
  fillList(dialogById("list"), desk, desk.index, (index) => desk.go(index), end);
  dialogById("list").showModal();
}

function openNumbers() {
  if (!desk.pair) return;
  numbers();
  dialogById("settings").showModal();
}

function openHelp() {
  fillHelp(dialogById("help"), keys);
  dialogById("help").showModal();
}

function end() {
  brush.end(); // a stroke that was not lifted is kept too
  endSession(dialogById("list"), desk, () => {
    stage.viewer.removeAllHandlers("viewport-change");
    stage.viewer.removeAllHandlers("resize");
    stage.viewer.destroy();
  });
}

// Keys

const looking = () => task === "look";
const painting = () => task === "paint";
/** @param {number} x @param {number} y */
const arrow = (x, y) => () => (painting() ? brush.move(x, y) : stage.panBy(x * PAN_PX, y * PAN_PX));
const zoom = () => {
  if (stage.whole) stage.full(painting() ? (brush.at ?? undefined) : undefined);
  else stage.fit();
};
/** @param {HTMLSelectElement} select @param {number} step */
const cycle = (select, step) => {
  const many = select.options.length;
  select.selectedIndex = (select.selectedIndex + step + many) % many;
  show();
};
/** @param {number} step */
const strengthen = (step) => {
  strength.value = String(Number(strength.value) + step);
  show();
};
/** @param {string} kind */
const against = (kind) => () => {
  second.value = pictureOf(kind) || second.value;
  if (way.value === "alone") way.value = "wipe";
  show();
};

const KINDS = ["background", "foreground", "result", "plate", "matte"];

/** @type {Key[]} */
const keys = [
  { group: "Pairs", keys: ["n", "PageDown"], shown: "N", say: "next pair", run: () => desk.go(desk.index + 1) },
  { group: "Pairs", keys: ["p", "PageUp"], shown: "P", say: "previous pair", run: () => desk.go(desk.index - 1) },
  { group: "Pairs", keys: ["l"], shown: "L", say: "list of pairs", run: openList },
  { group: "Decision", keys: ["a"], shown: "A", say: "accept", run: () => desk.decide("accepted") },
  { group: "Decision", keys: ["s"], shown: "S", say: "send back", run: () => desk.decide("sent-back") },
  { group: "Decision", keys: ["k"], shown: "K", say: "skip for now", run: () => desk.decide("skipped") },
  { group: "Findings", keys: ["f"], shown: "F", say: "fly to the finding, its next place, the next finding",
    run: () => { if (!looking()) flown = false; take("look"); if (!flyOn()) turnTo(finding + 1); } },
  { group: "Findings", keys: ["d"], shown: "D", say: "previous finding", run: () => { take("look"); turnTo(finding - 1); } },
  ...KINDS.map((kind, i) => /** @type {Key} */ ({ group: "Picture", keys: [String(i + 1)], shown: String(i + 1),
    say: kind === "result" ? "result" : kind === "plate" || kind === "matte" ? kind : `${kind} frame`, run: () => choose(kind) })),
  ...KINDS.map((kind, i) => /** @type {Key} */ ({ group: "Compare", keys: [`Shift+${i + 1}`], shown: `Shift ${i + 1}`,
    say: `against ${kind === "background" || kind === "foreground" ? `the ${kind} frame` : `the ${kind}`}`, run: against(kind) })),
  { group: "Compare", keys: ["w"], shown: "W", say: "alone, wiped, in turns", run: () => cycle(way, 1) },
  { group: "Compare", keys: [","], shown: ",", say: "wipe to the left", run: () => stage.wipeTo(stage.share - 0.04) },
  { group: "Compare", keys: ["."], shown: ".", say: "wipe to the right", run: () => stage.wipeTo(stage.share + 0.04) },
  { group: "Compare", keys: ["Space"], shown: "Space", say: "the other picture", run: other },
  { group: "View", keys: ["z"], shown: "Z", say: "whole picture or 100 %", run: zoom },
  { group: "View", keys: ["+", "="], shown: "+", say: "nearer", run: () => stage.zoomBy(1.5) },
  { group: "View", keys: ["-"], shown: "-", say: "farther", run: () => stage.zoomBy(1 / 1.5) },
  { group: "View", keys: ["ArrowLeft"], shown: "←", say: "move left (the brush, when painting)", run: arrow(-1, 0) },
  { group: "View", keys: ["ArrowRight"], shown: "→", say: "move right", run: arrow(1, 0) },
  { group: "View", keys: ["ArrowUp"], shown: "↑", say: "move up", run: arrow(0, -1) },
  { group: "View", keys: ["ArrowDown"], shown: "↓", say: "move down", run: arrow(0, 1) },
  { group: "View", keys: ["m"], shown: "M", say: "magnifier", run: magnify },
  { group: "View", keys: ["o"], shown: "O", say: "next kind of marks", run: () => cycle(marks, 1) },
  { group: "View", keys: ["Shift+o"], shown: "Shift O", say: "previous kind of marks", run: () => cycle(marks, -1) },
  { group: "View", keys: ["c"], shown: "C", say: "clipped pixels", run: () => toggleMark("clipped") },
  { group: "View", keys: ["u"], shown: "U", say: "fainter marks", run: () => strengthen(-10) },
  { group: "View", keys: ["i"], shown: "I", say: "stronger marks", run: () => strengthen(10) },
  { group: "View", keys: ["y"], shown: "Y", say: "fold the slip away", run: foldSlip },
  { group: "Paint", keys: ["b"], shown: "B", say: "paint, or stop painting", run: () => take(painting() ? "look" : "paint") },
  { group: "Paint", keys: ["g"], shown: "G", say: "foreground", when: painting, run: () => brush.take("foreground") },
  { group: "Paint", keys: ["h"], shown: "H", say: "background", when: painting, run: () => brush.take("background") },
  { group: "Paint", keys: ["e"], shown: "E", say: "erase", when: painting, run: () => brush.take("erase") },
  { group: "Paint", keys: ["9"], shown: "9", say: "thinner brush", when: painting, run: () => brush.resize(-1) },
  { group: "Paint", keys: ["0"], shown: "0", say: "thicker brush", when: painting, run: () => brush.resize(1) },
  { group: "Paint", keys: ["r"], shown: "R", say: "take a zone by a click", when: painting, run: () => brush.takeZones(!brush.takingZone) },
  { group: "Paint", keys: ["Enter"], shown: "Enter", say: "put the brush down, lift it", when: painting, run: () => brush.press() },
  { group: "Paint", keys: ["Ctrl+z"], shown: "Ctrl Z", say: "undo", run: () => desk.step("undo") },
  { group: "Paint", keys: ["Ctrl+y", "Ctrl+Shift+z"], shown: "Ctrl Y", say: "redo", run: () => desk.step("redo") },
  { group: "Pair", keys: ["t"], shown: "T", say: "tie points, or stop", run: () => take(task === "tie" ? "look" : "tie") },
  { group: "Pair", keys: ["j"], shown: "J", say: "numbers of this pair", run: openNumbers },
  { group: "Pair", keys: ["Shift+Enter"], shown: "Shift Enter", say: "merge at full size", run: () => desk.merge() },
  { group: "Pair", keys: ["Escape"], shown: "Esc", say: "back to looking", run: () => take("look") },
  { group: "Pair", keys: ["?"], shown: "?", say: "this list", run: openHelp },
];
let flown = false;

function other() {
  if (task === "tie") lookAtSide(ink.side === 0 ? 1 : 0);
  else if (way.value === "turns") stage.turn();
  else {
    [first.value, second.value] = [second.value, first.value];
    show();
  }
}

function magnify() {
  lens.use(!lens.on);
  byId("lens-toggle").setAttribute("aria-pressed", String(lens.on));
}

/** @param {string} kind */
function toggleMark(kind) {
  const mark = desk.pair?.marks.find((one) => one.kind === kind);
  if (mark) marks.value = marks.value === mark.id ? "" : mark.id;
  show();
}

function foldSlip() {
  byId("desk").classList.toggle("folded");
}

// Wiring

/** Let go of what belongs to the pair before. */
function forget() {
  trials.now = null;
  half = ink.half = null;
  finding = spot = 0;
  flown = false;
  brush.at = brush.last = null;
}

desk.addEventListener("pair", () => {
  const pair = desk.pair;
  if (!pair) return;
  forget();
  stage.clear(pair.size);
  brush.diameter_px = Math.max(Math.round(Math.max(...pair.size) / 50), 4);
  offer(true);
  show();
  head();
  if (task === "tie") lookAtSide(0);
  slip(true); // a button of the pair before must not act on this one
});
desk.addEventListener("leave", () => brush.end());
desk.addEventListener("change", () => {
  finding = Math.min(finding, Math.max((desk.pair?.flags.length ?? 1) - 1, 0));
  spot = Math.min(spot, Math.max((desk.pair?.flags[finding]?.spots.length ?? 1) - 1, 0));
  offer();
  show();
  head();
  slip();
});
desk.addEventListener("progress", () => {
  const part = document.getElementById("job");
  if (part && desk.pair?.job) tellProgress(part, desk.pair.job);
});
desk.addEventListener("missing", (event) => {
  const { name, words } = /** @type {CustomEvent} */ (event).detail;
  forget();
  for (const select of [first, second, marks]) fill(select, [], "");
  stage.clear([3, 2]);
  stage.offer([], []);
  take("look");
  way.value = "alone";
  show();
  [ink.strokes, ink.ties] = [[], []];
  ink.draw();
  dialogById("settings").close(); // its numbers are of the pair before
  nameAtHand(desk, name, words);
  showMissing(byId("slip"), words);
});
desk.addEventListener("preview", () => {
  const had = kindOf(first.value);
  offer();
  if (task === "paint" && pictureOf("preview") && (had === "result" || had === "background" || had === "preview" || had === ""))
    choose("preview");
  else show();
  slip();
});
trials.addEventListener("ready", showTrial);
trials.addEventListener("refused", (event) => {
  endTrial();
  notice(/** @type {CustomEvent} */ (event).detail);
});
desk.addEventListener("trouble", (event) => notice(/** @type {CustomEvent} */ (event).detail));
stepBack(stage, { first, second, marks }, show);
for (const event of ["move", "show"]) stage.addEventListener(event, () => nameShown(stage));
brush.addEventListener("change", () => slip());
brush.addEventListener("stroke", (event) => {
  const strokes = /** @type {CustomEvent} */ (event).detail;
  ink.strokes = [...ink.strokes, ...strokes];
  desk.paint(strokes);
});
brush.addEventListener("zone", (event) => {
  brush.takeZones(false);
  desk.zone(/** @type {CustomEvent} */ (event).detail, brush.role);
});
stage.viewer.addHandler("canvas-click", (event) => {
  if (!event.quick) return; // a drag moves the picture
  if (task === "tie") pin(stage.toPicture([event.position.x, event.position.y]));
  else if (way.value === "turns") stage.turn();
});
for (const control of [first, second, way, marks]) {
  letGoOf(control);
  control.addEventListener("change", () => {
    show();
    if (task === "tie") slip();
  });
}
strength.addEventListener("input", show);
byId("look").addEventListener("submit", (event) => event.preventDefault());
byId("previous").addEventListener("click", () => desk.go(desk.index - 1));
byId("next").addEventListener("click", () => desk.go(desk.index + 1));
byId("list-open").addEventListener("click", openList);
byId("settings-open").addEventListener("click", openNumbers);
byId("help-open").addEventListener("click", openHelp);
byId("zoom").addEventListener("click", zoom);
byId("lens-toggle").addEventListener("click", magnify);
for (const name of /** @type {const} */ (["look", "paint", "tie"]))
  byId(`task-${name}`).addEventListener("click", () => take(name));
for (const decision of /** @type {const} */ (["accepted", "sent-back", "skipped"]))
  byId(`decide-${decision}`).addEventListener("click", () => desk.decide(decision));
addEventListener("hashchange", () => {
  const index = desk.pairs.findIndex((pair) => `#${pair.id}` === location.hash);
  if (index >= 0 && index !== desk.index) desk.go(index);
});
listen(keys);
desk.open();
