// What is on the desk: the pairs, the one at hand, its preview; and every change to them.

/** @import {Decision, Entry, Flag, Job, News, Offer, Pair, Picture, Role, Stroke, Tie, Point} from "./shapes.js" */
import * as api from "./api.js";
import { wordsOf } from "./dom.js";

const CALM_MS = 2500;
const BUSY_MS = 400;

/**
 * Raises "leave" (before another pair is asked for, and before it comes), "pair" (another pair), "change"
 * (the same pair, changed, or a change refused), "progress" (its merge has gone on, and nothing else),
 * "missing" (a pair that cannot be shown), "preview", "trouble".
 */
export class Desk extends EventTarget {
  constructor() {
    super();
    /** @type {Entry[]} */
    this.pairs = [];
    /** @type {string[]} */
    this.leftOut = [];
    this.index = 0;
    /** @type {Pair | null} */
    this.pair = null;
    /** @type {Picture[]} */
    this.previews = [];
    this.previewState = "";
    this.previewWanted = false;
    this.closed = false;
    this.deciding = false;
    /** @type {AbortController | null} */
    this.asking = null;
    /** @type {Promise<void>} */
    this.queue = Promise.resolve();
  }

  /** Ask for no more news. */
  close() {
    this.closed = true;
    this.asking?.abort();
  }

  async open() {
    await this.#safely(async () => {
      ({ pairs: this.pairs, left_out: this.leftOut } = await api.folder());
      await this.go(Math.max(this.pairs.findIndex((pair) => `#${pair.id}` === location.hash), 0));
    });
    this.#listen();
  }

  /** @param {number} index */
  async go(index) {
    const entry = this.pairs[(index + this.pairs.length) % this.pairs.length];
    if (!entry) return;
    this.dispatchEvent(new Event("leave"));
    this.asking?.abort();
    this.index = this.pairs.indexOf(entry);
    history.replaceState(null, "", `#${entry.id}`);
    /** @type {Pair} */
    let pair;
    try {
      pair = await api.pair(entry.id);
    } catch (error) {
      if (this.pairs[this.index]?.id !== entry.id) return;
      this.dispatchEvent(new Event("leave")); // what was begun meanwhile still belongs to the pair before
      this.pair = null;
      this.previews = [];
      this.dispatchEvent(new CustomEvent("missing", { detail: { name: entry.name, words: wordsOf(error) } }));
      return;
    }
    if (this.pairs[this.index]?.id !== entry.id) return;
    this.dispatchEvent(new Event("leave"));
    this.previews = [];
    this.previewState = "";
    this.pair = pair;
    this.#noted(pair);
    this.dispatchEvent(new Event("pair"));
    if (this.previewWanted) this.preview();
  }

  // Changes run one after another, in the order in which they were made.

  /** @param {(id: string) => Promise<Pair>} change @param {boolean} [affectsPicture] */
  change(change, affectsPicture = false) {
    const id = this.pair?.id;
    if (!id) return this.queue;
    this.queue = this.queue.then(async () => {
      try {
        const changed = await change(id);
        // The server answers nothing where another pair's preview took the work over.
        if (!changed) throw new Error("this was not done, as another pair was asked for: do it again");
        this.#take(changed);
        if (affectsPicture && this.previewWanted) this.preview();
      } catch (error) {
        this.#trouble(error);
        this.dispatchEvent(new Event("change")); // what was refused is not shown as kept
      }
    });
    return this.queue;
  }

  /**
   * Decide about the pair at hand, and go to the next that is open; the same decision takes itself back.
   * A second press while the first is under way means the pair that was looked at, not the next.
   * @param {Decision} decision
   */
  async decide(decision) {
    const pair = this.pair;
    if (!pair || this.deciding) return;
    this.deciding = true;
    const again = pair.decision === decision && !(decision === "accepted" && pair.stale);
    const shown = decision === "accepted" ? pair.revision : undefined;
    await this.change((id) => api.decide(id, again ? "open" : decision, shown));
    // Refused, or another pair is at hand by now: nothing follows.
    if (!again && this.pair?.id === pair.id && this.pair.decision === decision) await this.#goToNextOpen();
    this.deciding = false;
  }

  async #goToNextOpen() {
    const open = [...this.pairs.keys()].map((step) => (this.index + step) % this.pairs.length)
      .find((index) => index !== this.index && this.pairs[index]?.decision === "open");
    if (open !== undefined) await this.go(open);
    else this.dispatchEvent(new CustomEvent("trouble", { detail: "Every pair is decided." }));
  }
  /** @param {Stroke[]} strokes */
  paint(strokes) {
    return this.change((id) => api.paint(id, strokes), true);
  }
  /** @param {Point} place @param {Role} role */
  zone([x, y], role) {
    return this.change((id) => api.zone(id, x, y, role), true);
  }
  /** @param {"undo" | "redo"} what */
  step(what) {
    return this.change((id) => api.step(id, what), true);
  }
  /** Change the ties as they are when it comes to it: of two changes in a row the second knows the first. @param {(ties: Tie[]) => Tie[]} altered */
  tie(altered) {
    return this.change(async (id) => {
      const pair = this.pair?.id === id ? this.pair : await api.pair(id);
      return api.tie(id, altered(pair.ties));
    });
  }
  /** @param {Tie} tie  of equal ones the first goes */
  untie(tie) {
    return this.tie((ties) => {
      const index = ties.findIndex((one) => JSON.stringify(one) === JSON.stringify(tie));
      return ties.filter((_, i) => i !== index);
    });
  }
  /** @param {string} name @param {unknown} value */
  set(name, value) {
    return this.change((id) => api.set(id, { [name]: value }), true);
  }
  merge() {
    return this.change((id) => api.merge(id));
  }
  cancel() {
    return this.change((id) => api.cancel(id));
  }
  /** @param {Flag} flag @param {Offer} offer */
  keepRepair(flag, offer) {
    return this.change((id) => api.applyRepair(id, flag.id, offer.mode));
  }
  takeRepairBack() {
    return this.change((id) => api.takeRepairBack(id));
  }

  /** Ask for a preview of the strokes as they are; an older question is dropped. */
  async preview() {
    const pair = this.pair;
    if (!pair) return;
    this.asking?.abort();
    const asking = (this.asking = new AbortController());
    this.#previewSays(this.previews.length ? "The preview follows…" : "The preview is being prepared…");
    try {
      const found = await api.preview(pair.id, asking.signal);
      if (asking !== this.asking || !found || this.pair?.id !== pair.id) return;
      this.previews = found.pictures;
      this.#previewSays("The preview shows all strokes.");
    } catch (error) {
      if (error instanceof DOMException) return;
      this.#previewSays(`No preview: ${wordsOf(error)}`);
    }
  }

  /** @param {string} words */
  #previewSays(words) {
    this.previewState = words;
    this.dispatchEvent(new Event("preview"));
  }

  /** @param {Pair} pair */
  #take(pair) {
    this.#noted(pair);
    if (pair.id !== this.pair?.id) return;
    if (pair.revision < this.pair.revision) return;
    const same = restOf(pair) === restOf(this.pair);
    const going = same && isUnderWay(pair.job) && isUnderWay(this.pair.job);
    this.pair = pair;
    this.dispatchEvent(new Event(going ? "progress" : "change"));
  }

  /** Keep the list in step with the news. @param {News[]} news */
  #listed(news) {
    const before = JSON.stringify(this.pairs);
    this.pairs = this.pairs.map((entry) => news.find((one) => one.id === entry.id)?.entry ?? entry);
    if (this.pair && JSON.stringify(this.pairs) !== before) this.dispatchEvent(new Event("change"));
  }

  /** Keep the list in step with a pair. @param {Pair} pair */
  #noted(pair) {
    this.pairs = this.pairs.map((entry) => entry.id === pair.id
      ? { id: pair.id, name: pair.name, decision: pair.decision, severity: pair.severity,
          reason: pair.reason, merged: pair.merged }
      : entry);
  }

  /** Ask for news: quickly while a merge runs, else now and then. */
  async #listen() {
    let wait = CALM_MS;
    if (this.closed) return;
    try {
      const news = await api.news();
      const busy = news.some((one) => isUnderWay(one.job));
      wait = busy ? BUSY_MS : CALM_MS;
      this.#listed(news);
      const own = news.find((one) => one.id === this.pair?.id);
      if (own && this.pair && (own.revision !== this.pair.revision || JSON.stringify(own.job) !== JSON.stringify(this.pair.job)))
        await this.#fetch(own.id);
      this.lost = false;
    } catch (error) {
      if (!this.lost && !this.closed) this.#trouble(error);
      this.lost = true;
    }
    setTimeout(() => this.#listen(), document.hidden ? 4 * wait : wait);
  }

  /** @param {string} id */
  async #fetch(id) {
    const before = this.pair?.strokes.length;
    this.#take(await api.pair(id));
    if (this.previewWanted && this.pair?.strokes.length !== before) this.preview();
  }

  /** @param {() => Promise<void>} work */
  async #safely(work) {
    try {
      await work();
    } catch (error) {
      this.#trouble(error);
    }
  }

  /** @param {unknown} error */
  #trouble(error) {
    this.dispatchEvent(new CustomEvent("trouble", { detail: wordsOf(error) }));
  }
}

/** @param {Job | null} job */
export const isUnderWay = (job) => job?.state === "running" || job?.state === "waiting";

/** What the page shows of a pair besides its merge; the revision tells of strokes, which can be many. @param {Pair} pair */
const restOf = (pair) => JSON.stringify({ ...pair, job: null, strokes: [] });
