"""The page as a whole: which address shows what, for whom, and what is done by which form.

The rule of this file: addresses are a fixed table with numbers in it; nothing of a request names a file or a query.
"""

import re
from collections.abc import Callable, Mapping
from http import HTTPStatus
from importlib.resources import files
from typing import Final
from urllib.parse import quote, unquote

from wardian.daemon.page import doing, forms
from wardian.daemon.page.apart import Apart
from wardian.daemon.page.asked import Answer, Request, elsewhere, plain
from wardian.daemon.page.bench_view import bench_parts
from wardian.daemon.page.doing import Did, Doing
from wardian.daemon.page.drawings import Drawings, Wanted
from wardian.daemon.page.forms import ONCE, Typing
from wardian.daemon.page.frame import SIGN_IN, Frame, page
from wardian.daemon.page.guard import SESSION, Guard
from wardian.daemon.page.lists_view import (
    batch_parts,
    batches_parts,
    explanation_parts,
    figures_parts,
    journal_parts,
)
from wardian.daemon.page.looking import Looking
from wardian.daemon.page.markup import Child, element
from wardian.daemon.page.tray_card import Told
from wardian.daemon.page.tray_view import day_parts, doing_parts, history_parts, picture_parts, tray_parts
from wardian.daemon.tongue import Tongue
from wardian.daemon.wiring import teller
from wardian.rules.batches import Batch
from wardian.rules.ports import Clock

_WHO: Final = "who"
_YEAR_S: Final = 365 * 86_400
_COOKIE: Final = "Path=/; HttpOnly; SameSite=Strict"
#: Files of ours that pages need, and what each is.
_FILES: Final = {
    "/page.css": "text/css; charset=utf-8",
    "/page.js": "text/javascript; charset=utf-8",
    "/icon.svg": "image/svg+xml",
}
#: Whoever has not signed in needs these for signing in.
_OPEN: Final = (*_FILES, SIGN_IN)
_PICTURE: Final = re.compile(r"/tray/([1-9][0-9]{0,8})/(day|week|batch)(-narrow)?\.svg")
_EXPLANATION: Final = re.compile(r"/batch/([1-9][0-9]{0,8})/explanation")
_NUMBERED: Final = re.compile(r"/(tray|batch)/([1-9][0-9]{0,8})")


class Site:
    """Answers every request there is."""

    def __init__(self, looking: Looking, doing: Doing, guard: Guard, clock: Clock) -> None:
        """Show what is looked up, do what is asked, as far as the guard lets; by the machine's clock."""
        self._looking = looking
        self._apart = Apart(looking.config)
        self._drawings = Drawings(looking.config, clock, self._apart)
        self._doing = doing
        self._guard = guard
        self._config = looking.config
        self._to_do = teller(self._config).what_to_do
        folder = files("wardian.daemon.page")
        self._files = {path: (folder / path[1:]).read_bytes() for path in _FILES}
        self._shown: Mapping[str, Callable[[Request], Answer]] = {
            "/": self._bench,
            "/batches": self._batches,
            "/journal": self._journal,
            "/figures": self._figures,
        }
        self._done: Mapping[str, Callable[[Request], Answer]] = {
            "/alarm": self._alarm,
            "/care": self._care,
            "/score": self._score,
            SIGN_IN: self._sign_in,
            "/sign-out": self._sign_out,
        }

    def answer(self, request: Request) -> Answer:
        """Return the answer to a request."""
        refusal = self._guard.refusal(request)
        if refusal:
            return refusal
        if not self._guard.knows(request) and request.path not in _OPEN:
            return self._asked_for_password("") if request.method == "GET" else elsewhere("/")
        if request.method == "POST":
            do = self._done.get(request.path)
            return do(request) if do else self._nothing_here(request)
        return self._found(request)

    def is_slow(self, request: Request) -> bool:
        """Return whether what a request is for takes seconds to make."""
        return any(place.fullmatch(request.path) for place in (_PICTURE, _EXPLANATION))

    def stop(self) -> None:
        """Let nothing that takes long go on."""
        self._apart.stop()

    def _found(self, request: Request) -> Answer:
        if request.path in _FILES:
            return Answer(
                self._files[request.path], kind=_FILES[request.path], headers={"cache-control": "no-cache"}
            )
        if request.path in self._shown:
            return self._shown[request.path](request)
        picture = _PICTURE.fullmatch(request.path)
        if picture:
            return self._picture(request, Wanted(int(picture[1]), picture[2], picture[3] is not None))
        explained = _EXPLANATION.fullmatch(request.path)
        if explained:
            return self._explanation(request, int(explained[1]))
        numbered = _NUMBERED.fullmatch(request.path)
        if numbered:
            show = self._tray if numbered[1] == "tray" else self._batch
            return show(request, int(numbered[2]))
        return elsewhere("/") if request.path == SIGN_IN else self._nothing_here(request)

    def _nothing_here(self, request: Request) -> Answer:
        words = element(
            "p", "There is nothing at this address. ", element("a", "Back to the bench", href="/")
        )
        return page(
            self._frame(request, "Nothing here"),
            element("h1", "Nothing here"),
            words,
            status=HTTPStatus.NOT_FOUND,
        )

    def _frame(self, request: Request, title: str, did: Did | None = None) -> Frame:
        said = did or Did(self._doing.words_of(request.query.get("did", "")))
        return Frame(
            title,
            self._config.site.name,
            request.path,
            said.words,
            said.is_refused,
            self._guard.has_password,
            self._guard.token,
        )

    def _typing(self, request: Request, typed: Mapping[str, str] | None = None) -> Typing:
        place = request.path if typed is None else typed.get("from", "/")
        return Typing(self._guard.token, place, unquote(request.cookies.get(_WHO, "")), typed or {})

    def _told(self, request: Request, now_ms: int, typed: Mapping[str, str] | None = None) -> Told:
        return Told(
            self._config, Tongue.of(self._config.site), self._typing(request, typed), now_ms, self._to_do
        )

    # ---------------------------------------------------------------------------------- what is shown

    def _bench(self, request: Request) -> Answer:
        bench = self._looking.bench.get()
        return page(self._frame(request, "Bench"), bench_parts(self._told(request, bench.now.time_ms), bench))

    def _tray(self, request: Request, number: int) -> Answer:
        bench = self._looking.bench.get()
        if number > len(bench.now.trays):
            return self._nothing_here(request)
        tray, batch = bench.now.trays[number - 1], self._batch_in(bench.now.trays[number - 1].name)
        told = self._told(request, bench.now.time_ms)
        parts: list[Child] = [
            tray_parts(told, number, bench),
            doing_parts(told, tray.name, batch),
            picture_parts(number, tray.name) if self._drawings.is_there else None,
            day_parts(self._looking.days.get()[tray.name]),
            history_parts(told, self._looking.journal(tray.name), batch),
        ]
        return page(self._frame(request, tray.name), parts)

    def _picture(self, request: Request, wanted: Wanted) -> Answer:
        if wanted.tray > len(self._config.trays) or not self._drawings.is_there:
            return self._nothing_here(request)
        drawn = self._drawings.draw(wanted)
        if drawn is None:
            return plain(HTTPStatus.SERVICE_UNAVAILABLE, "This picture cannot be drawn now.")
        # Its own colours stand in it; it is shown as an image, where nothing else of it can act.
        policy = "default-src 'none'; style-src 'unsafe-inline'"
        return Answer(drawn, kind="image/svg+xml", headers={"content-security-policy": policy})

    def _batch_in(self, tray: str) -> Batch | None:
        return next((one for one in self._looking.batches() if one.tray == tray and not one.closed), None)

    def _batches(self, request: Request) -> Answer:
        return page(self._frame(request, "Batches"), batches_parts(self._config, self._looking.batches()))

    def _batch(self, request: Request, number: int) -> Answer:
        found = self._batch_numbered(number)
        if found is None:
            return self._nothing_here(request)
        return page(self._frame(request, found.name), batch_parts(self._config, found))

    def _explanation(self, request: Request, number: int) -> Answer:
        found = self._batch_numbered(number)
        if found is None:
            return self._nothing_here(request)
        told = self._apart.told_by("batch", "explain", found.name)
        return page(self._frame(request, f"{found.name} explained"), explanation_parts(found, told))

    def _batch_numbered(self, number: int) -> Batch | None:
        return next((one for one in self._looking.batches() if one.number == number), None)

    def _journal(self, request: Request) -> Answer:
        return page(self._frame(request, "Journal"), journal_parts(self._config, self._looking.journal()))

    def _figures(self, request: Request) -> Answer:
        return page(
            self._frame(request, "Alarm figures"), figures_parts(self._config, self._looking.figures.get())
        )

    # ---------------------------------------------------------------------------------- what is done

    def _alarm(self, request: Request) -> Answer:
        did = self._doing.do(doing.alarm, request.fields, request.fields.get(ONCE, ""))
        return self._after(request, did, None)

    def _care(self, request: Request) -> Answer:
        did = self._doing.do(doing.care, request.fields, request.fields.get(ONCE, ""))
        trays = [tray.name for tray in self._config.trays]
        return self._after(request, did, lambda typing: forms.care_form(trays, typing))

    def _score(self, request: Request) -> Answer:
        did = self._doing.do(doing.score, request.fields, request.fields.get(ONCE, ""))
        return self._after(
            request, did, lambda typing: forms.score_form(request.fields.get("batch", ""), typing)
        )

    def _after(self, request: Request, did: Did, form: Callable[[Typing], Child] | None) -> Answer:
        """Go back to where the form stood, or show it once more with what was typed and why not."""
        place = _own_place(request.fields.get("from", ""))
        if did.is_refused:
            parts = [
                element("h1", "Not done"),
                form(self._typing(request, request.fields)) if form else None,
                element("p", element("a", "Back", href=place)),
            ]
            return page(self._frame(request, "Not done", did), parts, status=HTTPStatus.UNPROCESSABLE_ENTITY)
        self._looking.bench.forget()
        who = f"{_WHO}={quote(request.fields.get('who', ''), safe='')}; Max-Age={_YEAR_S}; {_COOKIE}"
        return elsewhere(f"{place}?did={quote(request.fields.get(ONCE, ''), safe='')}", {"set-cookie": who})

    def _sign_in(self, request: Request) -> Answer:
        session = self._guard.sign_in(request.fields.get("password", ""))
        if session is None:
            return self._asked_for_password(
                "That is not the password, or too many wrong ones came: wait a minute."
            )
        return elsewhere("/", {"set-cookie": f"{SESSION}={session}; {_COOKIE}"})

    def _sign_out(self, request: Request) -> Answer:
        self._guard.sign_out(request)
        return elsewhere("/", {"set-cookie": f"{SESSION}=; Max-Age=0; {_COOKIE}"})

    def _asked_for_password(self, said: str) -> Answer:
        frame = Frame("Sign in", self._config.site.name, SIGN_IN, said, is_refused=bool(said))
        status = HTTPStatus.FORBIDDEN if said else HTTPStatus.UNAUTHORIZED
        tray = element(
            "div", element("h1", "Sign in"), forms.sign_in_form(self._guard.token), class_="tray door"
        )
        return page(frame, tray, status=status)


def _own_place(place: str) -> str:
    """Return an address of ours where it is one; the browser is sent nowhere else."""
    return place if place == "/" or _NUMBERED.fullmatch(place) else "/"
