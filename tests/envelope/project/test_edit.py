"""Edits keep every byte that they do not concern."""

import os
import stat
import tomllib
from difflib import ndiff
from pathlib import Path

import pytest

from envelope.project import edit as editing
from envelope.project import load_text
from envelope.project.edit import ChangedOnDiskError, EditError

BASE = (Path(__file__).parent / "data" / "bedroom.toml").read_text(encoding="utf-8")
COMMENTED = BASE.replace('id = "walls"', 'id  =  "walls"   # the first plan').replace(
    'treat = [{ on = "bedroom/walls", with = "coating" }]',
    "treat = [  # what is done\n"
    "    # walls first\n"
    '    { on = "bedroom/walls", with = "coating" },   # two days of work\n'
    '    { on = "bedroom/floor", with = "coating" },\n'
    "]\n# the end",
)


def differences(before: str, after: str) -> list[str]:
    lines = ndiff(before.splitlines(), after.splitlines())
    return [line for line in lines if line[:1] in "+-"]


def test_an_entry_is_changed_where_it_stands() -> None:
    text = editing.set_treatment(
        text=COMMENTED, plan="walls", panel="bedroom/floor", treatments=["coating", "coating"]
    )
    assert differences(COMMENTED, text) == [
        '-     { on = "bedroom/floor", with = "coating" },',
        '+     { on = "bedroom/floor", with = ["coating", "coating"] },',
    ]


def test_a_new_entry_goes_to_the_end() -> None:
    text = editing.set_treatment(
        text=COMMENTED, plan="walls", panel="bedroom/2", treatments=["coating"]
    )
    assert differences(COMMENTED, text) == ['+     { on = "bedroom/2", with = "coating" },']
    found = load_text(text, path="house.toml").plan("walls").treatments
    assert found["bedroom/2"] == ("coating",)


def test_no_treatment_leaves_a_panel_of_a_group_bare() -> None:
    text = editing.set_treatment(text=BASE, plan="walls", panel="bedroom/2", treatments=[])
    assert differences(BASE, text) == [
        '- treat = [{ on = "bedroom/walls", with = "coating" }]',
        '+ treat = [{ on = "bedroom/walls", with = "coating" }, { on = "bedroom/2", with = [] }]',
    ]
    found = load_text(text, path="house.toml").plan("walls").treatments
    assert set(found) == {"bedroom/1", "bedroom/3", "bedroom/4"}


@pytest.mark.parametrize("later", ["bedroom/walls", "*/walls", "bedroom/[1-3]", "bedroom/east"])
def test_an_entry_that_a_later_one_would_undo_is_not_changed_in_place(later: str) -> None:
    before = BASE.replace(
        'treat = [{ on = "bedroom/walls", with = "coating" }]',
        'treat = [{ on = "bedroom/2", with = [] }, '
        f'{{ on = "{later}", with = ["coating", "coating"] }}]',
    )
    text = editing.set_treatment(
        text=before, plan="walls", panel="bedroom/2", treatments=["coating"]
    )
    found = load_text(text, path="house.toml").plan("walls").treatments
    assert found["bedroom/2"] == ("coating",)


def test_a_plan_without_entries_and_one_of_tables() -> None:
    text = editing.add_plan(text=BASE, plan="more", extends="walls", title='With "film"')
    assert text.startswith(BASE)
    text = editing.set_treatment(text=text, plan="more", panel="bedroom/W1", treatments=["coating"])
    text = editing.set_treatment(
        text=text, plan="more", panel="bedroom/floor", treatments=["coating"]
    )
    assert text.removeprefix(BASE) == (
        '\n[[plan]]\nid = "more"\ntitle = "With \\"film\\""\nextends = "walls"\ntreat = [\n'
        '    { on = "bedroom/W1", with = "coating" },\n'
        '    { on = "bedroom/floor", with = "coating" },\n]\n'
    )
    found = load_text(text, path="house.toml").plan("more")
    assert found.title == 'With "film"'
    assert len(found.treatments) == 6
    tables = BASE + (
        '\n[[plan]]\nid = "t"\n[[plan.treat]]\non = "bedroom/1"  # south\nwith = "coating"\n'
    )
    text = editing.set_treatment(text=tables, plan="t", panel="bedroom/2", treatments=["coating"])
    assert "# south" in text
    assert list(load_text(text, path="house.toml").plan("t").treatments) == [
        "bedroom/1",
        "bedroom/2",
    ]


def test_windows_line_ends_stay() -> None:
    before = COMMENTED.replace("\n", "\r\n")
    text = editing.add_plan(text=before, plan="more")
    text = editing.move_receiver(text=text, receiver="pillow", at_m=(1.0, 1.0, 0.5))
    assert text.count("\n") == text.count("\r\n")


def test_twenty_changes_undone_are_byte_for_byte_the_same() -> None:
    texts = [COMMENTED]
    for number in range(20):
        panel = f"bedroom/{('1', '2', '3', '4', 'floor', 'ceiling', 'W1')[number % 7]}"
        treatments = ["coating"] * (number % 3)
        texts.append(
            editing.set_treatment(text=texts[-1], plan="walls", panel=panel, treatments=treatments)
        )
        load_text(texts[-1], path="house.toml")
    again = COMMENTED
    for number in range(20):
        panel = f"bedroom/{('1', '2', '3', '4', 'floor', 'ceiling', 'W1')[number % 7]}"
        again = editing.set_treatment(
            text=again, plan="walls", panel=panel, treatments=["coating"] * (number % 3)
        )
        assert again == texts[number + 1]
    for mark in ("# the first plan", "# what is done", "# walls first", "# two days of work"):
        assert mark in again


def test_moving_a_receiver() -> None:
    text = editing.move_receiver(text=BASE, receiver="pillow", at_m=(0.61234, 2.0, 0.7))
    assert differences(BASE, text) == [
        '- at = "0.6, 1.2, 0.7 m"',
        '+ at = "0.6123, 2, 0.7 m"',
    ]


@pytest.mark.parametrize(
    ("edit", "says"),
    [
        (
            lambda: editing.set_treatment(
                text=BASE, plan="as-built", panel="bedroom/1", treatments=[]
            ),
            '"as-built" has no treatment: choose or add another plan',
        ),
        (
            lambda: editing.set_treatment(text=BASE, plan="wals", panel="bedroom/1", treatments=[]),
            'there is no plan "wals" in the file',
        ),
        (
            lambda: editing.add_plan(text=BASE, plan="walls"),
            'there is a plan "walls" already: give the new one another id',
        ),
        (
            lambda: editing.add_plan(text="plan = [{ id = 'a' }]\n", plan="b"),
            "this file is written in a way that cannot be edited here: edit its text",
        ),
        (
            lambda: editing.move_receiver(text="not toml", receiver="a", at_m=(0.0, 0.0, 0.0)),
            "the file is not TOML that can be read: mend it first",
        ),
        (
            lambda: editing.move_receiver(
                text=BASE.replace("0.6, 1.2, 0.7 m", "0.6"), receiver="pillow", at_m=(0.0, 0.0, 0.0)
            ),
            'receiver "pillow" has faults: mend them first',
        ),
    ],
)
def test_edits_that_are_refused(edit: object, says: str) -> None:
    assert callable(edit)
    with pytest.raises(EditError) as caught:
        edit()
    assert str(caught.value) == says


def test_saving(tmp_path: Path) -> None:
    path = tmp_path / "job.toml"
    path.write_bytes(b"\xef\xbb\xbf" + COMMENTED.replace("\n", "\r\n").encode())
    path.chmod(0o640)
    link = tmp_path / "link.toml"
    link.symlink_to(path)
    opened = editing.open_text(link)
    text = editing.move_receiver(text=opened.text, receiver="pillow", at_m=(1.0, 1.0, 0.5))
    again = editing.save(opened=opened, text=text)
    assert path.read_bytes() == b"\xef\xbb\xbf" + text.encode()
    assert stat.S_IMODE(path.stat().st_mode) == 0o640
    assert link.is_symlink()
    assert sorted(os.listdir(tmp_path)) == ["job.toml", "link.toml"]
    editing.save(opened=again, text=opened.text)
    assert tomllib.loads(path.read_bytes().decode("utf-8-sig"))["receiver"][0]["at"] == (
        "0.6, 1.2, 0.7 m"
    )


def test_a_file_that_changed_or_vanished_is_not_overwritten(tmp_path: Path) -> None:
    path = tmp_path / "job.toml"
    path.write_text(BASE, encoding="utf-8")
    opened = editing.open_text(path)
    path.write_text(BASE + "# changed\n", encoding="utf-8")
    with pytest.raises(ChangedOnDiskError, match="has changed on disk since it was read"):
        editing.save(opened=opened, text=COMMENTED)
    assert path.read_text(encoding="utf-8") == BASE + "# changed\n"
    path.unlink()
    with pytest.raises(ChangedOnDiskError, match="has been deleted or renamed"):
        editing.save(opened=opened, text=COMMENTED)
    assert not path.exists()
    editing.save(opened=opened, text=COMMENTED, overwrite=True)
    assert path.read_text(encoding="utf-8") == COMMENTED


def test_a_folder_that_is_gone(tmp_path: Path) -> None:
    folder = tmp_path / "jobs"
    folder.mkdir()
    path = folder / "job.toml"
    path.write_text(BASE, encoding="utf-8")
    opened = editing.open_text(path)
    path.unlink()
    folder.rmdir()
    with pytest.raises(EditError, match="cannot be written: no such file or directory"):
        editing.save(opened=opened, text=BASE, overwrite=True)
