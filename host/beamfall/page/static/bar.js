// Always in view: the state in large words, the beams, arm, release and abort, the job under way, notices.

import { deviceName } from './device.js';
import { buttonById, byId, caution, clock, definitions, form, h, joined, number, show } from './dom.js';
import { makeMarked } from './marks.js';
import { abort, act, hear, now, on, state } from './net.js';
import { makePicture } from './pictures.js';
import { attempt, makeButton } from './press.js';

/** @type {Record<string, string>} */
const NAMES = { beam1: 'beam 1', beam2: 'beam 2', beam3: 'beam 3' };

export function makeBar() {
  buttonById('abort').addEventListener('click', () => abort());
  buttonById('arm').addEventListener('click', arm);
  buttonById('release').addEventListener('click', (event) => release({ unrested: event.shiftKey }));
  on(['link', 'live', 'armed', 'job', 'plan', 'rig', 'resting', 'asked', 'table'], showBar);
  on(['job'], showStrip);
  on('notices', showNotices);
  on(['acted', 'devices'], showActed);
  hear('server', showBar);
  hear('trouble', ({ text, level }) => addLocal(text, level));
  // The bar grows with its text; the page above keeps clear of it.
  new ResizeObserver(([{ target }]) =>
    document.documentElement.style.setProperty(
      '--bar',
      `${Math.ceil(target.getBoundingClientRect().height)}px`,
    ),
  ).observe(byId('bar'));
  setInterval(() => {
    showRest();
    showCountdown();
  }, 250);
}

export const ready = () => state.link?.state === 'up' && state.job?.state !== 'running';
export const arm = () => {
  if (!buttonById('arm').disabled) attempt(act('arm'));
};
// One key, one shot, or a word why not: a key that does nothing leaves somebody waiting in the dark.
/** @param {{ unrested?: boolean }} [how] */
export function release({ unrested = false } = {}) {
  const why = whyNot(unrested);
  if (why) sayBriefly(why);
  else attempt(act('release', unrested ? { unrested } : {}));
}
export const isChanged = () => (state.armed ? state.armed.of !== state.asked?.number : false);
const BY_HAND = 'Arm uses your own table, not the plan.';
const CHANGED = 'Changed since arming: press Arm (A) again.';

// What Release still waits for, in s by the server's clock. The server refuses a release until then.
function left() {
  /** @param {number | null | undefined} moment */
  const until = (moment) => (moment ? Math.max(0.1, (moment - now()) / 1000) : 0);
  return { rest: until(state.resting?.rest_until), recycle: until(state.resting?.recycle_until) };
}
/** @param {boolean} unrested */
function whyNot(unrested) {
  if (!serverUp || state.link?.state !== 'up') return 'No board is connected.';
  if (state.job?.state === 'running')
    return `${state.job.title} is running: wait until it ends, or press Esc to abort it.`;
  if (!state.armed) return 'Nothing is armed: press Arm (A) first.';
  if (isChanged()) return CHANGED;
  const { rest, recycle } = left();
  if (recycle && (unrested || recycle >= rest))
    return `Ready again in ${inSeconds(recycle)}: the flash is recycling.`;
  if (rest && !unrested)
    return `Ready again in ${inSeconds(rest)}: the surface is settling. Shift+R releases anyway.`;
  return '';
}
/** @param {number} seconds */
const inSeconds = (seconds) => `${Math.ceil(seconds)} s`;

let serverUp = true;
hear('server', ({ up }) => {
  serverUp = up;
});

/** @returns {[string, string]} */
function words() {
  const link = state.link,
    live = state.live;
  if (!serverUp)
    return [
      'no server',
      'Beamfall cannot be reached. Start `beamfall page` again if it has stopped, and open its new link.',
    ];
  if (!link || link.state === 'connecting') return ['connecting', ''];
  if (link.state === 'none') return ['no board', link.text ?? ''];
  if (link.state === 'lost')
    return [
      'board lost',
      link.text || 'The connection is lost. Plug the board in again; the page reconnects automatically.',
    ];
  const word = live?.state ?? '…';
  // A board that has just started says so as its cause: no news while it is idle.
  const news = word === 'idle' && live?.cause?.word === 'restarted' ? null : live?.cause;
  const cause = news
    ? `${news.word.replaceAll('-', ' ')}: ${news.meaning}${news.cure ? `; ${news.cure}` : ''}`
    : '';
  if (isChanged() && state.job?.state !== 'running')
    return [word === 'idle' ? 'changed' : word, cause || CHANGED];
  if (word === 'idle' && state.armed)
    return ['armed', state.resting ? '' : 'The sequence is on the board. Press Release (R).'];
  if (word === 'idle' && live?.activity && live.activity !== 'none') return [live.activity, ''];
  if (word === 'idle' && state.asked?.by_hand) return ['idle', cause || BY_HAND];
  if (word === 'idle') return ['idle', state.plan?.problem ? `no plan: ${state.plan.problem}` : cause];
  return [word, cause];
}

function showBar() {
  const [word, cause] = words();
  if (byId('state').textContent !== word) {
    byId('state').textContent = word;
    byId('state').dataset.word = word;
  }
  const line = cause || restText();
  if (byId('cause').textContent !== line) byId('cause').textContent = line;
  byId('cause').title = cause;
  const beams = Object.entries(state.live?.beams ?? {});
  show(
    byId('beams'),
    beams.map(([name, is]) =>
      h(
        'div.beam',
        { 'data-word': is },
        h('span', NAMES[name] ?? name),
        h('b', is),
        h('span.glyph', { 'aria-hidden': 'true' }),
      ),
    ),
  );
  const free = ready() && serverUp;
  const byHand = state.asked?.by_hand ?? false;
  const wrong = byHand
    ? (state.table?.problems.length ?? 0) > 0
    : Boolean(state.plan?.problem) || (state.rig?.wrong ?? 0) > 0 || !state.plan;
  const blocked = buttonById('arm').disabled;
  buttonById('arm').disabled = !free || wrong;
  if (blocked !== buttonById('arm').disabled)
    buttonById('arm').title = !wrong
      ? ''
      : byHand
        ? 'Correct the marked rows in the table by hand'
        : 'Correct the marked fields in the Rig view';
  const on = Boolean(state.armed) && !isChanged();
  if (buttonById('arm').dataset.on !== String(on)) {
    buttonById('arm').dataset.on = String(on);
    show(buttonById('arm'), on ? 'Armed ✓ ' : 'Arm ', h('kbd', 'A'));
  }
  // It can be pressed while it waits; then it says what it waits for.
  buttonById('release').disabled = !free || !on;
  showRest();
}

// Who did what, once there is somebody else.
function showActed() {
  const acted = state.acted,
    others = (state.devices ?? []).length > 1 || (acted && acted.who !== deviceName());
  byId('acted').hidden = !acted || !others;
  if (acted) byId('acted').textContent = `${acted.who} ${acted.did} at ${clock(acted.at).slice(11)}`;
}

function restText() {
  const { rest, recycle } = left();
  if ((!rest && !recycle) || state.job?.state === 'running') return '';
  const why = recycle >= rest ? 'the flash is recycling' : 'the surface is settling';
  return `Ready again in ${inSeconds(Math.max(rest, recycle))}: ${why}.`;
}
let released = '';
function showRest() {
  const text = restText(),
    waits = Boolean(text) && !buttonById('release').disabled;
  const key = waits ? inSeconds(Math.max(...Object.values(left()))) : 'R';
  if (released !== key) {
    released = key;
    buttonById('release').dataset.waits = String(waits);
    show(buttonById('release'), waits ? 'Wait ' : 'Release ', h('kbd', key));
  }
  if (!words()[1] && byId('cause').textContent !== text) byId('cause').textContent = text;
}

// -- what is under way ------------------------------------------------------------------------------------------
let stripped = '';
/** @type {HTMLElement | null} */
let meter = null;
/** @type {HTMLElement | null} */
let countdown = null;
/** The views that show questions of their own. @type {Record<string, string>} */
const OWN_VIEWS = { seek: '#seek', check: '#check' };
const ownView = () => OWN_VIEWS[state.job?.kind ?? ''] === location.hash;

export function showStrip() {
  const job = state.job,
    strip = byId('strip');
  const running = job?.state === 'running';
  const asking = running && !ownView() ? job.question : null;
  const worth = running && job.kind !== 'arm' && (job.of > 1 || Boolean(asking) || job.kind !== 'release');
  strip.hidden = !worth;
  document.body.toggleAttribute('data-strip', worth);
  if (!worth) {
    stripped = '';
    return;
  }
  const key = `${job.id} ${asking?.id ?? ''} ${location.hash} ${job.of > 0}`;
  if (key !== stripped) {
    stripped = key;
    meter = h('i');
    countdown = h('span.soft');
    const text = h('span.striptext');
    const away = running && job.question && OWN_VIEWS[job.kind];
    show(
      strip,
      h(
        'div.line',
        h('b', job.title),
        text,
        countdown,
        job.of ? h('span.meter', { 'aria-hidden': 'true' }, meter) : null,
      ),
      asking
        ? away
          ? h('p', h('a', { href: away }, 'A question is waiting: answer it'))
          : makeQuestion(asking)
        : null,
    );
  }
  const share = job.of ? job.done / job.of : 0;
  const progress = joined(job.text, job.of > 1 ? `${job.done} of ${job.of}` : '');
  show(strip.querySelector('.striptext') ?? h('span'), progress);
  if (meter) meter.style.width = `${share * 100}%`;
  showCountdown();
}
function showCountdown() {
  if (!countdown) return;
  const until = state.job?.rest_until;
  const left = until ? (until - now()) / 1000 : 0;
  countdown.textContent = left > 0 ? `next shot in ${number(left, 0)} s` : '';
}

/** The answer that agrees with what was read in a picture: Enter gives it. */
export const AGREE = 'agree';

// A question with its answers; the first answer from any open page counts.
/** @param {Question} question @param {{ picture?: boolean }} [how] */
export function makeQuestion(question, { picture = true } = {}) {
  /** @param {string} value */
  const give = (value) => attempt(act('answer', { question: question.id, value }));
  /** @param {{ value: string, words: string }} choice */
  const isPlain = ({ value, words }) =>
    value === words ||
    value === AGREE ||
    question.choices.length === 1 ||
    (words.length < 46 && !question.free);
  const explained = question.choices.filter((choice) => !isPlain(choice));
  const agrees = question.choices.find((choice) => choice.value === AGREE);
  const giveTyped = () => {
    if (typed.value.trim() || agrees) give(typed.value.trim() || AGREE);
  };
  const typed = h('input', {
    type: 'text',
    'aria-label': 'The answer in words, with heights',
    maxlength: 200,
  });
  return h(
    'div',
    {
      class: `question${picture && question.shot ? ' pictured' : ''}`,
      id: 'question',
      'data-question': question.id,
    },
    picture && question.shot
      ? question.measured
        ? makeMarked(question.shot, question.measured, {
            className: 'askpic',
            name: 'Read again with these marks',
            use: give,
          })
        : h('div.pic.askpic', makePicture(question.shot, { small: false }))
      : null,
    h(
      'div.asks',
      question.cautions
        .filter(
          (text, n, all) =>
            !all.some((other, m) => m !== n && other.includes(text) && (other !== text || m < n)),
        )
        .map((text) => caution(text)),
      h('p.ask', question.text),
      // A telephone has no room for them in the buttons.
      explained.length
        ? h(
            'details.meanings',
            h('summary', 'What the words mean'),
            definitions(explained.map((choice) => [choice.value, choice.words])),
          )
        : null,
      question.hint ? h('p.hint', question.hint) : null,
      h(
        'div.answers',
        question.choices.map((choice) =>
          makeButton(
            isPlain(choice) ? choice.words : [choice.value, h('small', choice.words)],
            () => give(choice.value),
            { 'data-answer': choice.value },
          ),
        ),
      ),
      question.free ? form(giveTyped, { class: 'row' }, typed, h('button', 'Answer')) : null,
    ),
  );
}

// -- notices ----------------------------------------------------------------------------------------------------
/** @type {Notice[]} */
const local = [];
/** @param {string} text @param {string} [level] */
function addLocal(text, level = 'error') {
  if (local.some((one) => one.text === text)) return;
  const notice = { level, text, own: true };
  local.push(notice);
  showNotices();
  if (level === 'note') setTimeout(() => drop(notice), 12000);
}
/** @param {Notice} one */
function drop(one) {
  const at = local.indexOf(one);
  if (at < 0) return;
  local.splice(at, 1);
  showNotices();
}
// One at a time, and it disappears by itself: a key pressed repeatedly must not fill the screen.
/** @param {string} text */
function sayBriefly(text) {
  const brief = { level: 'note', text, own: true, brief: true };
  for (const one of local.filter((each) => each.brief)) drop(one);
  local.push(brief);
  showNotices();
  setTimeout(() => drop(brief), 4000);
}
/** @type {Record<string, string>} */
const LEVELS = { error: 'Error', caution: 'Caution', note: 'Note', good: 'Done' };
function showNotices() {
  const all = [...(state.notices ?? []), ...local].slice(-4);
  show(
    byId('notices'),
    all.map((notice) =>
      h(
        'div.notice',
        { 'data-level': notice.level },
        h('p', h('b', LEVELS[notice.level] ?? ''), notice.text),
        makeButton(
          '×',
          () => {
            if (notice.own) drop(notice);
            else attempt(act('dismiss', { notice: notice.id }));
          },
          { 'aria-label': 'Dismiss this notice' },
        ),
      ),
    ),
  );
  for (const notice of all)
    if (notice.level === 'note' && !notice.timed && !notice.own) {
      notice.timed = true;
      setTimeout(() => act('dismiss', { notice: notice.id }).catch(() => {}), 6000);
    }
}
