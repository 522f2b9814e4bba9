// Cards: what is known of a lot, a mother colony or a step at the bench. One dialog; Escape or Close puts it away.
const card = byId("card");
card.addEventListener("click", (event) => {
  if (event.target === card) card.close();
});

function showCard(title, under, ...body) {
  const close = el("button", { type: "button", class: "close", onclick: () => card.close() }, "Close");
  put(
    card,
    el(
      "div",
      { class: "cardhead" },
      el("div", null, el("h2", { id: "card-title" }, title), el("p", { class: "quiet" }, under)),
      close,
    ),
    el("div", { class: "cardbody" }, body),
  );
  if (!card.open) card.showModal();
  card.scrollTop = 0;
  close.focus();
}

function placeRows(lot) {
  return lot.stands.map((s) => {
    const rack = s.rack >= 0 ? places.racks[s.rack].id : "rack chosen later";
    return [weekLabel(s.week), rack, s.blocks || places.zones[s.zone].id, String(s.plugs)];
  });
}

function showLot(lot, week) {
  const at = here(lot, week) ? week : Math.min(weekCount, Math.max(1, lot.cut));
  const gone = lot.sales.filter((s) => s.week <= at).reduce((n, s) => n + s.pieces, 0);
  const stand = standAt(lot, at);
  const rack = stand && stand.rack >= 0 ? places.racks[stand.rack].id : "";
  const light = here(lot, at) ? lightAt(lot, at) : null;
  const sales = lot.sales.map((s) => [
    weekLabel(s.week),
    saleText(s),
    s.channel,
    String(s.pieces),
    fixed(s.frags, 1),
    fixed(s.graded, 1),
    s.from,
  ]);
  const rest = lot.pieces - lot.sales.reduce((n, s) => n + s.pieces, 0);
  const colony = colonyOf.get(lot.colony);
  showCard(
    lot.id,
    `${lot.strain.name} (${lot.strain.id}), ${lot.strain.group}; ${weekLabel(at)}`,
    facts([
      ["mother colony", lot.colony || "not in the book"],
      ["mother stands in", colony ? [colony.tank, colony.place].filter(Boolean).join(", ") : ""],
      ["cut", lot.isNew ? weekLabel(lot.cut) : `${at - lot.cut} weeks before ${weekLabel(at)}`],
      ["age", many(at - lot.cut, "week")],
      ["plugs left at the end of the week", `${whole(lot.pieces - gone)} of ${whole(lot.pieces)}`],
      ["plug", lot.strain.plug],
      ["stands in", rack || (stand ? places.zones[stand.zone].id : "")],
      ["blocks it was put in", stand ? stand.blocks : ""],
      ["light, PAR", light === null ? "" : String(light)],
      [
        "reaches",
        lot.ready
          .map(([name, w]) => `${name} ${w > weekCount ? "after the weeks planned" : w < 1 ? "now" : weekLabel(w)}`)
          .join("; "),
      ],
    ]),
    el("h3", null, "When it sells and where it goes"),
    sales.length ? el("p", { class: "quiet" }, "Expected: frags alive by then; graded: those of them good enough for the full price.") : null,
    sales.length
      ? scrolled(
          "Sales of this lot",
          table("stack", ["week", "where to", "by", "plugs", "expected", "graded", "taken from"], sales, [3, 4, 5]),
        )
      : el("p", null, "No sale is planned."),
    rest > 0 ? el("p", null, `${many(rest, "plug")} still on the racks after ${weekLabel(weekCount)}.`) : null,
    el("h3", null, "Places"),
    scrolled("Places of this lot", table("", ["from week", "rack", "blocks or light zone", "plugs"], placeRows(lot), [3])),
    el(
      "p",
      { class: "row" },
      showOnRacks(lot, at),
      colony ? el("button", { type: "button", onclick: () => showColony(colony) }, `Mother ${colony.id}`) : null,
    ),
  );
}

function showOnRacks(lot, week) {
  const go = () => {
    card.close();
    goTo(lot, week);
  };
  return el("button", { type: "button", onclick: go }, "Show on the racks");
}

function showColony(colony) {
  const reasons = plan.why.filter((row) => row[0] === colony.id);
  const daughters = lots.filter((lot) => lot.colony === colony.id).sort((a, b) => a.cut - b.cut);
  showCard(
    colony.id,
    `${colony.strain.name} (${colony.strain.id}), mother colony`,
    facts([
      ["stands in", [colony.tank, colony.place, colony.rack].filter(Boolean).join(", ")],
      ["light, PAR", String(colony.par)],
      ["condition", colony.condition],
      ["group", colony.strain.group],
    ]),
    reasons.map((row) =>
      el(
        "p",
        { class: "note" },
        el("b", null, row[3] ? `cut ${weekLabel(row[3])}: ${row[4]}` : `not cut: ${row[4]}`),
        ` ${row[5]}`,
      ),
    ),
    el("h3", null, "Lots cut from it"),
    daughters.length
      ? el(
          "ul",
          { class: "lots" },
          daughters.map((lot) =>
            el(
              "li",
              null,
              el(
                "button",
                { type: "button", onclick: () => showLot(lot, state.week) },
                el("span", { class: "tag" }, lot.strain.code),
                el(
                  "span",
                  { class: "what" },
                  lot.id,
                  el("small", null, `${many(lot.pieces, "piece")}, ${lot.isNew ? weekLabel(lot.cut) : "on the racks"}`),
                ),
              ),
            ),
          ),
        )
      : el("p", null, "None on the racks or planned."),
  );
}
