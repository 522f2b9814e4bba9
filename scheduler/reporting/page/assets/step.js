// The card of a step at the bench: everything about the lot that is cut.
function showStep(lot, what) {
  const [c, s] = cardOf.get(lot),
    t = c.times;
  const dip = c.dip.length
    ? `${c.dip[0]}: ${c.dip[1]} in each bath; frags ${c.dip[2]} min${c.dip[3] ? `, mother ${c.dip[3]} min` : ""}`
    : "none";
  showCard(
    `${c.order}. ${c.colony}: ${c.pieces} pieces`,
    `${c.strain}, ${c.group}; ${s.weekday} ${s.day} ${s.name}${what ? `; ${what}` : ""}`,
    c.toxic ? el("p", { class: "note" }, el("b", null, "Toxic coral. "), bench.kit) : null,
    el("h3", null, "Colony"),
    facts([
      ["colony", c.colony],
      ["water, tank, place", [c.system, c.tank, c.stands].filter(Boolean).join(", ")],
      ["on rock", c.onRock ? "cut in the tank, on rock" : ""],
      ["light it stands in, PAR", String(c.par)],
      ["slime", c.slimy ? "slimes the bath" : ""],
    ]),
    el("h3", null, "Cut"),
    facts([
      ["pieces", el("span", { class: "big" }, String(c.pieces))],
      ["tool", c.method],
      ["cuts", c.cutter],
      ["from – to", t.cut ? `${t.cut}–${t.cutEnd}` : ""],
    ]),
    el("h3", null, "Dip"),
    facts([
      ["dip", dip],
      ["frags out", t.out ? `${t.out}, by ${t.outBy} at the latest` : ""],
    ]),
    el("h3", null, "Mount"),
    facts([
      ["how", c.mount === "putty" ? "putty and glue, on plugs" : "glue, on plugs"],
      ["plug", c.plug],
      ["mounts", c.mounter],
      ["from", t.mount || ""],
      ["in the rack by", t.racked || ""],
      ["label", `${c.code}${c.proposed ? " (new code, proposed)" : ""}, ${many(c.labels, "label")}`],
      ["lot code", el("span", { class: "big" }, c.lot)],
    ]),
    el("h3", null, "Place"),
    facts([
      ["rack", el("span", { class: "big" }, c.place.rack || c.place.zone)],
      ["positions", el("span", { class: "big" }, c.place.blocks)],
      ["light there, PAR", c.place.par === undefined ? "" : String(c.place.par)],
    ]),
    el(
      "p",
      { class: "row" },
      showOnRacks(lotOf.get(lot), s.week),
    ),
    el("h3", null, "Cautions"),
    el(
      "ul",
      { class: "cautions" },
      c.cautions
        .map((i) => bench.cautions[i])
        .map(([about, text, source]) =>
          el("li", null, el("b", null, about), ` ${text} `, el("span", { class: "quiet" }, source)),
        ),
    ),
  );
}
