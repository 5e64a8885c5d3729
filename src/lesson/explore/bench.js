// Circuits that the page works out on its own, for where it does not hold the program's code. Complex numbers are pairs.
const add = (a, b) => [a[0] + b[0], a[1] + b[1]];
const sub = (a, b) => [a[0] - b[0], a[1] - b[1]];
const mul = (a, b) => [a[0] * b[0] - a[1] * b[1], a[0] * b[1] + a[1] * b[0]];
const div = (a, b) => { const n = b[0] * b[0] + b[1] * b[1]; return [(a[0] * b[0] + a[1] * b[1]) / n, (a[1] * b[0] - a[0] * b[1]) / n]; };
const size = (a) => Math.hypot(a[0], a[1]);
const OMEGA = 2 * Math.PI * DATA.field_hz;

// Settled circuits: two loops that share a mutual inductance, Z1 + (ωM)²/Z2 (textbook).
function settled(bench, closed) {
  const conductance = 1 / DATA.chip_ohm + (closed ? 1 / bench.load_ohm : 0);
  const across = [conductance, OMEGA * bench.tag_f];
  const z2 = add([bench.tag_ohm, OMEGA * DATA.tag_h], div([1, 0], across));
  const z1 = [DATA.reader_ohm + DATA.source_ohm, OMEGA * DATA.reader_h - 1 / (OMEGA * bench.reader_f)];
  const wm = OMEGA * bench.mutual_h;
  const i1 = div([DATA.drive_v, 0], add(z1, div([wm * wm, 0], z2)));
  const i2 = div(mul([0, -wm], i1), z2);
  const vc1 = div(i1, [0, OMEGA * bench.reader_f]);
  const vc2 = div(i2, across);
  const antenna = sub(sub([DATA.drive_v, 0], [DATA.source_ohm * i1[0], DATA.source_ohm * i1[1]]), vc1);
  return { i1, i2, vc1, vc2, antenna, loop_ohm: size(z2), conductance };
}

// Depth and angle of phasors around their mean: rms over the mean, principal axis in (−90°, 90°].
function ripple(phasors) {
  const mean = [0, 1].map((part) => phasors.reduce((sum, p) => sum + p[part], 0) / phasors.length);
  let power = 0, square = [0, 0];
  for (const p of phasors) {
    const r = div(sub(p, mean), mean);
    power += r[0] * r[0] + r[1] * r[1];
    square = add(square, mul(r, r));
  }
  let angle = Math.atan2(square[1], square[0]) * 90 / Math.PI;
  if (angle <= -90) angle += 180;
  return { mean, depth: Math.sqrt(power / phasors.length), angle };
}

const STEPS = 48;
// The antenna's voltage while half bits are sent, one phasor a field cycle: the circuits' equations step by step (Runge and Kutta, fourth order).
function sent(bench, halves, lead = 8) {
  const open = settled(bench, false), closed = settled(bench, true);
  const [l1, l2, m] = [DATA.reader_h, DATA.tag_h, bench.mutual_h];
  const det = l1 * l2 - m * m, dt = 1 / DATA.field_hz / STEPS, r1 = DATA.reader_ohm + DATA.source_ohm;
  const start = halves[halves.length - lead] === '+' ? closed : open;
  let x = [start.i1[0], start.i2[0], start.vc1[0], start.vc2[0]];
  const slope = (s, drive, conductance) => {
    const u1 = drive - r1 * s[0] - s[2], u2 = -bench.tag_ohm * s[1] - s[3];
    return [(l2 * u1 - m * u2) / det, (l1 * u2 - m * u1) / det, s[0] / bench.reader_f, (s[1] - conductance * s[3]) / bench.tag_f];
  };
  const step = (s, k, h) => [s[0] + h * k[0], s[1] + h * k[1], s[2] + h * k[2], s[3] + h * k[3]];
  const list = halves.slice(-lead) + halves, found = [];
  let n = 0;
  const angle = (k) => 2 * Math.PI * k / STEPS;
  const cos = Array.from({ length: 2 * STEPS }, (_, k) => Math.cos(angle(k / 2))), sin = Array.from({ length: STEPS }, (_, k) => Math.sin(angle(k)));
  for (const half of list) {
    const conductance = half === '+' ? closed.conductance : open.conductance;
    for (let cycle = 0; cycle < 16; cycle++) {
      let re = 0, im = 0;
      for (let k = 0; k < STEPS; k++) {
        const d0 = DATA.drive_v * cos[2 * k], d1 = DATA.drive_v * cos[2 * k + 1], d2 = DATA.drive_v * cos[(2 * k + 2) % (2 * STEPS)];
        const v = d0 - DATA.source_ohm * x[0] - x[2];
        re += v * cos[2 * k]; im -= v * sin[k];
        const k1 = slope(x, d0, conductance), k2 = slope(step(x, k1, dt / 2), d1, conductance);
        const k3 = slope(step(x, k2, dt / 2), d1, conductance), k4 = slope(step(x, k3, dt), d2, conductance);
        for (let j = 0; j < 4; j++) x[j] += dt / 6 * (k1[j] + 2 * k2[j] + 2 * k3[j] + k4[j]);
      }
      if (n >= 16 * lead) found.push([2 * re / STEPS, 2 * im / STEPS]);
      n++;
    }
  }
  return found;
}

// The same as the program answers.
function local(asked) {
  const farad = (henry, hz) => 1 / (henry * (2 * Math.PI * hz) ** 2);
  const row = DATA.mutual_nh[(asked.distance_mm - DATA.distance_from_mm) / DATA.distance_step_mm];
  const bench = {
    mutual_h: 1e-9 * row[asked.tilt_deg / DATA.tilt_step_deg],
    reader_f: farad(DATA.reader_h, asked.reader_hz),
    tag_f: farad(DATA.tag_h, asked.tag_hz),
    tag_ohm: OMEGA * DATA.tag_h / asked.coil_q,
    load_ohm: asked.load_ohm,
  };
  const open = settled(bench, false), closed = settled(bench, true), both = ripple([open.antenna, closed.antenna]), whole = ripple(sent(bench, DATA.halves));
  const tag_v = size(open.vc2);
  return {
    open, closed, tag_v,
    powered: tag_v >= DATA.minimum_v,
    mutual_h: bench.mutual_h,
    coupling: bench.mutual_h / Math.sqrt(DATA.reader_h * DATA.tag_h),
    antenna_v: size(open.antenna),
    antenna_a: size(open.i1),
    settled_depth: both.depth,
    settled_angle_deg: both.angle,
    depth: whole.depth,
    angle_deg: whole.angle,
    track: sent(bench, DATA.halves.slice(26, 50)),
  };
}

const LOADS = (stop) => DATA.load_ohm * 10 ** ((stop - 10) / 10);
const question = (distance_mm, tilt_deg, reader_khz, tag_khz, coil_q, stop) => ({
  play: 'bench', number: DATA.number, distance_mm, tilt_deg, reader_hz: Math.round(1e3 * reader_khz), tag_hz: Math.round(1e3 * tag_khz), coil_q, load_ohm: Number(LOADS(stop).toFixed(1)),
});
const FIRST = [20, 0, DATA.field_hz / 1e3, DATA.field_hz / 1e3, DATA.tag_q, 10];
const LESSON = question(...FIRST), OWN = local(LESSON);
const lesson = () => (live && have(LESSON)) || OWN;

const changed = () => update();
const S = {
  distance: slider('distance', (mm) => `${mm} mm`, changed),
  tilt: slider('tilt', (degrees) => `${degrees}°`, changed),
  reader: slider('reader', (khz) => `${fixed(khz, 1)} kHz`, changed),
  tag: slider('tag', (khz) => `${fixed(khz, 1)} kHz`, changed),
  q: slider('q', (q) => `${q}`, changed),
  load: slider('load', (stop) => `${fixed(LOADS(stop) / 1000, 2)} kΩ`, changed),
};
const now = () => question(...Object.values(S).map((one) => one.value));
// Without the program's code only the stops at which the coupling is known.
begin = () => {
  if (!live) return;
  S.distance.stops(10, 150, 1);
  S.tilt.stops(0, 90, 1);
};

// The drawing: 2 px a millimetre.
const PLACE = { x: 60, y: 110, scale: 2 };
function scene() {
  const x = PLACE.x + PLACE.scale * S.distance.value;
  const turn = S.tilt.value;
  let inside = '';
  for (let k = -2; k <= 2; k++) inside += `<ellipse cx="${PLACE.x + 4 * k}" cy="${PLACE.y}" rx="10" ry="90" class="one"/>`;
  inside += `<line x1="${PLACE.x}" y1="${PLACE.y}" x2="390" y2="${PLACE.y}" class="ghost"/>`;
  inside += `<g transform="translate(${x} ${PLACE.y}) rotate(${turn})"><rect x="-16" y="-7" width="32" height="14" rx="7" class="two"/><line x1="-10" y1="0" x2="10" y2="0" class="two"/><circle cx="26" cy="0" r="7" class="second" id="turn"/></g>`;
  inside += words(8, 18, 'antenna', 'remark') + words(392, 18, 'transponder: drag it, turn it by its dot', 'remark end');
  draw('scene', `Antenna, and the transponder ${at('distance').getAttribute('aria-valuetext')} before it, turned by ${turn}°`, inside);
}

const zoomed = () => at('zoom').getAttribute('aria-pressed') === 'true';
function plots(found, asked) {
  const { open, closed } = found;
  // Currents over three cycles of the field: 0.4 A and 4 mA to the edge.
  const wide = zoomed() ? 10 : 1;
  const wave = (phasor, full) => Array.from({ length: 121 }, (_, k) => {
    const value = phasor[0] * Math.cos(6 * Math.PI * k / 120) - phasor[1] * Math.sin(6 * Math.PI * k / 120);
    return [20 + 3 * k, 90 - 80 * Math.max(-1, Math.min(1, value / full))];
  });
  draw('currents', `Peak currents: antenna ${fixed(1e3 * size(open.i1), 1)} mA with the load open, ${fixed(1e3 * size(closed.i1), 1)} mA with it closed; transponder ${fixed(1e3 * size(open.i2), 3)} and ${fixed(1e3 * size(closed.i2), 3)} mA`,
    `<line x1="20" y1="90" x2="380" y2="90" class="axis"/>` + line('one', wave(open.i1, 0.4)) + line('one dashed', wave(closed.i1, 0.4))
    + line('two', wave(open.i2, 4e-3 * wide)) + line('two dashed', wave(closed.i2, 4e-3 * wide))
    + words(22, 16, '±0.4 A', 'remark') + words(380, 16, `±${4 * wide} mA`, 'remark end'));
  // Ripple around the field, % of it.
  const reach = 0.1 * wide, middle = (one) => [0, 1].map((part) => (one.open.antenna[part] + one.closed.antenna[part]) / 2), mean = middle(found);
  const percent = (p, around) => { const r = div(sub(p, around), around); return [100 * r[0], 100 * r[1]]; };
  const place = (r) => [200 + 130 * Math.max(-1.4, Math.min(1.4, r[0] / reach)), 150 - 130 * Math.max(-1.1, Math.min(1.1, r[1] / reach))];
  const ring = (p, kind, radius) => { const [x, y] = place(p); return `<circle cx="${x.toFixed(1)}" cy="${y.toFixed(1)}" r="${radius}" class="${kind}"/>`; };
  const first = lesson(), around = middle(first);
  draw('phasor', `Ripple in the phasor plane: settled depth ${fixed(100 * found.settled_depth, 4)} % at ${fixed(found.settled_angle_deg, 1)}°`,
    `<line x1="10" y1="150" x2="390" y2="150" class="axis"/><line x1="200" y1="10" x2="200" y2="290" class="axis"/>`
    + words(388, 144, 'amplitude', 'remark end') + words(206, 22, 'phase', 'remark') + words(12, 288, `±${fixed(reach, 1)} % of the field up and down`, 'remark')
    + line('ghost', found.track.map((p) => place(percent(p, mean))))
    + ring(percent(first.open.antenna, around), 'ghost', 9) + ring(percent(first.closed.antenna, around), 'ghost', 9)
    + ring(percent(open.antenna, mean), 'first', 6) + ring(percent(closed.antenna, mean), 'second', 6));
  const level = (list) => {
    const average = list.reduce((sum, p) => sum + size(p), 0) / list.length;
    return list.map((p, k) => [20 + 360 * k / list.length, 110 - 95 * Math.max(-1, Math.min(1, 100 * (size(p) / average - 1) / reach))]);
  };
  draw('envelope', `Envelope over twelve bits; depth of the ripple while the telegram is sent ${fixed(100 * found.depth, 4)} %`,
    `<line x1="20" y1="110" x2="380" y2="110" class="axis"/>` + line('ghost', level(first.track)) + line('one', level(found.track)) + words(22, 16, `±${fixed(reach, 1)} % of the field`, 'remark'));
  // Induced voltage over current.
  const loop = (one) => OMEGA * Math.abs(found.mutual_h) * size(one.i1) / size(one.i2);
  const rows = [
    ['coupling', fixed(1e3 * found.coupling, 3) + ' · 10⁻³'],
    ['antenna, load open', `${fixed(size(open.antenna), 2)} V, ${fixed(1e3 * size(open.i1), 2)} mA`],
    ['antenna, load closed', `${fixed(size(closed.antenna), 2)} V, ${fixed(1e3 * size(closed.i1), 2)} mA`],
    ['impedance of the tag’s loop', found.coupling ? `${fixed(loop(open), 0)} Ω open, ${fixed(loop(closed), 0)} Ω closed` : 'not coupled'],
    ['transponder', `${fixed(found.tag_v, 2)} V: ${found.powered ? 'it runs' : 'too little, it stays silent'} (needs ${DATA.minimum_v} V)`],
    ['ripple, settled', `${fixed(100 * found.settled_depth, 4)} %, ${fixed(found.settled_angle_deg, 1)}°`],
    ['ripple while it sends', `${fixed(100 * found.depth, 4)} %, ${fixed(found.angle_deg, 1)}°`],
  ];
  at('numbers').innerHTML = rows.map(([name, value]) => `<tr><th scope="row">${name}</th><td>${value}</td></tr>`).join('');
  at('command').textContent = `fieldripple link --distance ${asked.distance_mm} --tilt ${asked.tilt_deg} --set reader.tuned_hz=${asked.reader_hz} --set tag.1.tuned_hz=${asked.tag_hz}`
    + ` --set tag.1.coil_q=${asked.coil_q} --set tag.1.modulation_ohm=${asked.load_ohm.toFixed(1)} --set tag.1.id=${asked.number}`;
}
update = () => {
  scene();
  const asked = now(), found = live ? have(asked, true) : local(asked);
  if (found && !found.error) plots(found, asked);
};

let held = null;
at('scene').addEventListener('pointerdown', (event) => {
  held = event.target.id === 'turn' ? 'turn' : 'move';
  at('scene').setPointerCapture(event.pointerId);
  event.preventDefault();
});
at('scene').addEventListener('pointermove', (event) => {
  if (!held) return;
  const box = at('scene').getBoundingClientRect(), x = (event.clientX - box.left) * 400 / box.width, y = (event.clientY - box.top) * 220 / box.height;
  if (held === 'move') S.distance.value = Math.round((x - PLACE.x) / PLACE.scale);
  else {
    const from = PLACE.x + PLACE.scale * S.distance.value;
    const degrees = Math.abs(Math.atan2(y - PLACE.y, x - from)) * 180 / Math.PI;
    S.tilt.value = degrees > 90 ? 180 - degrees : degrees;
  }
  update();
});
for (const end of ['pointerup', 'pointercancel']) at('scene').addEventListener(end, () => { held = null; });
at('reset').addEventListener('click', () => {
  [S.distance.value, S.tilt.value, S.reader.value, S.tag.value, S.q.value, S.load.value] = FIRST;
  update();
});
at('zoom').addEventListener('click', () => { at('zoom').setAttribute('aria-pressed', String(!zoomed())); update(); });
play();
