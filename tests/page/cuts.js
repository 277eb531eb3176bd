// Every text that is cut off or lies where nobody can get it into sight. Sideways nothing may be cut, not even by a box
// that scrolls; up and down a box or the page may scroll, but what is fixed to the window must lie within it.
() => {
  /** @type {string[]} */
  const found = [];
  const slack = 1.5;
  const note = (/** @type {string} */ why, /** @type {Element} */ element, /** @type {string} */ text) =>
    found.push(
      `${why}: ${element.tagName.toLowerCase()}${element.id ? `#${element.id}` : ''}` +
        `${element.classList.length ? `.${[...element.classList].join('.')}` : ''} '${text.slice(0, 50)}'`,
    );
  const canvas = document.createElement('canvas').getContext('2d');
  if (!canvas) throw new Error('this browser cannot measure text');
  // Whole in the shot's own panel; a note of a few words must be whole in the list, too.
  const shortened = (/** @type {Element} */ element) =>
    element.closest('.logrow .c-purpose, .cell p') !== null ||
    (element.closest('.logrow .c-note') !== null && element.textContent.length > 40);
  for (const element of document.querySelectorAll('body *')) {
    if (
      !element.checkVisibility({ visibilityProperty: true }) ||
      element.closest('.unseen, .skip, title, option, noscript')
    )
      continue;
    const field =
      element instanceof HTMLInputElement || element instanceof HTMLTextAreaElement ? element : null;
    const list = element instanceof HTMLSelectElement ? element : null;
    if (element.matches('input[type="text"], input[type="search"], input[type="number"], select, textarea')) {
      const style = getComputedStyle(element);
      const text = list?.selectedOptions[0]?.text ?? (field?.value || field?.placeholder || '');
      // The shorthand is empty beside tabular figures.
      canvas.font = `${style.fontWeight} ${style.fontSize} ${style.fontFamily}`;
      const room = element.clientWidth - parseFloat(style.paddingLeft) - parseFloat(style.paddingRight);
      if (element.matches('input') && canvas.measureText(text).width > room + slack)
        note('field too small', element, text);
      if (element.matches('select') && canvas.measureText(text).width > element.clientWidth + slack)
        note('field too small', element, text);
    }
    let rects;
    if (element.matches('input, select, textarea, button, a.button'))
      rects = [element.getBoundingClientRect()];
    else {
      const own = [...element.childNodes].filter((node) => node.nodeType === 3 && node.textContent?.trim());
      if (!own.length) continue;
      rects = own.flatMap((node) => {
        const range = document.createRange();
        range.selectNodeContents(node);
        return [...range.getClientRects()];
      });
    }
    const text = element.textContent.trim() || (field ?? list)?.value || '';
    if (
      getComputedStyle(element).textOverflow === 'ellipsis' &&
      element.scrollWidth > element.clientWidth + slack &&
      !shortened(element)
    )
      note('shortened', element, text);
    for (const rect of rects) {
      if (rect.width < 1 || shortened(element)) continue;
      if (rect.left < -slack || rect.right > innerWidth + slack) {
        note('beyond the window', element, text);
        break;
      }
      let why = '';
      /** @type {Element | null} */
      let box = element;
      for (; box && box !== document.body && !why; box = box.parentElement) {
        const style = getComputedStyle(box),
          edge = box.getBoundingClientRect();
        if (box !== element || !element.matches('input, select, textarea, button')) {
          const svg = box instanceof SVGSVGElement;
          if (
            (svg || style.overflowX !== 'visible') &&
            (rect.left < edge.left - slack || rect.right > edge.right + slack)
          )
            why = 'cut sideways';
          const hidden = svg || style.overflowY === 'hidden' || style.overflowY === 'clip';
          if (hidden && (rect.top < edge.top - 3 || rect.bottom > edge.bottom + 3))
            why = 'cut above or below';
        }
        const scrolls = box !== element && /auto|scroll/.test(style.overflowY);
        if (scrolls) break;
        if (style.position === 'fixed' && (rect.top < -slack || rect.bottom > innerHeight + slack))
          why = 'fixed beyond the window';
      }
      if (why) {
        note(why, element, text);
        break;
      }
    }
  }
  return found;
};
