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
  return { get value() { return Number(input.value); }, set value(to) { input.value = to; show(); }, input };
};
const status = (id, kind, text) => {
  const box = at(id);
  box.className = `status ${kind}`;
  box.textContent = text;
};
