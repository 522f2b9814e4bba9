// Patterns all pictures share, the sheets, printing. Each sheet is laid out when it is first opened.
const SHEETS = ["week", "racks", "bench", "capacity", "months", "why", "cautions"];
const laid = new Set();
const LAY = {
  racks: () => {
    racksBar();
    layTanks();
    setWeek(state.week);
  },
  bench: layBench,
  capacity: drawCapacity,
  months: drawMonths,
  why: layWhy,
};

function patterns() {
  const pattern = (id, size, ...inside) =>
    svg(
      "pattern",
      { id, width: size, height: size, patternUnits: "userSpaceOnUse" },
      svg("rect", { class: "half", width: size, height: size }),
      inside,
    );
  document.body.append(
    svg(
      "svg",
      { width: 0, height: 0, "aria-hidden": "true", class: "unseen", focusable: "false" },
      svg(
        "defs",
        null,
        pattern("stripes", 5, svg("path", { class: "stripe", d: "M-1 1l2 -2M0 5l5 -5M4 6l2 -2" })),
        pattern("dots", 5, svg("circle", { class: "dot", cx: 2.5, cy: 2.5, r: 1 })),
        pattern("waves", 10, svg("path", { class: "wave", d: "M0 5q2.5 -4 5 0t5 0" })),
      ),
    ),
  );
}

function openSheet(name, focus = false) {
  const sheet = SHEETS.includes(name) ? name : "week";
  state.sheet = sheet;
  SHEETS.forEach((id) => {
    byId(id).hidden = id !== sheet;
  });
  document.querySelectorAll(".tabs a").forEach((a) => {
    if (a.hash === `#${sheet}`) a.setAttribute("aria-current", "page");
    else a.removeAttribute("aria-current");
  });
  if (!laid.has(sheet) && LAY[sheet]) {
    laid.add(sheet);
    LAY[sheet]();
  }
  if (!focus) return;
  if (location.hash !== `#${sheet}`) history.replaceState(null, "", `#${sheet}`);
  byId(`${sheet}-title`).focus({ preventScroll: true });
  window.scrollTo(0, 0);
}

// Before paper, everything of the open sheet is drawn and every list is open.
window.addEventListener("beforeprint", () => {
  if (state.sheet === "racks") seenTanks.all();
  if (state.sheet === "bench") seenSessions.all();
  if (state.sheet === "why" && why.most < plan.why.length) {
    why.most = plan.why.length;
    drawWhy();
  }
  byId(state.sheet)
    .querySelectorAll("details")
    .forEach((d) => {
      if (d.querySelector("ul.lots:not(:empty), ul.key")) d.open = true;
    });
});

let widthWas = window.innerWidth,
  resizing = 0;
window.addEventListener("resize", () => {
  if (window.innerWidth === widthWas) return;
  widthWas = window.innerWidth;
  clearTimeout(resizing);
  resizing = setTimeout(() => {
    seenTanks.stale();
    seenSessions.stale();
  }, 150);
});

document.documentElement.classList.add("js");
patterns();
document.querySelectorAll(".tabs a").forEach((a) =>
  a.addEventListener("click", (event) => {
    event.preventDefault();
    openSheet(a.hash.slice(1), true);
  }),
);
document.querySelectorAll('main a[href^="#"]').forEach((a) =>
  a.addEventListener("click", (event) => {
    event.preventDefault();
    openSheet(a.hash.slice(1), true);
  }),
);
window.addEventListener("hashchange", () => openSheet(location.hash.slice(1), true));
history.scrollRestoration = "manual";
openSheet(location.hash.slice(1));
window.scrollTo(0, 0);
window.addEventListener("load", () => window.scrollTo(0, 0));

// Usable: what is on the screen has been drawn (what is seen is known after a frame) and painted.
requestAnimationFrame(() =>
  requestAnimationFrame(() =>
    setTimeout(() => performance.mark("page-usable", { detail: document.querySelectorAll(".rack svg").length }), 0),
  ),
);
