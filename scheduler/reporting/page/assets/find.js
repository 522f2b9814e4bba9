// Find a lot, colony or strain by typing a part of its code or name.
const MOST_FOUND = 24;
let typing = 0;

function findBox() {
  const input = el("input", {
    type: "search",
    id: "find",
    autocomplete: "off",
    spellcheck: "false",
    "aria-describedby": "find-said",
    oninput: () => {
      clearTimeout(typing);
      typing = setTimeout(() => find(input.value), 120);
    },
  });
  return el("div", { class: "noprint" }, el("label", { for: "find" }, "Find a code or strain"), input);
}

function find(text) {
  const wanted = text.trim().toLocaleLowerCase();
  const box = byId("racks-found");
  state.found = new Set();
  if (!wanted) {
    byId("find-said").textContent = "";
    put(box);
    seenTanks.stale();
    return;
  }
  const has = (...words) => words.some((word) => word.toLocaleLowerCase().includes(wanted));
  const found = lots.filter((lot) => has(lot.id, lot.strain.id, lot.strain.name, lot.strain.code, lot.colony));
  const mothers = colonies.filter((c) => has(c.id, c.strain.id, c.strain.name));
  state.found = new Set(found);
  found.sort((a, b) => Number(here(b, state.week)) - Number(here(a, state.week)) || a.cut - b.cut);
  const button = (tag, title, under, show) =>
    el(
      "li",
      null,
      el(
        "button",
        { type: "button", onclick: show },
        el("span", { class: "tag" }, tag),
        el("span", { class: "what" }, title, el("small", null, under)),
      ),
    );
  const rows = found.slice(0, MOST_FOUND).map((lot) => {
    const stand = standAt(lot, Math.max(state.week, lot.cut)),
      rack = stand && stand.rack >= 0 ? places.racks[stand.rack].id : "";
    const when = here(lot, state.week)
      ? rack || places.zones[stand.zone].id
      : lot.cut > state.week
        ? `cut ${weekLabel(lot.cut)}`
        : "gone by then";
    return button(lot.strain.code, lot.id, `${lot.strain.name}; ${when}`, () => showLot(lot, state.week));
  });
  const more = mothers
    .slice(0, MOST_FOUND)
    .map((c) => button("M", c.id, `${c.strain.name}; mother in ${c.tank}`, () => showColony(c)));
  const cut = found.length > MOST_FOUND || mothers.length > MOST_FOUND ? `; the first ${MOST_FOUND} of each are listed` : "";
  byId("find-said").textContent =
    `${many(found.length, "lot")} and ${many(mothers.length, "mother")} with “${text.trim()}”${cut}.`;
  put(box, el("ul", { class: "lots", "aria-label": "Found" }, rows, more));
  seenTanks.stale();
}

// Turn to the racks in a week and bring a lot's rack to the middle of the screen, its plugs ringed.
function goTo(lot, week) {
  openSheet("racks");
  state.found = new Set([lot]);
  if (state.tank >= 0) {
    state.tank = -1;
    byId("tank-choice").value = "-1";
    layTanks();
  }
  setWeek(week);
  const stand = standAt(lot, week),
    tank = places.zones[stand.zone].tank;
  const node = byId("racks-tanks").querySelector(`[data-tank="${tank}"]`);
  if (!node) return;
  seenTanks.now(node);
  const rack =
    stand.rack >= 0 ? [...node.querySelectorAll(".rack")].find((f) => f.dataset.rack === places.racks[stand.rack].id) : null;
  const show = () => (rack || node).scrollIntoView({ block: "center" });
  show();
  requestAnimationFrame(() => setTimeout(show, 0)); // tanks above may have been drawn meanwhile
  const button = rack ? [...rack.querySelectorAll("button")].find((b) => b.dataset.lot === lot.id) : null;
  if (button && button.offsetParent) button.focus({ preventScroll: true });
}
