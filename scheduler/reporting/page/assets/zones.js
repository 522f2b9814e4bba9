// Light zones of a tank in a week: how many positions are held, of how many, and which lots come and go.
function zoneBar(zone, week) {
  const held = zone.held[week - 1],
    most = Math.max(zone.capacity, held, 1),
    part = (n) => `${round((99.5 * n) / most)}%`;
  return svg(
    "svg",
    { "aria-hidden": "true" },
    svg("rect", { class: "room", x: 1, y: 1, width: part(zone.capacity), height: 16 }),
    svg("rect", { class: "held", x: 1, y: 1, width: part(held), height: 16 }),
    week > nearWeeks ? svg("line", { class: "limit", x1: part(zone.limit), x2: part(zone.limit), y1: 0, y2: 18 }) : null,
  );
}

function zoneText(zone, week) {
  const held = zone.held[week - 1];
  const most = week > nearWeeks ? `, at most ${fixed(zone.limit, 1)} may be` : "";
  return `${fixed(held, 1)} of ${zone.capacity} positions held${most}; ${fixed(zone.percent[week - 1], 1)} %; light ${parIn(zone.par, week)} PAR`;
}

function zoneList(tank) {
  const week = state.week;
  return el(
    "div",
    null,
    el("h4", null, `Light zones, ${weekLabel(week)}`),
    el(
      "ul",
      { class: "zones" },
      zonesOf[tank].map((zone) => {
        const rows = week > nearWeeks ? comingsOf(week, zone.index) : [];
        return el(
          "li",
          { "data-zone": zone.id, "data-held": zone.held[week - 1] },
          el("p", null, el("b", null, `${bandLetter(zone.band)}  ${zone.id}`)),
          el("p", null, zoneText(zone, week)),
          zoneBar(zone, week),
          rows.length
            ? el(
                "ul",
                { class: "lots" },
                rows.map((row) =>
                  el(
                    "li",
                    null,
                    el(
                      "button",
                      { type: "button", onclick: () => showLot(row.lot, week) },
                      el("span", { class: "tag" }, row.sign + row.lot.strain.code),
                      el(
                        "span",
                        { class: "what" },
                        row.lot.id,
                        el("small", null, `${row.lot.strain.name}; ${many(row.pieces, "piece")}, ${row.text}`),
                      ),
                    ),
                  ),
                ),
              )
            : null,
          week > nearWeeks ? standingHere(zone, week) : null,
        );
      }),
    ),
  );
}

// Lots by zone at the end of a week, kept for the week last looked at.
let standing = { week: 0, zones: [] };
function standingIn(zone, week) {
  if (standing.week !== week) {
    standing = { week, zones: places.zones.map(() => []) };
    for (const lot of lots) if (here(lot, week)) standing.zones[standAt(lot, week).zone].push(lot);
  }
  return standing.zones[zone.index];
}

function standingHere(zone, week) {
  const list = el("ul", { class: "lots" });
  const rows = standingIn(zone, week);
  if (!rows.length) return el("p", { class: "quiet" }, "No lots at the end of the week.");
  const box = el("details", null, el("summary", null, `${many(rows.length, "lot")} at the end of the week`), list);
  box.addEventListener("toggle", () => {
    if (!box.open || list.firstChild) return;
    list.append(
      ...rows.map((lot) =>
        el(
          "li",
          null,
          el(
            "button",
            { type: "button", onclick: () => showLot(lot, week) },
            el("span", { class: "tag" }, lot.strain.code),
            el(
              "span",
              { class: "what" },
              lot.id,
              el("small", null, `${lot.strain.name}; ${many(left(lot, week), "piece")} left`),
            ),
          ),
        ),
      ),
    );
  });
  return box;
}
