"""What every reader asks of a file first: that it is one, that it can be read, that it fits, that it stays
the same."""

from __future__ import annotations

import hashlib
import os
import re
import shlex
import stat
from dataclasses import dataclass
from pathlib import Path

from tunnelsite.core.errors import InputRefused, ResourceShortage, UsageError
from tunnelsite.core.shown import one_line

_URL = re.compile(r"[a-zA-Z][a-zA-Z0-9+.-]+://")
_CHUNK = 1 << 20
READABLE = (
    ".tif",
    ".tiff",
    ".asc",
    ".bil",
    ".sdat",
    ".gpkg",
    ".geojson",
    ".json",
    ".shp",
    ".fgb",
    ".gml",
    ".kml",
    ".gpx",
    ".epw",
    ".csv",
)
MOST_NAMED = 6  # files of a folder in a message
_UNLIMITED = 1 << 60  # cgroup v1 writes a number near 2**63 for "no limit"


@dataclass(frozen=True)
class FileStamp:
    """What the file system says of a file; changes with every write to it.

    Attributes:
        bytes: size. modified_ns, changed_ns: times of the last write and of the last change of any kind
            [ns]. inode: its number.
    """

    bytes: int
    modified_ns: int
    changed_ns: int
    inode: int


_GATHERED = {"DEM": ("--ground", "ground.tif"), "--surface": ("--surface", "surface.tif")}


def checked_file(path: str | os.PathLike[str], option: str) -> Path:
    """The absolute path of an existing, readable, non-empty regular file.

    Arguments: path; option [words], where the path was given, for the message.
    Errors: UsageError for text that is no path of a plain file (dataset text, address, archive);
        InputRefused for a file that is missing, empty, not readable or not a regular file.
    """
    text = os.fspath(path)
    if not text.strip() or "\0" in text:
        raise UsageError(f"{option}: {text!r} is no file name", "the path of a file", "give the path")
    found = Path(text).absolute()
    try:
        mode = found.stat()
    except (FileNotFoundError, NotADirectoryError):
        _refuse_other_than_path(text, option)
        raise InputRefused(
            f"{option}: there is no file {text!r}", "an existing file", "check the spelling and the folder"
        ) from None
    except OSError as error:
        _refuse_other_than_path(text, option)
        raise _unreadable(option, text, error) from None
    if stat.S_ISDIR(mode.st_mode):
        raise InputRefused(f"{option}: {text!r} is a folder", "one file", _of_the_folder(found))
    if not stat.S_ISREG(mode.st_mode):  # a pipe or device would hang or never end
        raise InputRefused(
            f"{option}: {text!r} is not a regular file", "a file on disk", "save the data to a file first"
        )
    if mode.st_size == 0:
        raise InputRefused(f"{option}: {text!r} is empty (0 bytes)", "a file with data", "copy or download it again")
    if head(found, option, 4) == b"PK\x03\x04":
        raise UsageError(
            f"{option}: {text!r} is a zip archive", "the unpacked file", "unpack it and give the file inside"
        )
    return found


def file_name(path: Path) -> str:
    """A file's name for records and messages: one line that every format can hold, with bytes that are no UTF-8 as `\\xff`."""
    return one_line(os.fsencode(path.name).decode("utf-8", "backslashreplace"))


def _of_the_folder(folder: Path) -> str:
    """What to give in place of a folder: a file that it holds."""
    try:
        held = sorted(file_name(file) for file in folder.iterdir() if file.suffix.lower() in READABLE)
    except OSError:
        held = []
    if not held:
        return "export the layer to a GeoPackage (rasters: GeoTIFF)"
    more = f" and {len(held) - MOST_NAMED} more" if len(held) > MOST_NAMED else ""
    return f"give one of its files: {', '.join(held[:MOST_NAMED])}{more}; `tunnelsite region` takes a folder of tiles"


def head(path: Path, option: str, count: int) -> bytes:
    """The first `count` bytes of a file. Errors: InputRefused if it cannot be read, naming the reason."""
    try:
        with open(path, "rb") as file:
            return file.read(count)
    except OSError as error:
        raise _unreadable(option, str(path), error) from None


def layer_of(text: str | os.PathLike[str]) -> tuple[str, str | None]:
    """(path, layer name or None) of `FILE` or `FILE#LAYER`, the fragment syntax of RFC 3986; a file of the
    whole name wins."""
    whole = os.fspath(text)
    path, mark, layer = whole.rpartition("#")
    if not mark or not layer or os.path.exists(whole) or not path:
        return whole, None
    return path, layer


def sha256(path: str | os.PathLike[str]) -> str:
    """SHA-256 of a file's content, in hexadecimal."""
    digest = hashlib.sha256()
    with open(path, "rb") as file:
        while chunk := file.read(_CHUNK):
            digest.update(chunk)
    return digest.hexdigest()


def file_stamp(path: str | os.PathLike[str]) -> FileStamp:
    """The stamp of a file as it is now."""
    found = os.stat(path)
    return FileStamp(found.st_size, found.st_mtime_ns, found.st_ctime_ns, found.st_ino)


def same_file(path: str | os.PathLike[str], stamp: FileStamp, digest: str = "") -> bool:
    """Whether a file still holds what it held: same stamp, or at least the same content where its digest
    is known."""
    try:
        return file_stamp(path) == stamp or (bool(digest) and sha256(path) == digest)
    except OSError:
        return False


def available_bytes() -> int:
    """Memory [bytes] this process can still get: the least of free memory, control group limits and its
    address space limit."""
    return max(0, min([*_free_memory(), *_control_group_room(), *_address_space_room()], default=_UNLIMITED))


def require_memory(need_bytes: int, what: str, fix: str) -> None:
    """Refuse what would not fit. Errors: ResourceShortage naming the need and the limit."""
    limit = available_bytes()
    if need_bytes > limit:
        raise ResourceShortage(
            f"{what} needs about {bytes_words(need_bytes)} of memory",
            f"at most {bytes_words(limit)}, which is what is free",
            fix,
        )


def bytes_words(count: float) -> str:
    """A number of bytes in words, such as `3.6 TB`."""
    for unit in ("bytes", "kB", "MB", "GB", "TB"):
        if count < 999.5 or unit == "TB":
            return f"{count:.0f} {unit}" if unit == "bytes" or count >= 99.5 else f"{count:.1f} {unit}"
        count /= 1000
    raise AssertionError


def _refuse_other_than_path(text: str, option: str) -> None:
    start = text.lstrip()
    shown = start if len(start) <= 60 else start[:57] + "..."
    given = f"{option}: {shown!r}"
    if start[0] in "{[<":
        raise UsageError(
            f"{given} is data, not the path of a file",
            "the path of a file",
            "save it to a file and give its path",
        )
    if start.startswith("/vsi"):
        raise UsageError(
            f"{given} is a virtual path",
            "the path of a file on disk",
            "download or unpack it and give the file",
        )
    if _URL.match(start):
        raise UsageError(
            f"{given} is an address", "the path of a file on disk; nothing is fetched", _fetched(start, option)
        )


def _fetched(address: str, option: str) -> str:
    """How to get what lies at an address, as a command where one fetches it."""
    if option not in _GATHERED:
        return "download it first"
    name, file = _GATHERED[option]
    secret = "@" in address or not address.isprintable()  # a password is not repeated
    words = f"tunnelsite gather FOLDER --parcels PARCELS {name} {'ADDRESS' if secret else shlex.quote(address)}"
    return f"fetch it with: {words} (add the --halo of the run); then give FOLDER/{file}"


def _unreadable(option: str, text: str, error: OSError) -> InputRefused:
    reason = "permission denied" if isinstance(error, PermissionError) else (error.strerror or str(error))
    return InputRefused(
        f"{option}: {text!r} cannot be read ({reason})",
        "a file you may read",
        "check its permissions and its folder's",
    )


def _free_memory() -> list[int]:
    try:
        with open("/proc/meminfo") as file:
            for line in file:
                if line.startswith("MemAvailable:"):
                    return [int(line.split()[1]) * 1024]
    except OSError:
        pass
    try:  # no /proc: half of all memory is a fair guess of what may be had
        return [os.sysconf("SC_PHYS_PAGES") * os.sysconf("SC_PAGE_SIZE") // 2]
    except (AttributeError, ValueError, OSError):
        return []


def _control_group_room() -> list[int]:
    rooms = []
    for folder, limit_name, used_name in _control_groups():
        try:
            limit = int((folder / limit_name).read_text())
            used = int((folder / used_name).read_text())
            counts = dict(line.split() for line in (folder / "memory.stat").read_text().splitlines())
        except (OSError, ValueError):  # "max" means no limit
            continue
        if limit < _UNLIMITED:  # cached file pages count as used but are given back on demand
            rooms.append(limit - used + int(counts.get("total_inactive_file", counts.get("inactive_file", 0))))
    return rooms


def _control_groups() -> list[tuple[Path, str, str]]:
    groups = []
    try:
        lines = Path("/proc/self/cgroup").read_text().splitlines()
    except OSError:
        return []
    for line in lines:
        _, controllers, own = line.split(":", 2)
        if controllers and "memory" not in controllers.split(","):
            continue
        root = Path("/sys/fs/cgroup" if not controllers else "/sys/fs/cgroup/memory")
        names = (
            ("memory.max", "memory.current") if not controllers else ("memory.limit_in_bytes", "memory.usage_in_bytes")
        )
        folder = root / own.lstrip("/")
        groups += [
            (part, *names) for part in (folder, *folder.parents) if part.is_relative_to(root)
        ]  # parents' limits hold too
    return groups


def _address_space_room() -> list[int]:
    try:
        import resource  # not on every system
    except ImportError:
        return []
    limit = resource.getrlimit(resource.RLIMIT_AS)[0]
    if limit == resource.RLIM_INFINITY:
        return []
    try:
        used = int(Path("/proc/self/statm").read_text().split()[0]) * resource.getpagesize()
    except (OSError, ValueError):
        used = 0
    return [limit - used]
