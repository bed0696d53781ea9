// The end of the session: what is under way, and would be cut off, is named first.

/** @import {Desk} from "./desk.js" */
import * as api from "./api.js";
import { isUnderWay } from "./desk.js";
import { askBeforeEnd } from "./dialogs.js";
import { wordsOf } from "./dom.js";
import { farewell, notice } from "./signs.js";

/**
 * End the session once everything is saved; merges under way are ended only when that was wanted.
 * @param {HTMLDialogElement} dialog  in which to ask @param {Desk} desk @param {() => void} leave  called before the page goes
 */
export async function endSession(dialog, desk, leave) {
  /** @param {boolean} wanted  whether to end though merges are under way */
  const end = async (wanted) => {
    try {
      await desk.queue;
      const cut = (await api.news()).filter((one) => isUnderWay(one.job)).map((one) => one.entry.name);
      if (cut.length && !wanted) {
        askBeforeEnd(dialog, cut, () => end(true));
        return;
      }
      await api.end();
      desk.close();
      leave();
      farewell(cut);
    } catch (error) {
      notice(wordsOf(error));
    }
  };
  await end(false);
}
