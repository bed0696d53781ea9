// Small helpers around the document.

const CLICK_MS = 60; // a finger's click comes a little after its lifting

/** @param {string} id @returns {HTMLElement} */
export function byId(id) {
  const found = document.getElementById(id);
  if (!found) throw new Error(`no element #${id}`);
  return found;
}

/** @param {string} id @returns {HTMLSelectElement} */
export const selectById = (id) => /** @type {HTMLSelectElement} */ (byId(id));
/** @param {string} id @returns {HTMLDialogElement} */
export const dialogById = (id) => /** @type {HTMLDialogElement} */ (byId(id));

/** What a dialog is filled into: beside it, notices stay as they are while it is filled anew. @param {HTMLDialogElement} dialog */
export const insideOf = (dialog) => /** @type {HTMLElement} */ (dialog.firstElementChild);

/**
 * Make an element.  Text is always set as text, so names of files cannot become markup.
 * @param {string} tag
 * @param {Record<string, unknown>} [properties]  on…: listener; aria-… and class: attribute
 * @param {...(Node | string | null | false | undefined)} children
 * @returns {HTMLElement}
 */
export function make(tag, properties = {}, ...children) {
  const element = document.createElement(tag);
  for (const [name, value] of Object.entries(properties)) {
    if (name.startsWith("on"))
      element.addEventListener(name.slice(2), /** @type {EventListener} */ (value));
    else if (name in element) Reflect.set(element, name, value);
    else if (value !== undefined) element.setAttribute(name, String(value));
  }
  element.append(...children.filter((child) => child !== null && child !== false && child !== undefined));
  return element;
}

/** @param {unknown} error */
export const wordsOf = (error) => (error instanceof Error ? error.message : String(error));

/** @param {string} label @param {() => void} run @param {Record<string, unknown>} [more] */
export const button = (label, run, more = {}) =>
  make("button", { type: "button", onclick: run, ...more }, label);

/**
 * Put other parts into a place; the one that had the focus keeps it, with what was typed into it.
 * @param {HTMLElement} place @param {Node[]} parts @param {(held: Element) => string} same  its selector among the new
 */
export function putAnew(place, parts, same) {
  const held = place.contains(document.activeElement) ? document.activeElement : null;
  const typed = held instanceof HTMLInputElement && held.type === "number" ? held.value : null;
  const selector = held ? same(held) : "";
  place.replaceChildren(...parts);
  const again = selector ? place.querySelector(selector) : null;
  if (!(again instanceof HTMLElement)) return;
  again.focus();
  if (again instanceof HTMLInputElement && typed !== null) again.value = typed;
}

/**
 * Return a function that makes a place's parts anew, though not while one of them is held down: a button
 * that is another one by the time the pointer is lifted loses its click.  Then the parts follow.
 * @param {HTMLElement} place @param {() => void} makeAnew @returns {(now?: boolean) => void} now: held down or not
 */
export function calmly(place, makeAnew) {
  let [held, due, timer] = [false, false, 0];
  const run = (now = false) => {
    due = held && !now;
    if (!due) makeAnew();
  };
  const lift = () => {
    timer = setTimeout(() => {
      held = false;
      if (due) run();
    }, CLICK_MS);
  };
  place.addEventListener("pointerdown", (event) => {
    // A list that drops down keeps the pointer to itself; its lifting would not be heard of.
    const part = /** @type {Element} */ (event.target).closest("button, summary, input, label");
    held = event.button === 0 && part !== null;
    clearTimeout(timer);
  });
  for (const name of ["pointerup", "pointercancel", "blur"]) addEventListener(name, lift);
  addEventListener("click", () => { held = false; }, true); // what is clicked may change the place at once
  return run;
}

/** @param {HTMLSelectElement} select @param {[string, string][]} options  value and label @param {string} value */
export function fill(select, options, value) {
  const same = options.length === select.options.length &&
    options.every(([key, label], i) => select.options[i]?.value === key && select.options[i]?.text === label);
  if (!same) select.replaceChildren(...options.map(([key, label]) => new Option(label, key)));
  select.value = value;
}
