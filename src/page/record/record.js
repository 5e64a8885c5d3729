'use strict';
// The whole record on a canvas: closer, farther, left and right by keys, wheel, pointer or fingers; the bits laid over it.
function showRecords(root) {
  for (const part of root.querySelectorAll('.record:not([data-shown])')) {
    part.dataset.shown = 'yes';
    part.hidden = false;
    showRecord(part, JSON.parse(part.querySelector('.record-data').textContent));
  }
}

function showRecord(part, data) {
  const canvas = part.querySelector('canvas'), said = part.querySelector('.status'), context = canvas.getContext('2d');
  const bytes = (text) => Uint8Array.from({ length: text.length / 2 }, (_, k) => parseInt(text.slice(2 * k, 2 * k + 2), 16));
  const low = bytes(data.low), high = data.high ? bytes(data.high) : low;
  const step = (data.to_s - data.from_s) / low.length, whole = data.to_s - data.from_s;
  const least = Math.min(whole, 24 * step);
  const clock = whole < 2 ? [1000, 'ms'] : [1, 's'];
  const LEFT = 62, RIGHT = 12, STRIP = 20, BELOW = 44, LETTERS = '13px system-ui, sans-serif', DIGITS = '13px ui-monospace, monospace';
  let from = data.from_s, span = whole, later = 0;

  const colour = (name) => getComputedStyle(part).getPropertyValue(`--${name}`).trim();
  const strips = data.tags.slice(0, 4);
  const top = 6 + STRIP * strips.length, width = () => canvas.clientWidth, height = () => canvas.clientHeight;
  const x = (seconds) => LEFT + (seconds - from) / span * (width() - LEFT - RIGHT);
  const y = (value) => top + (data.highest - value) / (data.highest - data.lowest) * (height() - top - BELOW);
  const valueOf = (byte) => data.lowest + (byte - 1) / 254 * (data.highest - data.lowest);

  // Steps of 1, 2 or 5 times a power of ten, so many or a few less.
  function ticks(first, last, most) {
    const rough = (last - first) / most, ten = 10 ** Math.floor(Math.log10(rough));
    const size = [1, 2, 5, 10].map(times => times * ten).find(size => size >= rough * 0.999);
    const found = [];
    for (let k = Math.ceil(first / size); k * size <= last * (1 + 1e-12); k++) found.push(k * size);
    const digits = Math.max(0, -Math.floor(Math.log10(size) + 1e-9));
    return found.map(value => [value, value.toFixed(digits).replace(/^-/, '−')]);
  }

  function line(points, ink, thick = 1) {
    context.strokeStyle = ink;
    context.lineWidth = thick;
    context.beginPath();
    points.forEach(([px, py], k) => k ? context.lineTo(px, py) : context.moveTo(px, py));
    context.stroke();
  }

  function words(text, px, py, align = 'center', ink = colour('ink'), font = LETTERS) {
    Object.assign(context, { fillStyle: ink, font, textAlign: align, textBaseline: 'middle' });
    context.fillText(text, px, py);
  }

  function axes() {
    const bottom = height() - BELOW;
    for (const [value, text] of ticks(data.lowest, data.highest, 6)) {
      line([[LEFT, y(value)], [width() - RIGHT, y(value)]], colour('grid'));
      words(text, LEFT - 6, y(value), 'right', colour('muted'));
    }
    for (const [value, text] of ticks(from * clock[0], (from + span) * clock[0], Math.max(2, Math.floor(width() / 110)))) {
      const at = x(value / clock[0]);
      line([[at, top], [at, bottom]], colour('grid'));
      words(text, Math.min(at, width() - RIGHT - 4 * text.length), bottom + 13, 'center', colour('muted'));
    }
    line([[LEFT, top], [LEFT, bottom], [width() - RIGHT, bottom]], colour('ink'));
    words(`time, ${clock[1]}`, (LEFT + width()) / 2, height() - 9);
  }

  // Lowest to highest in every pixel; where there are fewer columns than pixels, a line through them.
  function trace() {
    const first = Math.max(0, Math.floor((from - data.from_s) / step) - 1), last = Math.min(low.length, Math.ceil((from + span - data.from_s) / step) + 1);
    const each = Math.max(1, (last - first) / Math.max(1, width() - LEFT - RIGHT));
    let run = [];
    const end = () => { if (run.length) line(run, colour(isClose() ? 'sky' : 'blue'), each > 1 ? 1 : 1.5); run = []; };
    for (let k = first; k < last; k += each) {
      let least = 256, most = 0;
      for (let c = Math.floor(k); c < Math.min(last, Math.max(Math.floor(k) + 1, Math.floor(k + each))); c++) {
        if (low[c]) { least = Math.min(least, low[c]); most = Math.max(most, high[c]); }
      }
      if (!most) { end(); continue; }
      const at = x(data.from_s + (k + each / 2) * step);
      run.push([at, y(valueOf(most))]);
      if (most > least) run.push([at, y(valueOf(least))]);
    }
    end();
  }

  // Close up, the mean over a quarter bit lies on it: what single cycles hide in noise.
  const quarter = strips.length ? Math.round(strips[0].bit_s / step / 4) : 0;
  const isClose = () => quarter > 1 && strips[0].bit_s / span * (width() - LEFT - RIGHT) >= 6;
  function means() {
    const first = Math.max(0, Math.floor((from - data.from_s) / step) - quarter), last = Math.min(low.length, Math.ceil((from + span - data.from_s) / step) + quarter);
    const run = [];
    for (let k = first; k + quarter <= last; k++) {
      let sum = 0, count = 0;
      for (let c = k; c < k + quarter; c++) if (low[c]) { sum += (low[c] + high[c]) / 2; count++; }
      if (count > quarter / 2) run.push([x(data.from_s + (k + quarter / 2) * step), y(valueOf(sum / count))]);
    }
    line(run, colour('vermillion'), 2);
  }

  // Parts of the telegram, as in the picture of it.
  function tint(bit) {
    if (bit < 11) return 'orange';
    if ((bit - 11) % 9 === 8) return 'muted';
    return bit < 83 ? 'sky' : bit < 101 ? 'blue' : 'purple';
  }

  function bitsOf(tag) {
    const found = [];
    for (const [begin, end, origin] of tag.runs) {
      const first = Math.ceil((Math.max(begin, from) - origin) / tag.bit_s - 1e-6);
      const last = Math.floor((Math.min(end, from + span) - origin) / tag.bit_s + 1e-6);
      for (let n = first; n < last; n++) found.push([origin + n * tag.bit_s, ((n % 128) + 128) % 128]);
    }
    return found;
  }

  function strip(tag, row) {
    const wide = x(from + tag.bit_s) - LEFT, middle = 5 + STRIP * (row + 0.5), upper = 4 + STRIP * row;
    if (wide < 0.5) {
      words(width() < 500 ? 'bits: closer' : `closer shows the bits of ${tag.number}`, (LEFT + width()) / 2, middle, 'center', colour('muted'));
      return;
    }
    for (const [at, bit] of bitsOf(tag)) {
      context.globalAlpha = 0.4;
      context.fillStyle = colour(tint(bit));
      context.fillRect(x(at), upper, wide + 0.5, STRIP - 2);
      context.globalAlpha = 1;
      if (wide >= 10) words(tag.bits[bit], x(at) + wide / 2, middle, 'center', colour('ink'), DIGITS);
      if (row === 0 && wide >= 10) line([[x(at), top], [x(at), height() - BELOW]], colour('grid'));
      if (bit === 0) line([[x(at), upper], [x(at), height() - BELOW]], colour('ink'));
    }
  }

  function tell() {
    const time = (seconds) => `${(seconds * clock[0]).toFixed(clock[0] === 1000 ? 2 : 4)}`;
    const parts = [`${time(from)} to ${time(from + span)} ${clock[1]}.`];
    for (const tag of strips) {
      const bits = bitsOf(tag);
      if (bits.length && bits.length <= 128) {
        parts.push(`${tag.number}: bits ${bits[0][1]} to ${bits[bits.length - 1][1]}: ${bits.map(([, bit]) => tag.bits[bit]).join('')}.`);
      }
    }
    said.textContent = parts.join(' ');
  }

  function draw() {
    const dense = window.devicePixelRatio || 1;
    canvas.width = Math.round(width() * dense);
    canvas.height = Math.round(height() * dense);
    context.setTransform(dense, 0, 0, dense, 0, 0);
    context.clearRect(0, 0, width(), height());
    axes();
    context.save();
    context.beginPath();
    context.rect(LEFT, 0, width() - LEFT - RIGHT, height() - BELOW);
    context.clip();
    strips.forEach(strip);
    trace();
    if (isClose()) means();
    context.restore();
    clearTimeout(later);
    later = setTimeout(tell, 150);
  }

  function show(wantedFrom, wantedSpan) {
    span = Math.min(whole, Math.max(least, wantedSpan));
    from = Math.min(data.to_s - span, Math.max(data.from_s, wantedFrom));
    draw();
  }
  // By a factor, a moment staying where it is.
  const zoom = (times, at = from + span / 2) => {
    const wanted = Math.min(whole, Math.max(least, span * times));
    show(at - (at - from) * wanted / span, wanted);
  };
  const moves = {
    in: () => zoom(0.5), out: () => zoom(2), left: () => show(from - span / 4, span), right: () => show(from + span / 4, span),
    first: () => show(data.from_s, span), last: () => show(data.to_s - span, span), all: () => show(data.from_s, whole),
  };
  const keys = { ArrowUp: 'in', '+': 'in', '=': 'in', ArrowDown: 'out', '-': 'out', ArrowLeft: 'left', ArrowRight: 'right', Home: 'first', End: 'last', 0: 'all' };
  canvas.addEventListener('keydown', event => {
    const move = keys[event.key];
    if (!move || event.ctrlKey || event.metaKey || event.altKey) return;
    event.preventDefault();
    moves[move]();
  });
  for (const button of part.querySelectorAll('button')) button.addEventListener('click', () => moves[button.dataset.move]());

  const moment = (px) => from + (px - canvas.getBoundingClientRect().left - LEFT) / (width() - LEFT - RIGHT) * span;
  // Only where it was chosen before: a wheel over it goes on moving the page.
  canvas.addEventListener('wheel', event => {
    if (document.activeElement !== canvas) return;
    event.preventDefault();
    zoom(Math.exp(Math.sign(event.deltaY) * 0.25), moment(event.clientX));
  }, { passive: false });

  const fingers = new Map();
  canvas.addEventListener('pointerdown', event => {
    canvas.setPointerCapture(event.pointerId);
    fingers.set(event.pointerId, event.clientX);
  });
  canvas.addEventListener('pointermove', event => {
    if (!fingers.has(event.pointerId)) return;
    const before = [...fingers.values()], held = moment(before.reduce((sum, px) => sum + px, 0) / before.length);
    fingers.set(event.pointerId, event.clientX);
    const now = [...fingers.values()], middle = now.reduce((sum, px) => sum + px, 0) / now.length;
    if (now.length === 2) zoom(Math.max(10, Math.abs(before[0] - before[1])) / Math.max(10, Math.abs(now[0] - now[1])), held);
    show(from + held - moment(middle), span);
  });
  for (const name of ['pointerup', 'pointercancel']) canvas.addEventListener(name, event => fingers.delete(event.pointerId));

  new ResizeObserver(draw).observe(canvas);
  matchMedia('(prefers-color-scheme: dark)').addEventListener('change', draw);
  draw();
  tell();
}
