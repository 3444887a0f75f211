(() => {
  "use strict";
  const LARGEST = 25e6; // of a photo [bytes]
  const about = JSON.parse(document.getElementById("about").textContent);
  const find = (selector, within = document) => within.querySelector(selector);
  const all = (selector, within = document) => [...within.querySelectorAll(selector)];
  const random = () => [...crypto.getRandomValues(new Uint8Array(8))].map((n) => n.toString(16).padStart(2, "0")).join("");
  const form = random();
  const pictures = new Map(); // the element of a photo -> its file, and its bytes in base64 once they are read
  let changed = false;
  let groups = 0;

  const local = (time) => new Date(time - new Date(time).getTimezoneOffset() * 60000).toISOString().slice(0, 16);
  const instant = (input) => {
    const time = new Date(input.value);
    return Number.isNaN(time.getTime()) ? null : time.toISOString().replace(".000Z", "Z");
  };

  const quantity = (text, unit) => {
    const plain = text.trim().replace(/^[\u2212\u2013]/, "-").replace(/(\d),(\d)/g, "$1.$2");
    return !plain || !unit || /[a-z%"'\u00b0]/i.test(plain) ? plain : `${plain} ${unit}`;
  };
  const readers = {
    list: (text) => text.split(",").map((part) => part.trim()).filter(Boolean),
    number: (text) => (Number.isFinite(Number(quantity(text, ""))) ? Number(quantity(text, "")) : text.trim()),
    count: (text) => readers.number(text),
  };
  const value = (field) => {
    const text = field.value;
    if (!text.trim()) return null;
    return readers[field.dataset.ask] ? readers[field.dataset.ask](text) : quantity(text, field.dataset.unit);
  };
  const rows = (field) => {
    const found = all(":scope > .row", field).map((row) => all("[data-key]", row).map((part) => [part.dataset.key, value(part)]));
    const filled = found.filter((row) => row.some(([, said]) => said !== null));
    if (field.dataset.ask === "pairs") return filled.map((row) => row.map(([, said]) => said));
    return filled.map((row) => Object.fromEntries(row.filter(([, said]) => said !== null)));
  };
  const answer = (field) => {
    if (field.dataset.ask === "yes_no") return { yes: true, no: false }[find("input:checked", field)?.value] ?? null;
    if (!field.classList.contains("rows")) return value(field);
    const found = rows(field);
    return found.length || find(".none input:checked", field) ? found : null;
  };
  const body = (card) => {
    const fields = all("[data-key]", card).filter((field) => !field.closest(".row"));
    return Object.fromEntries(fields.map((field) => [field.dataset.key, answer(field)]).filter(([, said]) => said !== null));
  };

  const items = () => {
    const found = [];
    for (const card of all("article")) {
      const said = body(card);
      const { section, kind, inside } = card.closest("section").dataset;
      const photos = all(".photos li", card);
      if (Object.keys(said).length) {
        found.push({ item: card.dataset.item, section, kind, at: instant(find(".at", card)), body: inside ? { [inside]: [said] } : said });
        photos.forEach((photo) => found.push(shown(photo, card.dataset.item)));
      } else {
        photos.forEach((photo) => found.push(shown(photo, null)));
      }
    }
    return [...found, ...all("#alone .photos li").map((photo) => shown(photo, null))];
  };
  const shown = (photo, of) => {
    const { file, content } = pictures.get(photo);
    const said = { file: file.name, shows: find(".shows", photo).value.trim(), file_time: new Date(file.lastModified).toISOString(), content };
    return { item: photo.dataset.item, section: "photo", kind: "photo", at: instant(find(".at", photo)), of, body: said };
  };
  const saved = () => {
    const who = find("#who input").value.trim();
    return JSON.stringify({ ...about, form, who, saved: new Date().toISOString(), items: items() }, null, 1);
  };

  const say = (text) => { find("#said").textContent = text; };
  const touched = () => {
    changed = true;
    const found = items().length;
    find("#count").textContent = found ? `${found} ${found === 1 ? "entry" : "entries"}, not saved` : "nothing yet";
    if (!find("#whole").hidden) find("#whole").hidden = true;
  };
  const missing = () => {
    if (!find("#who input").value.trim()) return [find("#who input"), "Say who you are first."];
    const blank = all("article .at, .photos li .at").find((input) => !instant(input));
    return blank ? [blank, "A time is missing."] : null;
  };
  const complete = () => {
    const lack = missing();
    if (lack) {
      say(lack[1]);
      find("#count").textContent = lack[1];
      lack[0].focus();
      lack[0].scrollIntoView({ block: "center" });
      return null;
    }
    return items().length ? saved() : (say("Nothing is filled in yet."), null);
  };
  const name = () => `${about.job.replace(/[^\p{L}\p{N}]+/gu, "-")}-${local(Date.now()).replace(/[-:]/g, "").replace("T", "-")}.json`;
  const done = (text) => {
    changed = false;
    const found = items().length;
    find("#count").textContent = `${found} ${found === 1 ? "entry" : "entries"}, saved`;
    say(text);
  };
  const save = () => {
    const text = complete();
    if (text === null) return;
    const link = document.createElement("a");
    link.href = URL.createObjectURL(new Blob([text], { type: "application/json" }));
    link.download = name();
    link.click();
    setTimeout(() => URL.revokeObjectURL(link.href), 60000);
    done(`Saved as ${link.download}, where your browser keeps downloads. Look whether it is there; if not, share or copy it.`);
  };
  const shareable = (text) => new File([text], `${name()}.txt`, { type: "text/plain" });
  const share = async () => {
    const text = complete();
    if (text === null) return;
    try {
      await navigator.share({ files: [shareable(text)] });
      done("Handed to the program that you chose.");
    } catch (problem) {
      say(`It was not shared (${problem.name}). Save or copy it.`);
    }
  };
  const copy = async () => {
    const text = complete();
    if (text === null) return;
    const whole = find("#whole");
    whole.value = text;
    whole.hidden = false;
    whole.focus();
    whole.select();
    try {
      await navigator.clipboard.writeText(text);
      say("Copied. Paste it into a message or a file, all of it.");
    } catch {
      say("Copy all of the text below into a message or a file.");
    }
  };

  const base64 = (file) => new Promise((resolve, reject) => {
    const reader = new FileReader();
    reader.onload = () => resolve(reader.result.slice(reader.result.indexOf(",") + 1));
    reader.onerror = () => reject(reader.error);
    reader.readAsDataURL(file);
  });
  const takePhoto = async (file, list) => {
    if (file.size > LARGEST) return say(`${file.name} is larger than 25 MB and was left out.`);
    const content = await base64(file).catch(() => null);
    if (!content) return say(`${file.name} can't be read and was left out.`);
    const photo = find("#photo").content.firstElementChild.cloneNode(true);
    photo.dataset.item = random();
    find("img", photo).src = URL.createObjectURL(file);
    find(".name", photo).textContent = file.name;
    find(".at", photo).value = local(file.lastModified);
    pictures.set(photo, { file, content });
    list.append(photo);
    touched();
  };

  const numbered = (section) => all("article h3", section).forEach((title, at) => {
    title.textContent = `${find("h2", section).textContent} ${at + 1}`;
  });
  const addCard = (section) => {
    const card = find(":scope > template", section).content.firstElementChild.cloneNode(true);
    card.dataset.item = random();
    find(".at", card).value = local(Date.now());
    for (const group of all(".yes-no", card)) {
      groups += 1;
      all("input", group).forEach((input) => { input.name = `group-${groups}`; });
    }
    find(".cards", section).append(card);
    numbered(section);
    card.scrollIntoView({ block: "start" });
  };
  const addRow = (button) => {
    const rowsOf = all(":scope > .row", button.parentElement);
    const row = rowsOf[0].cloneNode(true);
    all("input", row).forEach((input) => { input.value = ""; });
    button.before(row);
    find("input", row).focus({ preventScroll: true });
  };
  const remove = (button) => {
    const gone = button.closest("li, article");
    const section = gone.closest("section");
    if (!confirm("Remove this?")) return;
    gone.remove();
    numbered(section);
    touched();
  };

  document.addEventListener("click", ({ target }) => {
    if (target.matches(".add")) addCard(target.closest("section"));
    if (target.matches(".more")) addRow(target);
    if (target.matches(".remove")) remove(target);
    if (target.matches("#save, #save-too")) save();
    if (target.matches("#share")) share();
    if (target.matches("#copy")) copy();
  });
  document.addEventListener("change", ({ target }) => {
    if (!target.matches("input[type=file]")) return;
    const list = find("ul", target.closest(".photos"));
    [...target.files].forEach((file) => takePhoto(file, list));
    target.value = "";
  });
  document.addEventListener("input", ({ target }) => { if (!target.matches("#whole, [type=file]")) touched(); });
  addEventListener("beforeunload", (event) => { if (changed && items().length) event.preventDefault(); });
  try {
    find("#share").hidden = !(navigator.canShare && navigator.canShare({ files: [shareable("{}")] }));
  } catch {
    find("#share").hidden = true;
  }
})();
