// Making elements. Text only ever becomes a text node; no text is read as markup anywhere in this script.
const byId = (id) => document.getElementById(id);

function fill(node, attributes, children) {
  for (const [name, value] of Object.entries(attributes || {})) {
    if (value === null || value === undefined || value === false) continue;
    if (name.startsWith("on")) node.addEventListener(name.slice(2), value);
    else node.setAttribute(name, value === true ? "" : String(value));
  }
  for (const child of children.flat(Infinity)) {
    if (child === null || child === undefined || child === "") continue;
    node.append(child instanceof Node ? child : document.createTextNode(String(child)));
  }
  return node;
}

// The children of a node, anew; empty ones are left out.
function put(node, ...children) {
  node.replaceChildren();
  return fill(node, null, children);
}

const el = (name, attributes, ...children) => fill(document.createElement(name), attributes, children);
const svg = (name, attributes, ...children) =>
  fill(document.createElementNS("http://www.w3.org/2000/svg", name), attributes, children);

// A code, a date or the like is not broken over two lines, unless it is too long for that.
const LONGEST_WORD = 18;
const word = (text) => (text.length > LONGEST_WORD ? text : el("span", { class: "word" }, text));
const words = (text) => text.split(/( )/).map((part) => (part.includes("-") ? word(part) : part));

const whole = (x) => Math.round(x).toLocaleString("en-US");
const fixed = (x, places) => x.toLocaleString("en-US", { minimumFractionDigits: places, maximumFractionDigits: places });
const money = (x) => fixed(x, 2);
const many = (n, one, more) => `${whole(n)} ${n === 1 ? one : more || one + "s"}`;

function facts(rows) {
  const shown = rows.filter((row) => row[1] !== "" && row[1] !== null && row[1] !== undefined);
  return el(
    "dl",
    { class: "facts" },
    shown.map(([name, value]) => el("div", null, el("dt", null, name), el("dd", null, value))),
  );
}

function table(className, headers, rows, numbers = []) {
  const right = (i) => (numbers.includes(i) ? "n" : null);
  return el(
    "table",
    { class: className },
    el(
      "thead",
      null,
      el(
        "tr",
        null,
        headers.map((h, i) => el("th", { scope: "col", class: right(i) }, h)),
      ),
    ),
    el(
      "tbody",
      null,
      rows.map((row) =>
        el(
          "tr",
          null,
          row.map((cell, i) =>
            i === 0 ? el("th", { scope: "row" }, cell) : el("td", { class: right(i), "data-name": headers[i] }, cell),
          ),
        ),
      ),
    ),
  );
}

const scrolled = (label, ...children) =>
  el("div", { class: "scroll", tabindex: "0", role: "group", "aria-label": label }, children);

// A list of choices of which one is taken, as buttons.
function choices(label, names, taken, choose) {
  const buttons = names.map(([key, text]) =>
    el(
      "button",
      {
        type: "button",
        "aria-pressed": String(key === taken),
        onclick: () => {
          buttons.forEach((b, i) => b.setAttribute("aria-pressed", String(names[i][0] === key)));
          choose(key);
        },
      },
      text,
    ),
  );
  return el(
    "div",
    { role: "group", "aria-label": label },
    el("span", { class: "label" }, label),
    el("div", { class: "row" }, buttons),
  );
}

// Calls draw(node) once a node comes near the screen, and again after stale(): only what is seen is drawn.
class Seen {
  constructor(draw) {
    this.draw = draw;
    this.near = new Set();
    this.fresh = new Set();
    this.nodes = [];
    this.watch = new IntersectionObserver(
      (entries) => {
        for (const entry of entries) {
          if (entry.isIntersecting) this.near.add(entry.target);
          else this.near.delete(entry.target);
          this.once(entry.target);
        }
      },
      { rootMargin: "400px" },
    );
  }
  add(node) {
    this.nodes.push(node);
    this.watch.observe(node);
  }
  clear() {
    this.watch.disconnect();
    this.near.clear();
    this.fresh.clear();
    this.nodes = [];
  }
  once(node) {
    if (!this.near.has(node) || this.fresh.has(node)) return;
    this.fresh.add(node);
    this.draw(node);
  }
  // What is on the screen is drawn at once, what lies near it after the next frame.
  stale() {
    this.fresh.clear();
    const boxes = [...this.near].map((node) => [node, node.getBoundingClientRect()]);
    const shown = boxes.filter(([, box]) => box.bottom > 0 && box.top < window.innerHeight).map(([node]) => node);
    shown.forEach((node) => this.once(node));
    if (shown.length < boxes.length)
      requestAnimationFrame(() => setTimeout(() => this.near.forEach((node) => this.once(node)), 0));
  }
  now(node) {
    this.near.add(node);
    this.once(node);
  }
  all() {
    this.nodes.forEach((node) => {
      if (!this.fresh.has(node)) {
        this.fresh.add(node);
        this.draw(node);
      }
    });
  }
}
