// The magnifier: the picture under the pointer at 200 %, in a disc of its own.

/** @import {Picture, Point} from "./shapes.js" */
import { makeViewer, sourceOf } from "./stage.js";
/** @import {Stage} from "./stage.js" */

const MAGNIFIED = 2;
const BESIDE_PX = 24;

export class Lens {
  /** @param {HTMLElement} element @param {Stage} stage */
  constructor(element, stage) {
    this.element = element;
    this.stage = stage;
    this.id = "";
    this.on = false;
    /** @type {OpenSeadragon.Viewer | null} */
    this.viewer = null;
    /** @type {Point | null} CSS px on the stage */
    this.at = null;
    stage.element.parentElement?.addEventListener("pointermove", (event) => {
      const box = stage.element.getBoundingClientRect();
      this.at = [event.clientX - box.left, event.clientY - box.top];
      this.follow(this.at);
    });
    for (const event of ["show", "move"])
      stage.addEventListener(event, () => { if (this.at) this.follow(this.at); });
  }

  /** @param {boolean} on */
  use(on) {
    this.on = on;
    this.element.hidden = !on;
    this.at ??= [this.stage.element.clientWidth / 2, this.stage.element.clientHeight / 2];
    this.follow(this.at);
  }

  /** @param {Point} place  CSS px on the stage */
  follow(place) {
    if (!this.on) return;
    this.#open(this.#under(place));
    const [width, height] = [this.stage.element.clientWidth, this.stage.element.clientHeight];
    const side = this.element.clientWidth;
    const left = place[0] + BESIDE_PX + side > width ? place[0] - BESIDE_PX - side : place[0] + BESIDE_PX;
    const top = Math.min(Math.max(place[1] - side / 2, 4), height - side - 4);
    this.element.style.left = `${Math.max(left, 4)}px`;
    this.element.style.top = `${top}px`;
    this.#aim(this.stage.toPicture(place));
  }

  /** @param {Point} place @returns {Picture | undefined} */
  #under(place) {
    const { first, second, way } = this.stage.shown;
    const right = way === "wipe" && place[0] > this.stage.share * this.stage.element.clientWidth;
    return this.stage.pictures.get(right || this.stage.turned ? second : first);
  }

  /** @param {Picture | undefined} picture */
  #open(picture) {
    if (picture?.id === this.id) return;
    this.id = "";
    this.viewer?.world.removeAll(); // of a pair that cannot be shown nothing is magnified
    if (!picture) return;
    this.viewer ??= makeViewer(this.element);
    this.id = picture.id;
    // The first picture of a viewer is shown whole once it is there, whatever was aimed at before.
    const success = () => { if (this.at) this.#aim(this.stage.toPicture(this.at)); };
    const options = { tileSource: sourceOf(picture), x: 0, y: 0, width: 1, success };
    this.viewer.addTiledImage(/** @type {any} */ (options));
  }

  /** @param {Point} place */
  #aim(place) {
    if (!this.viewer) return;
    const viewport = this.viewer.viewport;
    const all = this.stage.size[0];
    const zoom = (MAGNIFIED * all) / (this.element.clientWidth * devicePixelRatio);
    viewport.zoomTo(zoom, undefined, true);
    viewport.panTo(new OpenSeadragon.Point((place[0] + 0.5) / all, (place[1] + 0.5) / all), true);
  }
}
