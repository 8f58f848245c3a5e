"""Writing files so that there is either the old one or the whole new one. May import: the standard library only."""

from __future__ import annotations

import os
import secrets
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from diag.basics.errors import UsageError

__all__ = ["is_there", "write_whole", "written_whole"]


def is_there(path: Path | str) -> bool:
    """Whether there is a file or folder of that name. A name that no file can have is not there, nor is what lies in a
    folder that may not be looked into; who then writes or reads is told why that cannot be."""
    return os.path.exists(path)  # noqa: PTH110  what pathlib has for this raises there


def write_whole(path: Path | str, content: str | bytes, overwrite: bool = False) -> None:
    """Write text (as UTF-8) or bytes to `path`, whole or not at all: a file beside it is synced, then renamed.

    Raises UsageError where the file exists and `overwrite` is false, or where it cannot be written.
    """
    path = Path(path)
    if is_there(path) and not overwrite:
        raise UsageError(f"{path} is already there and was left as it is; choose another name")
    try:
        _write_beside(path, content, overwrite)
    except FileExistsError:
        raise UsageError(f"{path} is already there and was left as it is; choose another name") from None
    except OSError as error:
        raise UsageError(f"{path} could not be written: {error.strerror or error}") from error


@contextmanager
def written_whole(path: Path) -> Iterator[Path]:
    """The name of a file beside `path` to write to, as long as that may take; at the end it is synced and takes its
    name, over an older one. Where anything goes wrong before, nothing remains of it."""
    temporary = path.with_name(f".{path.name[:100]}.{secrets.token_hex(6)}.part")
    try:
        yield temporary
        with temporary.open("rb+") as stream:
            os.fsync(stream.fileno())
        temporary.replace(path)
    except OSError as error:
        raise UsageError(f"{path} could not be written: {error.strerror or error}") from error
    finally:
        temporary.unlink(missing_ok=True)


def _write_beside(path: Path, content: str | bytes, overwrite: bool) -> None:
    temporary = path.with_name(f".{path.name[:100]}.{secrets.token_hex(6)}.part")
    try:
        with temporary.open("xb") as stream:
            stream.write(content.encode("utf-8") if isinstance(content, str) else content)
            stream.flush()
            os.fsync(stream.fileno())
        if overwrite:
            if is_there(path):
                temporary.chmod(path.stat().st_mode & 0o777)
            temporary.replace(path)
        else:
            _name_finally(temporary, path)
    finally:
        temporary.unlink(missing_ok=True)


def _name_finally(temporary: Path, path: Path) -> None:
    """Give the file its name, failing where somebody else took that name meanwhile."""
    try:
        os.link(temporary, path)
    except FileExistsError:
        raise
    except OSError:  # a file system without hard links
        temporary.replace(path)
