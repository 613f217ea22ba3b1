"""Files in and out: whole or not at all, bounded, and no name from a file is trusted.

`whole_file` writes beside and renames, `write_whole` all at once. `read_bytes` reads no more than a limit, gzip or not.
`read_toml` reads settings, `toml_text` writes a text of them. `safe_name` makes a file name of any text, `plain_text`
makes it fit for a terminal.
"""

from __future__ import annotations

import codecs
import contextlib
import errno
import hashlib
import json
import os
import re
import stat
import unicodedata
import zlib
from collections.abc import Iterable, Iterator, Mapping
from pathlib import Path
from typing import IO, Any, BinaryIO, NamedTuple

from trackgrade.errors import InputError, OutputError, TrackFileError, UsageError

MIB = 1024 * 1024

_GZIP_MAGIC = b"\x1f\x8b"
_PACKED_CHUNK = 16 * 1024
_MOST_GZIP_MEMBERS = 10_000  # tools that pack in blocks write one for 64 KiB
LARGEST_TOML_BYTES = 256 * 1024  # a file of settings is some twenty lines; larger is another file by mistake

_MOST_LINKS = 40  # that one name may lead through, as Linux has it
_DEEPEST_KEY = 200  # of TOML, a.b.c = 1; settings need three parts
_LONGEST_NAME_BYTES = 120  # every common file system takes 255; leave room for endings and folders
#: Names that Windows keeps for devices, with any ending.
_DEVICE_NAMES = frozenset(
    ["con", "prn", "aux", "nul", *(f"com{i}" for i in range(1, 10)), *(f"lpt{i}" for i in range(1, 10))]
)

# Control sequences of terminals (ECMA-48): CSI to its final byte; the strings OSC, DCS, SOS, PM and APC to
# BEL or ST; ESC and one byte.
_TERMINAL_SEQUENCE = re.compile(
    r"(?:\x1b\[|\x9b)[0-?]*[ -/]*[@-~]?"
    r"|(?:\x1b[\]PX^_]|[\x9d\x90\x98\x9e\x9f])[^\x07\x1b\x9c]*(?:\x07|\x1b\\|\x9c)?"
    r"|\x1b[ -/]*[0-~]?"
)
# Other, format (bidirectional overrides, zero width), surrogate, unassigned; line and paragraph separators.
_UNPRINTABLE = frozenset(["Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp"])


#: Byte-order marks, each with the encoding that takes it off; UTF-16's begins as one of UTF-32.
_BOMS = (
    (codecs.BOM_UTF8, "utf-8-sig"),
    (codecs.BOM_UTF32_LE, "utf-32"),
    (codecs.BOM_UTF32_BE, "utf-32"),
    (codecs.BOM_UTF16_LE, "utf-16"),
    (codecs.BOM_UTF16_BE, "utf-16"),
)


def marked_encoding(data: bytes) -> str:
    """The encoding of a text by its byte-order mark, or ""."""
    return next((name for mark, name in _BOMS if data.startswith(mark)), "")


def plain_text(text: str, longest: int = 200) -> str:
    """Text of a file as one printable line: no terminal sequence, no control or direction character.

    Runs of white space become one blank; longer than ``longest`` characters is cut, with an ellipsis.
    """
    text = text[: 8 * longest]  # a name of a megabyte need not be looked at whole
    text = _TERMINAL_SEQUENCE.sub("", text)
    text = "".join(c for c in text if c.isspace() or unicodedata.category(c) not in _UNPRINTABLE)
    text = " ".join(text.split())
    return text if len(text) <= longest else text[: longest - 1] + "…"


def safe_name(text: str, fallback: str = "flight") -> str:
    """A file name (no folder, no ending added) from any text; never empty, never hidden, never a device.

    Letters and digits of any script, blank, dot, dash and underscore stay; all else becomes an underscore.
    """
    text = unicodedata.normalize("NFKC", plain_text(text))
    text = "".join(c if c.isalnum() or c in " ._-" else "_" for c in text)
    text = re.sub(r"\.{2,}", ".", re.sub(r"_{2,}", "_", text))
    while len(text.encode()) > _LONGEST_NAME_BYTES:
        text = text[:-1]
    text = text.strip(" ._-")
    if not text:
        return fallback
    return f"{fallback}_{text}" if text.split(".")[0].strip().lower() in _DEVICE_NAMES else text


def data_folder() -> Path:
    """Where the user's own hold set and logbook lie, and what the page keeps."""
    import platformdirs

    return Path(platformdirs.user_data_dir("trackgrade", appauthor=False))


def sha256_hex(data: bytes) -> str:
    """SHA-256 of the bytes, 64 hexadecimal digits."""
    return hashlib.sha256(data).hexdigest()


def spare_inputs(
    results: Iterable[str | os.PathLike[str] | None], read: Iterable[str | os.PathLike[str] | None]
) -> None:
    """Refuse results that would replace a file that is read, or each other; None and folders are no files.

    Links, spellings and other names of the same file are looked through. "-" is refused, as it would become a file of
    that name: where it means standard output, it is not given here.

    Raises
    ------
    UsageError
        One line saying which.
    """
    read_files = [Path(path) for path in read if path is not None and not Path(path).is_dir()]
    names, files = {os.path.realpath(path) for path in read_files}, {_identity(path) for path in read_files} - {None}
    given: set[str] = set()
    for path in results:
        if path is None or _is_no_file(Path(path)):
            continue
        if os.fspath(path) == "-":
            raise UsageError("a result cannot be called -: give another name for it")
        where = os.path.realpath(path)
        # Of two results not there yet a file system may make one: it need not tell apart case, or how é is composed.
        alike = unicodedata.normalize("NFC", where).casefold()
        if where in names or alike in given or _identity(Path(path)) in files:
            raise UsageError(f"{_shown(Path(path))} is read, or written, by the same command: give another name for it")
        given.add(alike)


def spare_others(written: Mapping[Path, str]) -> None:
    """Refuse to write these texts where a file of another content stands: somebody's own, or edited since.

    Raises
    ------
    UsageError
        One line saying which.
    """
    for path, text in written.items():
        if path.exists() and raw_bytes(path, 2 * len(text.encode()), InputError) != text.encode():
            raise UsageError(
                f"{_shown(path)} is there, and not as this command writes it: give another folder, --out DIR"
            )


def _identity(path: Path) -> tuple[int, int] | None:
    """Which file it is, under whatever name; None where there is none yet."""
    try:
        found = path.stat()
    except (OSError, ValueError):
        return None
    return found.st_dev, found.st_ino


def _is_no_file(path: Path) -> bool:
    """Whether it is a folder, a device or a pipe, which take several results."""
    try:
        mode = path.stat().st_mode
    except (OSError, ValueError):
        return False
    return not stat.S_ISREG(mode)


def write_whole(path: str | os.PathLike[str], data: str | bytes) -> Path:
    """Write a file whole or not at all, as `whole_file` does. Text is UTF-8. Raises OutputError."""
    try:
        with whole_file(path) as file:
            file.write(data.encode("utf-8", "surrogatepass") if isinstance(data, str) else data)
    except ValueError as problem:  # a NUL in the name
        raise OutputError(_why_not_written(Path(path), problem)) from problem
    return Path(path)


@contextlib.contextmanager
def whole_file(path: str | os.PathLike[str], *, text: bool = False) -> Iterator[IO[Any]]:
    """A file to write bytes in, or UTF-8 text, piece by piece: written beside, synced, and renamed as the block ends.

    Missing folders are made. Whatever happens on the way (a full disk, an interrupt), what stood at
    ``path`` before is whole and no half-written file stays. A link is written through. A device, a pipe and what is
    open already (``/dev/stdout``, also where it is a file) are written to directly.

    Raises
    ------
    OutputError
        One line saying which file, why and what to do.
    """
    asked = Path(path)
    kind, encoding, newline = ("w", "utf-8", "") if text else ("wb", None, None)
    try:
        if (opened := _opened(asked)) is not None:
            with os.fdopen(os.dup(opened), kind, encoding=encoding, newline=newline) as file:
                yield file
            return
        target = Path(os.path.realpath(asked))
        try:
            mode = asked.stat().st_mode
        except (FileNotFoundError, NotADirectoryError):
            if target.exists():  # up from a folder that is not there: who looked whether it exists saw nothing
                raise
            mode = stat.S_IFREG
        if stat.S_ISDIR(mode):
            raise OutputError(f"{_shown(asked)} is a folder: give the name of a file to write")
        if not stat.S_ISREG(mode):
            with asked.open(kind, encoding=encoding, newline=newline) as device:
                yield device
            return
        target.parent.mkdir(parents=True, exist_ok=True)
        # Not named after the target: that name may already be as long as the file system allows.
        beside = target.with_name(f".trackgrade-{os.urandom(8).hex()}.part")
        flags = os.O_WRONLY | os.O_CREAT | os.O_EXCL | getattr(os, "O_BINARY", 0)
        try:
            # O_CREAT with 0666 leaves the permissions to the user's umask, as for any new file.
            with os.fdopen(os.open(beside, flags, 0o666), kind, encoding=encoding, newline=newline) as file:
                yield file
                file.flush()
                os.fsync(file.fileno())
            with contextlib.suppress(OSError):
                beside.chmod(stat.S_IMODE(target.stat().st_mode))  # an old file keeps its permissions
            beside.replace(target)
        except BaseException:  # a KeyboardInterrupt too leaves nothing behind
            with contextlib.suppress(OSError):
                beside.unlink()
            raise
    except OSError as problem:
        raise OutputError(_why_not_written(asked, problem)) from problem


def _opened(path: Path) -> int | None:
    """Which file this process has open the path is a name of (/dev/stdout, /proc/self/fd/3), if it is one.

    Such a file is not to be replaced: ``>>`` wants its end, and nobody meant the program behind /proc/self/exe.
    """
    for _ in range(_MOST_LINKS):
        folder = os.path.realpath(path.parent)
        if re.fullmatch(rf"/dev/fd|/proc/{os.getpid()}(/task/\d+)?/fd", folder) and path.name.isdecimal():
            return int(path.name)
        if not path.is_symlink():
            return None
        if folder.startswith("/proc/"):
            raise OutputError(f"{_shown(path)} is a file of a running program: give another name")
        path = Path(folder, path.readlink())
    return None


def _why_not_written(path: Path, problem: OSError | ValueError) -> str:
    shown = _shown(path)
    code = problem.errno if isinstance(problem, OSError) else None
    if code in (errno.ENOSPC, errno.EDQUOT):
        return f"{shown} was not written: the disk is full. Free some space, or write to another folder"
    if code in (errno.EACCES, errno.EPERM, errno.EROFS):
        return (
            f"{shown} was not written: no permission in {_shown(path.parent)}. "
            "Choose another folder, or close the program that holds the file"
        )
    if code in (errno.EEXIST, errno.ENOTDIR):
        return f"{shown} was not written: a part of that path is a file, not a folder. Choose another folder"
    if code == errno.ENAMETOOLONG:
        return f"{shown} was not written: the name is too long. Give a shorter one"
    reason = problem.strerror if isinstance(problem, OSError) and problem.strerror else str(problem)
    return f"{shown} was not written: {plain_text(reason)}. Choose another place"


class FileBytes(NamedTuple):
    """What was in a file.

    ``data``: the content, unpacked where the file is gzip. ``sha256``: of the file as it lies on the disk.
    ``notes``: sentences for people (unpacked; cut short).
    """

    data: bytes
    sha256: str
    notes: tuple[str, ...] = ()


def read_bytes(
    source: str | os.PathLike[str] | bytes | BinaryIO,
    limit_bytes: int,
    error: type[InputError] = InputError,
    *,
    name: str = "the data given",
) -> FileBytes:
    """Read a file, unpacked where it is gzip, and never hold more than ``limit_bytes`` of content.

    ``source`` is a path, the bytes themselves, or a file opened for reading bytes; ``name`` is what the latter two
    are called in a message.

    Raises
    ------
    InputError (or the subclass given as ``error``)
        No such file, a folder, no permission, opened as text, or larger than the limit.
    """
    if isinstance(source, str | os.PathLike):
        shown = _shown(Path(source))
        raw = raw_bytes(source, limit_bytes, error)
    else:
        shown = name
        raw = bytes(source) if isinstance(source, bytes | bytearray | memoryview) else source.read(limit_bytes + 1)
        if not isinstance(raw, bytes):
            raise error(f'{shown} is opened as text: open it as bytes, with mode "rb"')
    limit = f"{limit_bytes // MIB} MiB" if limit_bytes >= MIB else f"{limit_bytes // 1024} KiB"
    track = issubclass(error, TrackFileError)
    remedy = "Cut it to the flight, or keep fewer points a second" if track else "Is it the file that was meant?"
    too_large = f"{shown} holds more than {limit} and is not read. {remedy}"
    if len(raw) > limit_bytes:
        raise error(too_large)
    sha256 = sha256_hex(raw)
    if not raw.startswith(_GZIP_MAGIC):
        return FileBytes(raw, sha256)
    data, whole = _unzipped(raw, limit_bytes)
    if len(data) > limit_bytes:
        raise error(too_large)
    if not whole and not data:
        raise error(f"{shown} looks like gzip but cannot be unpacked: copy it again from its source")
    note = "unpacked from gzip" if whole else "the gzip file is damaged or cut short: read as far as it goes"
    return FileBytes(data, sha256, (note,))


def raw_bytes(path: str | os.PathLike[str], limit_bytes: int, error: type[InputError]) -> bytes:
    """What lies on the disk, at most one byte over the limit. Raises InputError (or the subclass given)."""
    shown = _shown(Path(path))
    try:
        if Path(path).is_dir():
            raise IsADirectoryError
        # A pipe that nobody writes to reads as empty instead of waiting for ever.
        flags = os.O_RDONLY | getattr(os, "O_BINARY", 0) | getattr(os, "O_NONBLOCK", 0)
        with os.fdopen(os.open(path, flags), "rb") as file:
            if hasattr(os, "O_NONBLOCK"):
                os.set_blocking(file.fileno(), True)
            return file.read(limit_bytes + 1)
    except FileNotFoundError:
        raise error(f"{shown}: no such file. Check the name and the folder") from None
    except IsADirectoryError:
        raise error(f"{shown} is a folder: give the name of a file") from None
    except PermissionError:
        raise error(f"{shown} cannot be read: no permission") from None
    except (OSError, ValueError) as problem:
        reason = problem.strerror if isinstance(problem, OSError) and problem.strerror else str(problem)
        raise error(f"{shown} cannot be read: {plain_text(reason)}") from problem


def read_toml(
    source: str | os.PathLike[str] | bytes, error: type[InputError] = InputError, *, name: str = "the settings given"
) -> dict[str, Any]:
    """A TOML file (a path, or its bytes called ``name``) as a dictionary; at most 256 KiB.

    Raises
    ------
    InputError (or the subclass given as ``error``)
        It cannot be read, is no UTF-8 text, or is no TOML (with line and column).
    """
    import tomllib

    shown = name if isinstance(source, bytes) else plain_text(Path(source).name, 120)
    data = read_bytes(source, LARGEST_TOML_BYTES, error, name=name).data
    try:
        if max(line.count(b".") for line in data.split(b"\n")) > _DEEPEST_KEY:  # takes time and memory by its square
            raise RecursionError
        return tomllib.loads(data.decode("utf-8-sig").replace("\r\n", "\n"))
    except UnicodeDecodeError as problem:
        line = data[: problem.start].count(b"\n") + 1
        raise error(f"{shown}: line {line} is not UTF-8 text. Save it as UTF-8") from None
    except RecursionError:
        raise error(f"{shown}: values are nested too deep. Write it flat") from None
    except tomllib.TOMLDecodeError as problem:
        reason = plain_text(str(problem)).replace("(at line", "(line")
        raise error(f"{shown}: is not valid TOML: {reason}. Text stands in quotes, numbers do not") from None
    except (ValueError, OverflowError):  # a number too long for Python, a date that the calendar does not have
        raise error(f"{shown}: a number or a date in it is out of all range. Correct it") from None


def toml_text(text: str) -> str:
    """A TOML basic string (TOML 1.0: escapes as in JSON, and DEL too)."""
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007F")


def _unzipped(raw: bytes, limit_bytes: int) -> tuple[bytes, bool]:
    """Content of all gzip members, at most what one slice gives over the limit; and whether all of it came out."""
    parts: list[bytes] = []
    size = members = at = 0
    packed = memoryview(raw)
    while packed[at : at + len(_GZIP_MAGIC)] == _GZIP_MAGIC and size <= limit_bytes:
        members += 1
        unpacker = zlib.decompressobj(wbits=31)
        while not unpacker.eof and size <= limit_bytes:
            # In slices: what a call leaves over is copied, and copying all of a long rest each time takes minutes.
            piece = packed[at : at + _PACKED_CHUNK]
            if not piece or members > _MOST_GZIP_MEMBERS:
                return b"".join(parts), False
            try:
                parts.append(unpacker.decompress(piece))
            except zlib.error:
                return b"".join(parts), False
            size += len(parts[-1])
            at += len(piece) - len(unpacker.unused_data)
    return b"".join(parts), True


def _shown(path: Path) -> str:
    return plain_text(str(path))
