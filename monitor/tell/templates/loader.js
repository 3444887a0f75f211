(async () => {
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
    await Plotly.newPlot(place, figure.data, figure.layout, { responsive: true, displayModeBar: false });
  }
})();
