(async () => {
  const apart = ({ annotations, xaxis }, wide) => {
    const letters = (annotations ?? []).filter((one) => one.name === "letter");
    const at = (one) => ((one.x - xaxis.range[0]) / (xaxis.range[1] - xaxis.range[0])) * wide;
    const room = (one) => 12 * one.text.replace(/<.*?>/g, "").length;
    let last = -Infinity;
    for (const one of letters) {
      one.xshift = Math.max(0, last + room(one) - at(one));
      last = at(one) + one.xshift;
    }
    last = Infinity;
    for (const one of letters.reverse()) {
      one.xshift = Math.min(one.xshift, Math.min(last, wide) - at(one));
      last = at(one) + one.xshift - room(one);
    }
  };
  const zoom = (place) => {
    const axis = () => place._fullLayout.xaxis;
    const ends = () => axis().range.map((end) => axis().r2l(end));
    const whole = ends();
    const show = ([first, last]) => Plotly.relayout(place, { "xaxis.range": [first, last].map((end) => axis().l2r(end)) });
    const moved = (by) => () => {
      const [first, last] = ends();
      const step = Math.min(Math.max(by * (last - first), whole[0] - first), whole[1] - last);
      show([first + step, last + step]);
    };
    const closer = () => {
      const [first, last] = ends();
      show([first + (last - first) / 4, last - (last - first) / 4]);
    };
    const row = document.createElement("div");
    row.className = "zoom";
    row.setAttribute("role", "group");
    row.setAttribute("aria-label", "part of the chart");
    for (const [name, act] of [["closer", closer], ["left", moved(-0.5)], ["right", moved(0.5)], ["all", () => show(whole)]]) {
      const button = document.createElement("button");
      button.type = "button";
      button.textContent = name;
      button.addEventListener("click", act);
      row.append(button);
    }
    return row;
  };
  const packed = document.getElementById("program").textContent;
  const signs = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz!#$%:()*+-;,=.?@^_`{|}~";
  const digits = new Uint8Array(128);
  for (let k = 0; k < 85; k++) digits[signs.charCodeAt(k)] = k;
  const bytes = new Uint8Array(Math.floor((packed.length * 4) / 5));
  for (let from = 0, to = 0; from < packed.length; from += 5, to += 4) {
    let number = 0;
    for (let k = 0; k < 5; k++) number = number * 85 + (from + k < packed.length ? digits[packed.charCodeAt(from + k)] : 84);
    for (let k = 0; k < 4 && to + k < bytes.length; k++) bytes[to + k] = number / 2 ** (24 - 8 * k);
  }
  const stream = new Blob([bytes]).stream().pipeThrough(new DecompressionStream("gzip"));
  const program = document.createElement("script");
  program.textContent = await new Response(stream).text();
  document.head.append(program);
  const touch = matchMedia("(pointer: coarse)").matches;
  for (const place of document.querySelectorAll("[data-figure]")) {
    const figure = JSON.parse(document.getElementById(place.dataset.figure).textContent);
    figure.layout.dragmode = touch ? false : "zoom";
    place.closest("figure").classList.add("drawn");
    figure.layout.xaxis.nticks = Math.max(3, Math.floor(place.clientWidth / 110));
    apart(figure.layout, place.clientWidth - figure.layout.margin.l - figure.layout.margin.r);
    await Plotly.newPlot(place, figure.data, figure.layout, { responsive: true, displayModeBar: false, showTips: false });
    place.before(zoom(place));
  }
})();
