// One kind of chart: months along, frags up, a band from P10 to P90, a line of P50 and one of what the plan expects.
function niceStep(top) {
  const rough = top / 5,
    power = 10 ** Math.floor(Math.log10(Math.max(rough, 1)));
  return [1, 2, 5, 10].map((n) => n * power).find((n) => n >= rough) || 1;
}

function fanChart(names, spread, expected, told) {
  const wide = Math.max(320, Math.min(980, byId("months-sheet").clientWidth || 900)),
    high = 340,
    x0 = 58,
    y0 = high - 46;
  const top = Math.max(1, ...spread.flat(), ...expected.filter((v) => v !== null)),
    step = niceStep(top),
    most = Math.ceil(top / step) * step;
  const x = (i) => x0 + ((i + 0.5) * (wide - x0 - 12)) / names.length,
    y = (v) => y0 - (v / most) * (y0 - 24);
  const picture = svg("svg", {
    class: "fanchart",
    width: wide,
    height: high,
    viewBox: `0 0 ${wide} ${high}`,
    role: "img",
    "aria-label": told,
  });
  for (let v = 0; v <= most; v += step)
    picture.append(
      svg("line", { class: "rule", x1: x0, x2: wide - 8, y1: y(v), y2: y(v) }),
      svg("text", { class: "axis", x: x0 - 8, y: y(v) + 4, "text-anchor": "end" }, whole(v)),
    );
  names.forEach((name, i) =>
    picture.append(
      svg("text", { class: "axis", x: x(i), y: y0 + 20, "text-anchor": "middle" }, wide < 520 ? name.slice(2) : name),
    ),
  );
  picture.append(svg("text", { class: "axis", x: 4, y: 14 }, "frags"));
  if (spread.length) {
    const up = spread.map((s, i) => `${x(i)} ${y(s[2])}`),
      down = spread.map((s, i) => `${x(i)} ${y(s[0])}`).reverse();
    picture.append(
      svg("path", { class: "fan", d: `M${[...up, ...down].join("L")}z` }),
      svg("path", { class: "middle", d: `M${spread.map((s, i) => `${x(i)} ${y(s[1])}`).join("L")}` }),
    );
    spread.forEach((s, i) => picture.append(svg("circle", { class: "point", cx: x(i), cy: y(s[1]), r: 5 })));
  }
  const line = expected.map((v, i) => (v === null ? null : [x(i), y(v)])).filter(Boolean);
  if (line.length > 1) picture.append(svg("path", { class: "expected", d: `M${line.map((p) => p.join(" ")).join("L")}` }));
  line.forEach(([cx, cy]) => picture.append(svg("rect", { class: "expectedpoint", x: cx - 4, y: cy - 4, width: 8, height: 8 })));
  return el("div", { class: "chart", tabindex: "0", role: "group", "aria-label": "Chart of frags by month" }, picture);
}
