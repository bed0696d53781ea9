// The brush: pointer, pen, finger or keys become strokes, which are data.

/** @import {Stroke, Role, Point} from "./shapes.js" */
/** @import {Stage} from "./stage.js" */
/** @import {Ink} from "./ink.js" */

const SIZE_STEP = 1.18;
const PRESSURE_STEP = 1.2;
const WHEEL_STEP = 60;
const LEAST_PX = 1;
const MOST_POINTS = 4000;

/** Raises "stroke" with the finished strokes, "zone" with a place, "change" when its kind changes. */
export class Brush extends EventTarget {
  /** @param {HTMLElement} surface @param {Stage} stage @param {Ink} ink */
  constructor(surface, stage, ink) {
    super();
    this.surface = surface;
    this.stage = stage;
    this.ink = ink;
    this.on = false;
    /** @type {Role} */
    this.role = "foreground";
    this.diameter_px = 40;
    this.takingZone = false;
    /** @type {Stroke[]} */
    this.strokes = [];
    /** @type {Point | null} */
    this.at = null;
    /** @type {Point | null} */
    this.last = null;
    this.down = false;
    this.turned = 0;
    /** @type {Map<number, Point>} */
    this.fingers = new Map();
    surface.addEventListener("pointerdown", (event) => this.#press(event));
    surface.addEventListener("pointermove", (event) => this.#drag(event));
    surface.addEventListener("pointerup", (event) => this.#lift(event));
    surface.addEventListener("pointercancel", (event) => this.#lift(event));
    surface.addEventListener("pointerleave", () => this.#leave());
    surface.addEventListener("wheel", (event) => this.#wheel(event), { passive: false });
  }

  /** @param {boolean} on */
  use(on) {
    this.on = on;
    this.end();
    this.takingZone = false;
    if (on && !this.at) this.at = this.stage.middle;
    this.#redraw();
  }

  /** @param {Role} role */
  take(role) {
    this.role = role;
    this.#changed();
  }

  /** @param {number} steps */
  resize(steps) {
    const most = Math.max(...this.stage.size) / 2;
    const wanted = this.diameter_px * SIZE_STEP ** steps;
    this.diameter_px = Math.min(Math.max(wanted, LEAST_PX), most);
    this.#changed();
  }

  /** @param {boolean} taking */
  takeZones(taking) {
    this.takingZone = taking;
    this.#changed();
  }

  // By pointer

  /** @param {PointerEvent} event @returns {Point} */
  #place(event) {
    const box = this.surface.getBoundingClientRect();
    return [event.clientX - box.left, event.clientY - box.top];
  }

  /** @param {PointerEvent} event */
  #press(event) {
    if (!this.on) return;
    this.surface.setPointerCapture(event.pointerId);
    this.fingers.set(event.pointerId, this.#place(event));
    if (this.fingers.size > 1) {
      this.#drop();
      return;
    }
    if (event.button !== 0) return;
    const place = this.stage.toPicture(this.#place(event));
    if (this.takingZone) {
      this.dispatchEvent(new CustomEvent("zone", { detail: place }));
      return;
    }
    const from = event.shiftKey && this.last ? this.last : place;
    this.begin(from, this.#width(event));
    if (from !== place) this.#extend(place, this.#width(event));
  }

  /** @param {PointerEvent} event */
  #drag(event) {
    if (!this.on) return;
    const before = this.fingers.get(event.pointerId);
    const here = this.#place(event);
    if (before) this.fingers.set(event.pointerId, here);
    if (before && this.fingers.size === 2) this.#pinch(event.pointerId, before, here);
    else if (before && event.buttons & 4)
      this.stage.panBy(before[0] - here[0], before[1] - here[1], true);
    this.at = this.stage.toPicture(here);
    const between = event.getCoalescedEvents?.() ?? [];
    if (this.down && this.fingers.size === 1)
      for (const step of between.length ? between : [event])
        this.#extend(this.stage.toPicture(this.#place(step)), this.#width(step));
    this.#redraw();
  }

  /** @param {PointerEvent} event */
  #lift(event) {
    this.fingers.delete(event.pointerId);
    if (this.down && this.fingers.size === 0) this.end();
  }

  #leave() {
    if (this.down) return;
    this.ink.brush = null;
    this.ink.draw();
  }

  /** @param {WheelEvent} event */
  #wheel(event) {
    if (!this.on) return;
    event.preventDefault();
    if (!event.deltaY) return;
    if (event.ctrlKey || event.metaKey) {
      const box = this.surface.getBoundingClientRect();
      const at = /** @type {Point} */ ([event.clientX - box.left, event.clientY - box.top]);
      this.stage.zoomBy(event.deltaY < 0 ? 1.25 : 0.8, at);
      return;
    }
    // A wheel's notch is one step; a trackpad's many small turns add up to one.
    this.turned = Math.sign(this.turned) === Math.sign(event.deltaY) ? this.turned + event.deltaY : event.deltaY;
    if (Math.abs(this.turned) < WHEEL_STEP && event.deltaMode === WheelEvent.DOM_DELTA_PIXEL) return;
    this.turned = 0;
    this.resize(event.deltaY < 0 ? 1 : -1);
  }

  /** Two fingers move the picture. @param {number} id @param {Point} before @param {Point} here */
  #pinch(id, before, here) {
    const other = [...this.fingers].find(([key]) => key !== id)?.[1];
    if (!other) return;
    const apart = (/** @type {Point} */ p) => Math.hypot(p[0] - other[0], p[1] - other[1]);
    const middle = /** @type {Point} */ ([(here[0] + other[0]) / 2, (here[1] + other[1]) / 2]);
    this.stage.panBy((before[0] - here[0]) / 2, (before[1] - here[1]) / 2, true);
    if (apart(before) > 8) this.stage.zoomBy(apart(here) / apart(before), middle);
  }

  /** Diameter under a pen's pressure. @param {PointerEvent} event */
  #width(event) {
    const pressed = event.pointerType === "pen" && event.pressure > 0;
    return pressed ? this.diameter_px * (0.3 + 1.4 * event.pressure) : this.diameter_px;
  }

  // By key: the arrows move the brush, Enter puts it down and lifts it.

  /** @param {number} right @param {number} below */
  move(right, below) {
    const reach = Math.max(this.diameter_px / 2, 4 / this.stage.scale);
    const [x, y] = this.at ?? this.stage.middle;
    const [width, height] = this.stage.size;
    this.at = [
      Math.min(Math.max(x + right * reach, 0), width - 1),
      Math.min(Math.max(y + below * reach, 0), height - 1),
    ];
    if (this.down) this.#extend(this.at, this.diameter_px);
    const [left, top] = this.stage.toStage(this.at);
    const { clientWidth: wide, clientHeight: high } = this.stage.element;
    // The view goes along with a brush that leaves it.
    if (left < 0 || top < 0 || left > wide || top > high) this.stage.panBy(left - wide / 2, top - high / 2, true);
    this.#redraw();
  }

  press() {
    const place = this.at ?? this.stage.middle;
    if (this.takingZone) this.dispatchEvent(new CustomEvent("zone", { detail: place }));
    else if (this.down) this.end();
    else this.begin(place, this.diameter_px);
  }

  // Strokes

  /** @param {Point} place @param {number} width */
  begin(place, width) {
    this.down = true;
    this.strokes = [{ points: [rounded(place)], diameter_px: tenth(width), role: this.role }];
    this.last = place;
    this.#redraw();
  }

  /** @param {Point} place @param {number} width */
  #extend(place, width) {
    const stroke = this.strokes[this.strokes.length - 1];
    if (!stroke) return;
    const end = stroke.points[stroke.points.length - 1] ?? place;
    if (Math.hypot(place[0] - end[0], place[1] - end[1]) < 0.75 / this.stage.scale) return;
    const ratio = width / stroke.diameter_px;
    const pressed = ratio > PRESSURE_STEP || ratio < 1 / PRESSURE_STEP;
    // A stroke has one diameter; a pen pressed harder goes on as another one.
    if (pressed || stroke.points.length >= MOST_POINTS)
      this.strokes.push({ points: [end, rounded(place)], diameter_px: tenth(width), role: this.role });
    else stroke.points.push(rounded(place));
    this.last = place;
    this.#redraw();
  }

  end() {
    if (!this.down) return;
    const strokes = this.strokes;
    this.#drop();
    this.dispatchEvent(new CustomEvent("stroke", { detail: strokes }));
  }

  #drop() {
    this.down = false;
    this.strokes = [];
    this.#redraw();
  }

  #redraw() {
    this.ink.fresh = this.strokes;
    this.ink.brush =
      this.on && this.at ? { at: this.at, diameter_px: this.diameter_px, role: this.role } : null;
    this.ink.draw();
  }

  #changed() {
    this.#redraw();
    this.dispatchEvent(new Event("change"));
  }
}

/** @param {number} value */
const tenth = (value) => Math.round(value * 10) / 10;
/** @param {Point} place @returns {Point} */
const rounded = (place) => [tenth(place[0]), tenth(place[1])];
