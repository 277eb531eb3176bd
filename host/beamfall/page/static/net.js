// The server's state, and the way to it. It is the only one: a reload or a second page shows the same.

import { deviceName } from './device.js';

/** @type {BeamfallState} */
export const state = {};
let version = -1;
let behind = 0; // how late this computer's clock is, in ms: a tablet's may be minutes off
export const now = () => Date.now() + behind;
/** @type {Map<string, Set<() => void>>} */
const watchers = new Map(); // section -> functions
/** @type {Map<string, Set<(message: any) => void>>} */
const hearers = new Map(); // event -> functions
/** @type {WebSocket | null} */
let socket = null;
let wait = 200;

/** @param {string | string[]} sections @param {() => void} f */
export function on(sections, f) {
  for (const name of [sections].flat()) addTo(watchers, name, f);
  f();
}
/** @param {string} event @param {(message: any) => void} f */
export function hear(event, f) {
  addTo(hearers, event, f);
}
/**
 * @template F
 * @param {Map<string, Set<F>>} sets
 * @param {string} name
 * @param {F} f
 */
function addTo(sets, name, f) {
  const found = sets.get(name) ?? new Set();
  found.add(f);
  sets.set(name, found);
}
/** @param {string} event @param {object} message */
export function emit(event, message) {
  for (const f of hearers.get(event) ?? []) f(message);
}

/** @param {Iterable<string>} names */
function changed(names) {
  const due = new Set();
  for (const name of names) for (const f of watchers.get(name) ?? []) due.add(f);
  for (const f of due) f();
}

/** @param {ServerMessage} message */
function take(message) {
  if (message.all) {
    for (const name of Object.keys(state)) delete state[name];
    Object.assign(state, message.all);
    version = message.version;
    behind = message.now - Date.now();
    changed(watchers.keys());
    emit('whole', {});
  } else if (message.set) {
    if (message.version <= version) return; // it was in the whole state already
    version = message.version;
    Object.assign(state, message.set);
    changed(Object.keys(message.set));
  } else if (message.event) {
    // A message that took long made the server's clock seem late, and countdowns too long.
    behind = Math.max(behind, message.at - Date.now());
    emit(message.event, message);
  }
}

// Exchange the code of a link, which works once, for the cookie that opens everything.
/** @param {string} code */
export async function enter(code) {
  const answer = await fetch('/enter', {
    method: 'POST',
    headers: { 'content-type': 'application/json' },
    body: JSON.stringify({ code }),
  });
  return answer.ok;
}

export async function connect() {
  // A WebSocket does not say why it was refused: ask by GET first whether the cookie is valid.
  /** @type {Response | null} */
  let known;
  try {
    known = await fetch('/series', { cache: 'no-store' });
  } catch {
    known = null;
  }
  if (known && known.status === 403) {
    emit('locked', {});
    return;
  }
  if (!known) {
    retry();
    return;
  }
  socket = new WebSocket(`${location.protocol.replace('http', 'ws')}//${location.host}/live`);
  socket.addEventListener('message', (event) => take(JSON.parse(event.data)));
  socket.addEventListener('open', () => {
    wait = 200;
    sayName();
    emit('server', { up: true });
  });
  socket.addEventListener('close', () => {
    emit('server', { up: false });
    retry();
  });
}
// All pages see who does what.
export function sayName() {
  if (socket && socket.readyState === WebSocket.OPEN) socket.send(`name ${encodeURIComponent(deviceName())}`);
}
function retry() {
  emit('server', { up: false });
  setTimeout(connect, wait);
  wait = Math.min(wait * 1.6, 3000);
}

// Requests may overtake each other on their way. So settings are sent one after the other, in a lane each, and what
// moves the board waits for the settings made before it. Of two changes to one setting the later one holds.
/** The commands of each lane; those of the table by hand go with the desk. @typedef {keyof typeof LANES} Lane */
const LANES = {
  desk:
    'tune step untune use_found correct edit add_part remove_part reset_rig save_rig guide guide_done ' +
    'undo_learned redo_learned reset_learned',
  log: 'rate note keep_recipe rename_recipe remove_recipe',
  bar: 'dismiss',
};
/** @param {string} command @returns {Lane | undefined} */
function findLane(command) {
  if (command.startsWith('table_')) return 'desk';
  const lanes = /** @type {Lane[]} */ (Object.keys(LANES));
  return lanes.find((lane) => LANES[lane].split(' ').includes(command));
}
/** @type {Record<Lane, Promise<unknown>>} */
const turns = { desk: Promise.resolve(), log: Promise.resolve(), bar: Promise.resolve() };
let aborts = 0;

// Do something; resolves to the answer, or throws an Error with the library's words.
/** @param {string} command @param {object} [body] @returns {Promise<any>} */
export function act(command, body = {}) {
  const lane = findLane(command),
    before = aborts;
  const answered = turns[lane ?? 'desk'].then(async () => {
    if (!lane && aborts !== before) throw new Error('Aborted before it started.');
    const answer = await post(command, body);
    if (!lane && aborts !== before) abort(); // which may have overtaken it
    return answer;
  });
  if (lane) turns[lane] = answered.catch(() => {});
  return answered;
}

/** @param {string} command @param {object} body @returns {Promise<any>} */
const post = (command, body) => send(`/do/${command}`, 'application/json', JSON.stringify(body));

/** @param {string} path @param {File} file @returns {Promise<any>} */
export const sendZip = (path, file) => send(path, 'application/zip', file);

/** @param {string} path @param {string} type @param {BodyInit} body @returns {Promise<any>} */
async function send(path, type, body) {
  const answer = await fetch(path, {
    method: 'POST',
    headers: { 'content-type': type, 'beamfall-device': encodeURIComponent(deviceName()) },
    body,
  });
  if (answer.status === 403) {
    emit('locked', {});
    throw new Error(await answer.text());
  }
  const content = await answer.json().catch(() => ({ error: `the server answered ${answer.status}` }));
  if (!answer.ok) throw new Refused(content);
  return content;
}

/** What the server would not do: its words, the field that is to blame, and what was likely meant. */
export class Refused extends Error {
  /** @param {{ error: string, key?: string, likely?: string[] }} said */
  constructor({ error, key = '', likely = [] }) {
    super(error);
    this.key = key;
    this.likely = likely;
  }
}

// A link that opens the page once, for another device.
/** @returns {Promise<{ link: string, code: string[] }>} */
export async function makeLink() {
  const answer = await fetch('/link', {
    method: 'POST',
    headers: { 'content-type': 'application/json' },
    body: '{}',
  });
  if (!answer.ok) throw new Error(await answer.text());
  return answer.json();
}

/** @param {string} path @returns {Promise<any>} */
export async function get(path) {
  const answer = await fetch(path, { cache: 'no-store' });
  const content = await answer.json().catch(() => ({ error: `the server answered ${answer.status}` }));
  if (!answer.ok) throw new Error(content.error);
  return content;
}

// Abort goes by the open WebSocket and by a request, since the socket may be dead. The server counts each press once:
// the slower copy must not end what somebody starts afterwards.
export function abort() {
  aborts++;
  const press = `${Date.now()}-${Math.random()}`;
  if (socket && socket.readyState === WebSocket.OPEN) socket.send(`abort ${press}`);
  post('abort', { press }).catch(() => {});
}
