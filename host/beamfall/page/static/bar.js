// What is always there: the state in large words, the beams, arm, release and abort, what is under way, notices.
import { h, show, number } from './dom.js';
import { state, on, hear, act, abort, emit, now } from './net.js';
import { makePicture } from './pictures.js';

const NAMES = { beam1: 'beam 1', beam2: 'beam 2', beam3: 'beam 3' };
const $ = (id) => document.getElementById(id);

export const attempt = (promise) => promise.catch((error) => emit('trouble', { text: error.message }));

export function makeBar() {
  $('abort').addEventListener('click', () => abort());
  $('arm').addEventListener('click', arm);
  $('release').addEventListener('click', (event) => release({ unrested: event.shiftKey }));
  on(['link', 'live', 'armed', 'job', 'plan', 'rig', 'resting'], showBar);
  on(['job'], showStrip);
  on('notices', showNotices);
  hear('server', showBar);
  hear('trouble', ({ text, level }) => addLocal(text, level));
  // The bar grows with what it has to say; what lies above it keeps clear of it.
  new ResizeObserver(([{ target }]) =>
    document.documentElement.style.setProperty(
      '--bar',
      `${Math.ceil(target.getBoundingClientRect().height)}px`,
    ),
  ).observe($('bar'));
  setInterval(() => {
    showRest();
    showCountdown();
  }, 250);
}

export const ready = () => state.link?.state === 'up' && state.job?.state !== 'running';
export const arm = () => {
  if (!$('arm').disabled) attempt(act('arm'));
};
// One key, one shot, or a word why not: a key that does nothing leaves somebody waiting in the dark.
export function release({ unrested = false } = {}) {
  const why = whyNot(unrested);
  if (why) sayBriefly(why);
  else attempt(act('release', unrested ? { unrested } : {}));
}
export const isChanged = () => Boolean(state.armed) && state.armed.of !== state.plan?.number;
const CHANGED = 'Changed since arming: press A again.';

// What Release still waits for, in s by the server's clock; the server says when it is over, and refuses until then.
function left() {
  const until = (moment) => (moment ? Math.max(0.1, (moment - now()) / 1000) : 0);
  return { rest: until(state.resting?.rest_until), recycle: until(state.resting?.recycle_until) };
}
function whyNot(unrested) {
  if (!serverUp || state.link?.state !== 'up') return 'There is no board to release anything.';
  if (state.job?.state === 'running')
    return `${state.job.title} is under way: wait until it ends, or abort it.`;
  if (!state.armed) return 'Nothing is armed: press A first.';
  if (isChanged()) return CHANGED;
  const { rest, recycle } = left();
  if (recycle && (unrested || recycle >= rest))
    return `Ready again in ${inSeconds(recycle)}: the flash recycles, which cannot be cut short.`;
  if (rest && !unrested)
    return `Ready again in ${inSeconds(rest)}: the surface rests. Shift and R release before that.`;
  return '';
}
const inSeconds = (seconds) => `${Math.ceil(seconds)} s`;

let serverUp = true;
hear('server', ({ up }) => {
  serverUp = up;
});

function words() {
  const link = state.link,
    live = state.live;
  if (!serverUp)
    return [
      'no server',
      'The program that serves this page has ended or cannot be reached; this page goes on trying.',
    ];
  if (!link || link.state === 'connecting') return ['connecting', ''];
  if (link.state === 'none') return ['no board', link.text];
  if (link.state === 'lost')
    return [
      'board lost',
      link.text || 'The port has vanished. Plug the board in again: the page goes on by itself.',
    ];
  const word = live?.state ?? '…';
  // A board that has just started says so as its cause: no news while it is idle.
  const news = live?.cause && !(word === 'idle' && live.cause.word === 'restarted');
  const cause = news
    ? `${live.cause.word.replaceAll('-', ' ')}: ${live.cause.meaning}${live.cause.cure ? `; ${live.cause.cure}` : ''}`
    : '';
  if (isChanged() && state.job?.state !== 'running')
    return [word === 'idle' ? 'changed' : word, cause || CHANGED];
  if (word === 'idle' && state.armed)
    return ['armed', state.resting ? '' : 'The sequence is on the board, checked. R releases it.'];
  if (word === 'idle' && live?.activity && live.activity !== 'none') return [live.activity, ''];
  if (word === 'idle') return ['idle', state.plan?.problem ? `no plan: ${state.plan.problem}` : cause];
  return [word, cause];
}

function showBar() {
  const [word, cause] = words();
  if ($('state').textContent !== word) {
    $('state').textContent = word;
    $('state').dataset.word = word;
  }
  const line = cause || restText();
  if ($('cause').textContent !== line) $('cause').textContent = line;
  $('cause').title = cause;
  const beams = Object.entries(state.live?.beams ?? {});
  show(
    $('beams'),
    beams.map(([name, is]) =>
      h(
        'div',
        { class: 'beam', 'data-word': is },
        h('span', {}, NAMES[name] ?? name),
        h('b', {}, is),
        h('span', { class: 'glyph', 'aria-hidden': 'true' }),
      ),
    ),
  );
  const free = ready() && serverUp;
  const wrong = Boolean(state.plan?.problem) || (state.rig?.wrong ?? 0) > 0 || !state.plan;
  const blocked = $('arm').disabled;
  $('arm').disabled = !free || wrong;
  if (blocked !== $('arm').disabled) $('arm').title = wrong ? 'Put right what is marked in the rig form' : '';
  const on = Boolean(state.armed) && !isChanged();
  if ($('arm').dataset.on !== String(on)) {
    $('arm').dataset.on = String(on);
    show($('arm'), on ? 'Armed ✓ ' : 'Arm ', h('kbd', {}, 'A'));
  }
  // While it waits it can be pressed, and says what for.
  $('release').disabled = !free || !on;
  showRest();
}

function restText() {
  const { rest, recycle } = left();
  if ((!rest && !recycle) || state.job?.state === 'running') return '';
  return `Ready again in ${inSeconds(Math.max(rest, recycle))}: ${recycle >= rest ? 'the flash recycles' : 'the surface rests'}.`;
}
let released = '';
function showRest() {
  const text = restText(),
    waits = Boolean(text) && !$('release').disabled;
  const key = waits ? inSeconds(Math.max(...Object.values(left()))) : 'R';
  if (released !== key) {
    released = key;
    $('release').dataset.waits = String(waits);
    show($('release'), waits ? 'Wait ' : 'Release ', h('kbd', {}, key));
  }
  if (!words()[1] && $('cause').textContent !== text) $('cause').textContent = text;
}

// -- what is under way ------------------------------------------------------------------------------------------
let stripped = '';
let meter = null,
  countdown = null;
const ownView = () => ({ seek: '#seek', check: '#check' })[state.job?.kind] === location.hash;

export function showStrip() {
  const job = state.job,
    strip = $('strip');
  const running = job?.state === 'running';
  const asking = running && job.question && !ownView();
  const worth =
    running && !['arm'].includes(job.kind) && (job.of > 1 || asking || !['release'].includes(job.kind));
  strip.hidden = !worth;
  document.body.toggleAttribute('data-strip', worth);
  if (!worth) {
    stripped = '';
    return;
  }
  const key = `${job.id} ${asking ? job.question.id : ''} ${location.hash}`;
  if (key !== stripped) {
    stripped = key;
    meter = h('i');
    countdown = h('span', { class: 'soft' });
    const text = h('span', { class: 'striptext' });
    const away = running && job.question && { seek: '#seek', check: '#check' }[job.kind];
    show(
      strip,
      h(
        'div',
        { class: 'line' },
        h('b', {}, job.title),
        text,
        countdown,
        h('span', { class: 'meter', 'aria-hidden': 'true' }, meter),
      ),
      asking
        ? away
          ? h('p', {}, h('a', { href: away }, 'It asks something: answer it here'))
          : makeQuestion(job.question)
        : null,
    );
  }
  const text = strip.querySelector('.striptext');
  const share = job.of ? job.done / job.of : 0;
  text.textContent = [job.text, job.of > 1 ? `${job.done} of ${job.of}` : ''].filter(Boolean).join(' · ');
  meter.style.width = `${share * 100}%`;
  showCountdown();
}
function showCountdown() {
  if (!countdown) return;
  const until = state.job?.rest_until;
  const left = until ? (until - now()) / 1000 : 0;
  countdown.textContent = left > 0 ? `rests ${number(left, 0)} s` : '';
}

// A question with its answers; the first answer of any open page counts.
export function makeQuestion(question, { picture = true } = {}) {
  const give = (value) => attempt(act('answer', { question: question.id, value }));
  const typed = h('input', {
    type: 'text',
    'aria-label': 'The answer in words, with heights',
    placeholder: 'before jet 31 mm drop 42 mm',
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
      ? h('div', { class: 'pic askpic' }, makePicture(question.shot, { small: false }))
      : null,
    h(
      'div',
      { class: 'asks' },
      question.cautions
        .filter(
          (text, n, all) =>
            !all.some((other, m) => m !== n && other.includes(text) && (other !== text || m < n)),
        )
        .map((text) => h('p', { class: 'caution' }, h('b', {}, 'Caution: '), text)),
      h('p', { class: 'ask' }, question.text),
      question.hint ? h('p', { class: 'hint' }, question.hint) : null,
      h(
        'div',
        { class: 'answers' },
        question.choices.map((choice) => {
          const plain =
            choice.value === choice.words ||
            question.choices.length === 1 ||
            (choice.words.length < 46 && !question.free);
          return h(
            'button',
            { type: 'button', 'data-answer': choice.value, on: { click: () => give(choice.value) } },
            plain ? choice.words : [choice.value, h('small', {}, choice.words)],
          );
        }),
      ),
      question.free
        ? h(
            'form',
            {
              class: 'row',
              on: {
                submit: (event) => {
                  event.preventDefault();
                  if (typed.value.trim()) give(typed.value);
                },
              },
            },
            typed,
            h('button', {}, 'Answer'),
          )
        : null,
    ),
  );
}

// -- notices ----------------------------------------------------------------------------------------------------
const local = [];
const shownFrom = Date.now();
function addLocal(text, level = 'error') {
  if (!local.some((one) => one.text === text)) local.push({ level, text, own: true });
  showNotices();
}
// One at a time, and gone by itself: a key pressed again and again must not fill the screen.
function sayBriefly(text) {
  const brief = { level: 'note', text, own: true, brief: true };
  const drop = (one) => {
    const at = local.indexOf(one);
    if (at >= 0) {
      local.splice(at, 1);
      showNotices();
    }
  };
  for (const one of local.filter((each) => each.brief)) drop(one);
  local.push(brief);
  showNotices();
  setTimeout(() => drop(brief), 4000);
}
const LEVELS = { error: 'Trouble', caution: 'Caution', note: 'Note', good: 'Done' };
function showNotices() {
  const all = [...(state.notices ?? []), ...local].slice(-4);
  show(
    $('notices'),
    all.map((notice) =>
      h(
        'div',
        { class: 'notice', 'data-level': notice.level },
        h('p', {}, h('b', {}, LEVELS[notice.level] ?? ''), notice.text),
        h(
          'button',
          {
            type: 'button',
            'aria-label': 'Take this notice away',
            on: {
              click: () => {
                if (notice.own) {
                  local.splice(local.indexOf(notice), 1);
                  showNotices();
                } else attempt(act('dismiss', { notice: notice.id }));
              },
            },
          },
          '×',
        ),
      ),
    ),
  );
  for (const notice of all)
    if (notice.level === 'note' && !notice.timed && !notice.own && notice.at > shownFrom - 500) {
      notice.timed = true;
      setTimeout(() => act('dismiss', { notice: notice.id }).catch(() => {}), 6000);
    }
}
