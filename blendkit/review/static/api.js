// Every request to the server.  Addresses are relative: the page lies below its token.

/** @import {Decision, Folder, News, Pair, Preview, Role, Stroke, Tie} from "./shapes.js" */

/** A refusal, with the server's sentence. */
export class Refused extends Error {}

/**
 * @param {string} path
 * @param {{method?: string, body?: unknown, signal?: AbortSignal}} [how]
 * @returns {Promise<any>}
 */
async function ask(path, how = {}) {
  const sent = how.body === undefined ? undefined : JSON.stringify(how.body);
  let answer;
  try {
    answer = await fetch(path, {
      method: how.method ?? (sent === undefined ? "GET" : "POST"),
      headers: sent === undefined ? {} : { "content-type": "application/json" },
      body: sent,
      signal: how.signal ?? null,
    });
  } catch (error) {
    if (error instanceof DOMException && error.name === "AbortError") throw error;
    throw new Refused("the server does not answer; start blendkit review again");
  }
  if (answer.status === 204) return null;
  const document = await answer.json();
  if (!answer.ok) throw new Refused(document.error ?? `the server answers ${answer.status}`);
  return document;
}

/** Why a picture or mark is not given; "" if it is, by now. @param {string} path @returns {Promise<string>} */
export async function whyNot(path) {
  try {
    const answer = await fetch(path);
    return answer.ok ? "" : ((await answer.json()).error ?? `the server answers ${answer.status}`);
  } catch {
    return "the server does not answer; start blendkit review again";
  }
}

/** @returns {Promise<Folder>} */
export const folder = () => ask("pairs");
/** @param {string} id @returns {Promise<Pair>} */
export const pair = (id) => ask(`pairs/${id}`);
/** @param {string} id @param {Decision} decision @param {number} [shown] revision that was looked at @returns {Promise<Pair>} */
export const decide = (id, decision, shown) => ask(`pairs/${id}/decision`, { body: { decision, shown } });
/** @param {string} id @param {Stroke[]} strokes @returns {Promise<Pair>} */
export const paint = (id, strokes) => ask(`pairs/${id}/strokes`, { body: { strokes } });
/** @param {string} id @param {number} x @param {number} y @param {Role} role @returns {Promise<Pair>} */
export const zone = (id, x, y, role) => ask(`pairs/${id}/zone`, { body: { x, y, role } });
/** @param {string} id @param {"undo" | "redo"} what @returns {Promise<Pair>} */
export const step = (id, what) => ask(`pairs/${id}/${what}`, { body: {} });
/** @param {string} id @param {Tie[]} ties @returns {Promise<Pair>} */
export const tie = (id, ties) => ask(`pairs/${id}/ties`, { body: { ties } });
/** @param {string} id @param {Record<string, unknown>} values @returns {Promise<Pair>} */
export const set = (id, values) => ask(`pairs/${id}/settings`, { body: { values } });
/** @param {string} id @param {AbortSignal} signal @returns {Promise<Preview | null>} */
export const preview = (id, signal) => ask(`pairs/${id}/preview`, { body: {}, signal });
/** @param {string} id @returns {Promise<Pair>} */
export const merge = (id) => ask(`pairs/${id}/merge`, { body: {} });
/** @param {string} id @returns {Promise<Pair>} */
export const cancel = (id) => ask(`pairs/${id}/cancel`, { body: {} });
/** @param {string} id @param {number} flag @param {string} mode @returns {Promise<Preview | null>} */
export const tryRepair = (id, flag, mode) => ask(`pairs/${id}/repair`, { body: { flag, mode } });
/** @param {string} id @param {number} flag @param {string} mode @returns {Promise<Pair>} */
export const applyRepair = (id, flag, mode) =>
  ask(`pairs/${id}/repair`, { body: { flag, mode, apply: true } });
/** @param {string} id @returns {Promise<Pair>} */
export const takeRepairBack = (id) => ask(`pairs/${id}/repair/back`, { body: {} });
/** @returns {Promise<News[]>} */
export const news = () => ask("news");
/** @returns {Promise<null>} */
export const end = () => ask("end", { body: {} });
