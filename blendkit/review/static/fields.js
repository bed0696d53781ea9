// Numbers with units, made from what the settings say about themselves.

/** @import {Field} from "./shapes.js" */
import { make } from "./dom.js";

/** @typedef {(name: string, value: number | string | boolean | null) => void} Change */

/** @param {Field} field @param {Change} change @returns {HTMLElement} */
export function numberField(field, change) {
  const id = `field-${field.name.replaceAll(".", "-")}-${(numberField.count += 1)}`;
  const changed = field.value !== field.default;
  const label = make("label", { htmlFor: id, class: changed ? "changed" : "" }, field.label);
  return make("div", { class: "number" }, label, ...control(field, id, change), about(field));
}
numberField.count = 0;

/** @param {Field} field @param {string} id @param {Change} change @returns {HTMLElement[]} */
function control(field, id, change) {
  if (field.kind === "choice") {
    const choices = field.choices.map((choice) => new Option(choice, choice));
    const select = /** @type {HTMLSelectElement} */ (make("select", { id }, ...choices));
    select.value = String(field.value);
    select.addEventListener("change", () => change(field.name, select.value));
    return [select];
  }
  const input = /** @type {HTMLInputElement} */ (make("input", { id }));
  if (field.kind === "switch") {
    input.type = "checkbox";
    input.checked = Boolean(field.value);
    input.addEventListener("change", () => change(field.name, input.checked));
    return [input, make("span")];
  }
  input.type = "number";
  input.step = "any";
  if (field.low !== null) input.min = String(field.low);
  if (field.high !== null) input.max = String(field.high);
  input.value = field.value === null ? "" : String(field.value);
  input.placeholder = field.default === null ? "auto" : "";
  input.addEventListener("change", () => {
    if (!input.reportValidity()) return;
    change(field.name, input.value === "" ? null : input.valueAsNumber);
  });
  return [input, make("span", { class: "unit" }, field.unit)];
}

/** @param {Field} field */
function about(field) {
  const span = field.low !== null && field.high !== null ? ` ${field.low} to ${field.high}` : "";
  const usual = field.default === null ? "found by itself" : String(field.default);
  return make("small", {}, `${field.help};${span ? ` ${span.trim()} ${field.unit},`.replace(" ,", ",") : ""} usually ${usual}`);
}

/** All fields, stage by stage, each stage behind its own fold. @param {Field[]} fields @param {Change} change */
export function foldedFields(fields, change) {
  const stages = [...new Set(fields.map((field) => field.stage))];
  return stages.map((stage) => {
    const own = fields.filter((field) => field.stage === stage);
    const changed = own.filter((field) => field.value !== field.default).length;
    const title = stage + (changed ? ` (${changed} changed)` : "");
    return make("details", { open: changed > 0 }, make("summary", {}, title),
      make("div", { class: "fields" }, ...own.map((field) => numberField(field, change))));
  });
}
