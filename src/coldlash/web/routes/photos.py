"""Photos and scans: taken in by a form or from the phone's outbox, shown, described, removed."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Any
from urllib.parse import quote, urlencode

from starlette.concurrency import run_in_threadpool
from starlette.datastructures import UploadFile
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response
from starlette.routing import BaseRoute, Route

from coldlash.desk.attaching import (
    SmallPictures,
    add_photo,
    newest_first,
    photos_of,
    place_words,
    small_size,
    still_tells_where,
    take_place_out,
)
from coldlash.desk.desk import Desk
from coldlash.errors import InputError
from coldlash.language import day_of, say
from coldlash.logbook.attachments import CAPTION_MAX, Attachment
from coldlash.web.api import accepted, entry_id
from coldlash.web.guard import SEALED, visitor
from coldlash.web.problems import Problem
from coldlash.web.routes.common import Context, desk_of, engine_of, form, page
from coldlash.web.templating import Pages, render

FEW = 6
"""How many photos the page of an engine shows."""
Values = Mapping[str, str]


def routes(_: Pages) -> Iterable[BaseRoute]:
    """/photos/..., /api/photos and /engines/.../photos."""
    shown = SmallPictures()

    def in_small(desk: Desk, photo: Attachment) -> bytes:
        return shown.of(desk.book, photo)

    def whole(desk: Desk, photo: Attachment) -> bytes:
        return desk.book.attachment_bytes(photo.id)

    return [
        Route("/photos/add", page("photo_add.html", _start), methods=["GET"]),
        Route("/photos/add", _add, methods=["POST"]),
        Route("/api/photos", _take, methods=["POST"]),
        Route("/photos/{photo}", page("photo.html", _photo), methods=["GET"]),
        Route("/photos/{photo}", form("photo.html", _photo, _change), methods=["POST"]),
        Route("/photos/{photo}/small", _sent(in_small, "image/jpeg"), methods=["GET"]),
        Route("/photos/{photo}/file", _sent(whole, None), methods=["GET"]),
        Route("/engines/{engine}/photos", page("photos.html", _all), methods=["GET"]),
    ]


def listed(photos: Sequence[Attachment]) -> list[dict[str, Any]]:
    """Photos for the templates, the newest first."""
    rows = []
    for photo in newest_first(photos):
        width, height = small_size(photo)
        day = day_of((photo.taken_at or photo.at)[:10])
        alt = place_words(photo)
        rows.append(
            {
                "id": photo.id,
                "picture": photo.is_picture,
                "width": width,
                "height": height,
                "alt": alt,
                "words": photo.caption or alt,
                "day": day,
            }
        )
    return rows


# --- taking in --------------------------------------------------------------------------------------------------


def _start(desk: Desk, request: Request) -> Context:
    return _place(desk, dict(request.query_params))


def _place(desk: Desk, values: Values) -> Context:
    """What a photo is to be put to, checked. Raises Problem (404)."""
    try:
        entry, engine = desk.engine(values.get("engine", ""))
        visit = desk.book.visit(values["visit"]) if values.get("visit") else None
        valve = engine.valve(values["valve"]) if values.get("valve") else None
    except InputError as error:
        raise Problem(404, str(error), say("Go back to the shed and look from there.")) from error
    if visit is not None and visit.engine_id != entry.id:
        raise Problem(404, say("That visit is of another engine."))
    return {
        "entry": entry,
        "visit": visit,
        "valve": "" if valve is None else str(valve),
        "valves": [str(each) for each in engine.valves],
        "caption_max": CAPTION_MAX,
        "typed": {},
        "fault": "",
    }


async def _add(request: Request) -> Response:
    """The form's files, each with the same caption; what was wrong with which is said, the others are kept."""
    desk = desk_of(request)
    values: dict[str, str] = {}
    files: list[tuple[str, bytes]] = []
    async with request.form(max_fields=20, max_files=50) as sent:
        for name, value in sent.multi_items():
            if isinstance(value, UploadFile):
                if value.filename or value.size:
                    files.append((value.filename or "", await value.read()))
            else:
                values[name] = value
    place = await run_in_threadpool(_place, desk, values)
    faults = await run_in_threadpool(_add_all, desk, request, values, files)
    if faults:
        context = {**place, "typed": values, "fault": "\n".join(faults)}
        context["shown"] = await run_in_threadpool(desk.shown)
        return render(request, "photo_add.html", context, status_code=422, keep=False)
    return RedirectResponse(_back(place), status_code=303)


def _add_all(desk: Desk, request: Request, values: Values, files: Sequence[tuple[str, bytes]]) -> list[str]:
    if not files:
        return [say("no photo was chosen; choose one")]
    faults = []
    for name, data in files:
        try:
            _add_one(desk, request, values, name, data)
        except InputError as error:
            faults.append(say("{name}: {fault}", name=name or say("photo"), fault=str(error)))
    return faults


def _add_one(
    desk: Desk, request: Request, values: Values, name: str, data: bytes, id: str | None = None
) -> Attachment:
    entry, engine = desk.engine(values.get("engine", ""))
    who = visitor(request)
    return add_photo(
        desk.book,
        entry,
        engine,
        data,
        name=name,
        caption=values.get("caption", ""),
        visit_id=values.get("visit") or None,
        valve=values.get("valve") or None,
        keep=values.get("keep") == "as it is",
        by=values.get("by", "").strip() or (who.device.name if who.device is not None else None),
        id=id,
    )


def _back(place: Context) -> str:
    """The page a photo is then to be seen on."""
    engine = f"/engines/{place['entry'].id}"
    if place["visit"] is not None:
        return f"{engine}/visits/{place['visit'].id}#photos"
    if place["valve"]:
        return f"{engine}/valves/{place['valve']}#photos"
    return f"{engine}/photos"


async def _take(request: Request) -> Response:
    """One file from a phone's outbox: the body is the file, the address says of what it is; sent twice, kept once."""
    entry = entry_id(request)
    desk = desk_of(request)
    values = dict(request.query_params)
    data = await request.body()

    def taken() -> Attachment:
        # A visit that the phone opened names the engine by itself.
        if values.get("visit") and not values.get("engine"):
            values["engine"] = desk.book.visit(values["visit"]).engine_id
        return _add_one(desk, request, values, values.get("name", ""), data, entry)

    photo = await run_in_threadpool(taken)
    return accepted(entry, {"photo": photo.id})


# --- showing ----------------------------------------------------------------------------------------------------


def _found(desk: Desk, request: Request) -> Attachment:
    try:
        photo = desk.book.attachment(request.path_params["photo"])
    except InputError as error:
        raise Problem(404, str(error), say("Go back to the shed and look from there.")) from error
    if photo.removed_at is not None:
        raise Problem(
            404, say("This photo was removed on {day}.", day=day_of(photo.removed_at[:10])), kind="removed"
        )
    return photo


def _photo(desk: Desk, request: Request) -> Context:
    photo = _found(desk, request)
    entry, _ = desk.engine(photo.engine_id)
    visit = None if photo.visit_id is None else desk.book.visit(photo.visit_id)
    return {
        "entry": entry,
        "photo": photo,
        "visit": visit,
        "alt": photo.caption or place_words(photo),
        "place": place_words(photo),
        "taken": "" if photo.taken_at is None else day_of(photo.taken_at[:10]),
        "added": day_of(photo.at[:10]),
        "megabytes": photo.size / 2**20,
        "tells_where": still_tells_where(desk.book, photo),
        "caption_max": CAPTION_MAX,
        "typed": {},
        "fault": "",
    }


def _change(desk: Desk, request: Request, values: Values) -> str:
    photo = _found(desk, request)
    match values.get("do"):
        case "describe":
            desk.book.describe_attachment(photo.id, values.get("caption", ""))
        case "place out":
            photo = take_place_out(desk.book, photo.id)
        case "remove":
            desk.book.remove_attachment(photo.id)
            engine = f"/engines/{photo.engine_id}"
            return f"{engine}/visits/{photo.visit_id}" if photo.visit_id else f"{engine}/photos"
        case other:
            raise InputError(say("{what!r} is nothing that can be done with a photo", what=other))
    return f"/photos/{photo.id}"


def _all(desk: Desk, request: Request) -> Context:
    entry, _ = engine_of(desk, request)
    add = urlencode({"engine": entry.id})
    return {"entry": entry, "photos": listed(photos_of(desk.book, entry.id)), "add": f"/photos/add?{add}"}


def _sent(read: Any, media_type: str | None) -> Any:
    """An endpoint that sends bytes. They never change, but may be gone: browsers ask each time."""

    async def endpoint(request: Request) -> Response:
        desk = desk_of(request)
        photo = await run_in_threadpool(_found, desk, request)
        headers = {
            "etag": f'"{photo.sha256[:32]}"',
            "cache-control": "private, no-cache",
            "content-security-policy": SEALED,
        }
        if headers["etag"] in request.headers.get("if-none-match", ""):
            return Response(status_code=304, headers=headers)
        try:
            data = await run_in_threadpool(read, desk, photo)
        except InputError as error:
            raise Problem(404, str(error)) from error
        if media_type is None and not photo.is_picture:
            # Never shown in a page of ours: a PDF may hold scripts.
            headers["content-disposition"] = f"attachment; filename*=UTF-8''{quote(photo.file_name, safe='')}"
        return Response(data, media_type=media_type or photo.media_type, headers=headers)

    return endpoint
