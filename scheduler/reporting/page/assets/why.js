// Every colony with its reason; sort by a column, filter by words, reason, and cut or not.
const WHY = [
  ["colony", 0],
  ["strain", 2],
  ["cut", 3],
  ["reason", 4],
  ["in numbers", 5],
  ["at stake", 6],
  ["ready", 7],
];
const MOST_WHY = 150;
const why = { text: "", reason: "", cut: "", column: 6, down: true, most: MOST_WHY };

function layWhy() {
  const count = new Map();
  plan.why.forEach((row) => count.set(row[4], (count.get(row[4]) || 0) + 1));
  const reasons = [...count.keys()].sort();
  const text = el("input", {
    type: "search",
    id: "why-text",
    autocomplete: "off",
    oninput: () => {
      why.text = text.value;
      filterWhy();
    },
  });
  const reason = el(
    "select",
    {
      id: "why-reason",
      onchange: () => {
        why.reason = reason.value;
        filterWhy();
      },
    },
    el("option", { value: "" }, "every reason"),
    reasons.map((r) => el("option", { value: r }, `${r} (${count.get(r)})`)),
  );
  byId("why-bar").append(
    el("div", null, el("label", { for: "why-text" }, "Colony, strain or words"), text),
    el("div", null, el("label", { for: "why-reason" }, "Reason"), reason),
    el(
      "div",
      null,
      el("label", { for: "why-sort" }, "Sort by"),
      el(
        "select",
        {
          id: "why-sort",
          onchange: (e) => {
            why.column = Number(e.target.value);
            why.down = why.column === 6;
            drawWhy();
          },
        },
        WHY.map(([name, column]) => el("option", { value: column, selected: column === why.column }, name)),
      ),
    ),
    choices(
      "Colonies",
      [
        ["", "all"],
        ["cut", "cut"],
        ["not", "not cut"],
      ],
      "",
      (key) => {
        why.cut = key;
        filterWhy();
      },
    ),
  );
  filterWhy();
}

function filterWhy() {
  why.most = MOST_WHY;
  drawWhy();
}

function rowsOfWhy() {
  const wanted = why.text.trim().toLocaleLowerCase();
  const rows = plan.why.filter(
    (row) =>
      (!wanted || row.some((x) => typeof x === "string" && x.toLocaleLowerCase().includes(wanted))) &&
      (!why.reason || row[4] === why.reason) &&
      (!why.cut || (why.cut === "cut") === row[3] > 0),
  );
  const by = why.column,
    sign = why.down ? -1 : 1;
  return rows.sort((a, b) => {
    const x = a[by],
      y = b[by];
    const empty = (v) => v === null || v === "" || (by === 3 && v === 0);
    if (empty(x) || empty(y)) return Number(empty(x)) - Number(empty(y)) || a[0].localeCompare(b[0]);
    return (typeof x === "number" ? x - y : x.localeCompare(y)) * sign || a[0].localeCompare(b[0]);
  });
}

function drawWhy() {
  const rows = rowsOfWhy(),
    shown = rows.slice(0, why.most);
  byId("why-said").textContent = `${many(rows.length, "colony", "colonies")} of ${whole(plan.why.length)}` + ".";
  const head = WHY.map(([name, column]) =>
    el(
      "th",
      {
        scope: "col",
        class: column === 6 ? "n" : null,
        "aria-sort": why.column === column ? (why.down ? "descending" : "ascending") : null,
      },
      el(
        "button",
        {
          type: "button",
          "data-sort": name,
          onclick: () => {
            why.down = why.column === column ? !why.down : column === 6;
            why.column = column;
            byId("why-sort").value = column;
            drawWhy();
            byId("why-table").querySelector(`[data-sort="${name}"]`).focus();
          },
        },
        name,
        why.column === column ? (why.down ? " ▼" : " ▲") : "",
      ),
    ),
  );
  const body = shown.map((row) =>
    el(
      "tr",
      { "data-colony": row[0] },
      el(
        "th",
        { scope: "row" },
        colonyOf.has(row[0]) ? el("button", { type: "button", onclick: () => showColony(colonyOf.get(row[0])) }, word(row[0]))
          : word(row[0]),
      ),
      el("td", { "data-name": "strain" }, row[2]),
      el("td", { "data-name": "cut" }, row[3] ? weekLabel(row[3]) : "not cut"),
      el("td", { "data-name": "reason" }, el("b", null, row[4])),
      el("td", { class: "detail", "data-name": "in numbers" }, row[5]),
      el("td", { class: "n stake", "data-name": "at stake" }, row[6] === null ? "" : money(row[6])),
      el("td", { "data-name": "ready" }, row[7]),
    ),
  );
  const more =
    rows.length > shown.length
      ? el(
          "button",
          {
            type: "button",
            onclick: () => {
              why.most = rows.length;
              drawWhy();
            },
          },
          `Show all ${whole(rows.length)}`,
        )
      : null;
  put(
    byId("why-table"),
    scrolled(
      "Colonies and reasons",
      el("table", { class: "stack" }, el("thead", null, el("tr", null, head)), el("tbody", null, body)),
    ),
    more,
  );
}
