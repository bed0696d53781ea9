// The shapes of what the server sends; only types, no code.

/** @typedef {"background" | "foreground" | "taken" | "result" | "plate" | "matte" | "preview" | "repair"} Kind */
/** @typedef {"open" | "accepted" | "sent-back" | "skipped"} Decision */
/** @typedef {"note" | "warn" | "fail"} Severity */
/** @typedef {"foreground" | "background" | "erase"} Role */
/** @typedef {[number, number]} Point  x and y in px of the background frame */

/**
 * One picture; `levels` counts halvings, 0 for a picture sent in one piece.
 * @typedef {{id: string, kind: Kind, label: string, note: string, size: Point, levels: number,
 *   tile_px: number, overlap_px: number}} Picture
 */
/** @typedef {{id: string, kind: string, label: string}} Mark */
/** @typedef {{mode: string, label: string, help: string}} Offer */
/**
 * @typedef {{id: number, kind: string, severity: Severity, box: number[] | null,
 *   spots: number[][], message: string,
 *   advice: string, repairs: Offer[], settings: string[]}} Flag
 */
/** @typedef {{points: Point[], diameter_px: number, role: Role | "nearer"}} Stroke */
/** @typedef {[Point, Point]} Tie  a place in the background frame, and the same in the other */
/**
 * @typedef {{name: string, stage: string, label: string, help: string, unit: string,
 *   kind: "number" | "switch" | "choice", low: number | null, high: number | null, step: number,
 *   choices: string[], value: number | string | boolean | null,
 *   default: number | string | boolean | null}} Field
 */
/**
 * @typedef {{state: "waiting" | "running" | "done" | "failed" | "cancelled", stage: string,
 *   share: number, error: string}} Job
 */
/**
 * @typedef {{id: string, name: string, decision: Decision, severity: Severity | null,
 *   reason: string, merged: boolean}} Entry
 */
/**
 * Everything about one pair.
 * @typedef {Entry & {revision: number, size: Point, pictures: Picture[], marks: Mark[],
 *   flags: Flag[], strokes: Stroke[], undo: boolean, redo: boolean, ties: Tie[],
 *   fields: Field[], job: Job | null, repair: string | null, stale: boolean,
 *   notes: string[]}} Pair
 */
/** @typedef {{folder: string, pairs: Entry[], left_out: string[]}} Folder */
/** @typedef {{revision: number, pictures: Picture[]}} Preview */
/** @typedef {{id: string, revision: number, job: Job | null, entry: Entry}} News */

export {};
