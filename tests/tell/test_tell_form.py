"""The form and the paper sheet: what they ask, that nothing is fetched and nothing foreign runs, how they fit."""

from __future__ import annotations

import base64
import hashlib
import json
import re

import pytest
from phone import hold

from monitor.rules.cautions import CAUTIONS, Caution
from monitor.tell.asked import PHOTO, SECTIONS, Field, unit
from monitor.tell.pages.form import FormView, render_form
from monitor.tell.pages.sheet import render_sheet

T = 1_767_571_200_000  # 2026-01-05T00:00Z [ms]
DEN = FormView("north wall of the den", "America/New_York", "us", T, T + 60_000, "the den", 4.8768, 2.4384, 0.3048)
NASTY = "</script><script>document.title='taken'</script><b>&amp;\u202e"


def view(**other: object) -> FormView:
    return DEN._replace(**other)


def policy(page: str) -> dict[str, str]:
    (content,) = re.findall(r'http-equiv="Content-Security-Policy" content="([^"]*)"', page)
    return dict(part.strip().split(" ", 1) for part in content.replace("&#39;", "'").split(";"))


def inside(page: str, tag: str) -> list[str]:
    return re.findall(rf"<{tag}>(.*?)</{tag}>", page, re.DOTALL)


def sha256(text: str) -> str:
    return f"'sha256-{base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()}'"


def about(page: str) -> dict[str, object]:
    return json.loads(re.search(r'id="about">(.*?)</script>', page, re.DOTALL)[1])


def fields(within: tuple[Field, ...]) -> list[Field]:
    return [one for field in within for one in (field, *field.parts)]


@pytest.mark.parametrize("render", [render_form, render_sheet])
def test_a_page_names_its_own_program_and_style_by_their_hash_and_fetches_nothing(render):
    page = render(DEN)
    (style,) = inside(page, "style")
    assert policy(page) == {
        "default-src": "'none'",
        "script-src": " ".join(map(sha256, inside(page, "script"))) or "'none'",
        "style-src": sha256(style),
        "img-src": "data: blob:",
        "base-uri": "'none'",
        "form-action": "'none'",
    }
    assert re.findall(r"(?:src|href|action)\s*=|url\(|@import|https?:", page.replace("-src ", " ")) == (
        ["href =", "src ="] if render is render_form else []  # of the file that is saved, of a photo that was picked
    )


@pytest.mark.parametrize("render", [render_form, render_sheet])
def test_the_same_values_make_the_same_bytes(render):
    assert render(DEN) == render(view())


@pytest.mark.parametrize("render", [render_form, render_sheet])
def test_a_name_cannot_get_out_of_its_place(render):
    page = render(view(job=NASTY, boxes_place=NASTY))
    assert "<b>" not in page
    assert "taken'</script>" not in page
    assert "\u202e" not in page


def test_the_form_carries_what_its_file_must_say_of_the_job():
    assert about(render_form(view(job=NASTY))) == {
        "wallclime_form": 1, "job": NASTY, "zone": "America/New_York", "units": "us",
        "opened": "2026-01-05T00:00:00Z", "made": "2026-01-05T00:01:00Z",
    }  # fmt: skip


@pytest.mark.parametrize("render", [render_form, render_sheet])
def test_a_page_cautions_of_power_and_of_local_code(render):
    page = render(DEN).replace("&#39;", "'")
    assert page.count(CAUTIONS[Caution.LOCAL_CODE].text) == 1
    assert page.count(CAUTIONS[Caution.POWER].text) == 1


@pytest.mark.parametrize("section", SECTIONS, ids=lambda section: section.name)
def test_the_form_asks_everything_of_a_section_and_cautions_where_it_can_hurt(section):
    page = render_form(DEN)
    (part,) = re.findall(rf'<section data-section="{section.name}".*?</section>', page, re.DOTALL)
    assert f'data-kind="{section.kind.value}" data-inside="{section.inside}"' in part
    assert re.findall(r'data-key="(\w+)"', part) == [field.key for field in fields(section.fields)]
    text = part.replace("&#39;", "'")
    assert [key for key in section.cautions if CAUTIONS[key].text not in text] == []


def test_the_form_has_photos_with_each_entry_and_alone():
    assert render_form(DEN).count('type="file"') == len(SECTIONS) + 1
    assert [field.key for field in PHOTO.fields] == ["shows"]


@pytest.mark.parametrize(("units", "said"), [("us", ["in", "degF", "%", ""]), ("si", ["mm", "degC", "%", ""])])
def test_a_bare_number_is_in_the_units_of_the_job(units, said):
    assert [unit(ask, units) for ask in ("length", "temperature", "percent", "number")] == said


def test_the_sheet_asks_the_same_with_lines_to_write_on_and_to_sign():
    page = render_sheet(DEN)
    for section in SECTIONS:
        assert page.count(f"<h2>{section.title}</h2>") == section.times
        assert [
            f.label for f in fields(section.fields) if f.label.replace("{boxes_place}", "the den") not in page
        ] == []
    assert page.count("signature") == 2
    assert "where they lie, if not in the den" in page
    assert "at most 1 ft apart" in page
    assert page.count("<td>") == sum(
        2 * len(field.parts) * ((field.lines + 1) // 2) * section.times
        for section in SECTIONS
        for field in section.fields
        if field.ask in ("rows", "pairs")
    )


def test_every_class_of_the_sheet_has_a_rule_in_its_own_style():
    page = render_sheet(DEN)
    (style,) = inside(page, "style")
    used = {name for names in re.findall(r'class="([^"]*)"', page) for name in names.split()}
    assert {"line", "tick", "sign"} <= used
    assert used - set(re.findall(r"\.([a-z]+)\b(?=[^{}]*\{)", style)) == set()


def test_the_sheet_has_lines_to_write_on_and_boxes_to_tick():
    (style,) = inside(render_sheet(DEN), "style")
    for name in ("line", "tick", "th, td"):
        rule = re.search(rf"^\.?{name} {{(.*)}}$", style, re.MULTILINE)[1]
        assert re.search(r"border(-bottom)?: [.\d]+pt solid", rule), name


# --- in a browser


def test_the_form_fits_a_phone_and_lets_no_program_run_but_its_own(tmp_path):
    page = render_form(DEN).replace("</main>", '</main><script>document.title="taken"</script>')
    said, console = hold(
        tmp_path,
        page,
        'all(".add, .more").forEach((button) => button.click());'
        "const picked = new view.DataTransfer();"
        'picked.items.add(new view.File(["x"], "a-name-without-an-end".repeat(5), { type: "image/jpeg" }));'
        'find("#alone input").files = picked.files;'
        'find("#alone input").dispatchEvent(new view.Event("change", { bubbles: true })); await wait();'
        "const { clientWidth, scrollWidth } = page.documentElement;"
        'return [clientWidth, scrollWidth, page.title, all("article, li").length];',
        width=360,
    )
    assert said == f"360,360,{DEN.job}: form,{len(SECTIONS) + 1}"
    assert len(console) == 1
    assert "Content Security Policy" in console[0]


def test_a_form_is_saved_only_with_a_name_and_something_in_it(tmp_path):
    said, console = hold(
        tmp_path,
        render_form(DEN),
        """const told = [];
        const press = () => { find("#copy").click(); told.push(find("#said").textContent); };
        press();
        type(find("#who input"), "Robin");
        press();
        find('[data-section="note"] .add').click();
        press();
        type(find('[data-section="note"] textarea'), "heater on");
        told.push(find("#count").textContent);
        type(find('[data-section="note"] .at'), "");
        press();
        type(find('[data-section="note"] .at'), "2026-01-05T08:00");
        press();
        await wait();
        told.push(find("#said").textContent.slice(0, 4), JSON.parse(find("#whole").value).items[0].at);
        return told.join("|");""",
    )
    assert said.split("|") == [
        "Say who you are first.",
        "Nothing is filled in yet.",
        "Nothing is filled in yet.",
        "1 entry, not saved",
        "A time is missing.",
        "A time is missing.",
        "Copy",
        "2026-01-05T13:00:00Z",
    ]
    assert console == []
