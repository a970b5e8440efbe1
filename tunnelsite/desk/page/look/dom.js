// Making elements and speaking to screen readers: the only place that builds HTML.

const SVG = 'http://www.w3.org/2000/svg';

/** An element. `set`: attributes; a function under `onNAME` listens; `text`, `value`, `checked` are set as properties. */
export function h(tag, set = {}, ...inside) {
  return filled(document.createElement(tag), set, inside);
}

/** The same for a drawing (SVG). */
export function s(tag, set = {}, ...inside) {
  return filled(document.createElementNS(SVG, tag), set, inside);
}

const tag = (element) => element.tagName;

/** Whether someone is in the middle of a field of this element: its value is not yet what was last taken from it. */
export function typing(element) {
  const field = document.activeElement;
  return element.contains(field) && field.matches('input:not([type="checkbox"])') && field.value !== field.getAttribute('value');
}

function filled(element, set, inside) {
  for (const [name, value] of Object.entries(set)) {
    if (value === null || value === undefined || value === false) continue;
    if (name.startsWith('on')) element.addEventListener(name.slice(2), value);
    else if (name === 'text') element.textContent = value;
    else if (name === 'value' || name === 'checked') {
      element[name] = value;
      if (name === 'value' && tag(element) !== 'TEXTAREA') element.setAttribute('value', value); // what it began with, see `typing`
    }
    else if (name === 'style') for (const [key, entry] of Object.entries(value)) element.style.setProperty(key, entry);
    else element.setAttribute(name, value === true ? '' : value);
  }
  element.append(...inside.flat(Infinity).filter((child) => child !== null && child !== undefined && child !== false));
  return element;
}

/** Put new children in an element, and the focus back where it was by the id, where it was inside. */
export function fill(element, ...inside) {
  const held = element.contains(document.activeElement) ? document.activeElement.id : '';
  element.replaceChildren(...inside.flat(Infinity).filter((child) => child));
  if (held) document.getElementById(held)?.focus({ preventScroll: true });
  return element;
}

let waiting = 0;

/** Say a line to screen readers, once the hand rests. */
export function announce(words, after = 400) {
  clearTimeout(waiting);
  waiting = setTimeout(() => { document.getElementById('live').textContent = words; }, after);
}

/** Something that went wrong, in words, at the head of the page until it is closed. */
export function notice(words) {
  const line = document.getElementById('notice');
  line.hidden = !words;
  if (!words) return fill(line);
  return fill(line, h('span', { text: words }), h('button', { type: 'button', text: 'Close', onclick: () => notice('') }));
}

/** A question or a table before everything else; resolves with what the page's own buttons close it with. */
export function dialog(title, ...inside) {
  const box = document.getElementById('dialog');
  fill(
    box,
    h('div', { class: 'dialog-head' }, h('h2', { id: 'dialog-title', text: title }),
      h('button', { type: 'button', text: 'Close', onclick: () => box.close() })),
    ...inside,
  );
  if (!box.open) box.showModal();
  return box;
}
