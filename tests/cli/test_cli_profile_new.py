"""wallclime profile new: a commented profile for other planks, to be edited and used."""

from __future__ import annotations

from homes import OPEN_DEN, Home


def test_a_new_profile_is_the_built_in_one_under_the_name_of_its_file(wallclime: Home, tmp_path):
    path = tmp_path / "oak wide.toml"
    said = wallclime.done("profile", "new", path)
    assert said.err == (
        f"wrote {path}: change what the maker of your planks asks for, and its source\n"
        f"then: wallclime profile check '{path}'\n"
    )
    written, built_in = path.read_text(encoding="utf-8"), wallclime.done("profile", "show", "laminate-planks").out
    assert written.startswith("# Laminate planks on an interior wall")
    assert 'name = "oak wide"\n' in written
    shown = wallclime.done("profile", "show", path).out
    assert shown == built_in.replace('name = "laminate planks, interior wall"', 'name = "oak wide"')
    assert wallclime.done("profile", "check", path).err.startswith("no fault: oak wide (")


def test_a_changed_figure_of_it_is_what_a_job_goes_by(wallclime: Home, tmp_path):
    path = tmp_path / "oak.toml"
    wallclime.done("profile", "new", path)
    text = path.read_text(encoding="utf-8")
    path.write_text(text.replace('face_width = "7 1/2 in"', 'face_width = "6 in"'), encoding="utf-8")
    wallclime.done(*OPEN_DEN, "--profile", path)
    assert wallclime.log()[2]["body"]["rows"] == [16]  # 95 5/8 in / 6 in


def test_a_profile_may_begin_as_another_of_ones_own(wallclime: Home, tmp_path):
    oak = wallclime.file("oak.toml", '# ours\nname = "oak planks"\n[acclimation]\nhours = 72  # as the maker says\n')
    wallclime.done("profile", "new", tmp_path / "ash.toml", "--from", oak)
    assert (tmp_path / "ash.toml").read_text(encoding="utf-8") == (
        '# ours\nname = "ash"\n[acclimation]\nhours = 72  # as the maker says\n'
    )


def test_a_profile_without_a_name_gets_one(wallclime: Home, tmp_path):
    bare = wallclime.file("bare.toml", "[acclimation]\nhours = 72\n")
    wallclime.done("profile", "new", tmp_path / "ash.toml", "--from", bare)
    assert (tmp_path / "ash.toml").read_text(encoding="utf-8") == 'name = "ash"\n[acclimation]\nhours = 72\n'


def test_nothing_is_written_over_and_what_cant_be_written_is_named(wallclime: Home, tmp_path):
    there = wallclime.file("oak.toml", "mine\n")
    missing = tmp_path / "none" / "oak.toml"
    bad = wallclime.file("bad.toml", 'boxes = ""\n')
    for args, said in (
        ((there,), f"{there}: it is there already. Edit that file, or choose another name"),
        ((tmp_path / "oak",), f"{tmp_path / 'oak'}: a profile's file ends in .toml. Choose such a name"),
        ((missing,), f"{missing}: it can't be written (No such file or directory). Check the path and its rights"),
        (
            (tmp_path / "ash.toml", "--from", "oak"),
            "oak: there is no such profile. Give the path of a .toml file or a built-in name. "
            "Known here: laminate-planks",
        ),
        ((tmp_path / "ash.toml", "--from", bad), f"{bad}: boxes: '' is not a text. Write a sentence in quotes"),
    ):
        result = wallclime("profile", "new", *args)
        assert (result.code, result.out, result.err) == (2, "", said + "\n")
    assert there.read_text(encoding="utf-8") == "mine\n"
    assert not (tmp_path / "ash.toml").exists()
