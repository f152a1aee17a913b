"""What isn't ours on the user's disk stays, byte for byte, whatever the program does beside it.

Names that come from a file (a manifest, a zip, a row) never lead out of the folder they are for.
"""

import json
import os
import shutil
import sqlite3
from contextlib import closing
from datetime import timedelta
from pathlib import Path

import pytest

from app.core.shop.backups import Rotation
from app.store.book import backup as backups
from app.store.book.backup import (
    BackupFailed,
    check_backup,
    list_backups,
    make_backup,
    read_backup,
)
from app.store.book.backup_places import PLACE_NAME, Unusable, own_place, prepare_folder
from app.store.book.opening import clear_left_over, open_sessions
from app.store.book.restoring import find_backup, restore_backup
from app.store.book.upkeep import Upkeep, read_upkeep
from app.store.files import hash_file
from app.store.postgresql.addresses import find_address
from app.store.problems import BookProblem
from tests.books import FIRST, PHOTO, THIRD, content_of
from tests.conftest import NOON
from tests.store.book.test_importing import put, rewritten
from tests.store.book.test_opening import bytes_of
from tests.store.exports import bring, hash_book
from tests.store.scripts import MIGRATIONS

# A stick as people have them: also with names that look like ours.
OWN_FILES = (
    "photos/01/IMG_0001.jpg", "photos/12/IMG_0002.jpg", "photos/ab/" + "ab" * 32, "notes.txt",
    "photos/1f/" + "1f" * 32, "000001-2026-11-25-1200-daily/book.sqlite3", "making/thesis.odt",
    "000002-2026-11-25-1300-daily/unfinished.json", ".partial-000001/thesis.odt",
    ".partial-going-000002/accounts.ods", "backups/photos/01/IMG.jpg", "manifest.json",
    "2024/manifest.json", "000003-2026-11-25-1300-daily/manifest.json", ".exporting-mine/a.zip",
    ".restoring.sqlite3.odt", ".importing.sqlite3-old", ".moving.sqlite3 (1)", "in-use.json.txt",
    "set-aside/2026-11-25-120000/photos/IMG.jpg", "photos/IMG_0003.jpg", "photos/scan.jpg",
)  # fmt: skip


@pytest.fixture
def upkeep(worked_book):
    return read_upkeep(worked_book, NOON)


def lay(folder: Path, names=OWN_FILES) -> dict[str, bytes]:
    """Lay somebody's own files into a folder; gives them by name."""
    for name in names:
        place = folder / name
        place.parent.mkdir(parents=True, exist_ok=True)
        place.write_bytes(f"my own: {name}".encode())
    return {name: (folder / name).read_bytes() for name in names}


def still_there(folder: Path, own: dict[str, bytes]) -> bool:
    return {name: (folder / name).read_bytes() for name in own} == own


def few(upkeep: Upkeep, folder: Path | None) -> Upkeep:
    return Upkeep(upkeep.book_id, upkeep.started_at, folder, Rotation(1, 0, 0))


def test_a_stick_full_of_somebodys_own_files_is_the_same_after_all_that_backups_do(
    worked_book, upkeep, tmp_path, monkeypatch
):
    stick = tmp_path / "stick"
    own = lay(stick)
    prepare_folder(stick, worked_book, upkeep)
    chosen = few(upkeep, stick)
    for day in range(50):
        if day == 20:  # from then on nobody holds this one: it leaves the pool with its backups
            (worked_book / "photos" / FIRST).unlink()
        make_backup(worked_book, chosen, "daily", NOON + timedelta(days=day))
    made = list_backups(worked_book, chosen)
    assert [one.number for one in made] == [50, 49, 48, 47, 46]
    pooled = [one.name for one in (stick / PLACE_NAME / "photos").glob("??/*")]
    assert len(pooled) == 1
    restore_backup(worked_book, made[2], MIGRATIONS, NOON)
    monkeypatch.setattr(backups, "write_json", lambda *_: os.stat("/no/such/file"))
    with pytest.raises(BackupFailed):
        make_backup(worked_book, chosen, "daily", NOON + timedelta(days=51))
    monkeypatch.undo()
    make_backup(worked_book, chosen, "daily", NOON + timedelta(days=52))
    assert all(check_backup(one) == [] for one in list_backups(worked_book, chosen))
    there = bytes_of(stick)
    assert {name: data for name, data in there.items() if not name.startswith(PLACE_NAME)} == own


def test_a_book_laid_into_a_folder_of_own_files_leaves_them_alone(worked_book, upkeep):
    own = lay(worked_book)
    chosen = few(upkeep, None)
    for day in range(8):
        make_backup(worked_book, chosen, "daily", NOON + timedelta(days=day))
    restore_backup(worked_book, list_backups(worked_book, chosen)[-1], MIGRATIONS, NOON)
    clear_left_over(worked_book)
    assert still_there(worked_book, own)


def test_own_files_inside_our_own_place_stay_too(worked_book, upkeep):
    chosen = few(upkeep, None)
    make_backup(worked_book, chosen, "daily", NOON)
    names = ("photos/01/IMG.jpg", "000001-2026-11-25-1200-daily/letter.odt", "photos/notes.txt")
    made = list_backups(worked_book, chosen)[0].folder
    own = lay(own_place(worked_book), (*names, f"{made.name}/letter.odt"))
    for day in range(1, 8):
        make_backup(worked_book, chosen, "daily", NOON + timedelta(days=day))
    assert not (made / "manifest.json").exists()
    assert still_there(own_place(worked_book), own)


def test_another_books_backups_in_one_place_are_never_let_go_of(worked_book, upkeep):
    """Such as after the settings were lost, and with them which book this is."""
    first = make_backup(worked_book, upkeep, "daily", NOON)
    (worked_book / "photos" / FIRST).unlink()
    stranger = Upkeep("another", NOON, None, Rotation(1, 0, 0))
    for day in range(1, 9):
        make_backup(worked_book, stranger, "daily", NOON + timedelta(days=day))
    assert [one.number for one in list_backups(worked_book, stranger)] == [9, 8, 7, 6, 5, 1]
    assert check_backup(first) == []


# --- as earlier programs laid it out


def lay_out_earlier(place: Path, upkeep: Upkeep, book: Path, marked: bool) -> None:
    """Make three backups as they lay in the chosen folder itself, without a book's name."""
    aside = few(upkeep, None)
    for day in range(3):
        photo = book / "photos" / (THIRD if day else FIRST)
        photo.write_bytes(PHOTO if photo.name == FIRST else b"third")
        made = make_backup(book, aside, "daily", NOON + timedelta(days=day))
        told = json.loads((made.folder / "manifest.json").read_text())
        del told["book_id"]
        (made.folder / "manifest.json").write_text(json.dumps(told))
        if not day:
            photo.unlink()
    place.mkdir(exist_ok=True)
    for one in own_place(book).iterdir():
        if one.is_dir():
            shutil.move(one, place / one.name)
    shutil.rmtree(own_place(book))
    if marked:
        (place / "laybook-backups.json").write_text(json.dumps({"book_id": upkeep.book_id}))


@pytest.mark.parametrize("where", ["in the book", "on a stick"])
def test_backups_of_an_earlier_program_are_listed_restored_and_let_go_of_by_their_lists(
    worked_book, upkeep, tmp_path, where
):
    stick = tmp_path / "stick" if where == "on a stick" else None
    place = stick or worked_book / "backups"
    place.mkdir()
    lay_out_earlier(place, upkeep, worked_book, marked=stick is not None)
    own = lay(place, ("photos/01/IMG.jpg", "photos/ab/" + "ab" * 32, "notes.txt"))
    chosen = few(upkeep, stick)
    earlier = list_backups(worked_book, chosen)
    assert [one.number for one in earlier] == [3, 2, 1]
    assert all(check_backup(one) == [] for one in earlier)
    restore_backup(worked_book, earlier[-1], MIGRATIONS, NOON)
    assert (worked_book / "photos" / FIRST).read_bytes() == PHOTO
    (worked_book / "photos" / FIRST).unlink()
    for day in range(4, 10):
        make_backup(worked_book, chosen, "daily", NOON + timedelta(days=day))
    regular = [one for one in list_backups(worked_book, chosen) if one.reason == "daily"]
    assert {one.folder.parent for one in regular} == {(stick or worked_book) / PLACE_NAME}
    assert bytes_of(place).keys() - own.keys() == {
        name for name in bytes_of(place) if name.startswith(("laybook-backups", ".making"))
    }
    assert still_there(place, own)


def test_backups_of_an_earlier_program_on_a_stick_of_nobodys_are_left_alone(
    worked_book, upkeep, tmp_path
):
    stick = tmp_path / "stick"
    lay_out_earlier(stick, upkeep, worked_book, marked=False)
    before = bytes_of(stick)
    prepare_folder(stick, worked_book, upkeep)
    for day in range(4, 12):
        make_backup(worked_book, few(upkeep, stick), "daily", NOON + timedelta(days=day))
    after = bytes_of(stick)
    assert {name: after[name] for name in before} == before


# --- where backups can't go


def test_folders_in_which_backups_would_be_lost_are_refused_in_words(
    worked_book, upkeep, tmp_path, monkeypatch
):
    before = bytes_of(tmp_path)
    (tmp_path / "short way").symlink_to(worked_book)
    for chosen in (worked_book, worked_book / "photos", tmp_path / "short way" / "sub"):
        with pytest.raises(Unusable, match="lies in the book's own"):
            prepare_folder(chosen, worked_book, upkeep)
    with pytest.raises(Unusable, match="is a whole disk"):
        prepare_folder(Path(worked_book.anchor), worked_book, upkeep)
    with pytest.raises(Unusable, match="it is made there"):
        prepare_folder(tmp_path / PLACE_NAME, worked_book, upkeep)
    monkeypatch.setattr("tempfile.gettempdir", lambda: str(tmp_path / "emptied"))
    monkeypatch.setitem(prepare_folder.__globals__, "_TEMPORARY", ())
    for chosen in (tmp_path / "emptied", tmp_path / "emptied" / "stick"):
        with pytest.raises(Unusable, match=r"empties .* by itself"):
            prepare_folder(chosen, worked_book, upkeep)
    assert bytes_of(tmp_path) == before


def test_a_folder_of_our_name_that_is_somebody_elses_is_refused_and_left_alone(
    worked_book, upkeep, tmp_path
):
    own = lay(tmp_path / "stick", (f"{PLACE_NAME}/letter.odt",))
    with pytest.raises(Unusable, match="holds other files"):
        prepare_folder(tmp_path / "stick", worked_book, upkeep)
    assert bytes_of(tmp_path / "stick") == own
    (worked_book / PLACE_NAME).mkdir()
    (worked_book / PLACE_NAME / "letter.odt").write_bytes(b"mine")
    with pytest.raises(BackupFailed, match="holds other files"):
        make_backup(worked_book, upkeep, "before_restore", NOON)


def test_what_was_let_go_of_only_in_part_is_cleared_away_later(worked_book, upkeep, monkeypatch):
    chosen = few(upkeep, None)
    first = make_backup(worked_book, chosen, "daily", NOON)
    (worked_book / "photos" / FIRST).unlink()
    for day in range(1, 5):
        make_backup(worked_book, chosen, "daily", NOON + timedelta(days=day))
    cleared, clear = [], backups._clear

    def die(folder):
        if folder == first.folder:
            cleared.append(folder)
            raise KeyboardInterrupt
        clear(folder)

    monkeypatch.setattr(backups, "_clear", die)
    with pytest.raises(KeyboardInterrupt):
        make_backup(worked_book, chosen, "daily", NOON + timedelta(days=5))
    monkeypatch.undo()
    assert cleared == [first.folder]
    assert read_backup(first.folder) is None
    make_backup(worked_book, chosen, "daily", NOON + timedelta(days=6))
    assert not first.folder.exists()
    assert not list((own_place(worked_book) / "photos").glob(f"??/{first.photos[FIRST].sha256}"))


# --- forged


def forge(made, change) -> None:
    """Change a backup's list, and put its hash of the database right."""
    told = json.loads((made.folder / "manifest.json").read_text())
    change(told)
    told["database"]["sha256"] = hash_file(made.database)
    (made.folder / "manifest.json").write_text(json.dumps(told))


@pytest.mark.parametrize("name", ["../../outside.txt", "/outside.txt", "a/../../x", "..\\x"])
def test_a_forged_backup_writes_nothing_outside_the_book(worked_book, upkeep, tmp_path, name):
    outside = tmp_path / "outside.txt"
    outside.write_bytes(b"my own")
    made = make_backup(worked_book, upkeep, "daily", NOON)
    forge(made, lambda told: told["photos"].update({name: told["photos"][FIRST]}))
    before = bytes_of(tmp_path)
    with pytest.raises(BookProblem, match="leads out of the book"):
        restore_backup(worked_book, read_backup(made.folder), MIGRATIONS, NOON)
    assert bytes_of(tmp_path) == before


@pytest.mark.parametrize("sha256", ["../" * 8 + "etc/hostname", "/etc/hostname", "AB" * 32, "ab"])
def test_a_backup_whose_list_names_a_hash_that_is_none_is_no_backup(worked_book, upkeep, sha256):
    made = make_backup(worked_book, upkeep, "daily", NOON)
    forge(made, lambda told: told["photos"][FIRST].update(sha256=sha256))
    with pytest.raises(BookProblem, match="There is no backup"):
        find_backup(worked_book, upkeep, str(made.folder))


def test_a_forged_pool_that_is_a_link_is_not_followed_in_or_out(worked_book, upkeep, tmp_path):
    chosen = few(upkeep, None)
    made = make_backup(worked_book, chosen, "daily", NOON)
    sha256 = made.photos[FIRST].sha256
    drawer = own_place(worked_book) / "photos" / sha256[:2]
    (tmp_path / "own").mkdir()
    shutil.move(drawer / sha256, tmp_path / "own" / sha256)
    drawer.rmdir()
    drawer.symlink_to(tmp_path / "own")
    with pytest.raises(BookProblem, match="leads out"):
        restore_backup(worked_book, made, MIGRATIONS, NOON)
    (worked_book / "photos" / FIRST).unlink()
    for day in range(1, 7):
        with suppress_failed():
            make_backup(worked_book, chosen, "daily", NOON + timedelta(days=day))
    assert (tmp_path / "own" / sha256).read_bytes() == PHOTO


def suppress_failed():
    from contextlib import suppress

    return suppress(BackupFailed)


@pytest.mark.sqlite_file
@pytest.mark.parametrize("name", ["../book", "/etc/hostname", "x", "../" * 6 + "etc/hostname"])
def test_a_backup_whose_rows_name_a_photograph_elsewhere_is_refused(worked_book, upkeep, name):
    made = make_backup(worked_book, upkeep, "daily", NOON)
    with closing(sqlite3.connect(made.database)) as forged:
        forged.execute(
            "INSERT INTO photo (piece_id, moment, view, caption, on_card, name, width_px, "
            "height_px, created_at, version) VALUES (1, 'received', 'whole', '', 0, ?, 1, 1, "
            "'2026-11-25 12:00:00.000000', 1)",
            (name,),
        )
        forged.commit()
    forge(made, lambda _: None)
    before = bytes_of(worked_book)
    with pytest.raises(BookProblem, match="no photograph's name"):
        restore_backup(worked_book, read_backup(made.folder), MIGRATIONS, NOON)
    assert bytes_of(worked_book) == before


def test_a_restore_never_overwrites_what_stands_in_a_photographs_place(worked_book, upkeep):
    """Two restores at one moment, and something else each time where a photograph was."""
    made = make_backup(worked_book, upkeep, "daily", NOON)
    place = worked_book / "photos" / FIRST
    for content in (b"mine, first", b"mine, second"):
        place.write_bytes(content)
        restore_backup(worked_book, made, MIGRATIONS, NOON)
        assert place.read_bytes() == PHOTO
    aside = {one.read_bytes() for one in worked_book.glob(f"set-aside/*/photos/{FIRST}")}
    assert aside == {b"mine, first", b"mine, second"}


def test_a_restore_does_not_write_through_a_link(worked_book, upkeep, tmp_path):
    made = make_backup(worked_book, upkeep, "daily", NOON)
    place, outside = worked_book / "photos" / FIRST, tmp_path / "own.txt"
    outside.write_bytes(b"my own")
    place.unlink()
    place.symlink_to(outside)
    restore_backup(worked_book, made, MIGRATIONS, NOON)
    assert (place.read_bytes(), place.is_symlink()) == (PHOTO, False)
    assert outside.read_bytes() == b"my own"


@pytest.mark.sqlite_file
def test_files_that_were_never_photographs_stay_in_an_export(
    filled_book, filled_zip, empty, tmp_path
):
    """An earlier program packed whatever lay in the photographs' folder."""
    more = "photos/holiday.jpg"

    def change(files, manifest):
        put(more, b"not ours")(files, manifest)
        from app.store.book.contents import hash_marks

        photos = {n[7:]: m["sha256"] for n, m in manifest["files"].items() if n[:7] == "photos/"}
        manifest["content"]["photos"] = hash_marks(sorted(photos.items()))

    bring(empty, rewritten(filled_zip, tmp_path / "more.zip", change))
    assert hash_book(empty) == hash_book(filled_book)
    assert not (empty / more).exists()


def test_an_import_refuses_a_place_that_a_link_leads_out(filled_zip, empty, tmp_path):
    if find_address(empty):
        pytest.skip("a server's book is empty in another way")
    (empty / "photos").mkdir()
    (tmp_path / "own").write_bytes(b"my own")
    (empty / "photos" / FIRST).symlink_to(tmp_path / "own")
    content = content_of(empty / "book.sqlite3")
    with pytest.raises(BookProblem, match="leads out"):
        bring(empty, filled_zip)
    assert (tmp_path / "own").read_bytes() == b"my own"
    assert content_of(empty / "book.sqlite3") == content


@pytest.mark.sqlite_file
def test_nobody_else_on_the_machine_may_read_a_book_or_its_backups(worked_book, upkeep, tmp_path):
    (worked_book / "book.sqlite3").chmod(0o644)  # as earlier programs left it
    chosen = few(upkeep, tmp_path / "stick")
    prepare_folder(tmp_path / "stick", worked_book, upkeep)
    open_sessions(worked_book, MIGRATIONS, NOON).close()
    made = make_backup(worked_book, chosen, "daily", NOON)
    (worked_book / "photos" / FIRST).write_bytes(b"differs")
    restore_backup(worked_book, made, MIGRATIONS, NOON)
    ours = [tmp_path / "stick", worked_book / "set-aside", own_place(worked_book)]
    for one in [*ours, worked_book / "book.sqlite3", *(p for o in ours for p in o.rglob("*"))]:
        if not one.is_symlink() and one.name != FIRST:
            assert one.stat().st_mode & 0o777 == (0o700 if one.is_dir() else 0o600), one
