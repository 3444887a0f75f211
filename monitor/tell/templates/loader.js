(async () => {
  const packed = atob(document.getElementById("program").textContent);
  const bytes = Uint8Array.from(packed, (sign) => sign.charCodeAt(0));
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
