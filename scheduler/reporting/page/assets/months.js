// Months ahead: what becomes sellable, with its spread; orders; what can still be promised.
const ALL = "all";

function drawMonths() {
  const m = plan.months,
    box = byId("months-sheet"),
    picked = el("div", { id: "month-rows" });
  const cells = (m.forecast ? m.forecast.rows : m.planned).map(([s, k]) => [s, k]).filter(([s]) => s !== ALL);
  const names = [
    [ALL, ALL, "all strains"],
    ...cells.map(([s, k]) => [s, k, `${strainOf.get(s).name} (${s}), ${k}`]).sort((a, b) => a[2].localeCompare(b[2])),
  ];
  const select = el(
    "select",
    { id: "month-choice", onchange: () => show(Number(select.value)) },
    names.map(([, , text], i) => el("option", { value: i }, text)),
  );
  const show = (i) => put(picked, monthRows(m, names[i]));
  put(
    box,
    el("h3", null, "Frags becoming sellable"),
    m.forecast
      ? el(
          "p",
          { class: "quiet" },
          `Spread from ${whole(m.forecast.draws)} random draws (seed ${m.forecast.seed}) with what the counts say: 8 of 10 months should fall between P10 and P90.`,
        )
      : el("p", { class: "note" }, "This page was written without a forecast: what the plan expects is shown alone."),
    el(
      "p",
      { class: "quiet" },
      "Counted: frags newly reaching a size class while still on the farm; for all strains each frag once, in the smallest class of its strain. “Now” had reached it before week 1.",
    ),
    m.forecast
      ? el(
          "p",
          { class: "quiet" },
          "Planned and forecast count the same, but planned puts a whole lot into one week and takes every piece a cut is planned to give; the forecast lets each frag grow by itself and takes the pieces cuts have really given. So planned can lie outside the band in one month, and the months beside it make up for it.",
        )
      : null,
    el("div", { class: "bar" }, el("div", null, el("label", { for: "month-choice" }, "Strain and size class"), select)),
    picked,
    el("h3", null, "Orders"),
    ordersTable(m),
  );
  show(0);
}

function plannedIn(m, cell) {
  const row = m.planned.find(([s, k]) => s === cell[0] && k === cell[1]);
  return row ? row[2] : {};
}

function monthRows(m, cell) {
  const planned = plannedIn(m, cell),
    row = m.forecast && m.forecast.rows.find(([s, k]) => s === cell[0] && k === cell[1]);
  const months = m.months.filter((name) => name !== "now");
  const spread = row ? row[2] : [],
    promised = row ? row[3] : [],
    got = row ? row[5] : null;
  const headers = [
    "month",
    "planned",
    ...(row ? ["P10", "P50", "P90"] : []),
    ...(promised.length ? ["can be promised by its end"] : []),
  ];
  const rows = m.months.map((name) => {
    const i = months.indexOf(name),
      s = i >= 0 ? spread[i] : null;
    return [
      name,
      fixed(planned[name] || 0, 1),
      ...(row ? (s ? s.map(whole) : ["", "", ""]) : []),
      ...(promised.length ? [whole(promised[i + 1])] : []),
    ];
  });
  if (row)
    rows.push([
      "months together",
      fixed(
        months.reduce((sum, name) => sum + (planned[name] || 0), 0),
        1,
      ),
      ...row[4].map(whole),
      ...(promised.length ? [""] : []),
    ]);
  const told = `${cell[2]}: ${months.map((name, i) => `${name} planned ${fixed(planned[name] || 0, 1)}${spread[i] ? `, P50 ${spread[i][1]}, ${spread[i][0]} to ${spread[i][2]}` : ""}`).join("; ")}`;
  return [
    fanChart(
      months,
      spread,
      months.map((name) => planned[name] || 0),
      told,
    ),
    el(
      "p",
      { class: "quiet" },
      row ? "band: P10 to P90; line with rings: P50; broken line with squares: planned" : "broken line with squares: planned",
    ),
    scrolled("Frags by month", table("numbers", headers, rows, [1, 2, 3, 4, 5])),
    got !== null && got !== undefined
      ? el("p", { class: "quiet" }, `The cuts of this plan are expected to give ${whole(got)} of 100 pieces planned; “planned” takes all 100.`)
      : null,
    promised.length
      ? el(
          "p",
          { class: "quiet" },
          `Can be promised: most graded frags not bound for an order that are there by the end of the month with a chance of ${whole(m.forecast.level * 100)} %.`,
        )
      : null,
  ];
}

function ordersTable(m) {
  if (!m.orders.length) return el("p", null, "There are no open orders.");
  const chance = m.orders.some((row) => row[13] !== null && row[13] !== undefined);
  const headers = [
    "order",
    "by",
    "strain",
    "class",
    "frags",
    "price",
    "due",
    "promise",
    "in time",
    "late",
    "short",
    "deliveries",
    ...(chance ? ["chance in time"] : []),
  ];
  const rows = m.orders.map(([order, channel, , name, size, n, price, due, promise, inTime, late, short, parts, c]) => [
    word(order),
    channel,
    name,
    size,
    String(n),
    money(price),
    word(due),
    promise,
    fixed(inTime, 1),
    fixed(late, 1),
    fixed(short, 1),
    parts.split("; ").map((part) => el("div", null, word(part))),
    ...(chance ? [c === null || c === undefined ? "" : `${whole(c * 100)}\u00a0%`] : []),
  ]);
  return scrolled("Orders", table("stack orders", headers, rows, [4, 5, 8, 9, 10, 12]));
}
