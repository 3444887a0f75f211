"""The way of a form: written by a command, filled in on a phone, brought back by another command."""

from __future__ import annotations

import base64
import json
from pathlib import Path

import pytest
import tiny_pictures as tiny
from homes import Home
from phone import hold

FILL = """
const add = (section) => {
  find(`section[data-section=${section}] .add`).click();
  const card = all(`section[data-section=${section}] article`).at(-1);
  type(find(".at", card), "2026-01-05T08:00");
  return card;
};
const say = (card, told) => Object.entries(told).forEach(([key, text]) => {
  const field = find(`[data-key=${key}]`, card);
  if (field.dataset.ask === "yes_no") find(`input[value=${text}]`, field).click(); else type(field, text);
});
const list = (card, key, rows) => rows.forEach((told, at) => {
  const field = find(`[data-key=${key}]`, card);
  if (at) find(".more", field).click();
  say(all(".row", field)[at], told);
});
type(find("#who input"), "Robin");
const delivery = add("delivery");
say(delivery, { lot: "B7", boxes: "12", lot_numbers: "A1, A2,", unopened: "yes", wrapped: "no", stack_height_m: "28",
  stack_width_m: "50 cm", box_temperature: "61,5", moisture: "6.5", stored_before: "an unheated barn" });
const site = add("site");
say(site, { surface: "drywall", finish: "painted", dry: "yes", note: "all fine" });
find(".none input", site).click();
const line = add("flatness");
say(line, { direction: "along" });
list(line, "points", [{ position: "0", deviation: "0" }, { position: "1 ft", deviation: "1/16" },
  { position: "24", deviation: "\\u22121/32" }, { position: "", deviation: "" }]);
list(add("plumb"), "plumb", [{ offset_m: "-1/8", over_m: "8 ft" }]);
list(add("level"), "level", [{ position: "0", height: "0" }, { position: "16 ft", height: "1/16" }]);
const meter = add("moisture");
say(meter, { meter: "pin meter", scale: "gypsum", material: "drywall", dry_reference: "0,4" });
list(meter, "points", [{ where: "left", value: "0.5" }]);
say(add("reading"), { air_temperature: "70", air_humidity: "45", instrument: "a dial" });
say(add("note"), { text: "heater on\\nsince six" });
add("note");
const bytes = Uint8Array.from(atob("JPEG"), (sign) => sign.charCodeAt(0));
for (const [name, place] of [["stack.jpg", delivery], ["view.jpg", find("#alone")]]) {
  const picked = new view.DataTransfer();
  picked.items.add(new view.File([bytes], name, { type: "image/jpeg", lastModified: 1767618600000 }));
  find("input[type=file]", place).files = picked.files;
  find("input[type=file]", place).dispatchEvent(new view.Event("change", { bubbles: true }));
  await wait();
}
type(find(".shows", delivery), "the stack");
find("#copy").click();
await wait();
return find("#whole").value;
"""


@pytest.fixture(scope="module")
def filled(tmp_path_factory: pytest.TempPathFactory, opened: Path) -> str:
    """What a form of the den saves, filled in on 2026-01-05 at 08:00 in New York."""
    home, folder = Home(opened), tmp_path_factory.mktemp("phone")
    home.done("form", "den", "-o", folder / "form.html")
    act = FILL.replace("JPEG", base64.b64encode(tiny.jpeg()).decode())
    said, console = hold(folder, (folder / "form.html").read_text(encoding="utf-8"), act)
    assert console == []
    return said


KINDS = ["deliver", "photo", *["site check"] * 4, "wall moisture", "reading", "note", "photo"]


def told(kinds: list[str], first: int) -> list[str]:
    """What is said of entries from number `first` on."""
    return [f"entry {number}: {kind}" for number, kind in enumerate(kinds, first)]


def test_a_form_filled_in_on_a_phone_comes_into_the_log(den: Home, filled: str):
    before = len(den.log())
    assert den.done("log", "import", den.file("FORM.json", filled)).err.splitlines() == told(KINDS, before + 1)


def test_what_was_typed_stands_in_the_entries_in_our_units(den: Home, filled: str):
    before = len(den.log())
    den.done("log", "import", den.file("FORM.json", filled))
    entries = den.log()[before:]
    bodies = [{key: value for key, value in entry["body"].items() if key != "form"} for entry in entries]
    assert {(entry["who"], entry["at"]) for entry in entries[:-1]} == {
        ("Robin", "2026-01-05T13:00:00Z"),
        ("Robin", "2026-01-05T13:10:00Z"),  # of the photo, by its file
    }
    # 28 in = 0.7112 m; (61.5 - 32) / 1.8 = 16.39 degC; 1/16 in = 1.5875 mm; 70 degF = 21.1 degC
    assert bodies[0] == {
        "lot": "B7", "place": "den", "boxes": 12, "lot_numbers": ["A1", "A2"], "unopened": True, "wrapped": False,
        "stack_height_m": pytest.approx(0.7112), "stack_width_m": 0.5, "moisture": 6.5,
        "box_temperature": pytest.approx(16.3889, abs=1e-4), "stored_before": "an unheated barn",
    }  # fmt: skip
    assert {key: bodies[1][key] for key in ("file", "shows", "entry", "file_time")} == {
        "file": "stack.jpg", "shows": "the stack", "entry": before + 1, "file_time": 1767618600000,
    }  # fmt: skip
    assert bodies[2] == {
        "surface": "drywall", "finish": "painted", "dry": True, "heat_sources": [], "note": "all fine",
    }  # fmt: skip
    assert bodies[3]["plumb"] == [{"over_m": pytest.approx(2.4384), "offset_m": pytest.approx(-0.003175)}]
    assert bodies[4]["level"] == [[0.0, 0.0], [pytest.approx(4.8768), pytest.approx(0.0015875)]]
    (line,) = bodies[5]["flatness"]
    assert (line["direction"], line["points"]) == (
        "along",
        [[0.0, 0.0], [pytest.approx(0.3048), pytest.approx(0.0015875)],
         [pytest.approx(0.6096), pytest.approx(-0.00079375)]],
    )  # fmt: skip
    assert bodies[6] == {
        "meter": "pin meter", "scale": "gypsum", "material": "drywall", "dry_reference": 0.4,
        "points": [{"where": "left", "value": 0.5}],
    }  # fmt: skip
    assert bodies[7]["values"] == {"air_temperature": pytest.approx(21.1111, abs=1e-4), "air_humidity": 45.0}
    assert bodies[8] == {"text": "heater on\nsince six"}
    assert (bodies[9]["file"], bodies[9]["entry"]) == ("view.jpg", None)


def test_the_same_file_twice_adds_nothing_and_says_so(den: Home, filled: str):
    file = den.file("FORM.json", filled)
    first = len(den.log()) + 1
    den.done("log", "import", file, "--by", "kim")
    before = den.log()
    numbers = ", ".join(str(number) for number in range(first, first + len(KINDS)))
    assert den.done("log", "import", file).err == (
        f"FORM.json: in the log of den already: entries {numbers}; nothing is added\n"
    )
    assert den.log() == before
    assert {entry["who"] for entry in before[first - 1 :]} == {"kim"}


def test_a_later_file_of_the_same_form_adds_what_is_new(den: Home, filled: str):
    said, first = json.loads(filled), len(den.log()) + 1
    den.done("log", "import", den.file("FORM.json", json.dumps({**said, "items": said["items"][:1]})))
    assert den.done("log", "import", den.file("FORM-2.json", filled)).err.splitlines() == [
        *told(KINDS[1:], first + 1),
        f"FORM-2.json: in the log of den already: entries {first}",
    ]
    assert den.log()[first]["body"]["entry"] == first


def test_a_file_with_faults_is_exit_2_and_adds_nothing(den: Home, filled: str):
    said, before = json.loads(filled), den.log()
    said["items"][0]["body"]["stack_height_m"] = "28"
    said["items"][2]["body"]["surface"] = "velvet"
    result = den("log", "import", den.file("FORM.json", json.dumps(said)))
    assert (result.code, result.err.splitlines()) == (
        2,
        [
            "FORM.json, entry 1 (delivery): stack_height_m: '28' is not a length. "
            'Write it like "3/16 in", "16 ft 4 in" or "4.2 m"',
            "FORM.json, entry 3 (site check): surface: 'velvet' is not known. "
            "Known here: drywall, plaster, wood, masonry, other",
            "FORM.json (photos of 2026-01-05T13:10:00Z): what it belongs to is not entered. Mend that first",
        ],
    )
    assert den.log() == before


def test_a_form_is_written_for_a_screen_or_for_paper(den: Home, tmp_path: Path):
    assert den.done("form", "den", "-o", tmp_path / "den.html").err == (
        f"wrote {tmp_path}/den.html: send it to the phone and open it in a browser there\n"
    )
    assert den.done("form", "den", "--paper", "-o", tmp_path / "sheet.html").err == (
        f"wrote {tmp_path}/sheet.html: print it, and enter it with wallclime log\n"
    )
    titles = [(tmp_path / name).read_text(encoding="utf-8") for name in ("den.html", "sheet.html")]
    assert ["<title>den: form</title>" in titles[0], "<title>den: sheet to fill in</title>" in titles[1]] == [True] * 2


def test_a_form_that_cannot_be_written_is_one_line(den: Home, tmp_path: Path):
    result = den("form", "den", "-o", tmp_path / "nowhere" / "den.html")
    assert (result.code, result.err) == (
        2,
        f"{tmp_path}/nowhere/den.html: it can't be written (No such file or directory). "
        "Choose another place with -o FILE.html\n",
    )
