"""The verbs that look after a book."""

import os

import pytest

from app.web.commands import main
from tests.books import content_of


@pytest.fixture
def run(worked_book, capsys):
    """Run a verb on the worked book; gives the exit code and everything said."""

    def run_verb(*arguments: str) -> tuple[int, str]:
        code = main([*arguments, "--book", str(worked_book)])
        said = capsys.readouterr()
        return code, said.out + said.err

    return run_verb


@pytest.mark.sqlite_file
def test_a_book_is_backed_up_listed_checked_and_restored(run, worked_book):
    before = content_of(worked_book / "book.sqlite3")
    code, said = run("backup")
    assert (code, "Backed up and read back: no. 1" in said) == (0, True)
    code, said = run("backup", "--list")
    assert code == 0
    assert "2 jobs, 2 photos" in said
    code, said = run("check")
    assert (code, said.count("good"), "The book is whole." in said) == (0, 1, True)
    os.truncate(worked_book / "book.sqlite3", 4096)
    code, said = run("check")
    assert code == 1
    assert "laybook restore 1" in said
    code, said = run("restore", "1")
    assert code == 1
    assert "Add --yes" in said
    code, said = run("restore", "1", "--yes")
    assert code == 0
    assert "set aside" in said
    assert content_of(worked_book / "book.sqlite3") == before
    assert run("check")[0] == 0


def test_a_backup_into_another_folder_this_once(run, tmp_path):
    code, said = run("backup", "--into", str(tmp_path / "stick"))
    assert code == 0
    assert str(tmp_path / "stick") in said


def test_a_backup_that_fails_says_so_and_ends_with_an_error(run, worked_book):
    (worked_book / "laybook-backups").write_text("a file where the folder should be")
    code, said = run("backup")
    assert code == 1
    assert "No backup was made" in said
    assert "Traceback" not in said


def test_a_rotten_backup_makes_the_check_fail(run, worked_book):
    run("backup")
    (database,) = worked_book.glob("laybook-backups/0*/book.sqlite3")
    os.truncate(database, 8192)
    code, said = run("check")
    assert code == 1
    assert "its database is not as it was written" in said


def test_a_missing_book_is_named(tmp_path, capsys):
    for verb in ("backup", "check", "migrate"):
        assert main([verb, "--book", str(tmp_path / "nowhere")]) == 1
        assert "There is no book in" in capsys.readouterr().err
        assert not (tmp_path / "nowhere").exists()


def test_migrate_says_when_there_is_nothing_to_do(run):
    assert run("migrate") == (0, "The book is up to date.\n")


@pytest.mark.sqlite_file
def test_a_book_whose_log_is_lost_is_taken_as_it_is_only_when_told(run, worked_book):
    (worked_book / "last-act.txt").write_text("9999")
    code, said = run("check")
    assert code == 1
    assert "--as-it-is" in said
    assert run("check", "--as-it-is")[0] == 0
    assert run("check")[0] == 0
