"""The backups' page, and the watch that makes one each day while the server runs."""

import threading
from collections.abc import Callable
from datetime import datetime
from pathlib import Path
from typing import Annotated

from fastapi import APIRouter, Depends, HTTPException, Request
from fastapi.responses import HTMLResponse, Response

from app.core.shop.backups import UpkeepEntry, find_fault, is_due, parse_upkeep, say_age
from app.packed import folder_of
from app.store.book.backup import (
    Backup,
    BackupFailed,
    check_backup,
    list_backups,
    make_backup,
    size_of,
)
from app.store.book.backup_places import PLACE_NAME, Unusable, own_place, prepare_folder
from app.store.book.restoring import find_backup, restore_backup
from app.store.book.upkeep import (
    Upkeep,
    forget_failure,
    keep_upkeep,
    last_failure,
    note_failure,
    read_upkeep,
)
from app.store.files import say_disk
from app.store.problems import BookProblem
from app.web.pages import Form, SettingsDep, Typed, found_or_404, go_to, show_page
from app.web.settings import Settings

router = APIRouter(prefix="/settings/backups")
LOOK_EVERY_S = 60.0
NO_SUCH_BACKUP = "There is no backup of that number."


class Watch:
    """Knows how old the last backup is and what failed, and makes one when it is due."""

    def __init__(self, settings: Settings, tidy: Callable[[], None] = lambda: None) -> None:
        self._settings = settings
        self._tidy = tidy  # done once a day, after the backup
        self._lock = threading.Lock()
        self._stopping = threading.Event()
        self._thread: threading.Thread | None = None
        self._last_made_at: datetime | None = None
        self._looked = False
        self._failure = ""

    def start(self) -> None:
        """Begin to watch, if the server is to make backups of its own accord."""
        if self._settings.daily_backups:
            self._thread = threading.Thread(target=self._run, name="backups", daemon=True)
            self._thread.start()

    def stop(self) -> None:
        """Stop watching; a backup that is being made is finished first."""
        self._stopping.set()
        if self._thread:
            if self._lock.locked():
                print("A backup is being made. Laybook stops when it is done.", flush=True)
            self._thread.join()

    def _run(self) -> None:
        while not self._stopping.is_set():
            self.look()
            self._stopping.wait(LOOK_EVERY_S)

    def look(self) -> None:
        """Make the daily backup if it is due; a failure is kept to be shown, and tried again."""
        self._see()
        if is_due(self._last_made_at, self._settings.now()):
            try:
                self.make("daily")
            except BackupFailed:
                return
            self._tidy()

    def make(self, reason: str) -> Backup:
        """Make a backup; raises BackupFailed, which is also kept to be shown."""
        book, now = self._settings.book, self._settings.now()
        with self._lock:
            try:
                made = make_backup(book, read_upkeep(book, now), reason, now)
            except BackupFailed as failed:
                words = str(failed)
                self._failure = words if words.endswith((".", "?")) else f"{words}."
                note_failure(book, self._failure, now)
                raise
            self._failure, self._last_made_at, self._looked = "", made.made_at, True
            forget_failure(book)
        return made

    def _see(self) -> None:
        book, now = self._settings.book, self._settings.now()
        made = list_backups(book, read_upkeep(book, now))
        self._last_made_at = made[0].made_at if made else None
        self._failure = self._failure or last_failure(book)
        self._looked = True

    def look_again(self) -> None:
        """Read the list of backups anew."""
        self._looked = False

    def fault(self) -> str:
        """Say what is wrong with the backups, or nothing."""
        if not self._looked:
            self._see()
        now = self._settings.now()
        started_at = read_upkeep(self._settings.book, now).started_at
        return find_fault(self._last_made_at, started_at, self._failure, now)


def _watch(request: Request) -> Watch:
    return request.app.state.watch  # type: ignore[no-any-return]


Watching = Annotated[Watch, Depends(_watch)]


@router.get("")
def index(request: Request, settings: SettingsDep, watch: Watching) -> HTMLResponse:
    """Show the backups, how old the last is, and where they go."""
    return _page(request, settings, watch, Form())


def _page(request: Request, settings: SettingsDep, watch: Watch, form: Form) -> HTMLResponse:
    upkeep, now = read_upkeep(settings.book, settings.now()), settings.now()
    made = list_backups(settings.book, upkeep)
    return show_page(
        request,
        "backups/index.html",
        form=form,
        backups=[(backup, size_of(backup)) for backup in made],
        age=say_age(made[0].made_at, now) if made else "",
        fault=watch.fault(),
        upkeep=upkeep,
        own_place=own_place(settings.book),
        place_name=PLACE_NAME,
        same_disk=_same_disk(settings.book, upkeep),
    )


def _same_disk(book: Path, upkeep: Upkeep) -> bool:
    if upkeep.folder is None:
        return True
    try:
        return upkeep.folder.stat().st_dev == book.stat().st_dev
    except OSError:
        return False


@router.post("/make")
def create(request: Request, settings: SettingsDep, watch: Watching) -> Response:
    """Make a backup now."""
    try:
        watch.make("by_hand")
    except BackupFailed:
        return _page(request, settings, watch, Form())
    return go_to("/settings/backups?said=made")


@router.post("")
def update(request: Request, settings: SettingsDep, watch: Watching, form: Typed) -> Response:
    """Change where backups go and which are kept."""
    upkeep = read_upkeep(settings.book, settings.now())
    entry = parse_upkeep(form.values)
    if form.is_refused(entry):
        return _page(request, settings, watch, form)
    if form.seen_version not in {None, upkeep.version}:
        form.problems = {"folder": "These settings were changed in another window meanwhile. "
                         "Look at them below, then press again to keep yours."}  # fmt: skip
        form.values["version"] = str(upkeep.version)
        return _page(request, settings, watch, form)
    changed = _changed(upkeep, entry)
    try:
        if changed.folder:
            prepare_folder(changed.folder, settings.book, upkeep)
        keep_upkeep(settings.book, changed)
    except Unusable as unusable:
        form.problems = {"folder": str(unusable)}
    except OSError as error:
        form.problems = {"folder": f"These settings could not be kept: {say_disk(error)}."}
    if form.problems:
        return _page(request, settings, watch, form)
    return go_to("/settings/backups?said=kept")


def _changed(upkeep: Upkeep, entry: UpkeepEntry) -> Upkeep:
    return Upkeep(
        book_id=upkeep.book_id,
        started_at=upkeep.started_at,
        folder=Path(entry.folder) if entry.folder else None,
        rotation=entry.rotation,
        version=upkeep.version + 1,
    )


def _backup(settings: Settings, number: int) -> Backup:
    try:
        return find_backup(settings.book, read_upkeep(settings.book, settings.now()), str(number))
    except BookProblem:
        raise HTTPException(404, NO_SUCH_BACKUP) from None


@router.get("/{number}")
def show(request: Request, settings: SettingsDep, number: int) -> HTMLResponse:
    """Show one backup: read back whole, with the button that restores it."""
    return _one_page(request, settings, number, Form())


def _one_page(request: Request, settings: Settings, number: int, form: Form) -> HTMLResponse:
    backup = found_or_404(_backup(settings, number), NO_SUCH_BACKUP)
    return show_page(
        request,
        "backups/show.html",
        form=form,
        backup=backup,
        age=say_age(backup.made_at, settings.now()),
        holds=size_of(backup),
        faults=check_backup(backup),
    )


@router.post("/{number}/restore")
def restore(
    request: Request, settings: SettingsDep, watch: Watching, form: Typed, number: int
) -> Response:
    """Put a backup in the book's place, after keeping what it replaces."""
    backup = _backup(settings, number)
    if form.get("sure").strip() != str(number):
        form.problems = {"sure": f"Write the backup's number, {number}, to say that you mean it."}
        return _one_page(request, settings, number, form)
    try:
        restore_backup(settings.book, backup, folder_of("migrations"), settings.now())
    except BookProblem as problem:
        form.problems = {"sure": str(problem)}
        return _one_page(request, settings, number, form)
    watch.look_again()
    return go_to("/settings/backups?said=restored")
