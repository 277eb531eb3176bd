// Where the pictures of new shots come from: nowhere, a camera, a watched folder, the simulated camera.

import { h, show } from './dom.js';
import { act, on, state } from './net.js';
import { attempt } from './press.js';

/** @type {Record<string, string>} */
const WORDS = {
  none: 'No: they stay in the camera',
  camera: 'From a camera on USB or network',
  sim: 'From the simulated camera',
  folder: 'From a watched folder',
};

export function makeCameraChoice() {
  const kind = h('select', { id: 'pictures-kind' });
  const camera = h('input', {
    type: 'text',
    id: 'pictures-camera',
    size: 14,
    maxlength: 80,
    autocomplete: 'off',
    'aria-label': 'Which camera: usb for the only one, its port, or part of its model',
  });
  const said = h('span.soft.small');
  const send = () => attempt(act('pictures_from', { kind: kind.value, camera: camera.value }));
  kind.addEventListener('change', send);
  camera.addEventListener('change', send);
  on(['pictures', 'board', 'job'], () => {
    const pictures = state.pictures;
    if (!pictures) return;
    const kinds = pictures.kinds.filter((one) => one !== 'sim' || state.board?.simulated);
    show(
      kind,
      kinds.map((one) => h('option', { value: one, selected: one === pictures.kind }, WORDS[one] ?? one)),
    );
    kind.disabled = camera.disabled = state.job?.state === 'running';
    camera.hidden = pictures.kind !== 'camera';
    if (document.activeElement !== camera) camera.value = pictures.camera;
    show(said, pictures.kind === 'folder' ? (pictures.folder ?? '') : pictures.state);
  });
  return h('div.row', h('label', { for: 'pictures-kind' }, 'Fetch pictures'), kind, camera, said);
}
