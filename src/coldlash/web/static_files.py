"""The files under /static: known by name before the first request, compressed once, kept by browsers by version.

A request is looked up in a table made when the program starts, never turned into a path of the file system.
"""

from __future__ import annotations

import gzip
import hashlib
from dataclasses import dataclass, field
from functools import cached_property
from pathlib import Path
from urllib.parse import quote

from starlette.requests import Request
from starlette.responses import Response

from coldlash.errors import InputError
from coldlash.language import say
from coldlash.web.problems import Problem

_TYPES = {
    ".css": "text/css; charset=utf-8",
    ".js": "text/javascript; charset=utf-8",
    ".svg": "image/svg+xml",
    ".png": "image/png",
    ".ico": "image/x-icon",
    ".woff2": "font/woff2",
    ".json": "application/json",
    ".txt": "text/plain; charset=utf-8",
}
_ALREADY_SMALL = (".png", ".woff2", ".ico")
FOREVER = "public, max-age=31536000, immutable"
ASK_FIRST = "no-cache"


@dataclass(frozen=True)
class StaticFile:
    """One file as sent."""

    name: str
    content: bytes
    media_type: str
    etag: str = field(init=False)

    def __post_init__(self) -> None:
        object.__setattr__(self, "etag", f'"{hashlib.sha256(self.content).hexdigest()[:32]}"')

    @cached_property
    def gzipped(self) -> bytes | None:
        """The content compressed, or None where that doesn't pay."""
        if self.name.endswith(_ALREADY_SMALL):
            return None
        # mtime 0: the same bytes every time.
        small = gzip.compress(self.content, 9, mtime=0)
        return small if len(small) < len(self.content) * 0.9 else None


class StaticTree:
    """All files below ``root`` with a known suffix. ``version`` changes with any of them."""

    def __init__(self, root: Path, also_version: bytes = b"") -> None:
        """``also_version`` takes part in the version (templates: the offline page is kept with the files).
        Raises InputError if ``root`` is missing or a file can't be read."""
        self.files: dict[str, StaticFile] = {}
        base = root.resolve()
        digest = hashlib.sha256(also_version)
        try:
            if not base.is_dir():
                raise InputError(
                    say(
                        "the folder of the pages' own files is missing: {root}; install coldlash again",
                        root=root,
                    )
                )
            for path in sorted(base.rglob("*")):
                name = path.relative_to(base).as_posix()
                hidden = any(part.startswith(".") for part in name.split("/"))
                # A link that leads out of the folder would publish what it points to.
                inside = path.resolve().is_relative_to(base)
                if path.suffix not in _TYPES or hidden or not inside or not path.is_file():
                    continue
                file = StaticFile(name, path.read_bytes(), _TYPES[path.suffix])
                self.files[name] = file
                digest.update(f"{name}\n{file.etag}\n".encode())
        except OSError as error:
            raise InputError(
                say(
                    "the pages' own file {filename} can't be read ({strerror}); install coldlash again",
                    filename=error.filename,
                    strerror=error.strerror,
                )
            ) from error
        self.version = digest.hexdigest()[:12]

    def url(self, name: str) -> str:
        """The address of a file, with the version in it. Raises InputError if there is none of that name."""
        if name not in self.files:
            raise InputError(
                say(
                    "there is no file {name!r} under /static; files there: {files}",
                    name=name,
                    files=", ".join(self.files),
                )
            )
        return f"/static/{self.version}/{quote(name)}"

    def urls(self) -> list[str]:
        """The addresses of all files, for the service worker to keep; licences and notes are left out."""
        return [self.url(name) for name in self.files if not name.endswith(".txt")]

    def answer(self, request: Request) -> Response:
        """The response to /static/{version}/{name}. Raises Problem (404).

        A page of an older version still finds its files by an older version's address, but isn't told to keep them.
        """
        file = self.files.get(request.path_params["name"])
        if file is None:
            raise Problem(404, say("There is no such file here."))
        headers = {
            "etag": file.etag,
            "cache-control": FOREVER if request.path_params["version"] == self.version else ASK_FIRST,
            "vary": "accept-encoding",
        }
        known = request.headers.get("if-none-match", "")
        if file.etag in [tag.strip().removeprefix("W/") for tag in known.split(",")]:
            return Response(status_code=304, headers=headers)
        content = file.content
        if file.gzipped is not None and _takes_gzip(request.headers.get("accept-encoding", "")):
            content = file.gzipped
            headers["content-encoding"] = "gzip"
        return Response(content, headers=headers, media_type=file.media_type)


def _takes_gzip(accepted: str) -> bool:
    for item in accepted.lower().split(","):
        coding, _, quality = item.partition(";")
        if coding.strip() in ("gzip", "*"):
            return quality.replace(" ", "") not in ("q=0", "q=0.0", "q=0.00", "q=0.000")
    return False
