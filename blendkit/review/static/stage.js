// The picture on its grey: which one, against which, how, and where in it.

/** @import {Picture, Mark, Point} from "./shapes.js" */
import { whyNot } from "./api.js";
/** @typedef {"alone" | "wipe" | "turns"} Way */
/**
 * What is shown: ids of pictures and of a mark.
 * @typedef {{first: string, second: string, way: Way, mark: string, strength: number}} Shown
 */

const FLIGHT_MARGIN = 0.35;
/** Screen px per px of the picture, at most, on a flight to a finding. */
const NEAREST_FLIGHT = 2;
const RIM = 0.008; // grey around the whole picture, so that its edges can be judged

/** @param {Picture} picture @returns {any} */
export function sourceOf(picture) {
  if (picture.levels === 0) return { type: "image", url: `pictures/${picture.id}`, buildPyramid: false };
  return {
    width: picture.size[0],
    height: picture.size[1],
    tileSize: picture.tile_px,
    tileOverlap: picture.overlap_px,
    minLevel: 0,
    maxLevel: picture.levels - 1,
    getTileUrl: (/** @type {number} */ level, /** @type {number} */ x, /** @type {number} */ y) =>
      `tiles/${picture.id}/${picture.levels - 1 - level}/${x}/${y}`,
  };
}

/** @param {HTMLElement} element @returns {OpenSeadragon.Viewer} */
export function makeViewer(element) {
  const options = {
    element,
    drawer: "canvas",
    showNavigationControl: false,
    animationTime: 0.25,
    springStiffness: 10,
    visibilityRatio: 0.3,
    minZoomImageRatio: 0.5,
    maxZoomPixelRatio: 8,
    zoomPerScroll: 1.25,
    imageLoaderLimit: 6,
    maxImageCacheCount: 160,
    minPixelRatio: 0.7,
    placeholderFillStyle: null,
    gestureSettingsMouse: { clickToZoom: false, dblClickToZoom: false },
    gestureSettingsPen: { clickToZoom: false },
    gestureSettingsTouch: { clickToZoom: false, dblClickToZoom: false },
  };
  const viewer = OpenSeadragon(/** @type {any} */ (options));
  const tracker = /** @type {any} */ (viewer).innerTracker;
  tracker.keyHandler = null; // the page has keys of its own
  tracker.keyDownHandler = null;
  return viewer;
}

/**
 * Layers of pictures in one viewer.  Raises "move" when the view moves, "show" when layers change,
 * "refused" with id and sentence when something that is to be shown cannot be loaded.
 */
export class Stage extends EventTarget {
  /** @param {HTMLElement} element @param {HTMLElement} divider */
  constructor(element, divider) {
    super();
    this.element = element;
    this.divider = divider;
    this.viewer = makeViewer(element);
    /** @type {Map<string, OpenSeadragon.TiledImage | null>} */
    this.items = new Map();
    /** @type {Map<string, Picture>} */
    this.pictures = new Map();
    /** @type {Map<string, Mark>} */
    this.marks = new Map();
    /** @type {Point} */
    this.size = [1, 1];
    /** @type {Shown} */
    this.shown = { first: "", second: "", way: "alone", mark: "", strength: 0.8 };
    /** What stood on the stage last with all that was wanted. */
    this.stood = { first: "", second: "" };
    /** @type {Map<string, string>} what cannot be loaded, and why; it is not asked for again before another pair */
    this.refused = new Map();
    /** @type {Set<string>} */
    this.retried = new Set();
    this.turned = false;
    this.share = 0.5;
    this.viewer.addHandler("viewport-change", () => this.#moved());
    this.whole = true;
    for (const name of /** @type {const} */ (["canvas-drag", "canvas-scroll", "canvas-pinch"]))
      this.viewer.addHandler(name, () => { this.whole = false; });
    this.viewer.addHandler("resize", () => requestAnimationFrame(() => this.#resized()));
    this.viewer.addHandler("tile-load-failed", (/** @type {any} */ event) => {
      const id = [...this.items].find(([, item]) => item === event.tiledImage)?.[0];
      if (id !== undefined) this.#failed(id, event.tile.getUrl());
    });
    this.#holdDivider();
  }

  /** Take another pair: all layers go, the view fits. @param {Point} size */
  clear(size) {
    this.viewer.world.removeAll();
    this.items.clear();
    [this.refused, this.retried, this.stood] = [new Map(), new Set(), { first: "", second: "" }];
    this.size = size;
    this.turned = false;
    this.fresh = true;
  }

  /** Say which pictures and marks there are; layers of others go. @param {Picture[]} pictures @param {Mark[]} marks */
  offer(pictures, marks) {
    this.pictures = new Map(pictures.map((picture) => [picture.id, picture]));
    this.marks = new Map(marks.map((mark) => [mark.id, mark]));
  }

  /** @param {Shown} shown */
  show(shown) {
    this.shown = shown;
    if (shown.way !== "turns") this.turned = false;
    for (const id of this.#wanted()) if (!this.items.has(id) && !this.refused.has(id)) this.#add(id);
    this.#arrange();
    const id = this.#wanted().find((one) => this.refused.get(one));
    if (id !== undefined) this.#refuse(id);
  }

  /** Show the other picture of the two. @param {boolean} [turned] */
  turn(turned = !this.turned) {
    this.turned = turned;
    this.#arrange();
  }

  #wanted() {
    const { first, second, way, mark } = this.shown;
    return [...(way === "alone" ? [first] : [second, first]), mark].filter(Boolean);
  }

  /** @param {string} id */
  #add(id) {
    const picture = this.pictures.get(id);
    const source = picture
      ? sourceOf(picture)
      : { type: "image", url: `marks/${id}`, buildPyramid: false };
    this.items.set(id, null);
    const options = {
      tileSource: source, x: 0, y: 0, width: 1, opacity: 0, preload: true,
      success: (/** @type {any} */ event) => this.#added(id, event.item),
      error: () => this.#failed(id, source.url),
    };
    this.viewer.addTiledImage(/** @type {any} */ (options));
  }

  /** Ask once why something was not loaded; what is there by now is loaded after all. @param {string} id @param {string} url */
  async #failed(id, url) {
    const item = this.items.get(id);
    if (item) this.viewer.world.removeItem(item);
    if (!this.items.delete(id)) return; // of another pair, or known already
    const { refused } = this;
    refused.set(id, ""); // not asked for again while the sentence is on its way
    const words = await whyNot(url);
    if (this.refused !== refused) return; // another pair is at hand
    if (!words && !this.retried.has(id)) {
      this.retried.add(id);
      refused.delete(id);
      this.show(this.shown);
      return;
    }
    refused.set(id, words || "cannot be drawn; load the page again");
    if (this.#wanted().includes(id)) this.#refuse(id);
  }

  /** @param {string} id */
  #refuse(id) {
    this.dispatchEvent(new CustomEvent("refused", { detail: { id, words: this.refused.get(id) } }));
  }

  /** @param {string} id @param {OpenSeadragon.TiledImage} item */
  #added(id, item) {
    if (!this.items.has(id)) {
      this.viewer.world.removeItem(item);
      return;
    }
    this.items.set(id, item);
    if (this.fresh) {
      this.fresh = false;
      this.fit(true);
    }
    const settled = () => {
      if (!item.getFullyLoaded()) return;
      item.removeHandler("fully-loaded-change", settled);
      this.#arrange();
    };
    item.addHandler("fully-loaded-change", settled);
    this.#arrange();
  }

  /** Put layers in order, show what is wanted, drop what is neither wanted nor on offer. */
  #arrange() {
    const wanted = this.#wanted();
    const { first, second, way, mark, strength } = this.shown;
    const ready = wanted.every((id) => this.items.get(id)?.getFullyLoaded());
    if (ready) this.stood = { first, second };
    for (const [id, item] of this.items) {
      if (!item) continue;
      const known = this.pictures.has(id) || this.marks.has(id);
      // What was on view stays beneath until its successor is there, so that nothing flickers.
      if (!wanted.includes(id) && ready) item.setOpacity(0);
      if (!wanted.includes(id) && !known && ready) this.#drop(id, item);
    }
    wanted.forEach((id) => {
      const item = this.items.get(id);
      if (item) this.viewer.world.setItemIndex(item, this.viewer.world.getItemCount() - 1);
    });
    this.items.get(first)?.setOpacity(way === "turns" && this.turned ? 0 : 1);
    if (way !== "alone" && second !== first) this.items.get(second)?.setOpacity(1);
    if (mark) this.items.get(mark)?.setOpacity(strength);
    this.#clip();
    this.dispatchEvent(new Event("show"));
  }

  /** @param {string} id @param {OpenSeadragon.TiledImage} item */
  #drop(id, item) {
    this.items.delete(id);
    this.viewer.world.removeItem(item);
  }

  /** A picture that was seen whole stays whole. */
  #resized() {
    if (this.whole) this.fit(true);
    this.#moved();
  }

  #moved() {
    this.#clip();
    this.dispatchEvent(new Event("move"));
  }

  /** Cut the first picture at the divider, which stands still on the screen. */
  #clip() {
    const wiping = this.shown.way === "wipe";
    this.divider.hidden = !wiping;
    this.divider.style.left = `${this.share * 100}%`;
    this.divider.setAttribute("aria-valuenow", String(Math.round(this.share * 100)));
    for (const [id, item] of this.items) {
      if (!item || id !== this.shown.first || !wiping) {
        item?.setClip(/** @type {any} */ (null));
        continue;
      }
      const [x] = this.toPicture([this.share * this.element.clientWidth, 0]);
      const content = item.getContentSize();
      const cut = Math.min(Math.max((x / this.size[0]) * content.x, 0.01), content.x);
      item.setClip(new OpenSeadragon.Rect(0, 0, cut, content.y));
    }
  }

  /** @param {number} share  0 to 1 of the stage's width */
  wipeTo(share) {
    this.share = Math.min(Math.max(share, 0), 1);
    this.#clip();
    this.dispatchEvent(new Event("move"));
  }

  #holdDivider() {
    this.divider.addEventListener("pointerdown", (event) => {
      this.divider.setPointerCapture(event.pointerId);
      event.stopPropagation();
    });
    this.divider.addEventListener("pointermove", (event) => {
      if (!this.divider.hasPointerCapture(event.pointerId)) return;
      const box = this.element.getBoundingClientRect();
      this.wipeTo((event.clientX - box.left) / box.width);
    });
    this.divider.addEventListener("keydown", (event) => {
      const steps = { ArrowLeft: -0.02, ArrowRight: 0.02, ArrowDown: -0.02, ArrowUp: 0.02 };
      const step = steps[/** @type {keyof typeof steps} */ (event.key)];
      if (step === undefined) return;
      this.wipeTo(this.share + step);
      event.preventDefault();
      event.stopPropagation();
    });
  }

  // Places: [x, y] on the stage in CSS px, and in the picture in px of the background frame.

  /** @param {Point} place @returns {Point} */
  toPicture(place) {
    const world = this.viewer.viewport.pointFromPixel(new OpenSeadragon.Point(...place), true);
    return [world.x * this.size[0] - 0.5, world.y * this.size[0] - 0.5];
  }

  /** @param {Point} place @returns {Point} */
  toStage(place) {
    const world = new OpenSeadragon.Point(
      (place[0] + 0.5) / this.size[0], (place[1] + 0.5) / this.size[0]);
    const pixel = this.viewer.viewport.pixelFromPoint(world, true);
    return [pixel.x, pixel.y];
  }

  /** CSS px of the stage per px of the picture. */
  get scale() {
    return (this.element.clientWidth * this.viewer.viewport.getZoom(true)) / this.size[0];
  }

  /** @returns {Point} */
  get middle() {
    return this.toPicture([this.element.clientWidth / 2, this.element.clientHeight / 2]);
  }

  /** @param {boolean} [immediately] */
  fit(immediately = false) {
    this.whole = true;
    const height = this.size[1] / this.size[0];
    const bounds = new OpenSeadragon.Rect(-RIM, -RIM, 1 + 2 * RIM, height + 2 * RIM);
    this.viewer.viewport.fitBounds(bounds, immediately);
  }

  /** One px of the picture on one px of the screen, around a place. @param {Point} [around] */
  full(around = this.middle) {
    this.whole = false;
    const zoom = this.size[0] / (this.element.clientWidth * devicePixelRatio);
    const world = new OpenSeadragon.Point(around[0] / this.size[0], around[1] / this.size[0]);
    this.viewer.viewport.panTo(world);
    this.viewer.viewport.zoomTo(zoom, world);
  }

  /** @param {number} factor @param {Point} [at]  CSS px */
  zoomBy(factor, at) {
    this.whole = false;
    const point = at && this.viewer.viewport.pointFromPixel(new OpenSeadragon.Point(...at), true);
    this.viewer.viewport.zoomBy(factor, point);
    this.viewer.viewport.applyConstraints();
  }

  /** @param {number} x  CSS px @param {number} y @param {boolean} [immediately] */
  panBy(x, y, immediately = false) {
    this.whole = false;
    const by = this.viewer.viewport.deltaPointsFromPixels(new OpenSeadragon.Point(x, y));
    this.viewer.viewport.panBy(by, immediately);
    this.viewer.viewport.applyConstraints(immediately);
  }

  /** Fly to a box [x, y, width, height] with some surroundings. @param {number[]} box */
  flyTo(box) {
    const [x = 0, y = 0, width = 1, height = 1] = box;
    if (width > this.size[0] / 2 || height > this.size[1] / 2) {
      this.fit(); // there is nothing to fly to
      return;
    }
    this.whole = false;
    const [all] = this.size;
    // Nearer, a finding of a few px is a smear that nobody can judge.
    const side = Math.min(this.element.clientWidth, this.element.clientHeight);
    const nearest = (side * devicePixelRatio) / NEAREST_FLIGHT;
    const margin = Math.max(
      FLIGHT_MARGIN * Math.max(width, height, 0.04 * all), (nearest - Math.min(width, height)) / 2);
    this.viewer.viewport.fitBounds(
      new OpenSeadragon.Rect(
        (x - margin) / all, (y - margin) / all,
        (width + 2 * margin) / all, (height + 2 * margin) / all));
  }
}
