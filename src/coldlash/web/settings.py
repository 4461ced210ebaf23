"""What the pages need to know from whoever starts them, and what they learn about themselves while serving."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from types import MappingProxyType

from coldlash.language import NAMES
from coldlash.web.authority import Authority
from coldlash.web.network import LOOPBACK_NAMES
from coldlash.web.pairing import Pairing

WEB_FOLDER = Path(__file__).parent
MEGABYTE = 1024 * 1024
# Photos come as files of up to 25 MB (logbook.photos.FILE_MAX), in a form with a little around them.
BODY_LIMITS = {
    "/": MEGABYTE,
    "/photos/add": 26 * MEGABYTE,
    "/api/photos": 25 * MEGABYTE,
    "/import": 33 * MEGABYTE,
}


@dataclass(slots=True)
class Site:
    """Where the pages are served; ``serve`` keeps it up to date when addresses change."""

    shared_hosts: frozenset[str] = frozenset()
    shared_url: str = ""  # the address to give to a phone, like https://192.168.1.20:8766; empty = not shared
    other_urls: tuple[str, ...] = ()

    def hosts(self, listener: str) -> frozenset[str]:
        """The host names a request to ``listener`` may carry. This machine may use its own names on both."""
        return LOOPBACK_NAMES | self.shared_hosts if listener == SHARED else LOOPBACK_NAMES


# The two listeners. What isn't marked as the loopback one is treated as shared: the stricter of the two.
LOOPBACK = "loopback"
SHARED = "shared"
LISTENER_KEY = "coldlash.listener"


@dataclass(frozen=True, slots=True)
class Settings:
    """What ``create_app`` is given.

    ``pairing``: the store of devices; ``site``: where it is served; ``authority``: None without HTTPS;
    ``book``: path or URL of the book, for the routes; ``body_limits``: greatest request body in bytes by path
    prefix, the longest matching prefix counts, "/" for all others; ``languages``: those the pages exist in, the first
    is the default; ``static_dir``: the files under /static.
    """

    pairing: Pairing
    site: Site = field(default_factory=Site)
    authority: Authority | None = None
    book: str = ""
    title: str = "coldlash"
    body_limits: Mapping[str, int] = field(default_factory=lambda: MappingProxyType(BODY_LIMITS))
    languages: tuple[str, ...] = tuple(NAMES)
    static_dir: Path = WEB_FOLDER / "static"
