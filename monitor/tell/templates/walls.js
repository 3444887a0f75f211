(() => {
  const find = document.getElementById("find");
  const flat = document.getElementById("flat");
  const sections = [...document.querySelectorAll("section.building")];
  const text = document.getElementById("text");
  const building = document.getElementById("building");
  const order = document.getElementById("order");
  const states = [...find.querySelectorAll("input[name=state]")];
  const fold = (words) => words.normalize("NFKD").replace(/\p{M}/gu, "").toLowerCase();
  const said = (row) => [...row.querySelectorAll(".state, h3, .v, .alarms, .todo")].map((part) => part.textContent);
  const buildingOf = (row) => row.closest("section").querySelector("h2").firstChild.textContent;
  const walls = [...document.querySelectorAll(".one")].map((row) => ({
    row,
    home: row.parentElement,
    name: row.querySelector("h3").textContent,
    words: fold([buildingOf(row), ...said(row)].join(" ")),
    rank: Number(row.dataset.r),
    out: Number(row.dataset.o),
    unknown: Number(row.dataset.u),
  }));
  const byName = new Intl.Collator("en", { numeric: true }).compare;
  const orders = {
    building: (a, b) => a.rank - b.rank,
    rank: (a, b) => a.rank - b.rank,
    out: (a, b) => b.out - a.out || a.rank - b.rank,
    unknown: (a, b) => b.unknown - a.unknown || a.rank - b.rank,
    name: (a, b) => byName(a.name, b.name),
  };
  const sort = () => {
    const grouped = order.value === "building";
    for (const wall of [...walls].sort(orders[order.value])) {
      (grouped ? wall.home : flat.firstElementChild).append(wall.row);
    }
    flat.hidden = grouped;
  };
  const filter = () => {
    const wanted = new Set(states.filter((box) => box.checked).map((box) => box.value));
    const parts = fold(text.value).split(/\s+/).filter(Boolean);
    let shown = 0;
    for (const { row, words } of walls) {
      const fits = wanted.has(row.dataset.s) && (!building.value || row.dataset.b === building.value);
      row.hidden = !(fits && parts.every((part) => words.includes(part)));
      shown += row.hidden ? 0 : 1;
    }
    for (const section of sections) section.hidden = !section.querySelector(".one:not([hidden])");
    document.getElementById("shown").textContent = `${shown} of ${walls.length} walls shown`;
  };
  const keep = () => {
    const left = states.filter((box) => !box.checked).map((box) => box.value);
    const said = new URLSearchParams({ text: text.value, building: building.value, order: order.value, left });
    history.replaceState(null, "", `#${said}`);
  };
  const recall = () => {
    const said = new URLSearchParams(location.hash.slice(1));
    text.value = said.get("text") || "";
    building.value = said.get("building") || "";
    order.value = said.get("order") || "building";
    if (!building.value) building.value = "";
    if (!orders[order.value]) order.value = "building";
    const left = (said.get("left") || "").split(",");
    for (const box of states) box.checked = !left.includes(box.value);
  };
  recall();
  sort();
  filter();
  find.hidden = false;
  find.addEventListener("submit", (event) => event.preventDefault());
  find.addEventListener("input", (event) => {
    if (event.target === order) sort();
    filter();
    keep();
  });
})();
