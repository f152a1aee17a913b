"""Loss of power under writing clients: `python -m tests.faults.power_loss [ROUNDS] [SEED]`.

The book lies in a folder of our own (FUSE) that does what a disk may do. What was written and not
yet forced to the disk is held in memory; a part of it, taken by chance, reaches the disk all the
same and in any order. When the power goes, the server and the folder's own process are killed, and
the folder is mounted again with what the disk holds. Names (made, renamed, removed) are taken to
last at once. Then the rounds of `kill_rounds` look for what was lost, doubled or halved.

Needs Linux with /dev/fuse, Debian's fuse3, and `mfusepy` from the package index.
"""

# ruff: noqa: ARG002 - the folder is asked with more than it needs

import errno
import os
import random
import signal
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

REACHES_ANYWAY = 0.3  # of the writes that nobody forced to the disk


def serve(disk: str, place: str, seed: int) -> None:
    """Serve the folder until killed."""
    import mfusepy  # only here: no test needs it

    class Folder(mfusepy.Operations):  # type: ignore[misc]
        """A folder whose files reach the disk when they are forced to it."""

        use_ns = True

        def __init__(self) -> None:
            self.chance = random.Random(seed)  # noqa: S311 - a repeatable trial
            self.held: dict[str, bytearray] = {}  # files with something not yet on the disk

        def at(self, path: str) -> str:
            return disk + path

        def content(self, path: str) -> bytearray:
            if path not in self.held:
                self.held[path] = bytearray(Path(self.at(path)).read_bytes())
            return self.held[path]

        def getattr(self, path: str, fh: int | None = None) -> dict[str, Any]:
            try:
                told = os.lstat(self.at(path))
            except FileNotFoundError:
                raise mfusepy.FuseOSError(errno.ENOENT) from None
            names = ("st_mode", "st_nlink", "st_uid", "st_gid", "st_size",
                     "st_atime", "st_mtime", "st_ctime")  # fmt: skip
            found = {name: getattr(told, name) for name in names}
            return found | ({"st_size": len(self.held[path])} if path in self.held else {})

        def readdir(self, path: str, fh: int) -> list[str]:
            return [".", "..", *os.listdir(self.at(path))]

        def create(self, path: str, mode: int, fi: Any = None) -> int:
            os.close(os.open(self.at(path), os.O_CREAT | os.O_WRONLY, mode))
            return 0

        def open(self, path: str, flags: int) -> int:
            if flags & os.O_TRUNC:
                self.content(path).clear()
            return 0

        def read(self, path: str, size: int, offset: int, fh: int) -> bytes:
            if path in self.held:
                return bytes(self.held[path][offset : offset + size])
            with Path(self.at(path)).open("rb") as file:
                file.seek(offset)
                return file.read(size)

        def write(self, path: str, data: bytes, offset: int, fh: int) -> int:
            content = self.content(path)
            content.extend(bytes(max(0, offset - len(content))))
            content[offset : offset + len(data)] = data
            if self.chance.random() < REACHES_ANYWAY:
                with Path(self.at(path)).open("r+b") as file:
                    file.seek(offset)
                    file.write(data)
            return len(data)

        def truncate(self, path: str, length: int, fh: int | None = None) -> None:
            content = self.content(path)
            del content[length:]
            content.extend(bytes(length - len(content)))

        def fsync(self, path: str, datasync: int, fh: int) -> int:
            if path in self.held:
                Path(self.at(path)).write_bytes(self.held.pop(path))
            return 0

        def rename(self, old: str, new: str, *_flags: int) -> None:
            os.rename(self.at(old), self.at(new))
            self.held.pop(new, None)
            if old in self.held:
                self.held[new] = self.held.pop(old)

        def unlink(self, path: str) -> None:
            os.unlink(self.at(path))
            self.held.pop(path, None)

        def mkdir(self, path: str, mode: int) -> None:
            os.mkdir(self.at(path), mode)

        def rmdir(self, path: str) -> None:
            os.rmdir(self.at(path))

        def chmod(self, path: str, mode: int) -> None:
            os.chmod(self.at(path), mode)

        def utimens(self, path: str, times: Any = None) -> None:
            pass

        def statfs(self, path: str) -> dict[str, int]:
            told = os.statvfs(disk)
            return {name: getattr(told, name) for name in ("f_bsize", "f_blocks", "f_bavail")}

    mfusepy.FUSE(Folder(), place, foreground=True, nothreads=True)


class Power:
    """The folder's process: on, or cut off."""

    def __init__(self, disk: Path, place: Path, seed: int) -> None:
        self.disk, self.place, self.seed = disk, place, seed
        self.on()

    def on(self) -> None:
        """Mount what the disk holds."""
        self.seed += 1
        told = [sys.executable, "-m", __spec__.name, "serve", self.disk, self.place, str(self.seed)]
        self.process = subprocess.Popen(told)
        for _ in range(1200):
            if self.place.is_mount():
                return
            time.sleep(0.05)
        raise RuntimeError("the folder was not mounted")

    def off(self) -> None:
        """Cut it off: whatever did not reach the disk is gone."""
        self.process.send_signal(signal.SIGKILL)
        self.process.wait()
        subprocess.run(["fusermount3", "-u", "-z", self.place], check=True)

    def lose(self) -> None:
        """Cut it off and switch it on again."""
        self.off()
        self.on()


def main() -> int:
    """Run the rounds asked for and print what came of them."""
    from tests.faults.kill_rounds import run_rounds  # the folder's process needs none of it

    rounds, seed = (int(one) for one in (sys.argv[1:] + ["50", "1"][len(sys.argv) - 1 :])[:2])
    with tempfile.TemporaryDirectory(prefix="power-loss-") as folder:
        disk, place = Path(folder) / "disk", Path(folder) / "place"
        disk.mkdir()
        place.mkdir()
        power = Power(disk, place, seed)
        try:
            ledger, faults = run_rounds(rounds, place / "book", seed, after_kill=power.lose)
        finally:
            power.off()
    print(f"seed {seed}: {dict(ledger.figures)}, acts acknowledged: {len(ledger.acknowledged)}")
    print(f"lost, doubled or by halves: {len(faults)}", *faults[:20], sep="\n  ")
    return 1 if faults else 0


if __name__ == "__main__":
    if sys.argv[1:2] == ["serve"]:
        serve(sys.argv[2], sys.argv[3], int(sys.argv[4]))
    else:
        sys.exit(main())
