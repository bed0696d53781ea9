// A repair on trial: worked out, shown, and then kept or left.

/** @import {Flag, Offer, Picture} from "./shapes.js" */
import * as api from "./api.js";
import { wordsOf } from "./dom.js";

/** @typedef {{flag: Flag, offer: Offer, ready: boolean, pictures: Picture[]}} Trial */

/**
 * One trial at a time; what still comes of one that was left is of no account.
 * Raises "ready" when its pictures are there, "refused" with a sentence when there will be none.
 */
export class Trials extends EventTarget {
  constructor() {
    super();
    /** @type {Trial | null} */
    this.now = null;
  }

  /** @param {string} id  of the pair @param {Flag} flag @param {Offer} offer */
  async begin(id, flag, offer) {
    /** @type {Trial} */
    const mine = (this.now = { flag, offer, ready: false, pictures: [] });
    try {
      // A bridge frame is laid in at full size only, so there is nothing to wait for.
      const found = offer.mode === "bridge" ? { pictures: [] } : await api.tryRepair(id, flag.id, offer.mode);
      if (this.now !== mine) return;
      if (!found) throw new Error("this repair was not worked out, as something newer was asked for: try it again");
      mine.pictures = found.pictures;
      mine.ready = true;
      this.dispatchEvent(new Event("ready"));
    } catch (error) {
      if (this.now === mine) this.dispatchEvent(new CustomEvent("refused", { detail: wordsOf(error) }));
    }
  }
}
