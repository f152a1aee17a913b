"""A backup is the whole book at one moment, read back, and never at the cost of an older one."""

import json
import os
import sqlite3
from contextlib import closing
from datetime import timedelta

import pytest

from app.core.shop.backups import Rotation
from app.store.book import backup as backups
from app.store.book.backup import (
    BackupFailed,
    check_backup,
    last_good_backup,
    list_backups,
    make_backup,
)
from app.store.book.backup_places import Unusable, own_place, prepare_folder
from app.store.book.upkeep import read_upkeep
from tests.books import FIRST, SECOND, THIRD, content_of
from tests.conftest import NOON


@pytest.fixture
def upkeep(worked_book):
    return read_upkeep(worked_book, NOON)


@pytest.mark.sqlite_file
def test_a_backup_holds_every_row_and_every_photo(worked_book, upkeep):
    made = make_backup(worked_book, upkeep, "by_hand", NOON)
    assert content_of(made.database) == content_of(worked_book / "book.sqlite3")
    assert sorted(made.photos) == sorted([FIRST, SECOND])
    assert check_backup(made) == []
    assert made.rows["job"] == 2
    assert not list(made.folder.glob("*-wal"))


@pytest.mark.sqlite_file
def test_a_backup_holds_what_still_stands_only_in_the_log(worked_book, upkeep):
    with closing(sqlite3.connect(worked_book / "book.sqlite3")) as held:
        held.execute("PRAGMA wal_autocheckpoint=0")
        held.execute("UPDATE customer SET notes = 'only in the log'")
        held.commit()
        made = make_backup(worked_book, upkeep, "by_hand", NOON)
    with closing(sqlite3.connect(made.database)) as kept:
        assert kept.execute("SELECT DISTINCT notes FROM customer").fetchall() == [
            ("only in the log",)
        ]


def test_a_photo_lies_once_in_the_pool_however_many_backups_hold_it(worked_book, upkeep):
    for _ in range(3):
        make_backup(worked_book, upkeep, "by_hand", NOON)
    pool = own_place(worked_book) / "photos"
    assert len([one for one in pool.rglob("*") if one.is_file()]) == 2


def test_a_photo_changed_on_the_disk_is_backed_up_beside_the_earlier_one(worked_book, upkeep):
    first = make_backup(worked_book, upkeep, "by_hand", NOON)
    (worked_book / "photos" / FIRST).write_bytes(b"another picture")
    second = make_backup(worked_book, upkeep, "by_hand", NOON + timedelta(days=1))
    assert first.photos[FIRST] != second.photos[FIRST]
    assert check_backup(first) == check_backup(second) == []


def test_the_rotation_lets_go_of_old_backups_and_of_photos_nobody_holds(worked_book, upkeep):
    few = backups.Upkeep(upkeep.book_id, upkeep.started_at, None, Rotation(2, 0, 0))
    make_backup(worked_book, few, "daily", NOON)
    (worked_book / "photos" / FIRST).unlink()
    for day in range(1, 7):
        make_backup(worked_book, few, "daily", NOON + timedelta(days=day))
    assert [one.number for one in list_backups(worked_book, few)] == [7, 6, 5, 4, 3]
    pool = own_place(worked_book) / "photos"
    assert len([one for one in pool.rglob("*") if one.is_file()]) == 1
    assert all(check_backup(one) == [] for one in list_backups(worked_book, few))


def test_a_clock_set_back_never_makes_the_newest_backup_look_old(worked_book, upkeep):
    make_backup(worked_book, upkeep, "daily", NOON + timedelta(days=900))
    newest = make_backup(worked_book, upkeep, "daily", NOON)
    assert list_backups(worked_book, upkeep)[0] == newest


@pytest.mark.sqlite_file
@pytest.mark.parametrize("at", range(1, 5))
def test_a_backup_that_fails_at_any_step_leaves_the_old_one_and_no_rubbish(
    worked_book, upkeep, monkeypatch, at
):
    """Steps: copy, photos, list, finish; the failure is a full disk."""
    old = make_backup(worked_book, upkeep, "daily", NOON)
    (worked_book / "photos" / THIRD).write_bytes(b"new")
    steps = ["copy_database_file", "copy_whole", "write_json", "sync_folder"]

    def fail(*_args, **_keywords):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(backups, steps[at - 1], fail)
    with pytest.raises(BackupFailed, match="the disk is full"):
        make_backup(worked_book, upkeep, "daily", NOON + timedelta(days=1))
    monkeypatch.undo()
    assert check_backup(old) == []
    assert not list(own_place(worked_book).glob("**/unfinished.json"))
    assert not (own_place(worked_book) / "making").exists()
    # What was renamed already is whole; nothing by halves is ever listed.
    assert all(check_backup(one) == [] for one in list_backups(worked_book, upkeep))
    assert make_backup(worked_book, upkeep, "daily", NOON + timedelta(days=2)).number >= 2


def test_half_a_backup_left_by_a_killed_program_is_no_backup_and_is_cleared_away(
    worked_book, upkeep
):
    half = own_place(worked_book) / "making"
    half.mkdir(parents=True)
    (half.parent / "laybook-backups.json").write_text('{"book_id": "this"}')
    (half / "book.sqlite3").write_bytes(b"half")
    assert list_backups(worked_book, upkeep) == []
    make_backup(worked_book, upkeep, "daily", NOON)
    assert not half.exists()


@pytest.mark.sqlite_file
def test_a_damaged_book_is_not_backed_up_over_the_good_backups(worked_book, upkeep):
    good = make_backup(worked_book, upkeep, "daily", NOON)
    path = worked_book / "book.sqlite3"
    with path.open("r+b") as file:
        file.seek(os.path.getsize(path) // 2 // 4096 * 4096)
        file.write(os.urandom(4096))
    with pytest.raises(BackupFailed, match="damaged"):
        make_backup(worked_book, upkeep, "daily", NOON + timedelta(days=1))
    assert last_good_backup(worked_book, upkeep) == good


@pytest.mark.parametrize("spoil", ["database", "photo", "photo gone", "manifest"])
def test_a_backup_that_rotted_is_found_out_and_the_one_before_is_offered(
    worked_book, upkeep, spoil
):
    good = make_backup(worked_book, upkeep, "daily", NOON)
    (worked_book / "photos" / THIRD).write_bytes(b"new")
    bad = make_backup(worked_book, upkeep, "daily", NOON + timedelta(days=1))
    pooled = backups.pool_place(bad.folder.parent / "photos", bad.photos[THIRD].sha256)
    if spoil == "database":
        data = bytearray(bad.database.read_bytes())
        data[-100] ^= 1
        bad.database.write_bytes(data)
    elif spoil == "photo":
        pooled.write_bytes(b"old")
    elif spoil == "photo gone":
        pooled.unlink()
    else:
        (bad.folder / "manifest.json").write_text("{")
    assert last_good_backup(worked_book, upkeep) == good


def test_an_unplugged_disk_gets_no_backup_in_its_empty_mount_point(worked_book, upkeep, tmp_path):
    stick = tmp_path / "stick"
    prepare_folder(stick, worked_book, upkeep)
    chosen = backups.Upkeep(upkeep.book_id, upkeep.started_at, stick)
    made = make_backup(worked_book, chosen, "daily", NOON)
    assert made.folder.parent == stick / "laybook-backups"
    stick.rename(tmp_path / "elsewhere")
    stick.mkdir()
    with pytest.raises(BackupFailed, match="plugged in"):
        make_backup(worked_book, chosen, "daily", NOON)
    assert list(stick.iterdir()) == []
    # What comes before something irreversible never waits for a stick.
    assert make_backup(worked_book, chosen, "before_upgrade", NOON).folder.parent == (
        own_place(worked_book)
    )


def test_a_folder_with_another_books_backups_is_refused(worked_book, upkeep, tmp_path):
    stick = tmp_path / "stick"
    prepare_folder(stick, worked_book, upkeep)
    other = read_upkeep(tmp_path, NOON)
    with pytest.raises(Unusable, match="Another book"):
        prepare_folder(stick, tmp_path / "other", other)
    with pytest.raises(Unusable, match="full path"):
        prepare_folder(stick.relative_to(tmp_path), worked_book, upkeep)
    with pytest.raises(Unusable, match="not there"):
        prepare_folder(tmp_path / "no" / "such", worked_book, upkeep)


def test_the_manifest_can_be_read_without_the_program(worked_book, upkeep):
    made = make_backup(worked_book, upkeep, "by_hand", NOON)
    kept = json.loads((made.folder / "manifest.json").read_text())
    assert kept["rows"]["customer"] == 2
    assert kept["database"]["size"] == made.database.stat().st_size
    assert kept["made_at"] == NOON.isoformat()
