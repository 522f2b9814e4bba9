// One rack from above: light as shade, zone borders as dashed lines, and a shape for what is on every position.
const circle = (x, y, r) => `M${x - r} ${y}a${r} ${r} 0 1 0 ${2 * r} 0a${r} ${r} 0 1 0 ${-2 * r} 0z`;
const square = (x, y, w, h) => `M${x} ${y}h${w}v${h}h${-w}z`;
const round = (x) => Math.round(x * 10) / 10;

let brightest = 1,
  dimmest = Infinity;
places.racks.forEach((r) =>
  r.light.forEach(([, par]) =>
    par.forEach((x) => {
      brightest = Math.max(brightest, x);
      dimmest = Math.min(dimmest, x);
    }),
  ),
);
const shade = (par) => 1 + Math.min(6, Math.floor(((par - dimmest) / Math.max(1, brightest - dimmest)) * 7));

const rowLetters = (row) =>
  row < 26
    ? String.fromCharCode(65 + row)
    : String.fromCharCode(64 + Math.floor(row / 26)) + String.fromCharCode(65 + (row % 26));
const positionName = (rack, index) => `${rowLetters(Math.floor(index / rack.cols))}${(index % rack.cols) + 1}`;

// Top left position and size in positions of every plug of an item.
function plugBoxes(item) {
  const [down, across] = item.lot ? [item.lot.strain.down, item.lot.strain.across] : [1, 1];
  const boxes = [];
  for (let i = 0; i < item.plugs.length; i += 5) {
    const [top, leftmost, wide, first, last] = item.plugs.slice(i, i + 5);
    for (let plug = first; plug < last; plug++) {
      boxes.push([top + Math.floor(plug / wide) * down, leftmost + (plug % wide) * across, down, across]);
    }
  }
  return boxes;
}

// By position: what is there at the end of the week (what comes hides what left).
function occupants(rack, week) {
  const found = new Map();
  for (const item of onRack[week - 1][rack.index]) {
    for (const [r, c, down, across] of plugBoxes(item)) {
      for (let y = r; y < r + down; y++) for (let x = c; x < c + across; x++) found.set(y * rack.cols + x, item);
    }
  }
  return found;
}

function blockedOf(rack) {
  const found = new Set();
  for (let i = 0; i < rack.blocked.length; i += 2) for (let n = 0; n < rack.blocked[i + 1]; n++) found.add(rack.blocked[i] + n);
  return found;
}

// Positions by what is on them; leaving counts every position plugs leave, also where others come to stand.
function countsOf(rack, week) {
  const area = (kinds) =>
    onRack[week - 1][rack.index]
      .filter((i) => kinds.includes(i.kind))
      .reduce((n, i) => n + plugBoxes(i).reduce((m, b) => m + b[2] * b[3], 0), 0);
  const blocked = blockedOf(rack).size,
    stand = area([STANDS]),
    come = area([MOUNTED, MOVED_IN]),
    leave = area([SOLD, MOVED_OUT]),
    mothers = area([MOTHER]);
  const kept = area([MOVED_OUT]);
  return { stand, come, leave, mothers, blocked, free: rack.rows * rack.cols - blocked - stand - come - mothers - kept };
}

function drawRack(rack, week, unit) {
  const cell = rack.pitch * unit,
    x0 = 24,
    y0 = 18,
    edge = cell >= 26 ? 62 : 0;
  const width = x0 + rack.cols * cell + edge,
    height = y0 + rack.rows * cell + 2;
  const light = lightOf(rack, week),
    near = week <= nearWeeks;
  const at = (index) => [x0 + (index % rack.cols) * cell, y0 + Math.floor(index / rack.cols) * cell];
  const picture = svg("svg", {
    width: Math.ceil(width),
    height: Math.ceil(height),
    viewBox: `0 0 ${width} ${height}`,
    role: "img",
    "aria-label": rackText(rack, week),
  });
  const path = (className, d) => {
    if (d) picture.append(svg("path", { class: className, d }));
  };

  const grounds = Array.from({ length: 8 }, () => "");
  light.forEach((par, i) => {
    const [x, y] = at(i);
    grounds[shade(par)] += square(round(x), round(y), round(cell), round(cell));
  });
  grounds.forEach((d, i) => path(`ground-${i}`, d));
  path("contour", borders(rack, at, cell));
  path("outline", square(x0, y0, rack.cols * cell, rack.rows * cell));
  for (let c = 0; c < rack.cols; c++)
    if (cell >= 18 || c % 5 === 4 || c === 0)
      picture.append(svg("text", { class: "axis", x: x0 + (c + 0.5) * cell, y: 12, "text-anchor": "middle" }, c + 1));
  if (edge) picture.append(svg("text", { class: "axis", x: x0 + rack.cols * cell + 5, y: 12 }, "PAR"));
  for (let r = 0; r < rack.rows; r++) {
    const y = y0 + (r + 0.5) * cell + 4,
      first = light[r * rack.cols],
      last = light[(r + 1) * rack.cols - 1];
    picture.append(svg("text", { class: "axis", x: x0 - 5, y, "text-anchor": "end" }, rowLetters(r)));
    if (edge)
      picture.append(
        svg("text", { class: "axis", x: x0 + rack.cols * cell + 5, y }, first === last ? first : `${first}–${last}`),
      );
  }
  const blocked = blockedOf(rack),
    taken = near ? occupants(rack, week) : new Map();
  let holes = "",
    crosses = "";
  for (let i = 0; i < light.length; i++) {
    const [x, y] = at(i),
      mid = cell / 2,
      arm = cell * 0.26;
    if (blocked.has(i))
      crosses += `M${round(x + mid - arm)} ${round(y + mid - arm)}l${round(2 * arm)} ${round(2 * arm)}m0 ${round(-2 * arm)}l${round(-2 * arm)} ${round(2 * arm)}`;
    else if (near && !taken.has(i)) holes += circle(round(x + mid), round(y + mid), round(Math.max(2, cell * 0.11)));
  }
  path("hole", holes);
  path("cross", crosses);
  if (near) drawLots(picture, rack, week, cell, x0, y0, path, taken);
  else drawLetters(picture, rack, cell, at);
  return picture;
}

const SHAPE = ["plug", "new", "in", "gone", "gone", "mother"];

function drawLots(picture, rack, week, cell, x0, y0, path, taken) {
  const shapes = ["", "", "", "", "", ""];
  let found = "",
    inner = "",
    plain = "";
  const texts = [];
  for (const item of onRack[week - 1][rack.index]) {
    for (const [r, c, down, across] of plugBoxes(item)) {
      if (taken.get(r * rack.cols + c) !== item) continue;
      const w = across * cell,
        h = down * cell,
        x = x0 + c * cell,
        y = y0 + r * cell,
        mx = round(x + w / 2),
        my = round(y + h / 2);
      const radius = round(Math.min(w, h) * 0.46),
        gap = cell * 0.06;
      const box = square(round(x + gap), round(y + gap), round(w - 2 * gap), round(h - 2 * gap));
      if (item.kind === MOUNTED || item.kind === MOVED_IN) shapes[item.kind] += box;
      else shapes[item.kind] += circle(mx, my, radius);
      if (item.kind === SOLD || item.kind === MOVED_OUT) plain += circle(mx, my, round(radius * 0.76));
      if (item.kind === MOTHER) inner += circle(mx, my, round(radius * 0.82));
      if (item.lot && state.found.has(item.lot)) found += square(round(x + 1), round(y + 1), round(w - 2), round(h - 2));
      if (cell >= 18) texts.push([item, mx, my, w]);
    }
  }
  shapes.forEach((d, kind) => path(SHAPE[kind], d));
  path("mother", inner);
  path("half", plain);
  texts.forEach(([item, x, y, w]) => plugText(picture, item, x, y, w));
  path("found", found);
}

// The sign, the strain's label code and, where there is room, the rest of the lot code.
function plugText(picture, item, x, y, wide) {
  const id = item.lot ? item.lot.id : item.colony.id,
    strain = (item.lot || item.colony).strain;
  const sign = wide < 30 ? "" : KIND_SIGN[item.kind].trim(); // small plugs tell by their shape alone
  const code = sign + strain.code,
    rest = id.startsWith(`${strain.code}-`) ? id.slice(strain.code.length + 1) : id;
  const leaves = item.kind === SOLD || item.kind === MOVED_OUT;
  const ringed = leaves || item.kind === MOVED_IN || item.kind === MOTHER; // their thick or double edge takes room
  const size = (ringed ? 0.86 : 1) * Math.min(wide * 0.38, (wide * 0.78) / Math.max(2, code.length) / 0.74),
    small = Math.min(14, (wide * 0.72) / Math.max(4, rest.length) / 0.6);
  const two = small >= 9 && item.lot;
  const className = item.kind === MOUNTED ? "code onnew" : leaves ? "code ongone" : "code";
  picture.append(
    svg("text", { class: className, x, y: round(two ? y - 1 : y + size * 0.36), "font-size": round(Math.min(size, 22)) }, code),
  );
  if (two) picture.append(svg("text", { class: `${className} rest`, x, y: round(y + small), "font-size": round(small) }, rest));
}

const bandLetter = (band) => (band < 26 ? String.fromCharCode(97 + band) : "z");

// Later weeks know light zones only: the small letter of each free or taken position's light band.
function drawLetters(picture, rack, cell, at) {
  if (cell < 18) return;
  rack.zones.forEach((zone, i) => {
    if (zone < 0) return;
    const [x, y] = at(i);
    picture.append(
      svg(
        "text",
        { class: "zoneletter", x: round(x + cell / 2), y: round(y + cell / 2 + 4) },
        bandLetter(places.zones[zone].band),
      ),
    );
  });
}

// Lines between positions of different light zones.
function borders(rack, at, cell) {
  let d = "";
  rack.zones.forEach((zone, i) => {
    if (zone < 0) return;
    const [x, y] = at(i),
      beside = rack.zones[i + 1],
      below = rack.zones[i + rack.cols];
    if ((i + 1) % rack.cols && beside >= 0 && beside !== zone) d += `M${round(x + cell)} ${round(y)}v${round(cell)}`;
    if (below !== undefined && below >= 0 && below !== zone) d += `M${round(x)} ${round(y + cell)}h${round(cell)}`;
  });
  return d;
}

function rackText(rack, week) {
  const light = lightOf(rack, week),
    low = Math.min(...light),
    high = Math.max(...light);
  const head = `Rack ${rack.id}, ${rack.rows} rows of ${rack.cols} positions, light ${low} to ${high} PAR, ${weekLabel(week)}`;
  if (week > nearWeeks) return `${head}: planned by light zone`;
  const n = countsOf(rack, week);
  return `${head}: ${n.stand} positions stand, ${n.come} arriving, ${n.leave} leaving, ${n.mothers} under mothers, ${n.blocked} blocked, ${n.free} free. The lots are listed below.`;
}
