// Use of tanks and light zones by week, hours by skill, and what would help.
const HEAT_EDGES = [20, 40, 60, 80, 95];
const heat = (percent) => `heat${HEAT_EDGES.filter((edge) => percent >= edge).length}`;

// Halves go to the even number, as in the workbook.
const wholePercent = (v) => (v % 1 === 0.5 ? 2 * Math.round(v / 2) : Math.round(v));

function weekHead(first) {
  return el(
    "thead",
    null,
    el(
      "tr",
      null,
      el("th", { scope: "col" }, first),
      plan.weeks.map(([label]) => el("th", { scope: "col", class: "n", title: label }, label.slice(5))),
    ),
  );
}

// Rows: name, percent by week, and what is written in place of a long name.
function heatTable(first, rows, kind = "") {
  return el(
    "table",
    { class: `heat ${kind}` },
    weekHead(first),
    el(
      "tbody",
      null,
      rows.map(([name, values, short]) =>
        el(
          "tr",
          { "data-row": name },
          el("th", { scope: "row" }, short || name),
          values.map((v) => el("td", { class: heat(v) }, wholePercent(v))),
        ),
      ),
    ),
  );
}

function drawCapacity() {
  const c = plan.capacity,
    box = byId("capacity-sheet"),
    zones = el("div");
  const choose = (tank) =>
    put(
      zones,
      scrolled(
        "Use of light zones, percent by week",
        heatTable(
          `light zone in ${places.tanks[tank][0]}`,
          zonesOf[tank].map((z) => [z.id, z.percent, z.id.slice(places.tanks[tank][0].length).trim()]),
          "long",
        ),
      ),
    );
  const select = el(
    "select",
    { id: "zone-tank", onchange: () => choose(Number(select.value)) },
    places.tanks.map(([name], i) => el("option", { value: i }, name)),
  );
  choose(0);
  put(
    box,
    el("h3", null, "Tanks"),
    el(
      "p",
      { class: "quiet" },
      "Percent of unblocked positions held, mothers included; the stronger the ground, the fuller. Near weeks by plugs, later weeks by the frags expected at the last count.",
    ),
    scrolled("Use of tanks, percent by week", heatTable("tank", c.tanks)),
    el("h3", null, "Light zones"),
    el("div", { class: "bar noprint" }, el("div", null, el("label", { for: "zone-tank" }, "Tank"), select)),
    zones,
    el("h3", null, "Hours by skill"),
    el(
      "p",
      { class: "quiet" },
      "Hours the plan asks for, of the hours of everybody able to do that work. Somebody with several skills counts in each line but works an hour once, so lines do not add up. Outside sessions: without overtime.",
    ),
    scrolled("Hours by skill and week", hoursTable(c)),
    el("h3", null, "What would help"),
    el(
      "p",
      { class: "quiet" },
      "What more of each thing would bring over the weeks planned, at most: the first one earns most, the rest less. What the thing itself costs is not taken off.",
    ),
    helpsList(c),
  );
}

function hoursTable(c) {
  const rows = c.hours.map(([where, skills, weeks]) =>
    el(
      "tr",
      { "data-row": `${where} ${skills}` },
      el("th", { scope: "row" }, `${skills} (${where})`),
      weeks.map(([need, offer]) =>
        el(
          "td",
          { class: heat(offer ? (100 * need) / offer : need ? 100 : 0) },
          el("span", null, fixed(need / 60, 1)),
          el("br"),
          el("span", { class: "fine" }, `of ${fixed(offer / 60, 0)}`),
        ),
      ),
    ),
  );
  if (Object.keys(c.overtime).length)
    rows.push(
      el(
        "tr",
        null,
        el("th", { scope: "row" }, "overtime"),
        plan.weeks.map((_, i) => el("td", null, c.overtime[i + 1] ? fixed(c.overtime[i + 1] / 60, 1) : "")),
      ),
    );
  return el(
    "table",
    { class: "heat" },
    weekHead("work"),
    el("tbody", null, rows),
  );
}

function helpsList(c) {
  if (!c.helps.length)
    return el("p", null, "Nothing: no limit of the season holds money back, or the plan was made without the season's prices.");
  const explained = c.helps.some((row) => row[3] !== null),
    top = Math.max(...c.helps.map((row) => row[2]), 1);
  const headers = [
    "more of",
    `at most, ${plan.about.currency}`,
    ...(explained ? [`up to, ${plan.about.currency}`] : []),
    "against the first",
  ];
  const rows = c.helps.map(([, text, gain, upTo]) => [
    text,
    money(gain),
    ...(explained ? [upTo === null ? "" : money(upTo)] : []),
    svg(
      "svg",
      { width: 130, height: 14, "aria-hidden": "true" },
      svg("rect", { class: "room", x: 0, y: 0, width: 130, height: 14 }),
      svg("rect", { class: "held", x: 0, y: 0, width: (130 * gain) / top, height: 14 }),
    ),
  ]);
  return el(
    "div",
    null,
    scrolled("What would help", table("stack helps", headers, rows, explained ? [1, 2] : [1])),
    c.helpsAll > c.helps.length
      ? el("p", { class: "quiet" }, `the first ${c.helps.length} of ${c.helpsAll}; all of them in tables/what_would_help.csv`)
      : null,
  );
}
