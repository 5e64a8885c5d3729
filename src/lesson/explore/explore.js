'use strict';
const DATA = JSON.parse(document.getElementById('data').textContent);
const at = (id) => document.getElementById(id);
// A number with so many decimals and a real minus sign.
const fixed = (value, decimals) => value.toFixed(decimals).replace(/^-(?=.*[1-9])/, '−').replace(/^-/, '');
// Points of a line in a plot: pairs of numbers.
const points = (list) => list.map(([x, y]) => `${x.toFixed(1)},${y.toFixed(1)}`).join(' ');
const line = (kind, list) => `<polyline class="${kind}" points="${points(list)}"/>`;
const words = (x, y, text, kind = '') => `<text x="${x}" y="${y}" class="${kind}">${text}</text>`;
// Replaces what a drawing shows; its title is what it shows in words.
const draw = (id, title, inside) => {
  const svg = at(id);
  svg.innerHTML = `<title>${title}</title>${inside}`;
  svg.setAttribute('aria-label', title);
};
// A slider with what it stands for behind its label.
const slider = (id, name, changed) => {
  const input = at(id), output = document.querySelector(`output[for="${id}"]`);
  const show = () => {
    const text = name(Number(input.value));
    output.textContent = text;
    input.setAttribute('aria-valuetext', text);
  };
  input.addEventListener('input', () => { show(); changed(); });
  show();
  return {
    get value() { return Number(input.value); },
    set value(to) { input.value = to; show(); },
    // Other stops; it stays as near as it can to where it is, or goes to `value`.
    stops(least, most, step, value = input.value) {
      Object.assign(input, { min: least, max: most, step });
      input.value = value;
      show();
    },
  };
};
// A box that says what became of something.
const status = (id, kind, text) => {
  const box = at(id);
  box.className = `status ${kind}`;
  box.textContent = text;
};

// What the program says. Where its code is in the page and has started, `live`, it is asked; else there is what it said when the page was
// written. `begin` makes a page ready for either, `update` shows what there is; both are the page's own.
const known = new Map((DATA.known ?? []).map(([question, answer]) => [JSON.stringify(question), answer]));
const heard = new Map(), waiting = [];
let live = false, asking = false;
let begin = () => {}, update = () => {};

// The answer to a question: null while it is worked out (the page is shown again when it is there), undefined where there is none. `alone`:
// nothing else is wanted any more.
function have(question, alone = false) {
  const key = JSON.stringify(question);
  if (!live) return known.get(key);
  if (heard.has(key)) return heard.get(key);
  if (alone) waiting.length = 0;
  if (!waiting.includes(key)) waiting.push(key);
  next();
  return null;
}

// The newest question first.
async function next() {
  if (asking || !waiting.length) return;
  asking = true;
  busy();
  const key = waiting.pop();
  try {
    const reply = await answerTo(JSON.parse(key));
    if (!reply.answer) throw new Error(reply.failed ?? 'stopped');
    if (reply.answer.error) throw new Error(reply.answer.error);
    heard.set(key, reply.answer);
  } catch (error) {
    heard.set(key, { error: error.message });
  }
  // Enough for every stop of a slider.
  if (heard.size > 100) heard.delete(heard.keys().next().value);
  asking = false;
  update();
  busy();
  next();
}
const busy = () => document.querySelector('main').setAttribute('aria-busy', String(asking || waiting.length > 0));

// The capture of an answer as a file, for the program or for the page that reads captures.
let offered = '';
function offer(received) {
  const link = at('save');
  link.hidden = !received?.file;
  if (!received?.file || received.file === offered) return;
  offered = received.file;
  URL.revokeObjectURL(link.href);
  const bytes = Uint8Array.from(offered.match(/../g), (pair) => parseInt(pair, 16));
  link.href = URL.createObjectURL(new Blob([bytes], { type: 'audio/wav' }));
  link.download = received.name;
}

// Shows the page as it was written, and once more when the program's code has started.
function play() {
  begin();
  update();
  if (!at('module')) return;
  document.querySelector('main').setAttribute('aria-busy', 'true');
  start().then(() => {
    live = true;
    at('source').textContent = `What this page shows is worked out in it by the program's own code, ${PROGRAM} compiled for a browser.`;
    begin();
  }, (error) => {
    at('why').textContent = `The program's own code in this page does not start in this browser: ${error.message}.`;
  }).then(() => { update(); busy(); });
}
