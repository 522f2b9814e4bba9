// Sessions of the near weeks: the clock of all at a glance, then a list for each person; a step opens its card.
const bench = plan.bench;
const cardOf = new Map(bench.sessions.flatMap((s) => s.cards.map((c) => [c.lot, [c, s]])));
const seenSessions = new Seen((node) => drawSession(node));

function layBench() {
  const box = byId("bench-sessions");
  if (!bench.sessions.length) {
    box.append(el("p", null, "No session of the near weeks has cuts."));
    return;
  }
  box.append(
    el(
      "nav",
      { "aria-label": "Sessions", class: "noprint" },
      el(
        "ul",
        { class: "row" },
        bench.sessions.map((s, i) =>
          el(
            "li",
            null,
            el(
              "button",
              {
                type: "button",
                onclick: () => {
                  const node = byId(`session-${i}`);
                  seenSessions.now(node);
                  node.scrollIntoView();
                  node.querySelector("h3").focus({ preventScroll: true });
                },
              },
              words(
                `${s.weekday} ${s.day.slice(5)} ${s.name}: ${many(s.colonies, "colony", "colonies")}, ${many(s.pieces, "piece")}`,
              ),
            ),
          ),
        ),
      ),
    ),
  );
  bench.sessions.forEach((s, i) => {
    const node = el(
      "section",
      { class: "session", id: `session-${i}`, "aria-labelledby": `session-title-${i}` },
      el("h3", { id: `session-title-${i}`, tabindex: "-1" }, `${s.weekday} ${s.day}, ${s.clock}: ${s.name}`),
      el("div", { class: "sessionbody" }),
    );
    node.style.minHeight = "30rem";
    box.append(node);
    seenSessions.add(node);
  });
}

function drawSession(node) {
  const s = bench.sessions[Number(node.id.split("-")[1])];
  const water = s.systems.map(([name, quarantine]) => name + (quarantine ? " (quarantine: own tubs and tools)" : "")).join(" > ");
  put(
    node.querySelector(".sessionbody"),
    el(
      "p",
      null,
      `${weekLabel(s.week)}; ${many(s.colonies, "colony", "colonies")}, ${many(s.pieces, "piece")}; methods offered: ${s.methods.join(", ")}.`,
    ),
    el("p", { class: "strong" }, `Water in this order, never back: ${water}.`),
    s.finish
      ? el("p", null, `Last frag in its rack by ${s.finish}; clean-down begins at ${s.latest} at the latest.`)
      : el("p", null, "This session has no clock times; its cuts are listed in the order of work."),
    s.toxic.length ? el("p", { class: "note" }, el("b", null, `Toxic: ${s.toxic.join(", ")}. `), bench.kit) : null,
    s.finish ? lanes(s) : null,
    el(
      "div",
      { class: "people" },
      s.people.map((p) => personList(s, p)),
    ),
    el("h4", null, "Cards in the order of work"),
    el(
      "ul",
      { class: "lots" },
      s.cards.map((c) =>
        el(
          "li",
          null,
          el(
            "button",
            { type: "button", "data-card": c.lot, onclick: () => showStep(c.lot, "") },
            el("span", { class: "tag" }, `${c.order}. ${c.code}`),
            el(
              "span",
              { class: "what" },
              words(`${c.colony}: ${many(c.pieces, "piece")}, ${c.lot}`),
              el("small", null, `${c.strain}; to ${c.place.rack || c.place.zone} ${c.place.blocks}`),
            ),
          ),
        ),
      ),
    ),
    prepared(s),
    s.standby.length
      ? el(
          "div",
          null,
          el("h4", null, "If a colony is unfit when lifted"),
          scrolled(
            "Stand-by colonies",
            table(
              "stack",
              ["stand-by colony", "strain", "stands in", "most pieces"],
              s.standby.map(([colony, name, tank, place, n]) => [
                word(colony),
                name,
                [tank, place].filter(Boolean).join(", "),
                String(n),
              ]),
              [3],
            ),
          ),
        )
      : null,
  );
  node.style.minHeight = "";
}

// What is measured and soaked before the session.
function prepared(s) {
  if (!s.baths.length && !s.plugs.length) return null;
  return el(
    "div",
    null,
    el("h4", null, "Have ready before the session"),
    s.baths.length
      ? scrolled(
          "Dips of the session",
          table(
            "stack",
            ["water", "dip", "litres a bath", "into each bath", "baths", "mixed", "frags, min", "mothers, min"],
            s.baths.map((row) => row.map(String)),
            [4, 5],
          ),
        )
      : null,
    el(
      "ul",
      { class: "checks" },
      s.plugs.map(([kind, n, soak, water]) =>
        el(
          "li",
          null,
          `${n} ${kind} plugs; soak from ${soak} at the latest${water ? `; in the system's water since ${water}` : ""}`,
        ),
      ),
      s.kneadings ? el("li", null, `${many(s.kneadings, "kneading")} of putty`) : null,
    ),
  );
}

const stepClass = (what) =>
  what.startsWith("cut ") ? "" : what.startsWith("mount ") || what.startsWith("label ") ? "mounting" : "other";

// The session's clock: a lane for each person and one for the dips. The lists below say the same in words.
function lanes(s) {
  const dips = s.dips.length ? 1 : 0,
    high = 52,
    x0 = 92,
    wide = Math.max(560, Math.min(1180, byId("bench-sessions").clientWidth - 4)),
    span = wide - x0 - 8;
  const x = (minute) => x0 + (minute / s.minutes) * span;
  const picture = svg("svg", {
    width: wide,
    height: 24 + (s.people.length + dips) * high,
    viewBox: `0 0 ${wide} ${24 + (s.people.length + dips) * high}`,
    "aria-hidden": "true",
  });
  const [h, m] = s.start.split(":").map(Number);
  for (let minute = 0; minute <= s.minutes; minute += 30) {
    const clock = h * 60 + m + minute;
    picture.append(
      svg("line", { class: "rule", x1: x(minute), x2: x(minute), y1: 18, y2: 24 + (s.people.length + dips) * high }),
      svg(
        "text",
        {
          class: "axis",
          x: x(minute),
          y: 13,
          "text-anchor": minute === 0 ? "start" : minute + 30 > s.minutes ? "end" : "middle",
        },
        `${Math.floor(clock / 60) % 24}:${String(clock % 60).padStart(2, "0")}`,
      ),
    );
  }
  const lane = (row, name) => picture.append(svg("text", { x: 0, y: 24 + row * high + high / 2 + 5, "font-size": 15 }, name));
  s.people.forEach((p, row) => {
    lane(row, p.name.length > 11 ? `${p.name.slice(0, 10)}…` : p.name);
    p.entries.forEach(([from, to, , , what, lot]) =>
      picture.append(
        svg(
          "rect",
          {
            class: `stepbar ${stepClass(what)}`,
            x: x(from),
            y: 27 + row * high,
            width: Math.max(2, x(to) - x(from) - 1),
            height: high - 6,
            onclick: lot ? () => showStep(lot, what) : null,
          },
          svg("title", null, what),
        ),
        barText(cardOf.get(lot), x(from), x(to), 27 + row * high + high / 2),
      ),
    );
  });
  if (dips) {
    lane(s.people.length, "dips");
    s.dips.forEach(([from, to, , , lot]) =>
      picture.append(
        svg(
          "rect",
          {
            class: "stepbar bath",
            x: x(from),
            y: 27 + s.people.length * high,
            width: Math.max(2, x(to) - x(from) - 1),
            height: high - 6,
            onclick: () => showStep(lot, ""),
          },
          svg("title", null, `${lot} in the dip`),
        ),
      ),
    );
  }
  return el(
    "div",
    {
      class: "lanes",
      tabindex: "0",
      role: "group",
      "aria-label": "The session's clock as a picture; the lists below say the same",
    },
    picture,
    el(
      "p",
      { class: "quiet" },
      "filled: cutting; open: labels and mounting; dotted: rinsing, changes and breaks; waves: in the dip",
    ),
  );
}

// The label code on a bar that is wide enough for it.
function barText(found, from, to, y) {
  const code = found ? found[0].code : "";
  return code && to - from > 10 * code.length + 8
    ? svg("text", { class: "code bar", x: (from + to) / 2, y: y + 3, "font-size": 15 }, code)
    : svg("g", null);
}

function personList(s, person) {
  const rows = person.entries.map(([from, to, starts, ends, what, lot, alarm, by]) => {
    const strip = svg(
      "svg",
      { viewBox: "0 0 100 4", preserveAspectRatio: "none", "aria-hidden": "true" },
      svg("rect", { class: "track", x: 0, y: 0, width: 100, height: 4, "vector-effect": "non-scaling-stroke" }),
      svg("rect", {
        class: "where",
        x: (from / s.minutes) * 100,
        y: 0,
        width: Math.max(0.6, ((to - from) / s.minutes) * 100),
        height: 4,
      }),
    );
    const inside = [
      el("span", { class: "time" }, `${starts}–${ends}`),
      el("span", null, words(what)),
      alarm
        ? el("span", { class: "alarm" }, `! set an alarm: out by ${by} at the latest`)
        : by
          ? el("span", { class: "alarm" }, `begins by ${by}`)
          : null,
      strip,
    ];
    return el(
      "li",
      null,
      lot
        ? el("button", { type: "button", "data-step": lot, onclick: () => showStep(lot, what) }, inside)
        : el("div", { class: "pause" }, inside),
    );
  });
  return el(
    "div",
    null,
    el("h4", null, `${person.name}: ${person.work} of ${person.offered} minutes`),
    rows.length ? el("ol", { class: "steps" }, rows) : person.work ? null : el("p", null, "No cut is planned."),
  );
}
