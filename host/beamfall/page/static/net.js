// The state as the server has it, and the way to it. The server's state is the only one: a reload or a second page shows the same.

export const state = {};
let version = -1;
let behind = 0; // of this computer's clock, in ms: a tablet's may be minutes off
export const now = () => Date.now() + behind;
const watchers = new Map(); // section -> functions
const hearers = new Map(); // event -> functions
let socket = null;
let wait = 200;

export function on(sections, f) {
  for (const name of [sections].flat()) {
    if (!watchers.has(name)) watchers.set(name, new Set());
    watchers.get(name).add(f);
  }
  f();
}
export function hear(event, f) {
  if (!hearers.has(event)) hearers.set(event, new Set());
  hearers.get(event).add(f);
}
export function emit(event, message) {
  for (const f of hearers.get(event) ?? []) f(message);
}

function changed(names) {
  const due = new Set();
  for (const name of names) for (const f of watchers.get(name) ?? []) due.add(f);
  for (const f of due) f();
}

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
    behind = Math.max(behind, message.at - Date.now()); // what was long on its way made the clock late, and countdowns too long
    emit(message.event, message);
  }
}

// Exchange the code of a link, which works once, for the cookie that opens everything.
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
    emit('server', { up: true });
  });
  socket.addEventListener('close', () => {
    emit('server', { up: false });
    retry();
  });
}
function retry() {
  emit('server', { up: false });
  setTimeout(connect, wait);
  wait = Math.min(wait * 1.6, 3000);
}

// What is set up goes one after the other, each lane by itself, and what moves the board after what was set up before it:
// on its way a request may overtake another one. Of two that were given at once the later one holds.
const LANES = {
  tune: 'desk',
  step: 'desk',
  untune: 'desk',
  edit: 'desk',
  add_part: 'desk',
  remove_part: 'desk',
  reset_rig: 'desk',
  rate: 'log',
  note: 'log',
  dismiss: 'bar',
};
const turns = { desk: Promise.resolve(), log: Promise.resolve(), bar: Promise.resolve() };
let aborts = 0;

// Do something; resolves to the answer, or throws an Error with the library's words.
export function act(command, body = {}) {
  const lane = LANES[command],
    before = aborts;
  const answered = turns[lane ?? 'desk'].then(async () => {
    if (!lane && aborts !== before) throw new Error('Aborted before it had begun.');
    const answer = await post(command, body);
    if (!lane && aborts !== before) abort(); // which may have overtaken it
    return answer;
  });
  if (lane) turns[lane] = answered.catch(() => {});
  return answered;
}

async function post(command, body) {
  const answer = await fetch(`/do/${command}`, {
    method: 'POST',
    headers: { 'content-type': 'application/json' },
    body: JSON.stringify(body),
  });
  if (answer.status === 403) {
    emit('locked', {});
    throw new Error(await answer.text());
  }
  const content = await answer.json().catch(() => ({ error: `the server answered ${answer.status}` }));
  if (!answer.ok) throw new Error(content.error);
  return content;
}

// A link that opens the page once, for another device.
export async function makeLink() {
  const answer = await fetch('/link', {
    method: 'POST',
    headers: { 'content-type': 'application/json' },
    body: '{}',
  });
  if (!answer.ok) throw new Error(await answer.text());
  return (await answer.json()).link;
}

export async function get(path) {
  const answer = await fetch(path, { cache: 'no-store' });
  const content = await answer.json().catch(() => ({ error: `the server answered ${answer.status}` }));
  if (!answer.ok) throw new Error(content.error);
  return content;
}

// Abort goes the way that is open already, and both ways since that one may be in doubt. The server takes each press once:
// what comes later by the other way shall not end what was begun after it.
export function abort() {
  aborts++;
  const press = `${Date.now()}-${Math.random()}`;
  if (socket && socket.readyState === WebSocket.OPEN) socket.send(`abort ${press}`);
  post('abort', { press }).catch(() => {});
}
