// The plan, read once. Lists of the file become small objects with names.
const plan = JSON.parse(byId("plan-data").textContent);
const places = plan.places;
const weekCount = plan.weeks.length;
const nearWeeks = plan.about.near;

const strains = places.strains.map(([id, name, group, code, plug, down, across, toxic]) => ({
  id,
  name,
  group,
  code,
  plug,
  down,
  across,
  toxic,
}));
const colonies = places.colonies.map(([id, strain, tank, place, rack, par, condition], index) => ({
  id,
  strain: strains[strain],
  tank,
  place,
  rack,
  par,
  condition,
  index,
}));
const lots = places.lots.map(([id, strain, colony, cut, pieces, isNew, stands, sales, ready, par], index) => ({
  id,
  strain: strains[strain],
  colony,
  cut,
  pieces,
  isNew: isNew === 1,
  index,
  par,
  ready,
  stands: stands.map(([week, zone, rack, blocks, plugs]) => ({ week, zone, rack, blocks, plugs })),
  sales: sales.map(([week, route, sizeClass, order, channel, n, frags, graded, from]) => ({
    week,
    route,
    sizeClass,
    order,
    channel,
    pieces: n,
    frags,
    graded,
    from,
  })),
}));
const colonyOf = new Map(colonies.map((c) => [c.id, c]));
const lotOf = new Map(lots.map((l) => [l.id, l]));
const strainOf = new Map(strains.map((s) => [s.id, s]));

const STANDS = 0,
  MOUNTED = 1,
  MOVED_IN = 2,
  SOLD = 3,
  MOVED_OUT = 4,
  MOTHER = 5;
const KIND_TEXT = [
  "stands",
  "mounted this week",
  "moved in this week",
  "packed this week",
  "left this week, kept free until the next",
  "mother colony",
];
const KIND_SIGN = ["", "+", ">", "−", "<", "M "];

// What is on each rack in a near week, in the order it is drawn: what leaves lies under what comes.
const DRAWN = [SOLD, MOVED_OUT, STANDS, MOTHER, MOVED_IN, MOUNTED];
const onRack = places.near.map((rows) => {
  const found = places.racks.map(() => []);
  for (const [rack, kind, index, plugs] of rows)
    found[rack].push({
      kind,
      lot: kind === MOTHER ? null : lots[index],
      colony: kind === MOTHER ? colonies[index] : null,
      plugs,
    });
  found.forEach((items) => items.sort((a, b) => DRAWN.indexOf(a.kind) - DRAWN.indexOf(b.kind)));
  return found;
});

const racksOf = places.tanks.map(() => []);
places.racks.forEach((rack, index) => {
  rack.index = index;
  rack.zones = [];
  for (let i = 0; i < rack.zone.length; i += 2) for (let n = 0; n < rack.zone[i + 1]; n++) rack.zones.push(rack.zone[i]);
  racksOf[rack.tank].push(rack);
});
const zonesOf = places.tanks.map(() => []);
places.zones.forEach((zone, index) => {
  zone.index = index;
  zonesOf[zone.tank].push(zone);
});

const weekLabel = (week) =>
  week >= 1 && week <= weekCount ? plan.weeks[week - 1][0] : week === 0 ? "today" : `${-week} weeks before today`;
const left = (lot, week) => lot.pieces - lot.sales.reduce((n, s) => n + (s.week <= week ? s.pieces : 0), 0);
const standAt = (lot, week) => lot.stands.filter((s) => s.week <= week).pop();
const here = (lot, week) => Math.max(1, lot.cut) <= week && left(lot, week) > 0;
const parIn = (changes, week) => changes.filter(([from]) => from <= week).pop()[1];
const lightOf = (rack, week) => rack.light.filter(([from]) => from <= week).pop()[1];

function lightAt(lot, week) {
  if (week <= nearWeeks && lot.par[week - 1] !== null) return lot.par[week - 1];
  const stand = standAt(lot, Math.max(week, lot.cut));
  return stand ? parIn(places.zones[stand.zone].par, Math.max(1, week)) : null;
}

// Lots that come to a zone or leave it, by week; made once, when a later week is first looked at.
let comings = null;
function comingsOf(week, zone) {
  if (!comings) {
    comings = new Map();
    const note = (w, z, row) => {
      const key = w * places.zones.length + z;
      if (!comings.has(key)) comings.set(key, []);
      comings.get(key).push(row);
    };
    for (const lot of lots) {
      lot.stands.forEach((s, i) => {
        if (s.week < 1) return;
        note(s.week, s.zone, {
          lot,
          sign: i ? ">" : "+",
          pieces: left(lot, s.week) || s.plugs,
          text: i ? "moved in" : `cut from ${lot.colony}`,
        });
        if (i) note(s.week, lot.stands[i - 1].zone, { lot, sign: "<", pieces: left(lot, s.week), text: "moves away" });
      });
      for (const s of lot.sales) {
        const at = standAt(lot, s.week - 1) || lot.stands[0];
        note(s.week, at.zone, { lot, sign: "−", pieces: s.pieces, text: saleText(s) });
      }
    }
  }
  return comings.get(week * places.zones.length + zone) || [];
}

const saleText = (s) =>
  s.route === "order"
    ? `to order ${s.order} as ${s.sizeClass}`
    : s.route === "market"
      ? `to market as ${s.sizeClass}`
      : "cleared";

// What the page shows now.
const state = { week: 1, sheet: "week", found: new Set(), tank: -1, size: "fit" };
