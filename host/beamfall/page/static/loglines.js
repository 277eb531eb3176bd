// The lines of the shot log: read once, then kept up to date by what the server says.

import { get } from './net.js';

/** Newest first. @type {ListedShot[]} */
export let lines = [];
let loaded = false;

/** @type {Promise<void> | null} */
let newest = null;
/** Lines that come while the log is on its way: they may not be in it. @type {ListedShot[] | null} */
let news = null;
export function load() {
  news ??= [];
  /** @type {Promise<void>} */
  const mine = read(() => mine);
  newest = mine;
  return mine;
}
/**
 * Shots, newest first, from the columns that the server sends.
 * @param {Record<string, any[]>} columns
 * @returns {ListedShot[]}
 */
function readLines(columns) {
  const names = Object.keys(columns);
  const at = (/** @type {number} */ n) =>
    /** @type {any} */ (Object.fromEntries(names.map((name) => [name, columns[name][n]])));
  return columns.shot.map((_, n) => at(n)).reverse();
}
/** @param {() => Promise<void>} self @returns {Promise<void>} */
async function read(self) {
  const content = await get('/shots');
  if (newest && newest !== self()) return newest; // asked for again meanwhile
  lines = readLines(content.lines);
  loaded = true;
  for (const line of news ?? []) put(line);
  news = null;
}
/** Take a line that has changed. @param {ListedShot} line */
export function merge(line) {
  news?.push(line);
  if (loaded) put(line);
}
/** @param {ListedShot} line */
function put(line) {
  const shot = line.shot,
    at = lines.findIndex((one) => one.shot === shot);
  if (at >= 0) lines[at] = line;
  else lines.unshift(line);
}
