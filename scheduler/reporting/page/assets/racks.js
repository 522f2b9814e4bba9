// The sheet of racks: week slider, key, tanks. Near weeks show positions, later weeks the light zones.
const gapAround = 24 + 62;

// Pixels a millimetre: the same for every rack of the page, so that racks keep their proportions.
function unitNow() {
  const pitch = Math.max(...places.racks.map((r) => r.pitch)),
    widest = Math.max(...places.racks.map((r) => r.cols * r.pitch));
  const room = byId("racks-tanks").clientWidth,
    beside = room >= 1000 ? 2 : 1;
  const fit = Math.max(24, Math.min(46, (((room - 28 * (beside - 1)) / beside - gapAround) / widest) * pitch));
  return (state.size === "large" ? Math.max(64, fit * 1.5) : fit) / pitch;
}

const seenTanks = new Seen((node) => drawTank(node));

function racksBar() {
  const said = el("output", { id: "week-said", for: "week-slider" });
  const slider = el("input", {
    type: "range",
    id: "week-slider",
    min: 1,
    max: weekCount,
    step: 1,
    value: state.week,
    oninput: () => setWeek(Number(slider.value)),
  });
  const step = (by, text) =>
    el("button", { type: "button", "aria-label": text, onclick: () => setWeek(state.week + by) }, by < 0 ? "◀" : "▶");
  byId("racks-bar").append(
    el(
      "div",
      { class: "weekline" },
      el("label", { for: "week-slider" }, "Week ", said),
      el("div", { class: "row noprint" }, step(-1, "one week back"), slider, step(1, "one week on")),
    ),
    findBox(),
    el(
      "div",
      { class: "noprint" },
      el("label", { for: "tank-choice" }, "Tank"),
      el(
        "select",
        {
          id: "tank-choice",
          onchange: (e) => {
            state.tank = Number(e.target.value);
            layTanks();
          },
        },
        el("option", { value: -1 }, "all tanks"),
        places.tanks.map(([name], i) => el("option", { value: i }, name)),
      ),
    ),
    el(
      "div",
      { class: "noprint" },
      choices(
        "Positions",
        [
          ["fit", "fitted"],
          ["large", "larger"],
        ],
        "fit",
        (size) => {
          state.size = size;
          seenTanks.stale();
        },
      ),
    ),
  );
}

function setWeek(week) {
  const now = Math.min(weekCount, Math.max(1, week));
  state.week = now;
  const slider = byId("week-slider"),
    near = now <= nearWeeks,
    [label, monday] = plan.weeks[now - 1];
  slider.value = String(now);
  slider.setAttribute("aria-valuetext", `${label}, ${near ? "to the position" : "by light zone"}`);
  byId("week-said").textContent = `${label} (from ${monday})`;
  const [cuts, pieces, moves, sold] = places.ahead[now - 1];
  byId("racks-said").textContent =
    `${label}, ${near ? "exact to the position, at the end of the week" : "an outlook by light zone"}: ` +
    `${many(cuts, "cut")}, ${many(pieces, "piece")}; ${many(moves, "lot")} moved; about ${fixed(sold, 1)} frags leave.`;
  drawKey();
  seenTanks.stale();
}

function layTanks() {
  seenTanks.clear();
  const unit = unitNow();
  const nodes = places.tanks
    .map((tank, i) => [tank, i])
    .filter(([, i]) => state.tank < 0 || state.tank === i)
    .map(([[name, system, closed], i]) => {
      const node = el(
        "section",
        { class: "tank", "data-tank": i, "aria-labelledby": `tank-${i}` },
        el(
          "h3",
          { id: `tank-${i}` },
          `${name} `,
          el("span", { class: "quiet" }, `water ${system}${closed ? `; ${closed}` : ""}`),
        ),
        el("div", { class: "tankbody" }),
      );
      const racks = racksOf[i];
      node.style.minHeight = `${60 + racks.reduce((h, r) => h + r.rows * r.pitch * unit + 60, 0) / (byId("racks-tanks").clientWidth > 1100 ? 2 : 1)}px`;
      return node;
    });
  put(byId("racks-tanks"), nodes);
  nodes.forEach((node) => seenTanks.add(node));
}

function drawTank(node) {
  const index = Number(node.dataset.tank),
    unit = unitNow();
  const parts = [
    el(
      "div",
      { class: "tankracks" },
      racksOf[index].map((rack) => drawRackFigure(rack, unit)),
    ),
    zoneList(index),
  ];
  if (state.week > nearWeeks) parts.reverse(); // later weeks are planned by zone: these first
  put(node.querySelector(".tankbody"), parts);
  node.style.minHeight = "";
}

function drawRackFigure(rack, unit) {
  const week = state.week,
    near = week <= nearWeeks;
  const picture = drawRack(rack, week, unit);
  const told = el("p", { class: "quiet", role: "status" });
  picture.addEventListener("click", (event) => touched(event, picture, rack, unit, told));
  const cell = rack.pitch * unit;
  const n = near ? countsOf(rack, week) : null;
  const mothers = near && n.mothers ? ` ${n.mothers} held by mothers,` : "";
  const head = near ? `${n.stand} stand,${mothers} ${n.come} arriving, ${n.leave} leaving; then ${n.free} free` : "by light zone";
  const figure = el(
    "figure",
    { class: "rack", "data-rack": rack.id },
    el("figcaption", null, el("span", { class: "name" }, rack.id), " ", el("span", { class: "quiet counts" }, head)),
    el(
      "div",
      {
        class: "grid",
        tabindex: rack.cols * cell + gapAround > byId("racks-tanks").clientWidth ? "0" : null,
        role: "group",
        "aria-label": `Picture of rack ${rack.id}`,
      },
      picture,
    ),
    el("p", { class: "quiet" }, `${rack.flow} flow, pitch ${rack.pitch} mm, plugs ${rack.plugs.join(", ")}`),
    told,
    near ? lotList(rack, week) : null,
  );
  figure.style.width = `${Math.max(280, Number(picture.getAttribute("width")))}px`;
  return figure;
}

// A touch on the picture: the card of what is there, or what is known of a free position.
function touched(event, picture, rack, unit, told) {
  const box = picture.getBoundingClientRect(),
    scale = picture.viewBox.baseVal.width / box.width,
    cell = rack.pitch * unit;
  const col = Math.floor(((event.clientX - box.left) * scale - 24) / cell),
    row = Math.floor(((event.clientY - box.top) * scale - 18) / cell);
  if (col < 0 || row < 0 || col >= rack.cols || row >= rack.rows) return;
  const index = row * rack.cols + col,
    week = state.week;
  const item = week <= nearWeeks ? occupants(rack, week).get(index) : null;
  if (item) {
    if (item.lot) showLot(item.lot, week);
    else showColony(item.colony);
    return;
  }
  const zone = rack.zones[index],
    what = zone < 0 ? "blocked" : week <= nearWeeks ? "free" : "planned by light zone";
  told.textContent = `${positionName(rack, index)}: ${what}, ${lightOf(rack, week)[index]} PAR${zone < 0 ? "" : `, ${places.zones[zone].id}`}`;
}

function lotList(rack, week) {
  const rows = onRack[week - 1][rack.index].slice().sort((a, b) => a.plugs[0] - b.plugs[0] || a.plugs[1] - b.plugs[1]);
  if (!rows.length) return el("p", null, "Nothing stands here.");
  const list = el(
    "ul",
    { class: "lots" },
    rows.map((item) => {
      const strain = (item.lot || item.colony).strain,
        plugs = plugBoxes(item).length;
      return el(
        "li",
        null,
        el(
          "button",
          {
            type: "button",
            "data-lot": item.lot ? item.lot.id : item.colony.id,
            "data-kind": item.kind,
            "data-plugs": plugs,
            onclick: () => (item.lot ? showLot(item.lot, week) : showColony(item.colony)),
          },
          el("span", { class: "tag" }, KIND_SIGN[item.kind], strain.code),
          el(
            "span",
            { class: "what" },
            item.lot ? item.lot.id : item.colony.id,
            el("small", null, `${strain.name}; ${item.lot ? many(plugs, "plug") + ", " : ""}${KIND_TEXT[item.kind]}`),
          ),
        ),
      );
    }),
  );
  return el(
    "details",
    { open: places.racks.length <= 40 && window.innerWidth > 640 },
    el("summary", null, `${many(rows.length, "entry", "entries")} on ${rack.id}`),
    list,
  );
}

function drawKey() {
  const near = state.week <= nearWeeks;
  const sign = (className, shape, mark) =>
    svg(
      "svg",
      { width: 30, height: 30, viewBox: "0 0 30 30", "aria-hidden": "true" },
      svg("rect", { class: "ground-5", width: 30, height: 30 }),
      svg("path", { class: className, d: shape }),
      mark || null,
    );
  const text = (className, value) => svg("text", { class: `code ${className}`, x: 15, y: 20, "font-size": 14 }, value);
  const ring = (value) => svg("g", null, svg("path", { class: "half", d: circle(15, 15, 9) }), text("", value));
  const shapes = [
    [sign("hole", circle(15, 15, 4)), "free"],
    [sign("plug", circle(15, 15, 12)), "stands there"],
    [sign("new", square(3, 3, 24, 24), text("onnew", "+")), "arriving: mounted this week"],
    [sign("in", square(3, 3, 24, 24), text("", ">")), "arriving: moved in"],
    [sign("gone", circle(15, 15, 12), ring("−")), "leaving: packed this week"],
    [sign("gone", circle(15, 15, 12), ring("<")), "leaving: moved away, kept free until the next week"],
    [
      svg(
        "svg",
        { width: 30, height: 30, viewBox: "0 0 30 30", "aria-hidden": "true" },
        svg("rect", { class: "ground-5", width: 30, height: 30 }),
        svg("path", { class: "mother", d: circle(15, 15, 13) + circle(15, 15, 9) }),
      ),
      "mother colony",
    ],
    [sign("cross", "M8 8l14 14m0 -14l-14 14"), "blocked"],
  ];
  const step = (brightest - dimmest) / 7;
  const light = Array.from({ length: 7 }, (_, i) =>
    el(
      "li",
      null,
      svg(
        "svg",
        { width: 30, height: 30, "aria-hidden": "true" },
        svg("rect", { class: `ground-${i + 1}`, width: 30, height: 30 }),
        svg("rect", { class: "outline", width: 30, height: 30 }),
      ),
      `${Math.round(dimmest + i * step)}–${Math.round(dimmest + (i + 1) * step)}`,
    ),
  );
  put(
    byId("racks-key"),
    el(
      "details",
      {
        open:
          byId("racks-key").querySelector("details[open]") !== null || (!byId("racks-key").firstChild && window.innerWidth > 640),
      },
      el("summary", null, "Key"),
      near
        ? el(
            "ul",
            { class: "key" },
            shapes.map(([picture, words]) => el("li", null, picture, words)),
          )
        : null,
      el("p", null, "Light, PAR (µmol m⁻² s⁻¹); a dashed line is the border of a light zone:"),
      el("ul", { class: "key" }, light),
      el("p", { class: "quiet" }, places.bands.map((band, i) => `${bandLetter(i)} ${band}`).join("; ")),
    ),
  );
}
