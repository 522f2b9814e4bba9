// Light zones of a tank in a week: how many positions are held, of how many, and which lots come and go.
function zoneBar(zone, week) {
  const held = zone.held[week - 1], scale = 100 / Math.max(zone.capacity, held, 1);
  return svg("svg", { viewBox: "0 0 100 10", preserveAspectRatio: "none", "aria-hidden": "true" },
    svg("rect", { class: "room", x: 0, y: 0, width: zone.capacity * scale, height: 10 }),
    svg("rect", { class: "held", x: 0, y: 0, width: held * scale, height: 10 }),
    week > nearWeeks ? svg("line", { class: "limit", x1: zone.limit * scale, x2: zone.limit * scale, y1: 0, y2: 10, "vector-effect": "non-scaling-stroke" }) : null);
}

function zoneText(zone, week) {
  const held = zone.held[week - 1];
  const most = week > nearWeeks ? `, at most ${fixed(zone.limit, 1)} may be` : "";
  return `${fixed(held, 1)} of ${zone.capacity} positions held${most}; ${fixed(zone.percent[week - 1], 1)} %; light ${parIn(zone.par, week)} PAR`;
}

function zoneList(tank) {
  const week = state.week;
  return el("div", null, el("h4", null, `Light zones, ${weekLabel(week)}`), el("ul", { class: "zones" }, zonesOf[tank].map((zone) => {
    const rows = week > nearWeeks ? comingsOf(week, zone.index) : [];
    return el("li", { "data-zone": zone.id, "data-held": zone.held[week - 1] },
      el("p", null, el("b", null, `${bandLetter(zone.band)}  ${zone.id}`)), el("p", null, zoneText(zone, week)), zoneBar(zone, week),
      rows.length ? el("ul", { class: "lots" }, rows.map((row) => el("li", null, el("button", { type: "button", onclick: () => showLot(row.lot, week) },
        el("span", { class: "tag" }, row.sign + row.lot.strain.code),
        el("span", { class: "what" }, row.lot.id, el("small", null, `${row.lot.strain.name}; ${many(row.pieces, "piece")}, ${row.text}`)))))) : null,
      week > nearWeeks ? standingHere(zone, week) : null);
  })));
}

function standingHere(zone, week) {
  const list = el("ul", { class: "lots" });
  const rows = lots.filter((lot) => here(lot, week) && standAt(lot, week).zone === zone.index);
  if (!rows.length) return el("p", { class: "quiet" }, "No lots at the end of the week.");
  const box = el("details", null, el("summary", null, `${many(rows.length, "lot")} at the end of the week`), list);
  box.addEventListener("toggle", () => {
    if (!box.open || list.firstChild) return;
    list.append(...rows.map((lot) => el("li", null, el("button", { type: "button", onclick: () => showLot(lot, week) },
      el("span", { class: "tag" }, lot.strain.code), el("span", { class: "what" }, lot.id, el("small", null, `${lot.strain.name}; ${many(left(lot, week), "piece")} left`))))));
  });
  return box;
}
