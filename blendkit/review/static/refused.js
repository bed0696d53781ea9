// What cannot be loaded is said once, and the sentence under the picture goes back to what is seen.

/** @import {Stage} from "./stage.js" */
import { notice } from "./signs.js";

/** @param {Stage} stage @param {{first: HTMLSelectElement, second: HTMLSelectElement, marks: HTMLSelectElement}} selects @param {() => void} show */
export function stepBack(stage, { first, second, marks }, show) {
  stage.addEventListener("refused", (event) => {
    const { id, words } = /** @type {CustomEvent} */ (event).detail;
    const label = [...first.options, ...marks.options].find((one) => one.value === id)?.text;
    for (const [select, stood] of /** @type {const} */ ([[first, stage.stood.first], [second, stage.stood.second], [marks, ""]])) {
      if (select.value !== id) continue;
      const left = [...select.options].map((one) => one.value).filter((value) => !stage.refused.has(value));
      select.value = left.includes(stood) ? stood : (left[0] ?? "");
    }
    show();
    notice(label ? `${label}: ${words}` : words);
  });
}
