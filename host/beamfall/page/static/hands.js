// For busy hands and dark rooms: the screen stays awake during a series, the phone vibrates, the state is spoken.

import { isOn } from './kept.js';
import { hear, on, state } from './net.js';
import { makeToggle } from './press.js';

/** Patterns of vibration in ms. @type {Record<string, number[]>} */
const BUZZ = { fired: [60], missed: [60, 80, 60], fault: [200, 80, 200] };
/** What is spoken. @type {Record<string, string>} */
const SPOKEN = { 'armed-for-sensor': 'armed', fired: 'fired', missed: 'missed', fault: 'fault' };

/** @type {WakeLockSentinel | null} */
let lock = null;

// Browsers grant it to pages of this computer and over https only, and take it back when the page is hidden.
async function stayAwake() {
  const wanted = state.job?.state === 'running' && !document.hidden;
  if (wanted && !lock && 'wakeLock' in navigator) {
    lock = await navigator.wakeLock.request('screen').catch(() => null);
    lock?.addEventListener('release', () => {
      lock = null;
    });
  } else if (!wanted && lock) {
    await lock.release();
    lock = null;
  }
}

/** @param {string} text */
function speak(text) {
  if (!isOn('voice') || !('speechSynthesis' in window)) return;
  speechSynthesis.cancel(); // late news is not spoken
  speechSynthesis.speak(new SpeechSynthesisUtterance(text));
}

/** Vibrate, speak and stay awake from now on, whatever view is shown. */
export function startHands() {
  hear('state', (event) => {
    if (BUZZ[event.state]) navigator.vibrate?.(BUZZ[event.state]);
    if (SPOKEN[event.state]) speak(SPOKEN[event.state]);
  });
  hear('abort', () => speak('aborted'));
  // In the dark nobody reads that the cable has come off.
  hear('link', (event) => {
    if (event.state === 'lost') navigator.vibrate?.(BUZZ.fault);
    speak(event.state === 'lost' ? 'board lost' : 'board connected');
  });
  on('job', stayAwake);
  document.addEventListener('visibilitychange', stayAwake);
}

/** The button that turns the voice on and off. */
export const makeVoice = () => makeToggle('voice', 'Speak the state', () => speak('Voice on'));
