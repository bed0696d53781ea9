// Draws strokes over the picture: hatched, so that they are told apart without colour.

/** @import {Stroke, Role, Point, Tie} from "./shapes.js" */
/** @import {Stage} from "./stage.js" */

/** @param {string} color @param {string} line @param {number} lean  1 or -1 */
function hatch(color, line, lean) {
  const tile = new OffscreenCanvas(10, 10);
  const pen = /** @type {OffscreenCanvasRenderingContext2D} */ (tile.getContext("2d"));
  pen.fillStyle = color;
  pen.fillRect(0, 0, 10, 10);
  pen.strokeStyle = line;
  pen.lineWidth = 1.6;
  for (const shift of [-10, 0, 10]) {
    pen.beginPath();
    pen.moveTo(shift, lean > 0 ? 10 : 0);
    pen.lineTo(shift + 10, lean > 0 ? 0 : 10);
    pen.stroke();
  }
  return tile;
}

export class Ink {
  /** @param {HTMLCanvasElement} canvas @param {Stage} stage */
  constructor(canvas, stage) {
    this.canvas = canvas;
    this.stage = stage;
    this.pen = /** @type {CanvasRenderingContext2D} */ (canvas.getContext("2d"));
    this.hatches = {
      foreground: hatch("rgb(0 114 178 / 45%)", "rgb(255 255 255 / 75%)", 1),
      background: hatch("rgb(230 159 0 / 45%)", "rgb(0 0 0 / 75%)", -1),
    };
    /** @type {Stroke[]} */
    this.strokes = [];
    /** @type {Stroke[]} */
    this.fresh = [];
    /** @type {{at: Point, diameter_px: number, role: Role} | null} */
    this.brush = null;
    /** @type {Tie[]} */
    this.ties = [];
    /** @type {Point | null} */
    this.half = null;
    /** @type {0 | 1} */
    this.halfSide = 0;
    /** @type {0 | 1} */
    this.side = 0;
    this.visible = false;
    this.waiting = false;
    stage.addEventListener("move", () => this.draw());
    new ResizeObserver(() => this.draw()).observe(canvas);
  }

  draw() {
    if (this.waiting) return;
    this.waiting = true;
    requestAnimationFrame(() => {
      this.waiting = false;
      this.#draw();
    });
  }

  #draw() {
    const ratio = devicePixelRatio;
    const [width, height] = [this.canvas.clientWidth * ratio, this.canvas.clientHeight * ratio];
    if (!width || !height) return; // once the page has ended, a hatch finds nothing to lie on
    if (this.canvas.width !== width || this.canvas.height !== height) {
      this.canvas.width = width;
      this.canvas.height = height;
    }
    this.pen.setTransform(ratio, 0, 0, ratio, 0, 0);
    this.pen.clearRect(0, 0, width, height);
    if (this.visible) for (const stroke of [...this.strokes, ...this.fresh]) this.#stroke(stroke);
    this.#drawTies();
    if (this.brush) this.#drawBrush(this.brush);
  }

  /** @param {Stroke} stroke */
  #stroke(stroke) {
    // A line "nearer" paints nothing; it comes from a file, and goes back to it.
    if (stroke.role === "nearer") return;
    const pen = this.pen;
    // Later strokes replace what they cross, as in the mask that is made of them.
    for (const mode of /** @type {const} */ (["destination-out", "source-over"])) {
      if (mode === "source-over" && stroke.role === "erase") break;
      pen.globalCompositeOperation = mode;
      pen.strokeStyle = stroke.role === "erase" || mode === "destination-out"
        ? "#000"
        : /** @type {CanvasPattern} */ (pen.createPattern(this.hatches[stroke.role], "repeat"));
      this.#trace(stroke);
    }
    pen.globalCompositeOperation = "source-over";
  }

  /** @param {Stroke} stroke */
  #trace(stroke) {
    const pen = this.pen;
    pen.lineCap = "round";
    pen.lineJoin = "round";
    pen.lineWidth = Math.max(stroke.diameter_px * this.stage.scale, 1);
    pen.beginPath();
    stroke.points.forEach((point, index) => {
      const [x, y] = this.stage.toStage(point);
      if (index === 0) pen.moveTo(x, y);
      // A line of no length leaves nothing, not even its round ends.
      pen.lineTo(x + (stroke.points.length === 1 ? 0.01 : 0), y);
    });
    pen.stroke();
  }

  /** @param {{at: Point, diameter_px: number, role: Role}} brush */
  #drawBrush(brush) {
    const [x, y] = this.stage.toStage(brush.at);
    const half = Math.max((brush.diameter_px * this.stage.scale) / 2, 2);
    for (const [color, wide] of /** @type {const} */ ([["#000", 3.5], ["#fff", 1.5]])) {
      this.pen.strokeStyle = color;
      this.pen.lineWidth = wide;
      this.pen.setLineDash(brush.role === "erase" ? [5, 4] : []);
      this.pen.beginPath();
      this.pen.arc(x, y, half, 0, 7);
      if (brush.role !== "erase") {
        this.pen.moveTo(x - 4, y);
        this.pen.lineTo(x + 4, y);
        if (brush.role === "foreground") {
          this.pen.moveTo(x, y - 4);
          this.pen.lineTo(x, y + 4);
        }
      }
      this.pen.stroke();
    }
    this.pen.setLineDash([]);
  }

  #drawTies() {
    this.ties.forEach((tie, index) => this.#pin(tie[this.side], String(index + 1), true));
    if (this.half) this.#pin(this.half, String(this.ties.length + 1), this.side === this.halfSide);
  }

  /** @param {Point} place @param {string} number @param {boolean} solid */
  #pin(place, number, solid) {
    const [x, y] = this.stage.toStage(place);
    const pen = this.pen;
    for (const [color, wide] of /** @type {const} */ ([["#000", 4], ["#fff", 2]])) {
      pen.strokeStyle = color;
      pen.lineWidth = wide;
      pen.setLineDash(solid ? [] : [4, 4]);
      pen.beginPath();
      pen.arc(x, y, 9, 0, 7);
      pen.moveTo(x - 15, y);
      pen.lineTo(x + 15, y);
      pen.moveTo(x, y - 15);
      pen.lineTo(x, y + 15);
      pen.stroke();
    }
    pen.setLineDash([]);
    pen.font = "600 14px system-ui, sans-serif";
    pen.lineWidth = 4;
    pen.strokeStyle = "#000";
    pen.strokeText(number, x + 13, y - 9);
    pen.fillStyle = "#fff";
    pen.fillText(number, x + 13, y - 9);
  }
}
