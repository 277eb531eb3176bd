// The name of this device, which others see beside what it does: what its browser says, until the person names it.

import { h } from './dom.js';
import { keep, kept } from './kept.js';

/** @type {[RegExp, string][]} */
const KINDS = [
  [/iPhone/, 'iPhone'],
  [/iPad/, 'iPad'],
  [/Android.*Mobile/, 'phone'],
  [/Android/, 'tablet'],
  [/Macintosh/, 'Mac'],
  [/Windows/, 'Windows computer'],
  [/Linux|CrOS/, 'computer'],
];

export const deviceName = () =>
  kept('device', '') || (KINDS.find(([sign]) => sign.test(navigator.userAgent))?.[1] ?? 'browser');

/** A field for it. @param {() => void} changed */
export function makeDeviceName(changed) {
  const field = h('input', { type: 'text', id: 'device', size: 16, maxlength: 30, value: deviceName() });
  field.addEventListener('change', () => {
    keep('device', field.value.trim());
    field.value = deviceName();
    changed();
  });
  return h('div.row', h('label', { for: 'device' }, 'Name of this device'), field);
}
