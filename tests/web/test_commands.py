"""The command line: options before or after the verb, and the made-up shop from start to stop."""

import os
import re
import signal
import subprocess
import sys
import time
from pathlib import Path
from urllib.request import urlopen

import pytest

from app.web.commands import VERBS, main, make_parser

ROOT = Path(__file__).resolve().parents[2]


@pytest.mark.parametrize(
    "typed",
    [
        "--book B --port 9 --no-browser",
        "serve --book B --port 9 --no-browser",
        "--book B serve --port 9 --no-browser",
        "--book B --port 9 --no-browser serve",
        "--port 9 serve --no-browser --book B",
    ],
)
def test_options_hold_before_and_after_the_verb(typed):
    options = make_parser().parse_args(typed.split())
    assert (options.book, options.port, options.no_browser) == (Path("B"), 9, True)
    assert options.run.__name__ == "serve"


@pytest.mark.parametrize("verb", VERBS, ids=lambda verb: verb.name)
def test_every_verb_takes_a_book_and_says_what_it_does(verb, capsys):
    needed = {"import": ["book.zip"]}.get(verb.name, [])
    options = make_parser().parse_args([verb.name, "--book", "B", *needed])
    assert options.run is verb.run
    assert options.book == Path("B")
    with pytest.raises(SystemExit) as left:
        make_parser().parse_args([verb.name, "--help"])
    assert left.value.code == 0
    words = " ".join(capsys.readouterr().out.split())
    assert "--book FOLDER" in words
    assert ("--port N" in words) == verb.serves


def test_nothing_is_assumed_that_was_not_said():
    options = make_parser().parse_args(["demo"])
    assert (options.book, options.port, options.no_browser) == (None, None, False)


def test_an_unknown_verb_is_refused(capsys):
    with pytest.raises(SystemExit):
        make_parser().parse_args(["burn"])
    assert "invalid choice" in capsys.readouterr().err


def test_a_port_that_cannot_be_had_is_refused_in_words(tmp_path, capsys):
    arguments = ["--book", str(tmp_path / "book"), "--no-browser", "--port", "70000"]
    assert main(arguments) == 1
    assert "Choose another with --port" in capsys.readouterr().err


def test_the_made_up_shop_never_goes_into_a_book_that_was_begun(book, capsys):
    assert main(["demo", "--book", str(book), "--no-browser", "--port", "0"]) == 1
    assert "Nothing was changed" in capsys.readouterr().err


def test_the_demo_says_its_address_answers_and_leaves_nothing_behind(tmp_path):
    spare, own = tmp_path / "spare", tmp_path / "own"
    spare.mkdir()
    environment = os.environ | {"TMPDIR": str(spare), "LAYBOOK_BOOK": str(own)}
    running = subprocess.Popen(
        [sys.executable, "-W", "error", "-m", "app", "demo", "--port", "0", "--no-browser"],
        cwd=ROOT,
        env=environment,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )
    try:
        said = running.stdout.readline()
        assert "thrown away" in said
        address = re.search(r"http://127\.0\.0\.1:\d+/", said).group()
        page = urlopen(address, timeout=30).read().decode()  # noqa: S310 - our own address
        assert "What you write here is thrown away" in page
        assert "Sleepy Heron" in page
        assert len(list(spare.glob("laybook-made-up-*/book.sqlite3"))) == 1
    finally:
        running.send_signal(signal.SIGINT)
        rest, errors = running.communicate(timeout=30)
    assert (running.returncode, rest, errors) == (0, "", "")
    assert list(spare.glob("laybook-*")) == []
    assert not own.exists(), "the user's own book was not even opened"


@pytest.mark.long
def test_a_demo_stopped_while_it_is_being_filled_leaves_nothing_behind(tmp_path):
    running = subprocess.Popen(
        [sys.executable, "-m", "app", "demo", "--port", "0", "--no-browser"],
        cwd=ROOT,
        env=os.environ | {"TMPDIR": str(tmp_path)},
        stdout=subprocess.PIPE,
        text=True,
    )
    deadline = time.monotonic() + 60
    while not list(tmp_path.glob("laybook-made-up-*")) and time.monotonic() < deadline:
        time.sleep(0.05)
    running.terminate()
    said, _ = running.communicate(timeout=30)
    assert (running.returncode, said) == (0, "")
    assert list(tmp_path.glob("laybook-*")) == []
